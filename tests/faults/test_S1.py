"""Fault S1: cable pulled. Within 1 s: link_lost, priority 2; no number, no pour call; a gap with its reason."""

from pourcall.contract.events import Priority
from pourcall.contract.inputs import LinkKind
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig, Wire

DETECTOR = "link_lost"


def story(rig: Rig, broken: bool) -> None:
    rig.ready()
    if broken:
        rig.put_link(LinkKind.CLOSED, "unplugged: the port has ended")
    rig.waits(30.0, None if broken else lambda: rig.sample(METAL_C))


def test_a_pulled_cable_is_one_alarm_at_once_and_a_gap_with_its_reason(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("link_lost", Priority.ALARM, 1.0, subject="bench")
    rig.no_number(Reason.LINK_LOST)
    rig.no_call()
    assert "unplugged" in rig.engine.snapshot().boards["bench"]
    gap = rig.readings()[-1]
    assert (gap.reason, gap.at_mono_s) == (Reason.LINK_LOST, rig.broken_s)


MAIN = test_a_pulled_cable_is_one_alarm_at_once_and_a_gap_with_its_reason


def test_the_same_run_with_the_cable_in_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()


def test_a_pulled_cable_on_a_real_port_is_told_and_leaves_no_number(rig: Rig, wire: Wire) -> None:
    rig.ready()
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    wire.write(rig.line(1))
    wire.into(rig, samples=1)
    assert not rig.alarms()
    wire.unplug()
    wire.into(rig, LinkKind.CLOSED)
    rig.one_alarm("link_lost", Priority.ALARM, 1.0, subject="bench")
    rig.no_number(Reason.LINK_LOST)
