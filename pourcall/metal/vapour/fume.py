"""Zinc fume of a melt: how much, how long until a limit, and the level that is shown. To a factor of ten, always.

Zinc pressure (pressure.py) and boundary-layer evaporation (evaporation.py) give the bare bath. While the bath is
undisturbed a skin of oxide holds most of it back (`skin_factor`; no measured value was found, judgement); skimming,
stirring and pouring bare it. A well-mixed room with a near-field factor (ventilation.py) gives what a person at the pot
breathes.

Levels. Zinc alloys: the 15-minute mean at the pot against the 15-minute limit: from a tenth of it (1, inside the
factor of ten), from the limit (2), from ten times it (3, beyond the factor of ten). Copper alloys with zinc: share of
the boiling pressure, 0.1, 0.3 and 0.8, the only robust figure there; level 1 also where the limit is reached. Such a
melt belongs outdoors or under extraction whatever the level. Level 0 means "no alarm level", never "safe".
"""

import math

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.contract.plan import FumeTable
from pourcall.contract.settings import AirLimits
from pourcall.metal.alloys.elements import STANDARD_ATMOSPHERE_PA
from pourcall.metal.alloys.sheet import LEAST_ZINC_PERCENT, AlloySheet
from pourcall.metal.vapour import evaporation, ventilation
from pourcall.metal.vapour import exposure_limits as limits
from pourcall.metal.vapour import pressure as vapour
from pourcall.metal.vapour.exposure_limits import ExposureLimit
from pourcall.metal.vapour.ventilation import Air

BRASS_FRACTIONS = (0.1, 0.3, 0.8)
DISTURBED_MIN = 2.0  # of bare surface in a quarter of an hour: a skim, a stir or a pour (common practice, no source)
MELT_MIN = 15.0  # of hot metal in the room before the pour (common practice, no source)
DEFAULT_MOUTH_MM = 80.0
LOWEST_C, HIGHEST_C = 200.0, 1450.0


class FumeReport(msgspec.Struct, frozen=True, kw_only=True):
    """Fume at one temperature. Minutes: None where the limit is not reached within a shift."""

    temp_c: float
    zinc_pa: float
    boiling_fraction: float
    oxide_bare_g_per_min: float  # zinc oxide from a bare bath: an upper estimate for an aluminium-bearing zinc alloy
    oxide_still_g_per_min: float  # under its skin
    short_term_min_still: float | None  # to the 15-minute limit
    short_term_min_bare: float | None
    shift_min_still: float | None  # to the 8-hour limit
    shift_min_bare: float | None
    clear_min: float | None  # after the work, until the room is below the 8-hour limit; None: it never was over
    level_still: int
    level_disturbed: int
    words: tuple[Message, ...]


def has_zinc(sheet: AlloySheet) -> bool:
    """Whether the alloy has zinc enough to fume."""
    return sheet.zinc_percent >= LEAST_ZINC_PERCENT


def is_brass(sheet: AlloySheet) -> bool:
    """Copper with zinc: judged by its share of boiling."""
    return sheet.family == "copper" and has_zinc(sheet)


def skin_factor(sheet: AlloySheet) -> float:
    """Share of the bare rate that an undisturbed bath gives off (judgement: no measured value was found).

    That a skin protects is measured (zinc in argon-oxygen: Su 1967) and used by galvanisers, who add 0.001-0.005 %
    aluminium against ash: a few per cent must protect strongly. Brass flares and has no skin but with aluminium.
    """
    aluminium = sheet.weight_percent().get("Al", 0.0)
    if sheet.family == "copper":
        return 0.2 if aluminium >= 0.5 else 1.0
    if aluminium >= 2.0:
        return 0.01
    return 0.1 if aluminium >= 0.005 else 0.3


def oxide_bare_g_per_min(sheet: AlloySheet, temp_c: float, mouth_mm: float = DEFAULT_MOUTH_MM) -> float:
    """Zinc oxide from a bare bath of this alloy, g/min. Raises OutOfRange outside 100-1500 degC."""
    pressure_pa = vapour.zinc_pressure_over_pa(sheet.weight_percent(), temp_c)
    return evaporation.bare_zinc_g_per_min(pressure_pa, temp_c, mouth_mm) * evaporation.ZINC_OXIDE_PER_ZINC


