"""Fault A6: the open-circuit check of the chip is off, as it is when a MAX31856 starts. At once `no_open_check` (2)."""

from pourcall.contract.events import Priority
from tests.faults.conftest import Rig
from tests.faults.test_A5 import CHECKS, FACTORY, SET, sends

DETECTOR = "no_open_check"


def story(rig: Rig, cr0: int) -> None:
    rig.put_link_opened()
    rig.breaks()
    rig.waits(20.0, lambda: sends(rig, cr0, SET["K"], 25.0))


def test_a_chip_that_never_looks_for_an_open_couple_is_one_alarm_at_the_start(rig: Rig) -> None:
    story(rig, FACTORY)
    rig.one_alarm("no_open_check", Priority.ALARM, 1.0)


MAIN = test_a_chip_that_never_looks_for_an_open_couple_is_one_alarm_at_the_start


def test_switched_on_it_clears(rig: Rig) -> None:
    story(rig, FACTORY)
    story(rig, CHECKS)
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_a_chip_that_looks_raises_nothing(rig: Rig) -> None:
    story(rig, CHECKS)
    assert not rig.alarms()
