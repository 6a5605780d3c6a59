"""The sequencer. One order, both times, nothing waits for a disk, and nobody's trouble is another's."""

import json
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import AlarmChanged, MeltStarted
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import (
    DaemonIn,
    EndMelt,
    Input,
    LinkIn,
    LinkKind,
    MeltEnding,
    Note,
    SampleIn,
    StartMelt,
    StoreIn,
    StoreProblem,
)
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan
from pourcall.daemon.inputs.sequencer import InputSequencer, ProcessedInput

OPEN = Sample(channel="0", raw_kind=RawKind.EMF_UV, raw_value=None, flags=1)
WARM = Sample(channel="0", raw_kind=RawKind.ITS90_C, raw_value=512.0)


def test_every_input_gets_the_next_number_and_both_times(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    sequencer.frame("bench", WARM)
    sequencer.tick()
    sequencer.store(StoreProblem.NONE)
    assert [item.seq for item in engine.items] == [1, 2, 3]
    assert {(item.mono_s, item.utc_s) for item in engine.items} == {(1000.0, 1_790_000_000.0)}


def test_the_monotonic_time_of_inputs_never_steps_back(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    sequencer.tick()
    clock._mono_s -= 5.0
    sequencer.tick()
    assert engine.items[1].mono_s == engine.items[0].mono_s


def test_jitter_of_the_port_is_no_lateness_but_a_backlog_is(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    sequencer.frame("bench", WARM, late_s=0.004)
    sequencer.frame("bench", WARM, late_s=9.8765)
    assert [item.late_s for item in engine.of(SampleIn)] == [0.0, 9.88]


def test_an_alarm_goes_out_at_once_as_pending_and_is_recorded_after_its_commit(
    clock: Any, engine: Any, slow_disk: Any
) -> None:
    disk = slow_disk(prompt=False)
    sequencer = InputSequencer("crucible", engine, disk, clock)
    heard: list[ProcessedInput] = []
    sequencer.subscribe(heard.append)
    sequencer.frame("bench", OPEN)
    assert [out.alarm.recorded for out in heard[0].outputs if isinstance(out, AlarmChanged)] == ["pending"]
    assert [alarm.recorded for alarm in sequencer.snapshot().alarms] == ["pending"]
    disk.commit()
    assert [alarm.recorded for alarm in sequencer.snapshot().alarms] == ["recorded"]


async def test_a_command_is_called_recorded_only_after_the_commit(clock: Any, engine: Any, slow_disk: Any) -> None:
    disk = slow_disk(prompt=False)
    sequencer = InputSequencer("crucible", engine, disk, clock, patience_s=0.02)
    late = await sequencer.command(Note(text="a dull day"))
    assert (late.accepted, late.recorded) == (True, False)
    assert late.what == tell(
        "daemon.unconfirmed", what=tell("daemon.done.note"), why=tell("daemon.unconfirmed.waiting")
    )
    disk.prompt = True
    prompt = await sequencer.command(Note(text="a bright day"))
    assert (prompt.recorded, prompt.seq) == (True, 2)


async def test_a_refused_command_says_why_and_what_to_do(
    clock: Any, engine: Any, slow_disk: Any, plan: MeltPlan
) -> None:
    sequencer = InputSequencer("crucible", engine, slow_disk(), clock)
    began = await sequencer.command(StartMelt(plan=plan))
    again = await sequencer.command(StartMelt(plan=plan))
    assert (began.accepted, began.melt) == (True, "2026-001")
    assert (again.accepted, again.what, again.remedy) == (False, "one runs", "end it")


async def test_the_recorder_is_told_when_a_melt_runs(clock: Any, engine: Any, slow_disk: Any, plan: MeltPlan) -> None:
    disk = slow_disk()
    sequencer = InputSequencer("crucible", engine, disk, clock)
    await sequencer.command(StartMelt(plan=plan))
    assert disk.melting == {"crucible": True}
    await sequencer.command(EndMelt(ending=MeltEnding.POURED))
    assert disk.melting == {"crucible": False}


def test_input_and_outputs_go_to_the_recorder_together(clock: Any, engine: Any, slow_disk: Any, plan: MeltPlan) -> None:
    disk = slow_disk()
    sequencer = InputSequencer("crucible", engine, disk, clock)
    passed = sequencer.submit(StartMelt(plan=plan))
    furnace, item, outputs = disk.kept[0]
    assert (furnace, item, passed.ticket) == ("crucible", passed.item, 1)
    assert isinstance(outputs[0], MeltStarted)


def test_a_subscriber_that_fails_does_not_keep_the_news_from_the_next(clock: Any, engine: Any) -> None:
    sequencer = InputSequencer("crucible", engine, None, clock)
    heard: list[ProcessedInput] = []

    def fails(_: ProcessedInput) -> None:
        raise RuntimeError("a client's trouble")

    sequencer.subscribe(fails)
    leave = sequencer.subscribe(heard.append)
    sequencer.tick()
    leave()
    sequencer.tick()
    assert len(heard) == 1


def test_an_input_the_engine_fails_on_is_recorded_and_told(clock: Any, engine: Any, slow_disk: Any) -> None:
    disk = slow_disk()
    told: list[str] = []
    sequencer = InputSequencer(
        "crucible", engine, disk, clock, on_failure=lambda furnace, err: told.append(f"{furnace}: {err}")
    )
    engine.fail_on = SampleIn
    sequencer.frame("bench", WARM)
    assert told == ["crucible: a fault of ours"]
    assert isinstance(disk.kept[0][1], SampleIn)
    engine.fail_on = None
    assert sequencer.frame("bench", WARM) is not None


def test_without_someone_to_tell_an_engine_failure_is_raised(clock: Any, engine: Any) -> None:
    engine.fail_on = SampleIn
    with pytest.raises(RuntimeError, match="a fault of ours"):
        InputSequencer("crucible", engine, None, clock).frame("bench", WARM)


@pytest.mark.parametrize(
    "body",
    [
        b'{"type":"link_in","seq":1,"mono_s":1.0,"utc_s":2.0,"board":"bench","kind":"closed","detail":"unplugged"}',
        b'{"type":"store_in","seq":1,"mono_s":1.0,"utc_s":2.0,"problem":"store_full","detail":"no space"}',
        b'{"type":"daemon_in","seq":1,"mono_s":1.0,"utc_s":2.0,"kind":"paused","present":true,"detail":"for 3 s"}',
    ],
)
def test_a_journal_from_before_details_were_facts_is_read_and_written_the_same(body: bytes) -> None:
    item = msgspec.json.decode(body, type=Input)
    assert isinstance(item, LinkIn | StoreIn | DaemonIn)
    assert isinstance(item.detail, str)
    assert json.loads(msgspec.json.encode(item)) == json.loads(body)


def test_details_of_today_keep_their_facts_in_the_journal() -> None:
    told = tell("link.unplugged", error="Input/output error")
    item = LinkIn(seq=1, mono_s=1.0, utc_s=2.0, board="bench", kind=LinkKind.CLOSED, detail=told)
    assert msgspec.json.decode(msgspec.json.encode(item), type=Input) == item
