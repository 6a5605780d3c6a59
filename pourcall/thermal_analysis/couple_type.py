"""Does a trace read like another couple than the settings say. A slow stretch of it in, letter types out. Pure.

A type J couple read as type K gives another scale: the metal seems to melt where its sheet has nothing, and to pass
where it should have melted as if nothing were there. So the stretch that took the heat is turned back into microvolts
and read again as each other letter type (reference functions of ITS-90, IEC 60584-1). It fits where it then begins and
ends as the sheet says, and took as much heat. The figures of what fits are ours, judged on simulated melts and on real
traces (tests/normal, tests/faults/test_T9.py): no source.
Not here: what is done about it (engine/bath/melt_arrests.py); a couple that reads a part of its rise only.
"""

from collections.abc import Iterator

from pourcall.thermal_analysis.melting import LEAST_S, MeltingWatch, Slow, Stage
from pourcall.thermometry.thermocouple import TYPES, emf_uv_or_none, temp_c_or_none

TERMINALS_C = 25.0  # where a source does not say: a shop
APART_C = 30.0  # read as it is set, it ended at least so far below the liquidus,
CLEAR_C = 5.0  # or began so far above it
BELOW_SOLIDUS_C = 16.0  # from there on its own melting would have held it back
# Read again, it begins and ends so near to the sheet: between lumps a probe sees the pot, reads high and may sink.
BEGINS_C, ENDS_C = (-15.0, 20.0), (-18.0, 30.0)  # from the solidus up to the liquidus; of the liquidus
# Of latent heat over specific heat: an alloy that melts over more of it shows no stretch to go by.
WIDEST_SHARE, WIDEST_UNSEEN_SHARE = 0.6, 0.75
HEAT_SHARE = (0.3, 2.2)  # of it: so far behind the stretch falls
SOLIDUS_C = 30.0  # so near to the solidus a melting that begins is surely its own
GOING_SHARE = 0.4  # of it, while it goes on
PAST_C = 20.0  # so far past all that could be its melting, and nothing of it seen: by another type it is yet to come
UNSEEN_S = 120.0  # and for so long: a tip between lumps reads too high for a while, and falls back to its metal
MELTED_SHARE = 0.1  # of latent over specific heat: with so much behind something was seen
LIKELY = ("K", "N", "J", "T", "E")  # base metal types: what lies in a drawer beside another
LEAST_RISE, LOW_C = 0.3, 15.0  # of what its whole range over its heat would give; not where it stood by its solidus
PASSED_C = 15.0


def read_as(other: str, temp_c: float, set_type: str, terminals_c: float) -> float | None:
    """What a couple of another type is at where one of the set type reads temp_c; None: beyond one of the two."""
    hot_uv, cold_uv = emf_uv_or_none(set_type, temp_c), emf_uv_or_none(set_type, terminals_c)
    other_uv = emf_uv_or_none(other, max(terminals_c, 0.0))
    if hot_uv is None or cold_uv is None or other_uv is None:
        return None
    return temp_c_or_none(other, hot_uv - cold_uv + other_uv)


class CoupleWatch:
    """One probe in one melt. `look` with each line of its trace, beside the watch for its melting."""

    def __init__(self, set_type: str) -> None:
        """set_type: the letter its figures are made by; none: nothing is said of it."""
        self.set_type, self.terminals_c = set_type, TERMINALS_C
        self.hangs: tuple[str, ...] = ()  # types by which it is its own metal that melts just now
        self._held: Slow | None = None  # the stretch that goes on
        self._over: list[Slow] = []  # those that are over, the last ones
        self.found: tuple[Slow, tuple[str, ...]] | None = None  # the melting by which it was told, and the types
        self._free_since_s: float | None = None  # since when it is past its melting, and nothing of it was seen
        # It is past its melting, none of which was seen, and by another type it would be solid still. No couple is
        # accused of that: a tip between lumps that sees the pot does the same, and falls back to its metal in the end.
        self.unseen = False

    def ends_at(self, terminals_c: float) -> None:
        """What its terminals are at by now."""
        self.terminals_c = terminals_c

    def by_its_solidus(self, melting: MeltingWatch) -> bool:
        """What was found began to melt about the solidus, read as the first of the types: no other alloy's does."""
        if self.found is None:
            return False
        slow, types = self.found
        begins_c = read_as(types[0], slow.from_c, self.set_type, self.terminals_c)
        return begins_c is not None and begins_c <= melting.solidus_c + SOLIDUS_C

    @property
    def told(self) -> bool:
        """It reads like another type: its melting was seen where that has it."""
        return self.found is not None

    def look(self, melting: MeltingWatch, at_s: float, level_c: float, slope: float, free_enough: float) -> bool:
        """True once, when it is found. level_c, slope: of the trace now; free_enough: share at which nothing melts."""
        self.hangs, self.unseen = (), False
        if not self.set_type or self.told or melting.stage is Stage.OVER:
            return False
        held, how = melting.slow, (self.set_type, self.terminals_c)
        if self._held is not None and self._held is not held:
            self._over = [*self._over[-3:], self._held]
        self._held = held
        if held is not None and melting.from_below:
            self.hangs = _melts_like(held, melting, *how, free_enough, goes_on=True)
            sure = tuple(other for other in self.hangs if _enough_heat(held, melting, *how, other))
            if sure:
                self.found = held, sure
        for slow in self._over:
            if self.found is None and slope >= free_enough * slow.rate and level_c > slow.halt_c + PASSED_C:
                fitting = _melts_like(slow, melting, *how, free_enough, goes_on=False)
                if fitting:
                    self.found = slow, fitting
        if self.found is None:
            if not self._not_yet(melting, level_c, slope, free_enough):
                self._free_since_s = None
            elif self._free_since_s is None:
                self._free_since_s = at_s
            self.unseen = self._free_since_s is not None and at_s - self._free_since_s >= UNSEEN_S
        return self.told

    def _not_yet(self, melting: MeltingWatch, level_c: float, slope: float, free_enough: float) -> bool:
        """It rises as solid metal does, well past its melting, none of which was seen: by a likely type it still is."""
        facts, rate = melting.facts, melting.rate
        range_c = facts.liquidus_c - melting.solidus_c
        if (
            not melting.from_below
            or melting.slow is not None
            or rate is None
            or range_c > WIDEST_UNSEEN_SHARE * melting.whole_k
        ):
            return False
        seen = melting.ended or melting.behind_k > MELTED_SHARE * melting.whole_k
        if seen or level_c < melting.high_c + PAST_C or slope < free_enough * rate:
            return False
        if not melting.passed(melting.solidus_c - BELOW_SOLIDUS_C, melting.high_c, free_enough):
            return False
        again = (read_as(other, level_c, self.set_type, self.terminals_c) for other in LIKELY)
        return any(temp_c is not None and temp_c < melting.solidus_c for temp_c in again)

    def lost(self) -> None:
        """The probe left the metal, or gives no number."""
        self.hangs, self._held, self._free_since_s, self.unseen = (), None, None, False
        self._over.clear()


