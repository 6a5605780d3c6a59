"""Marks of the running melt that were wrong: a pour that was none, another mould, a time before it began."""

import msgspec
import pytest

from pourcall.contract import inputs as inp
from pourcall.contract.events import CommandRefused, Marked, PourMarked
from pourcall.contract.message import tell
from tests.engine.conftest import Bench, make_plan


def pour_numbers(bench: Bench) -> list[tuple[int, str]]:
    return [(one.pour.number, one.pour.mould) for one in bench.of(PourMarked)]


def test_a_pour_that_was_none_makes_its_mould_the_next_again_and_keeps_its_number(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    bench.do(inp.MarkPour())
    outs = bench.do(inp.CorrectPour(number=2))
    assert [one.text for one in bench.of(Marked, outs)] == [tell("melt.pour_struck", number=2)]
    assert [pour.number for pour in bench.engine.snapshot().pours] == [1]
    bench.do(inp.MarkPour())
    assert pour_numbers(bench) == [(1, "cleat 1"), (2, "cleat 2"), (3, "cleat 2")]


def test_a_pour_that_went_into_another_mould_leaves_the_first_one_to_be_poured(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    bench.do(inp.CorrectPour(number=1, mould="cleat 2"))
    assert [pour.mould for pour in bench.engine.snapshot().pours] == ["cleat 2"]
    bench.do(inp.MarkPour())
    assert pour_numbers(bench)[-1] == (2, "cleat 1")


def test_a_pour_moved_to_another_mould_has_that_moulds_setup_window_and_loss(bench: Bench) -> None:
    plan = make_plan(moulds=2)
    other = msgspec.structs.replace(plan.moulds[1], setup="fairlead", lip_min_c=520.0, lip_max_c=540.0, loss_c=35.0)
    bench.in_metal(565.0, msgspec.structs.replace(plan, moulds=(plan.moulds[0], other)))
    bench.do(inp.MarkPour())
    bench.do(inp.CorrectPour(number=1, mould="cleat 2"))
    (pour,) = bench.engine.snapshot().pours
    assert (pour.setup, pour.lip_min_c, pour.lip_max_c) == ("fairlead", 520.0, 540.0)
    assert pour.lip_temp_c == pytest.approx(565.0 - 35.0, abs=1.0)


def test_a_corrected_pour_shows_what_the_record_has_of_it(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    bench.do(inp.MarkPour())
    (pour,) = bench.engine.snapshot().pours
    figures = inp.PourFigures(
        at_mono_s=pour.at_mono_s - 20.0,
        at_utc_s=pour.at_utc_s - 20.0,
        pot_temp_c=560.0,
        pot_u_c=3.0,
        lip_temp_c=544.0,
        lip_u_c=6.0,
        lip_min_c=535.0,
        lip_max_c=575.0,
        setup="deck cleat",
        basis="as it was said",
    )
    bench.do(inp.CorrectPour(number=1, mould="cleat 1", figures=figures))
    (now,) = bench.engine.snapshot().pours
    assert {name: getattr(now, name) for name in msgspec.structs.asdict(figures)} == msgspec.structs.asdict(figures)


def test_a_pour_that_never_was_cannot_be_corrected(bench: Bench) -> None:
    bench.in_metal(565.0, make_plan(moulds=2))
    (refused,) = bench.of(CommandRefused, bench.do(inp.CorrectPour(number=1)))
    assert refused.what == tell("command.no_pour", number=1)


def test_a_melt_that_goes_on_after_a_restart_pours_what_is_left_under_fresh_numbers(bench: Bench) -> None:
    bench.do(inp.StartMelt(plan=make_plan(moulds=3), poured=((1, "cleat 1"), (2, ""), (3, "cleat 3"))))
    bench.do(inp.MarkPour())
    assert pour_numbers(bench) == [(4, "cleat 2")]
    (refused,) = bench.of(CommandRefused, bench.do(inp.MarkPour()))
    assert refused.what == tell("command.all_poured")


@pytest.mark.parametrize(
    "mark", [inp.MarkAddition(ago_s=50.0), inp.MarkSkim(ago_s=50.0), inp.MarkLift(ago_s=50.0), inp.MarkPour(ago_s=50.0)]
)
def test_a_mark_from_before_the_melt_began_is_refused_in_the_same_words(bench: Bench, mark: inp.Command) -> None:
    bench.start(make_plan(moulds=2))
    bench.run(40.0, 20.0)
    (refused,) = bench.of(CommandRefused, bench.do(mark))
    assert (refused.what, refused.remedy) == (
        tell("command.before_the_melt"),
        tell("command.do.shorter_ago"),
    )
