"""Where the melt stands. The metal's temperature becomes a band; band and present state are a row of a table.

    state     entered when                                        left when
    empty     no melt runs                                        a melt starts
    unknown   nothing tells the metal's temperature               something does
    solid     below the solidus                                   2 degC above it
    melting   from the solidus to the liquidus plus a margin,     the margin is passed, or it falls back
              not fluid before, or fluid and rising again
    liquid    fluid, below the tap window                         3 degC inside it need not be: at its edge
    ready     inside the tap window of the mould that is next     3 degC outside it
    above     above the tap window                                3 degC inside it again
    freezing  was fluid, now below the liquidus, or an arrest     fluid again, solid, or clearly rising for longer
              on cooling says so                                  than a recalescence lasts

Margin above the liquidus: of the alloy sheet (15 degC; 25 for ZA-27, whose trade figure and assessment disagree).

An arrest in the trace of the probe itself goes before the reading, for a probe may be out by 25 degC: while it lasts
the metal is neither liquid nor ready, and once a melting arrest is over it is liquid, however low the probe reads.
It never unsays that the metal is too hot, and never makes it ready: that takes the reading.
"""

from enum import StrEnum

from pourcall.contract.events import MeltState
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.engine.melt.melt_run import AfterLift
from pourcall.thermal_analysis.arrest_analysis import Findings

SOLID_HYSTERESIS_C = 2.0
WINDOW_HYSTERESIS_C = 3.0
RISING_C_PER_MIN = 3.0


class Band(StrEnum):
    """Where the metal's temperature lies, hysteresis already applied."""

    NONE = "none"  # not known
    COLD = "cold"
    MUSHY = "mushy"
    MUSHY_RISING = "mushy_rising"
    FREEZING = "freezing"  # by an arrest
    FLUID = "fluid"
    WINDOW = "window"
    OVER = "over"


M, B = MeltState, Band
MELT_TABLE: dict[tuple[MeltState, Band], MeltState] = {
    **{(state, B.NONE): M.UNKNOWN for state in M if state is not M.EMPTY},
    **{(state, B.COLD): M.SOLID for state in M if state is not M.EMPTY},
    **{(state, B.FLUID): M.LIQUID for state in M if state is not M.EMPTY},
    **{(state, B.WINDOW): M.READY for state in M if state is not M.EMPTY},
    **{(state, B.OVER): M.ABOVE for state in M if state is not M.EMPTY},
    (M.SOLID, B.MUSHY): M.MELTING,
    (M.MELTING, B.MUSHY): M.MELTING,
    (M.UNKNOWN, B.MUSHY): M.MELTING,
    (M.LIQUID, B.MUSHY): M.FREEZING,
    (M.READY, B.MUSHY): M.FREEZING,
    (M.ABOVE, B.MUSHY): M.FREEZING,
    (M.FREEZING, B.MUSHY): M.FREEZING,
    **{(state, B.MUSHY_RISING): M.MELTING for state in M if state is not M.EMPTY},
    **{(state, B.FREEZING): M.FREEZING for state in M if state is not M.EMPTY},
    **{(M.EMPTY, band): M.EMPTY for band in B},
}


def band_of(
    temp_c: float | None,
    rate_c_per_min: float | None,
    alloy: AlloyFacts,
    tap_c: tuple[float, float],
    state: MeltState,
) -> Band:
    """The band of a metal temperature, seen from the present state (which decides on which side a tie falls)."""
    if temp_c is None:
        return Band.NONE
    tap_min_c, tap_max_c = tap_c
    solid_c = alloy.solidus_c + (SOLID_HYSTERESIS_C if state is MeltState.SOLID else -SOLID_HYSTERESIS_C)
    if temp_c < solid_c:
        return Band.COLD
    fluid = state in (MeltState.LIQUID, MeltState.READY, MeltState.ABOVE)
    fluid_c = alloy.liquidus_c - SOLID_HYSTERESIS_C if fluid else alloy.liquidus_c + alloy.liquid_margin_c
    if temp_c < fluid_c and temp_c < tap_min_c + WINDOW_HYSTERESIS_C:
        rising = rate_c_per_min is not None and rate_c_per_min > RISING_C_PER_MIN
        return Band.MUSHY_RISING if rising else Band.MUSHY
    hysteresis_c = min(WINDOW_HYSTERESIS_C, (tap_max_c - tap_min_c) / 4.0)  # a narrow window can still be entered
    low_c = tap_min_c - (hysteresis_c if state in (MeltState.READY, MeltState.ABOVE) else 0.0)
    high_c = tap_max_c + (hysteresis_c if state is MeltState.READY else 0.0)
    if state is MeltState.ABOVE:
        high_c -= hysteresis_c
    if temp_c < low_c:
        return Band.FLUID
    if temp_c <= high_c:
        return Band.WINDOW
    return Band.OVER


def band_with_arrest(band: Band, found: Findings, *, same_probe: bool) -> tuple[Band, Message]:
    """The band as the arrests have it, and why in words where that differs; else the band as it is and an empty text.

    same_probe: the figure behind the band comes from the probe whose trace this is.
    """
    if found.held_back and band in (Band.FLUID, Band.WINDOW):
        return (Band.FREEZING if found.freezing else Band.MUSHY_RISING), found.held_back
    if not same_probe:
        return band, NOTHING
    if found.freezing and band in (Band.MUSHY, Band.MUSHY_RISING):
        return Band.FREEZING, found.held_back
    if found.springs and band is Band.MUSHY_RISING:
        return Band.MUSHY, NOTHING
    if found.melting and band is Band.COLD:
        return Band.MUSHY_RISING, found.held_back
    if found.liquid and band in (Band.COLD, Band.MUSHY, Band.MUSHY_RISING):
        return Band.FLUID, tell("melt.arrest_over")
    return band, NOTHING


def next_state(state: MeltState, band: Band) -> MeltState:
    """One step in the table."""
    return MELT_TABLE[state, band]


def why_in(band: Band) -> Message:
    """Why the melt stands where it does, by the band alone; not for a metal of unknown temperature."""
    return tell(f"melt.band.{band.value}")


def in_the_hand(alloy: AlloyFacts, after: AfterLift | None, was: tuple[MeltState, Told]) -> tuple[MeltState, Told]:
    """Where it stands in a pot that was lifted, and why: by what would arrive now; not known, as it was."""
    if after is None or after.lip_c is None:
        return was if was[0] is not MeltState.EMPTY else (MeltState.UNKNOWN, NOTHING)
    why = tell("melt.in_the_hand", lip_c=after.lip_c)
    if after.lip_c < alloy.solidus_c:
        return MeltState.SOLID, why
    if after.lip_c < alloy.liquidus_c:
        return MeltState.FREEZING, why
    if after.too_hot:
        return MeltState.ABOVE, why
    if not after.too_cold:
        return MeltState.READY, why
    return MeltState.LIQUID, why
