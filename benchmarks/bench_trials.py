"""What the trial analysis costs, and whether it can be believed. Simulated shops whose truth is known.

`run()` gives one row for each figure: {"what", "measured", "unit", "budget", "peer", "peer_measured", "ratio", "ok"}.
A shop's truth is drawn from continuous laws, not from the model's grid: thresholds about the sheet's window, scales
log-normal, background faults Beta; their centres and widths are the model's own, so that this shows honest arithmetic
and not that foundries are so. Its pours miss their aim and are measured with an error. All seeds are fixed; the model's
constants were chosen on seeds 0 to 199, and the figures here come from seeds that had no part in that.
Strategies see the same shops: ours, bisection between cold and hot faults, and the middle of the handbook's window.
Run: `python benchmarks/bench_trials.py`.
"""

import math
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from pourcall.cli.shop.demo_records import make_records
from pourcall.contract.paths import paths_for
from pourcall.trials.advice import Advice, Bound, InspectedPour, SetupData
from pourcall.trials.defects import Sides
from pourcall.trials.grid import BACKGROUND_SHARES, GRADE_STEP
from pourcall.trials.model import advise, prior_of

Row = dict[str, Any]
HIT_U_C, MEASURED_U_C = 3.0, 3.0  # standard deviations: of hitting an aim, of measuring what was hit
BATCH_POINTS = 25
FIRST_SEED = 100_000
BORROWING_SHOPS = 200
MISLEAD_C, MISLED_LOSS = 25.0, 0.05  # a similar setup that is not, and the share of castings that may cost
CLEAT = SetupData(  # the boat club's deck cleat in ZA-27, 6 mm: window of the sheet for that section (invented setup)
    setup="deck cleat",
    alloy="za27",
    alloy_name="ZA-27",
    family="zinc",
    window_min_c=546.0,
    window_max_c=579.0,
    window_why="sheet",
    doubtful=True,
    floor_c=509.0,
    bounds=(Bound(limit_c=640.0, whose="alloy", why="sheet"),),
)


class Shop:
    """A mould whose truth is known. off_c: how far the sheet's window is wrong for it, beyond what the prior says."""

    def __init__(self, seed: int, *, off_c: float = 0.0) -> None:
        self.random = random.Random(seed)
        prior, draw = prior_of(CLEAT), self.random
        common, own = draw.gauss(0.0, 1.0), (draw.gauss(0.0, 1.0), draw.gauss(0.0, 1.0))
        z_cold, z_hot = (math.sqrt(0.3) * common + math.sqrt(0.7) * z for z in own)
        shift_c = off_c * draw.choice((-1.0, 1.0))
        self.cold_c = prior.cold_c + prior.spread_c * z_cold + shift_c
        self.hot_c = prior.hot_c + prior.spread_c * z_hot + shift_c
        self.scales = [prior.scale_c * math.exp(draw.gauss(0.0, 0.4)) for _ in range(2)]
        self.chances = [draw.betavariate(0.8, 11.5) for _ in range(2)]
        self.best = max(self.aimed(t) for t in range(509, 641, 1))

    def sound(self, temp_c: float) -> float:
        """The true probability of a casting without fault."""
        return math.prod(1.0 - self._tail(side, temp_c, 1) for side in (0, 1))

    def aimed(self, temp_c: float) -> float:
        """The same for an aim, which is missed a little."""
        return sum(w * self.sound(temp_c + HIT_U_C * x) for x, w in ((-1.732, 1 / 6), (0.0, 2 / 3), (1.732, 1 / 6)))

    def pour(self, number: int, aim_c: float) -> InspectedPour:
        """Pour, inspect, and write down what was measured."""
        true_c = aim_c + self.random.gauss(0.0, HIT_U_C)
        cold, hot = (self._grade(side, true_c) for side in (0, 1))
        measured_c = true_c + self.random.gauss(0.0, MEASURED_U_C)
        found = Sides(cold=cold, cold_strength=3 if cold else 0, hot=hot, hot_strength=3 if hot else 0)
        return InspectedPour(pour=f"2026-{number:03d}-1", lip_c=measured_c, u_c=MEASURED_U_C, found=found)

    def _tail(self, side: int, temp_c: float, grade: int) -> float:
        off_c = self.cold_c - temp_c if side == 0 else temp_c - self.hot_c
        z = off_c / self.scales[side] - (grade - 1) * GRADE_STEP
        chance = self.chances[side]
        return chance * BACKGROUND_SHARES[grade - 1] + (1.0 - chance) / (1.0 + math.exp(-max(-500.0, min(500.0, z))))

    def _grade(self, side: int, temp_c: float) -> int:
        draw = self.random.random()
        return sum(1 for grade in (1, 2, 3) if draw < self._tail(side, temp_c, grade))


