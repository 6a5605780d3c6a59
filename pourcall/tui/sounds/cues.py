"""What must be heard now, and what it sounds like. Tones as data; a selector that decides; nothing is played here.

The code: changing pitch is more danger than steady pitch, pulses are told apart by length and gap (EU Directive
92/58/EEC, Annex VII 1.1 and 1.2), and no sound is continuous: that is kept for evacuation (Annex VII 2). Pitches lie
in 500 to 1500 Hz, where a small loudspeaker is loud and hearing that has aged still hears (from memory: ISO 7731
asks for 500 to 2500 Hz). A silenced alarm that nobody has acknowledged sounds again after 30 s (IMO MSC.302(87) 7.3.5).
"""

import array
import io
import math
import sys
import wave
from collections.abc import Iterable
from enum import StrEnum

import msgspec

from pourcall.contract.events import AlarmState, AlarmView, CallKind, CallView, Priority
from pourcall.contract.inputs import SILENCE_S
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.screen.words import is_shelved

RATE_HZ = 16_000
_EDGE_S = 0.005  # rise and fall of a pulse, so that it does not click


class Code(StrEnum):
    """Our sounds, the most urgent first."""

    ALARM = "alarm"
    WARNING = "warning"
    CAUTION = "caution"
    CUT_POWER = "cut_power"
    WINDOW_CLOSING = "window_closing"
    POUR = "pour"
    NOTICE = "notice"  # skim, dip, profile step


class Pulse(msgspec.Struct, frozen=True):
    """A tone of one pitch, and the quiet after it."""

    pitch_hz: float
    on_s: float
    off_s: float


_LOW, _MID, _HIGH = 523.25, 659.26, 783.99  # C5, E5, G5, equal temperament, a' = 440 Hz
TONES: dict[Code, tuple[Pulse, ...]] = {
    Code.ALARM: (Pulse(1000.0, 0.25, 0.25),) * 4,  # two pulses a second
    Code.WARNING: (Pulse(700.0, 0.15, 1.85),) * 3,  # one short pulse every 2 s, three times
    Code.CAUTION: (Pulse(560.0, 0.15, 0.05),),
    Code.CUT_POWER: (Pulse(_LOW, 0.18, 0.04), Pulse(_MID, 0.18, 0.04), Pulse(_HIGH, 0.30, 0.06)),
    Code.WINDOW_CLOSING: (Pulse(_HIGH, 0.22, 0.05), Pulse(_LOW, 0.35, 0.05)),
    Code.POUR: (Pulse(_LOW, 0.22, 0.05), Pulse(_HIGH, 0.35, 0.05)),
    Code.NOTICE: (Pulse(_LOW, 0.14, 0.04), Pulse(_MID, 0.22, 0.04)),
}
# Seconds from one start to the next while it lasts; 0: once.
REPEAT_S = {Code.ALARM: 2.0, Code.WARNING: SILENCE_S, Code.CAUTION: 0.0}
_ORDER = {code: rank for rank, code in enumerate(Code)}
_OF_PRIORITY = {
    Priority.ALARM: Code.ALARM,
    Priority.WARNING: Code.WARNING,
    Priority.CAUTION: Code.CAUTION,
}
_OF_CALL = {
    CallKind.CUT_POWER: Code.CUT_POWER,
    CallKind.WINDOW_CLOSING: Code.WINDOW_CLOSING,
    CallKind.POUR: Code.POUR,
}


def length_s(code: Code) -> float:
    """How long one sound takes, its last quiet included."""
    return sum(pulse.on_s + pulse.off_s for pulse in TONES[code])


def wav_of(code: Code, volume: float) -> bytes:
    """The sound as a WAV file: one channel, 16 bit, 16 kHz. `volume` from 0 to 1 of full scale."""
    samples = array.array("h")
    for pulse in TONES[code]:
        count = round(pulse.on_s * RATE_HZ)
        edge = max(1, round(_EDGE_S * RATE_HZ))
        step = 2.0 * math.pi * pulse.pitch_hz / RATE_HZ
        full = 32767.0 * min(1.0, max(0.0, volume))
        samples.extend(round(full * min(1.0, n / edge, (count - n) / edge) * math.sin(step * n)) for n in range(count))
        samples.extend([0] * round(pulse.off_s * RATE_HZ))
    if sys.byteorder == "big":
        samples.byteswap()
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples.tobytes())
    return out.getvalue()


