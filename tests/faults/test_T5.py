"""Fault T5: frozen to the last digit while the power is high. Uncertain after 3 minutes, `unchanging` (2) after 8.

Longer where a plateau, or an instrument without decimals, can explain it; never with the power off or unknown.
"""

import random

from pourcall.contract.events import Priority
from pourcall.contract.inputs import AckAlarm, MarkPower, PowerLevel
from pourcall.contract.status import Reason, Status
from tests.faults.conftest import Rig

DETECTOR = "unchanging"
FROZEN_C = 556.25  # above the liquidus of ZA-27, 484 degC: no plateau


def story(
    rig: Rig, level: PowerLevel, temp_c: float = FROZEN_C, *, noise_c: float = 0.0, lasts_s: float = 600.0
) -> None:
    rig.ready()
    noise = random.Random(5)
    rig.do(MarkPower(level=level))
    rig.breaks()
    rig.waits(lasts_s, lambda: rig.sample(round(4.0 * (temp_c + noise.gauss(0.0, noise_c))) / 4.0), step_s=1.0)


def test_the_same_digits_at_full_power_are_uncertain_and_then_one_alarm_without_a_number(rig: Rig) -> None:
    story(rig, PowerLevel.HIGH, lasts_s=200.0)
    last = rig.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.status) == (Reason.UNPROVEN, Status.UNCERTAIN)
    rig.no_call()
    rig.waits(400.0, lambda: rig.sample(FROZEN_C), step_s=1.0)
    rig.one_alarm("unchanging", Priority.ALARM, 480.0 + 2.0)
    rig.no_number(Reason.UNCHANGING)
    rig.no_call()


MAIN = test_the_same_digits_at_full_power_are_uncertain_and_then_one_alarm_without_a_number


def test_once_it_moves_and_a_person_has_looked_it_is_believed_again(rig: Rig) -> None:
    story(rig, PowerLevel.HIGH)
    rig.do(MarkPower(level=PowerLevel.OFF))
    noise = random.Random(7)
    rig.waits(30.0, lambda: rig.sample(FROZEN_C + round(noise.gauss(0.0, 0.3), 2)))
    rig.no_call()
    rig.do(AckAlarm(alarm="unchanging:metal"))
    rig.waits(700.0, lambda: rig.sample(FROZEN_C + round(noise.gauss(0.0, 0.3), 2)), step_s=1.0)
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.temp_c is not None


def test_a_plateau_at_full_power_raises_nothing(rig: Rig) -> None:
    story(rig, PowerLevel.HIGH, 478.0)
    assert not rig.said_of("unchanging")
    assert rig.engine.metal.temp_c is not None


def test_a_bath_that_stands_with_the_power_off_or_with_its_noise_raises_nothing(rig: Rig) -> None:
    story(rig, PowerLevel.OFF)
    assert not rig.said_of("unchanging")
    rig.do(MarkPower(level=PowerLevel.HIGH))
    noise = random.Random(9)
    rig.waits(600.0, lambda: rig.sample(round(4.0 * (FROZEN_C + noise.gauss(0.0, 0.2))) / 4.0), step_s=1.0)
    assert not rig.said_of("unchanging")
