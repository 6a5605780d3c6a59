"""Fault T11: beyond the type's range. One sample: over_range, priority 2; BAD, the raw value kept, no pour call.

Type K ends at 1372 degC and 54 886 uV (ITS-90, NIST Monograph 175).
"""

import pytest

from pourcall.contract.events import Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import SampleIn
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "over_range"


def story(rig: Rig, sample: Sample | None) -> None:
    rig.ready()
    if sample is None:
        rig.waits(30.0, lambda: rig.sample(METAL_C))
    else:
        rig.waits(30.0, lambda: rig.put(SampleIn, board="bench", sample=sample))


BEYOND = {
    "degrees": Sample("0", RawKind.ITS90_C, 1400.0, 25.0),
    "emf": Sample("0", RawKind.EMF_UV, 54_000.0, 25.0),  # and 1000 uV of the cold junction
    "chip": Sample("0", RawKind.LINEAR_C, 1400.0, 25.0),
    "below": Sample("0", RawKind.EMF_UV, -8_000.0, 25.0),
}


@pytest.mark.parametrize("how", sorted(BEYOND))
def test_beyond_the_range_is_one_alarm_at_the_first_sample_and_the_raw_value_is_kept(rig: Rig, how: str) -> None:
    story(rig, BEYOND[how])
    rig.one_alarm("over_range", Priority.ALARM, rig.T_S)
    rig.no_number(Reason.OVER_RANGE)
    rig.no_call()
    assert all(reading.raw_value == BEYOND[how].raw_value for reading in rig.since(rig.broken_s))


def MAIN(rig: Rig) -> None:
    """For the meta-test: one of them."""
    test_beyond_the_range_is_one_alarm_at_the_first_sample_and_the_raw_value_is_kept(rig, "degrees")


def test_the_same_run_within_the_range_raises_nothing(rig: Rig) -> None:
    story(rig, None)
    rig.silent()
