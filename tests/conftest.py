"""What holds for every test. No test leaves a task or a thread behind."""

import asyncio
import asyncio.runners
import threading
import time
from collections.abc import Iterator

import pytest

THREADS_MAY_TAKE_S = 2.0


@pytest.fixture(autouse=True)
def fail_test_on_unclosed_tasks(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """When test and fixtures are over and the loop closes, no task of theirs is still running.

    The loop's own last act is to cancel what is left; that is the moment to look. A task that was cancelled in a
    test's last line gets some turns to end.
    """
    left: list[str] = []
    cancel_all = asyncio.runners._cancel_all_tasks  # type: ignore[attr-defined]

    async def turns() -> None:
        for _ in range(10):
            await asyncio.sleep(0)

    def looked(loop: asyncio.AbstractEventLoop) -> None:
        if asyncio.all_tasks(loop):
            loop.run_until_complete(turns())
        left.extend(task.get_name() for task in asyncio.all_tasks(loop))
        cancel_all(loop)

    monkeypatch.setattr(asyncio.runners, "_cancel_all_tasks", looked)
    yield
    if left:
        pytest.fail(f"tasks left behind: {', '.join(left)}")


@pytest.fixture(autouse=True)
def fail_test_on_unfinished_threads() -> Iterator[None]:
    """A thread that a test started has ended when the test has. The loop's own helpers end with the loop."""
    before = set(threading.enumerate())
    yield
    until_s = time.monotonic() + THREADS_MAY_TAKE_S
    while left := [
        thread.name
        for thread in threading.enumerate()
        if thread not in before and thread.is_alive() and not thread.name.startswith("asyncio_")
    ]:
        if time.monotonic() > until_s:
            pytest.fail(f"threads left behind: {', '.join(left)}")
        time.sleep(0.01)
