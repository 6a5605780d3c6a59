"""Plain delimited text with a column map that the user gives. One line, one reading of each mapped channel.

Separators are guessed line by line (so that nothing depends on what came before): tab, `;`, `|`, then comma, then
blanks. Where the separator is not the comma, a comma in a number is a decimal comma; with a map that needs only the
first column, a line with a single comma is one number with a decimal comma. Lines without any number are headings and
are skipped; so are lines that begin with `#`. A cell may carry a label (`T1=661.2`) and a unit (`661.2 C`); a unit that
is not the one in the map refuses the line, because one of the two is wrong.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pourcall.contract.errors import BadInput, FrameError
from pourcall.contract.frames import Frame, RawKind, Sample, SampleFlag
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
        faults = list(_map_faults(self))
        if faults:
            raise BadInput("; ".join(faults), where="column map", remedy="Columns count from 1; one channel each")

    @property
    def needed(self) -> int:
        """The highest column that is read."""
        return max(self.ms_column, *(max(each.column, each.cold_column) for each in self.columns))


def _map_faults(text_map: TextMap) -> Sequence[str]:
    faults = []
    if not 1 <= len(text_map.columns) <= MAX_CHANNELS:
        faults.append(f"{len(text_map.columns)} channels are mapped; 1 to {MAX_CHANNELS} can be")
    if text_map.separator not in ("", *_SEPARATORS):
        faults.append(f"separator {text_map.separator!r} is none of tab ; | , blank")
    if not 0 <= text_map.ms_column <= MAX_COLUMNS:
        faults.append(f"ms_column {text_map.ms_column} is not 0 to {MAX_COLUMNS}")
    seen: set[str] = set()
    for each in text_map.columns:
        if not 1 <= each.column <= MAX_COLUMNS or not 0 <= each.cold_column <= MAX_COLUMNS:
            faults.append(f"channel {each.channel}: column {each.column}, cold column {each.cold_column} out of reach")
        if not CHANNEL.fullmatch(each.channel) or each.channel in seen:
            faults.append(f"channel {each.channel!r} stands twice or is not 1 to 16 letters, digits, dots, dashes")
        if each.linear and each.unit in (TextUnit.UV, TextUnit.MV):
            faults.append(f"channel {each.channel}: only degrees can be linear, not {each.unit}")
        if each.cold_unit in (TextUnit.UV, TextUnit.MV):
            faults.append(f"channel {each.channel}: a cold junction is in degrees, not {each.cold_unit}")
        seen.add(each.channel)
    return faults


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
        raise FrameError(f"{cell[:24]!r} is no number")
    digits, exponent, unit_word = found.groups()
    if "," in digits and not decimal_comma:
        raise FrameError(f"{cell[:24]!r} has a comma where commas separate columns")
    unit_key = unit_word.lower()
    if unit_key not in _UNIT_WORDS:
        raise FrameError(f"{unit_word!r} is no unit of temperature or voltage")
    value = float(digits.replace(",", ".")) * 10.0 ** int(exponent or 0)
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise FrameError(f"{cell[:24]!r} is beyond anything measured here")
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
            raise FrameError(f"{len(cells)} columns where the map reads column {self._needed}")
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
        raise FrameError(f"channel {channel}: the line says {cell.unit.value}, the column map says {unit.value}")
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
        raise FrameError(f"{text[:24]!r} is no count of milliseconds")
    return int(value)


def encode_line(cells: Sequence[float | None], separator: str = ",", *, decimal_comma: bool = False) -> bytes:
    """A line as a hobby board prints it, two decimals, `nan` for none. Raises BadInput for a comma used twice over."""
    if separator == "," and decimal_comma:
        raise BadInput("a comma cannot separate columns and decimals at once", remedy="Use another separator")
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
            raise BadInput(f"columns: {key!r} is no column number", remedy="Columns are numbered from 1")
        if what == "ms":
            ms_column = int(key)
        elif what.startswith("cold:"):
            cold[what.removeprefix("cold:")] = int(key)
        elif what in channels:
            raise BadInput(f"columns: channel {what!r} stands twice", remedy="Give each channel one column")
        else:
            channels[what] = int(key)
    stray = set(cold) - set(channels)
    if stray:
        raise BadInput(
            f"columns: cold junction of {sorted(stray)[0]!r}, which is no channel", remedy="Name its channel"
        )
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
        raise BadInput("the text format needs `columns`", remedy="Say which column is which channel")
    return TextDecoder(map_of(board), midway=True)


FORMAT = WireFormat(
    name=NAME,
    help="text with a number in each column",
    example=b"5021,661.25,24.5\n",
    decoder=_decoder,
    encode=encode,
    carries=(RawKind.EMF_UV, RawKind.ITS90_C, RawKind.LINEAR_C),
    has_columns=True,
    recognise=recognise,
)
