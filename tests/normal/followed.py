"""Ordinary melts of any simulated plant as the engine follows them, beside the truth: what was said and what was so.

Nothing here is compared with what the engine itself believes. `follow(seed, plant)` runs one melt; `wrong` names what
was said that is not so. A melt whose true bath rises more than 3 degC above its tap window is no normal melt: the
caster was careless or late, and the engine is right to say so.
"""

from dataclasses import dataclass, field
from functools import cache

from pourcall.contract import events as ev
from pourcall.contract.inputs import CommandIn, MarkPower, TickIn
from pourcall.contract.plan import MouldPlan
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason, Status
from pourcall.engine.core import Engine
from pourcall.sim.scenarios.plants import MELTS
from pourcall.sim.shop import Scenario, Truth, run
from tests.simulated import config_of

OVERSHOOT_C = 3.0
OF_AN_OVERSHOOT = {"overshoot:small", "above_window:small"}
OF_A_HOT_CHAMBER = {"furnace_rating:small", "probe_rating:chamber", "over_range:chamber"}
# A chamber truly as hot as that is over the rating of a type K probe beside the flame, and over the range of a type N.
RATED_C = 1230.0
READY_S = 60.0  # truly in the window for so long, and a call is due
LIQUID = 0.95  # below it no state that is acted on may be said
ACTED_ON = (ev.MeltState.LIQUID, ev.MeltState.READY, ev.MeltState.ABOVE)


@dataclass
class PourCall:
    """A pour call at the moment it was raised, beside the truth of that moment."""

    t_s: float
    mould: MouldPlan
    told_c: float
    u_c: float  # of the lip temperature
    true_c: float | None
    liquid: float
    lifted_for_s: float
    window_c: tuple[float, float]

    @property
    def beyond_u_c(self) -> float:
        """By how much the metal was beyond the window and its uncertainty."""
        if self.true_c is None:
            return 1e9
        low_c, high_c = self.window_c
        lip_c = self.true_c - self.mould.loss_c
        return max(low_c - self.u_c - lip_c, lip_c - high_c - self.u_c)


@dataclass
class Followed:
    """One melt as the engine followed it."""

    scenario: Scenario
    alarms: set[str] = field(default_factory=set)
    calls: list[PourCall] = field(default_factory=list)
    calls_before_lift: int = 0
    melts: int = 0
    lifts_proposed: int = 0
    dips: list[tuple[ev.Dip, float]] = field(default_factory=list)  # of a melt; with the truth while it was in
    overshot_c: float = -1e9
    bad_with_number: int = 0
    power_asked: int = 0  # whether it is as it was marked; here it always is
    unexplained: int = 0  # readings that the furnace cannot have made, as the engine has it
    unproven_s: list[float] = field(default_factory=list)  # a sound probe in liquid metal was asked to prove itself
    at: dict[str, float] = field(default_factory=dict)  # each alarm, question and doubt: when it was first said
    unmarked_at: dict[str, int] = field(default_factory=dict)  # marks that the person had forgotten by then
    power_misled: int = 0  # asked about the power where it was not as it was marked
    chamber_c: float = -1e9  # the hottest that the hot face truly was
    early_s: int = 0  # seconds in which a state that is acted on was said of metal that is not liquid
    ready_s: float = 0.0  # longest time in which the first mould's pour was truly due
    blind_s: float = 0.0  # longest time of the tip in liquid metal without a figure

    @property
    def is_normal(self) -> bool:
        return self.overshot_c <= OVERSHOOT_C

    def first(self, what: str, truth: Truth) -> None:
        """Remembers when something was first said."""
        if what not in self.at:
            self.at[what], self.unmarked_at[what] = truth.t_s, truth.unmarked

    @property
    def wrong(self) -> set[str]:
        """What was said that is not so. Where the person forgot a mark before, the engine was misled: `misled`."""
        return {what for what in self._said if not self.unmarked_at[what]}

    @property
    def misled(self) -> set[str]:
        """What was said that is not so, after a mark that was due and not made."""
        return {what for what in self._said if self.unmarked_at[what]}

    @property
    def _said(self) -> set[str]:
        said = set(self.at) if self.is_normal else set(self.at) - OF_AN_OVERSHOOT
        return said - OF_A_HOT_CHAMBER if self.chamber_c > RATED_C else said

    @property
    def faults(self) -> set[str]:
        """All that may not happen: what was said that is not so, and pours called on other metal than was told."""
        called = {"pour on metal that is not liquid"} if any(call.liquid < LIQUID for call in self.calls) else set()
        return self.wrong | called | ({"pour beyond its U"} if self.beyond_u else set())

    @property
    def beyond_u(self) -> list["PourCall"]:
        """Pours called on metal that lies beyond the stated uncertainty of the window."""
        return [call for call in self.calls if call.beyond_u_c > 0.0]

    @property
    def never_called(self) -> bool:
        """A pour was truly due for a minute, somebody had started the melt, something could tell, and nobody called."""
        asked = self.melts > 0 and self.scenario.kind != "chamber"
        return asked and self.ready_s >= READY_S and self.calls_before_lift == 0


