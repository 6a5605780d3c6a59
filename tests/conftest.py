"""Room: what holds for every test. No test leaves a task or a thread behind."""

import asyncio
import functools
import inspect
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

THREADS_MAY_TAKE_S = 2.0


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


def pytest_itemcollected(item: pytest.Item) -> None:
    """Wrap coroutine tests: a task that a test started has ended when the test has."""
    test = getattr(item, "obj", None)
    if isinstance(item, pytest.Function) and inspect.iscoroutinefunction(test) and not hasattr(test, "hypothesis"):
        item.obj = _fail_test_on_unclosed_tasks(test)


def _fail_test_on_unclosed_tasks(test: Any) -> Any:
    @functools.wraps(test)
    async def checked(*args: Any, **named: Any) -> None:
        before = asyncio.all_tasks()
        await test(*args, **named)
        for _ in range(10):
            await asyncio.sleep(0)  # what was cancelled in the last line may still be ending
        left = [task.get_name() for task in asyncio.all_tasks() - before if not task.done()]
        if left:
            pytest.fail(f"tasks left behind: {', '.join(left)}")

    return checked
