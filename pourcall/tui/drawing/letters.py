"""Words large enough to be read from the furnace. Text in, rows of block characters out.

Letters are drawn five dots high and three wide (four or five for N, M, W). Three rows of cells hold them as half
blocks, a dot being as wide as it is high; five rows hold them twice as large, a dot being two cells wide.
"""

_FULL, _UPPER, _LOWER = "█", "▀", "▄"
_DOTS = {
    "A": "###/# #/###/# #/# #",
    "B": "## /# #/## /# #/## ",
    "C": "###/#  /#  /#  /###",
    "D": "## /# #/# #/# #/## ",
    "E": "###/#  /## /#  /###",
    "F": "###/#  /## /#  /#  ",
    "G": "###/#  /# #/# #/###",
    "H": "# #/# #/###/# #/# #",
    "I": "#/#/#/#/#",
    "J": "  #/  #/  #/# #/###",
    "K": "# #/# #/## /# #/# #",
    "L": "#  /#  /#  /#  /###",
    "M": "#   #/## ##/# # #/#   #/#   #",
    "N": "#  #/## #/# ##/#  #/#  #",
    "O": "###/# #/# #/# #/###",
    "P": "###/# #/###/#  /#  ",
    "Q": "###/# #/# #/###/  #",
    "R": "###/# #/## /# #/# #",
    "S": "###/#  /###/  #/###",
    "T": "###/ # / # / # / # ",
    "U": "# #/# #/# #/# #/###",
    "V": "# #/# #/# #/# #/ # ",
    "W": "#   #/#   #/# # #/## ##/#   #",
    "X": "# #/# #/ # /# #/# #",
    "Y": "# #/# #/ # / # / # ",
    "Z": "###/  #/ # /#  /###",
    "0": "###/# #/# #/# #/###",
    "1": "## / # / # / # /###",
    "2": "###/  #/###/#  /###",
    "3": "###/  #/###/  #/###",
    "4": "# #/# #/###/  #/  #",
    "5": "###/#  /###/  #/###",
    "6": "###/#  /###/# #/###",
    "7": "###/  #/  #/  #/  #",
    "8": "###/# #/###/# #/###",
    "9": "###/# #/###/  #/###",
    " ": "  /  /  /  /  ",
    "?": "###/  #/ ##/   / # ",
    "!": "#/#/#/ /#",
    ".": " / / / /#",
    ":": " /#/ /#/ ",
    "-": "  /  /##/  /  ",
    "°": "##/##/  /  /  ",
}


def writable(text: str) -> bool:
    """Whether every character has a shape."""
    return bool(text) and all(char in _DOTS for char in text)


def letters(text: str, rows: int = 3) -> tuple[str, ...]:
    """`text` in capitals, figures and a few marks, three or five rows high; all rows equally wide.

    Raises KeyError for a character without a shape; ValueError for another height.
    """
    dots = [" ".join(glyph) for glyph in zip(*(_DOTS[char].split("/") for char in text), strict=True)]
    if rows == 5:
        return tuple("".join((_FULL if dot == "#" else " ") * 2 for dot in row) for row in dots)
    if rows != 3:
        raise ValueError(f"letters are three or five rows high, not {rows}")
    dots.append(" " * len(dots[0]))
    return tuple(
        "".join(_half(upper, lower) for upper, lower in zip(dots[n], dots[n + 1], strict=True)) for n in (0, 2, 4)
    )


def letters_width(text: str, rows: int = 3) -> int:
    """Cells that `letters` takes."""
    wide = sum(_DOTS[char].index("/") + 1 for char in text) - 1
    return wide if rows == 3 else 2 * wide


def _half(upper: str, lower: str) -> str:
    if upper == "#":
        return _FULL if lower == "#" else _UPPER
    return _LOWER if lower == "#" else " "