Strategy = Callable[[list[InspectedPour]], float]


def ours(pours: list[InspectedPour]) -> float:
    """The next temperature as advised."""
    next_c = _batch(pours).next_c
    assert next_c is not None
    return next_c


def ours_best(pours: list[InspectedPour]) -> float:
    """The best temperature as advised: where to stay once the trials are over."""
    best_c = _batch(pours).best_c
    assert best_c is not None
    return best_c


def bisection(pours: list[InspectedPour]) -> float:
    """Half way between the hottest cold fault and the coldest hot one; stays while sound or while both at once."""
    low_c, high_c = CLEAT.window_min_c - 25.0, CLEAT.window_max_c + 25.0
    for pour in pours:
        if pour.found.cold and not pour.found.hot:
            low_c = max(low_c, min(pour.lip_c, high_c))
        elif pour.found.hot and not pour.found.cold:
            high_c = min(high_c, max(pour.lip_c, low_c))
    return 0.5 * (low_c + high_c)


def handbook(pours: list[InspectedPour]) -> float:
    """The middle of the window in the sheet, always."""
    return 0.5 * (CLEAT.window_min_c + CLEAT.window_max_c)


def _batch(pours: list[InspectedPour]) -> Advice:
    return advise(msgspec.structs.replace(CLEAT, pours=tuple(pours)), outlook=False, points=BATCH_POINTS)


Losses = tuple[list[float], list[float]]


def regret(strategy: Strategy, final: Strategy, shops: int, pours: int, *, off_c: float) -> Losses:
    """Share of sound castings each shop loses against its best temperature: over all its pours, and after them."""
    during, after = [], []
    for seed in range(FIRST_SEED, FIRST_SEED + shops):
        lost = []
        shop, done = Shop(seed, off_c=off_c), list[InspectedPour]()
        for number in range(1, pours + 1):
            aim_c = strategy(done)
            lost.append(shop.best - shop.aimed(aim_c))
            done.append(shop.pour(number, aim_c))
        during.append(statistics.fmean(lost))
        after.append(shop.best - shop.aimed(final(done)))
    return during, after


def gained(mine: list[float], theirs: list[float]) -> tuple[float, float]:
    """Mean of what ours saves, shop by shop, and the standard error of that mean."""
    saved = [b - a for a, b in zip(mine, theirs, strict=True)]
    return statistics.fmean(saved), statistics.stdev(saved) / math.sqrt(len(saved))


def coverage(shops: int, pours: int, *, off_c: float = 0.0) -> tuple[float, float, float]:
    """Share of (shop, temperature) whose truth the 90 % band holds; its mean width; ms of processor an analysis."""
    inside, widths, spent_s = [], [], []
    for seed in range(FIRST_SEED, FIRST_SEED + shops):
        shop = Shop(seed, off_c=off_c)
        aims = [shop.random.uniform(CLEAT.window_min_c - 20.0, CLEAT.window_max_c + 20.0) for _ in range(pours)]
        done = [shop.pour(number, aim_c) for number, aim_c in enumerate(aims, 1)]
        began_s = time.process_time()
        advice = _batch(done)
        spent_s.append(time.process_time() - began_s)
        for point in advice.curve:
            if CLEAT.window_min_c - 20.0 <= point.temp_c <= CLEAT.window_max_c + 20.0:
                inside.append(point.low <= shop.sound(point.temp_c) <= point.high)
                widths.append(point.high - point.low)
    return statistics.fmean(inside), statistics.fmean(widths), 1000.0 * statistics.median(spent_s)


