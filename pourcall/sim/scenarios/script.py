"""The script language. What an operator does, as data: steps, each with a condition on the true plant.

A step waits until its condition holds (counted from the end of the step before), then acts:

    {do = "charge", kg = 1.2}
    {do = "power", level = "high"}
    {when = "liquid >= 0.9", do = "charge", kg = 0.4}
    {when = "coast >= 560 or after 3600", do = "power", level = "off"}

A condition is terms joined by `and`, `or` (`and` binds closer). A term is `NAME OP NUMBER` with NAME one of `after`
(seconds since the step before), `t`, `metal`, `liquid`, `pot`, `wall`, `mass`, `lump`, `probe` (junction), `coast`
(highest metal temperature if power were cut now) and OP one of >= > <= <; or `after NUMBER`; or `heard CALL`.
"""

import re
from collections.abc import Callable
from operator import ge, gt, le, lt
from typing import Protocol

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell

NAMES = ("after", "t", "metal", "liquid", "pot", "wall", "mass", "lump", "probe", "coast")
_OPS: dict[str, Callable[[float, float], bool]] = {">=": ge, ">": gt, "<=": le, "<": lt}
_TERM = re.compile(r"(?:(heard)\s+(\w+))|(?:(\w+)\s*(>=|<=|>|<)\s*(-?\d+(?:\.\d+)?))|(?:after\s+(\d+(?:\.\d+)?))")
VERBS = (
    "bring",
    "charge",
    "dip",
    "end",
    "fault",
    "key",
    "lid",
    "lift",
    "power",
    "pour",
    "probe",
    "put_back",
    "say",
    "skim",
    "start",
    "stir",
    "wait",
    "watch",
)


class Step(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """One thing an operator does, and when. Units in the names; unused fields stay at their defaults."""

    do: str
    when: str = ""  # condition; empty: at once
    within_s: float = 10_800.0  # longer than this and the operator gives the melt up
    kg: float = 0.0  # charge, pour, skim
    temp_c: float | None = None  # of metal charged; None: of the room
    level: str = ""  # power: off, low, high
    open: bool = False  # lid
    place: str = ""  # probe: melt, chamber, air
    depth_mm: float = 50.0  # probe, dip
    for_s: float = 20.0  # dip, skim
    rate_kg_per_s: float = 0.3  # pour
    mould: str = ""  # pour: name in the plan; empty: no mould of the plan (ingot, heel)
    lo_c: float = 0.0  # bring: window in the pot
    hi_c: float = 0.0
    target_c: float = 0.0  # bring: coast peak aimed at
    every_s: float = 0.0  # bring, watch: a dip so often; 0: none
    until: str = ""  # watch: condition that ends it
    plan: int = 0  # start: which plan of the scenario
    ending: str = "poured"  # end
    word: str = ""  # fault
    size: float | None = None  # fault
    text: str = ""  # say, key (a kind of call to answer)

    def __post_init__(self) -> None:
        if self.do not in VERBS:
            raise ValueError(f"{self.do!r} is nothing an operator does; use one of {', '.join(VERBS)}")


class Watcher(Protocol):
    """Who can answer a condition."""

    def value(self, name: str) -> float:
        """The figure of one of NAMES now."""
        ...

    def heard(self, call: str) -> bool:
        """Was this call heard since the step before."""
        ...


Condition = Callable[[Watcher], bool]


def parse_condition(text: str) -> Condition:
    """A condition as a function. Empty text always holds. Raises BadInput."""
    if not text.strip():
        return lambda who: True
    either = tuple(tuple(_term(term, text) for term in part.split(" and ")) for part in text.split(" or "))
    if len(either) == 1 and len(either[0]) == 1:
        return either[0][0]
    return lambda who: any(all(term(who) for term in terms) for terms in either)


def _term(text: str, whole: str) -> Condition:
    found = _TERM.fullmatch(text.strip())
    if found is None:
        told = tell("sim.unknown", simulated="condition", typed=text.strip())
        raise BadInput(told, where=whole, remedy=tell("sim.condition.remedy"))
    heard, call, name, op, number, after = found.groups()
    if heard:
        return lambda who: who.heard(call)
    if after is not None:
        seconds = float(after)
        return lambda who: who.value("after") >= seconds
    if name not in NAMES:
        told = tell("sim.unknown", simulated="watched", typed=name)
        raise BadInput(told, where=whole, remedy=tell("error.use_one", known=", ".join(NAMES)))
    compare, limit = _OPS[op], float(number)
    return lambda who: compare(who.value(name), limit)


def load_steps(text: str) -> tuple[Step, ...]:
    """Steps from TOML (`[[step]]` tables). Raises BadInput by step."""
    try:
        tables = msgspec.toml.decode(text, type=dict[str, list[Step]])
    except msgspec.DecodeError as err:
        raise BadInput(tell("sim.no_script", error=str(err)), remedy=tell("sim.no_script.remedy")) from err
    steps = tuple(tables.get("step", ()))
    for step in steps:
        parse_condition(step.when)
        parse_condition(step.until)
    return steps
