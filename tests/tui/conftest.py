"""Fixtures of the tests of the dashboard: moments of a melt (moments.py), a daemon (fake_daemon.py), waiting."""

import asyncio
import shutil
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.tui.fake_daemon import FakeDaemon
from tests.tui.moments import Scenes


async def until(true: Callable[[], bool], *, within_s: float = 30.0) -> None:
    """Let the loop run until something holds; fails loudly when it never does."""
    async with asyncio.timeout(within_s):
        while not true():  # noqa: ASYNC110 - what is waited for is a screen, which has no event
            await asyncio.sleep(0.01)


@pytest.fixture
def scenes() -> type[Scenes]:
    """Snapshots by name."""
    return Scenes


@pytest.fixture
def eventually() -> Callable[..., Any]:
    """`await eventually(lambda: ...)`."""
    return until


@pytest.fixture
def short_dir() -> Iterator[Path]:
    """A folder with a short path: a Unix socket's path holds about 100 characters."""
    path = Path(tempfile.mkdtemp(prefix="pc-"))
    yield path
    shutil.rmtree(path)


@pytest.fixture
async def daemon(short_dir: Path) -> AsyncIterator[FakeDaemon]:
    """A daemon that listens and, so far, has no furnace."""
    served = FakeDaemon(short_dir / "d.sock")
    await served.start()
    yield served
    await served.stop()
