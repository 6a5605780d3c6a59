"""What is heard. The WAVs are measured, the desk is asked, and a real process plays.

Sources: EU Directive 92/58/EEC Annex VII (pulses told apart by length and gap; changing pitch is more danger;
continuous sound is kept for evacuation); IMO MSC.302(87) 7.3.5 (silenced and unacknowledged sounds again after 30 s).
Rates per second are those of the project's alarm design.
"""

import array
import io
import itertools
import os
import time
import wave
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.events import AlarmState, CallKind, CallView, Priority
from pourcall.contract.inputs import SILENCE_S
from pourcall.contract.message import tell
from pourcall.tui.sounds.cues import TONES, Code, Cue, CueSelector, length_s, wav_of
from pourcall.tui.sounds.player import MOST_AT_ONCE, Player


def samples_of(wav: bytes) -> tuple[list[int], int]:
    """The samples and their rate."""
    with wave.open(io.BytesIO(wav)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        data = array.array("h")
        data.frombytes(file.readframes(file.getnframes()))
        return list(data), file.getframerate()


def pulses_of(wav: bytes) -> list[tuple[float, float, float]]:
    """(start s, length s, pitch Hz) of each pulse: found by silence of 15 ms, pitch by counting zero crossings."""
    data, rate_hz = samples_of(wav)
    quiet = round(0.015 * rate_hz)
    loud = [n for n, value in enumerate(data) if abs(value) > 300]
    runs: list[list[int]] = []
    for n in loud:
        if runs and n - runs[-1][1] < quiet:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    out = []
    for first, last in runs:
        body = data[first : last + 1]
        crossings = sum(1 for a, b in itertools.pairwise(body) if a < 0 <= b)
        out.append((first / rate_hz, (last - first) / rate_hz, crossings / ((last - first) / rate_hz)))
    return out


def test_alarm_is_one_pitch_with_two_pulses_a_second() -> None:
    pulses = pulses_of(wav_of(Code.ALARM, 0.8))
    starts = [start for start, _, _ in pulses]
    assert [b - a for a, b in itertools.pairwise(starts)] == pytest.approx([0.5] * 3, abs=0.01)
    assert [pitch for _, _, pitch in pulses] == pytest.approx([1000.0] * 4, rel=0.02)


def test_warning_is_three_short_pulses_two_seconds_apart() -> None:
    pulses = pulses_of(wav_of(Code.WARNING, 0.8))
    starts = [start for start, _, _ in pulses]
    assert [b - a for a, b in itertools.pairwise(starts)] == pytest.approx([2.0, 2.0], abs=0.01)
    assert all(length < 0.2 for _, length, _ in pulses)


def test_caution_is_a_single_short_pulse() -> None:
    ((_, length, _),) = pulses_of(wav_of(Code.CAUTION, 0.8))
    assert length < 0.2


@pytest.mark.parametrize(
    ("code", "rises"),
    [(Code.CUT_POWER, [True, True]), (Code.POUR, [True]), (Code.WINDOW_CLOSING, [False]), (Code.NOTICE, [True])],
)
def test_calls_are_notes_that_rise_or_fall(code: Code, rises: list[bool]) -> None:
    pitches = [pitch for _, _, pitch in pulses_of(wav_of(code, 0.8))]
    assert [b > a * 1.1 for a, b in itertools.pairwise(pitches)] == rises


def test_no_sound_is_continuous_even_when_repeated() -> None:
    for code in Code:
        pulses = pulses_of(wav_of(code, 0.8))
        assert max(length for _, length, _ in pulses) <= 0.4
        last_start, last_length, _ = pulses[-1]
        assert length_s(code) - (last_start + last_length) >= 0.015


def test_no_two_sounds_are_alike() -> None:
    shapes = [tuple((round(p.pitch_hz), p.on_s, p.off_s) for p in TONES[code]) for code in Code]
    assert len(set(shapes)) == len(shapes)


def test_volume_is_the_share_of_full_scale() -> None:
    peak = {volume: max(samples_of(wav_of(Code.ALARM, volume))[0]) for volume in (0.0, 0.4, 1.0)}
    assert peak[0.0] == 0
    assert peak[0.4] == pytest.approx(0.4 * 32767, rel=0.01)
    assert peak[1.0] <= 32767


# -- the desk ----------------------------------------------------------------------------------------------------------


def heard(desk: CueSelector, snapshots: Any, begin_s: float, end_s: float, **more: Any) -> list[tuple[float, Code]]:
    """What starts when, with the desk asked five times a second."""
    out = []
    for n in range(round((end_s - begin_s) * 5)):
        now_s = begin_s + n / 5
        cue = desk.step(snapshots, now_s, **more)
        if cue is not None:
            out.append((round(now_s, 2), cue.code))
    return out


def call(kind: CallKind, repeat_s: float) -> CallView:
    """A call that is up."""
    return CallView(kind=kind, text="", why="", raised_mono_s=0.0, repeat_s=repeat_s)


def test_a_normal_melt_is_silent(scenes: Any) -> None:
    for snapshot in (scenes.idle(), scenes.heating(), scenes.lifted()):
        assert heard(CueSelector(), [snapshot], 0.0, 60.0) == []


def test_an_alarm_sounds_until_it_is_acknowledged(scenes: Any) -> None:
    desk = CueSelector()
    starts = [at_s for at_s, code in heard(desk, [scenes.broken()], 0.0, 60.0) if code is Code.ALARM]
    assert starts == pytest.approx([2.0 * n for n in range(30)], abs=0.21)
    acked = scenes.heating(alarms=(scenes.alarm(state=AlarmState.ACKED),))
    assert heard(desk, [acked], 60.0, 90.0) == []


def test_a_caution_sounds_once_and_a_warning_again_after_half_a_minute(scenes: Any) -> None:
    caution = scenes.heating(alarms=(scenes.alarm(priority=Priority.CAUTION),))
    assert heard(CueSelector(), [caution], 0.0, 100.0) == [(0.0, Code.CAUTION)]
    warning = scenes.heating(alarms=(scenes.alarm(priority=Priority.WARNING),))
    assert heard(CueSelector(), [warning], 0.0, 100.0) == [(t, Code.WARNING) for t in (0.0, 30.0, 60.0, 90.0)]


def test_only_the_most_severe_sounds(scenes: Any) -> None:
    alarms = (
        scenes.alarm(id="a:a", priority=Priority.CAUTION),
        scenes.alarm(id="b:b", priority=Priority.ALARM),
        scenes.alarm(id="c:c", priority=Priority.WARNING),
    )
    snapshot = scenes.ready(alarms=alarms, calls=(call(CallKind.POUR, 10.0),))
    assert {code for _, code in heard(CueSelector(), [snapshot], 0.0, 60.0)} == {Code.ALARM}


def test_an_alarm_cuts_into_a_lesser_sound(scenes: Any) -> None:
    desk = CueSelector()
    assert desk.step([scenes.heating(alarms=(scenes.alarm(priority=Priority.WARNING),))], 0.0) is not None
    cue = desk.step([scenes.heating(alarms=(scenes.alarm(id="t:t", priority=Priority.ALARM),))], 0.5)
    assert cue is not None
    assert (cue.code, cue.cut) == (Code.ALARM, True)


def test_silence_lasts_thirty_seconds_and_then_it_sounds_again(scenes: Any) -> None:
    desk = CueSelector()
    heard(desk, [scenes.broken()], 0.0, 10.0)
    desk.silence(10.0)
    starts = heard(desk, [scenes.broken()], 10.0, 45.0)
    assert starts[0] == (10.0 + SILENCE_S, Code.ALARM)


def test_a_silence_asked_of_the_daemon_by_someone_else_is_kept_too(scenes: Any) -> None:
    quiet = scenes.broken(silenced_until_mono_s=7060.0)  # the snapshot's own time is 7040
    assert heard(CueSelector(), [quiet], 0.0, 20.0) == []
    assert heard(CueSelector(), [scenes.broken(silenced_until_mono_s=7040.0)], 0.0, 1.0) != []


def test_calls_repeat_as_they_say_and_a_call_without_repeat_sounds_once(scenes: Any) -> None:
    pour = scenes.ready(calls=(call(CallKind.POUR, 10.0),))
    assert heard(CueSelector(), [pour], 0.0, 35.0) == [(t, Code.POUR) for t in (0.0, 10.0, 20.0, 30.0)]
    cut = scenes.heating(calls=(call(CallKind.CUT_POWER, 5.0),))
    assert heard(CueSelector(), [cut], 0.0, 11.0) == [(t, Code.CUT_POWER) for t in (0.0, 5.0, 10.0)]
    skim = scenes.heating(calls=(call(CallKind.SKIM, 0.0),))
    assert heard(CueSelector(), [skim], 0.0, 60.0) == [(0.0, Code.NOTICE)]


def test_a_call_is_heard_while_alarms_are_silenced(scenes: Any) -> None:
    desk = CueSelector()
    desk.silence(0.0)
    snapshot = scenes.ready(alarms=(scenes.alarm(),), calls=(call(CallKind.WINDOW_CLOSING, 5.0),))
    assert {code for _, code in heard(desk, [snapshot], 0.0, 12.0)} == {Code.WINDOW_CLOSING}


def test_an_alarm_of_a_furnace_that_is_not_on_the_screen_is_heard(scenes: Any) -> None:
    assert heard(CueSelector(), [scenes.heating(), scenes.broken(furnace="kiln")], 0.0, 1.0) == [(0.0, Code.ALARM)]


def test_shelved_explained_and_returned_alarms_are_quiet(scenes: Any) -> None:
    quiet = (
        scenes.alarm(shelved_until_mono_s=9e9),
        scenes.alarm(id="b:b", suppressed_by="c:c"),
        scenes.alarm(id="d:d", state=AlarmState.RTN_UNACKED),
    )
    assert heard(CueSelector(), [scenes.heating(alarms=quiet)], 0.0, 10.0) == []


def test_a_lost_daemon_sounds_as_an_alarm_of_the_dashboards_own(scenes: Any) -> None:
    desk = CueSelector()
    assert {code for _, code in heard(desk, [scenes.lifted()], 0.0, 10.0, daemon_lost=True)} == {Code.ALARM}
    assert heard(desk, [scenes.lifted()], 10.0, 20.0) == []


def test_an_alarm_that_comes_again_sounds_again(scenes: Any) -> None:
    desk = CueSelector()
    caution = scenes.heating(alarms=(scenes.alarm(priority=Priority.CAUTION),))
    heard(desk, [caution], 0.0, 5.0)
    heard(desk, [scenes.heating()], 5.0, 10.0)
    assert heard(desk, [caution], 10.0, 15.0) == [(10.0, Code.CAUTION)]


# -- the player: a real program, found on a path, started for real -----------------------------------------------------


WAIT_S = 20.0  # a guard against hanging, not a measure


def program(folder: Path, name: str, script: str) -> None:
    """An executable of that name."""
    file = folder / name
    file.write_text(f"#!/bin/sh\n{script}\n")
    file.chmod(0o755)


def wait_for(file: Path) -> bytes:
    """The file's bytes, once the player has written it."""
    end_s = time.monotonic() + WAIT_S
    while time.monotonic() < end_s:
        if file.exists():
            return file.read_bytes()
        time.sleep(0.01)
    raise AssertionError(f"{file.name} was never written")


needs_sh = pytest.mark.skipif(os.name == "nt", reason="the stand-in player is a shell script")


@needs_sh
def test_what_is_played_is_the_sound_of_the_code(tmp_path: Path) -> None:
    program(tmp_path, "aplay", f'/bin/cp "$2" {tmp_path}/part && /bin/mv {tmp_path}/part {tmp_path}/played.wav')
    with Player("auto", 0.5, lambda: None, path=str(tmp_path)) as player:
        assert player.label == tell("sound.player", player="aplay")
        player.play(Cue(Code.ALARM, "x"))
        played = wait_for(tmp_path / "played.wav")
    assert played == wav_of(Code.ALARM, 0.5)
    assert [pitch for _, _, pitch in pulses_of(played)][:2] == pytest.approx([1000.0, 1000.0], rel=0.02)


@needs_sh
def test_playing_does_not_wait_and_a_cut_ends_what_sounds(tmp_path: Path) -> None:
    program(
        tmp_path,
        "aplay",
        f"trap ': > {tmp_path}/cut; exit 0' TERM\n: > {tmp_path}/up\nwhile :; do /bin/sleep 0.05; done",
    )
    with Player("auto", 0.5, lambda: None, path=str(tmp_path)) as player:
        player.play(Cue(Code.WARNING, "x"))  # waiting for this one would never end
        wait_for(tmp_path / "up")
        player.play(Cue(Code.ALARM, "y", cut=True))
        wait_for(tmp_path / "cut")


@needs_sh
def test_a_player_that_lags_behind_is_ended_with_the_dashboard_too(tmp_path: Path) -> None:
    program(tmp_path, "aplay", f"echo $$ >> {tmp_path}/pids\nexec /bin/sleep 600")
    with Player("auto", 0.5, lambda: None, path=str(tmp_path)) as player:
        player.play(Cue(Code.WARNING, "x"))
        player.play(Cue(Code.WARNING, "y"))
        end_s = time.monotonic() + WAIT_S
        while len(pids := (tmp_path / "pids").read_text().split() if (tmp_path / "pids").exists() else []) < 2:
            assert time.monotonic() < end_s, "they never started"
            time.sleep(0.01)
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(int(pid), 0)


@needs_sh
def test_a_player_that_hangs_is_ended_and_the_next_one_taken(tmp_path: Path) -> None:
    program(tmp_path, "aplay", f"echo $$ >> {tmp_path}/pids\nexec /bin/sleep 600")
    program(tmp_path, "paplay", "exit 0")
    with Player("auto", 0.5, lambda: None, path=str(tmp_path)) as player:
        for _ in range(MOST_AT_ONCE):
            player.play(Cue(Code.WARNING, "x"))
        assert player.label == tell("sound.player", player="aplay")
        end_s = time.monotonic() + WAIT_S
        while len((tmp_path / "pids").read_text().split() if (tmp_path / "pids").exists() else []) < MOST_AT_ONCE:
            assert time.monotonic() < end_s, "they never started"
            time.sleep(0.01)
        player.play(Cue(Code.WARNING, "one too many"))
        assert player.label == tell("sound.player", player="paplay")
        for pid in (tmp_path / "pids").read_text().split():
            with pytest.raises(ProcessLookupError):
                os.kill(int(pid), 0)


@needs_sh
def test_a_player_that_fails_is_found_out_and_the_next_one_taken(tmp_path: Path) -> None:
    program(tmp_path, "aplay", "exit 1")
    program(tmp_path, "paplay", f": > {tmp_path}/played")
    with Player("auto", 0.5, lambda: None, path=str(tmp_path)) as player:
        player.play(Cue(Code.ALARM, "x"))
        end_s = time.monotonic() + WAIT_S
        while player.label != tell("sound.player", player="paplay") and time.monotonic() < end_s:
            player.check()
            time.sleep(0.01)
        player.play(Cue(Code.ALARM, "x"))
        wait_for(tmp_path / "played")


def test_without_a_player_the_terminal_bell_is_last_and_is_said(tmp_path: Path) -> None:
    rung: list[int] = []
    with Player("auto", 0.5, lambda: rung.append(1), path=str(tmp_path)) as player:
        player.play(Cue(Code.ALARM, "x"))
        assert player.label == tell("sound.bell")
    assert rung == [1]


def test_sound_off_is_silent_and_says_so(tmp_path: Path) -> None:
    rung: list[int] = []
    with Player("off", 0.5, lambda: rung.append(1), path=str(tmp_path)) as player:
        player.play(Cue(Code.ALARM, "x"))
        assert player.label == tell("sound.off")
    assert rung == []
