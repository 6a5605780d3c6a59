"""What a person may type or have lying about wrongly: a sentence each (what, where, what to do), the exit code of
the handbook, and nothing recorded is touched."""

import hashlib
import json
import os
import re
import shutil
import socket
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest

from pourcall.contract.message import Message, tell
from pourcall.contract.paths import paths_for
from tests.told import fault, heard, meant, said, tells

Run = Callable[..., Any]
TRACES = Path(__file__).parents[1] / "data" / "traces"
TRACE = str(TRACES / "E119_Compartment_Test_2.csv")


def check(done: Any, code: int, *says: str | Message) -> None:
    """One sentence on standard error, nothing on the other, no traceback."""
    assert done.code == code, done.err
    assert "Traceback" not in done.err
    for piece in says:
        assert heard(done.err, piece)
    last = done.err.strip().splitlines()[-1]
    assert last.startswith(("pourcall", said("settings.faults.remedy"))), done.err


def hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# -- figures ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("11000C", tell("quantity.too_hot", typed="11000C", limit_c=2000.0)),
        ("-500F", tell("quantity.below_zero", typed="-500F", limit_c=-273.15)),
        ("-1K", tell("quantity.below_zero", typed="-1K", limit_c=-273.15)),
        ("abc", tell("quantity.none", typed="abc", measure="temperature")),
        ("930X", tell("quantity.no_scale", typed="X")),
        ("nanC", tell("quantity.none", typed="nanC", measure="temperature")),
        ("1e400C", tell("quantity.none", typed="1e400C", measure="temperature")),
        ("", tell("quantity.none", typed="", measure="temperature")),
    ],
)
def test_impossible_temperatures_are_refused_at_the_bench_and_in_a_melt(run: Run, typed: str, says: Message) -> None:
    check(run("thermocouple", "K", typed), 2, says)
    if typed:
        check(run("dip", "--read", typed), 2, says)
    check(run("replay", TRACE, "--alloy", "za27", "--mould", f"a,min={typed}"), 2, says)


def test_a_bare_figure_is_refused_where_no_unit_is_agreed(run: Run) -> None:
    told = tell("quantity.no_unit", typed="930", measure="temperature")
    check(run("dip", "--read", "930"), 2, told, tell("quantity.with_unit.temperature", typed="930"))


