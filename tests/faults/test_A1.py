"""Fault A1: the bus is dead and reads all zeros, "0.00 degC and healthy". Three words: dead_bus, priority 2.

MAX31855 data sheet 19-5793, table 2: a word of zeros is 0 degC, cold junction 0 degC, no fault bit.
"""

from pourcall.contract.events import AlarmChanged, Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import SampleIn
from pourcall.contract.status import Reason
from pourcall.drivers.wire import max31855
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "dead_bus"


def story(rig: Rig, broken: bool) -> None:
    decoder = max31855.decoder()
    rig.ready()
    rig.waits(30.0, (lambda: rig.frames(b"0:00000000\n", decoder)) if broken else (lambda: rig.sample(METAL_C)))


def test_words_of_zeros_are_one_alarm_after_three_and_never_a_cold_furnace(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("dead_bus", Priority.ALARM, 3 * rig.T_S)
    rig.no_number(Reason.DEAD_BUS)
    rig.no_call()
    assert {reading.temp_c for reading in rig.since(rig.broken_s)} == {None}


MAIN = test_words_of_zeros_are_one_alarm_after_three_and_never_a_cold_furnace


def test_a_truly_cold_probe_beside_a_warm_amplifier_is_believed(rig: Rig) -> None:
    """0.00 degC with terminals at 21 degC: an ice bath, and no dead bus."""
    decoder = max31855.decoder()
    ice = max31855.encode_word(0.0, 21.0)
    rig.put_link_opened()
    rig.waits(30.0, lambda: rig.frames(b"0:%08X\n" % ice, decoder))
    assert not [out for out in rig.outs if isinstance(out, AlarmChanged)]
    last = rig.engine.channels[0].last
    assert last is not None
    assert last.temp_c is not None


def test_an_emf_of_zero_is_no_dead_bus(rig: Rig) -> None:
    """Both ends at 0 degC give 0 uV on our own board, whose status line would tell a dead converter."""
    rig.put_link_opened()
    rig.waits(10.0, lambda: rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.EMF_UV, 0.0, 0.0)))
    assert not rig.alarms()


def test_it_clears_by_itself_when_the_bus_is_back(rig: Rig) -> None:
    story(rig, broken=True)
    rig.waits(60.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.temp_c is not None


def test_the_same_run_with_a_live_bus_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
