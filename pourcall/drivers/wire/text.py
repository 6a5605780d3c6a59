"""Plain delimited text with a column map that the user gives. One line, one reading of each mapped channel.

Separators are guessed line by line (so that nothing depends on what came before): tab, `;`, `|`, then comma, then
blanks. Where the separator is not the comma, a comma in a number is a decimal comma; with a map that needs only the
first column, a line with a single comma is one number with a decimal comma. Lines without any number are headings and
are skipped; so are lines that begin with `#`. A cell may carry a label (`T1=661.2`) and a unit (`661.2 C`); a unit that
is not the one in the map refuses the line, because one of the two is wrong.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.errors import BadInput, FrameError
from pourcall.contract.frames import Frame, RawKind, Sample, SampleFlag
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import Board
from pourcall.contract.units import Unit, to_c
from pourcall.drivers.wire.format import Heard, WireFormat
from pourcall.drivers.wire.framing import LineDecoder, ascii_text
from pourcall.drivers.wire.hexline import CHANNEL, MAX_CHANNELS

NAME = "text"
TEXT_LINE_MAX = 1024
MAX_COLUMNS = 64
LARGEST = 1e7  # beyond any microvolt or degree here; a figure above it is a broken line


class TextUnit(StrEnum):
    """Units a column may be in."""

    C = "degC"
    F = "degF"
    K = "K"
    UV = "uV"
    MV = "mV"


_UNIT_WORDS = {
    "": None,
    "c": TextUnit.C,
    "degc": TextUnit.C,
    "f": TextUnit.F,
    "degf": TextUnit.F,
    "k": TextUnit.K,
    "uv": TextUnit.UV,
    "mv": TextUnit.MV,
}
_CELL = re.compile(
    r"(?:[A-Za-z_][A-Za-z0-9_ ./()\-]{0,24}\s*[=:]\s*)?([+\-]?(?:\d{1,9}(?:[.,]\d{0,9})?|[.,]\d{1,9}))"
    r"(?:[eE]([+\-]?\d{1,2}))?\s*([A-Za-z]{0,4})"
)
_LABEL = re.compile(r"[A-Za-z_][A-Za-z0-9_ ./()\-]{0,24}\s*[=:]\s*")
_OPEN_WORDS = frozenset({"open", "oc"})
_EMPTY_WORDS = frozenset({"", "-", "--", "---", "nan", "-nan", "inf", "-inf", "err", "error", "fault", "null", "none"})
_SEPARATORS = ("\t", ";", "|", ",", " ")


@dataclass(frozen=True, slots=True)
class TextColumn:
    """One channel's place in a line. Columns count from 1.

    linear: the degrees come from a chip that takes the couple for linear (MAX31855), so they are corrected with the
    cold junction; else degrees are taken as true (ITS-90). cold_column 0: the line holds no cold junction.
    """

    column: int
    channel: str
    unit: TextUnit = TextUnit.C
    linear: bool = False
    cold_column: int = 0
    cold_unit: TextUnit = TextUnit.C


@dataclass(frozen=True, slots=True)
class TextMap:
    """What the columns are. separator: "" to guess, else tab, `;`, `|`, `,` or blank. ms_column 0: no board time."""

    columns: tuple[TextColumn, ...]
    separator: str = ""
    ms_column: int = 0

    def __post_init__(self) -> None:
        faults = tuple(_map_faults(self))
        if faults:
            raise BadInput(tell("columns.refused", faults=faults), remedy=tell("columns.remedy"))

    @property
    def needed(self) -> int:
        """The highest column that is read."""
        return max(self.ms_column, *(max(each.column, each.cold_column) for each in self.columns))


def _map_faults(text_map: TextMap) -> Iterator[Message]:
    if not 1 <= len(text_map.columns) <= MAX_CHANNELS:
        yield tell("columns.channels", count=len(text_map.columns), most=MAX_CHANNELS)
    if text_map.separator not in ("", *_SEPARATORS):
        yield tell("columns.separator", found=repr(text_map.separator))
    if not 0 <= text_map.ms_column <= MAX_COLUMNS:
        yield tell("columns.ms", found=text_map.ms_column, most=MAX_COLUMNS)
    seen: set[str] = set()
    for each in text_map.columns:
        if not 1 <= each.column <= MAX_COLUMNS or not 0 <= each.cold_column <= MAX_COLUMNS:
            yield tell(
                "columns.reach",
                channel=each.channel,
                column=each.column,
                cold_column=each.cold_column,
                most=MAX_COLUMNS,
            )
        if not CHANNEL.fullmatch(each.channel) or each.channel in seen:
            yield tell("columns.channel", channel=repr(each.channel))
        if each.linear and each.unit in (TextUnit.UV, TextUnit.MV):
            yield tell("columns.linear", channel=each.channel, found=each.unit.value)
        if each.cold_unit in (TextUnit.UV, TextUnit.MV):
            yield tell("columns.cold_unit", channel=each.channel, found=each.cold_unit.value)
        seen.add(each.channel)


def split_line(text: str, separator: str = "", needed: int = 0) -> tuple[list[str], bool]:
    """The cells of a line, and whether a comma in a cell is a decimal comma. needed: how many columns the map reads.

    With a given separator nothing is guessed.
    """
    text = text.strip()
    if not separator:
        separator = next((each for each in ("\t", ";", "|") if each in text), "")
    if not separator:
        words = text.split()
        if "," in text and not (needed == 1 and text.count(",") == 1) and not _blank_with_decimal_comma(words, needed):
            separator = ","
        else:
            separator = " "
    if separator == " ":
        # `661.2 C` is one cell: a word that is only a unit belongs to the number before it.
        return _join_units(text.split()), True
    return [cell.strip() for cell in text.split(separator)], separator != ","


def _blank_with_decimal_comma(words: list[str], needed: int) -> bool:
    return len(words) >= max(2, needed) and all(re.fullmatch(r"[+\-]?\d+(,\d+)?[A-Za-z]{0,4}", word) for word in words)


def _join_units(words: list[str]) -> list[str]:
    cells: list[str] = []
    for word in words:
        last = cells[-1][-1:] if cells else ""
        if (last and last in "=:") or (last.isdigit() and word.lower() in _UNIT_WORDS):
            cells[-1] += word
        else:
            cells.append(word)
    return cells


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: a number or none, the unit it carries or none, whether it says "open"."""

    value: float | None
    unit: TextUnit | None = None
    open: bool = False


