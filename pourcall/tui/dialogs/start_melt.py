"""Starting a melt from the dashboard. Three lines are typed: alloy, charge, moulds; Enter starts, Esc leaves."""

import re
from typing import ClassVar

from textual.actions import SkipAction
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input

from pourcall.contract.api import StartRequest
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.plan import MouldRequest
from pourcall.contract.quantities import LENGTHS, MASSES, kilograms, millimetres, temperature_c
from pourcall.contract.units import Unit
from pourcall.texts import say
from pourcall.tui.drawing.styled import Role, StyledText, line
from pourcall.tui.drawing.widgets import Lines

_COUNT = re.compile(r"(\d{1,2})\s*x\s+(.+)")
# A comma between digits of a figure with its unit is decimal: `0,4kg`, `505,5-540C`.
_PART = re.compile(r",(?!(?<=\d,)\d+\s*(?:kg|g|lb|mm|cm|in|[-°CFK]))")
_APART = re.compile(r"(?<=\d)\s+(?=(?:kg|g|lb|mm|cm|in|°?[CFK])(?![^\s,]))")  # `0.4 kg` is one word
_WITH_UNIT = re.compile(r"([+-]?\d[\d.,/]*)([A-Za-z]+)")
_WINDOW = re.compile(r"(\d[\d.,]*)\s*-\s*(\d[\d.,]*)([°A-Za-z]*)")
_BARE = re.compile(r"[+-]?[\d.,]*\d[\d.,]*")
_FIELDS = ("alloy", "charge", "moulds")
_MOST_MOULDS = 60


def parse_charge_kg(text: str) -> float:
    """`1.8kg`, `4 lb`; empty: 0, not known. Raises BadInput."""
    return kilograms(text, where="charge") if text.strip() else 0.0


def parse_moulds(text: str) -> tuple[MouldRequest, ...]:
    """`3x cleat 0.4kg 6mm, fairlead 505-540C`: moulds in order, parted by commas. Raises BadInput.

    Every figure has its unit; one without is refused. What is not given (mass, thinnest section, window at the lip) the
    daemon takes from the alloy sheet.
    """
    moulds: list[MouldRequest] = []
    for part in (piece.strip() for piece in _PART.split(text)):
        if not part:
            continue
        counted = _COUNT.fullmatch(part)
        count, body = (int(counted.group(1)), counted.group(2)) if counted else (1, part)
        given: dict[str, float] = {}
        words: list[str] = []
        for word in _APART.sub("", body).split():
            figures = _figures(word, part)
            if figures is None:
                words.append(word)
            elif figures.keys() & given.keys():
                raise BadInput(tell("screen.melt.twice", typed=word), where=part, remedy=tell("screen.melt.twice.do"))
            else:
                given |= figures
        name = " ".join(words)
        if not name:
            raise BadInput(tell("screen.melt.no_name", typed=part), remedy=tell("screen.melt.no_name.do"))
        if count < 1 or len(moulds) + count > _MOST_MOULDS:
            what, remedy = (
                tell("screen.melt.count", count=count, mould=name),
                tell("screen.melt.count.do", of=_MOST_MOULDS),
            )
            raise BadInput(what, remedy=remedy)
        for number in range(1, count + 1):
            moulds.append(
                MouldRequest(
                    name=f"{name} {number}" if count > 1 else name,
                    setup=name,
                    mass_kg=given.get("mass_kg", 0.0),
                    thinnest_mm=given.get("thinnest_mm"),
                    lip_min_c=given.get("lip_min_c"),
                    lip_max_c=given.get("lip_max_c"),
                )
            )
    return tuple(moulds)


def _figures(word: str, part: str) -> dict[str, float] | None:
    """What a word of a mould gives; None: it is part of the name. Raises BadInput for a figure without its unit."""
    if found := _WINDOW.fullmatch(word):
        low, high, mark = found.groups()
        low_c, high_c = (temperature_c(f"{value}{mark}", where=part) for value in (low, high))
        if low_c >= high_c:
            remedy = tell("screen.melt.no_window.do")
            raise BadInput(tell("screen.melt.no_window", typed=word), where=part, remedy=remedy)
        return {"lip_min_c": low_c, "lip_max_c": high_c}
    if _BARE.fullmatch(word):
        raise BadInput(tell("screen.melt.bare", typed=word), where=part, remedy=tell("screen.melt.bare.do"))
    found = _WITH_UNIT.fullmatch(word)
    unit = found.group(2).lower() if found is not None else ""
    if unit in MASSES:
        return {"mass_kg": kilograms(word, where=part)}
    if unit in LENGTHS:
        return {"thinnest_mm": millimetres(word, where=part)}
    return None


class StartMelt(ModalScreen[StartRequest | None]):
    """Asks for alloy, charge and moulds. Dismisses with the request, or None."""

    # Enter is taken before the field sees it: the focus moves at once, and what is typed ahead lands where it is meant.
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "leave", show=False),
        Binding("enter", "next", "next", show=False, priority=True),
    ]

    def __init__(self, furnace: str, unit: Unit) -> None:
        super().__init__()
        self._furnace, self._unit = furnace, unit

    def compose(self) -> ComposeResult:
        with Vertical(id="melt-box"):
            yield Lines(id="melt-title")
            yield Input(placeholder=say(tell("screen.melt.alloy")), id="alloy", compact=False)
            yield Input(placeholder=say(tell("screen.melt.charge")), id="charge")
            yield Input(placeholder=say(tell("screen.melt.moulds")), id="moulds")
            yield Lines(id="melt-said")

    def on_mount(self) -> None:
        """Say what is asked, and how to leave."""
        title = say(tell("screen.melt.title", furnace=self._furnace))
        self.query_one("#melt-title", Lines).show((line(StyledText(title, Role.STRONG)),))
        self.show(say(tell("screen.melt.how")), Role.DIM)
        self.query_one("#alloy", Input).focus()

    def show(self, text: str, role: Role) -> None:
        """One line under the fields."""
        self.query_one("#melt-said", Lines).show((line(StyledText(text, role)),))

    def action_leave(self) -> None:
        """Nothing is started."""
        self.dismiss(None)

    def action_next(self) -> None:
        """Enter goes on to the next field; in the last one the field itself takes it, after all that was typed."""
        here = _FIELDS.index((self.focused.id if self.focused is not None else None) or "alloy")
        if here == len(_FIELDS) - 1:
            raise SkipAction
        self.set_focus(self.query_one(f"#{_FIELDS[here + 1]}", Input))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter in the last field starts the melt, once the other fields have taken what was typed ahead."""
        event.stop()
        self.call_after_refresh(self._start)

    def _start(self) -> None:
        values = {name: self.query_one(f"#{name}", Input).value.strip() for name in _FIELDS}
        try:
            if not values["alloy"]:
                raise BadInput(tell("screen.melt.no_alloy"), remedy=tell("screen.melt.no_alloy.do"))
            request = StartRequest(
                alloy=values["alloy"],
                charge_kg=parse_charge_kg(values["charge"]),
                moulds=parse_moulds(values["moulds"]),
                who="dashboard",
            )
        except BadInput as err:
            self.show(f"! {err.said(lambda told: say(told, self._unit))}", Role.WARN)
            return
        self.dismiss(request)
