"""An alloy sheet as plain text, every number with its source and what other sources say; and as rows for a table."""

import textwrap
from collections.abc import Iterable, Iterator, Mapping

from pourcall.contract.message import NOTHING, Fact, Message, tell
from pourcall.contract.units import UNIT_MARK, Unit, difference_from_c, from_c, in_unit
from pourcall.metal.alloys.sheet import AlloySheet, Heat, Share, Value
from pourcall.metal.alloys.sheet_sentences import figures_marked, pour_range_beyond
from pourcall.texts import say

WIDTH = 100


def render_sheet(sheet: AlloySheet, sources: Mapping[str, str], unit: Unit = Unit.C) -> str:
    """The whole sheet, at most 100 columns. `sources`: what each key stands for, from `load_sources`."""
    return "\n".join(_Page(sources, unit).lines(sheet)) + "\n"


def list_rows(sheets: Iterable[AlloySheet]) -> list[dict[str, object]]:
    """One plain row for each sheet, for a table or JSON; temperatures degC."""
    return [
        {
            "key": sheet.key,
            "name": sheet.name,
            "family": sheet.family,
            "solidus_c": sheet.solidus.value,
            "liquidus_c": sheet.liquidus.value,
            "pour_min_c": sheet.pour_min.value,
            "pour_max_c": sheet.pour_max.value,
            "pot_max_c": round(sheet.highest_in_pot_c, 1),
            "zinc_percent": round(sheet.zinc_percent, 3),
            "aliases": list(sheet.aliases),
            "file": sheet.file,
        }
        for sheet in sheets
    ]


class _Page:
    """One page in the reader's unit; remembers which sources it named."""

    def __init__(self, sources: Mapping[str, str], unit: Unit) -> None:
        self._sources, self._unit = sources, unit
        self._used: set[str] = set()

    def lines(self, sheet: AlloySheet) -> Iterator[str]:
        """The page, line by line."""
        plain = tell("alloy.page.head_plain", alloy=sheet.name, key=sheet.key, family=sheet.family)
        head = tell("alloy.page.head", plain=plain, designation=sheet.designation) if sheet.designation else plain
        yield from _wrap(say(head), "")
        if sheet.aliases:
            yield from _wrap(say(tell("alloy.page.aliases", names=", ".join(sheet.aliases))))
        if sheet.notes:
            yield from _wrap(self._said(sheet.notes))
        beyond = pour_range_beyond(sheet)
        if beyond:
            yield from _wrap(say(beyond, self._unit))
        yield from ("", say(tell("alloy.page.composition")))
        yield from self._composition(sheet)
        yield from ("", say(tell("alloy.page.values")))
        for key, value in sheet.values():
            yield from self._value(key, value)
        if sheet.heat is not None:
            yield from self._heat(sheet.heat)
        for arrest in sheet.arrests:
            figure = self._figure(arrest.value, "degC")
            line = self._cited("arrest", arrest.source, arrest.mark, figure=figure)
            yield from _wrap(f"{line} {self._said(arrest.name)}")
        yield from ("", say(tell("alloy.page.hazards")))
        for hazard in sheet.hazards:
            yield from _wrap(self._said(hazard))
        if sheet.protection_tube is not None:
            tube = sheet.protection_tube
            yield from ("", say(tell("alloy.page.probe")))
            yield from _wrap(say(tell("alloy.page.works", works=self._said(tube.works))))
            yield from _wrap(self._cited("fails", tube.source, tube.mark, fails=self._said(tube.fails)))
        yield from ("", say(tell("alloy.page.sources")))
        for source in sorted(self._used):
            known = self._said(self._sources[source]) if source in self._sources else tell("alloy.page.as_written")
            yield from _wrap(say(tell("alloy.page.source", source=source, stands_for=known)))
        yield from ("", say(tell("alloy.page.file", file=sheet.file)))

    def _composition(self, sheet: AlloySheet) -> Iterator[str]:
        balance = f"{sheet.weight_percent()[sheet.base]:.4g}"
        yield from _wrap(f"{sheet.base:<4} {say(tell('alloy.page.balance', percent=balance))}")
        for symbol, share in sheet.composition.items():
            if symbol != sheet.base:
                told = self._cited("share", share.source, share.mark, percent=share.nominal, bounds=_bounds(share))
                yield from _wrap(f"{symbol:<4} {told}")

    def _value(self, key: str, value: Value) -> Iterator[str]:
        difference = key == "liquid_margin"
        figure = self._figure(value.value, value.unit, difference)
        line = self._cited("value", value.source, value.mark, quantity=key, figure=figure)
        yield from _wrap(line + self._noted(value.note))
        for other in value.also:
            figure = self._figure(other.value, other.unit, difference)
            line = self._cited("also", other.source, other.mark, figure=figure)
            yield from _wrap(line + self._noted(other.note), "      ")

    def _heat(self, heat: Heat) -> Iterator[str]:
        line = self._cited("heat", heat.source, heat.mark, quantity="heat")
        yield from _wrap(line + self._noted(heat.note))
        points = tuple(
            tell(
                "alloy.page.point",
                figure=self._figure(point.temp_c, "degC"),
                heat_kj=point.kj_per_kg,
                percent=f"{100.0 * point.liquid:.3g}",
            )
            for point in heat.points
        )
        yield from _wrap(say(tell("alloy.page.points", points=points)), "      ")

    def _cited(self, name: str, source: str, mark: str, **facts: Fact) -> str:
        """A line with its source, which is then explained at the foot of the page."""
        self._used.add(source)
        return say(tell(f"alloy.page.{name}", **facts, source=source, mark=mark), self._unit)

    def _figure(self, value: float, written: str, difference: bool = False) -> str:
        """As exactly as the sheet has it: a tenth of a degree counts in a eutectic."""
        if difference:
            return f"{difference_from_c(value, self._unit):.4g} {UNIT_MARK[self._unit]}"
        if written == "degC":
            return f"{round(from_c(value, self._unit), 1):g} {UNIT_MARK[self._unit]}"
        return f"{value:g}" if written == "1" else f"{value:g} {written}"

    def _noted(self, note: str) -> str:
        return f" {self._said(note)}" if note else ""

    def _said(self, text: str) -> str:
        """The sheet's own words, their temperatures in the reader's unit."""
        return in_unit(figures_marked(text), self._unit)


def _bounds(share: Share) -> Message:
    if not share.max:
        return NOTHING
    if share.min is None:
        return tell("alloy.page.at_most", most=share.max)
    return tell("alloy.page.between", least=share.min, most=share.max)


def _wrap(text: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "    ", break_on_hyphens=False)
