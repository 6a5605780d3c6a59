"""The judge of the forecast: seasons of melts on any simulated plant, ours and its rivals in one run.

A furnace is melted in five times by a person who is late, forgets and adds (sim.scenarios.season). One full-power
simulation of each melt serves everybody who only says *cut now*; whoever has called gets his true coast from the plant
as it stands when his hand has turned the knob. What we advise after the cut goes on from a copy of that moment. The
furnace is learned between the melts by the fit that the daemon's worker runs, from what a record would hold, marks
forgotten included; the melts it learns from are cut by the oracle's hand, so that no judge's luck is in what another
learned. The rivals' season (10 s) and the fits (3 to 17 s) do not change with the forecast: they are kept in the
machine's temporary folder, by input and code. Ours takes 2 s a melt.
"""

import copy
import hashlib
import inspect
import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import foresight_rivals
import msgspec
from foresight_rivals import (
    Caller,
    ConstantDial,
    LastOvershoot,
    Oracle,
    PanelOffset,
    Regulated,
    StraightLine,
    TextbookPid,
)

from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.plan import AlloyFacts, PotLimit
from pourcall.contract.snapshot import Interval
from pourcall.engine.guidance.profile_advice import Advice, Say
from pourcall.engine.guidance.profile_run import Observed, ProfileRun
from pourcall.furnace import fit as fit_module
from pourcall.furnace import model as model_module
from pourcall.furnace import molten as molten_module
from pourcall.furnace import training as training_module
from pourcall.furnace.forecast import Forecast
from pourcall.furnace.model import usual_model
from pourcall.furnace.own_coasts import with_coasts
from pourcall.furnace.training import LearnTrace
from pourcall.metal.heat.curve import curve_of
from pourcall.profiles.library import ProfileLibrary
from pourcall.profiles.resolve import resolve
from pourcall.sim.scenarios import season as season_module
from pourcall.sim.scenarios.foresee import SHEATH_S, Seen, Workshop
from pourcall.sim.scenarios.season import MARKED_LATE_S, Dip, Person, SeasonBout

JUDGED = (1, 2, 5)  # the first melt, the second, the fifth
LIMIT_S = 9000.0
AFTER_S = 1500.0  # of a followed melt, from the first cut
HELD_S = 1200.0
COAST_SEEN_S = 420.0
PAST_C = 90.0  # so far above the aim nobody calls any more
Struct = TypeVar("Struct", bound=msgspec.Struct)
SHARES = (0.25, 0.50, 0.75, 0.90)
ASK_EVERY_S = 30.0
STAYS_S = 10.0  # who has just turned the knob and is told to keep the hand there, does
ESTIMATED_WITHIN_C = 30.0  # engine/guidance/guidance.py: a profile goes by an estimate no wider
CALLERS = ("straight line", "less last overshoot", "oracle", "oracle counted down")
REGULATORS = ("panel and offset", "constant dial", "pid by hand")


def kind_of(facts: AlloyFacts) -> str:
    """Pure, eutectic, short or long freezing range, by the sheet's curve."""
    curve = curve_of(facts)
    steps = zip(pairwise(curve.temps), pairwise(curve.heats), strict=True)
    flat = max((h[1] - h[0] for c, h in steps if c[0] == c[1]), default=0.0) / (curve.h_liquid - curve.h_solid)
    if flat > 0.95:
        return "pure"
    return "eutectic" if flat > 0.6 else "short" if curve.liquidus_c - curve.begins_c < 60.0 else "long"


@dataclass
class Judged:
    """What came of one melt, for everybody."""

    plant: str
    seed: int
    number: int
    kind: str
    dips: bool
    ready_s: float | None = None
    ready: list[tuple[float, float, Interval]] = field(default_factory=list)  # (share of the melt, left, foreseen)
    coast: list[tuple[float, Interval]] = field(default_factory=list)  # (true peak if cut then, foreseen)
    first: dict[str, float | None] = field(default_factory=dict)  # peak of the first coast against the aim
    peak: float | None = None  # ours, whatever was advised after it
    held: float | None = None  # share of twenty minutes
    turns: int = 0
    regulated: dict[str, Regulated | None] = field(default_factory=dict)


class Others(msgspec.Struct):
    """What came of one melt without us."""

    first: dict[str, float | None] = {}
    regulated: dict[str, Regulated | None] = {}
    trace: LearnTrace | None = None


