"""Fault T3: wires touch half-way, so that the couple reads the touch point: plausible and low. `unexplained` (2).

By the heat that full power must have put in by now: whatever furnace it is, within an hour at a figure that stays low;
on a learned furnace, with the heat of a whole melt, in `tests/engine/test_heat_bounds.py`. First the caster is asked.
"""

import random

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.inputs import MarkPower, PowerLevel
from pourcall.contract.status import Reason, Status
from tests.faults.conftest import Rig

DETECTOR = "unexplained"
TOUCHES_C = 120.0


def story(rig: Rig, level: PowerLevel, *, lasts_s: float = 3300.0) -> None:
    """A cold start; the touch point, at the furnace's rim, grows no warmer than that."""
    noise = random.Random(3)
    rig.put_link_opened()
    rig.start()
    rig.do(MarkPower(level=level))
    rig.breaks()
    rig.waits(
        lasts_s,
        lambda: rig.sample(min(TOUCHES_C, 20.0 + (rig.t_s - rig.broken_s) / 4.0) + round(noise.gauss(0.0, 0.3), 2)),
        step_s=4.0,
    )


def test_a_figure_that_stays_low_at_full_power_is_asked_about_and_then_unexplained(rig: Rig) -> None:
    story(rig, PowerLevel.HIGH)
    (asked,) = rig.calls(CallKind.CHECK_POWER)
    alarm = rig.alarms().get("unexplained:metal")
    assert alarm is not None
    assert alarm.active
    assert alarm.priority is Priority.ALARM
    assert asked.raised_mono_s < alarm.raised_mono_s <= rig.broken_s + 3000.0
    last = rig.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.status) == (Reason.UNEXPLAINED, Status.UNCERTAIN)
    rig.no_call()


MAIN = test_a_figure_that_stays_low_at_full_power_is_asked_about_and_then_unexplained


def test_a_figure_that_stays_low_without_power_raises_nothing(rig: Rig) -> None:
    story(rig, PowerLevel.OFF)
    assert not rig.said_of("unexplained")
    assert not rig.calls(CallKind.CHECK_POWER)
