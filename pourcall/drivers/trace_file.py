"""Any delimited file with a time and a temperature or emf column. Text in, columns out; named or guessed.

Met in the wild and read here: a unit row under the header, no header at all, decimal commas, tabs and semicolons,
`NaN` and error text in number columns, empty cells, gaps, elapsed seconds or minutes, clock times, ISO 8601 stamps.
What is no number becomes None and is counted; a row whose time cannot be read is left out and counted.
"""

import contextlib
import csv
import itertools
import math
import re
from collections.abc import Sequence
from datetime import UTC, datetime

import msgspec

from pourcall.contract.errors import BadTrace, NotFound
from pourcall.contract.message import tell

SEPARATORS = ("\t", ";", "|", ",")
LEAST_ROWS = 3
LOOK_ROWS = 200  # of the start of the file, to guess from
MOST_C = 2500.0

_TIME_WORD = re.compile(r"\b(time|t|elapsed|timestamp|date|datetime|utc|clock|seconds?|sec|min|minutes?|hours?)\b")
_SURE_TIME_WORD = re.compile(r"\b(time|elapsed|timestamp|date|datetime|utc|clock|seconds)\b")
_TEMP_WORD = re.compile(r"temp|\btc|tc\d|°|deg ?[cfk]\b|celsius|fahrenheit|kelvin|couple|probe|metal|melt|\bpt\d")
_EMF_WORD = re.compile(r"emf|volt|(?:\b|_)[um\u00b5]v\b")
_TEMP_UNITS = {
    "c": "degC",
    "degc": "degC",
    "f": "degF",
    "degf": "degF",
    "k": "K",
    "kelvin": "K",
    "celsius": "degC",
    "fahrenheit": "degF",
}
_EMF_UNITS = {"uv": "uV", "microvolt": "uV", "mv": "mV", "millivolt": "mV", "v": "V"}
_TIME_UNITS = {
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "ms": 0.001,
    "min": 60.0,
    "minute": 60.0,
    "minutes": 60.0,
    "h": 3600.0,
    "hour": 3600.0,
    "hours": 3600.0,
}
_CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?")


class Column(msgspec.Struct, frozen=True):
    """One column: its name, its unit as far as known (degC, degF, K, uV, mV, V, s, or empty), its cells."""

    name: str
    unit: str
    values: tuple[float | None, ...]
    texts: int = 0  # cells that held text where a number should stand
    empty: int = 0


class TraceFile(msgspec.Struct, frozen=True):
    """A whole file. times_s: elapsed seconds, rising; began_utc_s where the file has real dates."""

    name: str
    times_s: tuple[float, ...]
    began_utc_s: float | None
    time_column: str
    columns: tuple[Column, ...]
    dropped_rows: int

    def column(self, name: str) -> Column:
        """A column by name, case aside. Raises NotFound with the names there are."""
        for column in self.columns:
            if column.name.lower() == name.lower():
                return column
        names = ", ".join(column.name for column in self.columns)
        raise NotFound(
            tell("trace.no_column", column=name), where=self.name, remedy=tell("trace.there_are", columns=names)
        )

    def candidates(self) -> tuple[Column, ...]:
        """Columns that may be a thermocouple's, likeliest first."""
        scored = [(_likeliness(column), -index, column) for index, column in enumerate(self.columns)]
        return tuple(column for score, _, column in sorted(scored, key=lambda one: one[:2], reverse=True) if score > 0)


def decode(data: bytes) -> str:
    """Bytes to text: UTF-8 or UTF-16 by their mark, UTF-8, and last Latin-1 (which never fails)."""
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read_trace(text: str, *, name: str = "trace", time_column: str = "") -> TraceFile:
    """Read a whole delimited text. Raises BadTrace where no time or no number column can be made out."""
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if len(lines) < LEAST_ROWS:
        raise BadTrace(tell("trace.few_lines", count=len(lines)), where=name, remedy=tell("trace.few_lines.remedy"))
    separator = _separator(lines[:LOOK_ROWS])
    rows = [_split(line, separator) for line in lines]
    comma = separator != "," and _has_decimal_comma(rows[:LOOK_ROWS])
    start, header, units = _heading(rows, comma)
    width = max(len(header), *(len(row) for row in rows[start:] or rows))
    header += [f"column {index + 1}" for index in range(len(header), width)]
    body = [row + [""] * (width - len(row)) for row in rows[start:]]
    if len(body) < LEAST_ROWS:
        raise BadTrace(tell("trace.few_rows", count=len(body)), where=name, remedy=tell("trace.few_rows.remedy"))
    index = _time_index(header, body, comma, time_column, name)
    seconds, began_utc_s = _times(header[index], units[index] if index < len(units) else "", body, index, comma)
    kept = _rising(seconds)
    if len(kept) < LEAST_ROWS:
        told = tell("trace.not_rising", column=repr(header[index]))
        raise BadTrace(told, where=name, remedy=tell("trace.no_time.remedy"))
    first_s = seconds[kept[0]] or 0.0
    columns = tuple(
        _column(header[at], units[at] if at < len(units) else "", [body[row][at] for row in kept], comma)
        for at in range(width)
        if at != index
    )
    columns = tuple(column for column in columns if any(value is not None for value in column.values))
    if not columns:
        raise BadTrace(tell("trace.no_numbers"), where=name, remedy=tell("trace.no_numbers.remedy"))
    return TraceFile(
        name=name,
        times_s=tuple((seconds[row] or 0.0) - first_s for row in kept),
        began_utc_s=None if began_utc_s is None else began_utc_s + first_s,
        time_column=header[index],
        columns=columns,
        dropped_rows=len(body) - len(kept),
    )


