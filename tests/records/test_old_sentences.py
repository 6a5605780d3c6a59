"""What older versions told in sentences alone: read once, into columns, when a record is brought to schema 4."""

import difflib
import gzip
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from pourcall.contract.config import EngineConfig
from pourcall.contract.events import (
    CallChanged,
    DipFault,
    DipHow,
    DipRecorded,
    Event,
    FigureSource,
    MeltStateChanged,
    Output,
    PourMarked,
    PourSource,
)
from pourcall.contract.inputs import CommandIn, EnterTemperature, Instrument, UnshelveAlarm
from pourcall.contract.message import tell
from pourcall.contract.plan import LossBasis, WindowBasis
from pourcall.contract.questions import LIFT_LASTS_S
from pourcall.engine.core import Engine
from pourcall.records.entries.furnace_models import panel_pairs
from pourcall.records.read.journal import read_events, read_inputs
from pourcall.records.read.store import Store
from pourcall.records.read.views import LipStep
from pourcall.records.upkeep.migrate import migrate
from pourcall.records.upkeep.old_sentences import event_of_today, thinned_to_s_of_old
from pourcall.records.upkeep.opening import open_database
from pourcall.records.write.codec import Source, decode_row
from pourcall.replay.pour_again import pour_at

DATA = Path(__file__).parents[1] / "data" / "records"
UTC_S = 1_780_000_000.0
# Sentences as the programs before schema 4 wrote them.
WAY = (
    "sheet of ZA-27, <530.00 degC> to <595.00 degC> (sourced). loss <14.00 degC apart>: 15 s in the open <9.00 degC "
    "apart>, ladle <1.50 degC apart>, stream <3.50 degC apart> (computed, +-40 %)"
)
LAGGED = (
    "<565.0 degC> in the pot at the pour (last good figure, <3.2 degC apart> of lag allowed for), less <14.0 degC "
    "apart> on the way; that figure was 60 s old"
)
AGAIN = (
    "<565.0 degC> in the pot at the lift (dip 5, 7 s ago), less <20.1 degC apart> on the way; worked out again from "
    "the recorded trace"
)
PROBE = PourSource(figure=FigureSource.PROBE, at_lift=True)
# What an engine of schema 3 decided on these journals and today's does not (-), and the other way round (+). All meant:
# a dip is not asked for while one goes on; a window is not called closing by the rate of a dip that still comes up;
# a dip holds the coast of the bath in its uncertainty, the older the wider; metal that a skim cooled in places is not
# called liquid while the sheath shows it; liquid is said once at least 95 % is.
MEANT = {
    0: [
        "- 6087.0 call dip raised",
        "- 6088.0 call dip ended",
        "- 6089.0 call dip raised",
        "- 6090.0 call dip ended",
        "- 6149.0 state unknown liquid",  # a dip that the power came on after counts no more when it goes off again
        "- 6192.0 state liquid unknown",
        "- 6192.0 call dip raised",
        "+ 6162.0 call dip raised",
        "+ 6258.0 call dip ended",
        "- 6263.0 call dip ended",
        "- 6306.5 pour 1 cleat 1 6296.0 6286.5 707.9 8.0",
        "+ 6306.5 pour 1 cleat 1 6296.0 6286.5 707.9 8.4",
    ],
    1: [
        "- 6148.0 state unknown melting",  # a cold sheath that stays flat as the metal melts carries a shell
        "- 6149.0 dip 1 None None",
        "+ 6148.0 dip 1 None None",
        "- 6149.0 state melting unknown",
        "- 6393.0 state unknown liquid",  # as above
        "- 6414.0 state liquid unknown",
        "+ 6456.0 call dip ended",
        "- 6461.0 call dip ended",
        "- 6475.0 call window_closing raised",
        "- 6479.0 call window_closing ended",
        "- 6542.0 state unknown ready",
        "- 6542.0 call pour raised",
        "- 6542.0 call dip ended",
        "- 6564.0 pour 1 cleat 1 6558.5 None 1093.9 12.1",
        "+ 6564.0 pour 1 cleat 1 6558.5 None 1093.9 52.4",
        "- 6564.0 call pour ended",
        "+ 6564.0 call dip ended",
        "- 6577.5 state ready empty",
        "+ 6577.5 state unknown empty",
    ],
    2: [
        "- 5719.0 call cut_power raised",  # to where all three moulds can be poured from one lift
        "+ 5724.0 call cut_power raised",
        "- 5921.0 call cut_power raised",
        "+ 5923.0 call cut_power raised",
        "+ 5943.0 call cut_power ended",
        "- 5949.0 call cut_power ended",
        "+ 6017.0 state liquid unknown",
        "+ 6042.0 state unknown liquid",
        "- 6191.0 call pour raised",
        "+ 6198.0 call pour raised",
        "- 6247.0 pour 1 cleat 1 6242.5 6230.0 461.7 5.1",
        "+ 6247.0 pour 1 cleat 1 6242.5 6230.0 461.7 5.2",
        "- 6255.5 pour 2 cleat 2 6251.0 6230.0 461.7 5.1",
        "+ 6255.5 pour 2 cleat 2 6251.0 6230.0 461.7 5.2",
        "- 6264.0 pour 3 cleat 3 6259.5 6230.0 461.7 5.1",
        "+ 6264.0 pour 3 cleat 3 6259.5 6230.0 461.7 5.2",
    ],
    3: [
        "- 6717.0 state melting liquid",
        "+ 6745.0 state melting liquid",
        "- 6864.0 pour 1 cleat 1 6844.5 6831.0 539.4 5.7",
        "+ 6864.0 pour 1 cleat 1 6844.5 6831.0 539.4 5.9",
    ],
}


