"""What a melt was charged with, and how often returned metal was molten before; told later, corrected, kept."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourcall.contract.entries import ChargeEntry, ChargeRequest, EndingRequest
from pourcall.contract.errors import BadInput, NotFound, PourcallError
from pourcall.contract.events import MarkKind
from pourcall.contract.message import Message, tell
from pourcall.daemon.api import library
from pourcall.records.entries.charges import charge_told
from pourcall.records.read.store import Store
from pourcall.texts import say
from tests.records.conftest import UTC_S, Shop, new, returns, scrap
from tests.told import message, parts, refused

Maker = Any


def metal(mass_kg: float, source: str) -> Message:
    return tell("charge.metal", mass=tell("charge.mass", mass_kg=mass_kg), source=source)


def test_metal_is_told_with_mass_source_melt_and_how_often_it_was_molten(shop: Shop) -> None:
    shop.charge("2026-001", new(1.0), returns(1.2, remelts=4))
    shop.charge("2026-002", returns(0.5, "2026-001"), scrap(0.2, detail="taps"))
    shop.charge("2026-003", returns(0.9, "2026-002"))
    with Store.read(shop.path) as store:
        told = [charge_told(one) for number in "123" for one in store.melt(f"2026-00{number}").charges]

    def of(mass_kg: float, origin: str) -> Message:
        mass = tell("charge.mass", mass_kg=mass_kg)
        return tell("charge.metal_of", mass=mass, source="returns", origin=origin)

    four, five, six = (tell("charge.often.3", remelts=remelts) for remelts in (4, 5, 6))  # three times and more
    assert [parts(one, "parts") for one in told] == [
        (metal(1.0, "new"),),
        (metal(1.2, "returns"), tell("charge.molten", often=four)),
        (of(0.5, "2026-001"), tell("charge.molten", often=five)),
        (metal(0.2, "scrap"), tell("charge.detail", detail="taps")),
        (of(0.9, "2026-002"), tell("charge.molten_at_least", often=six)),
    ]


def test_returns_count_one_more_than_the_highest_of_their_melt(shop: Shop) -> None:
    shop.charge("2026-001", new(1.2))
    told = shop.charge("2026-002", new(0.6), returns(0.5, "2026-001"))
    of_first = tell("charge.metal_of", mass=tell("charge.mass", mass_kg=0.5), source="returns", origin="2026-001")
    once = tell("charge.molten", often=tell("charge.often.1", remelts=1))
    assert parts(told, "entries")[1] == tell("charge.entry", parts=(of_first, once))
    shop.charge("2026-003", returns(0.9, "2026-002"), returns(0.1, "2026-001"))
    assert shop.charges("2026-003") == [
        (1, 0.9, "returns", "2026-002", 2, "carried on"),
        (2, 0.1, "returns", "2026-001", 1, "carried on"),
    ]
    shop.charge("2026-001", scrap(0.2))  # nobody knows how often that was molten
    assert shop.charges("2026-001") == [(1, 1.2, "new", "", 0, "told"), (2, 0.2, "scrap", "", None, "")]
    assert shop.charges("2026-002")[1] == (2, 0.5, "returns", "2026-001", 1, "at least")


def test_a_correction_of_an_older_melt_reaches_the_younger_ones(shop: Shop) -> None:
    shop.charge("2026-001", new(1.2))
    shop.charge("2026-002", returns(0.5, "2026-001"))
    shop.charge("2026-003", returns(0.5, "2026-002"))
    told = shop.charge("2026-001", returns(1.2, remelts=4), correcting=1, why="it was gates", who="ann")
    assert told.name == "charge.corrected"
    four_times = tell("charge.molten", often=tell("charge.often.3", remelts=4))
    corrected = tell("charge.entry", parts=(metal(1.2, "returns"), four_times))
    assert (told.facts["number"], told.facts["entry"]) == (1, corrected)
    assert shop.charges("2026-003") == [(1, 0.5, "returns", "2026-002", 6, "carried on")]
    assert shop.rows("charges") == 4
    with Store.read(shop.path) as store:
        (one,) = store.melt("2026-001").charges
        assert (one.corrected, one.why, one.who) == (True, "it was gates", "ann")
        with store.reading() as conn:
            kept = conn.execute("SELECT old, new, at_utc_s, why FROM corrections").fetchall()
    assert kept == [(say(tell("charge.entry", parts=(metal(1.2, "new"),))), say(corrected), shop.now_s, "it was gates")]


def test_returns_of_a_melt_with_nothing_on_record_count_once_at_least(shop: Shop) -> None:
    shop.charge("2026-002", returns(0.5, "2026-001"))
    assert shop.charges("2026-002") == [(1, 0.5, "returns", "2026-001", 1, "at least")]
    shop.charge("2026-003", returns(0.5, "2026-002"))
    assert shop.charges("2026-003") == [(1, 0.5, "returns", "2026-002", 2, "at least")]


def test_an_entry_that_is_taken_back_is_kept_and_its_number_is_not_given_again(shop: Shop) -> None:
    shop.charge("2026-001", new(1.0), scrap(0.3))
    assert shop.charge("2026-001", correcting=2, why="weighed in another pot").name == "charge.taken_back"
    shop.charge("2026-001", scrap(0.1))
    assert shop.charges("2026-001") == [(1, 1.0, "new", "", 0, "told"), (3, 0.1, "scrap", "", None, "")]
    assert shop.rows("charges") == 4
    with refused(NotFound, "charge.no_entry", number=2):
        shop.charge("2026-001", scrap(0.2), correcting=2)


def test_gates_of_a_pour_and_ingots_of_a_melt_are_metal_of_that_melt(shop: Shop) -> None:
    shop.charge("2026-001", new(1.0))
    shop.enter(EndingRequest(melt="2026-001", ingots_kg=(0.4, 0.3)))
    shop.charge("2026-002", returns(0.2, "2026-001-1"), returns(0.3, "2026-001-i2"))
    assert shop.charges("2026-002") == [
        (1, 0.2, "returns", "2026-001", 1, "carried on"),
        (2, 0.3, "returns", "2026-001-i2", 1, "carried on"),
    ]
    with refused(NotFound, "charge.no_ingot", ingot="2026-001-i3") as caught:
        shop.charge("2026-003", returns(0.3, "2026-001-i3"))
    assert message(caught.value.remedy).facts["known"] == "2026-001-i1, 2026-001-i2"


@pytest.mark.parametrize(
    ("entries", "says"),
    [
        ((), tell("charge.nothing")),
        ((new(1.0, remelts=2),), tell("charge.new_remelted", remelts=2)),
        ((new(1.0, origin="2026-001"),), tell("charge.not_returns", source="new", origin="2026-001")),
        ((scrap(1.0, origin="2026-001"),), tell("charge.not_returns", source="scrap", origin="2026-001")),
        ((returns(1.0, remelts=-1),), tell("charge.remelts", remelts=-1)),
        ((returns(1.0, remelts=51),), tell("charge.remelts", remelts=51)),
        ((returns(1.0, "2026-002"),), tell("charge.own_source", melt="2026-002")),
        ((returns(1.0, "2026-002-1"),), tell("charge.own_source", melt="2026-002")),
        ((returns(1.0, "2026-003"),), tell("charge.later_source", origin="2026-003", melt="2026-002")),
        ((returns(1.0, "2026-009"),), tell("record.no_melt", melt="2026-009")),
        ((returns(1.0, "\x1b[31m"),), tell("entry.unseen", entry_part="origin", code="U+001B")),
        ((returns(1.0, "2026-001", remelts=1), returns(1.0, "x")), tell("record.no_melt", melt="x")),
        ((new(0.0),), tell("entry.mass", mass_kg=0.0, most_kg=100.0)),
        ((new(float("inf")),), tell("entry.mass", mass_kg=float("inf"), most_kg=100.0)),
        ((ChargeEntry(source="cheese", mass_kg=1.0),), tell("charge.source", source="cheese")),
        ((scrap(1.0, detail="bell\x07"),), tell("entry.unseen", entry_part="metal_detail", code="U+0007")),
    ],
)
def test_a_charge_that_contradicts_itself_or_the_record_is_refused_as_a_whole(
    shop: Shop, entries: tuple[ChargeEntry, ...], says: Message
) -> None:
    with pytest.raises(PourcallError) as caught:
        shop.charge("2026-002", *((new(1.0), *entries) if entries else ()))
    assert caught.value.what == says
    assert shop.rows("charges") == 0


def test_a_told_remelt_count_below_that_of_its_melt_contradicts_the_record(shop: Shop) -> None:
    shop.charge("2026-001", returns(1.0, remelts=2))
    with refused(BadInput, "charge.carried", origin="2026-001", least=3, remelts=2):
        shop.charge("2026-002", returns(0.5, "2026-001", remelts=2))
    shop.charge("2026-002", returns(0.5, "2026-001", remelts=3))  # what is carried on may be told too
    assert shop.charges("2026-002") == [(1, 0.5, "returns", "2026-001", 3, "told")]


def test_an_addition_marked_while_the_melt_ran_stands_in_the_same_list(
    recording: Callable[..., Any], make: Maker, database: Path
) -> None:
    from pourcall.contract.events import Marked
    from pourcall.contract.inputs import MarkAddition

    recorder = recording()
    recorder.put("crucible", *make.start(200.0, make.plan()))
    item, _ = make.note(500.0)
    item = msgspec.structs.replace(item, command=MarkAddition(mass_kg=0.3, source="new", ago_s=20.0))
    mark = Marked(
        furnace="crucible",
        seq=item.seq,
        mono_s=500.0,
        utc_s=item.utc_s,
        what=MarkKind.ADDITION,
        text="0.3 kg added (new)",
        at_mono_s=480.0,
        value=0.3,
    )
    recorder.wait(recorder.put("crucible", item, (mark,))).result(5)
    asked = ChargeRequest(melt="2026-001", entries=(new(1.2), returns(0.3, remelts=1)))
    recorder.call(lambda conn: library.enter(conn, asked, UTC_S + 900.0)).result(5)
    fix = ChargeRequest(melt="2026-001", entries=(returns(0.35, remelts=2),), correcting=1, why="those were gates")
    recorder.call(lambda conn: library.enter(conn, fix, UTC_S + 950.0)).result(5)
    with Store.read(database) as store:
        told = store.melt("2026-001").charges
    assert [(one.number, one.added, one.mass_kg, one.source, one.remelts) for one in told] == [
        (1, True, 0.35, "returns", 2),
        (2, False, 1.2, "new", 0),
        (3, False, 0.3, "returns", 1),
    ]
    assert told[0].at_utc_s == pytest.approx(UTC_S + 380.0)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(st.lists(st.integers(0, 9), max_size=3), min_size=1, max_size=6))
def test_counts_carried_through_many_melts_are_those_of_a_plain_walk(
    tmp_path_factory: Any, into: list[list[int]]
) -> None:
    """Against a walk written here: new is 0, returns are 1 + the highest of their melt, where that is known."""
    from pourcall.records.entries.charges import charges_of
    from pourcall.records.upkeep.opening import open_database

    conn, _ = open_database(tmp_path_factory.mktemp("walk") / "a.sqlite", utc_s=UTC_S)
    try:
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute("INSERT INTO furnaces VALUES (1, 'crucible')")
        highest: list[int | None] = []
        for at, sources in enumerate(into):
            conn.execute(
                "INSERT INTO melts VALUES (?, ?, 1, 1, 1, 1.0, ?, 'za27', 'ZA-27', 1.5, 0)",
                (at + 1, f"2026-{at + 1:03d}", UTC_S + at),
            )
            entries, counts = [], []
            for source in sources:
                if source % (at + 1) == at or at == 0:
                    entries.append(new(1.0))
                    counts.append(0)
                else:
                    entries.append(returns(1.0, f"2026-{source % (at + 1) + 1:03d}"))
                    counts.append(1 + (highest[source % (at + 1)] or 0))
            if entries:
                asked = ChargeRequest(melt=f"2026-{at + 1:03d}", entries=tuple(entries))
                library.enter(conn, asked, UTC_S + 100.0)
            highest.append(max(counts, default=None))
            assert [one.remelts for one in charges_of(conn, at + 1, UTC_S + at)] == counts
    finally:
        conn.close()


def test_a_count_is_carried_through_hundreds_of_melts_that_each_took_metal_of_two(database: Path) -> None:
    """Every melt took returns of the two before it: a plain walk up would double with each."""
    from pourcall.records.entries.charges import charges_of, highest_count
    from pourcall.records.upkeep.opening import open_database

    conn, _ = open_database(database, utc_s=UTC_S)
    try:
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute("INSERT INTO furnaces VALUES (1, 'crucible')")
        for at in range(1, 401):
            conn.execute(
                "INSERT INTO melts VALUES (?, ?, 1, 1, 1, 1.0, ?, 'za27', 'ZA-27', 1.5, 0)",
                (at, f"2026-{at:03d}", UTC_S + at),
            )
            for source in (at - 1, at - 2):
                conn.execute(
                    "INSERT INTO charges (melt_id, at_utc_s, mass_kg, source, from_melt_id) VALUES (?, ?, 0.5, ?, ?)",
                    (at, UTC_S + at, "returns" if source > 0 else "new", source if source > 0 else None),
                )
        assert [one.remelts for one in charges_of(conn, 400, UTC_S + 400.0)] == [399, 398]
        count = highest_count(conn, 400)
        assert count is not None
        assert (count.remelts, count.at_least) == (399, False)
    finally:
        conn.close()
