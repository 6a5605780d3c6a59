"""Fault S8: a second program on the port. One alarm `port_shared` (2) within a second of the link seeing it."""

import subprocess
import sys

from pourcall.contract.events import Priority
from pourcall.contract.inputs import LinkIn, LinkKind
from pourcall.contract.message import tell
from tests.faults.conftest import METAL_C, Rig, Wire

DETECTOR = "port_shared"
OTHER = """import os, sys
os.open(sys.argv[1], os.O_RDONLY | os.O_NOCTTY)
print(1, flush=True)
sys.stdin.read()
"""


def story(rig: Rig, *, broken: bool) -> None:
    rig.ready()
    if broken:
        rig.put(
            LinkIn, board="bench", kind=LinkKind.PORT_SHARED, detail=tell("link.shared", port="port", holders="another")
        )
    rig.waits(20.0, lambda: rig.sample(METAL_C))


def test_a_second_program_on_the_port_is_one_alarm_at_once_that_names_it(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("port_shared", Priority.ALARM, 1.0, subject="bench")


MAIN = test_a_second_program_on_the_port_is_one_alarm_at_once_that_names_it


def test_alone_on_the_port_nothing_is_raised(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()


def test_it_goes_once_the_port_is_opened_anew(rig: Rig) -> None:
    story(rig, broken=True)
    rig.put_link(LinkKind.CLOSED, "unplugged")
    rig.put_link(LinkKind.OPENED, "port")
    rig.waits(20.0, lambda: rig.sample(METAL_C))
    assert "port_shared:bench" not in {alarm.id for alarm in rig.alarms().values() if alarm.active}


def test_on_a_real_port_a_real_second_reader_raises_it(rig: Rig, wire: Wire) -> None:
    other = subprocess.Popen([sys.executable, "-c", OTHER, wire.name], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == b"1\n"
        rig.ready()
        wire.link.start()
        wire.into(rig, LinkKind.OPENED)
        rig.breaks()
        wire.write(b"a line that was cut\n")
        wire.into(rig, LinkKind.PORT_SHARED)
        rig.one_alarm("port_shared", Priority.ALARM, 1.0, subject="bench")
    finally:
        other.communicate(b"")
