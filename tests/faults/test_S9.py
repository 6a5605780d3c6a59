"""Fault S9: the board comes back (under another name, which is the link's to find). link_lost clears by itself."""

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import Identity
from pourcall.contract.inputs import IdentityIn, LinkKind
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig, Wire

DETECTOR = "return"


def story(rig: Rig, broken: bool) -> None:
    rig.ready()
    rig.put(IdentityIn, board="bench", identity=Identity("bench", serial="A1"))
    if broken:
        rig.put_link(LinkKind.CLOSED, "unplugged")
        rig.waits(4.0)
        rig.one_alarm("link_lost", Priority.ALARM, 1.0, subject="bench")
        rig.no_number(Reason.LINK_LOST)
        rig.no_call()
        rig.breaks()
        rig.put_link(LinkKind.OPENED, "/dev/ttyOTHER7")
        rig.put(IdentityIn, board="bench", identity=Identity("bench", serial="A1"))
    rig.waits(30.0, lambda: rig.sample(METAL_C))


def test_a_board_that_comes_back_clears_its_alarm_within_five_seconds_and_the_melt_goes_on(rig: Rig) -> None:
    story(rig, broken=True)
    cleared = [out for out in rig.said_of("link_lost") if not out.alarm.active]
    assert cleared
    assert cleared[0].mono_s - rig.broken_s <= 5.0 + 1.0  # the off-delay, told at a tick
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.up(CallKind.POUR), "the metal stood still meanwhile, and the probe with it"


MAIN = test_a_board_that_comes_back_clears_its_alarm_within_five_seconds_and_the_melt_goes_on


def test_another_board_on_the_port_is_told_and_is_not_taken_for_the_old_one(rig: Rig) -> None:
    story(rig, broken=False)
    rig.put(IdentityIn, board="bench", identity=Identity("bench", serial="B2"))
    assert rig.alarms()["identity_mismatch:bench"].priority is Priority.ALARM


def test_the_same_run_without_the_loss_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()


def test_on_real_ports_the_second_one_takes_up_where_the_first_ended(rig: Rig, wire: Wire) -> None:
    rig.ready()
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    wire.write(rig.line(1))
    wire.into(rig, samples=1)
    wire.unplug()
    wire.into(rig, LinkKind.CLOSED)
    rig.breaks()
    second = Wire()
    try:
        second.link.start()
        second.into(rig, LinkKind.OPENED)
        second.write(rig.line(2))
        second.into(rig, samples=1)
        rig.waits(6.0, lambda: rig.sample(METAL_C))
        assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    finally:
        second.link.stop()
        second.unplug()
