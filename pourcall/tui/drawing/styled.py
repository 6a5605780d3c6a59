"""Lines of text with a role for each piece. Colour comes last: every line must say all it says without any.

A role is a meaning, not a colour; `style_of` is the only place where one becomes the other. Meanings after
IEC 60073 and NAMUR NE 107; because those two give yellow and blue two meanings each, the word is always printed.
"""

from collections.abc import Iterable
from enum import StrEnum

import msgspec


class Role(StrEnum):
    """What a piece of text means."""

    PLAIN = "plain"
    DIM = "dim"
    STRONG = "strong"
    OK = "ok"
    DO = "do"  # someone must do something now
    CHECK = "check"  # function check, substitute in use
    OFFSPEC = "offspec"  # out of specification
    MAINT = "maint"  # maintenance required
    WARN = "warn"  # abnormal, act soon
    DANGER = "danger"  # act at once, or failure
    LOST = "lost"  # the daemon is gone: the loudest, on a ground of its own
    KEY = "key"
    BAND = "band"  # foreseen, not measured


_STYLES = {
    Role.PLAIN: "#d4dadd",
    Role.DIM: "#8b979d",
    Role.STRONG: "bold #ffffff",
    Role.OK: "bold #7cc48a",
    Role.DO: "bold #ffffff on #1f5f99",
    Role.CHECK: "bold #eb9d55",
    Role.OFFSPEC: "bold #e3c554",
    Role.MAINT: "bold #7db4e0",
    Role.WARN: "bold #e3c554",
    Role.DANGER: "bold #ff7b72",
    Role.LOST: "bold #ffffff on #8f2a26",
    Role.KEY: "bold reverse #aab5ba",
    Role.BAND: "#5d88a8",
}


def style_of(role: Role) -> str:
    """The style a terminal draws a role in; bold and reverse carry over where there is no colour."""
    return _STYLES[role]


class StyledText(msgspec.Struct, frozen=True):
    """A piece of text with one role."""

    text: str
    role: Role = Role.PLAIN


Line = tuple[StyledText, ...]
_UNITS = frozenset({"°C", "°F", "K", "°C/min", "°F/min", "K/min", "s", "min", "h", "kg", "mm", "%"})


def line(*pieces: str | StyledText) -> Line:
    """A line of pieces; bare text is plain, empty text is left out."""
    spans = (StyledText(piece) if isinstance(piece, str) else piece for piece in pieces)
    return tuple(span for span in spans if span.text)


def plain(spans: Iterable[StyledText]) -> str:
    """The text of a line without its roles."""
    return "".join(span.text for span in spans)


def width_of(spans: Iterable[StyledText]) -> int:
    """Cells a line takes; our texts hold single-width characters only."""
    return sum(len(span.text) for span in spans)


def joined(lines: Iterable[Line], gap: str = "  ") -> Line:
    """Lines one after the other, `gap` between them; empty ones are left out."""
    out: list[StyledText] = []
    for spans in lines:
        if not spans:
            continue
        if out:
            out.append(StyledText(gap))
        out.extend(spans)
    return tuple(out)


LONGEST_WORD = 24  # a longer one is cut


def wrap_spans(spans: Line, width: int, *, most: int) -> tuple[Line, ...]:
    """The same over at most `most` lines, each word with its role; as it is where it fits one."""
    if width_of(spans) <= width:
        return (spans,)
    rows: list[list[StyledText]] = [[]]
    glued = False  # to the word before, which another span ended
    for span in spans:
        opens, ends = _spaced(span.text)
        for n, word in enumerate(_words(span.text)):
            row, space = rows[-1], "" if n == 0 and glued and not opens else " "
            if row and width_of(tuple(row)) + len(space) + len(word) > width and len(rows) < most:
                rows.append([StyledText(word, span.role)])
            else:
                row.append(StyledText(f"{space if row else ''}{word}", span.role))
        glued = not ends
    return tuple(fit(tuple(row), width) for row in rows)


def fit(spans: Line, width: int) -> Line:
    """The line cut to `width` cells, with an ellipsis where something is missing; not in mid-word: half a figure is
    another figure."""
    if width_of(spans) <= width:
        return spans
    out: list[StyledText] = []
    left = _whole_words(plain(spans), max(width - 1, 0))
    for span in spans:
        piece = span.text[:left]
        if piece:
            out.append(StyledText(piece, span.role))
        left -= len(piece)
        if left <= 0:
            break
    if width > 0:
        out.append(StyledText("…", out[-1].role if out else Role.PLAIN))
    return tuple(out)


def _whole_words(text: str, cells: int) -> int:
    """How many cells to keep, at most `cells`: none of a word or figure that is cut, nor a figure without its unit."""
    kept, rest = text[:cells].rstrip(), text[cells:]
    joins = (kept[-1:], rest[:1])
    inside = kept == text[:cells] and all(one.isalnum() or one in (".", ",") for one in joins)
    unit = (rest.split(maxsplit=1) or [""])[0].rstrip(".,:;)")
    if not inside and not (kept[-1:].isdigit() and unit in _UNITS):
        return cells
    space = kept.rfind(" ")
    return space if cells - space <= LONGEST_WORD and kept[: max(space, 0)].strip() else cells


def spread(left: Line, right: Line, width: int) -> Line:
    """`left` at the left edge and `right` at the right one; `left` gives way when both do not fit."""
    free = width - width_of(right) - 1
    left = fit(left, max(free, 0))
    pad = width - width_of(left) - width_of(right)
    return fit((*left, StyledText(" " * max(pad, 0)), *right) if right else left, width)


def wrap(text: str, width: int, role: Role = Role.PLAIN, *, most: int) -> tuple[Line, ...]:
    """Words over at most `most` lines of `width` cells; the last one ends in an ellipsis where text is missing.

    A figure stays with its unit.
    """
    rows: list[str] = []
    row = ""
    for word in _words(text):
        longer = f"{row} {word}" if row else word
        if row and len(longer) > width:
            rows.append(row)
            row = word
        else:
            row = longer
    if row:
        rows.append(row)
    if len(rows) > most:
        rows = [*rows[: most - 1], " ".join(rows[most - 1 :])]
    return tuple(fit((StyledText(row, role),), width) for row in rows)


def _spaced(letters: str) -> tuple[bool, bool]:
    """Whether a space stands before them, and after them."""
    return letters.startswith(" "), letters.endswith(" ")


def _words(text: str) -> list[str]:
    out: list[str] = []
    for word in text.split():
        if out and out[-1][-1:].isdigit() and word.rstrip(".,:;)") in _UNITS:
            out[-1] = f"{out[-1]} {word}"
        else:
            out.append(word)
    return out
