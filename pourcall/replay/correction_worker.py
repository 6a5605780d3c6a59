"""The process that works a pour out again for a daemon. A Job as JSON on standard input, a Change comes out.

Run as `python -m pourcall.replay.correction_worker`: an hour of readings goes through a fresh engine there, and
the daemon that follows a melt meanwhile is not held up by it. `prepare_apart` is the caller's side.
"""

import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import msgspec

from pourcall.contract.entries import PourCorrection
from pourcall.contract.errors import BadInput, DaemonError, NotFound, PourcallError, StoreError
from pourcall.contract.message import Message, tell
from pourcall.records.read.store import Store
from pourcall.replay.pour_changes import Change, prepare

MOST_S, LOOK_S = 120.0, 0.2
COMMAND = (sys.executable, "-m", "pourcall.replay.correction_worker")
REFUSED = 2  # exit code: there is an error of ours on standard output
_KINDS: dict[int, type[PourcallError]] = {kind.exit_code: kind for kind in (BadInput, NotFound, StoreError)}


class Job(msgspec.Struct, frozen=True):
    """What is to be worked out, from which file."""

    database: str
    asked: PourCorrection
    utc_s: float


class Refusal(msgspec.Struct, frozen=True):
    """An error on its way home."""

    code: int
    what: Message
    where: str
    remedy: Message | Literal[""]


def prepare_apart(
    database: Path,
    asked: PourCorrection,
    utc_s: float,
    stopping: threading.Event | None = None,
    command: Sequence[str] = COMMAND,
) -> Change:
    """`pour_changes.prepare` in a process of its own. Raises NotFound, BadInput, StoreError as it does; PourcallError
    where the process fails, and at once where `stopping` is set: who stops does not wait for it."""
    job = msgspec.json.encode(Job(str(database), asked, utc_s))
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as worker:
        out, err = _communicate(worker, job, stopping)
    if worker.returncode == REFUSED:
        told = msgspec.json.decode(out, type=Refusal)
        raise _KINDS.get(told.code, PourcallError)(told.what, where=told.where, remedy=told.remedy)
    if worker.returncode != 0:
        last = err.decode(errors="replace").strip().splitlines()[-1:]
        raise PourcallError(
            tell("correction.worker_failed", error=last[0] if last else str(worker.returncode)),
            remedy=tell("error.send_log.remedy"),
        )
    return msgspec.json.decode(out, type=Change)


def _communicate(
    worker: "subprocess.Popen[bytes]", job: bytes, stopping: threading.Event | None
) -> tuple[bytes, bytes]:
    """What it says on both outputs until its end. It is ended where that takes too long, or we stop."""
    given: bytes | None = job
    for _ in range(round(MOST_S / LOOK_S)):
        try:
            return worker.communicate(given, timeout=LOOK_S)
        except subprocess.TimeoutExpired:
            given = None  # the library goes on with what it has
        if stopping is not None and stopping.is_set():
            worker.kill()
            raise DaemonError(tell("daemon.stopping"), remedy=tell("daemon.stopping.remedy"))
    worker.kill()
    raise PourcallError(tell("correction.too_long", most_s=MOST_S), remedy=tell("correction.too_long.remedy"))


def main() -> int:
    """The worker's side."""
    job = msgspec.json.decode(sys.stdin.buffer.read(), type=Job)
    try:
        with Store.read(Path(job.database)) as store:
            told: Change | Refusal = prepare(store, job.asked, job.utc_s)
    except PourcallError as err:
        told = Refusal(err.exit_code, err.what, err.where, err.remedy)
    sys.stdout.buffer.write(msgspec.json.encode(told))
    return REFUSED if isinstance(told, Refusal) else 0


if __name__ == "__main__":
    sys.exit(main())