@dataclass
class Mine:
    """Our forecast and profile in one melt, with the caster's ears."""

    ahead: Forecast
    run: ProfileRun
    person: Person
    level: PowerLevel = PowerLevel.HIGH
    pending: list[tuple[float, PowerLevel]] = field(default_factory=list)
    at_knob_s: float = math.inf  # when the hand lies on it, once told to lay it there
    turned_s: float = -math.inf  # when it last turned it
    lately: list[float] = field(default_factory=list)
    last_dip: Dip | None = None
    turns: int = 0

    def see(self, seen: Seen, dip: Dip | None, told_kg: float, *, dips: bool) -> tuple[Advice, ...]:
        """One second; what is advised."""
        t_s, ahead = seen.t_s, self.ahead
        if told_kg:
            ahead.add(told_kg, t_s)
        metal_c = rate = None
        if not dips:
            ahead.take(seen.reading_c, 3.0 + 0.008 * seen.reading_c, t_s)
            metal_c = seen.reading_c
            self.lately = [*self.lately[-19:], seen.reading_c]
            if len(self.lately) > 1:
                rate = (self.lately[-1] - self.lately[0]) * 60.0 / (len(self.lately) - 1)
        elif dip is not None:
            if dip.temp_c is None:
                ahead.not_liquid(t_s)
            else:
                ahead.take(dip.temp_c, 3.0 + 0.008 * dip.temp_c, t_s, settled=True)
                metal_c = dip.temp_c
        self.view = ahead.tick(t_s, self.low_c, self.aim_c, self.low_c)
        if metal_c is None and ahead.readings:
            span = self.view.metal_c
            if span.low is not None and span.high is not None and span.high - span.low <= ESTIMATED_WITHIN_C:
                metal_c = span.mid
        return self.run.tick(Observed(t_s, metal_c, rate, self.level, ahead))

    @property
    def low_c(self) -> float:
        """Where the window begins."""
        assert self.run.window_c is not None
        return self.run.window_c[0]

    @property
    def aim_c(self) -> float:
        """Where the profile ends."""
        return self.run.plan.segments[-1].to_c

    def hear(self, said: tuple[Advice, ...], t_s: float) -> None:
        """What the person does about it."""
        for advice in said:
            if advice.say is Say.SOON:
                hand_s = self.person.delay_s if self.turns == 0 else self.person.again_s()
                self.at_knob_s = t_s if t_s - self.turned_s < STAYS_S else t_s + hand_s
            elif advice.say in (Say.CUT, Say.OVER):
                if not any(wanted is PowerLevel.OFF for _, wanted in self.pending):
                    by_hand_s = t_s + (self.person.delay_s if self.turns == 0 else self.person.again_s())
                    there_s = max(t_s + self.person.beat_s, self.at_knob_s)
                    self.pending = [(min(by_hand_s, there_s), PowerLevel.OFF)]
                    self.turns += 1
            elif advice.say is Say.POWER and advice.level is not None:
                self.pending = [(t_s + self.person.again_s(), advice.level)]
                self.turns += 1

    def turn(self, t_s: float) -> None:
        """The hand is on the knob."""
        while self.pending and self.pending[0][0] <= t_s:
            self.level, self.at_knob_s, self.turned_s = self.pending.pop(0)[1], math.inf, t_s
            share = {PowerLevel.OFF: 0.0, PowerLevel.HIGH: 1.0}.get(self.level)
            self.ahead.set_power(share, t_s, low=self.level is PowerLevel.LOW)


