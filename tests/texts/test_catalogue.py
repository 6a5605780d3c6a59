"""Every message asked for is in the catalogue, with the facts its sentence tells of; and nothing is dead there."""

import ast
import pkgutil
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import get_args

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.records.read.views import LipStep
from pourcall.records.write.typed_columns import GapKind
from pourcall.texts import english
from pourcall.texts.catalogue import subject_texts
from pourcall.texts.saying import PLACE
from pourcall.thermometry.uncertainty import Shape

PACKAGE = Path(english.__file__).parents[2]
# Asked for by the value of an enumeration, through `word()` or a fact; or by the name of a command (cli/main.py).
WORD_LISTS = frozenset({"word", "overview"})


@cache
def texts() -> dict[str, str]:
    found: dict[str, str] = {}
    for module in pkgutil.iter_modules(english.__path__):
        for name, text in subject_texts(module.name).items():
            assert name.split(".")[0] == module.name, f"{name} stands in {module.name}"
            assert name not in found, f"{name} stands twice"
            found[name] = text
    return found


class Asked(ast.NodeVisitor):
    """Calls of tell("name", fact=...) in one file: (name or its fixed beginning, whether whole, facts).

    `option("plan.pot")` of the command line is `tell("option.plan.pot")`.
    """

    def __init__(self) -> None:
        self.found: list[tuple[str, bool, frozenset[str] | None]] = []

    def visit_Call(self, node: ast.Call) -> None:
        if isinstance(node.func, ast.Name) and node.func.id in ("tell", "option") and node.args:
            of = "option." if node.func.id == "option" else ""
            facts = None if any(k.arg is None for k in node.keywords) else frozenset(k.arg or "" for k in node.keywords)
            self.found += [(of + name, whole, facts) for name, whole in _names(node.args[0])]
        self.generic_visit(node)


def _names(node: ast.expr) -> Iterator[tuple[str, bool]]:
    """What a name may be: a literal, one of two, or a literal beginning of an f-string."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value, True
    elif isinstance(node, ast.IfExp):
        yield from _names(node.body)
        yield from _names(node.orelse)
    elif isinstance(node, ast.JoinedStr) and isinstance(node.values[0], ast.Constant):
        yield str(node.values[0].value), False


@cache
def asked() -> list[tuple[str, str, bool, frozenset[str] | None]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        visitor = Asked()
        visitor.visit(ast.parse(path.read_text("utf-8")))
        found += [(str(path.relative_to(PACKAGE)), *one) for one in visitor.found]
    return found


def places(text: str) -> frozenset[str]:
    return frozenset(found[1] for found in PLACE.finditer(text))


def test_every_message_asked_for_is_in_the_catalogue() -> None:
    missing = [f"{path}: {name}" for path, name, whole, _ in asked() if whole and name not in texts()]
    missing += [
        f"{path}: {name}..."
        for path, name, whole, _ in asked()
        if not whole and not any(text.startswith(name) for text in texts())
    ]
    assert missing == []


def test_a_sentence_tells_of_the_facts_it_is_given_and_of_no_others() -> None:
    wrong = [
        f"{path}: {name} is given {sorted(facts)} and tells of {sorted(places(texts()[name]))}"
        for path, name, whole, facts in asked()
        if whole and facts is not None and name in texts() and places(texts()[name]) != facts
    ]
    assert wrong == []


def test_no_sentence_stands_in_the_catalogue_that_nobody_asks_for() -> None:
    whole = {name for _, name, is_whole, _ in asked() if is_whole}
    beginnings = tuple({name for _, name, is_whole, _ in asked() if not is_whole})
    dead = [
        name
        for name in texts()
        if name.split(".")[0] not in WORD_LISTS and name not in whole and not name.startswith(beginnings or ("\0",))
    ]
    assert dead == []


# By the kind of word: the values it is asked for. What a person is shown of them is never the value itself.
VALUES: dict[str, list[str]] = {
    "alarm_state": [one.value for one in ev.AlarmState],
    "call": [one.value for one in ev.CallKind],
    "priority": [one.name.lower() for one in ev.Priority],
    "what": [one.value for one in ev.MarkKind],
    "marked": [one.value for one in ev.Marking],
    "melt_state": [one.value for one in ev.MeltState],
    "level": [one.value for one in inp.PowerLevel],
    "ending": [one.value for one in inp.MeltEnding],
    "shape": [one.value for one in Shape],
    "lip_step": [one.value for one in LipStep],
}


@pytest.mark.parametrize("kind", VALUES)
def test_each_value_that_is_shown_has_its_word_and_no_word_is_of_a_value_that_is_gone(kind: str) -> None:
    words = {name for name in texts() if name.startswith(f"word.{kind}.")}
    assert words == {f"word.{kind}.{value}" for value in VALUES[kind]}


def test_why_readings_are_missing_is_said_in_words() -> None:
    assert {f"word.reason.{kind.value}" for kind in GapKind} <= texts().keys()


def test_a_template_has_no_brace_that_is_not_a_fact() -> None:
    assert [name for name, text in texts().items() if re.search(r"[{}]", PLACE.sub("", text))] == []


def test_every_command_is_answered_with_words_of_its_own_and_no_answer_is_dead() -> None:
    source = (PACKAGE / "daemon/inputs/done.py").read_text("utf-8")
    spoken = set(re.findall(r'"(daemon\.done\.[a-z_]+)"', source))
    with_facts = set(re.findall(r"inp\.(\w+)\(\)", source))
    plain = {
        f"daemon.done.{command.__struct_config__.tag}"
        for command in get_args(inp.Command)
        if command.__name__ not in with_facts
    }
    assert plain | spoken == {name for name in texts() if name.startswith("daemon.done.")}
    assert all(not places(texts()[name]) for name in plain)
