"""Fault A7: the chip's fault flag stays though the couple is whole. Within 10 s `flag_stuck` (3); no number meanwhile.

A MAX31856 in interrupt mode keeps SR bit 0 until it is cleared (data sheet, CR0 bit 2), and goes on converting.
"""

import random

from pourcall.contract.events import Priority
from pourcall.contract.status import Reason
from pourcall.drivers.wire.max31856 import SR_OPEN, decoder, encode_registers
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "flag_stuck"


def story(rig: Rig, *, status: int, hot_c: float = METAL_C, noise_c: float = 0.1, lasts_s: float = 30.0) -> None:
    rig.ready()
    noise = random.Random(3)

    def sends() -> None:
        raw = encode_registers(hot_c + noise.gauss(0.0, noise_c), 25.0, status)
        rig.frames(f"0:{raw.hex().upper()}\n".encode(), decoder())

    rig.waits(lasts_s, sends)


def test_an_open_flag_beside_figures_that_go_on_is_told_as_a_flag_that_stays(rig: Rig) -> None:
    story(rig, status=SR_OPEN)
    shown = {alarm.kind: alarm for alarm in rig.alarms().values() if not alarm.suppressed_by}
    assert set(shown) == {"flag_stuck"}  # first it was an open couple, for all that could be told
    assert shown["flag_stuck"].priority is Priority.WARNING
    assert shown["flag_stuck"].raised_mono_s - rig.broken_s <= 10.0 + 1.0
    rig.no_number(Reason.SENSOR_OPEN)
    rig.no_call()


MAIN = test_an_open_flag_beside_figures_that_go_on_is_told_as_a_flag_that_stays


def test_a_couple_that_is_truly_open_stays_one(rig: Rig) -> None:
    story(rig, status=SR_OPEN, hot_c=25.0)  # elsewhere than it was
    assert set(rig.alarms()) == {"sensor_open:metal"}


def test_a_register_that_stands_still_beside_the_flag_is_an_open_couple(rig: Rig) -> None:
    story(rig, status=SR_OPEN, noise_c=0.0)
    assert set(rig.alarms()) == {"sensor_open:metal"}


def test_without_the_flag_nothing_is_raised(rig: Rig) -> None:
    story(rig, status=0)
    rig.silent()