RELATED_POURS, APART_C = 8, 10.0  # of the similar setup; standard deviation of how far its thresholds truly lie off


class Related:
    """A setup like the shop's own in alloy and section, with eight pours. Its thresholds lie elsewhere a little.

    mislead_c: in place of a draw, both its thresholds lie so far off, to either side.
    """

    def __init__(self, shop: Shop, seed: int, *, mislead_c: float = 0.0) -> None:
        draw = random.Random(seed * 31 + 11)
        common, own = draw.gauss(0.0, 1.0), (draw.gauss(0.0, 1.0), draw.gauss(0.0, 1.0))
        off = [APART_C * (math.sqrt(0.5) * common + math.sqrt(0.5) * one) for one in own]
        if mislead_c:
            off = [mislead_c * draw.choice((-1.0, 1.0))] * 2
        other = Shop(seed)
        other.random = draw
        other.cold_c, other.hot_c = shop.cold_c + off[0], shop.hot_c + off[1]
        aims = [draw.uniform(CLEAT.window_min_c - 15.0, CLEAT.window_max_c + 15.0) for _ in range(RELATED_POURS)]
        poured = [other.pour(100 + number, aim_c) for number, aim_c in enumerate(aims)]
        self.pours = tuple(lent(pour) for pour in poured)


def lent(pour: InspectedPour) -> InspectedPour:
    """As gather.py would hand it over: of a setup with the same material and a section about a fifth thicker."""
    return msgspec.structs.replace(pour, setup="bow cleat", apart=1.2)


class Borrowed(NamedTuple):
    """What borrowing did to many shops. lost: share of sound castings, of the next pour and of the best as advised."""

    next_lost: list[float]
    best_lost: list[float]
    held: float  # share of (shop, temperature) whose truth the band holds
    width: float
    spent_ms: float


def borrowing(shops: int, own: int, *, borrow: bool, mislead_c: float = 0.0, first: int = FIRST_SEED) -> Borrowed:
    """Shops with `own` inspected pours of a new setup, each poured where it was advised, and eight of a similar one."""
    nexts, bests, inside, widths, spent_s = [], [], [], [], []
    for seed in range(first, first + shops):
        shop, done = Shop(seed), list[InspectedPour]()
        given = Related(shop, seed, mislead_c=mislead_c).pours if borrow else ()
        for number in range(own + 1):
            began_s = time.process_time()
            data = msgspec.structs.replace(CLEAT, pours=tuple(done), borrowed=given)
            advice = advise(data, outlook=False, points=BATCH_POINTS)
            spent_s.append(time.process_time() - began_s)
            assert advice.next_c is not None
            if number < own:
                done.append(shop.pour(number, advice.next_c))
        assert advice.best_c is not None
        assert advice.next_c is not None
        nexts.append(shop.best - shop.aimed(advice.next_c))
        bests.append(shop.best - shop.aimed(advice.best_c))
        for point in advice.curve:
            if CLEAT.window_min_c - 20.0 <= point.temp_c <= CLEAT.window_max_c + 20.0:
                inside.append(point.low <= shop.sound(point.temp_c) <= point.high)
                widths.append(point.high - point.low)
    return Borrowed(
        nexts, bests, statistics.fmean(inside), statistics.fmean(widths), 1000.0 * statistics.median(spent_s)
    )


def fifty() -> SetupData:
    """Fifty pours of one setup."""
    shop = Shop(7)
    aims = [shop.random.uniform(520.0, 610.0) for _ in range(50)]
    return msgspec.structs.replace(CLEAT, pours=tuple(shop.pour(n, aim_c) for n, aim_c in enumerate(aims, 1)))


def _row(
    what: str,
    measured: float,
    unit: str,
    budget: float | None = None,
    *,
    ok: bool | None = None,
    peer: str = "",
    peer_measured: float | None = None,
) -> Row:
    ratio = None if not peer_measured else round(measured / peer_measured, 3)
    passes = ok if ok is not None else budget is None or measured <= budget
    return {
        "what": what,
        "measured": round(measured, 4),
        "unit": unit,
        "budget": budget,
        "peer": peer,
        "peer_measured": None if peer_measured is None else round(peer_measured, 4),
        "ratio": ratio,
        "ok": passes,
    }


