"""Fault T6: a spike of one sample. No alarm: not followed, marked, counted, its raw value kept; the call goes on."""

import pytest

from pourcall.contract.events import CallKind
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "spike"


def story(rig: Rig, size_c: float) -> None:
    rig.ready()
    rig.t_s += rig.T_S
    rig.sample(METAL_C + size_c)
    rig.waits(20.0, lambda: rig.sample(METAL_C))


@pytest.mark.parametrize("size_c", [300.0, -300.0, 60.0])
def test_one_spike_is_marked_and_counted_and_nothing_follows_it(rig: Rig, size_c: float) -> None:
    story(rig, size_c)
    rig.silent()
    spikes = [reading for reading in rig.since(rig.broken_s) if reading.reason is Reason.SPIKE]
    assert len(spikes) == 1
    spike = spikes[0]
    assert spike.temp_c is None
    assert spike.raw_value == METAL_C + size_c
    assert not rig.calls(CallKind.POUR, "ended")
    assert rig.engine.metal.temp_c == pytest.approx(METAL_C, abs=0.5)


def MAIN(rig: Rig) -> None:
    """For the meta-test: one of them."""
    test_one_spike_is_marked_and_counted_and_nothing_follows_it(rig, 300.0)


def test_a_spike_a_minute_for_an_hour_raises_nothing(rig: Rig) -> None:
    rig.ready()
    for _ in range(60):
        rig.t_s += rig.T_S
        rig.sample(METAL_C + 250.0)
        rig.waits(60.0, lambda: rig.sample(METAL_C), step_s=1.0)
    rig.silent()
    assert sum(reading.reason is Reason.SPIKE for reading in rig.since(rig.broken_s)) == 60


def test_the_same_run_without_it_raises_nothing(rig: Rig) -> None:
    story(rig, 0.0)
    rig.silent()
