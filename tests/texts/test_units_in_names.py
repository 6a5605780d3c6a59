"""A rate carries its unit in its name: `rate_c_per_min`, never `rate_per_min`. Fields, arguments and facts of messages.

The rule is that of DEVELOPERS.md; read from the source.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pourcall
from pourcall.texts.saying import PLACE
from tests.texts.test_catalogue import texts

PACKAGE = Path(pourcall.__file__).parent
RATE = re.compile(r"(?:^|_)per_[a-z0-9_]+$")
# What stands before `per`: a unit, or what is counted (a price, an air change) and has none.
UNITS = "c k j kj kg g mg mm m m3 cm3 ml w kw v uv mv s min h n pa mol bytes rows"
COUNTED = "price changes turnover steps fin oxide"
HOLDS_A_UNIT = re.compile(r"(?:^|_)(?:" + "|".join(f"{UNITS} {COUNTED}".split()) + r")$")


def is_bare(name: str) -> bool:
    """`rate_per_min`, `per_kg`: nothing before `per` says a unit of what."""
    if not RATE.search(name):
        return False
    before, _, _ = name.rpartition("_per_") if "_per_" in name else ("", "", "")
    return HOLDS_A_UNIT.search(before.split("_per_")[0]) is None


def names(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Fields of classes, arguments of functions, and keywords of calls: what travels under a name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            for part in node.body:
                if isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name):
                    yield part.lineno, part.target.id
        elif isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.keyword) and node.arg is not None:
            yield node.value.lineno, node.arg


@cache
def everywhere() -> tuple[tuple[str, str], ...]:
    return tuple(
        (f"{path.relative_to(PACKAGE)}:{line}", name)
        for path in sorted(PACKAGE.rglob("*.py"))
        for line, name in names(ast.parse(path.read_text("utf-8")))
    )


def test_a_rate_in_a_field_an_argument_or_a_fact_names_its_unit() -> None:
    assert [f"{where}: {name}" for where, name in everywhere() if is_bare(name.lower())] == []


def test_a_rate_in_a_sentence_names_its_unit() -> None:
    told = [(name, found[1]) for name, text in texts().items() for found in PLACE.finditer(text)]
    assert [f"{name}: {fact}" for name, fact in told if is_bare(fact)] == []


def test_bare_rates_are_found_and_others_are_not() -> None:
    for name in ("per_kg", "rate_per_min", "loss_per_s", "per_melt_hour", "limit_per_kg_max_per_h"):
        assert is_bare(name), name
    for name in ("rate_c_per_min", "latent_kj_per_kg", "price_per_kwh", "w_per_m2_k", "changes_per_h", "per", "paper"):
        assert not is_bare(name), name
    assert sum(bool(RATE.search(name)) for _, name in everywhere()) > 150
