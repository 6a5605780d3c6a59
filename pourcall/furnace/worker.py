"""The process that learns. A Job as JSON on standard input, a Fitted or a refusal on standard output.

Run as `python -m pourcall.furnace.worker`; numpy and scipy are loaded here and nowhere else. `learn` is the
caller's side: it starts the process and waits, so that a daemon or a command never loads either.
"""

import os
import subprocess
import sys
from typing import Literal

import msgspec

from pourcall.contract.errors import BadTrace, PourcallError
from pourcall.contract.message import Message, tell
from pourcall.furnace.model import with_panel
from pourcall.furnace.own_coasts import with_coasts
from pourcall.furnace.training import Fitted, Job

MOST_S = 300.0
NICE = 10  # learning can wait, readings cannot
MISSING = 3  # exit code: numpy or scipy is not installed


class Refusal(msgspec.Struct, frozen=True):
    """An error on its way home."""

    what: Message
    where: str
    remedy: Message | Literal[""]


COMMAND = (sys.executable, "-m", "pourcall.furnace.worker")


def learn(job: Job) -> Fitted:
    """Fit in a process of its own, and wait for it.

    Raises BadTrace where nothing can be learned, PourcallError where the worker fails.
    """
    try:
        done = subprocess.run(COMMAND, input=msgspec.json.encode(job), capture_output=True, timeout=MOST_S, check=False)
    except subprocess.TimeoutExpired as err:
        raise too_long() from err
    return answer(done.returncode, done.stdout, done.stderr)


def too_long() -> PourcallError:
    """The worker was given up."""
    return PourcallError(tell("furnace.too_long", most_s=MOST_S), remedy=tell("furnace.too_long.remedy"))


def answer(code: int, out: bytes, err: bytes) -> Fitted:
    """What the process said. Raises BadTrace where nothing can be learned, PourcallError where it failed."""
    if code == MISSING:
        raise PourcallError(tell("furnace.not_installed"), remedy=tell("furnace.not_installed.remedy"))
    if code == 2:
        refusal = msgspec.json.decode(out, type=Refusal)
        raise BadTrace(refusal.what, where=refusal.where, remedy=refusal.remedy)
    if code != 0:
        last = err.decode(errors="replace").strip().splitlines()[-1:]
        error = last[0] if last else str(code)
        raise PourcallError(tell("furnace.failed", error=error), remedy=tell("error.send_log.remedy"))
    return msgspec.json.decode(out, type=Fitted)


def main() -> int:
    """The worker's side."""
    if hasattr(os, "nice"):
        os.nice(NICE)
    try:
        from pourcall.furnace.fit import fit
    except ImportError:
        return MISSING
    job = msgspec.json.decode(sys.stdin.buffer.read(), type=Job)
    try:
        fitted = fit(job.prior, job.traces, utc_s=job.utc_s, version=job.version)
        model = with_coasts(with_panel(fitted.model, list(job.pairs)), job.traces)
        fitted = msgspec.structs.replace(fitted, model=model)
    except BadTrace as err:
        sys.stdout.buffer.write(msgspec.json.encode(Refusal(err.what, err.where, err.remedy)))
        return 2
    sys.stdout.buffer.write(msgspec.json.encode(fitted))
    return 0


if __name__ == "__main__":
    sys.exit(main())
