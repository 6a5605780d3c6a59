"""Fault R1 as far as a board tells: power that was cut is on. `power_not_obeying` (2) within 12 s, the figure stays.

Where no board tells, the heat does: `tests/engine/test_heat_bounds.py`.
"""

from pourcall.contract.events import Priority
from pourcall.contract.frames import BoardStatus
from pourcall.contract.inputs import BoardStatusIn, MarkPower, PowerLevel
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "power_not_obeying"


def applies(rig: Rig, permille: int) -> None:
    rig.put(BoardStatusIn, board="bench", status=BoardStatus(1, 0, 1, 0, permille, 0))


def story(rig: Rig, permille: int, *, lasts_s: float = 30.0) -> None:
    rig.ready()
    rig.do(MarkPower(level=PowerLevel.HIGH))
    applies(rig, 1000)
    rig.waits(10.0, lambda: rig.sample(METAL_C))
    rig.do(MarkPower(level=PowerLevel.OFF))
    rig.breaks()
    applies(rig, permille)
    rig.waits(lasts_s, lambda: rig.sample(METAL_C))


def test_power_that_a_board_still_applies_after_the_cut_is_one_alarm(rig: Rig) -> None:
    story(rig, 1000)
    rig.one_alarm("power_not_obeying", Priority.ALARM, 12.0, subject="small")
    assert rig.engine.channels[0].trusted


MAIN = test_power_that_a_board_still_applies_after_the_cut_is_one_alarm


def test_power_that_went_off_raises_nothing(rig: Rig) -> None:
    story(rig, 0)
    assert not rig.said_of("power_not_obeying")


def test_off_in_the_end_it_clears(rig: Rig) -> None:
    story(rig, 1000)
    applies(rig, 0)
    rig.waits(10.0, lambda: rig.sample(METAL_C))
    assert not rig.alarms()["power_not_obeying:small"].active
