"""From a profile as written to one melt: every temperature a number, held against every limit. Pure."""

from collections.abc import Iterable

from pourcall.contract.message import tell
from pourcall.contract.plan import AlloyFacts, PotLimit
from pourcall.contract.profile_plan import ProfilePlan, ProfileSegment, SegmentKind
from pourcall.contract.quantities import temperature_c as typed_temperature_c
from pourcall.contract.toml_tables import Checker, row
from pourcall.profiles.profile import RELATIVE, Profile, refused

COLD_C = 20.0  # where a first ramp begins


def temperature_c(text: str, facts: AlloyFacts, tap_c: tuple[float, float]) -> float:
    """A written temperature in degC for an alloy and a tap window. Raises BadTemperature."""
    found = RELATIVE.fullmatch(text.strip())
    if found is None:
        return typed_temperature_c(text)
    point, sign, figure, unit = found.groups()
    base = {
        "liquidus": facts.liquidus_c,
        "solidus": facts.solidus_c,
        "pour_min": facts.pour_min_c,
        "pour_max": facts.pour_max_c,
        "tap_min": tap_c[0],
        "tap_max": tap_c[1],
        "tap_mid": 0.5 * (tap_c[0] + tap_c[1]),
    }[point.lower()]
    by = float(figure or 0.0) * (5.0 / 9.0 if (unit or "").upper() == "F" else 1.0)
    return base - by if sign == "-" else base + by


def resolve(profile: Profile, facts: AlloyFacts, tap_c: tuple[float, float], limits: Iterable[PotLimit]) -> ProfilePlan:
    """Numbers for one melt.

    limits: of alloy, pot, probe, furnace, boiling. Raises BadSheet by segment with the limit.
    """
    lowest = min(limits, key=lambda limit: limit.limit_c)
    file = Checker({})
    made: list[ProfileSegment] = []
    at_c: float | None = None
    for number, one in enumerate(profile.segments, 1):
        segment = Checker({}, row("segment", number), faults=file.faults)
        to_c = at_c if not one.to else temperature_c(one.to, facts, tap_c)
        if to_c is None:  # the file was checked: a first hold names its temperature
            continue
        if to_c > lowest.limit_c:
            what = tell(
                "profile.check.above_limit", to_c=to_c, asked=one.to, whose=lowest.whose, limit_c=lowest.limit_c
            )
            segment.add("to", what)
        if one.kind is SegmentKind.HOLD and to_c < facts.liquidus_c:
            what = tell("profile.check.would_freeze", to_c=to_c, liquidus_c=facts.liquidus_c)
            segment.add("to", what)
        if one.rate_c_per_min is not None and one.limit_min is not None:
            from_c = COLD_C if at_c is None else at_c
            least_min = abs(to_c - from_c) / one.rate_c_per_min
            if least_min > one.limit_min:
                what = tell(
                    "profile.check.limit_too_short",
                    limit_min=one.limit_min,
                    by_difference_c=abs(to_c - from_c),
                    rate_c_per_min=one.rate_c_per_min,
                    least_min=least_min,
                )
                segment.add("limit_min", what)
        made.append(
            ProfileSegment(
                kind=one.kind,
                to_c=round(to_c, 2),
                asked=one.to,
                rate_c_per_min=one.rate_c_per_min,
                for_s=None if one.for_min is None else 60.0 * one.for_min,
                wait_within_c=one.wait_within_c,
                limit_s=None if one.limit_min is None else 60.0 * one.limit_min,
                note=one.note,
            )
        )
        at_c = to_c
    if file.faults:
        raise refused(profile.key, profile.file, file.faults)
    return ProfilePlan(
        name=profile.key,
        hash=profile.hash,
        alloy=facts.key,
        segments=tuple(made),
        limit_c=lowest.limit_c,
        limit_whose=lowest.whose,
        text=profile.text,
        about=profile.about,
    )
