"""Nothing that a person reads is written outside the catalogue: what commands print, `--help`, tables of data, formats.

Read from the source, as test_errors.py does for errors. A word alone (a heading, a key, an option) is no sentence.
"""

import ast
import re
import tomllib
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest

import pourcall
from pourcall.cli.main import COMMANDS
from pourcall.contract.message import Message
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.registry import FORMATS
from pourcall.texts.catalogue import subject_texts
from pourcall.thermometry.reference_points import POINTS, boiling_point
from pourcall.trials.defects import TABLE, defects

PACKAGE = Path(pourcall.__file__).parent
SEVERAL_WORDS = re.compile(r"[A-Za-z]{2,}[,;:]?\s+[A-Za-z]{2,}")
FROM_THE_CATALOGUE = frozenset({"tell", "word", "said", "option"})  # what stands within is a name, or a fact
DATA = frozenset({"execute", "strftime", "split", "startswith", "removeprefix"})
OF_THE_PARSER = frozenset({"help", "description", "epilog", "title"})
PRINTED = frozenset({"print", "input"})
# Not sentences: the command line itself, and what is typed into a shell as it stands.
AS_TYPED = frozenset({"pourcall COMMAND ...", "  export POURCALL_HOME="})


def name_of(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def sentences(node: ast.expr) -> Iterator[str]:
    """Literals of several words in an expression that are not asked of the catalogue."""
    if isinstance(node, ast.Call) and name_of(node) in FROM_THE_CATALOGUE | DATA:
        return
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str) and SEVERAL_WORDS.search(node.value) and node.value not in AS_TYPED:
            yield node.value
        return
    for part in ast.iter_child_nodes(node):
        if isinstance(part, ast.expr):
            yield from sentences(part)
        elif isinstance(part, ast.keyword):
            yield from sentences(part.value)


def spoken(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """What a module of commands gives to the parser, prints, or hands to who prints it."""
    for node in ast.walk(tree):
        heard: list[ast.expr] = []
        if isinstance(node, ast.Call):
            heard = [word.value for word in node.keywords if word.arg in OF_THE_PARSER and name_of(node) != "tell"]
            heard += node.args if name_of(node) in PRINTED else []
        elif isinstance(node, ast.Yield | ast.Return) and node.value is not None:
            heard = [node.value]
        yield from ((one.lineno, words) for one in heard for words in sentences(one))


def test_no_command_prints_or_explains_in_words_of_its_own() -> None:
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {words[:80]}"
        for path in sorted((PACKAGE / "cli").rglob("*.py"))
        if path.name != "demo_shop.py"  # writes a settings file, with the comments of one
        for line, words in spoken(ast.parse(path.read_text("utf-8")))
    ]
    assert found == []


def test_words_are_found_however_they_are_printed() -> None:
    def lines(text: str) -> list[int]:
        return sorted({line for line, _ in spoken(ast.parse(text))})

    assert lines('print("nothing was kept")') == [1]
    assert lines('print(f"  it reads {x} too high")') == [1]
    assert lines('def f():\n    yield f"of {x}: kept as number {n}"') == [2]
    assert lines('def f():\n    return "not the alloy" if x else ""') == [2]
    assert lines('parser.add_argument("--cold", help="of the terminals")') == [1]
    assert lines('subs.add_parser("end", description="Several may be told")') == [1]
    assert lines('print(say(tell("calibration.dry_run")))') == []
    assert lines('parser.add_argument("--cold", metavar="TEMP", help=described(tell("option.cold")))') == []


AS_IT_IS = frozenset({"MB", "W", "kg", "mm", "µV", "pourcall"})  # units, and our own name


def written_in(node: ast.expr) -> Iterator[tuple[int, str]]:
    """The words that stand in an expression as they are printed: of a literal, of either branch, of an f-string."""
    match node:
        case ast.Constant(value=str(text)):
            if text not in AS_TYPED:
                yield from (
                    (node.lineno, found) for found in re.findall(r"[^\W\d_]{2,}", text) if found not in AS_IT_IS
                )
        case ast.JoinedStr() | ast.BoolOp():
            for part in node.values:
                yield from written_in(part)
        case ast.FormattedValue():
            yield from written_in(node.value)
        case ast.IfExp():
            yield from (*written_in(node.body), *written_in(node.orelse))
        case ast.BinOp():
            yield from (*written_in(node.left), *written_in(node.right))
        case ast.Lambda():
            yield from written_in(node.body)
        case ast.List() | ast.Tuple():
            for part in node.elts:
                yield from written_in(part)
        case ast.ListComp():
            yield from written_in(node.elt)
        case ast.Dict():
            for part in node.values:
                yield from written_in(part)
        case ast.Call(func=ast.Name(id="str")):
            for part in node.args:
                yield from written_in(part)
        case _:
            pass


