"""The help page: every key, and what the marks on the screen mean. One key closes it, and is not lost by that."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen

from pourcall.contract.message import tell
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import UNIT_MARK, Unit
from pourcall.texts import say
from pourcall.tui.drawing.picture import BAND_MARK, COAST_MARK, DIP_MARK, ESTIMATE_MARK
from pourcall.tui.drawing.scale import METAL_TIP, WINDOW_BAR
from pourcall.tui.drawing.styled import Line, Role, StyledText, line
from pourcall.tui.drawing.widgets import Lines
from pourcall.tui.screen.words import UNSEEN

CLOSING = frozenset({"escape", "enter", "question_mark", "?", "h", "q"})
KEYS = {  # the keys as they are pressed, and the text that tells of them
    "space": tell("help.pour"),
    "l": tell("help.lift"),
    "b": tell("help.back_in"),
    "d": tell("help.dip"),
    "g": tell("help.profile"),
    "n": tell("help.not_now"),
    "enter": tell("help.done"),
    "p": tell("help.power"),
    "a": tell("help.acknowledge"),
    "s": tell("help.silence"),
    "m": tell("help.melt"),
    "u f": tell("help.unit_and_furnace"),
    "q": tell("help.quit"),
}
MARKS = {
    METAL_TIP: tell("help.mark.metal"),
    ESTIMATE_MARK: tell("help.mark.estimate"),
    DIP_MARK: tell("help.mark.dip"),
    COAST_MARK: tell("help.mark.coast"),
    BAND_MARK: tell("help.mark.band"),
    WINDOW_BAR: tell("help.mark.window"),
}


def help_lines(unit: Unit) -> tuple[Line, ...]:
    """The page; fits 24 rows of 80 cells with its frame."""
    rows = [line(StyledText(f" {key:<5} ", Role.KEY), f" {say(told)}") for key, told in KEYS.items()]
    rows.append(())
    rows += [line(StyledText(f"   {mark}   ", Role.STRONG), f" {say(told)}") for mark, told in MARKS.items()]
    rows.append(line(StyledText(say(tell("help.foot", unit_mark=UNIT_MARK[unit])), Role.DIM)))
    return tuple(rows)


def pressing(snapshot: FurnaceSnapshot | None) -> frozenset[str]:
    """What is to be done or has not been seen, by name: where something new is among it, the page gives way."""
    if snapshot is None:
        return frozenset()
    unseen = {f"{a.id}/{a.raised_mono_s}" for a in snapshot.alarms if a.state in UNSEEN}
    calls = {f"{call.kind}/{call.raised_mono_s}" for call in snapshot.calls}
    return frozenset(unseen | calls)


class HelpPage(ModalScreen[str | None]):
    """Dismisses with the key that closed it, if that key means something on the main screen; else with None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+q,ctrl+c", "close", "close", show=False, priority=True)]

    def __init__(self, unit: Unit) -> None:
        super().__init__()
        self._unit = unit

    def compose(self) -> ComposeResult:
        with Vertical(id="help-box"):
            yield Lines(id="help-lines")

    def on_mount(self) -> None:
        """Show the page."""
        self.query_one("#help-lines", Lines).show(help_lines(self._unit))

    def action_close(self) -> None:
        """The keys that end other programs close the page."""
        self._close(None)

    def on_key(self, event: events.Key) -> None:
        """Any key closes; one that marks something does that too."""
        event.stop()
        event.prevent_default()
        self._close(None if event.key in CLOSING else event.key)

    def _close(self, key: str | None) -> None:
        """Once: a key held down sends more before the page is gone."""
        if self.is_current:
            self.dismiss(key)
