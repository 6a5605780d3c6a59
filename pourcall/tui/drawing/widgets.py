"""Regions of the screen. Each takes lines from the model and shows them; none knows a furnace."""

import math

from rich.text import Text
from textual.containers import Container
from textual.widgets import Static

from pourcall.contract.units import Unit, from_c
from pourcall.tui.drawing.picture import BAND_MARK, COAST_MARK, DIP_MARK, Picture, band_cells
from pourcall.tui.drawing.styled import Line, Role, style_of

DECIMATE = 4  # points for each cell of width: more is not seen and costs time


def rich_text(lines: tuple[Line, ...]) -> Text:
    """Lines as the terminal library wants them; never wrapped, because the model has fitted them."""
    text = Text(no_wrap=True, end="")
    for number, spans in enumerate(lines):
        if number:
            text.append("\n")
        for span in spans:
            text.append(span.text, style=style_of(span.role))
    return text


class Lines(Static):
    """A region of fitted lines. Draws only when they change."""

    def __init__(self, *, id: str) -> None:
        super().__init__("", id=id, markup=False)
        self.shown: tuple[Line, ...] = ()

    def show(self, lines: tuple[Line, ...]) -> bool:
        """Show these lines; True when they differ from what was shown."""
        if lines == self.shown:
            return False
        layout = len(lines) != len(self.shown)
        self.shown = lines
        self.update(rich_text(lines), layout=layout)
        return True


class TraceView(Container):
    """The curve of the past minutes, and what is foreseen. The plot library is loaded after the first frame."""

    async def load(self) -> None:
        """Load the plot library and put the plot in its place."""
        from pourcall.tui.drawing.plot import Plot

        await self.mount(Plot())

    @property
    def picture_rows(self) -> int:
        """Rows inside the frame of the plot, as far as they are known yet."""
        return max(1, self.size.height - 3)

    def draw(self, picture: Picture, unit: Unit) -> None:
        """Draw the picture: the shaded band first, then the window's edges, the curves on top, the marks last."""
        from pourcall.tui.drawing.plot import BRAILLE, Plot

        found = self.query(Plot)
        if not found:
            return
        plot = found.first()
        plot.clear()
        past, ahead, low_c, high_c = picture.past_min, picture.ahead_min, picture.low_c, picture.high_c
        low, high = from_c(low_c, unit), from_c(high_c, unit)
        plot.set_xlimits(-past, ahead)
        plot.set_ylimits(low, high)
        plot.set_xticks([-past, -past / 2.0, 0.0, *([ahead] if ahead else [])])
        columns, rows = plot.cells()
        plot.set_yticks(nice_ticks(low, high, most=2 if rows < 5 else 4))
        if picture.band:
            x, y = band_cells(picture, columns, rows)
            plot.scatter(x, [from_c(temp_c, unit) for temp_c in y], BAND_MARK, style_of(Role.BAND))
        for edge_c in picture.window_c or ():
            if low_c < edge_c < high_c:
                plot.dashes(from_c(edge_c, unit), style_of(Role.OK))
        for segments, role in reversed(picture.curves):
            for run in segments:
                points = run if len(run) > 1 else [run[0], run[0]]
                minutes = [point[0] for point in points]
                temps = [from_c(temp_c, unit) for _, temp_c in points]
                plot.plot(minutes, temps, line_style=style_of(role), hires_mode=BRAILLE)
        if ahead:
            plot.add_v_line(0.0, style_of(Role.DIM))
        for minutes_ago, temp_c in picture.dips:
            plot.scatter([minutes_ago], [from_c(temp_c, unit)], DIP_MARK, style_of(Role.STRONG))
        if picture.coast is not None:
            minutes_to, peak_c = picture.coast
            plot.scatter([minutes_to], [from_c(peak_c, unit)], COAST_MARK, style_of(Role.STRONG))


def nice_ticks(low: float, high: float, *, most: int) -> list[float]:
    """At most `most` round figures between `low` and `high`."""
    for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000):
        first = math.ceil(low / step) * step
        if first < low:  # a quotient that was rounded to a whole number
            first += step
        ticks = [float(value) for value in range(first, math.floor(high) + 1, step)]
        if len(ticks) <= most:
            return ticks
    return []
