"""Couples that lie: real damaged ones stretched and scaled into any alloy's window, and invented ones by seed.

Out: `Lie`s, traces with the moment from which nothing of them is true, and `followed`, what the engine made of one.
Real traces: `tests/data/traces/PROVENANCE.md` (NIST). The invented kinds are after what those and the published
descriptions of failing couples show (insulation shunting, loose contacts, drift: ASTM MNL 12, from memory).
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.events import AlarmChanged, AlarmState, CallChanged, CallKind, MeltState, MeltStateChanged
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import Command, CommandIn, Input, MarkPower, PowerLevel, SampleIn, StartMelt, TickIn
from pourcall.contract.plan import MeltPlan, MouldRequest, tap_window_c
from pourcall.contract.reading import Place
from pourcall.drivers.trace_file import TraceFile, decode, read_trace
from pourcall.engine.core import Engine
from pourcall.metal.alloys.sheet import SheetLibrary, load_sheets
from pourcall.metal.windows import melt_plan

FOLDER = Path(__file__).parent / "data" / "traces"
TEST_2, TEST_3 = "E119_Compartment_Test_2", "E119_Compartment_Test_3"
# the last row that is not yet wrong
ONSETS = {(TEST_2, "BeamTC3"): 555.0, (TEST_3, "BeamTC5"): 2625.0, (TEST_3, "BeamTC6"): 2535.0}
ENDS = {(TEST_3, "BeamTC6"): 4500.0}  # then the fire is out, and it falls as its neighbours do
NEIGHBOURS = {"BeamTC3": ("BeamTC2", "BeamTC4"), "BeamTC5": ("BeamTC4", "BeamTC7"), "BeamTC6": ("BeamTC4", "BeamTC7")}
RIGHT_AGAIN = 0.05  # of the rise: so near to what it last read, or to a neighbour, it may well be right
ROOM_C = 20.0
UNIT_RISE_C = 1_000.0

Point = tuple[float, float | None]  # seconds, degC; None: no number


@dataclass(frozen=True)
class Lie:
    """A trace, and from when on it is not true; true_c: what the metal is at then, None: nobody knows."""

    name: str
    points: tuple[Point, ...]
    onset_s: float
    true_c: Callable[[float], float] | None = None


@dataclass
class Followed:
    """What the engine made of a lie, after its onset."""

    calls_s: list[float] = field(default_factory=list)
    ready_s: list[float] = field(default_factory=list)
    told_c: list[tuple[float, float]] = field(default_factory=list)  # the metal, wherever it was told
    raised: list[tuple[float, str]] = field(default_factory=list)  # alarms, whenever they went up and were heard
    standing: set[str] = field(default_factory=set)
    before: list[str] = field(default_factory=list)  # alarms heard before the onset

    @property
    def believed(self) -> bool:
        return bool(self.calls_s or self.ready_s)


@cache
def library() -> SheetLibrary:
    return load_sheets(None)


def alloys() -> list[str]:
    """All that ship, from the coldest to the hottest."""
    return [sheet.key for sheet in sorted(library().all(), key=lambda sheet: sheet.pour_min.value)]


@cache
def plan_of(alloy: str) -> MeltPlan:
    return melt_plan("lie", library().get(alloy), 1.5, [MouldRequest(name="mould", loss_c=20.0)])


def window_mid_c(alloy: str) -> float:
    plan = plan_of(alloy)
    low_c, high_c = tap_window_c(plan.moulds[0], plan)
    return 0.5 * (low_c + high_c)


@cache
def trace_of(name: str) -> TraceFile:
    return read_trace(decode((FOLDER / f"{name}.csv").read_bytes()), name=name)


# -- real ones, stretched ---------------------------------------------------------------------------------------------


def rests_c(name: str, couple: str, *, rows: int = 4, within: float = 0.02) -> list[float]:
    """Levels at which the damaged couple rests after its onset: those that could be taken for metal, and are not."""
    trace = trace_of(name)
    values = trace.column(couple).values
    others = [trace.column(other).values for other in NEIGHBOURS[couple]]
    onset, ends_s = trace.times_s.index(ONSETS[name, couple]), ENDS.get((name, couple), math.inf)
    found: list[float] = []
    for k in range(onset + 1, len(values) - rows):
        some = [value for value in values[k : k + rows] if value is not None]
        if trace.times_s[k + rows] > ends_s:
            break
        if len(some) < rows or min(some) < 60.0 or max(some) - min(some) > within * max(some):
            continue
        mid = sum(some) / rows
        right = [value for value in (values[onset], *(other[k] for other in others)) if value is not None]
        if any(abs(mid - value) <= RIGHT_AGAIN * (value - ROOM_C) for value in right):
            continue
        if all(abs(mid - other) > 0.06 * mid for other in found):
            found.append(mid)
    return found


def before_c(name: str, couple: str, *, rest_c: float, to_c: float) -> float:
    """What the couple read last before its onset, once its levels are scaled so."""
    trace = trace_of(name)
    right_c = trace.column(couple).values[trace.times_s.index(ONSETS[name, couple])]
    assert right_c is not None
    return ROOM_C + (to_c - ROOM_C) / (rest_c - ROOM_C) * (right_c - ROOM_C)


def stretched(
    name: str, couple: str, *, by: float, rest_c: float, to_c: float, every_s: float, gap_s: float = 0.0,
    lead_s: float = math.inf,
) -> Lie:  # fmt: skip
    """Time times `by`; levels scaled so that the rest at `rest_c` lies at `to_c`; drawn on straight between rows.

    gap_s: so long without a number from the onset on, before it comes back. lead_s: so much of it before the onset.
    """
    trace = trace_of(name)
    onset_s = ONSETS[name, couple] * by
    scale = (to_c - ROOM_C) / (rest_c - ROOM_C)
    rows = [
        (at_s * by, None if value is None else ROOM_C + scale * (value - ROOM_C))
        for at_s, value in zip(trace.times_s, trace.column(couple).values, strict=True)
        if at_s <= ENDS.get((name, couple), math.inf)
    ]
    points = tuple(
        (at_s, None if onset_s < at_s <= onset_s + gap_s or (value is not None and value > 1370.0) else value)
        for at_s, value in drawn_on(rows, every_s)
        if at_s >= onset_s - lead_s
    )
    told = f"{couple} x{by:g}, {rest_c:.0f} at {to_c:.0f}, every {every_s:g} s, gap {gap_s:g} s"
    return Lie(told, points, onset_s)


def drawn_on(rows: Sequence[Point], every_s: float) -> Iterator[Point]:
    """The rows as a board would have sent them, one sample every so many seconds, to a tenth of a degree."""
    index, at_s = 0, rows[0][0]
    while at_s <= rows[-1][0]:
        while rows[index + 1][0] < at_s and index + 2 < len(rows):
            index += 1
        (one_s, one), (two_s, two) = rows[index], rows[index + 1]
        if one is None or two is None:
            yield at_s, None
        else:
            yield at_s, round(one + (two - one) * (at_s - one_s) / (two_s - one_s), 1)
        at_s += every_s


SHEATHS = ("thin", "mineral_3mm", "mineral_6mm")
POWERS = (None, PowerLevel.HIGH, PowerLevel.OFF)
READS_UP_TO_C = 1300.0  # metal hotter than that before the onset no couple of this type reads
Case = tuple[str, str, float, float, float, float, str]


@cache
def real_cases() -> tuple[Case, ...]:
    """Trace, couple, the level where it rests, stretch, seconds lost at the onset, off the window's middle, alloy."""
    return tuple(
        (name, couple, rest_c, by, gap_s, off_c, alloy)
        for name, couple in ONSETS
        for by in (0.3, 0.5, 1.0, 2.0)
        for gap_s in (0.0, 20.0, 86.0, 300.0)
        for rest_c in rests_c(name, couple)
        for off_c in (-8.0, 0.0, 8.0)
        for alloy in alloys()
        if before_c(name, couple, rest_c=rest_c, to_c=window_mid_c(alloy) + off_c) <= READS_UP_TO_C
    )


