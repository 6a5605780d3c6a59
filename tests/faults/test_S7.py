"""Fault S7: two devices are swapped. identity_mismatch, priority 2, as soon as the board says who it is."""

from pourcall.contract.events import Priority
from pourcall.contract.frames import Identity
from pourcall.contract.inputs import IdentityIn
from pourcall.contract.message import tell
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig
from tests.told import inside

DETECTOR = "identity_mismatch"


def says(rig: Rig, serial: str) -> None:
    rig.put(IdentityIn, board="bench", identity=Identity(board="pourcall", serial=serial, channels=("0",)))


def story(rig: Rig, serial: str) -> None:
    says(rig, "A17")
    rig.ready()
    says(rig, serial)
    rig.waits(10.0, lambda: rig.sample(METAL_C))


def test_another_board_on_the_port_is_one_alarm_at_once_and_calls_nothing(rig: Rig) -> None:
    story(rig, "B03")
    rig.one_alarm("identity_mismatch", Priority.ALARM, 0.0, subject="bench")
    other = tell("alarm.other_board", found="B03", expected="A17")
    assert other in inside(rig.alarms()["identity_mismatch:bench"].what)
    rig.no_number(Reason.CONFIG)
    rig.no_call()


MAIN = test_another_board_on_the_port_is_one_alarm_at_once_and_calls_nothing


def test_it_clears_when_the_right_board_is_back(rig: Rig) -> None:
    story(rig, "B03")
    says(rig, "A17")
    rig.waits(10.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.temp_c is not None


def test_the_same_run_with_the_same_board_raises_nothing(rig: Rig) -> None:
    story(rig, "A17")
    rig.silent()
