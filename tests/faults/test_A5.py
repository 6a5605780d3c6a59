"""Fault A5: the amplifier restarted with its factory settings. At the next line `amp_reset` (2).

Registers of a MAX31856 by its data sheet: CR0 00, CR1 03 (type K) when it starts; open-circuit check by CR0 bits 5:4;
types by CR1 bits 3:0, N 4. All sixteen of them in one hex line, as a board would send them.
"""

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.events import CallKind, Priority
from pourcall.contract.status import Reason
from pourcall.drivers.wire.max31856 import decoder, encode_registers
from pourcall.engine.core import Engine
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "amp_reset"
CHECKS, FACTORY = 0x90, 0x00  # CR0
SET = {"K": 0x03, "N": 0x04}  # CR1
REST = "FF7FC07FFF800000"  # MASK to CJTO as the chip starts


def sends(rig: Rig, cr0: int, cr1: int, temp_c: float = METAL_C) -> None:
    """One line of all the registers; the last digit moves, as that of a chip does."""
    moves_c = 0.25 * (rig.seq % 3)
    line = f"0:{cr0:02X}{cr1:02X}{REST}{encode_registers(temp_c + moves_c, 25.0).hex().upper()}\n"
    rig.frames(line.encode(), decoder())


def of_type(rig: Rig, tc_type: str) -> None:
    """The same bench with another couple."""
    probe = ProbeConfig(name="metal", board="bench", channel="0", tc_type=tc_type, sheath="thin", rating_c=1200.0)
    rig.engine = Engine(
        EngineConfig(furnace="small", boards=(BoardConfig(name="bench", sample_s=0.5),), probes=(probe,))
    )


def story(rig: Rig, *, resets: bool, tc_type: str = "N") -> None:
    of_type(rig, tc_type)
    rig.put_link_opened()
    rig.in_metal(METAL_C)
    rig.waits(20.0, lambda: sends(rig, CHECKS, SET[tc_type]))
    rig.breaks()
    after = (FACTORY, SET["K"]) if resets else (CHECKS, SET[tc_type])
    rig.waits(20.0, lambda: sends(rig, *after))


def test_a_chip_that_forgot_its_type_is_one_alarm_at_the_next_line_and_gives_no_number(rig: Rig) -> None:
    story(rig, resets=True)
    rig.one_alarm("amp_reset", Priority.ALARM, 1.0)
    rig.no_number(Reason.CONFIG)
    rig.no_call()


MAIN = test_a_chip_that_forgot_its_type_is_one_alarm_at_the_next_line_and_gives_no_number


def test_one_that_forgot_its_open_check_alone_is_told_and_goes_on_measuring(rig: Rig) -> None:
    story(rig, resets=True, tc_type="K")
    rig.one_alarm("amp_reset", Priority.ALARM, 1.0)
    assert rig.engine.metal.temp_c is not None


def test_set_again_it_clears_and_proves_itself(rig: Rig) -> None:
    story(rig, resets=True)
    rig.waits(120.0, lambda: sends(rig, CHECKS, SET["N"]))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.up(CallKind.POUR)


def test_a_chip_that_keeps_its_settings_raises_nothing(rig: Rig) -> None:
    story(rig, resets=False)
    rig.silent()
