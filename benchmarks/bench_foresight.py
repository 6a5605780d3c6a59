"""How well the tool looks ahead. Simulated furnaces, learned from three melts each, then foreseen in a fourth.

The plant has four bodies, air and a soaking lining, eutectic plateaus, lumps and a bath surface; the fitted model has
three bodies and none of these (pourcall/sim/scenarios/foresee.py and pourcall/furnace/model.py say which). Rows: time
to ready within 10 % from half-way on, its 90 % interval, the coast peak, the peak of the true metal after a followed
call to cut the power (a caster who takes 2 to 25 s, 1 to 9 s once told to stand by), what a tick costs; the time left
where nothing is read and three melts with six to ten dips each have taught the furnace. The peer there is the usual
furnace; else there is none: nothing of general use foresees a melt.
`python benchmarks/bench_foresight.py [melts]`; `run()` gives the rows.

Beside that stands the judge of whole seasons, on every plant, with a caster who takes 5 to 40 s, and the rivals in the
same run (foresight_judge.py, foresight_rivals.py):
`python benchmarks/bench_foresight.py PLANT FURNACES [FIRST_SEED] [probe|dips]`. Tune on lumped, choose on brick, report
on flame once. Seeds so far: lumped 4000 on for tuning, brick 6000 on for choosing. A furnace takes a minute the first
time and ten seconds afterwards.
"""

import math
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import msgspec

from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.plan import PotLimit
from pourcall.engine.guidance.profile_advice import Say
from pourcall.engine.guidance.profile_run import Observed, ProfileRun
from pourcall.furnace.fit import LearnTrace, fit
from pourcall.furnace.forecast import Forecast, Interval
from pourcall.furnace.model import usual_model
from pourcall.profiles.library import ProfileLibrary
from pourcall.profiles.resolve import resolve
from pourcall.sim.scenarios.foresee import SHEATH_S, Bout, Workshop

TEST_SEED = 7000  # furnaces that nothing was tuned on; those below 5100 were
LIMIT_S = 7200
BELOW_C, ABOVE_C = 5.0, 3.0  # the peak against the aim
DIP_SIGMA_C = 1.5  # of one settled dip beside the probe's own error


def usual(shop: Workshop) -> FurnaceModel:
    """What the settings say of this furnace."""
    return usual_model(
        "small",
        kind="fuel" if shop.fuel else "electric",
        power_w=shop.panel_w,
        pot_kg=shop.scenario.pot.mass_kg,
        sheath_s=SHEATH_S[shop.sheath],
    )


def recorded(shop: Workshop, number: int) -> LearnTrace:
    """One melt as the record would hold it: a probe in the pot, the knob marked, the coast after the power went off."""
    bout, rng = shop.bout(number), Random(shop.seed * 31 + number)
    liquidus_c = shop.facts.liquidus_c
    cut_c = liquidus_c + rng.uniform(0.2, 0.9) * (shop.aim_c - liquidus_c)
    power, added, times, temps = [(0.0, 1.0)], [], [], []
    level, stop_s = "high", float(LIMIT_S)
    while bout.t_s < stop_s:
        seen = bout.second(level)
        if seen.added_kg:
            added.append((seen.t_s, seen.added_kg))
        times.append(seen.t_s)
        temps.append(seen.reading_c)
        if level == "high" and seen.metal_c >= cut_c and seen.liquid >= 1.0 and not seen.lump:
            level, stop_s = "off", seen.t_s + 400.0
            power.append((seen.t_s, 0.0))
    return LearnTrace(
        melt=f"2026-{number:03}",
        alloy=shop.facts,
        charge_kg=bout.first_kg,
        times_s=tuple(times),
        temps_c=tuple(temps),
        power=tuple(power),
        added=tuple(added),
        room_c=bout.room_c,
        hot=bout.hot,
        hot_wall_c=0.7 * shop.aim_c,
        sheath_s=SHEATH_S[shop.sheath],
    )


def learned(shop: Workshop) -> FurnaceModel:
    """From three melts of other charges."""
    return fit(usual(shop), [recorded(shop, number) for number in (1, 2, 3)]).model


