"""A figure of one moment ages by one rule: state, call, words and +/- follow it together; it never grows younger."""

from collections.abc import Callable

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot, ToDo
from tests.engine.conftest import Bench, make_plan

OFF, HIGH = inp.PowerLevel.OFF, inp.PowerLevel.HIGH
WIDE, NARROW = (535.0, 575.0), (551.0, 559.0)


def dipped(lip: tuple[float, float], *, temp_c: float = 570.0, off_s: float | None = 30.0) -> Bench:
    """One dip into metal in the middle of its window; off_s: for how long the power was off; None: nobody says."""
    bench = Bench(Place.DIP)
    bench.start(make_plan(lip=lip))
    bench.do(inp.MarkSkim())
    if off_s is not None:
        bench.do(inp.MarkPower(level=HIGH))
        bench.run(2.0, 60.0)
        bench.do(inp.MarkPower(level=OFF))
    bench.run(off_s or 2.0, 60.0)
    bench.dip(temp_c)
    return bench


def followed(bench: Bench, seconds: int) -> list[FurnaceSnapshot]:
    shots = []
    for _ in range(seconds):
        bench.run(1.0, 60.0)
        shots.append(bench.engine.snapshot())
    return shots


@pytest.mark.parametrize("lip", [WIDE, NARROW])
@pytest.mark.parametrize("off_s", [30.0, 600.0, None])
def test_state_call_and_words_end_at_the_same_moment(lip: tuple[float, float], off_s: float | None) -> None:
    bench = dipped(lip, off_s=off_s)
    assert bench.calls(CallKind.POUR)
    shots = followed(bench, 100)
    for shot in shots:
        called = any(call.kind is CallKind.POUR for call in shot.calls)
        assert called is (shot.melt_state is MeltState.READY) is (shot.metal.temp_c is not None)
        assert shot.instruction.must  # what to do next is never left open, least of all by more doubt
    over = next(shot for shot in shots if shot.metal.temp_c is None)
    assert over.instruction.todo is ToDo.DIP
    assert over.instruction.why == tell("call.dip.too_old")


@pytest.mark.parametrize("off_s", [30.0, 600.0, None])
def test_the_doubt_only_grows_until_the_metal_is_read_again(off_s: float | None) -> None:
    shots = followed(dipped(WIDE, temp_c=540.0, off_s=off_s), 100)  # below its window: it is shown for ninety seconds
    doubts = [shot.metal.u_c for shot in shots if shot.metal.temp_c is not None and shot.metal.u_c is not None]
    assert len(doubts) > 50
    assert doubts == sorted(doubts)


def test_a_dip_that_counts_no_more_does_not_count_again_when_the_power_goes_off() -> None:
    bench = dipped(WIDE)
    assert bench.up(CallKind.POUR)
    bench.do(inp.MarkPower(level=HIGH))
    assert bench.engine.metal.how == tell("figure.power_after_dip")
    bench.run(2.0, 60.0)
    bench.do(inp.MarkPower(level=OFF))
    bench.run(5.0, 60.0)
    assert bench.engine.metal.temp_c is None
    assert bench.engine.metal.how == tell("figure.power_after_dip")
    assert bench.up(CallKind.POUR) is None


def test_power_told_afterwards_to_have_been_off_since_before_the_dip_voids_nothing() -> None:
    bench = Bench(Place.DIP)
    bench.start(make_plan())
    bench.do(inp.MarkSkim())
    bench.do(inp.MarkPower(level=HIGH))
    bench.run(2.0, 60.0)
    bench.dip(570.0)
    assert bench.engine.metal.how == tell("figure.dip_with_power")
    bench.do(inp.MarkPower(level=OFF, ago_s=60.0))
    bench.run(2.0, 60.0)
    assert bench.engine.metal.spent  # too old by now, and for that reason alone


def test_age_alone_never_makes_a_best_aim_of_a_figure_that_was_not_called_when_it_was_read() -> None:
    """Read on one side of a window that it knew well: not called; older, the window is narrower than its doubt."""
    bench = dipped((540.0, 576.0), temp_c=565.0, off_s=None)
    bench.run(90.0, 60.0)
    assert not bench.calls(CallKind.POUR) or bench.calls(CallKind.POUR)[0].raised_mono_s <= bench.t_s - 90.0


def test_a_typed_figure_that_grew_too_old_is_asked_for_again(bench: Bench, plan_for: Callable[..., MeltPlan]) -> None:
    bench.start(plan_for())
    bench.do(inp.MarkSkim())
    bench.do(inp.MarkPower(level=OFF))
    bench.do(inp.EnterTemperature(temp_c=570.0, instrument=inp.Instrument.METER))
    bench.run(95.0, None)
    shot = bench.engine.snapshot()
    assert shot.metal.temp_c is None
    assert (shot.instruction.todo, shot.instruction.must) == (ToDo.CHECK, True)
    assert isinstance(shot.metal.how, Message)
    assert shot.metal.how.name == "figure.too_old"
    bench.do(inp.EnterTemperature(temp_c=570.0, instrument=inp.Instrument.METER))
    bench.run(2.0, None)
    assert bench.up(CallKind.POUR)
