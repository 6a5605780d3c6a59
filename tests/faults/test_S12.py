"""Fault S12: the port is busy, missing or not permitted at the start. port_unavailable, priority 2, says what to do."""

import errno
import os
import queue
import time
from pathlib import Path

import pytest

from pourcall.contract.events import Priority
from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import tell
from pourcall.drivers import access
from pourcall.drivers.inbox import Item
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire import ourline
from tests.faults.conftest import METAL_C, Rig, Wire
from tests.told import inside, names

DETECTOR = "port_unavailable"
JOIN = tell("port.forbidden.join", group="dialout", user="ada")
DETAIL = tell("port.unavailable", what=tell("port.forbidden", port="/dev/ttyACM0"), remedy=JOIN)


def story(rig: Rig, broken: bool) -> None:
    rig.breaks()
    if broken:
        rig.put_link(LinkKind.UNAVAILABLE, DETAIL)
        rig.waits(30.0)
    else:
        rig.put_link_opened()
        rig.waits(30.0, lambda: rig.sample(20.0))


def test_a_port_that_cannot_be_opened_is_one_alarm_at_once_and_names_the_group(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("port_unavailable", Priority.ALARM, 0.0, subject="bench")
    assert JOIN in inside(rig.alarms()["port_unavailable:bench"].what)
    assert rig.engine.snapshot().boards["bench"].detail == DETAIL


MAIN = test_a_port_that_cannot_be_opened_is_one_alarm_at_once_and_names_the_group


def test_it_clears_by_itself_when_the_port_can_be_had(rig: Rig) -> None:
    story(rig, broken=True)
    rig.put_link_opened()
    rig.waits(10.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_the_same_run_with_the_port_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    assert not rig.alarms()


def test_a_missing_port_is_told_by_the_real_link(rig: Rig, tmp_path: Path) -> None:
    got: queue.Queue[list[Item]] = queue.Queue()
    link = SerialLink(
        str(tmp_path / "ttyNONE"),
        ourline.decoder,
        lambda _, items: got.put(list(items)),
        mono_s=time.monotonic,
        list_ports=list,
    )
    link.start()
    try:
        rig.breaks()
        rig.take(got.get(timeout=5.0))
    finally:
        link.stop()
    rig.one_alarm("port_unavailable", Priority.ALARM, 0.0, subject="bench")


def test_a_busy_port_is_told_by_the_real_link_and_names_who_has_it(rig: Rig, wire: Wire) -> None:
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    other = Wire()
    other.unplug()
    second = SerialLink(
        wire.name,
        ourline.decoder,
        lambda at_s, items: other.got.put((at_s, items)),
        mono_s=time.monotonic,
        list_ports=list,
    )
    second.start()
    try:
        _, items = other.got.get(timeout=5.0)
    finally:
        second.stop()
    fresh = type(rig)()
    fresh.take(items)
    assert names(fresh.alarms()["port_unavailable:bench"].what) & {"port.busy", "port.busy.unseen"}


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="groups are a matter of POSIX")
def test_a_port_without_permission_names_the_group_to_join(tmp_path: Path) -> None:
    name = tmp_path / "ttyACM9"
    name.touch(mode=0o660)
    kind, _, remedy = access.why_unavailable(str(name), PermissionError(errno.EACCES, "denied"))
    assert kind == access.Unavailable.NO_PERMISSION
    assert "group" in remedy.facts
