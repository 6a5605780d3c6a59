"""No error has a sentence of its own: what happened and what to do are messages of the catalogue, by name and facts.

Read from the source: every call of PourcallError or a class under it, and what such a class hands to the class above.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pourcall
from pourcall.contract import errors

PACKAGE = Path(pourcall.__file__).parent
SAID_BY = ("what", "remedy", "told", "to_do")  # arguments that a person is told; `where` is a datum
MESSAGE = "tell"  # what stands within it is a name of the catalogue, or a fact
AS_THEY_STAND = frozenset({"own", "as_message"})  # for words of a person, or on record: not for ours
SENTENCES = frozenset(
    {"say", "sentence", "written", "str", "repr", "format", "join", "in_unit"}
)  # words, made too early
Function = ast.FunctionDef | ast.AsyncFunctionDef


class Source(NamedTuple):
    """One module."""

    path: str
    tree: ast.Module


@cache
def sources() -> tuple[Source, ...]:
    paths = sorted(PACKAGE.rglob("*.py"))
    return tuple(Source(str(path.relative_to(PACKAGE)), ast.parse(path.read_text("utf-8"))) for path in paths)


def name_of(node: ast.expr) -> str:
    """`Refused` for `Refused`, `errors.Refused`, `Refused(...)`."""
    if isinstance(node, ast.Call):
        return name_of(node.func)
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


@cache
def error_classes() -> dict[str, tuple[str, ...]]:
    """Every class of error and what it is called with, in order: those of the contract, and those made elsewhere."""
    found: dict[str, tuple[str, ...]] = {"PourcallError": ("what",)}
    classes = [node for source in sources() for node in ast.walk(source.tree) if isinstance(node, ast.ClassDef)]
    grown = True
    while grown:
        grown = False
        for one in classes:
            above = next((found[name_of(base)] for base in one.bases if name_of(base) in found), None)
            if one.name not in found and above is not None:
                own = [part for part in one.body if isinstance(part, ast.FunctionDef) and part.name == "__init__"]
                found[one.name] = tuple(arg.arg for arg in own[0].args.args[1:]) if own else above
                grown = True
    return found


def said(call: ast.Call, names: tuple[str, ...]) -> list[ast.expr]:
    """The arguments that a person is told."""
    named = ((word.arg or "", word.value) for word in call.keywords)
    return [value for name, value in (*zip(names, call.args, strict=False), *named) if name in SAID_BY]


class Made(NamedTuple):
    """One making of an error: the call, what is told by it, and the function around it."""

    path: str
    call: ast.Call
    told: list[ast.expr]
    function: Function | None


class Maker(ast.NodeVisitor):
    """Finds them in one module; `super().__init__(...)` of such a class is one too."""

    def __init__(self, path: str) -> None:
        self.path, self.found = path, list[Made]()
        self._function: Function | None = None
        self._above: tuple[str, ...] = ()

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        before = self._above
        self._above = next(
            (error_classes()[name_of(base)] for base in node.bases if name_of(base) in error_classes()), ()
        )
        self.generic_visit(node)
        self._above = before

    def visit_FunctionDef(self, node: Function) -> None:
        before, self._function = self._function, node
        self.generic_visit(node)
        self._function = before

    visit_AsyncFunctionDef = visit_FunctionDef

    def visit_Call(self, node: ast.Call) -> None:
        name = name_of(node.func)
        names = error_classes().get(name, self._above if name == "__init__" else ())
        if names:
            self.found.append(Made(self.path, node, said(node, names), self._function))
        self.generic_visit(node)


def makings(source: Source) -> list[Made]:
    maker = Maker(source.path)
    maker.visit(source.tree)
    return maker.found


@cache
def errors_made() -> tuple[Made, ...]:
    return tuple(made for source in sources() for made in makings(source))


def words_in(value: ast.expr, function: Function | None, seen: frozenset[str] = frozenset()) -> bool:
    """Whether words of ours are in it, or may be: a literal, a str that was handed over, a sentence made too early."""
    if isinstance(value, ast.Constant):
        return isinstance(value.value, str) and value.value != ""
    if isinstance(value, ast.JoinedStr):
        return True
    if isinstance(value, ast.Call):
        of = [value.func.value] if isinstance(value.func, ast.Attribute) else []
        handed_on = [*of, *(value.args if name_of(value.func) in AS_THEY_STAND else ())]
        made_early = name_of(value.func) in SENTENCES or any(words_in(one, function, seen) for one in handed_on)
        return name_of(value.func) != MESSAGE and made_early
    if isinstance(value, ast.Attribute):
        return False  # a field of a message, of another error, of an answer
    if isinstance(value, ast.IfExp):
        return words_in(value.body, function, seen) or words_in(value.orelse, function, seen)
    if isinstance(value, ast.Name) and function is not None and value.id not in seen:
        seen |= {value.id}
        arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
        if any(arg.arg == value.id and name_of_type(arg.annotation) == "str" for arg in arguments):
            return True
        return any(words_in(one, function, seen) for one in given_to(value.id, function))
    return any(words_in(part, function, seen) for part in ast.iter_child_nodes(value) if isinstance(part, ast.expr))


def name_of_type(annotation: ast.expr | None) -> str:
    return annotation.id if isinstance(annotation, ast.Name) else ""


def given_to(name: str, function: Function) -> Iterator[ast.expr]:
    """What a name within a function may stand for."""
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Name) and target.id == name:
                    yield node.value
                elif isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple):
                    yield from (
                        value
                        for one, value in zip(target.elts, node.value.elts, strict=False)
                        if isinstance(one, ast.Name) and one.id == name
                    )


def with_words(text: str) -> list[int]:
    """The lines of a module at which an error is made with words of its own."""
    return [made.call.lineno for made in makings(Source("-", ast.parse(text))) if is_worded(made)]


def is_worded(made: Made) -> bool:
    return any(words_in(one, made.function) for one in made.told)


def test_no_error_is_made_with_words_of_its_own() -> None:
    worded = [f"{one.path}:{one.call.lineno}: {ast.unparse(one.call)[:100]}" for one in errors_made() if is_worded(one)]
    assert worded == []


def test_where_something_is_wrong_is_a_name_and_no_sentence() -> None:
    """A file, a key, an option (`--mould 'cleat 1'`): the same in every language."""
    sentences = [
        f"{made.path}:{made.call.lineno}: {ast.unparse(word.value)}"
        for made in errors_made()
        for word in made.call.keywords
        if word.arg == "where"
        for part in ast.walk(word.value)
        if isinstance(part, ast.Constant) and isinstance(part.value, str) and " " in part.value.strip()
    ]
    assert sentences == []


def test_the_errors_looked_for_are_those_there_are() -> None:
    classes = [one for one in vars(errors).values() if isinstance(one, type)]
    assert {one.__name__ for one in classes if issubclass(one, errors.PourcallError)} <= error_classes().keys()
    assert len(errors_made()) > 300


def test_words_are_found_however_they_are_handed_over() -> None:
    assert with_words('raise BadInput("the pot is empty")') == [1]
    assert with_words('raise errors.NotFound(f"no melt {melt}")') == [1]
    assert with_words('raise BadInput(tell("a.b"), remedy="Fill it")') == [1]
    assert with_words('raise BadInput("it is " + word)') == [1]
    assert with_words('raise BadInput(tell("a.b") if pot else "no pot")') == [1]
    assert with_words('raise BadInput(say(tell("a.b")))') == [1]
    assert with_words('raise BadInput(own("the pot is empty"))') == [1]
    assert with_words("def f(why: str) -> None:\n    raise BadInput(why)") == [2]
    assert with_words('def f() -> None:\n    what = "no pot"\n    raise BadInput(what)') == [3]
    assert with_words('class Empty(Refused):\n    def __init__(self) -> None:\n        super().__init__("empty")') == [
        3
    ]


def test_messages_facts_and_what_another_error_said_are_no_words_of_ours() -> None:
    assert with_words('raise BadInput(tell("a.b", word="x"), where="--pot", remedy=tell("a.b.remedy"))') == []
    assert with_words("raise BadInput(err.what, where=err.where, remedy=err.remedy)") == []
    assert with_words('def f() -> None:\n    what = tell("a.b")\n    raise BadInput(what)') == []
    assert with_words('raise BadInput(tell("a.b") if pot else tell("a.c"))') == []
    assert with_words('raise ValueError("a fault of the program itself")') == []