def breathed_15_min_mg_per_m3(
    sheet: AlloySheet, temp_c: float, disturbed: bool, air: Air | None = None, mouth_mm: float = DEFAULT_MOUTH_MM
) -> float:
    """Mean zinc oxide at the pot in the first quarter of an hour, mg/m3: under the skin, or with two minutes bare."""
    air = air or Air()
    bare, skin = oxide_bare_g_per_min(sheet, temp_c, mouth_mm), skin_factor(sheet)
    dose = ventilation.dose_mg_min_per_m3(bare * skin, air, ventilation.SHORT_MIN)
    if disturbed:
        dose += ventilation.dose_after_burst_mg_min_per_m3(
            bare * (1.0 - skin), air, DISTURBED_MIN, ventilation.SHORT_MIN
        )
    return air.near_field * dose / ventilation.SHORT_MIN


def fume_table(sheet: AlloySheet, air: Air | None = None, mouth_mm: float = DEFAULT_MOUTH_MM) -> FumeTable | None:
    """Where each level begins, for the engine; None for an alloy without zinc."""
    if not has_zinc(sheet):
        return None
    air = air or Air()
    shares = sheet.weight_percent()

    def begins(ratio: float, disturbed: bool) -> float | None:
        def over(temp_c: float) -> bool:
            breathed = breathed_15_min_mg_per_m3(sheet, temp_c, disturbed, air, mouth_mm)
            return breathed >= ratio * limits.LEVELS.mg_per_m3

        if not over(HIGHEST_C):
            return None
        low_c, high_c = LOWEST_C, HIGHEST_C
        while high_c - low_c > 0.1:
            middle_c = 0.5 * (low_c + high_c)
            low_c, high_c = (low_c, middle_c) if over(middle_c) else (middle_c, high_c)
        return high_c

    if is_brass(sheet):
        first, second = (vapour.temp_at_fraction_c(shares, fraction) for fraction in BRASS_FRACTIONS[:2])
        third = vapour.pot_line_c(shares)
        still = (_lower(first, begins(1.0, disturbed=False)), second, third)
        bare = (_lower(first, begins(1.0, disturbed=True)), second, third)
        why = tell("fume.levels.brass", known_difference_c=vapour.BOILING_KNOWN_C)
    else:
        still = (begins(0.1, False), begins(1.0, False), begins(10.0, False))
        bare = (begins(0.1, True), begins(1.0, True), begins(10.0, True))
        why = tell(
            "fume.levels.zinc",
            limit=limits.LEVELS.told(),
            volume=air.volume_m3,
            changes=air.changes_per_h,
            near_field=air.near_field,
        )
    solidus_c = sheet.solidus.value  # the activities are those of the liquid: nothing is said of the solid
    return FumeTable(
        still_c=_not_below(still, solidus_c),
        disturbed_c=_not_below(bare, solidus_c),
        flares=is_brass(sheet),
        why=why,
    )


_Three = tuple[float | None, float | None, float | None]


def _not_below(begins_c: _Three, floor_c: float) -> _Three:
    first, second, third = (None if from_c is None else max(from_c, floor_c) for from_c in begins_c)
    return first, second, third


def _lower(first_c: float | None, other_c: float | None) -> float | None:
    if first_c is None or other_c is None:
        return first_c if other_c is None else other_c
    return min(first_c, other_c)


def fume_report(
    sheet: AlloySheet,
    temp_c: float,
    air: Air | None = None,
    mouth_mm: float = DEFAULT_MOUTH_MM,
    air_limits: AirLimits = "strictest",
) -> FumeReport | None:
    """All that is said of fume at one temperature; None for an alloy without zinc. Raises OutOfRange."""
    table = fume_table(sheet, air, mouth_mm)
    if table is None:
        return None
    air = air or Air()
    pressure_pa = vapour.zinc_pressure_over_pa(sheet.weight_percent(), temp_c)
    fraction = pressure_pa / STANDARD_ATMOSPHERE_PA
    bare = oxide_bare_g_per_min(sheet, temp_c, mouth_mm)
    still = bare * skin_factor(sheet)
    governs = tuple(limits.governing("zinc oxide fume", kind, air_limits) for kind in ("15 min", "8 h"))
    short, shift = (one.mg_per_m3 for one in governs)
    report = FumeReport(
        temp_c=temp_c,
        zinc_pa=pressure_pa,
        boiling_fraction=fraction,
        oxide_bare_g_per_min=bare,
        oxide_still_g_per_min=still,
        short_term_min_still=ventilation.minutes_to_short_term(still, air, short),
        short_term_min_bare=ventilation.minutes_to_short_term(bare, air, short),
        shift_min_still=ventilation.minutes_to_shift(still, air, shift),
        shift_min_bare=ventilation.minutes_to_shift(bare, air, shift),
        clear_min=ventilation.minutes_to_clear(_left_behind(bare, still, air), air, shift),
        level_still=table.level(temp_c, disturbed=False),
        level_disturbed=table.level(temp_c, disturbed=True),
        words=(),
    )
    return msgspec.structs.replace(report, words=_words(sheet, report, air, governs, air_limits))


