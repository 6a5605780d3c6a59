"""One input as one journal row, and back, bit for bit.

A sample becomes plain columns; whole milliseconds and ten-thousandths shrink to small integers where that is exact
and stay REAL where it is not. Ticks are rows without value. Everything else is JSON, or MessagePack where JSON
cannot carry it (NaN, infinities). Pure: ids come from the caller.
"""

from math import copysign
from typing import Any

import msgspec

from pourcall.contract.frames import BoardStatus, RawKind, Sample
from pourcall.contract.inputs import BoardStatusIn, EnterTemperature, Input, SampleIn, TickIn
from pourcall.contract.quantities import instrument_of
from pourcall.contract.reading import Reading
from pourcall.contract.status import Reason
from pourcall.records.upkeep.migrate import NO_READING, OTHER_REASON, REASON_CODES

# Columns of `journal` after id and source.
Row = tuple[Any, ...]
INSERT_ROW = (
    "INSERT INTO journal (id, source, seq, mono, utc, value, cold, marks, code, board_seq, board_ms, temp_mc, u_mc,"
    " extra) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)"
)
# A value that is not there costs the binding of Python to SQLite more than three that are. So the two rows that come
# all day, a sample and a tick with nothing missing or unusual, have statements that do not name what they lack.
INSERT_SAMPLE = (
    "INSERT INTO journal (id, source, mono, utc, value, cold, marks, board_seq, board_ms, temp_mc, u_mc)"
    " VALUES (?,?,?,?,?,?,?,?,?,?,?)"
)
INSERT_TICK = "INSERT INTO journal (id, source, mono, utc, marks) VALUES (?,?,?,?,?)"
INSERT_OF = {14: INSERT_ROW, 11: INSERT_SAMPLE, 5: INSERT_TICK}  # by how many columns a row brings
SELECT_ROW = (
    "SELECT j.id, j.seq, j.mono, j.utc, j.value, j.cold, j.marks, j.code, j.board_seq, j.board_ms, j.u_mc, j.extra,"
    " j.source FROM journal j"
)
REASONS: dict[int, Reason] = {code: reason for reason, code in REASON_CODES.items()}
_EXACT_BELOW = 1e11  # times 10,000 still an integer every float near it can tell apart
_INT62 = 2**61  # leaves room for differences within the 64 bits of SQLite
_STATUS = "board_status"  # raw_kind of a source of board reports
_MOST_C = 1e9  # beyond this nothing is a temperature; the raw value is kept all the same

_OK = Reason.OK
_NOT_LATE: float = SampleIn.__struct_defaults__[0]  # the very object: quicker to tell than a value, and the rule

_COLD: dict[float, int | float] = {}  # cold junctions come in few steps: sixteenths of a degree

_json = msgspec.json.Encoder()
_OF_OLD = ('"reset_alarm"', '"enter_temperature"')  # commands of which older programs told something else
_from_json: msgspec.json.Decoder[Input] = msgspec.json.Decoder(Input)
_msgpack = msgspec.msgpack.Encoder()
_from_msgpack: msgspec.msgpack.Decoder[Input] = msgspec.msgpack.Decoder(Input)


class SourceKey(msgspec.Struct, frozen=True):
    """What a source stands for within a session; all empty for inputs that are no samples."""

    board: str = ""
    channel: str = ""
    raw_kind: str = ""
    probe: str = ""


class Source(msgspec.Struct, frozen=True):
    """A row of `sources` with what decoding needs of its session."""

    id: int
    session_id: int
    offset_ms: int
    board: str
    channel: str
    raw_kind: str
    board_ms_base: int
    seq_base: int = 0
    probe_id: int | None = None


def whole_ms(mono_s: float) -> int:
    """Whole milliseconds below a monotonic time; the base of a board's clock."""
    return int(mono_s * 1000.0)


def pack_milli(value_c: float | None) -> int | None:
    """Thousandths of a degree."""
    if value_c is None or not -_MOST_C < value_c < _MOST_C:
        return None
    return round(value_c * 1000.0)