# -- layout -----------------------------------------------------------------------------------------------------------


def _separator(lines: Sequence[str]) -> str:
    """The separator under which most cells are numbers or times; at a tie the first of SEPARATORS, blanks last.

    Counting separators alone takes the comma of `0,5;21,5` for one.
    """
    best, best_share = " ", 0.0
    for separator in (*SEPARATORS, " "):
        rows = [_split(line, separator) for line in lines]
        widths = [len(row) for row in rows]
        usual = max(set(widths), key=widths.count)
        if usual < 2:
            continue
        comma = separator != ","
        cells = sum(bool(cell) for row in rows for cell in row)
        good = sum(
            _number(cell, comma) is not None or _moment(cell) is not None
            for row in rows
            if len(row) == usual
            for cell in row
        )
        if cells and good / cells > best_share:
            best, best_share = separator, good / cells
    return best


def _split(line: str, separator: str) -> list[str]:
    cells = line.split() if separator == " " else line.split(separator)
    if separator != " " and '"' in line:  # what stands in quotes is one cell, whatever is in it
        with contextlib.suppress(csv.Error):  # a cell of more than 128 kB is no figure
            cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True))
    return [cell.strip().strip('"').strip() for cell in cells]


def _has_decimal_comma(rows: Sequence[Sequence[str]]) -> bool:
    return sum(bool(re.fullmatch(r"[+-]?\d+,\d+", cell)) for row in rows for cell in row) > sum(
        bool(re.fullmatch(r"[+-]?\d+\.\d+", cell)) for row in rows for cell in row
    )


def _heading(rows: Sequence[Sequence[str]], comma: bool) -> tuple[int, list[str], list[str]]:
    """Where the numbers begin, the names of the columns, their units (a row of its own, or in the names)."""
    names: list[str] = []
    units: list[str] = []
    start = 0
    for row in rows[:20]:
        numbers = sum(_number(cell, comma) is not None or _moment(cell) is not None for cell in row)
        if numbers >= max(1, sum(bool(cell) for cell in row) / 2):
            break
        start += 1
        if not names or len(row) > len(names):
            names = list(row)
        elif not units:
            units = list(row)
    unique: list[str] = []
    for name in names:
        twin, count = name or f"column {len(unique) + 1}", 2
        while twin in unique:
            twin, count = f"{name} {count}", count + 1
        unique.append(twin)
    return start, unique, units


def _time_index(header: Sequence[str], body: Sequence[Sequence[str]], comma: bool, wanted: str, name: str) -> int:
    if wanted:
        for index, title in enumerate(header):
            if title.lower() == wanted.lower():
                return index
        remedy = tell("trace.there_are", columns=", ".join(header))
        raise NotFound(tell("trace.no_column", column=wanted), where=name, remedy=remedy)
    look = body[:LOOK_ROWS]
    rising, halting = [], []
    for index in range(len(header)):
        cells = [row[index] for row in look]
        moments = [_moment(cell) for cell in cells]
        clock = any(m is not None for m in moments)
        values = _over_midnight(moments) if clock else [_number(cell, comma) for cell in cells]
        known = [value for value in values if value is not None]
        steps = list(itertools.pairwise(known))
        if len(known) < 0.8 * len(cells):
            continue
        if all(a < b for a, b in steps):
            rising.append(index)
        elif sum(a < b for a, b in steps) >= 0.4 * len(steps) and sum(a > b for a, b in steps) <= 0.1 * len(steps):
            halting.append(index)  # stamps of whole seconds come twice, a logger repeats a block
    named = [index for index in rising if _TIME_WORD.search(_words(header[index]))]
    named += [index for index in halting if _SURE_TIME_WORD.search(_words(header[index]))]
    if named or rising:
        return (named or rising)[0]
    raise BadTrace(tell("trace.no_time"), where=name, remedy=tell("trace.no_time.remedy"))