def test_figures_below_zero_are_figures_and_no_options(run: Run) -> None:
    # NIST ITS-90 table, type T (tests/data/thermocouple/type_T_table.csv): -1.475 mV at -40 degC, printed.
    done = run("thermocouple", "T", "-40C")
    assert done.code == 0
    assert tells(done.out, "uncertainty.bench.pair", hot_c=-40.0, emf="-1.4750 mV")
    assert run("thermocouple", "K", "-0.5mV", "--cold", "-5C").code == 0
    told = tell("quantity.none", typed="-40s", measure="time")
    check(run("pour", "mark", "--ago", "-40s"), 2, told, tell("quantity.write.time"))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("thermocouple", "Q", "500C"), tell("error.no_type", tc_type="Q")),
        (("thermocouple", "K", "90mV"), tell("error.emf_beyond_type", figure="90mV", tc_type="K")),
        (("thermocouple", "B", "500C", "--cold", "-50C"), tell("error.terminals", tc_type="B")),
        (("thermocouple", "K", "500C", "--unit", "R"), tell("quantity.no_scale", typed="R")),
        (("dip", "--read", "500C", "--ago", "3x"), tell("quantity.none", typed="3x", measure="time")),
        (("dip", "--read", "500C", "--depth", "60mm"), tell("usage.dip.read")),
        (("dip", "--ago", "20s"), tell("usage.only_with", option="--ago", other="--read")),
        (("melt", "start", "za27", "--charge", "heavy"), tell("quantity.none", typed="heavy", measure="mass")),
        (("melt", "start", "za27", "--charge", "-1kg"), tell("quantity.none", typed="-1kg", measure="mass")),
        (("melt", "start", "za27", "--charge", "900kg"), tell("quantity.mass_outside", typed="900kg", most_kg=100.0)),
        (("melt", "start", "za27", "--mould", ",kg=1"), tell("usage.mould.no_name", given=",kg=1")),
        (("melt", "start", "za27", "--mould", "a,kg"), tell("quantity.no_key", typed="kg")),
        (("melt", "start", "za27", "--mould", "a,mm=thin"), tell("quantity.none", typed="thin", measure="length")),
        (("melt", "start", "za27", "--mould", "a,mm=nan"), tell("quantity.none", typed="nan", measure="length")),
        (("melt", "start", "za27", "--mould", "a,loss=inf"), tell("quantity.none", typed="inf", measure="difference")),
        (("melt", "start", "za27", "--mould", "a,kg=0,4,loss=1,050C"), tell("quantity.two_ways", typed="1,050")),
        (("replay", TRACE, "--alloy", "za27", "--loss", "-5C"), tell("window.loss", mould="mould")),
        (("melt", "start", "za27", "--mould", "a,colour=red"), tell("cli.unknown", word="colour")),
        (("melt", "change"), tell("usage.melt.no_change")),
        (("melt", "mark", "off", "--mass", "300g"), tell("usage.only_with", option="--mass", other="`melt mark add`")),
        (("demo", "--speed", "0"), tell("usage.demo.speed", speed="0")),
        (("demo", "--speed", "nan"), tell("quantity.none", typed="nan", measure="number")),
        (("serve", "--tcp", "99999999"), tell("cli.serve.no_port", port=99999999)),
        (("export", "nonsense"), tell("usage.export.name", word="nonsense")),
        (("replay", TRACE, "--alloy", "za27", "--type", "Q"), tell("error.no_type", tc_type="Q")),
        (
            ("replay", TRACE, "--alloy", "za27", "--cold", "20C"),
            tell("usage.cold_for_emf", option="--cold", column="BeamTC1", unit="degC"),
        ),
        (("replay", TRACE, "--alloy", "za27", "--column-unit", "furlong"), tell("replay.column_unit", unit="furlong")),
        (
            ("replay", TRACE, "--alloy", "za27", "--mould", "a,mm=-3"),
            tell("quantity.none", typed="-3", measure="length"),
        ),
        (
            ("replay", TRACE, "--alloy", "za27", "--loss", "nan"),
            tell("quantity.none", typed="nan", measure="difference"),
        ),
        (
            ("replay", TRACE, "--alloy", "za27", "--mould", "a,min=590C,max=540C"),
            tell("window.no_width", low_c=590.0, high_c=540.0),
        ),
        (
            ("replay", TRACE, "--alloy", "za27", "--mould", "a,material=cheese"),
            tell("window.no_material", typed="cheese"),
        ),
        (("replay", TRACE), tell("replay.no_alloy.remedy")),
        (
            ("melt", "start", "--alloy", "za27", "za27"),
            tell("cli.option_elsewhere", option="--alloy", commands="pourcall melt change, pourcall melt list"),
        ),
        (("capture", "/dev/no-such", "x", "--bytes", "-1"), tell("usage.capture.ends")),
        (("capture", "/dev/no-such", "x", "--for", "-1s"), tell("quantity.none", typed="-1s", measure="time")),
    ],
)
def test_what_cannot_be_meant_is_said(run: Run, words: tuple[str, ...], says: str | Message) -> None:
    check(run(*words), 2, says)


@pytest.mark.parametrize(
    "words",
    [
        ("backup", "x.zip", "--check", "--restore"),
        ("setup", "--scan", "--yes"),
        ("melt", "end", "eaten"),
        ("demo", "--scenario", "bells"),
        ("melt",),
        ("alloy", "delete", "za27"),
        ("export",),
    ],
)
def test_contradictory_missing_or_unknown_options_are_named(run: Run, words: tuple[str, ...]) -> None:
    done = run(*words)
    assert done.code == 2
    (line,) = done.err.splitlines()  # in our words, and where the command is described
    assert line.startswith("pourcall: ")
    assert tells(line, "cli.usage.remedy") or tells(line, "cli.unknown.remedy")


@pytest.mark.parametrize(
    ("words", "near"),
    [
        (("melt", "chang"), "change"),
        (("pour", "lst"), "list"),
        (("alloy", "shw", "za27"), "show"),
        (("melt", "mark", "of"), "off"),
        (("pour", "list", "--awaitng"), "--awaiting"),
        (("melt", "start", "za27", "--charg=1kg"), ""),  # the beginning of an option is enough
        (("plan", "za27", "--walkk", "20s"), "--walk"),
    ],
)
def test_a_slip_of_the_finger_is_answered_with_the_nearest_word(run: Run, words: tuple[str, ...], near: str) -> None:
    done = run(*words)
    assert tells(done.err, "cli.unknown_near", near=near) if near else not tells(done.err, "cli.unknown_near")


