"""Never blind in silence: a probe in hot metal that gives no figure for three minutes is one alarm, a dip is none."""

import math

from pourcall.contract.events import CallKind
from tests.engine.conftest import Bench, make_plan

SAID_S = 200.0  # three minutes, and some seconds until it is seen to settle at all


def wavering(t: float) -> float:
    """Slow pickup on a thin probe: eleven degrees either way, each quarter of a minute, on a bath that heats."""
    return 565.0 + 0.1 * t + 11.0 * math.sin(2.0 * math.pi * t / 15.0)


def test_a_probe_that_wavers_too_much_to_settle_is_an_alarm_within_three_minutes_and_never_poured_on() -> None:
    bench = Bench()
    bench.start(make_plan())
    bench.run(5.0, 25.0)
    bench.run(SAID_S, wavering)
    assert set(bench.alarms()) == {"blind:metal"}
    assert not bench.calls(CallKind.POUR)


def test_it_is_over_when_the_probe_stands_still() -> None:
    bench = Bench()
    bench.start(make_plan())
    bench.run(5.0, 25.0)
    bench.run(SAID_S, wavering)
    bench.run(90.0, 570.0)
    assert not any(alarm.active for alarm in bench.alarms().values())


def test_one_that_settles_and_one_that_is_pulled_and_cools_raise_nothing() -> None:
    bench = Bench()
    bench.in_metal(570.0)
    bench.run(60.0, 570.0)
    bench.run(300.0, lambda t: 20.0 + 550.0 * math.exp(-t / 12.0))
    assert not bench.alarms()
