"""What goes into the journal comes back bit for bit, through a real file."""

import sqlite3
from pathlib import Path
from typing import Any

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.frames import BoardStatus, Identity, RawKind, Sample
from pourcall.contract.inputs import (
    BoardStatusIn,
    CommandIn,
    EnterTemperature,
    IdentityIn,
    Input,
    Instrument,
    LinkIn,
    LinkKind,
    SampleIn,
    StoreIn,
    StoreProblem,
    TickIn,
)
from pourcall.contract.reading import Reading
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.store import Store
from pourcall.records.upkeep.migrate import NO_READING, REASON_CODES
from pourcall.records.upkeep.opening import open_database
from pourcall.records.write.codec import pack_fixed, pack_times, unpack_times
from pourcall.records.write.ids import Session
from pourcall.records.write.writing import BatchWriter

Maker = Any
_any_float = st.floats(allow_nan=True, allow_infinity=True)
_times = st.one_of(
    st.floats(0.0, 1e7),
    st.integers(0, 10**10).map(lambda ms: ms / 1000.0),
    st.sampled_from([0.0, -0.0, 5e-324, 1e300, float("inf")]),
)
_values = st.one_of(
    st.none(),
    _any_float,
    st.integers(-3000, 80_000_000).map(lambda fixed: fixed / 1000.0),
    st.integers(-(2**13), 2**13).map(lambda code: code * 0.25),
)
_whole = st.one_of(st.none(), st.integers(0, 2**32), st.integers(-(2**63), 2**63 - 1))
_samples = st.builds(
    SampleIn,
    seq=st.integers(0, 2**40),
    mono_s=_times,
    utc_s=st.one_of(_times, st.floats(1.7e9, 1.9e9), st.integers(0, 10**13).map(lambda ms: ms / 1000.0)),
    board=st.sampled_from(["bench", "wall"]),
    late_s=st.one_of(st.just(0.0), _any_float),
    sample=st.builds(
        Sample,
        channel=st.sampled_from(["0", "1", "T-a"]),
        raw_kind=st.sampled_from(list(RawKind)),
        raw_value=_values,
        cold_junction_c=_values,
        flags=st.one_of(st.just(0), st.integers(0, 511), st.integers(-(2**60), 2**60)),
        raw_code=_whole,
        board_seq=_whole,
        board_ms=_whole,
    ),
)


def written(path: Path, items: list[Input], outputs: list[tuple[Reading, ...]] | None = None) -> list[Input]:
    """Through a real file and back."""
    conn, _ = open_database(path, utc_s=1.78e9)
    session = Session("crucible", "", b"{}", 100.0, 1.78e9)
    try:
        writer = BatchWriter(conn, [session])
        said = outputs or [()] * len(items)
        writer.write([(n, 0, item, out, None) for n, (item, out) in enumerate(zip(items, said, strict=True), 1)])
    finally:
        conn.close()
    with Store.read(path) as store:
        return list(read_inputs(store, store.sessions()[0].id))


def bits(item: Input) -> bytes:
    """Equal only for equal bits: NaN, infinities and the sign of zero included."""
    return msgspec.msgpack.encode(item)


def test_any_sample_comes_back_bit_for_bit(database: Path) -> None:
    conn, _ = open_database(database, utc_s=1.78e9)
    conn.execute("PRAGMA synchronous = OFF")  # hundreds of commits; what is tested is the way there and back
    starts: list[Session] = []
    writer = BatchWriter(conn, starts)
    store = Store.read(database)

    @settings(max_examples=200)
    @given(st.lists(_samples, min_size=1, max_size=8))
    def round_trip(items: list[SampleIn]) -> None:
        starts.append(Session("crucible", "", b"{}", 100.0, 1.78e9 + len(starts)))
        writer.write([(n, len(starts) - 1, item, (), None) for n, item in enumerate(items)])
        back = list(read_inputs(store, store.sessions()[-1].id))
        assert [bits(item) for item in back] == [bits(item) for item in items]

    try:
        round_trip()
    finally:
        store.close()
        conn.close()


def test_all_other_inputs_come_back_in_their_order(database: Path) -> None:
    common: dict[str, Any] = {"mono_s": 100.1, "utc_s": 1.78e9}
    items: list[Input] = [
        LinkIn(seq=1, board="bench", kind=LinkKind.OPENED, detail="tty \x00 ü", **common),
        IdentityIn(seq=2, board="bench", identity=Identity(board="b", channels=("0", "1")), **common),
        TickIn(seq=3, mono_s=101.0, utc_s=1.78e9 + 0.123456789),
        BoardStatusIn(
            seq=4,
            board="bench",
            status=BoardStatus(board_seq=1, board_ms=2, boot=3, output=0, applied_permille=400, ttl_left_ms=900),
            **common,
        ),
        StoreIn(seq=5, problem=StoreProblem.FULL, waiting_rows=3, **common),
        CommandIn(seq=6, command=EnterTemperature(temp_c=512.25, instrument=Instrument.METER), **common),
        TickIn(seq=7, mono_s=102.0, utc_s=1.78e9 + 1.0),
    ]
    assert [bits(item) for item in written(database, items)] == [bits(item) for item in items]