# -- cells ------------------------------------------------------------------------------------------------------------


def _words(name: str) -> str:
    return re.sub(r"[_\[\](){}/,.-]+", " ", name.lower())


def _number(cell: str, comma: bool) -> float | None:
    text = cell.replace(",", ".") if comma else cell
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in text else None


def _moment(cell: str) -> float | None:
    """Seconds of an ISO 8601 stamp (since 1970, UTC assumed where no zone is given) or of a clock time."""
    found = _CLOCK.fullmatch(cell)
    if found:
        hours, minutes, rest = found.groups()
        seconds = float(rest.replace(",", ".")) if rest else 0.0
        return 3600.0 * int(hours) + 60.0 * int(minutes) + seconds
    if len(cell) < 10 or not cell[:4].isdigit() or cell[4] not in "-/":
        return None
    try:
        stamp = datetime.fromisoformat(cell.replace("/", "-"))
    except ValueError:
        return None
    return (stamp if stamp.tzinfo else stamp.replace(tzinfo=UTC)).timestamp()


def _times(
    title: str, unit: str, body: Sequence[Sequence[str]], index: int, comma: bool
) -> tuple[list[float | None], float | None]:
    """Seconds for each row, and 0.0 as the origin in UTC where the cells are dates."""
    moments = [_moment(row[index]) for row in body]
    if sum(m is not None for m in moments) > len(body) / 2:
        dated = any(m is not None and m > 1e7 for m in moments)
        return _over_midnight(moments) if not dated else moments, 0.0 if dated else None
    words = [_words(unit).strip(), *_words(title).split()]
    scale = next((_TIME_UNITS[word] for word in words if word in _TIME_UNITS), 1.0)
    values = [_number(row[index], comma) for row in body]
    return [None if value is None else value * scale for value in values], None


def _over_midnight(moments: Sequence[float | None]) -> list[float | None]:
    """Clock times without a date: a large step back is midnight."""
    out: list[float | None] = []
    day_s, last = 0.0, None
    for moment in moments:
        if moment is not None:
            if last is not None and moment < last - 43200.0:
                day_s += 86400.0
            last = moment
        out.append(None if moment is None else moment + day_s)
    return out


def _rising(seconds: Sequence[float | None]) -> list[int]:
    """Rows in which time moves on; a repeated or earlier time is left out."""
    kept: list[int] = []
    last = -math.inf
    for index, value in enumerate(seconds):
        if value is not None and value > last:
            kept.append(index)
            last = value
    return kept


def _column(title: str, unit: str, cells: Sequence[str], comma: bool) -> Column:
    values = tuple(_number(cell, comma) for cell in cells)
    empty = sum(not cell for cell in cells)
    texts = sum(value is None for value in values) - empty
    return Column(title, _unit(title, unit), values, texts, empty)


def _unit(title: str, unit: str) -> str:
    """The unit of a column, from its unit cell or from the words of its name; empty where nothing tells."""
    own = unit.lower().replace("°", "deg").replace("\u00b5", "u").strip("[]() ")
    for table in (_TEMP_UNITS, _EMF_UNITS):
        if own in table:
            return table[own]
    if own:
        return unit
    words = _words(title.replace("°", " deg").replace("\u00b5", "u")).replace("deg ", "deg").split()
    for word in words[1:] if len(words) > 1 else words:
        for table in (_TEMP_UNITS, _EMF_UNITS):
            if word in table and (len(words) > 1 or len(word) > 1):
                return table[word]
    return ""


def _likeliness(column: Column) -> float:
    """How likely a column is a thermocouple's: unit, name, and figures that move as a furnace does."""
    known = [value for value in column.values if value is not None]
    if len(known) < LEAST_ROWS:
        return 0.0
    low, high = min(known), max(known)
    score = 0.0
    if column.unit in ("degC", "degF", "K", "uV", "mV"):
        score += 4.0
    elif column.unit:
        return 0.0
    name = column.name.lower()
    if _TEMP_WORD.search(name) or _EMF_WORD.search(name):
        score += 3.0
    if column.unit in ("", "degC", "degF", "K") and (high > MOST_C or low < -280.0):
        return 0.0
    if high - low >= 20.0:
        score += 1.0
    return score if score >= 1.0 else 0.0