def pack_fixed(value: float) -> int | float:
    """Ten-thousandths as an integer where that is exact, sign of zero included; else the value."""
    if -_EXACT_BELOW < value < _EXACT_BELOW:
        fixed = round(value * 10000.0)
        if fixed / 10000.0 == value and (fixed or copysign(1.0, value) > 0.0):
            return fixed
    return value


def pack_times(mono_s: float, utc_s: float, offset_ms: int) -> tuple[int | float, int | float]:
    """Both times as the journal keeps them."""
    mono: int | float = mono_s
    if -_EXACT_BELOW < mono_s < _EXACT_BELOW:
        ms = round(mono_s * 1000.0)
        if ms / 1000.0 == mono_s and (ms or copysign(1.0, mono_s) > 0.0):
            mono = ms
            if -_EXACT_BELOW < utc_s < _EXACT_BELOW:
                utc_ms = round(utc_s * 1000.0)
                if utc_ms / 1000.0 == utc_s and (utc_ms or copysign(1.0, utc_s) > 0.0):
                    return mono, utc_ms - ms - offset_ms
    return mono, utc_s


def unpack_times(mono: int | float, utc: int | float, offset_ms: int) -> tuple[float, float]:
    """Inverse of pack_times."""
    mono_s = mono / 1000.0 if type(mono) is int else float(mono)
    utc_s = (mono + offset_ms + utc) / 1000.0 if type(utc) is int else float(utc)
    return mono_s, utc_s


def fits_columns(item: SampleIn) -> bool:
    """Whether a sample can be kept as columns: SQLite keeps no NaN and no integer beyond 64 bits."""
    s = item.sample
    if s.raw_value is not None and s.raw_value != s.raw_value:
        return False
    if s.cold_junction_c is not None and s.cold_junction_c != s.cold_junction_c:
        return False
    if not (_are_times(item) and -_EXACT_BELOW < item.late_s < _EXACT_BELOW):
        return False
    for number in (s.raw_code, s.board_seq, s.board_ms):
        if number is not None and not -_INT62 < number < _INT62:
            return False
    return -(2**50) < s.flags < 2**50


def _are_times(item: Input) -> bool:
    return -_EXACT_BELOW < item.mono_s < _EXACT_BELOW and -_EXACT_BELOW < item.utc_s < _EXACT_BELOW


def sample_row(row_id: int, source: Source, item: SampleIn, reading: Reading | None) -> Row | None:
    """Columns of a sample, short or full (see `INSERT_OF`); None where they cannot hold it and `other_row` must.

    One pass without calls for what boards send; anything odd takes the long way, with the same result.
    """
    sample = item.sample
    mono_s, utc_s, value, cold, flags = item.mono_s, item.utc_s, sample.raw_value, sample.cold_junction_c, sample.flags
    board_seq, board_ms = sample.board_seq, sample.board_ms
    if not (
        ((late_s := item.late_s) is _NOT_LATE or (late_s == 0.0 and copysign(1.0, late_s) > 0.0))
        and reading is not None
        and value is not None
        and cold is not None
        and board_seq is not None
        and board_ms is not None
        and sample.raw_code is None
        and 0.0 < mono_s < 1e11
        and 0.0 < utc_s < 1e11
        and 0.0 < value < 1e11
        and 0.0 < cold < 1e11
        and -_INT62 < board_seq < _INT62
        and -_INT62 < board_ms < _INT62
        and 0 <= flags < 65536
        and item.seq + source.seq_base == row_id
    ):
        return _full_row(row_id, source, item, reading)
    temp_c, u_c = reading.temp_c, reading.u_c
    if temp_c is None or u_c is None or not 0.0 <= temp_c < 1e9 or not 0.0 <= u_c < 1e9:
        return _full_row(row_id, source, item, reading)
    # Spelled out, each a call less: whole milliseconds and ten-thousandths where exact, as pack_times and pack_fixed.
    mono: int | float
    ms = mono = int(mono_s * 1000.0 + 0.5)
    utc: int | float = utc_s
    if ms / 1000.0 == mono_s:
        utc_ms = int(utc_s * 1000.0 + 0.5)
        if utc_ms / 1000.0 == utc_s:
            utc = utc_ms - ms - source.offset_ms
    else:
        ms, mono = int(mono_s * 1000.0), mono_s
    fixed = int(value * 10000.0 + 0.5)
    reason = reading.reason
    return (
        row_id,
        source.id,
        mono,
        utc,
        fixed if fixed / 10000.0 == value else value,
        _COLD.get(cold) or _short_cold(cold),
        (0 if reason is _OK else REASON_CODES.get(reason, OTHER_REASON)) | flags << 6,
        board_seq,
        board_ms - ms - source.board_ms_base,
        int(temp_c * 1000.0 + 0.5),
        int(u_c * 1000.0 + 0.5),
    )


