"""Figures large enough to be read from the furnace. Text in, rows of block characters out.

A figure is drawn from seven bars, two cells wide where upright and one row high where level, because a terminal cell
is about twice as high as it is wide: the strokes come out even.
"""

_BARS = {
    "0": "tbaceg",
    "1": "ce",
    "2": "tcmag",
    "3": "tcmeg",
    "4": "bcme",
    "5": "tbmeg",
    "6": "tbameg",
    "7": "tce",
    "8": "tbcmaeg",
    "9": "tbcmeg",
    "-": "m",
    " ": "",
}
# t top, b upper left, c upper right, m middle, a lower left, e lower right, g ground
_FULL = "█"


def big(text: str, rows: int = 5) -> tuple[str, ...]:
    """`text` of figures, dashes, colons and blanks, `rows` high (odd, 5 or more); all rows equally wide.

    Raises KeyError for a character that is none of these.
    """
    glyphs = [_glyph(char, rows) for char in text]
    return tuple(" ".join(glyph[row] for glyph in glyphs) for row in range(rows))


def _glyph(char: str, rows: int) -> tuple[str, ...]:
    middle = rows // 2
    if char == ":":
        return tuple(_FULL * 2 if row in (middle - 1, middle + 1) else "  " for row in range(rows))
    wide = rows + 1
    bars = _BARS[char]
    out = []
    for row in range(rows):
        level = "t" if row == 0 else "m" if row == middle else "g" if row == rows - 1 else ""
        left = ("b" in bars and row <= middle) or ("a" in bars and row >= middle)
        right = ("c" in bars and row <= middle) or ("e" in bars and row >= middle)
        if level and level in bars:
            out.append(_FULL * wide)
        else:
            out.append((_FULL * 2 if left else "  ") + " " * (wide - 4) + (_FULL * 2 if right else "  "))
    return tuple(out)
