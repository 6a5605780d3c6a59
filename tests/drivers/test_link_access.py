"""Ports that cannot be opened, and what is no serial port: sockets, URLs (fault catalogue, serial)."""

import errno
import os
import socket
import subprocess
import sys

import pytest

from pourcall.contract.inputs import LinkKind
from pourcall.contract.message import tell
from pourcall.drivers import access
from pourcall.drivers.inbox import LinkEvent
from pourcall.drivers.wire import max31855
from tests.drivers.conftest import UNPLUGGED, Bench, Heard, Start, fact, line
from tests.told import name_of


def test_busy_port_is_told_once_and_opened_when_it_is_free(bench: Bench, heard: Heard, start: Start) -> None:
    holder = access.open_port(bench.name, 9600)
    try:
        start(bench.name)
        event = heard.event(LinkKind.UNAVAILABLE)
        busy = fact(event.detail, "what")
        assert name_of(busy).startswith("port.busy.")
        assert fact(busy, "port") == bench.name
        assert fact(event.detail, "remedy") == tell("port.busy.remedy")
    finally:
        access.close_port(holder)
    heard.event(LinkKind.OPENED)
    assert len([item for item in heard.all if isinstance(item, LinkEvent)]) == 2


def test_port_that_is_not_there_is_told_with_what_to_do(heard: Heard, start: Start) -> None:
    start("/dev/ttyNOT-THERE")
    assert heard.event(LinkKind.UNAVAILABLE).detail == tell(
        "port.unavailable",
        what=tell("port.absent", port="/dev/ttyNOT-THERE"),
        remedy=tell("port.absent.remedy"),
    )


def test_unknown_usb_identity_and_nonsense_urls_are_told_in_words(heard: Heard, start: Start) -> None:
    start("usb:nobody")
    assert fact(heard.event(LinkKind.UNAVAILABLE).detail, "what") == tell("port.usb_absent", port="usb:nobody")
    start("morse://here")
    assert name_of(fact(heard.event(LinkKind.UNAVAILABLE).detail, "what")) == "port.failed"


def test_no_permission_names_the_group_to_join(tmp_path: "os.PathLike[str]", monkeypatch: pytest.MonkeyPatch) -> None:
    import grp

    name = os.path.join(tmp_path, "ttyBENCH0")
    with open(name, "w"):
        pass
    os.chmod(name, 0o660)
    group = grp.getgrgid(os.stat(name).st_gid).gr_name
    refused = PermissionError(errno.EACCES, "Permission denied")
    if os.geteuid() == 0:
        wanted = next(entry for entry in grp.getgrall() if entry.gr_gid != 0 and entry.gr_name == "dialout")
        os.chown(name, 0, wanted.gr_gid)
        group = wanted.gr_name
    monkeypatch.setattr(os, "getgroups", list)
    monkeypatch.setattr(os, "getegid", lambda: 99_999)
    kind, what, remedy = access.why_unavailable(name, refused)
    assert kind == access.Unavailable.NO_PERMISSION
    assert what == tell("port.forbidden", port=name)
    assert (remedy.name, remedy.facts["group"]) == ("port.forbidden.join", group)
    monkeypatch.setattr(access, "_user", lambda: grp.getgrnam(group).gr_mem[0] if grp.getgrnam(group).gr_mem else "x")
    os.chmod(name, 0o600)
    assert access.why_unavailable(name, refused).remedy.name == "port.forbidden.join"


OPEN_AS_NOBODY = """import os, sys
from pourcall.drivers import access
from tests.told import name_of
os.setgid(65534)
os.setuid(65534)
try:
    access.open_port(sys.argv[1], 9600)
except OSError as err:
    fault = access.why_unavailable(sys.argv[1], err)
    print(fault.kind, fault.what.name, fault.remedy.name)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the superuser, who alone can become somebody without rights")
def test_port_of_another_user_is_refused_by_the_system_and_told_as_no_permission(bench: Bench) -> None:
    os.chmod(bench.name, 0o600)
    told = subprocess.run(
        [sys.executable, "-c", OPEN_AS_NOBODY, bench.name], capture_output=True, text=True, check=True
    )
    assert told.stdout == "no_permission port.forbidden port.forbidden.join\n"


def test_socket_works_like_a_port_and_is_tried_again(heard: Heard, start: Start) -> None:
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]
    try:
        start(f"socket://127.0.0.1:{port}")
        client, _ = server.accept()
        with client:
            heard.event(LinkKind.OPENED)
            assert client.recv(16) == b"?\n"
            client.sendall(line(1) + line(2))
            heard.arrivals(2)
        assert name_of(heard.event(LinkKind.CLOSED).detail) in UNPLUGGED
        client, _ = server.accept()
        with client:
            heard.event(LinkKind.OPENED)
            client.sendall(line(3))
            heard.arrivals(1)
    finally:
        server.close()


def test_socket_that_nobody_serves_is_told(heard: Heard, start: Start) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    start(f"socket://127.0.0.1:{port}")
    assert name_of(fact(heard.event(LinkKind.UNAVAILABLE).detail, "what")) == "port.refused"


def test_port_that_is_no_file_is_read_through_pyserial(heard: Heard, start: Start) -> None:
    link = start("loop://", max31855.decoder)
    heard.event(LinkKind.OPENED)
    assert link.send(b"29A01900\n")
    heard.arrivals(1)