def _left_behind(bare: float, still: float, air: Air) -> float:
    """Room average at the end of the work, the skin broken in its last minutes."""
    k = air.turnover_per_min
    before = ventilation.concentration_mg_per_m3(still, air, MELT_MIN)
    burst = ventilation.concentration_mg_per_m3(bare, air, DISTURBED_MIN)
    return before * math.exp(-k * DISTURBED_MIN) + burst


def rough(value: float) -> str:
    """A figure known to a factor of ten, with one digit: `0.02`, `5`, `300`."""
    if not value > 0.0:
        return "0"
    magnitude = math.floor(math.log10(value))
    rounded = round(value, -magnitude)
    return f"{rounded:.{max(0, -magnitude)}f}"


def _words(
    sheet: AlloySheet, report: FumeReport, air: Air, governs: tuple[ExposureLimit, ...], air_limits: AirLimits
) -> tuple[Message, ...]:
    place = tell(f"fume.air.{air.place}") if air.place != "indoors" else _indoors(air)
    still = _reached(report.short_term_min_still, report.shift_min_still)
    bare = tell(
        "fume.bare",
        oxide=rough(report.oxide_bare_g_per_min),
        reached=_reached(report.short_term_min_bare, report.shift_min_bare),
    )
    oxide = rough(report.oxide_still_g_per_min)
    words = []
    if is_brass(sheet):
        words.append(
            tell(
                "fume.boiling",
                fraction=report.boiling_fraction,
                temp_c=report.temp_c,
                known_difference_c=vapour.BOILING_KNOWN_C,
            )
        )
        if report.boiling_fraction >= BRASS_FRACTIONS[2]:
            words.append(tell("fume.flares"))
        words.append(tell(f"fume.brass.{air.place}"))
        words.append(tell("fume.still.brass", place=place, oxide=oxide, reached=still))
        if skin_factor(sheet) < 1.0:
            words += [tell("fume.skin"), bare]
    else:
        words += [tell("fume.still.zinc", place=place, oxide=oxide, reached=still), bare]
    if report.clear_min is not None and air.place == "indoors":
        clear = rough(max(1.0, report.clear_min))
        words.append(tell("fume.clear", work_min=MELT_MIN, clear=clear, changes=air.changes_per_h))
    words.append(tell("fume.limits", short=governs[0].told(), shift=governs[1].told()))
    if any(limits.stands_in("zinc oxide fume", kind, air_limits) for kind in ("15 min", "8 h")):
        words.append(tell("fume.limits.stand_in", region=tell(f"fume.region.{air_limits}")))
    words.append(tell("fume.no_proof"))
    return tuple(words)


def _indoors(air: Air) -> Message:
    return tell("fume.air.indoors", volume=air.volume_m3, changes=air.changes_per_h)


def _reached(short_min: float | None, shift_min: float | None) -> Message:
    if short_min is None and shift_min is None:
        return tell("fume.reached.neither")
    return tell("fume.reached", short=_minutes(short_min), shift=_minutes(shift_min))


def _minutes(minutes: float | None) -> Message:
    """Below a minute in seconds: at a bare brass bath it is a matter of those, and never of one whole minute."""
    if minutes is None:
        return tell("fume.not_in_a_shift")
    if minutes < 1.0:
        return tell("fume.about_seconds", seconds=rough(max(1.0, 60.0 * minutes)))
    return tell("fume.about", minutes=rough(minutes))
