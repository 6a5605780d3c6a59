"""Facts stay facts: unions are handled to the last member, and nothing decides by what is said to a person."""

import ast
from collections.abc import Iterator
from functools import cache
from typing import get_args

import pytest

from pourcall.contract.api import Asked
from pourcall.contract.entries import Entry
from pourcall.contract.events import Output
from pourcall.contract.frames import Frame
from pourcall.contract.inputs import Command, DaemonTrouble, Input, StoreProblem
from pourcall.contract.message import SENTENCES
from pourcall.engine.alarms.catalogue import CATALOGUE
from pourcall.texts.catalogue import subject_texts
from tests.test_structure import PACKAGE, ROOT, modules

UNIONS = {member.__name__ for union in (Output, Command, Input, Entry, Asked, Frame) for member in get_args(union)}
SAYING = {"say", "written", "sentence", "word"}
READING = {"startswith", "endswith", "split", "rsplit", "partition", "rpartition", "find", "index", "splitlines"}
READING |= {"removeprefix", "removesuffix"}
PATTERNS = {"search", "match", "fullmatch", "findall", "finditer", "sub"}


def name_of(node: ast.AST) -> str:
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


def names_in(node: ast.AST) -> set[str]:
    return {name_of(part) for part in ast.walk(node)}


@cache
def trees() -> dict[str, ast.Module]:
    return {str(path.relative_to(ROOT)): ast.parse(path.read_text("utf-8")) for path in modules().values()}


@cache
def fields(told: bool = False) -> set[str]:
    """Names of the fields of what is recorded or sent; told: of those that hold what is to be said."""
    return {
        name_of(line.target)
        for path in (PACKAGE / "contract").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ClassDef)
        for line in node.body
        if isinstance(line, ast.AnnAssign) and (not told or names_in(line.annotation) & {"Told", "Message"})
    }


# -- unions ------------------------------------------------------------------------------------------------------------


def members_matched(match: ast.Match) -> set[str]:
    patterns = (part for case in match.cases for part in ast.walk(case.pattern))
    return {name_of(part.cls) for part in patterns if isinstance(part, ast.MatchClass)} & UNIONS


def ends_in_assert_never(match: ast.Match) -> bool:
    last = match.cases[-1]
    catches_all = isinstance(last.pattern, ast.MatchAs) and last.pattern.pattern is None and last.guard is None
    return catches_all and "assert_never" in names_in(last.body[-1])


def members_asked_for(test: ast.expr) -> set[str]:
    calls = [part for part in ast.walk(test) if isinstance(part, ast.Call) and name_of(part.func) == "isinstance"]
    return {name for call in calls for name in names_in(call.args[1])} & UNIONS


