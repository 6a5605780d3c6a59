"""Room: the process that learns. A Job as JSON on standard input, a Fitted or a refusal on standard output.

Run as `python -m pourcall.daemon.foresight.worker`; numpy and scipy are loaded here and nowhere else. `learn` is the
caller's side: it starts the process and waits, so that a daemon or a command never loads either.
"""

import subprocess
import sys

import msgspec

from pourcall.contract.errors import BadTrace, PourcallError
from pourcall.daemon.foresight.traces import Fitted, Job

MOST_S = 300.0
MISSING = 3  # exit code: numpy or scipy is not installed


class Refusal(msgspec.Struct, frozen=True):
    """An error on its way home."""

    what: str
    where: str
    remedy: str


def learn(job: Job) -> Fitted:
    """Fit in a process of its own.

    Raises BadTrace where nothing can be learned, PourcallError where the worker fails.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pourcall.daemon.foresight.worker"], input=msgspec.json.encode(job),
            capture_output=True, timeout=MOST_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired as err:
        raise PourcallError(f"learning took longer than {MOST_S:.0f} s", remedy="Learn from fewer melts") from err
    if done.returncode == MISSING:
        raise PourcallError("learning needs numpy and scipy", remedy="Install them: pip install numpy scipy")
    if done.returncode == 2:
        refusal = msgspec.json.decode(done.stdout, type=Refusal)
        raise BadTrace(refusal.what, where=refusal.where, remedy=refusal.remedy)
    if done.returncode != 0:
        last = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
        raise PourcallError(f"the worker failed: {last[0] if last else done.returncode}", remedy="Send the log")
    return msgspec.json.decode(done.stdout, type=Fitted)


def main() -> int:
    """The worker's side."""
    try:
        from pourcall.daemon.foresight.fit import fit
    except ImportError:
        return MISSING
    job = msgspec.json.decode(sys.stdin.buffer.read(), type=Job)
    try:
        fitted = fit(job.prior, job.traces, utc_s=job.utc_s, version=job.version)
    except BadTrace as err:
        sys.stdout.buffer.write(msgspec.json.encode(Refusal(err.what, err.where, err.remedy)))
        return 2
    sys.stdout.buffer.write(msgspec.json.encode(fitted))
    return 0


if __name__ == "__main__":
    sys.exit(main())