def _melts_like(
    slow: Slow, melting: MeltingWatch, set_type: str, terminals_c: float, free_enough: float, *, goes_on: bool
) -> tuple[str, ...]:
    """Types by which this stretch is the melting of its own sheet, which it passed freely as it is read. () if none.

    free_enough: share of the rate before at which nothing melts. goes_on: the stretch does, and may take more heat yet.
    """
    facts = melting.facts
    range_c = facts.liquidus_c - melting.solidus_c
    if slow.disturbed or not slow.believed or slow.lasted_s < LEAST_S or range_c > WIDEST_SHARE * melting.whole_k:
        return ()
    if slow.from_c > facts.liquidus_c + CLEAR_C:
        passed = melting.passed(melting.solidus_c - BELOW_SOLIDUS_C, facts.liquidus_c, free_enough)
    elif not goes_on and slow.halt_c < facts.liquidus_c - APART_C:
        low_c = max(slow.halt_c + PASSED_C, min(melting.solidus_c - 10.0, facts.liquidus_c - PASSED_C))
        wide = facts.liquidus_c - low_c >= PASSED_C
        passed = wide and melting.passed(low_c, facts.liquidus_c + CLEAR_C, free_enough, since_s=slow.halted_s)
    else:
        return ()
    return tuple(_fitting(slow, melting, set_type, terminals_c, goes_on=goes_on)) if passed else ()


def _enough_heat(slow: Slow, melting: MeltingWatch, set_type: str, terminals_c: float, other: str) -> bool:
    """The stretch has taken as much heat as a good part of the melting, read as the other type."""
    return GOING_SHARE * melting.whole_k <= slow.behind_k * _scale(other, slow.halt_c, set_type, terminals_c)


def _fitting(slow: Slow, melting: MeltingWatch, set_type: str, terminals_c: float, *, goes_on: bool) -> Iterator[str]:
    liquidus_c, solidus_c, whole_k = melting.facts.liquidus_c, melting.solidus_c, melting.whole_k
    own = (liquidus_c - solidus_c) / (liquidus_c - solidus_c + whole_k)
    for other in TYPES:
        begins_c = read_as(other, slow.from_c, set_type, terminals_c)
        ends_c = read_as(other, slow.halt_c, set_type, terminals_c)
        if other == set_type or begins_c is None or ends_c is None:
            continue
        behind_k = slow.behind_k * _scale(other, slow.halt_c, set_type, terminals_c)
        rise = max(0.0, ends_c - begins_c)
        rises = rise / max(rise + behind_k, 1.0)
        begins = BEGINS_C[0] <= begins_c - solidus_c and begins_c - liquidus_c <= BEGINS_C[1]
        ends = ENDS_C[0] <= ends_c - liquidus_c <= ENDS_C[1] or (goes_on and ends_c < liquidus_c)
        heat = behind_k <= HEAT_SHARE[1] * whole_k and (goes_on or behind_k >= HEAT_SHARE[0] * whole_k)
        steady_c = read_as(other, slow.steady_c, set_type, terminals_c)
        low = steady_c is not None and steady_c <= solidus_c + LOW_C
        sank = begins_c >= ends_c  # no controller holds so
        flat = rises <= 1.5 * own + 0.1 and (goes_on or low or sank or rises >= LEAST_RISE * own)
        if begins and ends and heat and flat:
            yield other


def _scale(other: str, temp_c: float, set_type: str, terminals_c: float) -> float:
    """Degrees as the other type for one as it is set."""
    low_c = read_as(other, temp_c - 2.0, set_type, terminals_c)
    high_c = read_as(other, temp_c + 2.0, set_type, terminals_c)
    return 1.0 if low_c is None or high_c is None else (high_c - low_c) / 4.0