def dipped(shop: Workshop, number: int) -> LearnTrace:
    """The same melt of a caster who has no probe left in the pot: six to ten dips from the first liquid to the end."""
    whole, rng = recorded(shop, number), Random(shop.seed * 37 + number)
    wanted = rng.randint(6, 10)
    liquid_c = shop.facts.liquidus_c + 3.0
    lumps = [(at, at + 330.0) for at, _ in whole.added]
    able = [
        at
        for at, c in zip(whole.times_s, whole.temps_c, strict=True)
        if c > liquid_c and not any(a <= at < b for a, b in lumps)
    ]
    moments = sorted(rng.sample(able, min(wanted, len(able))))
    temp_at = dict(zip(whole.times_s, whole.temps_c, strict=True))
    dips = tuple((at, temp_at[at] + rng.gauss(0.0, DIP_SIGMA_C), 3.0 + 0.008 * temp_at[at]) for at in moments)
    return msgspec.structs.replace(whole, times_s=(), temps_c=(), dips=dips)


def learned_by_dips(shop: Workshop) -> FurnaceModel:
    """From three melts in which the metal was only dipped."""
    return fit(usual(shop), [dipped(shop, number) for number in (1, 2, 3)]).model


def unseen(shop: Workshop, model: FurnaceModel) -> tuple[float, Interval] | None:
    """(seconds truly left, foreseen) half-way through a melt in which nothing was read: the model alone speaks.

    From cold: how hot a furnace stands after another melt, nobody knows unread. None: it never got there.
    """
    bout = shop.bout(0, hot=False)
    ahead = begin(shop, bout, model)
    ahead.set_power(1.0, 0.0)
    told, spans = bout.spoken_kg / bout.charge_kg, []
    while bout.t_s < LIMIT_S:
        seen = bout.second("high")
        if seen.added_kg:
            ahead.add(seen.added_kg * told, seen.t_s)
        if int(seen.t_s) % 5 == 0:
            spans.append((seen.t_s, ahead.tick(seen.t_s, shop.tap_c[0], shop.aim_c, shop.tap_c[0]).ready_s))
        if seen.liquid >= 1.0 and not seen.lump and seen.metal_c >= shop.tap_c[0]:
            at_s, span = min(spans, key=lambda one: abs(one[0] - 0.5 * seen.t_s))
            return seen.t_s - at_s, span
    return None


def begin(shop: Workshop, bout: Bout, model: FurnaceModel) -> Forecast:
    """Foresight as the daemon would start it: charge by the kitchen scales, hot or cold as told."""
    ahead = Forecast(
        model,
        shop.facts,
        bout.charge_kg,
        0.0,
        room_c=bout.room_c,
        wall_c=0.7 * shop.aim_c if bout.hot else None,
        wall_u_c=120.0 if bout.hot else 5.0,
    )
    share = bout.spoken_kg / bout.charge_kg
    ahead.planned(bout.first_kg * share, bout.rest_kg * share)
    return ahead


@dataclass
class Seen:
    """What was foreseen in one melt, and what came."""

    seed: int
    words: str
    ready_s: float | None = None
    ready: list[tuple[float, Interval]] = field(
        default_factory=list
    )  # from half-way on: (seconds truly left, foreseen)
    coast: list[tuple[float, Interval]] = field(default_factory=list)  # (true peak if cut then, foreseen)
    ticks: list[float] = field(default_factory=list)

    @property
    def worst_share(self) -> float:
        """Largest error of the moment foreseen, from half-way to the last twentieth, as a share of the whole time."""
        if self.ready_s is None:
            return math.inf
        whole = self.ready_s
        return max(
            (abs((s.mid or 1e9) - left) / whole for left, s in self.ready if left >= 0.1 * whole), default=math.inf
        )


def foresee(shop: Workshop, model: FurnaceModel, *, ask_every_s: int = 20) -> Seen:
    """One melt at full power until it is ready; nothing in it was seen by the fit."""
    bout = shop.bout(0)
    ahead = begin(shop, bout, model)
    ahead.set_power(1.0, 0.0)
    words = f"{shop.facts.key} {'fuel' if shop.fuel else 'electric'} {'hot' if bout.hot else 'cold'}"
    told, made = bout.spoken_kg / bout.charge_kg, Seen(shop.seed, words)
    spans: list[tuple[float, Interval]] = []
    while bout.t_s < LIMIT_S:
        seen = bout.second("high", ask=int(bout.t_s) % ask_every_s == 0)
        if seen.added_kg:
            ahead.add(seen.added_kg * told, seen.t_s)
        ahead.take(seen.reading_c, 3.0 + 0.008 * seen.reading_c, seen.t_s)
        began = time.process_time()
        view = ahead.tick(seen.t_s, shop.tap_c[0], shop.aim_c, shop.tap_c[0])
        made.ticks.append(time.process_time() - began)
        spans.append((seen.t_s, view.ready_s))
        melted = seen.liquid >= 1.0 and not seen.lump
        if seen.peak_if_cut_c is not None and melted:
            made.coast.append((seen.peak_if_cut_c, view.coast_c))
        if melted and seen.metal_c >= shop.tap_c[0]:
            made.ready_s = seen.t_s
            break
    if made.ready_s is not None:
        made.ready = [(made.ready_s - t, s) for t, s in spans if 0.5 * made.ready_s <= t <= 0.95 * made.ready_s]
    return made