# The page of one mould setup has a line for each (`_facts` in cli/pours/mould_command.py).
LINES_OF_A_SETUP = frozenset({"batch", "gating", "mass", "material", "note", "pattern", "preheat", "thinnest", "vents"})


def tables(tree: ast.AST) -> Iterator[tuple[list[str], ast.expr]]:
    """Each table that is printed: the names of its columns, and the expression of its cells."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and name_of(node) == "print_table":
            yield [str(getattr(one, "value", "")) for one in getattr(node.args[0], "elts", ())], node.args[1]
        elif isinstance(node, ast.Call) and name_of(node) == "print_listing":
            yield [str(getattr(one, "value", "")) for one in getattr(node.args[2], "keys", ())], node.args[2]


def test_every_heading_of_a_table_is_in_the_catalogue_and_none_there_is_dead() -> None:
    found: set[str] = set()
    for path in sorted((PACKAGE / "cli").rglob("*.py")):
        if path.name == "common.py":  # hands on what it is given
            continue
        for columns, _ in tables(ast.parse(path.read_text("utf-8"))):
            assert columns, f"{path.name}: columns are named where the table is printed"
            found |= set(columns) - {""}
    assert {f"column.{name}" for name in found | LINES_OF_A_SETUP} == set(subject_texts("column"))


def test_no_word_of_a_line_or_a_cell_is_written_where_it_is_printed() -> None:
    found = []
    for path in sorted((PACKAGE / "cli").rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        shown = [cells for _, cells in tables(tree)]
        shown += [
            one
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and name_of(node) in PRINTED
            for one in node.args
        ]
        found += [f"{path.relative_to(PACKAGE)}:{line}: {text}" for node in shown for line, text in written_in(node)]
    assert found == []


def test_a_single_word_is_found_wherever_it_stands_in_a_line() -> None:
    def heard(text: str) -> list[str]:
        return [found for _, found in written_in(ast.parse(text, mode="eval").body)]

    assert heard('f"refused: {said(one)}"') == ["refused"]
    assert heard("one or 'never'") == ["never"]
    assert heard("[[x, 'yes' if x else 'no'] for x in rows]") == ["yes", "no"]
    assert heard("{'probe': lambda row: row.name + ' kept'}") == ["kept"]
    assert heard("word('place', one['place'])") == []
    assert heard("f'{row.kg:.2f} kg'") == []


def test_every_command_has_its_line_in_the_overview_and_no_line_is_dead() -> None:
    lines = {name for name in subject_texts("overview") if name.startswith("overview.command.")}
    assert lines == {f"overview.command.{name}" for name in COMMANDS}


def test_columns_of_a_file_are_described_from_the_catalogue() -> None:
    found = []
    for path in sorted((PACKAGE / "reports" / "tables").glob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Dict):
                found += [f"{path.name}:{v.lineno}: {w}" for v in node.values if v is not None for w in sentences(v)]
    assert found == []


def test_the_table_of_defects_holds_keys_and_terms_and_the_catalogue_its_sentences() -> None:
    for key, row in tomllib.loads(TABLE.read_text("utf-8"))["defect"].items():
        worded = {name for name, value in row.items() if isinstance(value, str) and " " in value}
        assert worded <= {"term"}, key
    texts = subject_texts("defect")
    for key, one in defects().items():
        assert one.looks.name in texts, key
        assert not one.first or one.first.name in texts, key
    looks = {one.looks.name for one in defects().values()}
    assert {name for name in texts if name.startswith("defect.looks.")} == looks
    remedies = {one.first.name for one in defects().values() if one.first}
    assert {name for name in texts if name.startswith("defect.first.")} == remedies


def test_a_known_temperature_is_named_by_the_catalogue() -> None:
    texts = subject_texts("point")
    for point in (*POINTS.values(), boiling_point(altitude_m=450.0)):
        assert isinstance(point.name, Message)
        assert point.name.name in texts, point.key
        assert not point.note or point.note.name in texts, point.key
    names = {one.name.name for one in POINTS.values()} | {"point.name.of_alloy"}
    assert {name for name in texts if name.startswith("point.name.")} == names
    assert {name for name in texts if name.startswith("point.note.")} == {
        one.note.name for one in POINTS.values() if one.note
    }


@pytest.mark.parametrize("one", FORMATS.values(), ids=lambda one: one.name)
def test_a_wire_format_is_told_by_the_catalogue(one: WireFormat) -> None:
    assert f"word.format.{one.name}" in subject_texts("word")
    held = [getattr(one, field.name) for field in fields(one)]
    assert [value for value in held if isinstance(value, str) and SEVERAL_WORDS.search(value)] == []