def _short_cold(cold: float) -> int | float:
    """A cold junction as `pack_fixed` makes it, kept for the next one."""
    if len(_COLD) > 4096:
        _COLD.clear()
    short = _COLD[cold] = pack_fixed(cold)
    return short


def _full_row(row_id: int, source: Source, item: SampleIn, reading: Reading | None) -> Row | None:
    """Every column of a sample."""
    if not fits_columns(item):
        return None
    sample = item.sample
    mono, utc = pack_times(item.mono_s, item.utc_s, source.offset_ms)
    ms = mono if type(mono) is int else whole_ms(item.mono_s)
    value, cold, board_ms = sample.raw_value, sample.cold_junction_c, sample.board_ms
    marks, temp_mc, u_mc = NO_READING, None, None
    if reading is not None:
        marks = REASON_CODES.get(reading.reason, OTHER_REASON)
        temp_mc, u_mc = pack_milli(reading.temp_c), pack_milli(reading.u_c)
    return (
        row_id,
        source.id,
        None if item.seq + source.seq_base == row_id else item.seq,
        mono,
        utc,
        None if value is None else pack_fixed(value),
        None if cold is None else pack_fixed(cold),
        marks | int(sample.flags) << 6,
        sample.raw_code,
        sample.board_seq,
        None if board_ms is None else board_ms - ms - source.board_ms_base,
        temp_mc,
        u_mc,
        float(item.late_s) if item.late_s or copysign(1.0, item.late_s) < 0.0 else None,
    )


def full_row(row: Row) -> Row:
    """A short row with all its columns, for a batch in which kinds take turns."""
    if len(row) == 14:
        return row
    if len(row) == 5:
        row_id, source, mono, utc, marks = row
        return (row_id, source, None, mono, utc, None, None, marks, None, None, None, None, None, None)
    row_id, source, mono, utc, value, cold, marks, board_seq, board_ms, temp_mc, u_mc = row
    return (row_id, source, None, mono, utc, value, cold, marks, None, board_seq, board_ms, temp_mc, u_mc, None)


def status_row(row_id: int, source: Source, item: BoardStatusIn) -> Row | None:
    """A board's own report, once a second all day: as small integers; None where they do not fit.

    value: applied_permille, cold: ttl_left_ms, code: boot, u_mc: output, marks: inputs in the place of flags.
    """
    s = item.status
    if not _are_times(item) or not -(2**50) < s.inputs < 2**50:
        return None
    if any(not -_INT62 < n < _INT62 for n in (s.board_seq, s.board_ms, s.boot, s.output)):
        return None
    if any(not -_INT62 < n < _INT62 for n in (s.applied_permille, s.ttl_left_ms)):
        return None
    mono, utc = pack_times(item.mono_s, item.utc_s, source.offset_ms)
    seq = None if item.seq + source.seq_base == row_id else item.seq
    board_ms = s.board_ms - whole_ms(item.mono_s) - source.board_ms_base
    return (
        row_id,
        source.id,
        seq,
        mono,
        utc,
        s.applied_permille,
        s.ttl_left_ms,
        NO_READING | s.inputs << 6,
        s.boot,
        s.board_seq,
        board_ms,
        None,
        s.output,
        None,
    )


