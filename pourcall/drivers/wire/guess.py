"""Which format was heard. Bytes in, a `Guess` with a sentence a person can act on out.

Each format's own decoder judges; nothing here knows a format a second time. Used by the port scan and by `capture`.
"""

from collections.abc import Callable
from dataclasses import dataclass

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import BadFrame, Identity, Sample
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline, text
from pourcall.drivers.wire.framing import Decoder, ascii_text, printable_share

NOTHING = "nothing"
WRONG_SPEED = "wrong_speed"
UNKNOWN = "unknown"
FEWEST_BYTES = 8  # fewer say nothing about a format
TEXT_SHARE = 0.75  # printable bytes below this: another speed, or a binary protocol
GOOD_SHARE = 0.6  # of whole lines, for a format without a checksum


@dataclass(frozen=True, slots=True)
class Guess:
    """format: a decoder's name, or `nothing`, `wrong_speed`, `unknown`. columns: of text, the most a line had."""

    format: str
    sentence: str
    channels: tuple[str, ...] = ()
    identity: Identity | None = None
    columns: int = 0
    example: str = ""
    printable: float = 1.0


def make_decoder(name: str, *, text_map: text.TextMap | None = None, chip: str = "", midway: bool = False) -> Decoder:
    """The decoder of a format by its word. Raises BadInput for a word that is none, and for text without a map."""
    if name == text.NAME:
        if text_map is None:
            raise BadInput("the text format needs a column map", remedy="Say which column is which channel")
        return text.TextDecoder(text_map, midway=midway)
    if name == ourline.NAME:
        return ourline.decoder(chip=chip)
    if name == mcp960x.NAME:
        return mcp960x.decoder(chip=chip, midway=midway)
    if name not in _HEX:
        raise BadInput(f"{name!r} is no wire format", remedy=f"Use one of {', '.join(FORMATS)}")
    return _HEX[name](midway=midway)


_HEX: dict[str, Callable[..., Decoder]] = {
    max31855.NAME: max31855.decoder,
    max31856.NAME: max31856.decoder,
    mcp960x.NAME: mcp960x.decoder,
}
FORMATS = (ourline.NAME, *_HEX, text.NAME)
_WORDS = {
    ourline.NAME: "our own checksummed line",
    max31855.NAME: "hex lines of MAX31855 words",
    max31856.NAME: "hex lines of MAX31856 registers",
    mcp960x.NAME: "hex lines of MCP960x registers",
}


def guess_format(data: bytes) -> Guess:
    """What `data`, heard on a port that was joined in the middle, most likely is."""
    share = printable_share(data)
    if not data:
        return Guess(NOTHING, "nothing was heard: no board, or a board that waits to be asked")
    ours = _by_decoder(ourline.decoder(), data, fewest=1, share=0.0)
    if ours is not None:
        return ours
    if len(data) < FEWEST_BYTES:
        return Guess(UNKNOWN, f"only {len(data)} bytes were heard", printable=share)
    if share < TEXT_SHARE:
        return Guess(
            WRONG_SPEED,
            f"bytes that are no text ({100 * share:.0f} % printable): most likely another speed; try another baud rate",
            printable=share,
        )
    for make in _HEX.values():
        found = _by_decoder(make(midway=True), data, fewest=1, share=GOOD_SHARE)
        if found is not None:
            return found
    return _text(data, share)


def _by_decoder(decoder: Decoder, data: bytes, *, fewest: int, share: float) -> Guess | None:
    frames = decoder.feed(data)
    good = [frame for frame in frames if not isinstance(frame, BadFrame)]
    if len(good) < fewest or len(good) < share * len(frames):
        return None
    identity = next((frame for frame in reversed(good) if isinstance(frame, Identity)), None)
    channels = dict.fromkeys(frame.channel for frame in good if isinstance(frame, Sample))
    if identity is not None:
        channels = dict.fromkeys(identity.channels) | channels
    sentence = f"{_WORDS[decoder.name]}, {len(channels)} channel{'' if len(channels) == 1 else 's'}"
    if identity is not None:
        sentence += f"; the board is {identity.board} {identity.firmware}, serial {identity.serial or 'none'}"
    return Guess(decoder.name, sentence, tuple(channels), identity, printable=printable_share(data))


def _text(data: bytes, share: float) -> Guess:
    lines = data.replace(b"\r", b"\n").split(b"\n")[1:-1]  # the first and the last may be halves
    cells_seen, example, numbers, whole = 0, "", 0, 0
    for line in lines:
        if not line.strip():
            continue
        whole += 1
        try:
            words = ascii_text(line.replace(b"\xc2\xb0", b"").replace(b"\xb0", b""))
        except ValueError:
            continue
        cells, decimal_comma = text.split_line(words)
        if text.is_heading(cells, decimal_comma):
            continue
        numbers += 1
        cells_seen, example = max(cells_seen, len(cells)), words.strip()[:80]
    if numbers and numbers >= 0.5 * whole:
        plural = "" if cells_seen == 1 else "s"
        sentence = f"text with {cells_seen} column{plural}, such as {example!r}: say which column is which probe"
        return Guess(text.NAME, sentence, columns=cells_seen, example=example, printable=share)
    why = "text, but no line of numbers" if whole else "text without a whole line"
    return Guess(UNKNOWN, f"{why} was heard", printable=share)
