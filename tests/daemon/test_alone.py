"""One daemon on one folder, and a computer kept awake. Locks of the real system, programs of the real system."""

import asyncio
import os
import signal
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.errors import DaemonError
from pourcall.contract.message import NOTHING, tell
from pourcall.daemon.api import sockets
from pourcall.daemon.process.lag import LagWatch
from pourcall.daemon.process.process_lock import SingleLock, private_folder
from pourcall.daemon.process.sleep_blocker import WakeKeeper, helper_command
from pourcall.daemon.process.tasks import Tasks
from tests.told import refused

HOLDER = """
import sys, pathlib
from pourcall.daemon.process.process_lock import SingleLock
with SingleLock(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_second_daemon_is_told_the_process_of_the_first_and_takes_nothing(home: Path) -> None:
    path = home / "run" / "daemon.lock"
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "held\n"
        with refused(DaemonError, "daemon.runs_already", process=str(first.pid)):
            SingleLock(path).take()
        first.kill()
        first.wait()
    with SingleLock(path):  # a crash leaves nothing to clean up
        assert path.read_text() == f"{os.getpid()}\n"


def test_the_runtime_folder_is_shut_to_others(home: Path) -> None:
    folder = home / "run"
    folder.mkdir(mode=0o755)
    private_folder(folder)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_the_socket_is_for_its_owner_only_and_the_umask_is_put_back(home: Path) -> None:
    before = os.umask(0o022)
    try:
        bound = sockets.unix_socket(home / "d.sock")
        assert stat.S_IMODE((home / "d.sock").stat().st_mode) == 0o600
        assert os.umask(0o022) == 0o022
        bound.close()
    finally:
        os.umask(before)


def test_a_path_too_long_for_a_socket_says_so_and_what_to_do(home: Path) -> None:
    with refused(DaemonError, "daemon.socket.long_path"):
        sockets.unix_socket(home / ("x" * 120))


def test_a_file_where_the_socket_belongs_is_not_removed(home: Path) -> None:
    (home / "d.sock").write_text("a letter")
    with refused(DaemonError, "daemon.socket.no_socket"):
        sockets.unix_socket(home / "d.sock")
    assert (home / "d.sock").read_text() == "a letter"


def test_the_token_file_is_for_its_owner_only(home: Path) -> None:
    token = sockets.write_token(home / "token", 4711)
    assert stat.S_IMODE((home / "token").stat().st_mode) == 0o600
    assert (home / "token").read_text() == f"127.0.0.1:4711 {token}\n"
    assert sockets.is_bearer(f"Bearer {token}", token)
    assert not sockets.is_bearer("Bearer ", token)
    assert not sockets.is_bearer("", "")


def keeper_with(home: Path, script: str) -> WakeKeeper:
    """The real `cat` under a stand-in for systemd-inhibit."""
    fake = home / "systemd-inhibit"
    fake.write_text(f"#!/bin/sh\n{script}\n")
    fake.chmod(0o755)
    return WakeKeeper("linux", lambda name: str(fake) if name == "systemd-inhibit" else f"/bin/{name}")


GRANTS = 'while [ "${1#--}" != "$1" ]; do shift; done\nexec "$@"'


Children = Callable[[], set[int]]


async def test_sleep_is_blocked_by_a_helper_that_ends_with_us(home: Path, children: Children) -> None:
    keeper, before = keeper_with(home, GRANTS), children()
    assert await keeper.hold() == NOTHING
    assert keeper.holding
    await keeper.release()
    assert not keeper.holding
    assert children() == before


@pytest.mark.parametrize("turns", [0, 1, 2, 3, 4, 6, 10, 30])
async def test_a_stop_while_sleep_is_being_blocked_leaves_no_helper_at_any_turn_of_the_loop(
    home: Path, children: Children, turns: int
) -> None:
    keeper, before = keeper_with(home, GRANTS), children()
    holding = asyncio.create_task(keeper.hold())
    for _ in range(turns):
        await asyncio.sleep(0)
    holding.cancel()
    await asyncio.gather(holding, return_exceptions=True)
    assert not keeper.holding
    assert children() == before


async def test_a_melt_that_ends_while_sleep_is_being_blocked_leaves_no_lock(home: Path, children: Children) -> None:
    keeper, before = keeper_with(home, GRANTS), children()
    holding = asyncio.create_task(keeper.hold())
    while children() == before:  # noqa: ASYNC110 - what is waited for is a process
        await asyncio.sleep(0)
    await keeper.release()
    assert await holding == NOTHING
    assert not keeper.holding
    assert children() == before


async def test_two_furnaces_that_start_together_share_one_helper(home: Path, children: Children) -> None:
    keeper, before = keeper_with(home, GRANTS), children()
    assert list(await asyncio.gather(keeper.hold(), keeper.hold())) == [NOTHING, NOTHING]
    assert len(children() - before) == 1
    await keeper.release()
    assert children() == before


async def test_a_helper_that_died_in_a_melt_is_waited_for_and_replaced(home: Path, children: Children) -> None:
    keeper, before = keeper_with(home, GRANTS), children()
    assert await keeper.hold() == NOTHING
    (died,) = children() - before
    os.kill(died, signal.SIGKILL)
    while keeper.holding:  # noqa: ASYNC110 - what is waited for is a process
        await asyncio.sleep(0.001)
    assert await keeper.hold() == NOTHING
    assert keeper.holding
    await keeper.release()
    assert children() == before


async def test_a_helper_that_is_refused_is_said_aloud_and_its_own_words_are_logged(
    home: Path, children: Children, caplog: pytest.LogCaptureFixture
) -> None:
    keeper, before = keeper_with(home, "echo 'Failed to connect to bus' >&2\nexit 1"), children()
    said = await keeper.hold()
    assert said == tell("daemon.awake.failed")
    assert "systemd-inhibit ended with 1: Failed to connect to bus" in caplog.text
    assert not keeper.holding
    assert children() == before
    await keeper.release()


async def test_a_system_without_any_helper_is_said_aloud() -> None:
    assert await WakeKeeper("linux", lambda name: None).hold() == tell("daemon.awake.no_helper")


def test_each_platform_has_its_own_way() -> None:
    assert helper_command("darwin", 7, lambda name: name) == ["caffeinate", "-i", "-w", "7"]
    linux = helper_command("linux", 7, lambda name: name)
    assert linux is not None
    assert linux[-1] == "cat"


async def test_a_blocked_loop_is_told_from_a_quiet_one() -> None:
    """Each of the two hears its own clock: the loop's may stand for a while and the thread's go on, fault C6."""
    told: list[tuple[str, float]] = []
    asked = {"loop": 0, "pourcall-lag": 0}
    late_s = 0.0

    def now_s() -> float:
        who = threading.current_thread().name
        asked[who if who in asked else "loop"] += 1
        return 0.05 * asked["pourcall-lag"] if who in asked else late_s

    async def turns(count: int) -> None:
        end = asked["loop"] + count
        while asked["loop"] < end:  # noqa: ASYNC110 - the watch has no event
            await asyncio.sleep(0.001)

    watch = LagWatch(lambda kind, lag_s: told.append((kind, lag_s)), now_s, beat_s=0.05)
    task = asyncio.create_task(watch.run())
    await turns(5)  # twice a beat: before and after it
    assert told == []
    late_s = 0.43
    await turns(4)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert [kind for kind, _ in told] == ["loop_slow"]
    assert told[0][1] == pytest.approx(0.38)
    assert asked["pourcall-lag"] > 0


async def test_a_task_that_dies_is_started_once_more_and_then_ends_the_daemon() -> None:
    deaths: list[tuple[str, bool]] = []
    tasks = Tasks(lambda name, err, restarted: deaths.append((name, restarted)))
    starts = 0

    async def dies() -> None:
        nonlocal starts
        starts += 1
        raise ValueError("broken")

    tasks.keep("dies", dies)
    while len(deaths) < 2:  # noqa: ASYNC110 - it is told of, and nothing else happens
        await asyncio.sleep(0)
    assert (starts, deaths) == (2, [("dies", True), ("dies", False)])
    await tasks.cancel()


async def test_cancelled_tasks_are_no_deaths() -> None:
    deaths: list[Any] = []
    tasks = Tasks(lambda *death: deaths.append(death))
    tasks.keep("waits", lambda: asyncio.sleep(1000))
    await asyncio.sleep(0)
    await tasks.cancel()
    assert deaths == []


async def test_an_errand_cancelled_before_its_first_step_is_closed() -> None:
    """A coroutine that nobody ever awaits is a warning, and warnings are errors."""
    deaths: list[Any] = []
    tasks = Tasks(lambda *death: deaths.append(death))
    tasks.once("errand", asyncio.sleep(1000))
    await tasks.cancel()
    assert deaths == []