@pytest.mark.parametrize("words", [("melt", "list"), ("melt", "find", "bow"), ("pour", "list"), ("alloy", "list")])
def test_a_unit_that_is_none_is_refused_wherever_it_stands(run: Run, words: tuple[str, ...]) -> None:
    check(run(*words, "--unit", "X"), 2, tell("quantity.no_scale", typed="X"), tell("quantity.no_scale.remedy"))


# -- names -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "nearest"), [("zaa27", "za27"), ("c8730", "c87300, c87500, c85700"), ("alumnium", "aluminium")]
)
def test_an_unknown_alloy_is_answered_with_the_nearest(run: Run, typed: str, nearest: str) -> None:
    for words in (("alloy", "show", typed), ("replay", TRACE, "--alloy", typed)):
        check(run(*words), 3, tell("alloy.not_found", alloy=typed), tell("alloy.not_found.near", near=nearest))


@pytest.mark.parametrize(
    ("typed", "keys"),
    [
        ("brass", {"c26000", "c83600", "c85700", "c86500", "c87500"}),
        ("Bronze", {"c86500", "c87300", "c90300", "c90700", "c95200", "c95400"}),
        ("aluminium bronze", {"c95200", "c95400"}),
    ],
)
def test_the_name_of_a_kind_of_metal_is_answered_with_the_sheets_of_that_kind(
    run: Run, typed: str, keys: set[str]
) -> None:
    done = run("alloy", "show", typed)
    assert (done.code, tells(done.err, "alloy.not_found.like")) == (3, True), done.err
    assert set(re.findall(r"c\d{5}(?= \()", done.err)) == keys


def test_a_name_that_nothing_is_near_is_answered_with_all_there_is(run: Run) -> None:
    done = run("alloy", "show", "quxomium")
    assert (done.code, tells(done.err, "alloy.not_found.all")) == (3, True), done.err
    shown = run("alloy", "list", "--json")
    assert all(sheet["key"] in done.err for sheet in json.loads(shown.out))


# -- traces ----------------------------------------------------------------------------------------------------------


def test_a_trace_that_is_not_there_or_of_no_use_is_refused_with_its_name(run: Run, tmp_path: Path) -> None:
    check(run("replay", "no-such.csv", "--alloy", "za27"), 2, "No such file", "(no-such.csv)")
    check(run("replay", str(tmp_path), "--alloy", "za27"), 2, "Is a directory")
    words = tmp_path / "words.csv"
    words.write_text("name,colour\nsand,red\nclay,grey\nwax,white\nlead,grey\n")
    check(run("replay", str(words), "--alloy", "za27"), 2, "words.csv")
    flow = tmp_path / "flow.csv"
    flow.write_text("time,flow\ns,l/s\n0,1\n1,2\n2,3\n3,4\n")
    check(
        run("replay", str(flow), "--alloy", "za27"),
        2,
        tell("replay.no_column"),
        tell("replay.no_column.remedy", columns="flow"),
    )
    noise = tmp_path / "noise.bin"
    noise.write_bytes(Random(5).randbytes(5000))
    assert run("replay", str(noise), "--alloy", "za27").code == 2
    check(
        run("replay", TRACE, "--alloy", "za27", "--column", "BeamTC99"),
        3,
        tell("trace.no_column", column="BeamTC99"),
        "BeamTC9",
    )
    check(run("replay", TRACE, "--alloy", "za27", "--time", "Tiem"), 3, tell("trace.no_column", column="Tiem"), "Time")


def test_a_table_that_cannot_be_written_is_said(run: Run, tmp_path: Path) -> None:
    done = run("replay", TRACE, "--alloy", "za27", "--csv", str(tmp_path / "none" / "t.csv"))
    check(done, 2, "No such file or directory", str(tmp_path / "none" / "t.csv"))


# -- settings and sheets -----------------------------------------------------------------------------------------------

