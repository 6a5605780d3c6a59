"""What the arrests of one melt say, one probe in the metal. Samples in; is it melting, is it liquid, is the probe
or the alloy another than it should be.

`take` only averages, for it stands on the path of every reading; the work is done once a second in `tick`. What is a
halt is found in arrests.py (cooling) and melting.py (heating), what it means in arrest_check.py. A wrong alloy is said
only where it halted far from where it should, rose freely through where it should have halted, and, where the other
sheets are known, one of them fits: a hold at a panel's setpoint does one of these, no hold does all three.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, isfinite

from pourcall.contract.message import NOTHING as SILENT
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import AlloyFacts, AlloyHalts
from pourcall.thermal_analysis.arrest_check import (
    PROBE_MAY_C,
    PROBE_MAY_SHARE,
    Verdict,
    check_arrest,
    expected_of,
    one_of,
    side_of,
)
from pourcall.thermal_analysis.arrests import Arrest, ArrestWatch, Way
from pourcall.thermal_analysis.couple_type import CoupleWatch
from pourcall.thermal_analysis.freezing import FreezingWatch
from pourcall.thermal_analysis.melting import LEAST_S, NEAR_C, MeltingWatch, Slow, Stage

USUAL_U_C = 6.0  # of a probe without a budget yet, k = 2
HEATING_U_C = 12.0  # between lumps a probe half sees the pot; judged on simulated melts (k = 2)
SHORT_C = 30.0  # a longer melting range gives nothing to read the probe by
APART_C = 30.0  # a halt so far below the sheet's range is no matter of probe, batch or undercooling
# Nothing melts where it rises at so much of the rate before: so many times the share this alloy's own melting would
# leave (its range over range and latent heat together), between these shares.
FREE_TIMES, LEAST_FREE, MOST_FREE = 1.6, 0.3, 0.6
EVEN = 0.75  # and it rises there nearly as fast as beyond the liquidus, where nothing is left to melt
BEYOND_C = (5.0, 25.0)
SHOWS = 1.5  # latent heat over specific heat, to the melting range: with less the alloy hardly slows while it melts
PASSED_C = 15.0  # so much of the sheet's range must have been passed freely at the least
FITS_C = 15.0  # another sheet must meet it so well to be named
NAMED_SHOWS = 2.0  # as SHOWS, of a sheet that is to be named: one that melts over 150 degC fits too much
HEAT_SHARE = (0.4, 2.2)  # of a sheet's latent heat over specific heat: so far behind a halt of that alloy falls
LEAST_RISE = 0.3  # of what its whole range over its whole heat would give
STALE_S = 12.0  # without a number for so long the trace is broken
OVER_C = 8.0  # above where melting was over nothing freezes
MOST_DUE = 64


@dataclass(frozen=True, slots=True)
class SeenArrest:
    """An arrest that is over, for the record. temp_c as read."""

    at_mono_s: float
    temp_c: float
    text: Message


@dataclass(frozen=True, slots=True)
class Findings:
    """What the trace of one probe shows now.

    liquid True: its melting arrest is over and it reads above that; None: not to be told. seen: what ended since the
    last tick.
    """

    text: Message = SILENT
    melting: bool = False
    freezing: bool = False
    awaited: bool = False  # it came from below and has not been seen to melt yet
    liquid: bool | None = None
    springs: bool = False  # it was liquid, and a rise just now may be no heat put in but freezing that sets it free
    wrong_alloy: Message = SILENT
    like: tuple[str, ...] = ()  # keys of the sheets that melt where it hangs, where its own metal cannot
    couples: tuple[str, ...] = ()  # letter types by which it is its own metal that melts where it hangs
    wrong_couple: Message = SILENT
    seen: tuple[SeenArrest, ...] = ()

    @property
    def held_back(self) -> Message:
        """Why nothing may be poured yet; no message: the arrests have nothing against it."""
        if self.couples:
            return tell("arrest.held.like_couple", types=one_of(self.couples))
        if self.like:
            return tell("arrest.held.like_another")
        if self.melting:
            return tell("arrest.held.melting")
        if self.freezing:
            return tell("arrest.held.freezing")
        return tell("arrest.held.awaited") if self.awaited else SILENT


NOTHING = Findings()


class ArrestAnalysis:
    """One melt, one probe. `take` each followed sample while it is in the metal, `tick` once a second."""

    __slots__ = (
        "_due",
        "_ends_s",
        "_findings",
        "_first_s",
        "_last",
        "_last_s",
        "_like",
        "_n",
        "_others",
        "_own",
        "_said",
        "_sum",
        "_told",
        "_u_c",
        "_wrong",
        "_wrong_couple",
        "bin_s",
        "couple",
        "facts",
        "freezing",
        "melting",
        "watch",
    )

    def __init__(
        self,
        facts: AlloyFacts,
        sheath_s: float,
        sample_s: float,
        *,
        others: Sequence[AlloyHalts] = (),
        tc_type: str = "",
    ) -> None:
        """sheath_s: time constant in metal; sample_s: between samples. others: sheets a wrong charge may be of.

        tc_type: the letter its figures are made by; none: nothing is said of it.
        """
        self.facts = facts
        self.couple = CoupleWatch(tc_type)
        self.watch = ArrestWatch(sheath_s, sample_s)
        self.melting = MeltingWatch(facts)
        self.freezing = FreezingWatch()
        self.bin_s = self.watch.bin_s
        self._own = expected_of(facts)
        self._others = tuple(other for other in others if other.key != facts.key)
        self._due: list[tuple[float, float]] = []
        self._ends_s, self._first_s, self._last_s, self._sum, self._n = -1e18, 0.0, 0.0, 0.0, 0
        self._last: tuple[float, float] | None = None  # level and slope
        self._told = self._wrong = self._wrong_couple = SILENT
        self._like: tuple[AlloyHalts, ...] = ()
        self._said: list[SeenArrest] = []
        self._u_c = USUAL_U_C
        self._findings = NOTHING

    # -- the path of a reading ----------------------------------------------------------------------------------------

    def take(self, mono_s: float, temp_c: float) -> None:
        """One followed sample of a probe that is in the metal."""
        if mono_s < self._ends_s:
            self._sum += temp_c
            self._n += 1
            self._last_s = mono_s
            return
        self._close()
        self._ends_s = mono_s + self.bin_s - 1e-6
        self._first_s = self._last_s = mono_s
        self._sum, self._n = temp_c, 1

    def _close(self) -> None:
        if self._n:
            mean_c = self._sum / self._n
            if isfinite(mean_c):
                self._due.append((0.5 * (self._first_s + self._last_s), mean_c))
        if len(self._due) >= MOST_DUE:
            self._work()

    def disturbed(self, mono_s: float) -> None:
        """An addition, a skim, a lid, the power: what begins in the next minute has its own reason."""
        self._work()
        self.watch.disturbed(mono_s)
        self.freezing.disturbed(mono_s)
        self.melting.disturbed(mono_s, self.watch.span_s)

    def lost(self) -> None:
        """The probe left the metal, or gives no number."""
        if self._ends_s < -1e17:
            return
        self._close()
        self._work()
        self._ends_s, self._n, self._last = -1e18, 0, None
        self._like = ()
        self.couple.lost()
        self.watch.clear()
        self.melting.lost()
        self.freezing.over()

    # -- once a second ------------------------------------------------------------------------------------------------

    def tick(self, mono_s: float, probe_u_c: float | None = None) -> Findings:
        """How it stands. probe_u_c: the probe's own budget (k = 2) by now; the last one known holds."""
        if probe_u_c is not None and isfinite(probe_u_c):
            self._u_c = probe_u_c
        if mono_s - self._last_s > STALE_S + 4.0 * self.bin_s:
            self.lost()
        if self._due:
            self._work()
        elif not self._said and self._last is not None:
            return self._findings
        seen, self._said = tuple(self._said), []
        freezing = self.freezing.freezes and not self.freezing.remelts
        hangs = bool(self._like or self.couple.hangs)
        melting = self.freezing.remelts or hangs or (self.melting.melting and not freezing)
        awaited = self.melting.awaited or self.couple.unseen
        found = Findings(
            text=self._text(melting, freezing),
            melting=melting,
            freezing=freezing,
            awaited=awaited and self._last is not None and not melting and not freezing,
            liquid=self._liquid(melting),
            springs=(self.melting.been_liquid or self.melting.stage is Stage.OVER) and not self.freezing.heated,
            wrong_alloy=self._wrong,
            like=tuple(other.key for other in self._like),
            couples=self.couple.hangs,
            wrong_couple=self._wrong_couple,
            seen=seen,
        )
        self._findings = found if not seen else replace(found, seen=())
        return found

    def _work(self) -> None:
        watch, melting = self.watch, self.melting
        for at_s, mean_c in self._due:
            had = watch.line is not None
            arrest = watch.add_mean(at_s, mean_c)
            line = watch.line
            if line is None:
                if had:
                    melting.lost()
                    self._like = ()
                    self.couple.lost()
                    self.freezing.over()
                    self._last = None
                continue
            self._last = (line[1], line[2])
            was_over = melting.stage is Stage.OVER
            slow = melting.add(line[0], line[1], line[2], watch.slope_noise)
            self._follow_freezing(line[0], line[1], line[2])
            if slow is not None and melting.stage is Stage.OVER and not was_over:
                self._melted(slow)
            if arrest is not None and arrest.way is Way.COOLING:
                self._cooled(arrest)
            self._like = self._melts_like()
            if self.couple.look(melting, *line, self._free_enough()) and not self._wrong_couple:
                self._suspect_couple()
            melting.hangs(like_another=bool(self._like or self.couple.hangs))
            if not self._wrong and (melting.ended or melting.slow is not None):
                self._suspect_alloy(line[1], line[2])
        self._due.clear()

    # -- what it means ------------------------------------------------------------------------------------------------

    def _liquid(self, melting: bool) -> bool | None:
        if melting:
            return False
        if self.melting.stage is not Stage.OVER or self._last is None or self.freezing.freezes:
            return None
        return True if self._last[0] >= self.melting.over_c - 1.0 else None

    def _follow_freezing(self, at_s: float, level_c: float, slope: float) -> None:
        """Whether what was liquid freezes; solid metal does not."""
        melting = self.melting
        if melting.from_below and not melting.been_liquid and melting.stage is not Stage.OVER:
            self.freezing.over()
            return
        over = melting.stage is Stage.OVER
        began = self.freezing.add(
            at_s,
            level_c,
            slope,
            self.watch.slope_noise,
            within_c=(
                melting.low_c - melting.near_c,
                min(melting.high_c, melting.over_c + OVER_C) if over else melting.high_c,
            ),
            whole_k=melting.whole_k,
            over_c=min(melting.over_c, self.facts.liquidus_c) - 1.0 if over else None,
        )
        if began:
            self._told = SILENT  # that it has melted is no news any more

    def _text(self, melting: bool, freezing: bool) -> Message:
        if self._wrong_couple or self._wrong:
            return self._wrong_couple or self._wrong
        held = self.melting.slow
        if self.couple.hangs and held is not None:
            types, set_type = one_of(self.couple.hangs), self.couple.set_type
            return tell("arrest.like_couple", halt_c=held.halt_c, types=types, set_type=set_type, alloy=self.facts.name)
        if self._like and held is not None:
            names = tuple(other.name for other in self._like)
            alloy, where = self.facts.name, self._where()
            return tell("arrest.like_another", halt_c=held.halt_c, like=one_of(names), alloy=alloy, where=where)
        facts = self.facts
        if melting and (self.freezing.remelts or (held is not None and held.steady_c)):
            if held is None or facts.liquidus_c - self.melting.solidus_c > SHORT_C:
                return tell("arrest.melting_range", liquidus_c=facts.liquidus_c)
            return tell("arrest.melting_at", halt_c=held.steady_c)
        if freezing and not self._told:
            return tell("arrest.freezing_at", halt_c=self.freezing.halt_c)
        if not self._told and self._last is not None and self._unseen(self._last[0]):
            self._told = tell("arrest.unseen", solidus_c=self.facts.solidus_c, liquidus_c=self.facts.liquidus_c)
        return self._told

    def _unseen(self, level_c: float) -> bool:
        """It rose past the whole melting range, and nothing held it back."""
        melting = self.melting
        if level_c < melting.high_c or melting.stage is not Stage.BEFORE or melting.behind_k > 0.0:
            return False
        return melting.slow is None and melting.passed(self.facts.solidus_c - 10.0, self.facts.liquidus_c, 0.0)

    def _melted(self, slow: Slow) -> None:
        """The melting arrest is over."""
        facts = self.facts
        low_c, high_c = self.melting.solidus_c, facts.liquidus_c
        if high_c - low_c > SHORT_C:
            self._tell(
                slow.until_s, slow.to_c, tell("arrest.melted", free_c=slow.to_c, alloy=facts.name, sheet_c=high_c)
            )
            return
        reads_c = slow.steady_c
        off_c = reads_c - 0.5 * (low_c + high_c)
        u_c = hypot(HEATING_U_C, 0.5 * (high_c - low_c))
        if abs(off_c) <= hypot(u_c, self._u_c):
            text = tell("arrest.melting_agrees", reads_c=reads_c, alloy=facts.name)
        else:
            text = tell(
                "arrest.melting_far" if abs(off_c) > self.melting.near_c else "arrest.melting_off",
                reads_c=reads_c,
                alloy=facts.name,
                sheet_c=high_c,
                off_difference_c=abs(off_c),
                side=side_of(off_c),
                u_c=u_c,
            )
        self._tell(slow.until_s, reads_c, text)

    def _cooled(self, arrest: Arrest) -> None:
        """A halt or a knee on cooling: a measure of probe and alloy."""
        check = check_arrest(
            arrest, self._own, tuple(expected_of(other) for other in self._others), probe_u_c=self._u_c
        )
        if check.verdict in (Verdict.FITS, Verdict.PROBE):
            self._tell(arrest.end_s, check.reads_c, check.text)

    def _suspect_alloy(self, level_c: float, slope: float) -> None:
        """A halt on heating that is none of this alloy's, and nothing where its own should have been."""
        facts, melting = self.facts, self.melting
        solidus_c = melting.solidus_c
        liquidus_c, apart_c = facts.liquidus_c, APART_C + max(0.0, self._u_c - NEAR_C)
        above_c = self._above_c()
        beyond = melting.share(liquidus_c + BEYOND_C[0], liquidus_c + BEYOND_C[1])
        if beyond is None or level_c < liquidus_c + BEYOND_C[1] or melting.whole_k < SHOWS * (liquidus_c - solidus_c):
            return
        going_on = () if melting.slow is None else (melting.slow,)
        free_enough = self._free_enough()
        for slow in (*melting.ended, *going_on):
            if slow.disturbed or not slow.believed or slope < free_enough * slow.rate:
                continue
            if level_c < slow.halt_c + BEYOND_C[1]:
                continue
            since_s = -1e18
            if slow.halt_c < liquidus_c - apart_c:
                low_c = max(slow.halt_c + PASSED_C, min(solidus_c - 10.0, liquidus_c - PASSED_C))
                since_s = slow.halted_s
            elif above_c < slow.steady_c < facts.alloy_max_c:
                low_c = solidus_c - PASSED_C - 1.0
            else:
                continue
            wide = liquidus_c - low_c >= PASSED_C
            if not wide or not melting.passed(low_c, liquidus_c, free_enough, since_s=since_s):
                continue
            below = melting.share(low_c, liquidus_c)
            if below is None or below < EVEN * beyond:
                continue
            fitting = tuple(other.name for other in self._fitting(slow))
            enough = HEAT_SHARE[0] * melting.whole_k <= slow.behind_k <= HEAT_SHARE[1] * melting.whole_k
            if fitting or (enough and not self._others):
                self._accuse(slow.until_s, slow.halt_c, fitting)
                return

    def _suspect_couple(self) -> None:
        """Types that make a melting of this alloy's own of it; and sheets that would, if the type is right."""
        set_type, alloy, where = self.couple.set_type, self.facts.name, self._where()
        if self.couple.found is None:
            return
        slow, types = self.couple.found
        names = tuple(other.name for other in self._fitting(slow))
        reads_c = slow.halt_c
        if names and not self.couple.by_its_solidus(self.melting):
            return  # the alloy explains it better: wrong_alloy says so
        if names:
            told = tell(
                "arrest.wrong_couple_or_alloy",
                reads_c=reads_c,
                set_type=set_type,
                alloy=alloy,
                where=where,
                types=one_of(types),
                like=one_of(names),
            )
        else:
            told = tell(
                "arrest.wrong_couple", reads_c=reads_c, set_type=set_type, alloy=alloy, where=where, types=one_of(types)
            )
        self._wrong_couple = told
        self._said.append(SeenArrest(slow.until_s, reads_c, told))

    def _free_enough(self) -> float:
        """Share of the rate before at which it rises where it cannot be melting as its sheet has it."""
        range_c = self.facts.liquidus_c - self.melting.solidus_c
        own_share = range_c / (range_c + self.melting.whole_k)  # at which its own melting would rise there
        return min(max(FREE_TIMES * own_share, LEAST_FREE), MOST_FREE)

    def _above_c(self) -> float:
        """Above it no halt is this alloy's: its liquidus, what a probe may be out by, and what it sees of the pot."""
        facts = self.facts
        probe_c = max(PROBE_MAY_C, PROBE_MAY_SHARE * facts.liquidus_c, 1.5 * self._u_c)
        return facts.liquidus_c + max(facts.liquid_margin_c, hypot(probe_c, HEATING_U_C)) + 5.0

    def _melts_like(self) -> tuple[AlloyHalts, ...]:
        """Whose melting goes on above that of its own sheet, through which it rose freely; () where none does.

        Until that is over it is taken for melting. A furnace that holds at that very point takes more than that heat.
        """
        melting, slow = self.melting, self.melting.slow
        if slow is None or not melting.from_below or melting.stage is not Stage.BEFORE or melting.been_liquid:
            return ()
        if slow.disturbed or not slow.believed or slow.lasted_s < LEAST_S or slow.steady_c <= self._above_c():
            return ()
        low_c = melting.solidus_c - PASSED_C - 1.0
        if not melting.passed(low_c, self.facts.liquidus_c, self._free_enough()):
            return ()
        return self._fitting(slow, goes_on=True)

    def _fitting(self, slow: Slow, *, goes_on: bool = False) -> tuple[AlloyHalts, ...]:
        """Sheets whose halt it may be: where, how much heat it took, how flat it was. goes_on: it may take more yet."""
        found = []
        rise_c = max(0.0, slow.halt_c - slow.from_c)
        for other in self._others:
            solidus_c = min(other.solidus_c, other.eutectic_c or other.solidus_c)
            whole_k, range_c = other.latent_k or self.melting.whole_k, other.liquidus_c - solidus_c
            gap_c = abs(slow.halt_c - other.liquidus_c)
            there = solidus_c - FITS_C <= slow.steady_c <= other.liquidus_c + FITS_C and gap_c <= 2.0 * FITS_C
            least_k = 0.0 if goes_on else HEAT_SHARE[0] * whole_k
            heat = least_k <= slow.behind_k <= HEAT_SHARE[1] * whole_k
            rises, own = rise_c / max(rise_c + slow.behind_k, 1.0), range_c / (range_c + whole_k)
            low = slow.steady_c <= solidus_c + FITS_C  # further up it is past its eutectic, and rises as it melts
            begins = goes_on and slow.behind_k < HEAT_SHARE[0] * whole_k  # how flat it is does not show yet
            flat = (low or rises >= LEAST_RISE * own) and (begins or rises <= 1.5 * own + 0.1)
            if there and heat and flat and whole_k >= NAMED_SHOWS * range_c:
                found.append((gap_c, other.key, other))
        return tuple(other for *_, other in sorted(found, key=lambda one: one[:2])[:3])

    def _accuse(self, at_s: float, reads_c: float, names: tuple[str, ...]) -> None:
        facts, where = self.facts, self._where()
        if names:
            self._wrong = tell("arrest.wrong_like", reads_c=reads_c, like=one_of(names), alloy=facts.name, where=where)
        else:
            self._wrong = tell("arrest.wrong", reads_c=reads_c, alloy=facts.name, where=where)
        self._said.append(SeenArrest(at_s, reads_c, self._wrong))

    def _where(self) -> Message:
        """Where its own melting should have been."""
        facts = self.facts
        if facts.liquidus_c - facts.solidus_c > 2.0:
            return tell("arrest.between", low_c=facts.solidus_c, high_c=facts.liquidus_c)
        return tell("arrest.at", at_c=facts.liquidus_c)

    def _tell(self, at_s: float, reads_c: float, text: Message) -> None:
        self._told = text
        self._said.append(SeenArrest(at_s, reads_c, text))
