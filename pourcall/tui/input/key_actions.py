"""What a key can lead to: something sent, said or done; a mark that is held, a question that is open."""

from typing import Any

import msgspec

from pourcall.contract.api import ProfileRequest
from pourcall.contract.inputs import Command, MarkLift, MarkPour
from pourcall.tui.drawing.spans import Role


class Send(msgspec.Struct, frozen=True):
    """Send this to the daemon."""

    furnace: str
    command: Command | ProfileRequest


class Say(msgspec.Struct, frozen=True):
    """Tell the person."""

    text: str
    role: Role = Role.PLAIN


class Do(msgspec.Struct, frozen=True):
    """Something the dashboard itself does: quit, unit, furnace, silence, help, start_melt."""

    what: str


Action = Send | Say | Do


class Held(msgspec.Struct):
    """A mark that waits on the screen before it is sent."""

    furnace: str
    kind: type[MarkPour | MarkLift] | None  # None: `fixed` is sent as it is
    fixed: Command | None
    text: str
    pressed_s: float
    due_s: float
    ago_s: float = 0.0
    mould: str = ""
    pressed_sim_s: float | None = None  # the daemon's own time at the key, where that is simulated


class Ask(msgspec.Struct):
    """A question of one key. An answer may be something to do, a mark to hold, or a further question."""

    text: str
    until_s: float
    choices: dict[str, tuple[str, Any]]  # key -> word, what to do
    lapse: Action | None = None  # done when nobody answers; None: nothing is
    keys: frozenset[str] = frozenset()  # that asked: one of them still held down is no answer
