"""What holds for every test. No test leaves a task or a thread behind, and none is measured by the clock."""

import asyncio
import asyncio.runners
import gc
import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from pourcall.texts.catalogue import other_words
from tests.reworded import Reworded

pytest.register_assert_rewrite("tests.told")  # where it fails it says what was told

# A busy machine is no counter-example: no example is timed. Under CI hypothesis' own profile, which this one inherits,
# takes the same examples every time.
settings.register_profile("pourcall", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("pourcall")

THREADS_MAY_TAKE_S = 20.0


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--other-words",
        action="store_true",
        help="swap the whole catalogue of texts for another: what the program does must not change by its words",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Tests of the wording itself say nothing where the words are swapped."""
    if config.getoption("--other-words"):
        kept = [item for item in items if item.get_closest_marker("wording") is None]
        config.hook.pytest_deselected(items=[item for item in items if item not in set(kept)])
        items[:] = kept


@pytest.fixture(autouse=True, scope="session")
def swap_the_catalogue(request: pytest.FixtureRequest) -> Iterator[None]:
    """With --other-words every sentence is another one, with the same facts in it."""
    if not request.config.getoption("--other-words"):
        yield
        return
    with other_words(Reworded()):
        yield


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What this machine lacks, a line each: skips would be lost in the crowd."""
    lacking: dict[str, list[str]] = {}
    for report in terminalreporter.stats.get("skipped", []):
        if isinstance(report.longrepr, tuple):
            lacking.setdefault(report.longrepr[2].removeprefix("Skipped: "), []).append(report.nodeid.split("::")[0])
    for why, files in sorted(lacking.items()):
        terminalreporter.write_line(f"not run here: {len(files)} tests of {', '.join(sorted(set(files)))}: {why}")


def pytest_sessionfinish() -> None:
    gc.unfreeze()  # pytest collects once more when it ends: what outlived single tests is told of there


@pytest.fixture(autouse=True)
def blame_a_leak_on_its_test(request: pytest.FixtureRequest) -> Iterator[None]:
    """What a test forgot to close is collected before the next one begins, and its warning is an error of this test.

    The other fixtures here ask for this one, so that it ends last. What is still alive is frozen: a collection then
    looks at what the last test made and not at all libraries again, about 1 ms in place of 100 to 300.
    """
    yield
    request.node.funcargs.clear()  # else the values of the fixtures would outlive this
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def fail_test_on_unclosed_tasks(blame_a_leak_on_its_test: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
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
def fail_test_on_unfinished_threads(blame_a_leak_on_its_test: None) -> Iterator[None]:
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