class Shop:
    """One furnace through a season."""

    def __init__(self, seed: int, plant: str, *, dips: bool) -> None:
        self.shop, self.plant, self.dips = Workshop(seed, plant), plant, dips
        shop = self.shop
        limit = PotLimit(limit_c=shop.facts.alloy_max_c, whose="alloy", why="sheet")
        profile = ProfileLibrary().default_for(shop.facts.key, shop.facts.family)
        self.plan = resolve(profile, shop.facts, shop.tap_c, [limit])
        self.aim_c = self.plan.segments[-1].to_c
        self.callers: dict[str, Caller] = {
            "straight line": StraightLine(self.aim_c, dips=dips),
            "less last overshoot": LastOvershoot(self.aim_c, dips=dips),
            "oracle": Oracle(self.aim_c, counted=False),
            "oracle counted down": Oracle(self.aim_c, counted=True),
        }
        self.regulators = {
            "panel and offset": PanelOffset(),
            "constant dial": ConstantDial(),
            "pid by hand": TextbookPid(),
        }

    def usual(self) -> FurnaceModel:
        """What the settings say of this furnace."""
        shop = self.shop
        return usual_model(
            "small",
            kind="fuel" if shop.fuel else "electric",
            power_w=shop.panel_w,
            pot_kg=shop.scenario.pot.mass_kg,
            sheath_s=SHEATH_S[shop.sheath],
        )

    def model(self, traces: list[LearnTrace]) -> FurnaceModel:
        """As learned from the melts so far."""
        usable = [trace for trace in traces if not training_module.why_not(trace)]
        return with_coasts(_fit_kept(self.usual(), usable) if usable else self.usual(), traces)

    def begin(self, bout: SeasonBout, model: FurnaceModel) -> Mine:
        """As the daemon would: charge as told, hot or cold as the probe says."""
        shop = self.shop
        ahead = Forecast(
            model,
            shop.facts,
            bout.spoken_kg,
            0.0,
            room_c=bout.room_c,
            wall_c=0.7 * shop.aim_c if bout.hot else None,
            wall_u_c=120.0 if bout.hot else 5.0,
        )
        share = bout.spoken_kg / bout.charge_kg
        ahead.planned(bout.first_kg * share, bout.rest_kg * share)
        ahead.set_power(1.0, 0.0)
        run = ProfileRun(self.plan, 0.0, fuel=shop.fuel, window_c=shop.tap_c)
        return Mine(ahead, run, copy.deepcopy(bout.person))

    def rivals(self, number: int) -> "Others":
        """One melt without us: everybody's call, those who regulate, and the record that the next is learned from."""
        bout = SeasonBout(self.shop, number, dips=self.dips)
        told = bout.spoken_kg / bout.charge_kg
        made, record = Others(), _Record(bout, self.shop)
        waits: dict[str, tuple[float, float]] = {}  # name: (when the hand is there, what was read at the call)
        while bout.t_s < LIMIT_S and len(made.first) < len(self.callers):
            seen = bout.second("high")
            told_kg = 0.0 if not seen.added_kg or bout.person.forgets_this() else seen.added_kg * told
            record.add(seen, bout.dip, told_kg)
            reading_c = None if self.dips and bout.dip is None else bout.dip.temp_c if bout.dip else seen.reading_c
            self._callers(bout, reading_c, waits, made.first, record)
            if seen.metal_c > self.aim_c + PAST_C:
                break
        for name in self.callers:
            made.first.setdefault(name, None)
        made.trace = record.trace(number)
        for name, regulator in self.regulators.items():
            own = SeasonBout(self.shop, number, dips=self.dips)
            made.regulated[name] = regulator.melt(own, self.aim_c, dips=self.dips)
        return made

    def melt(self, number: int, model: FurnaceModel) -> Judged:
        """One melt with us: what was foreseen, our call, and what came of it."""
        bout = SeasonBout(self.shop, number, dips=self.dips)
        told = bout.spoken_kg / bout.charge_kg
        made = Judged(self.plant, self.shop.seed, number, kind_of(self.shop.facts), self.dips)
        mine = self.begin(bout, model)
        called = False
        spans: list[tuple[float, Interval]] = []
        while bout.t_s < LIMIT_S:
            ask = bout.t_s % ASK_EVERY_S == 0.0 and bout.plant.liquid_fraction >= 1.0
            ask = ask and bout.plant.lump_kg == 0.0 and bout.plant.metal_c < self.aim_c + 30.0
            seen = bout.second("high", ask=ask)
            told_kg = 0.0 if not seen.added_kg or bout.person.forgets_this() else seen.added_kg * told
            said = mine.see(seen, bout.dip, told_kg, dips=self.dips)
            spans.append((seen.t_s, mine.view.ready_s))
            if seen.peak_if_cut_c is not None and mine.ahead.readings:
                made.coast.append((seen.peak_if_cut_c, mine.view.coast_c))
            if not called:
                mine.hear(said, seen.t_s)
                called = any(one.say in (Say.CUT, Say.OVER) for one in said)
                if called:
                    self._follow(bout.fork(), copy.deepcopy(mine), made)
                mine.pending.clear()
            if made.ready_s is None and seen.liquid >= 1.0 and not seen.lump and seen.metal_c >= self.shop.tap_c[0]:
                made.ready_s = seen.t_s
            if made.ready_s is not None and (called or seen.metal_c > self.aim_c + PAST_C):
                break
        made.first.setdefault("ours", None)
        if made.ready_s is not None:
            for share in SHARES:
                t_s, span = min(spans, key=lambda one: abs(one[0] - share * (made.ready_s or 0.0)))
                made.ready.append((share, made.ready_s - t_s, span))
        return made

    def _callers(
        self,
        bout: SeasonBout,
        reading_c: float | None,
        waits: dict[str, tuple[float, float]],
        first: dict[str, float | None],
        record: "_Record",
    ) -> None:
        """Who only says when to cut: his true coast, once his hand is there."""
        for name, caller in self.callers.items():
            if name in first:
                continue
            if name not in waits:
                if caller.calls(bout, reading_c):
                    at_once = bout.person.beat_s if name == "oracle counted down" else bout.person.delay_s
                    read_c = bout.plant.metal_c * self.shop.gain if self.dips else reading_c or 0.0
                    waits[name] = (bout.t_s + at_once, read_c)
            elif bout.t_s >= waits[name][0]:
                peak_c = bout.plant.coast_peak_c()
                first[name] = peak_c - self.aim_c
                caller.over(waits[name][1], peak_c * self.shop.gain)
                if name == "oracle":
                    record.cut(bout)

    def _follow(self, bout: SeasonBout, mine: Mine, made: Judged) -> None:
        """From our first call on: the hand, the coast, all that is advised after it."""
        told = bout.spoken_kg / bout.charge_kg
        cut_s: float | None = None
        first_c = peak_c = -1e9
        coasting, held_from, within, mine.turns = True, None, 0, 1
        turns_before = 0
        end_s = bout.t_s + AFTER_S
        while bout.t_s < min(end_s, LIMIT_S + AFTER_S):
            mine.turn(bout.t_s)
            if cut_s is None and mine.level is PowerLevel.OFF:
                cut_s = bout.t_s
            coasting = coasting and (cut_s is None or mine.level is PowerLevel.OFF)
            seen = bout.second(mine.level.value)
            told_kg = 0.0 if not seen.added_kg or bout.person.forgets_this() else seen.added_kg * told
            mine.hear(mine.see(seen, bout.dip, told_kg, dips=self.dips), seen.t_s)
            over_c = seen.metal_c - self.aim_c
            if seen.lump:
                continue
            peak_c = max(peak_c, over_c)
            if coasting:
                first_c = max(first_c, over_c)
            if held_from is None and over_c >= -5.0:
                held_from, turns_before = bout.t_s, mine.turns
                end_s = bout.t_s + HELD_S
            if held_from is not None:
                within += abs(over_c) <= 5.0
        made.first["ours"] = first_c if first_c > -1e8 else None  # cold metal lay in it all the while
        made.peak = peak_c if peak_c > -1e8 else None
        if held_from is not None:
            made.held, made.turns = within / HELD_S, mine.turns - turns_before


