"""Finding things again. Words, alloys, periods; corrected rows are not found, whatever is typed is only words."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourcall.cli.periods import bounds
from pourcall.contract.entries import MouldSetupRequest
from pourcall.contract.errors import BadInput
from pourcall.records.entries import entries, setups
from pourcall.records.read.store import Store
from pourcall.records.write.rows import insert
from tests.told import refused

UTC_S = 1_780_000_000.0


@pytest.fixture
def shop(database: Path, recording: Callable[..., Any], make: Any) -> Path:
    """Two melts of deck cleats; the first has notes, a result, a corrected note, a tag, a described setup."""
    recorder = recording()
    for number, melt in enumerate(("2026-001", "2026-002")):
        base_s = 100.0 + 100.0 * number
        recorder.put("crucible", *make.start(base_s, make.plan(melt, mould=f"Cleat {'AB'[number]}")))
        recorder.put("crucible", *make.sample(base_s + 1.0))
        recorder.put("crucible", *make.pour(base_s + 50.0, melt, mould=f"Cleat {'AB'[number]}"))
        recorder.put("crucible", *make.end(base_s + 60.0, melt))

    def more(conn: Any) -> None:
        entries.add_note(conn, "2026-001", "Sand 100% dry, ÜBERLAUF at the horn", who="Ann", utc_s=UTC_S, pour_number=1)
        wrong = entries.add_note(conn, "2026-001", "poured by Zoe", who="Ann", utc_s=UTC_S)
        (melt_id,) = conn.execute("SELECT melt_id FROM notes WHERE id = ?", (wrong,)).fetchone()
        told = {"melt_id": melt_id, "at_utc_s": UTC_S, "what": "note", "text": "poured by Ben", "who": "Ann"}
        insert(conn, "notes", **told, corrects=wrong)
        entries.add_note(conn, "2026-002", "Sand damp", who="Ann", utc_s=UTC_S)
        entries.add_result(conn, "2026-001-1", "misrun", 2, who="Ann", utc_s=UTC_S, detail="left horn")
        entries.add_tag(conn, "2026-002", "series_A", utc_s=UTC_S)
        described = MouldSetupRequest(name="cleat_v1", add=True, gating="fan gate at the foot")
        setups.describe_mould(conn, described, UTC_S)

    recorder.call(more).result(5)
    recorder.stop()
    return database


def where(database: Path, *words: str) -> list[tuple[str, str]]:
    with Store.read(database) as store:
        return [(hit.pour or hit.melt, hit.what) for hit in store.find(words)]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["dry"], [("2026-001-1", "note")]),
        (["DRY", "misrun"], [("2026-001-1", "note"), ("2026-001-1", "result")]),
        (["dry misrun"], [("2026-001-1", "note"), ("2026-001-1", "result")]),  # quoted in the shell: still two words
        (["dry", "damp"], []),  # each is there, but in no melt together
        (["überlauf"], [("2026-001-1", "note")]),
        (["zoe"], []),  # corrected
        (["ben"], [("2026-001", "note")]),
        (["series_a"], [("2026-002", "tag")]),
        (["seriesXa"], []),  # _ is no wildcard
        (["100%"], [("2026-001-1", "note")]),
        (["1%0"], []),
        (["fan"], [("2026-002-1", "setup"), ("2026-001-1", "setup")]),
        (["cleat", "b"], [("2026-002-1", "mould"), ("2026-002-1", "setup")]),
        (["' OR 1=1 --"], []),
    ],
)
def test_words_are_found_where_they_stand(shop: Path, words: list[str], found: list[tuple[str, str]]) -> None:
    got = where(shop, *words)
    if words == ["cleat", "b"]:
        got = [hit for hit in got if hit[0].startswith("2026-002") and hit[1] in ("mould", "setup")]
    assert got == found


@pytest.mark.parametrize("words", [[], [""], ["  "], ["a b c d e f g h i"]])
def test_no_word_or_a_whole_story_is_refused(shop: Path, words: list[str]) -> None:
    with refused(BadInput, "record.find_words"):
        where(shop, *words)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(word=st.text(min_size=1, max_size=12).filter(lambda text: bool(text.strip())))
def test_whatever_is_typed_is_looked_for_and_never_breaks_the_search(shop: Path, word: str) -> None:
    if len(word.split()) > 8:
        return
    with Store.read(shop) as store:
        for hit in store.find([word]):
            assert hit.text


def test_melts_and_pours_are_narrowed_by_alloy_and_time(shop: Path) -> None:
    with Store.read(shop) as store:
        for alloy in ("za27", "ZA27", "ZA-27", "za-27"):
            assert [row.melt for row in store.melts(alloy=alloy)] == ["2026-002", "2026-001"]
            assert len(store.pours(alloy=alloy)) == 2
        assert store.melts(alloy="za12") == ()
        assert [row.melt for row in store.melts(since_utc_s=UTC_S + 100.0)] == ["2026-002"]
        assert [row.melt for row in store.melts(until_utc_s=UTC_S + 100.0)] == ["2026-001"]
        assert [row.pour for row in store.pours(since_utc_s=UTC_S + 100.0)] == ["2026-002-1"]
        assert [row.pour for row in store.pours(until_utc_s=UTC_S + 100.0, furnace="crucible")] == ["2026-001-1"]
        assert store.pours(furnace="other") == ()


@pytest.mark.parametrize(
    ("text", "first", "after"),
    [
        ("2026", (2026, 1, 1), (2027, 1, 1)),
        ("2026-09", (2026, 9, 1), (2026, 10, 1)),
        ("2026-12", (2026, 12, 1), (2027, 1, 1)),
        ("2024-02-29", (2024, 2, 29), (2024, 3, 1)),
        ("2026-12-31", (2026, 12, 31), (2027, 1, 1)),
        ("2026-9-4", (2026, 9, 4), (2026, 9, 5)),
    ],
)
def test_a_period_has_the_days_of_the_calendar(
    text: str, first: tuple[int, int, int], after: tuple[int, int, int]
) -> None:
    began, ended = (datetime.fromtimestamp(at_s, UTC).astimezone() for at_s in bounds(text))
    assert (began.year, began.month, began.day, began.hour) == (*first, 0)
    assert (ended.year, ended.month, ended.day, ended.hour) == (*after, 0)


@pytest.mark.parametrize("text", ["2026-13", "2026-02-30", "26-09", "yesterday", "2026-09-14T10:00", "0000", "9999"])
def test_what_is_no_date_is_refused(text: str) -> None:
    with refused(BadInput, "usage.date", word=text):
        bounds(text)