def spread(count: int, first: int) -> range:
    """Numbers of about so many of them, evenly over couples, stretches and alloys."""
    return range(first, len(real_cases()), len(real_cases()) // count)


def real_copy(number: int) -> tuple[Lie, str, str, PowerLevel | None]:
    """The copy of that number, with alloy, sheath and what was marked of the power."""
    name, couple, rest_c, by, gap_s, off_c, alloy = real_cases()[number]
    every_s = (2.0 if number % 2 else 5.0) if by < 1.0 else 5.0
    to_c = window_mid_c(alloy) + off_c
    lie = stretched(name, couple, by=by, rest_c=rest_c, to_c=to_c, every_s=every_s, gap_s=gap_s, lead_s=900.0)
    return lie, alloy, SHEATHS[number % 3], POWERS[number // 3 % 3]


# -- invented ones ----------------------------------------------------------------------------------------------------

KINDS = ("walk", "return", "nonsense", "half_shorted", "erratic", "flicker", "steps", "gaps_and_drift")


def healthy_c(alloy: str, target_c: float, total_s: float) -> Callable[[float], float]:
    """A charge that is heated at full power until it stands at `target_c`: solid, a halt at the solidus, liquid."""
    facts = plan_of(alloy).alloy
    halt_c = min(facts.solidus_c, target_c - 5.0)
    rise_s = 0.5 * total_s

    def at(t_s: float) -> float:
        if t_s < rise_s:
            return ROOM_C + (halt_c - ROOM_C) * t_s / rise_s
        if t_s < 0.75 * total_s:
            return halt_c + 4.0 * (t_s - rise_s) / total_s
        up = min(1.0, (t_s - 0.75 * total_s) / (0.25 * total_s))
        return halt_c + 1.0 + (target_c - halt_c - 1.0) * up

    return at


def invented(kind: str, seed: int, alloy: str, *, every_s: float = 1.0) -> Lie:
    """A healthy melt until the couple fails; what it then says tends to lie in the alloy's window while the metal,
    held where it was, does not."""
    rng = Random(f"{kind} {seed} {alloy}")
    facts, window_c = plan_of(alloy).alloy, window_mid_c(alloy)
    off_c = rng.choice((-1.0, 1.0)) * rng.uniform(45.0, 200.0)
    metal_c = max(window_c + off_c, 0.4 * facts.solidus_c)
    total_s = rng.uniform(900.0, 2400.0)
    heats = healthy_c(alloy, metal_c, total_s)
    onset_s = total_s + rng.uniform(60.0, 240.0)
    noise_c = rng.choice((0.05, 0.1, 0.3))
    ends_s = onset_s + rng.uniform(900.0, 2400.0)
    lie = _LIES[kind](rng, metal_c, window_c)
    points: list[Point] = []
    at_s = every_s
    while at_s < ends_s:
        value: float | None = heats(at_s) + rng.gauss(0.0, noise_c)
        if at_s > onset_s:
            value = lie(at_s - onset_s, every_s)
            value = None if value is None else value + rng.gauss(0.0, noise_c)
        if value is not None and not -100.0 < value < 1370.0:
            value = None
        points.append((at_s, None if value is None else round(value, 2)))
        at_s += every_s
    return Lie(f"{kind} {seed} in {alloy}", tuple(points), onset_s, heats)


Says = Callable[[float, float], float | None]  # (seconds since the onset, seconds since the last) -> what is read


def _walk(rng: Random, metal_c: float, window_c: float) -> Says:
    """Wanders, drawn towards the window."""
    at = [metal_c]
    step_c, pull = rng.uniform(0.6, 6.0), rng.uniform(0.002, 0.02)

    def says(t_s: float, every_s: float) -> float:
        at[0] += rng.gauss(0.0, step_c * math.sqrt(every_s)) + pull * (window_c - at[0]) * every_s
        return at[0]

    return says


def _return(rng: Random, metal_c: float, window_c: float) -> Says:
    """Gone for a while, back at another level and steady."""
    gone_s, tau_s = rng.choice((3.0, 12.0, 45.0, 86.0, 240.0, 600.0)), rng.choice((0.0, 4.0, 30.0))
    level_c = window_c + rng.uniform(-10.0, 10.0)

    def says(t_s: float, every_s: float) -> float | None:
        if t_s <= gone_s:
            return None
        return level_c if not tau_s else level_c + (metal_c - level_c) * math.exp(-(t_s - gone_s) / tau_s)

    return says


def _nonsense(rng: Random, metal_c: float, window_c: float) -> Says:
    """Fails, drops out, comes back, jumps high and settles at nonsense, as in a published fire test."""
    gone_s, settle_s = rng.uniform(20.0, 120.0), rng.uniform(20.0, 400.0)
    peak_c = min(1360.0, metal_c + rng.uniform(80.0, 500.0))
    level_c = window_c + rng.uniform(-8.0, 8.0)
    sinks_s = rng.uniform(0.0, 60.0)

    def says(t_s: float, every_s: float) -> float | None:
        if t_s < sinks_s:
            return metal_c - 100.0 * t_s / 60.0
        if t_s < sinks_s + gone_s:
            return None
        since_s = t_s - sinks_s - gone_s
        if since_s < 15.0:
            return metal_c + rng.uniform(-30.0, 30.0)
        return level_c + (peak_c - level_c) * math.exp(-(since_s - 15.0) / settle_s)

    return says


def _half_shorted(rng: Random, metal_c: float, window_c: float) -> Says:
    """Wires touch outside: part of the rise only, at once or creeping."""
    share, creeps_s = rng.uniform(0.2, 0.9), rng.choice((1.0, 120.0, 900.0))

    def says(t_s: float, every_s: float) -> float:
        part = 1.0 - (1.0 - share) * min(1.0, t_s / creeps_s)
        return ROOM_C + part * (metal_c - ROOM_C) + 2.0 * math.sin(t_s / 30.0)

    return says


def _erratic(rng: Random, metal_c: float, window_c: float) -> Says:
    """Now here, now there, each for a while; reaching each level at its own pace."""
    at = [metal_c, metal_c, 0.0, 5.0]  # value, where it goes, when next, how fast
    lasts_s = rng.choice((20.0, 60.0, 150.0))

    def says(t_s: float, every_s: float) -> float:
        if t_s >= at[2]:
            at[1] = rng.choice((window_c, rng.uniform(0.2 * metal_c, min(1300.0, 1.5 * metal_c))))
            at[2] = t_s + rng.expovariate(1.0 / lasts_s)
            at[3] = rng.choice((1.0, 8.0, 40.0))
        at[0] += (at[1] - at[0]) * (1.0 - math.exp(-every_s / at[3]))
        return at[0] + rng.gauss(0.0, 1.0)

    return says


def _flicker(rng: Random, metal_c: float, window_c: float) -> Says:
    """Comes and goes in a pattern; what it says while it is there drifts to the window."""
    gone_s, of_s = rng.choice(((2.0, 7.0), (20.0, 30.0), (45.0, 75.0), (1.0, 40.0), (5.0, 100.0)))
    drift_s = rng.uniform(60.0, 600.0)

    def says(t_s: float, every_s: float) -> float | None:
        if t_s % of_s < gone_s:
            return None
        return window_c + (metal_c - window_c) * math.exp(-t_s / drift_s)

    return says


def _steps(rng: Random, metal_c: float, window_c: float) -> Says:
    """Steps to the window in one go or several."""
    count, every = rng.randint(1, 4), rng.uniform(5.0, 90.0)

    def says(t_s: float, every_s: float) -> float:
        return metal_c + (window_c - metal_c) * min(count, 1 + int(t_s / every)) / count

    return says


def _gaps_and_drift(rng: Random, metal_c: float, window_c: float) -> Says:
    """One gap, back where it was, then a creep to the window."""
    gone_s, wait_s, creep_s = rng.uniform(5.0, 90.0), rng.uniform(0.0, 50.0), rng.uniform(30.0, 120.0)

    def says(t_s: float, every_s: float) -> float | None:
        if t_s < gone_s:
            return None
        return metal_c + (window_c - metal_c) * min(1.0, max(0.0, t_s - gone_s - wait_s) / creep_s)

    return says


_LIES: dict[str, Callable[[Random, float, float], Says]] = {
    "walk": _walk,
    "return": _return,
    "nonsense": _nonsense,
    "half_shorted": _half_shorted,
    "erratic": _erratic,
    "flicker": _flicker,
    "steps": _steps,
    "gaps_and_drift": _gaps_and_drift,
}


# -- what the engine makes of one -------------------------------------------------------------------------------------


def inputs_of(lie: Lie, alloy: str, *, power: PowerLevel | None, tick_s: float) -> Iterator[Input]:
    seq = 0
    commands: list[Command] = [StartMelt(plan=plan_of(alloy))]
    if power is not None:
        commands.append(MarkPower(level=power))
    for command in commands:
        seq += 1
        yield CommandIn(seq=seq, mono_s=0.0, utc_s=0.0, command=command)
    next_tick_s = tick_s
    for at_s, value in lie.points:
        while next_tick_s <= at_s:
            seq += 1
            yield TickIn(seq=seq, mono_s=next_tick_s, utc_s=next_tick_s)
            next_tick_s += tick_s
        seq += 1
        sample = Sample("0", RawKind.ITS90_C, value, 25.0)
        yield SampleIn(seq=seq, mono_s=at_s, utc_s=at_s, board="bench", sample=sample)


def followed(
    lie: Lie,
    alloy: str,
    *,
    sheath: str = "thin",
    power: PowerLevel | None = None,
    tick_s: float = 1.0,
    allowed_c: float = 0.0,
) -> Followed:
    """allowed_c: with a known truth a figure so near to it is no harm."""
    step_s = lie.points[1][0] - lie.points[0][0]
    probe = ProbeConfig(
        name="metal", board="bench", channel="0", place=Place.MELT, sheath=sheath, stale_after_s=max(3.0, 2.5 * step_s),
        rating_c=1800.0,
    )  # fmt: skip
    engine = Engine(
        EngineConfig(
            furnace="small", rating_c=2000.0, boards=(BoardConfig(name="bench", sample_s=step_s),), probes=(probe,)
        )
    )
    found = Followed()
    grace_s = lie.onset_s + max(step_s, 1.0)

    def on_true_figures(at_s: float) -> bool:
        """In the hand it goes by what was read before the lift: a couple that falls first looks like a lift."""
        run = engine.run
        if run is None or run.lift_s is None or not run.lifted(at_s):
            return False
        point = engine.history.at(run.lift_s)
        return point is not None and point.at_s <= grace_s

    for item in inputs_of(lie, alloy, power=power, tick_s=tick_s):
        outs = engine.handle(item)
        after = item.mono_s > grace_s
        metal_c = engine.metal.temp_c
        wrong = after
        if after and lie.true_c is not None:
            wrong = metal_c is not None and abs(metal_c - lie.true_c(item.mono_s)) > max(allowed_c, engine.metal.u_c)
        if after and metal_c is not None and type(item) is TickIn:
            found.told_c.append((item.mono_s, metal_c))
        for out in outs:
            told = wrong and not on_true_figures(item.mono_s)
            if isinstance(out, CallChanged) and out.call.kind is CallKind.POUR and out.how == "raised" and told:
                found.calls_s.append(item.mono_s)
            elif isinstance(out, MeltStateChanged) and out.new is MeltState.READY and told:
                found.ready_s.append(item.mono_s)
            elif isinstance(out, AlarmChanged) and _heard_now(out, item.mono_s):
                if after:
                    found.raised.append((item.mono_s, out.alarm.kind))
                else:
                    found.before.append(out.alarm.kind)
    found.standing = {alarm.kind for alarm in engine.alarms.views() if alarm.active and not alarm.suppressed_by}
    return found


def _heard_now(out: AlarmChanged, mono_s: float) -> bool:
    alarm = out.alarm
    fresh = alarm.active and alarm.state is AlarmState.UNACKED and alarm.raised_mono_s == mono_s
    return fresh and not alarm.suppressed_by
