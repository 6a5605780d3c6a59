"""The process that works a pour out again for a daemon. A Job as JSON on standard input, a Change comes out.

Run as `python -m pourcall.replay.correction_worker`: an hour of readings goes through a fresh engine there, and
the daemon that follows a melt meanwhile is not held up by it. `prepare_apart` is the caller's side.
"""

import subprocess
import sys
from pathlib import Path

import msgspec

from pourcall.contract.entries import PourCorrection
from pourcall.contract.errors import BadInput, NotFound, PourcallError, StoreError
from pourcall.contract.message import Told
from pourcall.records.read.store import Store
from pourcall.replay.pour_changes import Change, prepare

MOST_S = 120.0
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
    what: Told
    where: str
    remedy: Told


def prepare_apart(database: Path, asked: PourCorrection, utc_s: float) -> Change:
    """`pour_changes.prepare` in a process of its own. Raises NotFound, BadInput, StoreError as it does; PourcallError
    where the process fails."""
    job = msgspec.json.encode(Job(str(database), asked, utc_s))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pourcall.replay.correction_worker"],
            input=job,
            capture_output=True,
            timeout=MOST_S,
            check=False,
        )
    except subprocess.TimeoutExpired as err:
        raise PourcallError(f"working it out took longer than {MOST_S:.0f} s", remedy="Try again later") from err
    if done.returncode == REFUSED:
        told = msgspec.json.decode(done.stdout, type=Refusal)
        raise _KINDS.get(told.code, PourcallError)(told.what, where=told.where, remedy=told.remedy)
    if done.returncode != 0:
        last = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
        raise PourcallError(f"the worker failed: {last[0] if last else done.returncode}", remedy="Send the log")
    return msgspec.json.decode(done.stdout, type=Change)


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