@cache
def follow(seed: int, plant: str = "lumped") -> Followed:
    scenario = MELTS[plant](seed)
    engine = Engine(config_of(scenario))
    seen = Followed(scenario)
    marked = ""
    ready_since_s: float | None = None
    blind_since_s: float | None = None
    lifted_s: float | None = None
    in_metal_c: float | None = None
    lump_kg, mixed_s = 0.0, -1e9
    for item, truth in run(scenario):
        if type(item) is CommandIn and isinstance(item.command, MarkPower):
            marked = item.command.level.value
        if truth.lifted and lifted_s is None:
            lifted_s = truth.t_s
        elif not truth.lifted:
            lifted_s = None
        # The plant mixes a molten lump into the bath at once, by up to 25 degC in half a second; no bath does, and a
        # dip that ends in that moment read what was there before.
        if lump_kg > 0.0 and truth.lump_kg == 0.0:
            mixed_s = truth.t_s
        lump_kg = truth.lump_kg
        if truth.in_metal and truth.metal_c is not None and truth.t_s - mixed_s > 3.0:
            in_metal_c = truth.metal_c
        for out in engine.handle(item):
            if type(out) is Reading:
                seen.bad_with_number += out.status is Status.BAD and out.temp_c is not None
                if out.reason is Reason.UNEXPLAINED:
                    seen.unexplained += 1
                    seen.first("unexplained", truth)
                if out.reason is Reason.UNPROVEN and truth.liquid_fraction > 0.98 and truth.in_metal:
                    seen.unproven_s.append(truth.t_s)
            elif isinstance(out, ev.AlarmChanged):
                seen.alarms.add(out.alarm.id)
                seen.first(out.alarm.id, truth)
            elif isinstance(out, ev.MeltStarted):
                seen.melts += 1
            elif isinstance(out, ev.LiftMarked):
                seen.lifts_proposed += out.proposed
            elif isinstance(out, ev.DipRecorded) and in_metal_c is not None and engine.run is not None:
                seen.dips.append((out.dip, in_metal_c))
            elif isinstance(out, ev.CallChanged) and out.how == "raised" and out.call.kind is ev.CallKind.CHECK_POWER:
                if marked in ("", truth.power_level):
                    seen.power_asked += 1
                    seen.first("check_power", truth)
                else:
                    seen.power_misled += 1
            elif isinstance(out, ev.CallChanged) and out.how == "raised" and out.call.kind is ev.CallKind.POUR:
                seen.calls.append(_pour_call(engine, out.call, truth, lifted_s))
                seen.calls_before_lift += lifted_s is None
        if engine.run is not None and engine.run.next_mould is not None and not truth.lifted and truth.metal_c:
            tap_max_c = min(engine.run.next_mould.tap_max_c, engine.run.plan.lowest_limit.limit_c)
            seen.overshot_c = max(seen.overshot_c, truth.metal_c - tap_max_c)
        if type(item) is TickIn:
            seen.chamber_c = max(seen.chamber_c, truth.wall_c)
            ready_since_s = truth.t_s if not _ready(engine, truth) else ready_since_s
            seen.ready_s = max(seen.ready_s, truth.t_s - (truth.t_s if ready_since_s is None else ready_since_s))
            told_c = engine.metal.temp_c
            sees = told_c is not None or not truth.in_metal or truth.liquid_fraction < 0.5 or engine.run is None
            blind_since_s = truth.t_s if sees else blind_since_s
            seen.blind_s = max(seen.blind_s, truth.t_s - (truth.t_s if blind_since_s is None else blind_since_s))
            if engine.run is not None and truth.metal_c is not None and truth.liquid_fraction < LIQUID:
                seen.early_s += engine.state in ACTED_ON and not truth.lifted
    return seen


def _ready(engine: Engine, truth: Truth) -> bool:
    """Is the metal truly so that the next mould could be poured from it."""
    if engine.run is None or engine.run.next_mould is None or truth.lifted or truth.metal_c is None:
        return False
    mould = engine.run.next_mould
    hottest_c = min(mould.tap_max_c, engine.run.plan.lowest_limit.limit_c)
    return truth.liquid_fraction >= 0.999 and truth.lump_kg == 0.0 and mould.tap_min_c <= truth.metal_c <= hottest_c


def _pour_call(engine: Engine, call: ev.CallView, truth: Truth, lifted_s: float | None) -> PourCall:
    assert engine.run is not None
    assert engine.judgement is not None
    mould = next(m for m in engine.run.plan.moulds if m.name == call.mould)
    window_c = (mould.lip_min_c, min(mould.lip_max_c, engine.run.plan.lowest_limit.limit_c - mould.loss_c))
    assert engine.metal.temp_c is not None
    return PourCall(
        truth.t_s,
        mould,
        engine.metal.temp_c,
        engine.judgement.lip_u_c,
        truth.metal_c,
        truth.liquid_fraction,
        0.0 if lifted_s is None else truth.t_s - lifted_s,
        window_c,
    )