@dataclass
class Followed:
    """A caster who does what is said. Peaks against the aim, degC; None: no call came."""

    seed: int
    aim_c: float
    peak_c: float | None = None  # the highest in a quarter of an hour after it, later advice followed too
    calls: int = 0
    in_parts: bool = False  # cold metal was added to the bath


def follow(shop: Workshop, model: FurnaceModel) -> Followed:
    """A guided melt: the default profile of the alloy, its calls obeyed after this caster's delay."""
    bout = shop.bout(0)
    ahead = begin(shop, bout, model)
    limit = PotLimit(limit_c=shop.facts.alloy_max_c, whose="alloy", why="sheet")
    plan = resolve(ProfileLibrary().default_for(shop.facts.key, shop.facts.family), shop.facts, shop.tap_c, [limit])
    run = ProfileRun(plan, 0.0, fuel=shop.fuel, window_c=shop.tap_c)
    aim_c = plan.segments[-1].to_c
    made, told = Followed(shop.seed, aim_c, in_parts=bout.rest_kg > 0.0), bout.spoken_kg / bout.charge_kg
    level, pending = PowerLevel.OFF, [(5.0, PowerLevel.HIGH)]
    rate, last = 0.0, [bout.room_c] * 20
    call_s: float | None = None
    warned = False
    while bout.t_s < LIMIT_S and (call_s is None or bout.t_s < call_s + 900.0):
        while pending and pending[0][0] <= bout.t_s:
            level = pending.pop(0)[1]
            ahead.set_power({"off": 0.0, "high": 1.0}.get(level.value), bout.t_s, low=level is PowerLevel.LOW)
        seen = bout.second(level.value)
        if seen.added_kg:
            ahead.add(seen.added_kg * told, seen.t_s)
        ahead.take(seen.reading_c, 3.0 + 0.008 * seen.reading_c, seen.t_s)
        last = [*last[1:], seen.reading_c]
        rate = (last[-1] - last[0]) * 60.0 / (len(last) - 1)
        ahead.tick(seen.t_s, shop.tap_c[0], aim_c, shop.tap_c[0])
        for advice in run.tick(Observed(seen.t_s, seen.reading_c, rate, level, ahead)):
            warned = warned or advice.say is Say.SOON
            if advice.say in (Say.CUT, Say.OVER):
                if not any(wanted is PowerLevel.OFF for _, wanted in pending):
                    delay_s = min(bout.delay_s, bout.near_s) if warned else bout.delay_s
                    pending = [(seen.t_s + delay_s, PowerLevel.OFF)]
                    made.calls += 1
                call_s = seen.t_s if call_s is None else call_s
            elif advice.say is Say.POWER and bout.t_s > 10.0:
                pending = [(seen.t_s + bout.delay_s, advice.level or level)]
        if call_s is not None and not seen.lump:
            over_c = seen.metal_c - aim_c
            made.peak_c = max(over_c, made.peak_c if made.peak_c is not None else -1e9)
    return made


def _row(what: str, measured: float, unit: str, budget: float | None, ok: bool) -> dict[str, Any]:
    return {
        "what": what,
        "measured": measured,
        "unit": unit,
        "budget": budget,
        "peer": None,
        "peer_measured": None,
        "ratio": None,
        "ok": ok,
    }