class _Record:
    """One melt as the record would hold it."""

    def __init__(self, bout: SeasonBout, shop: Workshop) -> None:
        self.bout, self.shop = bout, shop
        self.times: list[float] = []
        self.temps: list[float] = []
        self.dips: list[tuple[float, float, float]] = []
        self.added: list[tuple[float, float]] = []
        self.power = [(0.0, 1.0)]
        self._ended = False

    def add(self, seen: Seen, dip: Dip | None, told_kg: float) -> None:
        """A second, with what was told of it."""
        if self._ended:
            return
        if told_kg:
            self.added.append((seen.t_s, told_kg))
        if not self.bout._dips:
            self.times.append(seen.t_s)
            self.temps.append(seen.reading_c)
        elif dip is not None and dip.temp_c is not None:
            self.dips.append((seen.t_s, dip.temp_c, 3.0 + 0.008 * dip.temp_c))

    def cut(self, bout: SeasonBout) -> None:
        """The power goes off here; the coast is recorded as well."""
        ahead = bout.fork()
        late_s = MARKED_LATE_S if ahead.person.forgets_this() else 0.0
        self.power.append((bout.t_s + late_s, 0.0))
        while ahead.t_s < bout.t_s + COAST_SEEN_S:
            seen = ahead.second("off")
            self.add(seen, ahead.dip, seen.added_kg * bout.spoken_kg / bout.charge_kg)
        self._ended = True

    def trace(self, number: int) -> LearnTrace:
        """For the fit."""
        bout, shop = self.bout, self.shop
        return LearnTrace(
            melt=f"2026-{number:03}",
            alloy=shop.facts,
            charge_kg=max(0.01, bout.spoken_kg - sum(kg for _, kg in self.added)),
            times_s=tuple(self.times),
            temps_c=tuple(self.temps),
            power=tuple(self.power),
            added=tuple(self.added),
            room_c=bout.room_c,
            hot=bout.hot,
            hot_wall_c=0.7 * shop.aim_c,
            sheath_s=SHEATH_S[shop.sheath],
            dips=tuple(self.dips),
        )


