"""What a wire format is: everything that setup, scan, link, settings and a simulated board need of one, in one entry.

A format's module ends with its `FORMAT`; the table of all of them is `registry.FORMATS`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pourcall.contract.frames import Identity, RawKind, Sample
from pourcall.contract.settings import Board
from pourcall.drivers.wire.framing import Decoder


@dataclass(frozen=True, slots=True)
class Heard:
    """What a format makes of a port's bytes. columns: of text, the most that a line had."""

    channels: tuple[str, ...] = ()
    identity: Identity | None = None
    columns: int = 0
    example: str = ""


UNHEARD = Heard()


@dataclass(frozen=True, slots=True)
class WireFormat:
    """One format.

    name: its word in the settings; in a few words, for people, it is `word.format.NAME` of the catalogue. example: a
    line as sent. decoder: of a board as set up, for a stream that is joined in the middle; raises BadInput where the
    settings do not fit. encode: one conversion of all channels as lines, for a simulated board. carries: the kinds of
    raw value that it can carry.
    """

    name: str
    example: bytes
    decoder: Callable[[Board], Decoder]
    encode: Callable[[Sequence[Sample]], list[bytes]]
    carries: tuple[RawKind, ...]
    chip: str = ""  # the chip that its lines come from; empty: the board says it, or the settings
    query: bytes = b""  # makes such a board say who it is; empty: it is not to be talked to
    identity_mark: bytes = b""  # begins the line that says it
    checksum: bool = False  # one good line is proof enough
    has_columns: bool = False  # the settings say which column is what
    recognise: Callable[[bytes], Heard | None] | None = None  # None: its decoder judges what is heard
