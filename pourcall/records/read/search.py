"""Words anywhere in the record. Names, notes, results, tags, setups, captions; every word must be in the melt.

Connection in, hits out; case does not count, a part of a word is enough. A scan, no index: 60,000 texts of 10,000 pours
take some tens of milliseconds (benchmarks/bench_store.py), and nothing has to be kept in step with the record.
"""

import sqlite3
from collections.abc import Sequence

import msgspec

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.records.read.views import pour_id

MOST_WORDS = 8


def _standing(table: str, within: str = "c.melt_id = t.melt_id AND ") -> str:
    """Leaves out rows that were corrected; `within` lets an index be used."""
    return f"AND NOT EXISTS (SELECT 1 FROM {table} c WHERE {within}c.corrects = t.id)"


_SETUP = " || ' ' || ".join(
    f"t.{key}" for key in ("name", "pattern", "material", "batch", "gating", "venting", "detail")
)
_CHARGE = (  # with the melt or the ingot returned metal is from
    "source || coalesce(' of ' || (SELECT x.melt FROM melts x WHERE x.id = t.from_melt_id)"
    " || coalesce('-i' || from_ingot, ''), '') || ' ' || detail"
)
_IN_FORCE = (  # the version a pour was poured with; described only later: the first
    "coalesce((SELECT v.id FROM mould_setups v WHERE v.name = p.setup AND v.at_utc_s <= p.at_utc_s"
    " ORDER BY v.at_utc_s DESC, v.id DESC LIMIT 1),"
    " (SELECT v.id FROM mould_setups v WHERE v.name = p.setup ORDER BY v.at_utc_s, v.id LIMIT 1))"
)
# (what, text searched, query of melt_id, pour_number or NULL, text shown); {has} is the condition on the text
# fmt: off
_TEXTS: tuple[tuple[str, str, str], ...] = (
    ("melt", "melt || ' ' || alloy_name || ' ' || alloy",
     "SELECT id, NULL, melt || ' ' || alloy_name || ' ' || alloy FROM melts t WHERE {has}"),
    ("mould", "mould || ' ' || setup",
     f"SELECT melt_id, number, mould || ' ' || setup FROM pours t WHERE {{has}} {_standing('pours', '')}"),
    ("note", "text",
     f"SELECT melt_id, pour_number, text FROM notes t WHERE {{has}} AND melt_id IS NOT NULL {_standing('notes')}"),
    ("result", "defect || ' ' || detail",
     ("SELECT melt_id, pour_number, defect || ' ' || severity || ' ' || detail FROM results t"
      f" WHERE {{has}} {_standing('results')}")),
    ("tag", "tag", "SELECT melt_id, nullif(pour_number, 0), tag FROM tags t WHERE {has}"),
    ("photo", "caption", "SELECT melt_id, pour_number, caption FROM photos t WHERE {has} AND melt_id IS NOT NULL"),
    ("charge", _CHARGE,
     f"SELECT melt_id, NULL, {_CHARGE} FROM charges t WHERE {{has}} AND taken_back = 0 {_standing('charges')}"),
    ("batch", "batch", f"SELECT melt_id, number, batch FROM pours t WHERE {{has}} {_standing('pours', '')}"),
    ("correction", "why", f"SELECT melt_id, number, why FROM pours t WHERE {{has}} {_standing('pours', '')}"),
    ("ending", "ending || ' ' || detail",
     f"SELECT melt_id, NULL, ending || ' ' || detail FROM melt_endings t WHERE {{has}} {_standing('melt_endings')}"),
    ("left", "kind", "SELECT melt_id, NULL, kind || ' ' || mass_kg || ' kg' FROM leavings_now t WHERE {has}"),
    ("plan", "why", "SELECT melt_id, NULL, why FROM melt_plans t WHERE {has}"),
    ("setup", _SETUP,
     (f"SELECT p.melt_id, p.number, {_SETUP} FROM pours_now p JOIN mould_setups t ON t.id = {_IN_FORCE}"
      f" WHERE p.setup IN (SELECT name FROM mould_setups t WHERE {{has}})"
      f" AND t.id IN (SELECT id FROM mould_setups t WHERE {{has}})")),
)
# fmt: on


class Hit(msgspec.Struct, frozen=True, kw_only=True):
    """One text that holds a word. pour: empty for the melt as a whole; what: melt, mould, note, result ..."""

    melt: str
    pour: str
    what: str
    text: str


def find(conn: sqlite3.Connection, words: Sequence[str], *, limit: int) -> tuple[Hit, ...]:
    """Texts with any of the words, of the newest `limit` melts that have all of them. Raises BadInput for no word."""
    wanted = list(dict.fromkeys(_fold(part) for word in words for part in word.split()))
    if not 1 <= len(wanted) <= MOST_WORDS:
        raise BadInput(
            tell("record.find_words", count=len(wanted)), remedy=tell("record.find_words.remedy", most=MOST_WORDS)
        )
    beyond_ascii = not all(word.isascii() for word in words)
    if beyond_ascii:  # LIKE folds the case of ASCII alone
        conn.create_function("pourcall_fold", 1, _fold, deterministic=True)
    said: dict[int, list[tuple[int | None, str, str]]] = {}
    heard: dict[int, set[int]] = {}
    known: dict[str, frozenset[int]] = {}  # text -> which of the words are in it
    for what, column, query in _TEXTS:
        folded = f"pourcall_fold({column})" if beyond_ascii else f"({column})"
        has = "(" + " OR ".join(f"{folded} LIKE ?{n + 1} ESCAPE '!'" for n in range(len(wanted))) + ")"
        for melt_id, number, text in conn.execute(query.format(has=has), [_pattern(word) for word in wanted]):
            if (there := known.get(text)) is None:  # many pours say the same: a setup, a mould, a defect
                in_text = _fold(text)
                there = known[text] = frozenset(n for n, word in enumerate(wanted) if word in in_text)
            said.setdefault(melt_id, []).append((number, what, text))
            heard.setdefault(melt_id, set()).update(there)
    whole = sorted((melt_id for melt_id, found in heard.items() if len(found) == len(wanted)), reverse=True)[:limit]
    marks = ",".join("?" * len(whole))
    names = dict(conn.execute(f"SELECT id, melt FROM melts WHERE id IN ({marks})", whole).fetchall())
    return tuple(
        Hit(melt=names[m], pour="" if number is None else pour_id(names[m], number), what=what, text=text.strip())
        for m in whole
        for number, what, text in sorted(said[m], key=lambda one: one[0] or 0)
    )


def _fold(text: str) -> str:
    return text.casefold()


def _pattern(word: str) -> str:
    escaped = word.replace("!", "!!").replace("%", "!%").replace("_", "!_")
    return f"%{escaped}%"