def other_row(row_id: int, source: Source, item: Input, reading: Reading | None) -> Row:
    """A tick (no extra) or any other input (JSON or MessagePack), with the reading it made, if one."""
    finite = _are_times(item)
    mono, utc = pack_times(item.mono_s, item.utc_s, source.offset_ms) if finite else (0, 0)
    seq = None if item.seq + source.seq_base == row_id else item.seq
    extra: str | bytes | None = None
    if type(item) is not TickIn or not finite:
        extra = encode_input(item)
    elif seq is None and reading is None:
        return (row_id, source.id, mono, utc, NO_READING)
    marks, temp_mc, u_mc = NO_READING, None, None
    if reading is not None:
        marks = REASON_CODES.get(reading.reason, OTHER_REASON)
        temp_mc, u_mc = pack_milli(reading.temp_c), pack_milli(reading.u_c)
    return (row_id, source.id, seq, mono, utc, None, None, marks, None, None, None, temp_mc, u_mc, extra)


def encode_input(item: Input) -> str | bytes:
    """JSON text if it comes back equal, else MessagePack bytes."""
    text = _json.encode(item)
    try:
        if _from_json.decode(text) == item:
            return text.decode()
    except msgspec.DecodeError:  # null where a number must stand: NaN or an infinity
        pass
    return _msgpack.encode(item)


def _of_today(text: str) -> str:
    """An input of an older program, as it would be told now.

    Resetting an alarm, which nothing ever latched, was asked and refused. Which instrument a figure was read off was
    found by the words that name it.
    """
    if not any(tag in text for tag in _OF_OLD):
        return text
    item = msgspec.json.decode(text)
    command = item.get("command", {})
    match command.get("type"):
        case "reset_alarm":
            told = {"alarm": command.get("alarm", ""), "who": command.get("who", "")}
            item["command"] = {"type": "unshelve_alarm", **told}
        case "enter_temperature" if "instrument" not in command:
            command["instrument"] = instrument_of(command.get("source", EnterTemperature(temp_c=0.0).source))
    return msgspec.json.encode(item).decode()


def decode_row(row: Row, source: Source) -> Input:
    """The input of one journal row as `SELECT_ROW` gives it."""
    row_id, seq, mono, utc, value, cold, marks, code, board_seq, board_ms, u_mc, extra, _ = row
    if type(extra) is str:
        return _from_json.decode(_of_today(extra))
    if type(extra) is bytes:
        return _from_msgpack.decode(extra)
    if seq is None:
        seq = row_id - source.seq_base
    mono_s, utc_s = unpack_times(mono, utc, source.offset_ms)
    if not source.raw_kind:
        return TickIn(seq=seq, mono_s=mono_s, utc_s=utc_s)
    if source.raw_kind == _STATUS:
        return BoardStatusIn(
            seq=seq,
            mono_s=mono_s,
            utc_s=utc_s,
            board=source.board,
            status=BoardStatus(
                board_seq=board_seq,
                board_ms=board_ms + whole_ms(mono_s) + source.board_ms_base,
                boot=code,
                output=u_mc,
                applied_permille=value,
                ttl_left_ms=cold,
                inputs=marks >> 6,
            ),
        )
    if board_ms is not None:
        board_ms += (mono if type(mono) is int else whole_ms(mono_s)) + source.board_ms_base
    return SampleIn(
        seq=seq,
        mono_s=mono_s,
        utc_s=utc_s,
        board=source.board,
        late_s=0.0 if extra is None else extra,
        sample=Sample(
            channel=source.channel,
            raw_kind=RawKind(source.raw_kind),
            raw_value=value / 10000.0 if type(value) is int else value,
            cold_junction_c=cold / 10000.0 if type(cold) is int else cold,
            flags=marks >> 6,
            raw_code=code,
            board_seq=board_seq,
            board_ms=board_ms,
        ),
    )