def parse_cell(cell: str, decimal_comma: bool = False) -> Cell:
    """A number with or without label and unit, or a word for "no value" (nan, err, ---). Raises FrameError."""
    word = _LABEL.sub("", cell, count=1).strip().lower()
    if word in _OPEN_WORDS:
        return Cell(None, open=True)
    if word in _EMPTY_WORDS:
        return Cell(None)
    found = _CELL.fullmatch(cell)
    if found is None:
        raise FrameError(tell("frame.no_number", cell=repr(cell[:24])))
    digits, exponent, unit_word = found.groups()
    if "," in digits and not decimal_comma:
        raise FrameError(tell("frame.comma", cell=repr(cell[:24])))
    unit_key = unit_word.lower()
    if unit_key not in _UNIT_WORDS:
        raise FrameError(tell("frame.no_unit", found=repr(unit_word)))
    value = float(digits.replace(",", ".")) * 10.0 ** int(exponent or 0)
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise FrameError(tell("frame.beyond", cell=repr(cell[:24])))
    return Cell(value, _UNIT_WORDS[unit_key])


def is_heading(cells: Sequence[str], decimal_comma: bool = False) -> bool:
    """No cell is a number or a word for "no value": column names, or a greeting of the firmware."""
    for cell in cells:
        if not cell:
            continue
        try:
            parse_cell(cell, decimal_comma)
        except FrameError:
            continue
        return False
    return True


_TEMPERATURE_UNITS = {TextUnit.C: Unit.C, TextUnit.F: Unit.F, TextUnit.K: Unit.K}


class TextDecoder(LineDecoder):
    """Samples out of text lines by a column map."""

    name = NAME
    max_line = TEXT_LINE_MAX

    def __init__(self, text_map: TextMap, *, midway: bool = False) -> None:
        super().__init__(midway=midway)
        self._map = text_map
        self._needed = text_map.needed

    def decode_line(self, line: bytes) -> list[Frame]:
        """The samples of one line, none for a heading. Raises FrameError."""
        # A degree sign comes in whatever encoding the board's editor had; it says nothing, so it goes.
        text = ascii_text(line.replace(b"\xc2\xb0", b"").replace(b"\xb0", b"").strip(b"\0"))
        if not text.strip() or text.lstrip().startswith("#"):
            return []
        cells, decimal_comma = split_line(text, self._map.separator, self._needed)
        if is_heading(cells, decimal_comma):
            return []
        if len(cells) < self._needed:
            raise FrameError(tell("frame.columns", count=len(cells), needed=self._needed))
        ms = _millis(cells[self._map.ms_column - 1], decimal_comma) if self._map.ms_column else None
        return [self._sample(each, cells, decimal_comma, ms) for each in self._map.columns]

    def _sample(self, column: TextColumn, cells: list[str], decimal_comma: bool, ms: int | None) -> Sample:
        cell = parse_cell(cells[column.column - 1], decimal_comma)
        cold_c = None
        if column.cold_column:
            cold = parse_cell(cells[column.cold_column - 1], decimal_comma)
            cold_c = _in_base(cold, column.cold_unit, column.channel)
        if column.unit in (TextUnit.UV, TextUnit.MV):
            kind = RawKind.EMF_UV
        else:
            kind = RawKind.LINEAR_C if column.linear else RawKind.ITS90_C
        return Sample(
            channel=column.channel,
            raw_kind=kind,
            raw_value=_in_base(cell, column.unit, column.channel),
            cold_junction_c=cold_c,
            flags=int(SampleFlag.OPEN) if cell.open else 0,
            board_ms=ms,
        )


