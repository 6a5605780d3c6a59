"""Fault A2: the bus reads all ones. One word: dead_bus, priority 2.

MAX31855 data sheet 19-5793, table 2: bits 17 and 3 are reserved and always 0, so that a word of ones cannot be true.
"""

import pytest

from pourcall.contract.events import Priority
from pourcall.contract.status import Reason
from pourcall.drivers.wire import max31855
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "dead_bus"


def story(rig: Rig, word: int | None) -> None:
    decoder = max31855.decoder()
    rig.ready()
    rig.waits(
        30.0, (lambda: rig.sample(METAL_C)) if word is None else (lambda: rig.frames(b"0:%08X\n" % word, decoder))
    )


@pytest.mark.parametrize("word", [0xFFFFFFFF, 1 << 17, 1 << 3], ids=["ones", "bit_17", "bit_3"])
def test_a_reserved_bit_is_one_alarm_at_the_first_word(rig: Rig, word: int) -> None:
    story(rig, word)
    rig.one_alarm("dead_bus", Priority.ALARM, rig.T_S)
    rig.no_number(Reason.DEAD_BUS)
    rig.no_call()


def MAIN(rig: Rig) -> None:
    """For the meta-test: one of them."""
    test_a_reserved_bit_is_one_alarm_at_the_first_word(rig, 0xFFFFFFFF)


def test_the_same_run_with_true_words_raises_nothing(rig: Rig) -> None:
    story(rig, None)
    rig.silent()
