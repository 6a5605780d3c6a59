"""The wire formats there are. A line each; nothing else in the program lists them."""

from collections.abc import Mapping

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.settings import Board
from pourcall.contract.toml_tables import Fault, of_error
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline, text
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.framing import Decoder

# In the order in which they are tried on what is heard: proof first, plain text last.
FORMATS: dict[str, WireFormat] = {
    each.name: each
    for each in (
        ourline.FORMAT,
        max31855.FORMAT,
        max31856.FORMAT,
        mcp960x.FORMAT,
        text.FORMAT,
    )
}


def format_of(name: str) -> WireFormat:
    """A format by its word in the settings. Raises BadInput for a word that is none."""
    found = FORMATS.get(name)
    if found is None:
        raise BadInput(tell("error.no_format", typed=name), remedy=tell("error.use_one", known=", ".join(FORMATS)))
    return found


def decoder_of(board: Board) -> Decoder:
    """A fresh decoder for a board as set up. Raises BadInput for what cannot be decoded."""
    return format_of(board.format).decoder(board)


def board_faults(boards: Mapping[str, Board]) -> list[Fault]:
    """What is wrong with each board whose format cannot be used as set up."""
    faults = []
    for name, board in boards.items():
        try:
            decoder_of(board)
        except BadInput as err:
            faults.append(Fault(f"[board.{name}]", of_error(err)))
    return faults


def queries() -> bytes:
    """What makes a board of any format say who it is that can be asked."""
    return b"".join(b"\n" + each.query for each in FORMATS.values() if each.query)


def identity_marks() -> list[bytes]:
    """What begins a line in which a board says who it is."""
    return [each.identity_mark for each in FORMATS.values() if each.identity_mark]
