"""The help page: every key, and what the marks on the screen mean. One key closes it, and is not lost by that."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen

from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import Unit
from pourcall.tui.drawing.scale import METAL_TIP
from pourcall.tui.drawing.spans import Line, Role, Span, line
from pourcall.tui.drawing.widgets import Lines
from pourcall.tui.screen.forecast_lines import BAND_MARK, COAST_MARK, DIP_MARK, RECKONED_MARK
from pourcall.tui.screen.words import UNIT_MARK, UNSEEN

CLOSING = frozenset({"escape", "enter", "question_mark", "?", "h", "q"})
KEYS: tuple[tuple[str, str], ...] = (
    ("space", "metal went into the next mould; for 6 s: + - date it, esc: undo"),
    ("l", "the pot is lifted"),
    ("d", "a dip begins. Depth and stirring are asked once; D asks again"),
    ("g", "guide by the alloy's profile; go on; end a hold; x: stop guiding"),
    ("n", "not now, to the call that is up"),
    ("enter", "done, to a call that nothing can see; or: record the held mark now"),
    ("p", "how the knob or burner stands: 0 off, 1 low, 2 high"),
    ("a", "acknowledge the first alarm"),
    ("s", "silence for 30 s; what is not acknowledged sounds again"),
    ("m", "start a melt, or end the one that runs"),
    ("u f", "unit: °C, °F, K; the next furnace, where there are several"),
    ("q", "leave the dashboard; the melt goes on"),
)
MARKS: tuple[tuple[str, str], ...] = (
    (METAL_TIP, "the metal, measured"),
    (RECKONED_MARK, "the metal as reckoned from the chamber, not measured: dip to know"),
    (DIP_MARK, "in the trace: what a dip found"),
    (COAST_MARK, "where the metal goes if the power is cut now"),
    (BAND_MARK, "the trace to come: nine times in ten it stays inside"),
    ("█", "on the scale: the pour window, in the pot"),
)


def help_lines(unit: Unit) -> tuple[Line, ...]:
    """The page; fits 24 rows of 80 cells with its frame."""
    rows = [line(Span(f" {key:<5} ", Role.KEY), f" {words}") for key, words in KEYS]
    rows.append(())
    rows += [line(Span(f"   {mark}   ", Role.STRONG), f" {words}") for mark, words in MARKS]
    rows.append(line(Span(f"Shown in {UNIT_MARK[unit]}. Any key closes this; esc does nothing else", Role.DIM)))
    return tuple(rows)


def pressing(snapshot: FurnaceSnapshot | None) -> frozenset[str]:
    """What is to be done or has not been seen, by name: where something new is among it, the page gives way."""
    if snapshot is None:
        return frozenset()
    unseen = {f"{a.id}/{a.raised_mono_s}" for a in snapshot.alarms if a.state in UNSEEN}
    calls = {f"{call.kind}/{call.raised_mono_s}" for call in snapshot.calls}
    return frozenset(unseen | calls)


class Help(ModalScreen[str | None]):
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
        self.dismiss(None)

    def on_key(self, event: events.Key) -> None:
        """Any key closes; one that marks something does that too."""
        event.stop()
        event.prevent_default()
        self.dismiss(None if event.key in CLOSING else event.key)
