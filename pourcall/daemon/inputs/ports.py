"""From a board in the settings to the link that reads it."""

from collections.abc import Callable
from functools import partial

from pourcall.contract.clock import Clock
from pourcall.contract.settings import Board
from pourcall.drivers.inbox import Deliver
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire.registry import decoder_of


def link_maker(clock: Clock) -> Callable[[str, Board, Deliver], SerialLink]:
    """A LinkFactory for real ports, with that clock."""

    def link_for(name: str, board: Board, deliver: Deliver) -> SerialLink:
        del name
        return SerialLink(board.port, partial(decoder_of, board), deliver, mono_s=clock.mono_s, baud=board.baud)

    return link_for
