"""The plot library, fitted to this dashboard. Imported after the first frame: it brings numpy with it."""

from collections.abc import Sequence

from textual.app import ComposeResult
from textual.containers import Grid
from textual.strip import Strip
from textual_hires_canvas import Canvas
from textual_plot import HiResMode, NumericAxisFormatter, PlotWidget
from textual_plot.plot_widget import Legend

from pourcall.contract.message import tell
from pourcall.texts import say

BRAILLE = HiResMode.BRAILLE


class _Canvas(Canvas):
    """A canvas whose lines always have a style.

    Before it knows its size the library's canvas gives lines without one, and under NO_COLOR the terminal library's
    monochrome filter ends the program on those (textual 8.2.8 with textual-hires-canvas 0.14.0).
    """

    def render_line(self, y: int) -> Strip:
        """One line, never without a style."""
        strip = super().render_line(y)
        return strip if strip.cell_length else Strip.blank(self.size.width, self.rich_style)


class _MinutesFromNow(NumericAxisFormatter):
    """Minutes before and after now, in words."""

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """`-20 min`, `now`, `+10 min`."""
        return [
            say(tell("screen.plot.now") if tick == 0 else tell("screen.plot.tick", tick=f"{tick:+.0f}"))
            for tick in ticks
        ]


class Plot(PlotWidget):
    """A plot that takes no key and no mouse: the keys belong to the melt."""

    can_focus = False

    def __init__(self) -> None:
        super().__init__(id="plot-widget", allow_pan_and_zoom=False)
        self.set_x_formatter(_MinutesFromNow())

    def compose(self) -> ComposeResult:
        """The library's own parts, with our canvas."""
        with Grid():
            for part in ("margin-top", "margin-left", "plot", "margin-bottom"):
                yield _Canvas(1, 1, id=part)
        yield Legend(id="legend")

    def _update_legend(self) -> None:
        """There is none; the library looks for it at each curve, which costs time, and ended the program at its end."""

    def cells(self) -> tuple[int, int]:
        """Columns and rows inside the frame, as far as they are known yet."""
        return max(1, self.size.width - self.margin_left - 2), max(1, self.size.height - self.margin_bottom - 2)

    def dashes(self, y: float, style: str) -> None:
        """A level line of short dashes over the whole width: as one set of dots, because many curves cost time."""
        columns, _ = self.cells()
        wide = (self._x_max - self._x_min) / columns
        x = [self._x_min + (n + part) * wide for n in range(0, columns, 2) for part in (0.25, 0.75)]
        self.scatter(x, [y] * len(x), marker_style=style, hires_mode=BRAILLE)

    def on_mount(self) -> None:
        """Margins as small as the labels allow."""
        self.margin_top, self.margin_bottom, self.margin_left = 0, 1, 6
