"""What the records say of a setup as it stands. Corrections count, and so does what else changed."""

import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.entries import ChargeEntry, ChargeRequest, MouldSetupRequest, PourCompletion, PourCorrection
from pourcall.contract.events import Marking, MeltEnded, MeltStarted, Pour, PourMarked
from pourcall.contract.inputs import CommandIn, EndMelt, MarkPour, MeltEnding, StartMelt
from pourcall.contract.message import tell
from pourcall.contract.plan import MouldRequest
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.windows import melt_plan
from pourcall.records.entries import entries
from pourcall.records.entries.charges import charge
from pourcall.records.entries.setups import describe_mould
from pourcall.records.read.store import Store
from pourcall.records.write.recorder import Recorder
from pourcall.replay.pour_changes import complete_pour, correct_pour, prepare
from pourcall.trials.advice import SetupData
from pourcall.trials.gather import setup_data
from pourcall.trials.model import advise

UTC_S, DAY_S = 1_780_000_000.0, 86_400.0


def _result(conn: sqlite3.Connection, *, pour: str, defect: str, severity: int, utc_s: float) -> None:
    entries.add_result(conn, pour, defect, severity, who="ann", utc_s=utc_s)


class Book:
    """A record of melts with one pour each, a day apart; entries between them as the commands would make them."""

    def __init__(self, path: Path) -> None:
        self.path, self.melts = path, 0
        self.recorder = Recorder(path, on_state=lambda *_: None, clock=lambda: 0.0)
        self.recorder.start(utc_s=UTC_S)
        self.recorder.begin_session("club", "", b"{}", 0.0, UTC_S)

    def melt(
        self,
        lip_c: float,
        *results: tuple[str, int],
        setup: str = "deck cleat",
        mm: float = 6.0,
        simulated: bool = False,
    ) -> str:
        self.melts += 1
        melt, at_s, seq = f"2026-{self.melts:03d}", DAY_S * self.melts, 10 * self.melts
        utc_s = UTC_S + at_s
        if simulated:
            self.recorder.begin_session("club", "", b'{"furnace":"club","simulated":true}', at_s, utc_s)
        mould = MouldRequest(name="mould", setup=setup, mass_kg=0.4, thinnest_mm=mm, loss_c=20.0)
        plan = melt_plan(melt, load_sheets(None).get("za27"), 1.5, [mould])
        told: dict[str, Any] = {"seq": seq, "mono_s": at_s, "utc_s": utc_s}
        pour = Pour(
            number=1,
            mould="mould",
            setup=setup,
            at_mono_s=at_s,
            at_utc_s=utc_s,
            marked=Marking.LIVE,
            lip_temp_c=lip_c,
            pot_temp_c=lip_c + 20.0,
            pot_u_c=4.0,
            lip_u_c=6.0,
            lip_min_c=546.0,
            lip_max_c=579.0,
            basis="probe",
        )
        for command, event in (
            (StartMelt(plan=plan), MeltStarted(furnace="club", plan=plan, **told)),
            (MarkPour(), PourMarked(furnace="club", melt=melt, pour=pour, **told)),
            (EndMelt(ending=MeltEnding.POURED), MeltEnded(furnace="club", melt=melt, ending=MeltEnding.POURED, **told)),
        ):
            self.recorder.put("club", CommandIn(command=command, **told), (event,))
        for defect, severity in results:
            self.enter(partial(_result, pour=f"{melt}-1", defect=defect, severity=severity, utc_s=utc_s))
        return melt

    def enter(self, what: Callable[..., object]) -> None:
        self.recorder.call(what).result(10.0)

    def now_s(self) -> float:
        """A moment after the last melt and before the next."""
        return UTC_S + DAY_S * (self.melts + 0.5)

    def data(self, setup: str = "deck cleat") -> SetupData:
        self.recorder.call(lambda conn: None).result(10.0)
        with Store.read(self.path) as store:
            return setup_data(store, setup, load_sheets(None))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    made = Book(tmp_path / "pourcall.sqlite")
    yield made
    assert made.recorder.stop(10.0) == 0


def describe(book: Book, **what: object) -> None:
    request = MouldSetupRequest(name="deck cleat", **what)  # type: ignore[arg-type]
    book.enter(lambda conn: describe_mould(conn, request, book.now_s()))


def charged(book: Book, melt: str, *, source: str, remelts: int | None = None, origin: str = "") -> None:
    entry = ChargeEntry(source=source, mass_kg=1.5, remelts=remelts, origin=origin)
    book.enter(lambda conn: charge(conn, ChargeRequest(melt=melt, entries=(entry,)), book.now_s()))


def test_a_series_in_which_only_the_temperature_changes_is_told_of_nothing_else(book: Book) -> None:
    describe(book, add=True, material="green_sand", batch="sand 7", preheat_c=40.0, thinnest_mm=6.0)
    for lip_c in (540.0, 560.0, 580.0):
        charged(book, book.melt(lip_c, ("sound", 0)), source="new")
    assert book.data().changed == ()


