"""Fault S2: port open, no bytes. Within 3 s (and the tick that sees it): link_lost, priority 2; no number, no call."""

from pourcall.contract.events import Priority
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "link_lost"


def story(rig: Rig, broken: bool) -> None:
    rig.ready()
    rig.waits(30.0, None if broken else lambda: rig.sample(METAL_C))


def test_silence_on_an_open_port_is_one_alarm_and_no_number(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("link_lost", Priority.ALARM, 3.0 + 1.0, subject="bench")  # 3 s of silence, told at the next tick
    rig.no_number(Reason.LINK_LOST)
    rig.no_call()


MAIN = test_silence_on_an_open_port_is_one_alarm_and_no_number


def test_a_board_that_never_said_anything_is_lost_too_and_comes_up_by_itself(rig: Rig) -> None:
    rig.put_link_opened()
    rig.breaks()
    rig.waits(5.0)
    rig.one_alarm("link_lost", Priority.ALARM, 4.0, subject="bench")
    rig.waits(10.0, lambda: rig.sample(20.0))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_the_same_run_with_bytes_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
