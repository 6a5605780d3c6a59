"""From a board in the settings to the link that reads it."""

from collections.abc import Callable
from functools import partial

from pourcall.contract.clock import Clock
from pourcall.contract.errors import BadInput
from pourcall.contract.settings import Board, Settings
from pourcall.drivers.inbox import Deliver
from pourcall.drivers.link import SerialLink
from pourcall.drivers.wire.registry import decoder_of


def board_faults(settings: Settings) -> list[str]:
    """What is wrong with each board whose format cannot be used as set up."""
    faults = []
    for name, board in settings.board.items():
        try:
            decoder_of(board)
        except BadInput as err:
            faults.append(f"[board.{name}] {err}")
    return faults


def link_maker(clock: Clock) -> Callable[[str, Board, Deliver], SerialLink]:
    """A LinkFactory for real ports, with that clock."""

    def link_for(name: str, board: Board, deliver: Deliver) -> SerialLink:
        del name
        return SerialLink(board.port, partial(decoder_of, board), deliver, mono_s=clock.mono_s, baud=board.baud)

    return link_for
