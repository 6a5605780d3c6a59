"""Room: regions of the screen. Each takes lines from the model and shows them; none knows a furnace."""

import math

from rich.text import Text
from textual.containers import Container
from textual.widgets import Static

from pourcall.contract.units import Unit, from_c
from pourcall.tui.spans import Line, Role, style_of
from pourcall.tui.trace import limits_c

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
    """The curve of the past minutes. The plot library is loaded after the first frame is on the screen."""

    async def load(self) -> None:
        """Load the plot library and put the plot in its place."""
        from pourcall.tui.plot import Plot

        await self.mount(Plot())

    def draw(
        self,
        curves: list[tuple[list[list[tuple[float, float]]], Role]],
        band_c: tuple[float, float] | None,
        unit: Unit,
        span_s: float,
    ) -> None:
        """Draw curves of (minutes before now, degC), the window as two level lines; the first curve sets the scale."""
        from pourcall.tui.plot import BRAILLE, Plot

        found = self.query(Plot)
        if not found:
            return
        plot = found.first()
        plot.clear()
        span_min = span_s / 60.0
        low_c, high_c = limits_c([run for segments, _ in curves for run in segments], band_c)
        low, high = from_c(low_c, unit), from_c(high_c, unit)
        plot.set_xlimits(-span_min, 0.0)
        plot.set_ylimits(low, high)
        plot.set_xticks([-span_min, -span_min / 2.0, 0.0])
        rows = max(1, plot.size.height - 3)
        plot.set_yticks(nice_ticks(low, high, most=2 if rows < 5 else 4))
        if band_c is not None:
            for edge_c in band_c:
                if low_c < edge_c < high_c:
                    dotted = [(-span_min * n / 20.0, -span_min * (n + 0.3) / 20.0) for n in range(20)]
                    for right, left in dotted:
                        y_edge = from_c(edge_c, unit)
                        plot.plot([left, right], [y_edge] * 2, style_of(Role.OK), BRAILLE)
        for segments, role in reversed(curves):
            for run in segments:
                points = run if len(run) > 1 else [run[0], run[0]]
                x = [minutes for minutes, _ in points]
                y = [from_c(min(max(temp_c, low_c), high_c), unit) for _, temp_c in points]
                plot.plot(x, y, line_style=style_of(role), hires_mode=BRAILLE)


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
