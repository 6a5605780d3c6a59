"""From a board in the settings to the link that reads it. The only place where settings meet wire formats."""

from collections.abc import Callable

from pourcall.contract.clock import Clock
from pourcall.contract.errors import BadInput, BadSettings
from pourcall.contract.settings import Board, Settings
from pourcall.drivers.inbox import Deliver
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire import ourline
from pourcall.drivers.wire.framing import Decoder
from pourcall.drivers.wire.guess import make_decoder
from pourcall.drivers.wire.text import TextColumn, TextMap, TextUnit

_EMF = (TextUnit.UV, TextUnit.MV)


def text_map(board: Board) -> TextMap:
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
                linear=board.chip == "max31855" and unit not in _EMF,
                cold_column=cold.get(channel, 0),
            )
            for channel, column in channels.items()
        ),
        ms_column=ms_column,
    )


def decoder_maker(board: Board) -> Callable[[], Decoder]:
    """Makes a fresh decoder each time it is called. Raises BadInput now, not later, for what cannot be decoded."""
    columns = text_map(board) if board.format == "text" else None
    chip = "" if board.chip == "emf" else board.chip
    name = ourline.NAME if board.format == "pourcall" else board.format

    def make() -> Decoder:
        return make_decoder(name, text_map=columns, chip=chip, midway=True)

    make()
    return make


def check_boards(settings: Settings, *, where: str) -> None:
    """Raise BadSettings naming every board whose format cannot be used as set up."""
    faults = []
    for name, board in settings.board.items():
        try:
            decoder_maker(board)
        except BadInput as err:
            faults.append(f"[board.{name}] {err}")
    if faults:
        raise BadSettings(faults, where=where)


def link_maker(clock: Clock) -> Callable[[str, Board, Deliver], SerialLink]:
    """A LinkFactory for real ports, with that clock."""

    def link_for(name: str, board: Board, deliver: Deliver) -> SerialLink:
        del name
        return SerialLink(board.port, decoder_maker(board), deliver, mono_s=clock.mono_s, baud=board.baud)

    return link_for
