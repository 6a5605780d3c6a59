"""The end of a melt: it ends as it was, and nothing of it that is over is brought into the next."""

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.events import AlarmState, MeltEnded
from pourcall.contract.inputs import MeltEnding
from pourcall.contract.message import tell
from pourcall.daemon.inputs.done import done
from pourcall.engine.alarms.manager import MELT_END
from tests.engine.conftest import Bench, make_plan

POURED = inp.EndMelt(ending=MeltEnding.POURED)


def ended(bench: Bench, command: inp.EndMelt) -> MeltEnding:
    (out,) = bench.of(MeltEnded, bench.do(command))
    assert isinstance(out, MeltEnded)
    return out.ending


@pytest.mark.parametrize("moulds", [0, 2])
def test_a_melt_of_which_no_pour_is_on_record_ends_without_a_pour_whatever_was_said(bench: Bench, moulds: int) -> None:
    bench.in_metal(565.0, make_plan(moulds=moulds))
    assert ended(bench, POURED) is MeltEnding.UNPOURED


def test_an_answer_about_a_melt_that_is_over_ends_no_other(bench: Bench) -> None:
    bench.in_metal(565.0)
    running = make_plan().melt
    (refused,) = bench.do(inp.EndMelt(ending=MeltEnding.HEEL, melt="2026-001"))
    assert isinstance(refused, ev.CommandRefused)
    assert refused.what == tell("command.other_melt", melt="2026-001", running=running)
    assert ended(bench, inp.EndMelt(ending=MeltEnding.HEEL, melt=running)) is MeltEnding.HEEL


def test_what_is_answered_is_how_it_ended_and_not_what_was_said(bench: Bench) -> None:
    bench.in_metal(565.0)
    told = done(POURED, bench.do(POURED))
    assert told.facts["what"].facts["parts"] == (tell("daemon.done.ending", ending="unpoured"),)  # type: ignore[union-attr]


def test_a_pour_of_before_the_daemon_was_away_counts(bench: Bench) -> None:
    bench.do(inp.StartMelt(plan=make_plan(moulds=2), poured=((1, "cleat 1"),)))
    assert ended(bench, POURED) is MeltEnding.POURED


def test_a_melt_whose_one_pour_was_struck_ends_without_a_pour(bench: Bench) -> None:
    bench.in_metal(565.0)
    bench.do(inp.MarkPour())
    bench.do(inp.CorrectPour(number=1))
    assert ended(bench, POURED) is MeltEnding.UNPOURED


@pytest.mark.parametrize("ending", [MeltEnding.INGOTS, MeltEnding.HEEL, MeltEnding.ABANDONED])
def test_a_melt_that_was_never_meant_for_a_mould_ends_as_it_is_told(bench: Bench, ending: MeltEnding) -> None:
    bench.in_metal(565.0, make_plan(moulds=0))
    assert ended(bench, inp.EndMelt(ending=ending)) is ending


# -- alarms


def too_hot_and_over(bench: Bench) -> None:
    bench.in_metal(610.0)
    bench.run(10.0, 610.0)
    bench.run(60.0, lambda t: 610.0 - 0.8 * t)
    assert bench.alarms()["alloy_limit:small"].state is AlarmState.RTN_UNACKED


def test_an_alarm_that_is_over_is_settled_by_the_end_of_its_melt(bench: Bench) -> None:
    too_hot_and_over(bench)
    outs = bench.do(inp.EndMelt(ending=MeltEnding.INGOTS))
    (settled,) = [
        out
        for out in bench.alarm_changes(outs)
        if out.alarm.kind == "alloy_limit" and out.alarm.state is AlarmState.NORMAL
    ]
    assert settled.by == MELT_END
    bench.start()
    assert bench.alarms() == {}


def test_one_that_still_held_as_the_melt_ended_is_over_with_it(bench: Bench) -> None:
    bench.in_metal(610.0)
    bench.run(10.0, 610.0)
    bench.do(inp.EndMelt(ending=MeltEnding.ABANDONED))
    assert "alloy_limit:small" not in bench.alarms()


def test_a_probe_that_is_still_broken_stays_an_alarm_and_one_that_was_mended_does_not(bench: Bench) -> None:
    bench.in_metal(560.0)
    bench.put(inp.LinkIn, board="bench", kind=inp.LinkKind.CLOSED)
    bench.run(10.0, None)
    assert bench.alarms()["link_lost:bench"].active
    bench.do(inp.EndMelt(ending=MeltEnding.ABANDONED))
    assert bench.alarms()["link_lost:bench"].state is AlarmState.UNACKED


def test_what_befell_the_record_is_no_matter_of_the_melt_and_waits_for_a_person(bench: Bench) -> None:
    bench.in_metal(560.0)
    bench.put(inp.StoreIn, problem=inp.StoreProblem.FAILING)
    bench.put(inp.StoreIn, problem=inp.StoreProblem.NONE)
    assert bench.alarms()["store_failing:record"].state is AlarmState.RTN_UNACKED
    bench.do(inp.EndMelt(ending=MeltEnding.ABANDONED))
    assert bench.alarms()["store_failing:record"].state is AlarmState.RTN_UNACKED
    assert not [out for out in bench.of(ev.AlarmChanged) if out.by == MELT_END]
