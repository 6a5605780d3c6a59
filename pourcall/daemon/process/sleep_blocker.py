"""Keep the computer awake during a melt, or say that it could not be done.

A laptop that falls asleep in mid-melt records nothing and calls nothing. Each way holds only as long as this process
lives: the helper programs end when ours does, however it ends. Linux: systemd-inhibit. macOS: caffeinate.
Windows: SetThreadExecutionState (written for, not yet tried).
"""

import logging
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from pourcall.contract.message import NOTHING, Message, tell
from pourcall.daemon import apart

log = logging.getLogger(__name__)

SETTLE_S = 0.4  # a helper that is refused ends at once; one that still runs after this holds the lock

_ES_CONTINUOUS = 0x80000000
_ES_SYSTEM_REQUIRED = 0x00000001


def helper_command(platform: str, pid: int, which: Callable[[str], str | None] = shutil.which) -> Sequence[str] | None:
    """The program that blocks sleep on this platform, or None where there is none."""
    if platform == "darwin" and which("caffeinate"):
        return ["caffeinate", "-i", "-w", str(pid)]
    inhibit, cat = which("systemd-inhibit"), which("cat")
    if platform == "linux" and inhibit and cat:
        # `cat` reads our pipe and ends with it: nothing is left behind when this process is killed.
        return [inhibit, "--what=sleep:idle", "--who=pourcall", "--why=a melt is running", "--mode=block", cat]
    return None


class WakeKeeper:
    """Blocks sleep between `hold` and `release`. Messages it returns are for the log and the record."""

    def __init__(self, platform: str = sys.platform, which: Callable[[str], str | None] = shutil.which) -> None:
        self._platform, self._which = platform, which
        self._helper: subprocess.Popen[bytes] | None = None
        self._windows = False

    @property
    def holding(self) -> bool:
        """Sleep is blocked now, or a helper that was just started is about to."""
        return self._windows or (self._helper is not None and self._helper.poll() is None)

    async def hold(self) -> Message:
        """Block sleep. Returns nothing when it holds, else why it does not."""
        if self.holding:
            return NOTHING
        if self._platform == "win32":
            self._windows = _windows_state(_ES_CONTINUOUS | _ES_SYSTEM_REQUIRED)
            return NOTHING if self._windows else tell("daemon.awake.power_plan")
        command = helper_command(self._platform, os.getpid(), self._which)
        if command is None:
            return tell("daemon.awake.no_helper")
        self._let_go()  # one that died in a melt
        program = Path(command[0]).name
        try:
            pipe = subprocess.PIPE
            helper = self._helper = apart.start(command, stdin=pipe, stdout=subprocess.DEVNULL, stderr=pipe)
        except OSError as err:
            log.warning("%s did not start: %s", program, err)
            return tell("daemon.awake.failed")
        try:
            refused = await apart.ended(helper, SETTLE_S)
        except BaseException:
            if self._helper is helper:
                self._let_go()
            raise
        if self._helper is not helper or not refused:  # released meanwhile, or it holds
            return NOTHING
        log.warning("%s ended with %d: %s", program, helper.returncode or 0, _words(helper) or "no word")
        self._let_go()
        return tell("daemon.awake.failed")

    async def release(self) -> None:
        """Let the computer sleep again; harmless when nothing is held."""
        if self._windows:
            self._windows = not _windows_state(_ES_CONTINUOUS)
        self._let_go()

    def _let_go(self) -> None:
        """In one step, so that no cancelled task can leave a lock behind."""
        helper, self._helper = self._helper, None
        if helper is not None:
            apart.end(helper)


def _words(helper: subprocess.Popen[bytes]) -> str:
    """What it said before it ended. Never waits: a child of its own may still have the pipe open."""
    if helper.stderr is None:
        return ""
    os.set_blocking(helper.stderr.fileno(), False)
    return (helper.stderr.read(300) or b"").decode("utf-8", "replace").strip()


def _windows_state(flags: int) -> bool:
    if sys.platform == "win32":
        import ctypes

        return bool(ctypes.windll.kernel32.SetThreadExecutionState(flags))
    return False
