"""Fault T2: short to ground or supply. Within two samples: sensor_short, priority 2; BAD, no number, no pour call."""

import pytest

from pourcall.contract.events import Priority
from pourcall.contract.frames import SampleFlag
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "sensor_short"


def story(rig: Rig, flag: SampleFlag | None) -> None:
    rig.ready()
    rig.waits(30.0, lambda: rig.sample(METAL_C if flag is None else None, flags=0 if flag is None else int(flag)))


@pytest.mark.parametrize("flag", [SampleFlag.SHORT_GROUND, SampleFlag.SHORT_SUPPLY], ids=["ground", "supply"])
def test_a_short_is_one_alarm_after_two_samples_and_gives_no_number(rig: Rig, flag: SampleFlag) -> None:
    story(rig, flag)
    rig.one_alarm("sensor_short", Priority.ALARM, 2 * rig.T_S)
    rig.no_number(Reason.SENSOR_SHORT)
    rig.no_call()


def MAIN(rig: Rig) -> None:
    """For the meta-test: one of the two."""
    test_a_short_is_one_alarm_after_two_samples_and_gives_no_number(rig, SampleFlag.SHORT_GROUND)


def test_the_same_run_without_a_short_raises_nothing(rig: Rig) -> None:
    story(rig, None)
    rig.silent()