def _kept(of: object, code: str, make: Callable[[], Struct], type_: type[Struct]) -> Struct:
    """What was made the last time of the same input by the same code."""
    asked = msgspec.json.encode(of) + code.encode()
    kept = Path(tempfile.gettempdir()) / "pourcall-foresight" / f"{hashlib.sha256(asked).hexdigest()[:24]}.json"
    if kept.exists():
        return msgspec.json.decode(kept.read_bytes(), type=type_)
    made = make()
    kept.parent.mkdir(exist_ok=True)
    kept.write_bytes(msgspec.json.encode(made))
    return made


def _fit_kept(prior: FurnaceModel, traces: list[LearnTrace]) -> FurnaceModel:
    code = "".join(inspect.getsource(one) for one in (fit_module, model_module, training_module, molten_module))
    return _kept((prior, traces), code, lambda: fit_module.fit(prior, traces).model, FurnaceModel)


class _Season(msgspec.Struct):
    melts: list[Others]


def _others(shop: Shop, melts: int) -> list[Others]:
    """Everybody else's season; the plants and the rivals do not change with the forecast."""
    code = inspect.getsource(foresight_rivals) + inspect.getsource(season_module) + inspect.getsource(Shop.rivals)
    key = (shop.plant, shop.shop.seed, shop.dips, melts)
    return _kept(key, code, lambda: _Season([shop.rivals(number) for number in range(1, melts + 1)]), _Season).melts


def season(seed: int, plant: str, *, dips: bool, judged: tuple[int, ...] = JUDGED) -> list[Judged]:
    """All melts of a furnace; only the judged ones are foreseen."""
    shop = Shop(seed, plant, dips=dips)
    others = _others(shop, max(judged))
    made = []
    for number in judged:
        before = [one.trace for one in others[: number - 1] if one.trace is not None]
        one, rivals = shop.melt(number, shop.model(before)), others[number - 1]
        one.first.update(rivals.first)
        one.regulated = rivals.regulated
        made.append(one)
    return made


# -- the tables -------------------------------------------------------------------------------------------------------


def _share(values: list[bool]) -> str:
    return f"{sum(values):3d}/{len(values):<3d} {100.0 * sum(values) / len(values):3.0f} %" if values else "  -        "


def _quantile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else math.nan


def _inside(value: float, span: Interval) -> bool:
    return span.low is not None and span.low <= value and (span.high is None or value <= span.high)


def _width(span: Interval) -> float:
    return (span.high or 0.0) - (span.low or 0.0)


def peaks_row(name: str, peaks: list[float | None], *, dips: bool) -> str:
    """One line: within, more than 8 over, quantiles."""
    low, high = (-10.0, 6.0) if dips else (-5.0, 3.0)
    known = [peak for peak in peaks if peak is not None]
    within = [peak is not None and low <= peak <= high for peak in peaks]
    over = [peak is None or peak > 8.0 for peak in peaks]
    tail = " ".join(f"{_quantile(known, q):+6.1f}" for q in (0.05, 0.5, 0.95))
    worst = max(known, default=math.nan)
    return f"  {name:28} {_share(within)}   over +8 {_share(over)}   5/50/95 % {tail}   worst {worst:+6.1f}"


