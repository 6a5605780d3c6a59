"""Playing a WAV without waiting for it. aplay, paplay or afplay as a process, winsound, the terminal bell last.

A player that is there but fails (no sound card) is found out by its exit code, and the next one is taken: what is in
use is always said on the screen.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from pourcall.contract.message import Message, tell
from pourcall.tui.sounds.cues import Code, Cue, wav_of

PlayerName = Literal["auto", "bell", "off"]
_COMMANDS: tuple[tuple[str, tuple[str, ...]], ...] = (("aplay", ("-q",)), ("paplay", ()), ("afplay", ()))
MOST_AT_ONCE = 4  # cues come seconds apart and last about two: more that still play are a player that hangs


class Player:
    """Plays cues. `bell` rings the terminal; `path` is where to look for players (PATH when None).

    Use as a context manager: on leaving, what still sounds is stopped and the files are removed.
    """

    def __init__(self, wanted: PlayerName, volume: float, bell: Callable[[], None], *, path: str | None = None) -> None:
        self._wanted, self._volume, self._bell, self._path = wanted, volume, bell, path
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._files: dict[Code, Path] = {}
        self._running: list[tuple[str, subprocess.Popen[bytes]]] = []  # more than one where a player lags behind
        self._failed: list[str] = []
        self._command = self._next_command()

    def __enter__(self) -> "Player":
        return self

    def __exit__(self, *_exc: object) -> None:
        self.stop()
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    @property
    def label(self) -> Message:
        """What is in use."""
        if self._wanted == "off":
            return tell("sound.off")
        if self._command:
            return tell("sound.player", player=Path(self._command[0]).name)
        return tell("sound.bell_after", failed=", ".join(self._failed)) if self._failed else tell("sound.bell")

    def play(self, cue: Cue) -> None:
        """Start the sound and return at once. Does nothing when sound is off."""
        if self._wanted == "off":
            return
        self.check()
        if cue.cut:
            self.stop()
        if len(self._running) >= MOST_AT_ONCE:
            self._give_up_hung()
        if not self._command:
            self._bell()
            return
        if self._command[0] == "winsound":
            self._play_winsound(cue.code)
            return
        try:
            player = subprocess.Popen(
                [*self._command, str(self._file(cue.code))],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            self._running.append((self._command[0], player))
        except OSError:
            self._give_up()
            self.play(cue)

    def check(self) -> None:
        """Look whether the last sound was really played; if its player failed, go on to the next one."""
        over = [one for one in self._running if one[1].poll() is not None]
        self._running = [one for one in self._running if one not in over]
        failed = {name for name, player in over if player.returncode != 0}
        if self._command and self._command[0] in failed:  # not one that was given up already
            self._give_up()
            if not self._command:
                self._bell()

    def stop(self) -> None:
        """End what still sounds."""
        running, self._running = self._running, []
        for _, player in running:
            player.terminate()
        for _, player in running:
            try:
                player.wait(timeout=1.0)
            except subprocess.TimeoutExpired:
                player.kill()
                player.wait()

    def _give_up_hung(self) -> None:
        """So many sounds that never end are one player that hangs: end them all, and take the next one."""
        running, self._running = self._running, []
        for _, player in running:
            player.kill()
            player.wait()
        if self._command and any(name == self._command[0] for name, _ in running):
            self._give_up()

    def _give_up(self) -> None:
        self._failed.append(Path(self._command[0]).name)
        self._command = self._next_command()

    def _next_command(self) -> tuple[str, ...]:
        if self._wanted != "auto":
            return ()
        if sys.platform == "win32":
            return () if self._failed else ("winsound",)
        for name, options in _COMMANDS:
            found = None if name in self._failed else shutil.which(name, path=self._path)
            if found:
                return (name, *options) if self._path is None else (found, *options)
        return ()

    def _file(self, code: Code) -> Path:
        """The sound's file, made when it is first wanted."""
        if code not in self._files:
            if self._folder is None:
                self._folder = tempfile.TemporaryDirectory(prefix="pourcall-sound-")
            file = Path(self._folder.name) / f"{code.value}.wav"
            file.write_bytes(wav_of(code, self._volume))
            self._files[code] = file
        return self._files[code]

    def _play_winsound(self, code: Code) -> None:
        if sys.platform == "win32":  # pragma: no cover - not yet tried on Windows
            import winsound

            try:
                winsound.PlaySound(str(self._file(code)), winsound.SND_FILENAME | winsound.SND_ASYNC)
            except RuntimeError:
                self._give_up()