@pytest.fixture
def third(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A file of schema 3 with a melt, a pour, a dip; open and not brought up."""
    path = tmp_path / "pourcall.sqlite"
    conn = sqlite3.connect(path, isolation_level=None)
    conn.executescript((DATA / "0003.sql").read_text("utf-8"))
    yield conn
    conn.close()


def brought_up(conn: sqlite3.Connection, tmp_path: Path) -> None:
    migrate(conn, tmp_path / "pourcall.sqlite")


def another(conn: sqlite3.Connection, table: str, **changed: Any) -> int:
    """A row like the first, with other columns."""
    cursor = conn.execute(f"SELECT * FROM {table} ORDER BY 1 LIMIT 1")
    row = dict(zip((name for name, *_ in cursor.description), cursor.fetchone(), strict=True)) | changed
    row.pop("id", None)
    names, marks = ", ".join(row), ", ".join("?" * len(row))
    return conn.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(row.values())).lastrowid or 0


@pytest.mark.parametrize(
    ("basis", "source"),
    [
        ("<565.0 degC> in the pot at the lift (probe in the metal), less <14.0 degC apart> on the way", PROBE),
        (
            LAGGED,
            PourSource(figure=FigureSource.LAST_GOOD, lag_c=3.2, stale_s=60.0),
        ),
        (
            AGAIN,
            PourSource(figure=FigureSource.DIP, dip=5, age_s=7.0, at_lift=True),
        ),
        (
            "<565.0 degC> in the pot at the pour (dip 2), less <20.1 degC apart> on the way",
            PourSource(figure=FigureSource.DIP, dip=2),
        ),
        (
            "<565.0 degC> in the pot at the pour (meter, typed 20 s ago), less <20.1 degC apart> on the way",
            PourSource(figure=FigureSource.TYPED, instrument="meter", age_s=20.0),
        ),
        ("no temperature of the metal was known", PourSource(figure=FigureSource.NONE)),
        ("probe in the metal less 25 degC on the way", None),  # in words of no version: it stays a sentence
    ],
)
def test_what_a_pour_rests_on_is_read_out_of_its_old_sentence_once(
    third: sqlite3.Connection, tmp_path: Path, basis: str, source: PourSource | None
) -> None:
    another(third, "pours", number=7, basis=basis)
    brought_up(third, tmp_path)
    with Store.read(tmp_path / "pourcall.sqlite") as store:
        row = store.pour("2026-001-7").row
    assert row.source == source
    assert row.basis == basis  # what was said is kept


@pytest.mark.parametrize(
    ("how", "why", "fault", "widened"),
    [
        ("not usable", "too short: 4 s; hold it in for about 11 s", DipFault.TOO_SHORT, False),
        (
            "not usable",
            "at or below the liquidus (<470.0 degC>): metal froze on the cold sheath, or the pot is not fully liquid.",
            DipFault.SHELL_OR_MUSHY,
            False,
        ),
        (
            "not usable",
            "at or below the liquidus (<470.0 degC>): the pot is not fully liquid. It read so for 70 s, longer",
            DipFault.MUSHY,
            False,
        ),
        (
            "not usable",
            "at or below the liquidus (<470.0 degC>): metal froze on the cold sheath, since dip 2 found the pot liquid",
            DipFault.SHELL,
            False,
        ),
        (
            "not usable",
            "at or below the liquidus (<300.0 degC>), and even below the solidus: the metal there is solid",
            DipFault.SOLID,
            False,
        ),
        ("not usable", "it warmed far more slowly than in metal: only the tip was in", DipFault.HOT_GAS, False),
        ("not usable", "the figure wandered by <4.0 degC apart> while it was in", DipFault.WANDERED, False),
        ("not usable", "still settling after 20 s: where it was heading is known to", DipFault.UNSETTLED, False),
        ("not usable", "too shallow: 20 mm is shallower than ten sheath diameters", DipFault.TOO_SHALLOW, False),
        ("settled, U by the spread of three dips", "", None, True),
        ("extrapolated", "50 mm is shallower than ten sheath diameters (60 mm): it may read", None, False),
    ],
)
def test_why_a_dip_was_of_no_use_is_read_out_of_its_old_sentence_once(
    third: sqlite3.Connection, tmp_path: Path, how: str, why: str, fault: DipFault | None, widened: bool
) -> None:
    another(third, "dips", number=7, how=how, why=why, melt_id=1)
    brought_up(third, tmp_path)
    with Store.read(tmp_path / "pourcall.sqlite") as store:
        dip = next(dip for dip in store.melt("2026-001").dips if dip.number == 7)
    assert (dip.fault, dip.widened, dip.how.value, dip.why) == (fault, widened, how.partition(",")[0], why)


def test_an_old_plan_has_the_parts_of_its_way_again(third: sqlite3.Connection, tmp_path: Path) -> None:
    (text,) = third.execute("SELECT plan FROM melt_plans WHERE id = 1").fetchone()
    plan = msgspec.json.decode(text)
    plan["moulds"][0] |= {"why": WAY, "loss_c": 14.0, "loss_u_c": 5.6}
    plan_id = another(third, "melt_plans", version=2, plan=msgspec.json.encode(plan).decode())
    another(third, "planned_moulds", plan_id=plan_id, loss_c=14.0)
    basis = "<555.0 degC> in the pot at the lift (probe in the metal), less <14.0 degC apart> on the way"
    another(third, "pours", number=7, pot_temp_c=555.0, lip_temp_c=541.0, basis=basis)
    brought_up(third, tmp_path)
    with Store.read(tmp_path / "pourcall.sqlite") as store:
        parts = store.pour("2026-001-7").parts
        with store.reading() as conn:
            columns = conn.execute(
                "SELECT window_basis, loss_basis FROM planned_moulds WHERE plan_id = ?", (plan_id,)
            ).fetchone()
    assert columns == (WindowBasis.SHEET.value, LossBasis.COMPUTED.value)
    assert [(part.what, part.change_c) for part in parts[1:4]] == [
        (LipStep.WALK, -9.0),
        (LipStep.LADLE, -1.5),
        (LipStep.STREAM, -3.5),
    ]
    assert parts[1].text == tell("lip.way.open", open_s=15.0)


def test_old_comparisons_with_the_panel_are_still_learned_from(third: sqlite3.Connection, tmp_path: Path) -> None:
    text = "metal <510.0 degC> with the panel <525.0 degC>"
    another(third, "notes", what="panel_pair", text=text, value=-15.0)
    brought_up(third, tmp_path)
    assert panel_pairs(third, "crucible") == ((510.0, 525.0),)
    assert third.execute("SELECT text FROM notes WHERE what = 'panel_pair'").fetchall() == [(text,)]


def test_the_guard_against_changes_stands_again_after_it(third: sqlite3.Connection, tmp_path: Path) -> None:
    brought_up(third, tmp_path)
    for table, column in (("pours", "dip"), ("dips", "fault"), ("planned_moulds", "walk_c")):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            third.execute(f"UPDATE {table} SET {column} = 1")


# -- a record of the simulated shop, as the program of schema 3 wrote it --------------------------------------------


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    path = tmp_path_factory.mktemp("played") / "pourcall.sqlite"
    conn = sqlite3.connect(path)
    conn.executescript(gzip.decompress((DATA / "played-0003.sql.gz").read_bytes()).decode())
    assert conn.execute("PRAGMA user_version").fetchone() == (3,)
    conn.close()
    open_database(path, utc_s=UTC_S)[0].close()
    with Store.read(path) as store:
        yield store


def test_every_pour_of_an_old_record_says_what_it_rests_on(played: Store) -> None:
    found = {row.pour: row.source for row in played.pours()}
    assert found["2026-007-1"] == PourSource(figure=FigureSource.DIP, dip=2, age_s=7.0, at_lift=True)
    assert found["2026-017-1"] == PourSource(figure=FigureSource.DIP, dip=3, age_s=79.0)
    assert {found[pour] for pour in ("2026-035-1", "2026-035-2", "2026-035-3", "2026-046-1")} == {PROBE}


def test_the_parts_of_an_old_pour_add_up_without_a_rest(played: Store) -> None:
    for row in played.pours():
        parts = played.pour(row.pour).parts
        assert parts[0].what is LipStep.POT
        assert LipStep.REST not in {part.what for part in parts}
        assert parts[-1].text == tell("lip.together")


def outputs_again(store: Store, number: int) -> tuple[list[Event], list[Output]]:
    """What was recorded of a session, and what the engine of today says to its journal."""
    session = store.sessions()[number]
    engine = Engine(msgspec.json.decode(session.config_json, type=EngineConfig))
    said = [output for item in read_inputs(store, session.id) for output in engine.handle(item)]
    return list(read_events(store, session.id)), said


def decisions(outputs: list[Event] | list[Output]) -> list[tuple[Any, ...]]:
    """States, calls, dips and pours in their order, with their moments and figures; no sentence."""
    found: list[tuple[Any, ...]] = []
    for output in outputs:
        match output:
            case MeltStateChanged():
                found.append((output.mono_s, "state", output.old, output.new))
            case CallChanged() if output.how != "repeated":
                found.append((output.mono_s, "call", output.call.kind, output.how))
            case DipRecorded():
                found.append((output.mono_s, "dip", output.dip.number, output.dip.temp_c, output.dip.u_c))
            case PourMarked():
                pour = output.pour
                known = (pour.at_mono_s, pour.lift_mono_s, pour.pot_temp_c, pour.pot_u_c)
                found.append((output.mono_s, "pour", pour.number, pour.mould, *known))
            case _:
                pass
    return found


def in_the_furnace(found: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Without the states between a lift and the next melt: from the first pour of a lift on."""
    kept, lifted_s = [], [one[5] for one in found if one[1] == "pour" and one[5] is not None]
    for one in found:
        after_lift = any(lift_s <= one[0] <= lift_s + LIFT_LASTS_S for lift_s in lifted_s)
        if one[1] != "state" or not after_lift:
            kept.append(one)
    return kept


def differences(recorded: list[tuple[Any, ...]], today: list[tuple[Any, ...]]) -> list[str]:
    """What was decided then alone (-) and today alone (+), in order, to a second and a tenth of a degree."""
    then, now = ([" ".join(_plain(part) for part in one) for one in found] for found in (recorded, today))
    return [line for line in difflib.ndiff(then, now) if line[0] in "-+"]


def _plain(part: Any) -> str:
    return f"{part:.1f}" if isinstance(part, float) else str(part)


def lips(outputs: list[Event] | list[Output]) -> list[tuple[float | None, float | None]]:
    return [(one.pour.lip_temp_c, one.pour.lip_u_c) for one in outputs if isinstance(one, PourMarked)]


@pytest.mark.parametrize("number", range(4))
def test_a_journal_of_schema_three_replayed_today_gives_the_same_decisions(played: Store, number: int) -> None:
    """But for what is listed and meant (`MEANT`); and a state after a lift, left then as it stood, now goes on."""
    recorded, today = outputs_again(played, number)
    assert differences(in_the_furnace(decisions(recorded)), in_the_furnace(decisions(today))) == MEANT[number]
    # What waits cools by Newton's law, no more in proportion to the time. The first
    # pour of a lift does not wait; a later one is told a little hotter, by 0.2 degC after half a minute.
    for (was_c, was_u_c), (now_c, now_u_c) in zip(lips(recorded), lips(today), strict=True):
        assert was_c is not None
        assert was_u_c is not None
        assert now_c is not None
        assert now_u_c is not None
        assert 0.0 <= now_c - was_c <= 0.3
        assert now_u_c >= was_u_c - 0.1  # a dip holds the coast of the bath too: never surer than it was said to be
    assert lips(today)[0][0] == lips(recorded)[0][0]


def test_an_old_pour_worked_out_again_for_its_own_moment_is_what_it_was(played: Store) -> None:
    for row in played.pours(melt="2026-035", limit=1):
        found, melt = played.pour(row.pour), played.melt(row.melt)
        again = pour_at(
            played,
            found,
            melt,
            at_mono_s=found.at_mono_s,
            at_utc_s=row.at_utc_s,
            lift_mono_s=found.lift_mono_s,
            mould=row.mould,
        )
        assert again.pot_temp_c == pytest.approx(row.pot_temp_c, abs=1e-9)
        assert again.lip_temp_c == pytest.approx(row.lip_temp_c, abs=0.3)


def test_a_journal_that_holds_a_command_given_up_is_still_read() -> None:
    """Resetting an alarm did nothing where nothing latched; taken for taking back a shelf it does nothing either."""
    kept = (
        '{"type":"command_in","seq":7,"mono_s":12.0,"utc_s":1.0,'
        '"command":{"type":"reset_alarm","who":"ann","alarm":"pot_limit:pot"}}'
    )
    row = (7, 7, 0, 0, None, None, None, None, None, None, None, kept, None)
    source = Source(1, 1, 0, "", "", "", 0)
    assert decode_row(row, source) == CommandIn(
        seq=7, mono_s=12.0, utc_s=1.0, command=UnshelveAlarm(alarm="pot_limit:pot", who="ann")
    )


@pytest.mark.parametrize(("source", "instrument"), [("furnace panel", Instrument.PANEL), ("", Instrument.METER)])
def test_a_figure_of_a_journal_that_names_its_instrument_in_words_alone_is_told_of_that_instrument(
    source: str, instrument: Instrument
) -> None:
    kept = (
        '{"type":"command_in","seq":7,"mono_s":12.0,"utc_s":1.0,'
        f'"command":{{"type":"enter_temperature","temp_c":565.0,"source":"{source}"}}}}'
    )
    row = (7, 7, 0, 0, None, None, None, None, None, None, None, kept, None)
    told = EnterTemperature(temp_c=565.0, source=source, instrument=instrument)
    assert decode_row(row, Source(1, 1, 0, "", "", "", 0)) == CommandIn(seq=7, mono_s=12.0, utc_s=1.0, command=told)


def test_a_dip_of_an_old_event_says_in_a_field_that_its_uncertainty_was_widened() -> None:
    old = (
        '{"type":"dip_recorded","furnace":"f","seq":1,"mono_s":9.0,"utc_s":9.0,"dip":{"probe":"p","number":1,'
        '"began_mono_s":1.0,"ended_mono_s":9.0,"ended_utc_s":9.0,"temp_c":560.0,"u_c":9.0,"how":"%s"}}'
    )
    event = msgspec.json.decode(event_of_today(old % "settled, U by the spread of three dips"), type=DipRecorded)
    assert (event.dip.how, event.dip.widened) == (DipHow.SETTLED, True)
    assert event_of_today(old % "settled") == old % "settled"


def test_a_thinned_export_of_old_is_known_by_its_mark() -> None:
    kept = "elapsed_s,mark\n0.000,thinned on 2028-08-05 to one reading in 10 s\n1.000,\n"
    assert thinned_to_s_of_old(kept) == 10.0
    assert thinned_to_s_of_old("elapsed_s,mark\n0.000,skimmed\n") == 0.0