def test_a_new_batch_of_sand_returned_metal_and_a_warmer_mould_are_each_told(book: Book) -> None:
    describe(book, add=True, material="green_sand", batch="sand 7", preheat_c=40.0)
    first = book.melt(540.0, ("misrun", 2))
    charged(book, first, source="new")
    describe(book, batch="sand 8", preheat_c=120.0, why="the old sand was burnt out")
    charged(book, book.melt(560.0, ("sound", 0)), source="returns", origin=first)
    data = book.data()
    preheat = tuple(tell("advice.value.temperature", value_c=value_c) for value_c in (40.0, 120.0))
    remelts = tuple(tell("advice.value.count", value=count) for count in (0, 1))
    batch = tuple(tell("advice.value.word", text=name) for name in ("sand 7", "sand 8"))
    assert data.changed == (
        tell("advice.differs.preheat", values=tell("advice.values", parts=preheat[:1], last=preheat[1])),
        tell("advice.differs.remelts", values=tell("advice.values", parts=remelts[:1], last=remelts[1])),
        tell("advice.differs.batch", values=tell("advice.values", parts=batch[:1], last=batch[1])),
    )
    assert tell("advice.changed", parts=data.changed) in advise(data, outlook=False).words


def test_another_section_is_told_whether_planned_or_described(book: Book) -> None:
    book.melt(540.0, ("misrun", 2), mm=5.0)
    book.melt(560.0, ("sound", 0), mm=6.0)
    (changed,) = book.data().changed
    five, six = (tell("advice.value.mm", value_mm=mm) for mm in (5.0, 6.0))
    assert changed == tell("advice.differs.thinnest", values=tell("advice.values", parts=(five,), last=six))


def test_pours_that_say_nothing_do_not_count_as_a_change(book: Book) -> None:
    book.melt(540.0, ("misrun", 2))
    book.melt(560.0, mm=9.0)  # not inspected
    assert book.data().changed == ()


def test_the_setup_as_it_is_described_now_goes_before_what_was_planned_once(book: Book) -> None:
    book.melt(560.0, ("sound", 0), mm=6.0)
    assert book.data().thinnest_mm == 6.0
    describe(book, add=True, thinnest_mm=4.0, material="plaster")
    data = book.data()
    assert (data.thinnest_mm, data.material) == (4.0, "plaster")


def test_a_corrected_pour_counts_as_it_stands_now(book: Book) -> None:
    pour = f"{book.melt(560.0, ('misrun', 2))}-1"

    def correct(conn: sqlite3.Connection) -> None:
        (row_id,) = conn.execute("SELECT max(id) FROM pours").fetchone()
        changes = {"lip_temp_c": 541.5, "lip_u_c": 9.0}
        entries.correct_pour(conn, row_id, changes, who="ann", why="misread", utc_s=book.now_s())

    book.enter(correct)
    (now,) = book.data().pours
    assert (now.pour, now.lip_c, now.u_c) == (pour, 541.5, 4.5)


def test_a_pour_whose_setup_was_told_later_counts_there(book: Book) -> None:
    book.melt(555.0, ("sound", 0), setup="bow cleat")
    pour = f"{book.melt(560.0, ('misrun', 2))}-1"
    book.enter(lambda conn: describe_mould(conn, MouldSetupRequest(name="bow cleat", add=True), book.now_s()))
    book.enter(lambda conn: complete_pour(conn, PourCompletion(pour=pour, setup="bow cleat"), book.now_s()))
    assert [one.pour for one in book.data("bow cleat").pours] == ["2026-001-1", pour]
    assert book.data("deck cleat").pours == ()


def test_a_pour_that_was_none_does_not_count(book: Book) -> None:
    book.melt(555.0, ("sound", 0))
    pour = f"{book.melt(560.0, ('misrun', 2))}-1"
    asked = PourCorrection(pour=pour, not_poured=True, why="marked twice")
    with Store.read(book.path) as store:
        change = prepare(store, asked, book.now_s())
    book.enter(lambda conn: correct_pour(conn, asked, change, book.now_s()))
    assert [one.pour for one in book.data().pours] == ["2026-001-1"]


def test_a_corrected_result_is_the_one_that_counts(book: Book) -> None:
    melt = book.melt(560.0, ("misrun", 2))
    told: dict[str, Any] = {"who": "ann", "utc_s": book.now_s(), "correcting": True}
    book.enter(lambda conn: entries.add_result(conn, f"{melt}-1", "sound", 0, **told))
    (now,) = book.data().pours
    assert (now.found.cold, now.found.hot) == (0, 0)


def test_invented_pours_never_count_beside_real_ones(book: Book) -> None:
    book.melt(560.0, ("sound", 0))
    book.melt(590.0, ("sink", 2), simulated=True)
    data = book.data()
    assert [one.pour for one in data.pours] == ["2026-001-1"]
    assert tell("advice.out.invented", pours="2026-002-1") in data.left_out
    assert not data.invented


def test_alone_invented_pours_count_and_say_what_they_are(book: Book) -> None:
    book.melt(590.0, ("sink", 2), simulated=True)
    data = book.data()
    assert len(data.pours) == 1
    assert data.invented


def test_each_place_of_the_newest_plan_is_kept_and_the_pours_of_a_melt_stand_together(book: Book) -> None:
    melt = book.melt(560.0, ("sound", 0))
    data = book.data()
    assert [(place.order, place.moulds, place.mould) for place in data.places] == [(1, 1, "mould")]
    assert [pour.melt for pour in data.pours] == [melt]


def test_a_new_batch_marks_the_first_pour_after_it_and_a_change_since_the_last_pour_is_kept_apart(book: Book) -> None:
    describe(book, add=True, material="green_sand", batch="sand 7")
    book.melt(560.0, ("sound", 0))
    describe(book, batch="sand 8")
    book.melt(562.0, ("sound", 0))
    book.melt(564.0, ("sound", 0))
    data = book.data()
    assert [pour.mould_changed for pour in data.pours] == [False, True, False]
    assert not data.changed_since
    describe(book, batch="sand 9")
    assert book.data().changed_since
