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


def says(rig: Rig, permille: int, lasts_s: float) -> None:
    """Each second what it applies, as the firmware does, and samples between."""
    for _ in range(int(lasts_s)):
        applies(rig, permille)
        rig.waits(1.0, lambda: rig.sample(METAL_C))


def story(rig: Rig, permille: int, *, lasts_s: float = 30.0) -> None:
    rig.ready()
    rig.do(MarkPower(level=PowerLevel.HIGH))
    says(rig, 1000, 10.0)
    rig.do(MarkPower(level=PowerLevel.OFF))
    rig.breaks()
    says(rig, permille, lasts_s)


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
    says(rig, 0, 10.0)
    assert not rig.alarms()["power_not_obeying:small"].active


def test_a_controller_that_says_nothing_any_more_is_an_alarm_no_longer_though_its_probes_are_heard(rig: Rig) -> None:
    story(rig, 1000)
    rig.waits(20.0, lambda: rig.sample(METAL_C))  # its plug was pulled
    assert not rig.alarms()["power_not_obeying:small"].active
    assert rig.engine.facts.power.off
