"""The end of a melt: it ends as it was, whatever was said."""

import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import MeltEnded
from pourcall.contract.inputs import MeltEnding
from pourcall.contract.message import tell
from pourcall.daemon.inputs.done import done
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