def test_what_json_cannot_carry_comes_back_too(database: Path) -> None:
    item = CommandIn(seq=1, mono_s=100.0, utc_s=1.78e9, command=EnterTemperature(temp_c=float("nan")))
    assert [bits(back) for back in written(database, [item])] == [bits(item)]


def test_a_tick_that_made_a_reading_is_still_a_tick(database: Path) -> None:
    item = TickIn(seq=1, mono_s=100.0, utc_s=1.78e9)
    lost = [
        Reading(name, None, Reason.LINK_LOST, 100.0, 1.78e9, RawKind.EMF_UV) for name in ("melt_probe", "dip_probe")
    ]
    assert written(database, [item], [tuple(lost)]) == [item]
    conn = sqlite3.connect(database)
    try:
        assert conn.execute("SELECT probe, temp_c, reason FROM readings").fetchall() == [
            ("melt_probe", None, "link_lost")
        ]
        assert conn.execute("SELECT temp_mc, reason FROM other_readings").fetchall() == [
            (None, REASON_CODES[Reason.LINK_LOST])
        ]
    finally:
        conn.close()


def test_any_sqlite_tool_reads_plain_units(database: Path, make: Maker) -> None:
    item, outputs = make.sample(123.456, 541.25, u_c=2.5)
    written(database, [item], [outputs])
    conn = sqlite3.connect(database)
    try:
        row = conn.execute(
            "SELECT furnace, probe, mono_s, utc_s, temp_c, u_c, status, reason, raw_kind, raw_value, cold_junction_c"
            " FROM readings"
        ).fetchone()
    finally:
        conn.close()
    assert row == (
        "crucible",
        "melt_probe",
        123.456,
        item.utc_s,
        541.25,
        2.5,
        "good",
        "ok",
        "emf_uv",
        item.sample.raw_value,
        22.0625,
    )


@given(st.floats(allow_nan=False))
def test_a_shortened_figure_is_the_same_figure(value: float) -> None:
    packed = pack_fixed(value)
    back = packed / 10000.0 if type(packed) is int else packed
    assert msgspec.msgpack.encode(float(back)) == msgspec.msgpack.encode(value)


@given(_times, _times, st.integers(0, 2 * 10**12))
def test_shortened_times_are_the_same_times(mono_s: float, utc_s: float, offset_ms: int) -> None:
    back = unpack_times(*pack_times(mono_s, utc_s, offset_ms), offset_ms)
    assert msgspec.msgpack.encode(back) == msgspec.msgpack.encode((mono_s, utc_s))


GIVEN_UP = 18  # of a reason that is no longer: a code once given is never given again


def test_every_reason_has_a_code_of_its_own() -> None:
    assert set(REASON_CODES) == set(Reason)
    codes = sorted(REASON_CODES.values())
    assert codes == [code for code in range(codes[-1] + 1) if code != GIVEN_UP]
    assert codes[-1] < NO_READING
    assert {STATUS_OF[reason] for reason in REASON_CODES} == set(Status)


def test_events_come_back_as_they_were_published(database: Path, make: Maker, recording: Any) -> None:
    recorder = recording()
    said = []
    for item, outputs in (make.start(101.0, make.plan()), make.dip(110.0), make.pour(120.0), make.end(130.0)):
        said += list(outputs)
        recorder.put("crucible", item, outputs)
    assert recorder.stop() == 0
    with Store.read(database) as store:
        back = list(read_events(store, store.sessions()[0].id))
    assert msgspec.json.encode(back) == msgspec.json.encode(said)


def test_two_sessions_are_read_apart_and_whole(database: Path, make: Maker, recording: Any) -> None:
    first = recording()
    one = [make.sample(100.0 + n)[0] for n in range(5)]
    for item in one:
        first.put("crucible", item, ())
    first.stop()
    make.seq = 0
    second = recording(mono_s=3.0, utc_s=1_780_001_000.0)
    two = [make.sample(4.0 + n)[0] for n in range(7)]
    for item in two:
        second.put("crucible", item, ())
    second.stop()
    with Store.read(database) as store:
        ids = [session.id for session in store.sessions("crucible")]
        assert [list(read_inputs(store, session)) for session in ids] == [one, two]