def half_handled(tree: ast.Module) -> Iterator[int]:
    """Lines of a match on members of a union that forgets some without a word, or of a chain that does."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Match) and members_matched(node) and not ends_in_assert_never(node):
            yield node.lineno
        if isinstance(node, ast.If) and members_asked_for(node.test) and len(node.orelse) == 1:
            second = node.orelse[0]
            if isinstance(second, ast.If) and members_asked_for(second.test):
                yield node.lineno


# Only some commands are asked about, bring figures or are answered in words of their own. One that is forgotten there
# is found by tests/daemon/test_figures_from_outside.py (every figure of every command) and tests/texts (every answer).
FOR_SOME = {
    "pourcall/contract/questions.py": 1,
    "pourcall/daemon/api/guard.py": 1,
    "pourcall/daemon/inputs/done.py": 1,
    "pourcall/records/read/so_far.py": 2,  # of all that is on record, what a melt that goes on has to know
}


def test_whoever_handles_a_union_of_the_contract_decides_every_member_of_it() -> None:
    assert {where: n for where, tree in trees().items() if (n := len(list(half_handled(tree))))} == FOR_SOME


@pytest.mark.parametrize(
    "code",
    [
        "match out:\n case PourMarked(): pass\n case _: pass",
        "match out:\n case ev.PourMarked() | ev.Marked(): pass",
        "if isinstance(out, PourMarked): pass\nelif isinstance(out, ev.Marked) and out.value: pass",
    ],
)
def test_a_match_or_a_chain_that_forgets_members_is_seen(code: str) -> None:
    assert list(half_handled(ast.parse(code))) == [1]


# -- sentences ---------------------------------------------------------------------------------------------------------


def is_said(node: ast.AST, spoken: frozenset[str] = frozenset()) -> bool:
    """A sentence that was just made, a name that holds one, or a field that holds what is to be said."""
    if isinstance(node, ast.Call):
        return name_of(node.func) in SAYING
    if isinstance(node, ast.Name):
        return node.id in spoken
    owner = node.value if isinstance(node, ast.Attribute) else None
    return owner is not None and name_of(node) in fields(told=True) and name_of(owner) not in ("args", "self")


def names_of_sentences(function: ast.AST) -> frozenset[str]:
    assigned = (part for part in ast.walk(function) if isinstance(part, ast.Assign) and is_said(part.value))
    return frozenset(name_of(target) for part in assigned for target in part.targets) - {""}


def reads(node: ast.AST, spoken: frozenset[str]) -> bool:
    if isinstance(node, ast.Compare):
        for op, left, right in zip(node.ops, (node.left, *node.comparators), node.comparators, strict=False):
            if isinstance(op, ast.In | ast.NotIn) and is_said(right, spoken):
                return True
            words = [side for side in (left, right) if isinstance(side, ast.Constant) and isinstance(side.value, str)]
            if isinstance(op, ast.Eq | ast.NotEq) and words and words[0].value:
                return is_said(left, spoken) or is_said(right, spoken)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr in READING and is_said(node.func.value, spoken):
            return True
        return node.func.attr in PATTERNS and any(is_said(given, spoken) for given in node.args)
    return False


def sentences_read(tree: ast.Module) -> Iterator[int]:
    """Lines that ask what a sentence says."""
    functions: list[ast.AST] = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    functions += [node for node in ast.walk(tree) if isinstance(node, ast.AsyncFunctionDef)]
    for function in functions or [tree]:
        spoken = names_of_sentences(function)
        yield from (node.lineno for node in ast.walk(function) if isinstance(node, ast.expr) and reads(node, spoken))


def test_nothing_decides_by_what_is_said() -> None:
    """By its words alone: that there is a word at all (`if why:`) is a fact."""
    assert {where: lines for where, tree in trees().items() if (lines := sorted(set(sentences_read(tree))))} == {}


@pytest.mark.parametrize(
    "code",
    [
        "'too short' in dip.why",
        "dip.why.startswith('too short')",
        "pour.basis == 'no temperature of the metal was known'",
        "say(tell('a.b')).split(':')",
        "re.search('lift', pour.basis)",
        "PATTERN.sub('', written(told))",
        "def f(told):\n text = say(told)\n return 'cold' in text",
    ],
)
def test_words_that_are_read_back_are_seen(code: str) -> None:
    assert list(sentences_read(ast.parse(code)))


def test_what_may_be_a_sentence_on_record_is_told_under_a_name_whose_temperatures_are_turned() -> None:
    """And under no other: a name that a person gave has nothing turned in it."""
    may_hold = SENTENCES | {"parts"}  # several messages, never a str
    found = [
        f"{where}:{node.lineno} {given.arg}"
        for where, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and name_of(node.func) == "tell"
        for given in node.keywords
        if isinstance(given.value, ast.Attribute) and is_said(given.value) and given.arg not in may_hold
    ]
    assert found == []


def test_no_word_of_the_catalogue_is_looked_up_for_what_a_person_names() -> None:
    """A board called `silent` is no board that is silent."""
    named = {"board", "probe", "furnace", "mould", "setup", "source", "instrument", "who", "file", "where", "figure"}
    assert {name.split(".")[1] for name in subject_texts("word")} & named == set()


# -- fields by name ----------------------------------------------------------------------------------------------------


def test_no_field_of_the_contract_is_asked_for_by_a_name_in_quotes() -> None:
    """What has which field the type says; `getattr` with a default says nothing where the field is misspelt."""
    found = [
        f"{where}:{node.lineno}"
        for where, tree in trees().items()
        if not where.startswith("pourcall/cli/")  # what argparse parsed has no type
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and name_of(node.func) == "getattr" and isinstance(node.args[1], ast.Constant)
        if node.args[1].value in fields() - {"value"}  # of an enumeration of a library
    ]
    assert found == []


# -- kinds -------------------------------------------------------------------------------------------------------------


def test_each_trouble_of_the_daemon_and_of_the_record_is_an_alarm() -> None:
    assert {*DaemonTrouble, *StoreProblem} - {StoreProblem.NONE} <= set(CATALOGUE)