def _in_base(cell: Cell, unit: TextUnit, channel: str) -> float | None:
    """The cell in microvolts or degC."""
    if cell.unit is not None and cell.unit is not unit:
        raise FrameError(tell("frame.other_unit", channel=channel, found=cell.unit.value, wanted=unit.value))
    if cell.value is None:
        return None
    if unit is TextUnit.MV:
        return cell.value * 1000.0
    if unit is TextUnit.UV:
        return cell.value
    return to_c(cell.value, _TEMPERATURE_UNITS[unit])


def _millis(text: str, decimal_comma: bool) -> int:
    value = parse_cell(text, decimal_comma).value if len(text) > 10 or not text.isdecimal() else int(text)
    if value is None or not 0 <= value <= 0xFFFF_FFFF or value != int(value):
        raise FrameError(tell("frame.no_ms", cell=repr(text[:24])))
    return int(value)


def encode_line(cells: Sequence[float | None], separator: str = ",", *, decimal_comma: bool = False) -> bytes:
    """A line as a hobby board prints it, two decimals, `nan` for none. Raises BadInput for a comma used twice over."""
    if separator == "," and decimal_comma:
        raise BadInput(tell("columns.comma"), remedy=tell("columns.comma.remedy"))
    words = ["nan" if cell is None or not math.isfinite(cell) else f"{cell:.2f}" for cell in cells]
    text = separator.join(word.replace(".", ",") if decimal_comma else word for word in words)
    return text.encode("ascii") + b"\r\n"


def map_of(board: Board) -> TextMap:
    """The column map of a `text` board. Keys are column numbers from 1, values say what the column is:

    a channel (`"2" = "0"`), that channel's cold junction in degC (`"3" = "cold:0"`), or the board's own milliseconds
    (`"1" = "ms"`). Raises BadInput.
    """
    unit = TextUnit(board.unit)
    channels: dict[str, int] = {}
    cold: dict[str, int] = {}
    ms_column = 0
    for key, what in board.columns.items():
        if not key.isascii() or not key.isdigit() or int(key) < 1:
            raise BadInput(tell("columns.no_number", typed=repr(key)), remedy=tell("columns.remedy"))
        if what == "ms":
            ms_column = int(key)
        elif what.startswith("cold:"):
            cold[what.removeprefix("cold:")] = int(key)
        elif what in channels:
            raise BadInput(tell("columns.twice", channel=repr(what)), remedy=tell("columns.remedy"))
        else:
            channels[what] = int(key)
    stray = set(cold) - set(channels)
    if stray:
        raise BadInput(tell("columns.stray", channel=repr(sorted(stray)[0])), remedy=tell("columns.stray.remedy"))
    return TextMap(
        columns=tuple(
            TextColumn(
                column=column,
                channel=channel,
                unit=unit,
                linear=board.chip == "max31855" and unit not in (TextUnit.UV, TextUnit.MV),
                cold_column=cold.get(channel, 0),
            )
            for channel, column in channels.items()
        ),
        ms_column=ms_column,
    )


def encode(samples: Sequence[Sample]) -> list[bytes]:
    """One conversion of all channels: milliseconds, then value and cold junction of each, separated by commas."""
    cells = [str(samples[0].board_ms)]
    for sample in samples:
        cells.append("open" if sample.raw_value is None else f"{sample.raw_value:.4f}")
        cells.append("" if sample.cold_junction_c is None else f"{sample.cold_junction_c:.4f}")
    return [",".join(cells).encode("ascii") + b"\n"]


def recognise(data: bytes) -> Heard | None:
    """Lines of numbers, half of them at least; which column is what, only a person can say."""
    lines = data.replace(b"\r", b"\n").split(b"\n")[1:-1]  # the first and the last may be halves
    columns, example, numbers, whole = 0, "", 0, 0
    for line in lines:
        if not line.strip():
            continue
        whole += 1
        try:
            words = ascii_text(line.replace(b"\xc2\xb0", b"").replace(b"\xb0", b""))
        except FrameError:
            continue
        cells, decimal_comma = split_line(words)
        if is_heading(cells, decimal_comma):
            continue
        numbers += 1
        columns, example = max(columns, len(cells)), words.strip()[:80]
    return Heard(columns=columns, example=example) if numbers and numbers >= 0.5 * whole else None


def _decoder(board: Board) -> TextDecoder:
    if not board.columns:
        raise BadInput(tell("columns.missing"), remedy=tell("columns.missing.remedy"))
    return TextDecoder(map_of(board), midway=True)


FORMAT = WireFormat(
    name=NAME,
    example=b"5021,661.25,24.5\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.EMF_UV, RawKind.ITS90_C, RawKind.LINEAR_C),
    has_columns=True,
    recognise=recognise,
)