def report(made: list[Judged]) -> list[str]:
    """The tables of a plant, ours beside the rivals."""
    lines: list[str] = []
    for dips in (False, True):
        of_way = [one for one in made if one.dips is dips]
        if not of_way:
            continue
        way = "by dips, peak within -10/+6" if dips else "probe left in, peak within -5/+3"
        for numbers, words in (((1,), "first melt"), ((2,), "second"), ((5,), "fifth"), ((2, 5), "learned")):
            some = [one for one in of_way if one.number in numbers]
            if not some:
                continue
            lines.append(f"{some[0].plant}, {way}, {words} ({len(some)} melts)")
            if numbers != (2, 5):
                lines += _brief(some, dips)
                continue
            lines.append(peaks_row("ours, with later advice", [one.peak for one in some], dips=dips))
            lines += [peaks_row(name, [one.first.get(name) for one in some], dips=dips) for name in ("ours", *CALLERS)]
            for name in REGULATORS:
                own = [one.regulated[name] for one in some if one.regulated.get(name) is not None]
                if own:
                    lines.append(peaks_row(name, [r.peak_c for r in own if r is not None], dips=dips))
            lines += [f"  by kind, ours: {_by_kind(some, dips)}"]
            lines += _times(some) + _coasts(some) + _holds(some)
    return lines


def _brief(some: list[Judged], dips: bool) -> list[str]:
    return [
        peaks_row("ours, with later advice", [one.peak for one in some], dips=dips),
        peaks_row("ours, first coast", [one.first.get("ours") for one in some], dips=dips),
        peaks_row("less last overshoot", [one.first.get("less last overshoot") for one in some], dips=dips),
    ]


def _by_kind(some: list[Judged], dips: bool) -> str:
    low, high = (-10.0, 6.0) if dips else (-5.0, 3.0)
    parts = []
    for kind in ("pure", "eutectic", "short", "long"):
        own = [one.peak for one in some if one.kind == kind]
        if own:
            hit = sum(peak is not None and low <= peak <= high for peak in own)
            parts.append(f"{kind} {hit}/{len(own)}")
    return ", ".join(parts)


def _times(some: list[Judged]) -> list[str]:
    lines = []
    for share in SHARES:
        looks = [(one.ready_s, left, span) for one in some for at, left, span in one.ready if at == share]
        errors = [
            1.0 if span.mid is None else abs(span.mid - left) / ready_s for ready_s, left, span in looks if ready_s
        ]
        inside = _share([_inside(left, span) for _, left, span in looks])
        wide = [
            (span.high - span.low) / r for r, _, span in looks if r and span.high is not None and span.low is not None
        ]
        lines.append(
            f"  time to ready at {100 * share:2.0f} %: error of the melt, median/90 % "
            f"{100 * _quantile(errors, 0.5):4.1f}/{100 * _quantile(errors, 0.9):4.1f} %   90 % interval {inside}"
            f"   its width {100 * _quantile(wide, 0.5):4.1f} %"
        )
    return lines


def _coasts(some: list[Judged]) -> list[str]:
    looks = [(peak, span) for one in some for peak, span in one.coast if span.mid is not None]
    errors = [(span.mid or 0.0) - peak for peak, span in looks]
    inside = [[_inside(peak, span) for peak, span in one.coast] for one in some if one.coast]
    each = sum(sum(row) / len(row) for row in inside) / len(inside) if inside else math.nan
    tail = " ".join(f"{_quantile(errors, q):+6.1f}" for q in (0.05, 0.5, 0.95))
    return [f"  coast foreseen less true: 5/50/95 % {tail}   90 % interval {100 * each:3.0f} % (mean of melts)"]


def _holds(some: list[Judged]) -> list[str]:
    lines = []
    held = [one.held or 0.0 for one in some]
    turns = [3.0 * one.turns for one in some if one.held is not None]
    lines.append(
        f"  hold +-5 degC, 20 min: ours {100 * _mean(held):3.0f} % of the time, {_mean(turns):4.1f} turns an hour"
    )
    for name in REGULATORS:
        own = [r for one in some if (r := one.regulated.get(name)) is not None]
        if own:
            share = 100 * _mean([r.held or 0.0 for r in own])
            lines[-1] += f"; {name} {share:.0f} %, {_mean([3.0 * r.turns for r in own]):.0f}"
    return lines


def _mean(values: list[float]) -> float:
    return sum(values) / len(values) if values else math.nan