class Cue(msgspec.Struct, frozen=True):
    """Play this now; `cut`: stop what is still sounding, it is less urgent."""

    code: Code
    key: str  # what it is for: an alarm's or a call's own name
    cut: bool = False


class _Due(msgspec.Struct, frozen=True):
    code: Code
    key: str
    repeat_s: float


class CueSelector:
    """Decides what must be heard: one sound at a time, the most urgent first. Takes the clock as an argument.

    `step` is called several times a second with all furnaces as they stand.
    """

    def __init__(self) -> None:
        self._last_s: dict[str, float] = {}  # key -> when it was last sounded
        self._busy_until_s = float("-inf")
        self._busy_with: Code | None = None
        self._silent_until_s = float("-inf")

    def silence(self, now_s: float) -> None:
        """Quiet for alarms for 30 s, here and at once: the daemon may not be there to ask."""
        self._silent_until_s = now_s + SILENCE_S

    def step(self, snapshots: Iterable[FurnaceSnapshot], now_s: float, *, daemon_lost: bool = False) -> Cue | None:
        """The sound that must start now, or None."""
        wanted = [_Due(Code.ALARM, "daemon_lost", REPEAT_S[Code.ALARM])] if daemon_lost else []
        if not daemon_lost:
            for snapshot in snapshots:
                wanted += _of_furnace(snapshot)
        if now_s < self._silent_until_s:
            wanted = [one for one in wanted if one.code not in REPEAT_S]
        # What is not wanted now is forgotten: an alarm that comes again, or is still there after a silence, is new.
        up = {one.key for one in wanted}
        self._last_s = {key: at_s for key, at_s in self._last_s.items() if key in up}
        due = [one for one in wanted if self._is_due(one, now_s)]
        if not due:
            return None
        # A more urgent one that is between two of its repeats keeps the air: only one code at a time.
        most = min(wanted, key=lambda one: _ORDER[one.code])
        if most.code is Code.ALARM:
            due = [one for one in due if one.code is most.code]
            if not due:
                return None
        chosen = min(due, key=lambda one: (_ORDER[one.code], self._last_s.get(one.key, float("-inf"))))
        cut = False
        if now_s < self._busy_until_s:
            if self._busy_with is None or _ORDER[chosen.code] >= _ORDER[self._busy_with]:
                return None
            cut = True
        for one in due:
            if one.code is chosen.code and one.code in REPEAT_S:
                self._last_s[one.key] = now_s  # one sound stands for all alarms of its kind
        self._last_s[chosen.key] = now_s
        self._busy_until_s, self._busy_with = now_s + length_s(chosen.code), chosen.code
        return Cue(chosen.code, chosen.key, cut)

    def _is_due(self, one: _Due, now_s: float) -> bool:
        last_s = self._last_s.get(one.key)
        if last_s is None:
            return True
        return one.repeat_s > 0 and now_s - last_s >= one.repeat_s - 1e-6


def _of_furnace(snapshot: FurnaceSnapshot) -> list[_Due]:
    until_s = snapshot.silenced_until_mono_s
    silenced = until_s is not None and until_s > snapshot.mono_s
    out = [_of_alarm(snapshot.furnace, alarm) for alarm in snapshot.alarms if _is_heard(alarm)] if not silenced else []
    return out + [_of_call(snapshot.furnace, call) for call in snapshot.calls]


def _is_heard(alarm: AlarmView) -> bool:
    return alarm.state is AlarmState.UNACKED and not (alarm.suppressed_by or is_shelved(alarm))


def _of_alarm(furnace: str, alarm: AlarmView) -> _Due:
    code = _OF_PRIORITY[alarm.priority]
    return _Due(code, f"{furnace}/{alarm.id}/{alarm.priority:d}/{alarm.raised_mono_s}", REPEAT_S[code])


def _of_call(furnace: str, call: CallView) -> _Due:
    code = _OF_CALL.get(call.kind, Code.NOTICE)
    return _Due(code, f"{furnace}/{call.kind.value}/{call.raised_mono_s}", call.repeat_s)
