"""A program beside the daemon, started and waited for so that it never outlives who waits.

asyncio's own subprocess can be cancelled half started, and its pipes need turns of the loop to close: a task that is
cancelled twice, or a loop that ends, leaves the program running. Here it is a plain process that is looked at, and
`end` has no turn of the loop in it: whoever starts one ends it in the same step that stops the waiting.
"""

import asyncio
import contextlib
import subprocess
from collections.abc import Sequence
from typing import IO

LOOK_S = 0.02

Stream = int | IO[bytes]


def start(command: Sequence[str], *, stdin: Stream, stdout: Stream, stderr: Stream) -> subprocess.Popen[bytes]:
    """Start it. Raises OSError where it cannot be started."""
    return subprocess.Popen(command, stdin=stdin, stdout=stdout, stderr=stderr)


async def ended(process: subprocess.Popen[bytes], within_s: float) -> bool:
    """Wait for its end, for so long at most. True when it has ended."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(within_s):
            while process.poll() is None:  # noqa: ASYNC110 - no event tells of another program's end
                await asyncio.sleep(LOOK_S)
    return process.poll() is not None


def end(process: subprocess.Popen[bytes]) -> None:
    """End it where it still runs, wait for it and close its pipes. A killed process is gone in milliseconds."""
    for pipe in (process.stdin, process.stdout, process.stderr):
        if pipe is not None:
            with contextlib.suppress(OSError):  # what was not yet written finds no reader
                pipe.close()
    process.kill()
    process.wait()
