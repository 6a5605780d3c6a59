"""Fault S3: frames cut short. Nothing until three in 10 s, then link_noisy, priority 3; sound frames are still used."""

from pourcall.contract.events import CallKind, Priority
from pourcall.drivers.wire import ourline
from tests.faults.conftest import Rig

DETECTOR = "link_noisy"


def story(rig: Rig, cut: frozenset[int]) -> None:
    decoder = ourline.decoder(chip="max31855")
    rig.ready()
    sent = [0]

    def send() -> None:
        sent[0] += 1
        line = rig.line(sent[0])
        rig.frames(line[:-2] + b"\n" if sent[0] in cut else line, decoder)

    rig.waits(20.0, send)


def test_three_cut_frames_in_ten_seconds_are_one_warning_and_the_rest_is_used(rig: Rig) -> None:
    story(rig, frozenset(range(2, 40, 3)))
    rig.one_alarm("link_noisy", Priority.WARNING, 10.0, subject="bench")
    assert rig.up(CallKind.POUR), "sound frames still tell the metal"
    assert rig.engine.metal.temp_c is not None


MAIN = test_three_cut_frames_in_ten_seconds_are_one_warning_and_the_rest_is_used


def test_two_cut_frames_are_counted_and_raise_nothing(rig: Rig) -> None:
    story(rig, frozenset({3, 9}))
    rig.silent()


def test_it_clears_by_itself_when_the_frames_are_whole_again(rig: Rig) -> None:
    story(rig, frozenset(range(2, 12, 2)))
    assert len(rig.raised("link_noisy")) == 1
    rig.waits(20.0, lambda: rig.sample(570.0))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]


def test_the_same_run_with_whole_frames_raises_nothing(rig: Rig) -> None:
    story(rig, frozenset())
    rig.silent()