def rows(seen: Sequence[Seen], followed: Sequence[Followed]) -> list[dict[str, Any]]:
    """The figures of a set of melts."""
    ready = [(left, span) for one in seen for left, span in one.ready]
    coasts = [(peak, span) for one in seen for peak, span in one.coast]
    in_ten = sum(one.worst_share <= 0.10 for one in seen) / len(seen)
    covered = _share([_inside(left, span) for left, span in ready])
    left_ten = _share([span.mid is not None and abs(span.mid - left) <= 0.1 * left + 10.0 for left, span in ready])
    coast_rms = math.sqrt(
        sum((span.mid or 0.0) - peak and ((span.mid or 0.0) - peak) ** 2 for peak, span in coasts) / max(len(coasts), 1)
    )
    coast_in = _share([_inside(peak, span) for peak, span in coasts])
    called = [one for one in followed if one.peak_c is not None]
    one_charge = [one for one in called if not one.in_parts]
    hit, hit_one = _hit(called), _hit(one_charge)
    over = _share([one.peak_c is not None and one.peak_c > ABOVE_C for one in called])
    ticks = sorted(t for one in seen for t in one.ticks)
    mean_ms, p99_ms = 1e3 * sum(ticks) / len(ticks), 1e3 * ticks[int(0.99 * (len(ticks) - 1))]
    return [
        _row(f"moment of ready within 10 % from half-way on, {len(seen)} melts", in_ten, "share", 0.9, in_ten >= 0.9),
        _row("time left within 10 % and 10 s from half-way on", left_ten, "share", None, True),
        _row("90 % interval of the time left covers", covered, "share", 0.9, covered >= 0.85),
        _row("coast peak, error", coast_rms, "degC rms", None, True),
        _row("90 % interval of the coast peak covers", coast_in, "share", 0.9, coast_in >= 0.85),
        _row(f"true peak within -5/+3 degC of the aim, {len(called)} followed calls", hit, "share", None, True),
        _row(f"the same, all metal in from the start, {len(one_charge)} calls", hit_one, "share", 0.7, hit_one >= 0.7),
        _row("true peak more than 3 degC over the aim", over, "share", None, True),
        _row("a tick", mean_ms, "ms mean", 5.0, mean_ms <= 5.0),
        _row("a tick, one in a hundred longer than", p99_ms, "ms", 5.0, p99_ms <= 5.0),
    ]


def _hit(followed: Sequence[Followed]) -> float:
    return _share([one.peak_c is not None and -BELOW_C <= one.peak_c <= ABOVE_C for one in followed])


def _inside(value: float, span: Interval) -> bool:
    return span.low is not None and span.low <= value and (span.high is None or value <= span.high)


def _share(values: Sequence[bool]) -> float:
    return sum(values) / max(len(values), 1)


def run(melts: int = 12, first_seed: int = TEST_SEED) -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    seen, followed, taught = [], [], []
    for seed in range(first_seed, first_seed + melts):
        shop = Workshop(seed)
        model = learned(shop)
        seen.append(foresee(shop, model))
        followed.append(follow(shop, model))
        taught.append((unseen(shop, learned_by_dips(shop)), unseen(shop, usual(shop))))
    return rows(seen, followed) + taught_rows(taught)


def taught_rows(
    taught: Sequence[tuple[tuple[float, Interval] | None, tuple[float, Interval] | None]],
) -> list[dict[str, Any]]:
    """Half-way through a melt in which nothing is read: a furnace taught by dips, beside what is usual."""
    both = [(dips, peer) for dips, peer in taught if dips is not None and peer is not None]
    off = sorted(_off(left, span) for (left, span), _ in both)
    peer_off = sorted(_off(left, span) for _, (left, span) in both)
    middle, peer_middle = off[len(off) // 2], peer_off[len(peer_off) // 2]
    covered = _share([_inside(left, span) for (left, span), _ in both])
    made = _row(
        f"time left half-way, nothing read, taught by dips, {len(both)} melts", middle, "share", 0.15, middle <= 0.15
    )
    made.update(peer="the usual furnace", peer_measured=peer_middle, ratio=peer_middle / max(middle, 1e-6))
    return [made, _row("its 90 % interval covers", covered, "share", 0.85, covered >= 0.85)]


def _off(left_s: float, span: Interval) -> float:
    """Error as a share of what was left; where nothing was said, all of it."""
    return 1.0 if span.mid is None else abs(span.mid - left_s) / left_s


def seasons(plant: str, furnaces: int, first_seed: int, ways: Sequence[bool] = (False, True)) -> list[str]:
    """The judge's tables of a plant, line by line. ways: by dips or not."""
    sys.path.insert(0, str(Path(__file__).parent))
    from foresight_judge import report, season

    made = []
    for seed in range(first_seed, first_seed + furnaces):
        for dips in ways:
            made += season(seed, plant, dips=dips)
    return report(made)


if __name__ == "__main__":
    asked = sys.argv[1:]
    if asked and not asked[0].isdigit():
        ways = {"probe": (False,), "dips": (True,)}.get(asked[-1], (False, True))
        figures = [int(word) for word in asked[1:] if word.isdigit()]
        count, first = (*figures, *(6, 6000)[len(figures) :])
        print("\n".join(seasons(asked[0], count, first, ways)))
        sys.exit(0)
    for row in run(int(asked[0]) if asked else 12):
        budget = "" if row["budget"] is None else f"budget {row['budget']:g}  ok {row['ok']}"
        print(f"{row['what']:68} {row['measured']:9.3f} {row['unit']:10} {budget}")
