"""Fault T13: mains hum of +-5 degC. Within 60 s `noisy_signal` (4), and no other alarm."""

import itertools
import random
from collections.abc import Callable

from pourcall.contract.events import Priority
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "noisy_signal"


def hum(rig: Rig, size_c: float, at_c: float = METAL_C) -> Callable[[], object]:
    """As an amplifier without a filter takes it: anywhere in the swing of the mains."""
    noise = random.Random(11)
    return lambda: rig.sample(at_c + noise.choice((-1.0, 1.0)) * noise.uniform(0.6, 1.0) * size_c)


def story(rig: Rig, size_c: float) -> None:
    rig.ready()
    rig.waits(120.0, hum(rig, size_c))


def test_hum_of_five_degrees_is_one_caution_within_a_minute(rig: Rig) -> None:
    story(rig, 5.0)
    rig.one_alarm("noisy_signal", Priority.CAUTION, 60.0)


MAIN = test_hum_of_five_degrees_is_one_caution_within_a_minute


def test_it_is_told_before_the_melt_too_and_goes_when_it_is_gone(rig: Rig) -> None:
    rig.put_link_opened()
    rig.waits(90.0, hum(rig, 5.0, 25.0))
    assert {alarm.kind for alarm in rig.alarms().values()} == {"noisy_signal"}
    rig.waits(60.0, hum(rig, 0.3, 25.0))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_the_scatter_of_a_sound_amplifier_and_a_coarse_instrument_raise_nothing(rig: Rig) -> None:
    story(rig, 0.5)
    rig.silent()
    noise = random.Random(13)
    rig.waits(120.0, lambda: rig.sample(float(round(METAL_C + noise.gauss(0.0, 0.4)))))
    rig.silent()


def test_dip_after_dip_is_no_noise(rig: Rig) -> None:
    rig.ready()
    for _ in range(3):
        rig.waits(10.0, lambda: rig.sample(300.0))
        rig.waits(15.0, lambda: rig.sample(METAL_C))
    assert not rig.said_of("noisy_signal")


def test_of_a_couple_that_is_open_nothing_is_said_of_its_noise_any_more(rig: Rig) -> None:
    story(rig, 5.0)
    rig.waits(30.0, lambda: rig.sample(None, flags=1))
    assert rig.alarms()["sensor_open:metal"].active
    assert not rig.alarms()["noisy_signal:metal"].active


def test_hum_in_which_single_samples_are_missing_is_said_all_the_same(rig: Rig) -> None:
    rig.ready()
    hums, turns = hum(rig, 5.0), itertools.count()
    rig.waits(60.0, lambda: rig.sample(None) if next(turns) % 60 == 30 else hums())
    assert "noisy_signal:metal" in rig.alarms()