SYNTAX = tell("toml.no_toml", error="Expected ']' at the end of a table declaration (at line 1, column 6)")
FAULTY = """
[shop]
unit = "degX"
[furnace.club]
raitng_c = 900
[board.bench]
port = "/dev/ttyACM0"
format = "pourcal"
[probe.metal]
furnace = "clubb"
board = "bench"
[mqqt]
host = "x"
"""


@pytest.mark.parametrize("command", [("serve",), ("alloy", "list"), ("watch",), ("thermocouple", "K", "500C")])
def test_settings_with_several_faults_are_told_all_at_once(
    run: Run, home: Path, write_settings: Callable[[str], Path], command: tuple[str, ...]
) -> None:
    path = write_settings(FAULTY)
    before = hashes(home)
    check(
        run(*command),
        2,
        fault("[shop] unit", "toml.one_of", found="degX", valid="degC, degF, K"),
        fault("[furnace.club] raitng_c", "toml.unknown_key", hint=meant("rating_c")),
        "[board.bench]",
        tell("error.no_format", typed="pourcal"),
        fault("[mqqt]", "toml.unknown_table", hint=meant("mqtt")),
        str(path),
        tell("settings.faults.remedy"),
    )
    assert hashes(home) == before or command == ("serve",)
    assert not (home / "data" / "pourcall.sqlite").exists()


def test_settings_that_are_no_text_or_no_toml_or_missing_are_refused(
    run: Run, home: Path, write_settings: Callable[[str], Path]
) -> None:
    check(run("serve"), 2, tell("settings.none"), tell("settings.none.remedy"))
    path = write_settings("[shop\n")
    check(
        run("serve"),
        2,
        SYNTAX,
        str(path),
    )
    path.write_bytes(b"\xff\xfe\x00")
    for words in (("serve",), ("thermocouple", "K", "500C"), ("alloy", "list")):
        check(run(*words), 2, tell("settings.unreadable"), str(path))
    assert run("doctor").code == 1


def test_a_malformed_sheet_is_refused_by_file_and_key_and_the_others_load(run: Run, home: Path) -> None:
    folder = home / "settings" / "alloys"
    folder.mkdir(parents=True)
    own = (Path(__file__).parents[2] / "pourcall" / "metal" / "alloys" / "sheets" / "za27.toml").read_text("utf-8")
    (folder / "clubmix.toml").write_text(own.replace('key = "za27"', 'key = "clubmix"').replace("Z35840", "Z00000"))
    (folder / "broken.toml").write_text('key = "broken"\nnaem = "x"\n')
    (folder / "noise.toml").write_bytes(b"\xff\xfe\x00\x01")
    before = hashes(home)
    done = run("alloy", "check")
    assert done.code == 2
    assert tells(done.out, "toml.fault", key="naem", what=tell("toml.unknown_key", hint=meant("name")))
    assert "broken.toml: " in done.out
    assert tells(done.out, "toml.unreadable")
    assert "noise.toml: " in done.out
    assert "clubmix" not in done.out
    listed = run("alloy", "list")
    assert listed.code == 0
    assert "clubmix" in listed.out
    assert "za27" in listed.out
    assert "broken" not in listed.out
    check(run("alloy", "show", "broken"), 2, "broken.toml")
    assert run("alloy", "show", "clubmix").code == 0
    assert hashes(home) == before


# -- ports -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def no_ports_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine's own ports are not listened to."""
    from pourcall.drivers import ports

    monkeypatch.setattr(ports, "list_ports", list)


