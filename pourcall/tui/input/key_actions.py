"""What a key can lead to: something sent, said or done; a mark that is held, a question that is open."""

from enum import StrEnum

import msgspec

from pourcall.contract.api import ProfileRequest
from pourcall.contract.inputs import Command, Happened
from pourcall.contract.message import Told
from pourcall.tui.drawing.styled import Role


class Send(msgspec.Struct, frozen=True):
    """Send this to the daemon."""

    furnace: str
    command: Command | ProfileRequest


class Say(msgspec.Struct, frozen=True):
    """Tell the person."""

    text: Told
    role: Role = Role.PLAIN


class What(StrEnum):
    """What the dashboard does without the daemon."""

    QUIT = "quit"
    UNIT = "unit"
    FURNACE = "furnace"
    SILENCE = "silence"
    HELP = "help"
    START_MELT = "start_melt"


class Do(msgspec.Struct, frozen=True):
    """Something the dashboard itself does."""

    what: What


Action = Send | Say | Do


class Held(msgspec.Struct):
    """A mark or an answer that waits on the screen before it is sent."""

    furnace: str
    command: Command  # a mark is dated when it is sent
    text: Told
    pressed_s: float
    due_s: float
    ago_s: float = 0.0
    pressed_sim_s: float | None = None  # the daemon's own time at the key, where that is simulated

    @property
    def dated(self) -> bool:
        """A mark, which has a time of its own."""
        return isinstance(self.command, Happened)

    def shift(self, by_s: float, now_s: float, *, wait_s: float) -> None:
        """It happened so much earlier, never later than now; there is time again for another key."""
        self.ago_s = max(-(now_s - self.pressed_s), self.ago_s + by_s)
        self.due_s = max(self.due_s, now_s + wait_s)


class Choice(msgspec.Struct, frozen=True):
    """An answer: its word, and something to do, a mark to hold, or a further question."""

    does: Told
    then: "Action | Held | Ask"


class Ask(msgspec.Struct):
    """A question of one key."""

    text: Told
    until_s: float
    choices: dict[str, Choice]
    lapse: Action | None = None  # done when nobody answers; None: nothing is
    keys: frozenset[str] = frozenset()  # that asked: one of them still held down is no answer
    too_soon: bool = False  # it was, or bounced: that it did nothing is shown with the question

    def answered_too_soon(self) -> None:
        """A key came that cannot have been an answer yet."""
        self.too_soon = True