def borrowing_rows(shops: int) -> list[Row]:
    """Whether eight pours of a similar setup help a new one, and what it costs where that setup misleads."""
    rows = []
    for label, mislead_c in (("alike", 0.0), (f"off by {MISLEAD_C:g} degC", MISLEAD_C)):
        for own in (0, 3):
            alone = borrowing(shops, own, borrow=False)
            helped = borrowing(shops, own, borrow=True, mislead_c=mislead_c)
            about = f"{shops} shops, {own} own pours and {RELATED_POURS} of a setup {label}"
            for when, mine, theirs in (
                ("next pour", helped.next_lost, alone.next_lost),
                ("best as advised", helped.best_lost, alone.best_lost),
            ):
                saved, error = gained(mine, theirs)
                least = -MISLED_LOSS if mislead_c else 2.0 * error if own == 0 else -2.0 * error
                what = f"sound castings lost by the {when}, {about}; saved {saved:.4f} +- {error:.4f}"
                lost, peer = statistics.fmean(mine), statistics.fmean(theirs)
                rows.append(_row(what, lost, "share", peer="not borrowing", peer_measured=peer, ok=saved > least))
            what = f"90 % band holds the truth, {about} (mean width {helped.width:.2f}, alone {alone.width:.2f})"
            rows.append(_row(what, helped.held, "share", ok=(0.84 if mislead_c else 0.87) <= helped.held <= 0.97))
            rows.append(_row(f"one analysis with borrowing, {own} own pours", helped.spent_ms, "ms", 20.0))
    return rows


def run(shops: int = 500, pours: int = 12) -> list[Row]:
    """All figures."""
    rows = []
    for label, off_c, least in (("as the sheet", 0.0, 0.87), ("sheet 20 degC off", 20.0, 0.78)):
        share, width, spent_ms = coverage(shops, pours, off_c=off_c)
        what = f"90 % band holds the truth, {shops} shops {label}, {pours} pours (mean width {width:.2f})"
        rows.append(_row(what, share, "share", ok=least <= share <= 0.96))
        if not off_c:
            rows.append(_row(f"one analysis in a batch, {pours} pours, processor time", spent_ms, "ms", 20.0))
        mine = regret(ours, ours_best, shops, pours, off_c=off_c)
        for name, peer in (("bisection", bisection), ("handbook middle", handbook)):
            theirs = regret(peer, peer, shops, pours, off_c=off_c)
            for when, at in ((f"during {pours} pours", 0), (f"after {pours} pours", 1)):
                saved, error = gained(mine[at], theirs[at])
                rows.append(
                    _row(
                        f"sound castings lost {when}, {label}; saved {saved:.4f} +- {error:.4f} (standard error)",
                        statistics.fmean(mine[at]),
                        "share",
                        peer=name,
                        peer_measured=statistics.fmean(theirs[at]),
                        # Learning costs castings: while it lasts ours may not be worse; after it, it must be better.
                        ok=saved > (0.0 if at == 0 else 2.0 * error),
                    )
                )
    rows += borrowing_rows(min(shops, BORROWING_SHOPS))
    data = fifty()
    took = []
    for _ in range(3):
        began_s = time.perf_counter()
        advise(data)
        took.append(time.perf_counter() - began_s)
    rows.append(_row("advise at 50 pours, with outlook", statistics.median(took), "s", 2.0))
    rows.append(_row("invented season: six melts, twelve pours through engine and recorder", season_s(), "s", 10.0))
    return rows


def season_s() -> float:
    """Processor time of `pourcall demo --records`, imports apart."""
    with tempfile.TemporaryDirectory(prefix="pc-season-") as folder:
        paths = paths_for({"POURCALL_HOME": folder}, sys.platform, Path(folder))
        began_s = time.process_time()
        make_records(paths)
        return time.process_time() - began_s


if __name__ == "__main__":
    for line in run():
        print(line)