@pytest.mark.usefixtures("no_ports_here")
def test_a_port_that_is_not_there_is_named_with_a_remedy(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "bench.bin"
    check(
        run("capture", "/dev/no-such-port", str(target)),
        4,
        tell("port.absent", port="/dev/no-such-port"),
        tell("port.absent.remedy"),
    )
    check(run("capture", "socket://127.0.0.1:1", str(target)), 4, tell("port.refused", port="socket://127.0.0.1:1"))
    check(run("capture", "usb:dead:beef", str(target)), 4, tell("port.usb_absent"))
    assert not target.exists()
    done = run("setup", "--scan", "--port", "/dev/no-such-port")
    assert done.code == 4
    assert tells(done.out, "port.absent", port="/dev/no-such-port")
    assert tells(done.out, "port.absent.remedy")
    check(
        run("setup", "--yes", "--port", "/dev/no-such-port"), 4, tell("setup.no_board"), tell("setup.no_board.remedy")
    )


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
@pytest.mark.usefixtures("no_ports_here")
def test_a_busy_port_is_named_with_who_holds_it(run: Run, tmp_path: Path) -> None:
    import fcntl

    import serial

    master, slave = os.openpty()
    name = os.ttyname(slave)
    try:
        with serial.Serial(name, exclusive=True) as held:
            fcntl.flock(held.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
            busy = tell("port.busy.unseen", port=name)  # held by this very process
            check(run("capture", name, str(tmp_path / "x.bin")), 4, busy, tell("port.busy.remedy"))
            done = run("setup", "--scan", "--port", name)
            assert done.code == 4
            assert heard(done.out, busy)
    finally:
        os.close(master)
        os.close(slave)
    assert not (tmp_path / "x.bin").exists()


@pytest.mark.usefixtures("no_ports_here")
def test_a_port_without_permission_is_answered_with_the_group_to_join(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import serial

    def denied(*_: object, **__: object) -> None:
        raise serial.SerialException(13, "could not open port /dev/ttyACM0: [Errno 13] Permission denied")

    monkeypatch.setattr(serial, "serial_for_url", denied)  # the superuser of a test may open everything
    says = tell("port.forbidden", port="/dev/ttyACM0")
    check(run("capture", "/dev/ttyACM0", str(tmp_path / "x.bin")), 4, says, tell("port.forbidden.join"))
    done = run("setup", "--scan", "--port", "/dev/ttyACM0")
    assert done.code == 4
    assert heard(done.out, says)


def test_a_capture_never_overwrites(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "bench.bin"
    target.write_bytes(b"kept")
    check(run("capture", "/dev/no-such-port", str(target)), 2, tell("usage.capture.file"), str(target))
    assert target.read_bytes() == b"kept"


# -- the record and the daemon -----------------------------------------------------------------------------------------


@pytest.fixture
def recorded_home(demonstrated: Callable[[str], Path], home: Path) -> Path:
    """A home with one melt on record: the demonstration."""
    shutil.copytree(demonstrated("cleats_left_in"), home, dirs_exist_ok=True)
    return home


def rows_of(home: Path) -> dict[str, int]:
    conn = sqlite3.connect(f"file:{home}/data/pourcall.sqlite?mode=ro", uri=True)
    try:
        names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: conn.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names}
    finally:
        conn.close()


def test_commands_that_only_ask_and_commands_that_fail_change_no_row(run: Run, recorded_home: Path) -> None:
    database = recorded_home / "data" / "pourcall.sqlite"
    rows, digest = rows_of(recorded_home), hashlib.sha256(database.read_bytes()).hexdigest()
    afile = recorded_home / "afile"
    afile.touch()
    out = str(recorded_home / "out")
    for words, code in (
        (("melt", "list"), 0),
        (("melt", "show", "2026-001"), 0),
        (("pour", "list"), 0),
        (("doctor",), 0),
        (("export", "2026-001", "--to", out), 0),
        (("export", "2026-099", "--to", out), 3),
        (("export", "2026-001-9", "--to", out), 3),
        (("export", "2026-001", "--to", str(afile)), 2),
        (("melt", "show", "2026-099"), 3),
        (("pour", "show", "2026-099-1"), 3),
        (("melt", "end"), 6),
        (("melt", "start", "za27"), 6),
        (("pour", "mark"), 6),
        (("dip", "--read", "500C"), 6),
        (("melt", "show"), 6),
        (("backup", str(recorded_home / "b.zip")), 0),
        (("backup", str(recorded_home / "b.zip"), "--restore"), 5),
        (("backup", str(afile), "--check"), 2),
        (("backup", str(recorded_home / "none"), "--check"), 2),
    ):
        done = run(*(only_melt(recorded_home) if word == "2026-001" else word for word in words))
        assert done.code == code, (words, done.err)
        assert "Traceback" not in done.err
    assert rows_of(recorded_home) == rows
    assert hashlib.sha256(database.read_bytes()).hexdigest() == digest


def only_melt(home: Path) -> str:
    """The year is the computer's."""
    conn = sqlite3.connect(f"file:{home}/data/pourcall.sqlite?mode=ro", uri=True)
    try:
        (melt,) = conn.execute("SELECT melt FROM melts").fetchone()
        return str(melt)
    finally:
        conn.close()


def test_an_unknown_melt_or_pour_is_answered_with_where_to_look(run: Run, recorded_home: Path) -> None:
    check(run("export", "2020-099"), 3, tell("record.no_melt", melt="2020-099"), tell("record.no_melt.remedy"))
    check(run("export", "2020-099-1"), 3, tell("record.no_pour", pour="2020-099-1"), tell("record.no_pour.remedy"))
    assert recorded_home.exists()


def test_without_a_record_the_way_to_one_is_told(run: Run) -> None:
    for words in (("melt", "list"), ("pour", "list"), ("export", "2026-001"), ("backup", "b.zip")):
        check(run(*words), 3, tell("record.none"), tell("record.none.remedy"))


def test_a_record_of_a_newer_program_is_refused_and_untouched(
    run: Run,
    shell: Run,
    recorded_home: Path,
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    database = recorded_home / "data" / "pourcall.sqlite"
    conn = sqlite3.connect(database)
    conn.execute("PRAGMA user_version = 99")
    conn.execute("PRAGMA journal_mode = DELETE")
    conn.close()
    write_settings(settings_for("/dev/no-such-board"))
    before = hashes(recorded_home / "data")
    digest = before["pourcall.sqlite"]
    for words in (("melt", "list"), ("pour", "list"), ("export", "2026-001"), ("backup", str(recorded_home / "b.zip"))):
        check(run(*words), 5, tell("record.newer"), str(database))
    check(shell("serve"), 5, tell("record.newer"), str(database))
    assert run("doctor").code == 1
    assert hashes(recorded_home / "data")["pourcall.sqlite"] == digest
    assert {name for name in hashes(recorded_home / "data") if "damaged" in name} == set()


def test_a_second_daemon_is_refused_with_the_pid_and_the_first_goes_on(
    serve: Callable[..., Any],
    shell: Run,
    home: Path,
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    write_settings(settings_for("/dev/no-such-board"))
    first = serve()
    assert tells(first.said, "cli.serve.listening")
    second = shell("serve")
    check(second, 6, tell("daemon.runs_already", process=first.process.pid), tell("daemon.runs_already.remedy"))
    health = shell("melt", "show")
    assert health.code == 0
    assert health.out.startswith(f"club: {said('melt_list.no_melt')}")
    assert first.stop() == 0
    assert not paths_for({"POURCALL_HOME": str(home)}, sys.platform, home).socket.exists()


def test_a_daemon_that_does_not_answer_is_told_from_one_that_is_not_there(run: Run, home: Path) -> None:
    check(run("melt", "show"), 6, tell("api.not_running"), tell("api.not_running.remedy"))
    if not hasattr(socket, "AF_UNIX"):
        return
    (home / "run").mkdir(parents=True, exist_ok=True)
    with socket.socket(socket.AF_UNIX) as dead:  # its process was killed: the file stays, nobody listens
        dead.bind(str(home / "run" / "daemon.sock"))
    check(run("melt", "show"), 6, tell("api.unreachable"), tell("api.not_running.remedy"))


def test_the_dashboard_without_a_terminal_says_what_else_there_is(shell: Run) -> None:
    check(shell("watch"), 6, tell("screen.no_terminal"), tell("screen.no_terminal.do"))
    check(shell("demo"), 6, tell("screen.no_terminal"), tell("screen.no_terminal.demo"))


@pytest.mark.parametrize("words", [("melt", "list"), ("pour", "list"), ("mould", "list"), ("advise", "deck cleat")])
def test_a_record_that_is_damaged_inside_says_what_to_do_with_it(
    run: Run, recorded_home: Path, words: tuple[str, ...]
) -> None:
    database = recorded_home / "data" / "pourcall.sqlite"
    pages = bytearray(database.read_bytes())
    size = int.from_bytes(pages[16:18], "big")  # of a page, as the SQLite file format has it in bytes 16 and 17
    for at in range(size, len(pages), size):
        pages[at : at + size // 2] = b"\xff" * (size // 2)
    database.write_bytes(pages)
    done = run(*words)
    check(
        done, 5, tell("record.unreadable", error="database disk image is malformed"), tell("record.unreadable.remedy")
    )
    assert database.read_bytes() == bytes(pages)
