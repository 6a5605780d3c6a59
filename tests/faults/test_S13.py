"""Fault S13: the board sends a third of what it did. Within 10 s slow_data, priority 3; what comes still counts."""

from collections.abc import Callable
from itertools import count

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.inputs import LinkKind
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "slow_data"


def every(rig: Rig, one_in: int) -> Callable[[], None]:
    """One sample in so many."""
    turns = count(1)

    def sends() -> None:
        if next(turns) % one_in == 0:
            rig.sample(METAL_C)

    return sends


def story(rig: Rig, *, one_in: int, usual_s: float = 60.0, lasts_s: float = 30.0) -> None:
    """Two samples a second; from the fault on one of so many."""
    rig.ready()
    rig.waits(usual_s, lambda: rig.sample(METAL_C))
    rig.breaks()
    rig.waits(lasts_s, every(rig, one_in))


def test_a_third_of_the_usual_rate_is_one_warning_within_ten_seconds_and_the_call_goes_on(rig: Rig) -> None:
    story(rig, one_in=3)
    rig.one_alarm("slow_data", Priority.WARNING, 10.0, subject="bench")
    assert rig.up(CallKind.POUR)


MAIN = test_a_third_of_the_usual_rate_is_one_warning_within_ten_seconds_and_the_call_goes_on


def test_it_clears_by_itself_once_the_board_is_as_quick_as_it_was(rig: Rig) -> None:
    story(rig, one_in=3)
    rig.waits(30.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_a_lost_sample_now_and_then_and_a_board_that_is_slow_by_its_settings_raise_nothing(rig: Rig) -> None:
    rig.ready()
    turns = count(1)

    def most() -> None:
        if next(turns) % 4:
            rig.sample(METAL_C)

    rig.waits(60.0, lambda: rig.sample(METAL_C))
    rig.waits(60.0, most)
    rig.silent()


def test_a_board_that_was_always_so_slow_raises_nothing(rig: Rig) -> None:
    rig.put_link_opened()
    rig.waits(120.0, every(rig, 4))
    assert not rig.said_of("slow_data")


def test_one_that_stays_slow_is_taken_as_it_is_after_ten_minutes(rig: Rig) -> None:
    rig.put_link_opened()
    rig.waits(60.0, lambda: rig.sample(METAL_C))
    rig.waits(660.0, every(rig, 4))
    assert len(rig.raised("slow_data")) == 1
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_a_cable_pulled_and_put_back_is_no_slow_board(rig: Rig) -> None:
    rig.ready()
    rig.waits(60.0, lambda: rig.sample(METAL_C))
    rig.put_link(LinkKind.CLOSED, "unplugged")
    rig.waits(20.0)
    rig.put_link(LinkKind.OPENED, "port")
    rig.waits(30.0, lambda: rig.sample(METAL_C))
    assert not rig.said_of("slow_data")
