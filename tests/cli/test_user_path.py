"""The whole way of a user, with real parts: processes, sockets, ports, files. Every command as in a shell."""

import contextlib
import json
import os
import select
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.contract.settings import parse_settings
from pourcall.contract.units import Unit
from tests.reworded import program
from tests.told import said, tells

Run = Callable[..., Any]
PATIENCE_S = 10.0


def asked(done: Any) -> Any:
    assert done.code == 0, done.err
    return json.loads(done.out)


def until(what: Callable[[], Any], *, patience_s: float = PATIENCE_S) -> Any:
    """Ask again until there is an answer that counts: what is waited for happens in another process."""
    until_s = time.monotonic() + patience_s
    while not (found := what()):
        assert time.monotonic() < until_s, "it never happened"
        time.sleep(0.05)
    return found


@pytest.mark.parametrize("scenario", ["cleats_left_in", "cleats_dip"])
def test_from_the_demonstration_to_an_exported_pour_a_backup_and_another_home(
    scenario: str, home: Path, tmp_path: Path, shell: Run
) -> None:
    import pandas as pd

    out = tmp_path / "out"
    demo = shell("demo", "--headless", "--scenario", scenario, "--export", str(out), "--home", str(home))
    assert demo.code == 0, demo.err
    assert tells(demo.err, "cli.demo.took")

    melts = asked(shell("melt", "list", "--json"))
    (melt,) = melts
    assert (melt["alloy"], melt["pours"], melt["ending"]) == ("za27", 2, "poured")
    pours = asked(shell("pour", "list", "--json"))
    assert [pour["number"] for pour in pours] == [2, 1]
    files = sorted(out.glob("pour-*.csv"))
    assert [file.name for file in files] == [f"pour-{pour['pour']}.csv" for pour in reversed(pours)]

    for file, pour in zip(files, reversed(pours), strict=True):
        metadata = json.loads(file.with_name(file.name + "-metadata.json").read_text("utf-8"))
        assert metadata["@context"]
        table = pd.read_csv(file)
        assert len(table) > 1000
        assert [column for column in table.columns if "Unnamed" in column] == []
        assert list(table.columns[:3]) == ["elapsed_s", "utc", "metal_temp_c"]
        assert 500.0 < table["metal_temp_c"].max() < 700.0
        assert table["elapsed_s"].is_monotonic_increasing
        assert pd.to_datetime(table["utc"]).is_monotonic_increasing
        detail = asked(shell("pour", "show", pour["pour"], "--json"))
        assert detail["row"] == pour
        assert pour["lip_min_c"] <= pour["lip_temp_c"] <= pour["lip_max_c"]
        shown = shell("pour", "show", pour["pour"], "--unit", "F").out
        assert tells(shown, "cli.pour.head", pour=pour["pour"])
        window = said("cli.pour.window", Unit.F, low_c=535.0, high_c=570.0)
        assert "995 °F" in window
        assert "1058 °F" in window
        assert tells(shown, "cli.pour.lip", Unit.F, arrived="inside", window=window)

    whole = asked(shell("export", melt["melt"], "--to", str(out), "--json"))
    assert len(pd.read_csv(whole["csv"])) == whole["rows"]
    shown = shell("melt", "show", melt["melt"])
    assert pours[0]["pour"] in shown.out
    assert f"{pours[0]['lip_temp_c']:.0f} °C" in shown.out

    archive = tmp_path / "shop.zip"
    assert tells(shell("backup", str(archive)).out, "cli.backup.made", file=str(archive))
    assert tells(shell("backup", str(archive), "--check").out, "cli.backup.whole", file=str(archive))
    detail = asked(shell("melt", "show", melt["melt"], "--json"))

    other = home / "other"

    def elsewhere(*words: str) -> Any:
        done = subprocess.run(
            program(*words),
            env={**os.environ, "POURCALL_HOME": str(other)},
            capture_output=True,
            text=True,
            timeout=60.0,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    elsewhere("backup", str(archive), "--restore")
    assert json.loads(elsewhere("melt", "list", "--json")) == melts
    assert json.loads(elsewhere("pour", "list", "--json")) == pours
    assert json.loads(elsewhere("melt", "show", melt["melt"], "--json")) == detail
    elsewhere("export", melt["melt"], "--to", str(tmp_path / "again"))
    assert (tmp_path / "again" / Path(whole["csv"]).name).read_bytes() == Path(whole["csv"]).read_bytes()


def test_a_melt_by_hand_against_a_running_daemon_is_on_the_record(
    home: Path,
    socket_board: Any,
    serve: Callable[..., Any],
    shell: Run,
    write_settings: Callable[[str], Path],
    settings_for: Callable[[str], str],
) -> None:
    write_settings(settings_for(socket_board.port))
    daemon = serve()
    assert tells(daemon.said, "cli.serve.listening")

    def now() -> Any:
        return asked(shell("melt", "show", "--json"))[0]

    started = shell("melt", "start", "za27", "--charge", "1.5kg", "--mould", "cleat 1,kg=0.6,mm=6", "--who", "Ann")
    assert started.code == 0, started.err
    shot = until(lambda: (shot := now()).get("probes") and shot["probes"][0].get("temp_c") and shot)
    # 20 mV at terminals of 24.5 degC is 20.985 mV, which the printed type K table (NIST) has between 508 and 509 degC.
    assert 507.5 < shot["probes"][0]["temp_c"] < 509.5
    melt = shot["melt"]
    assert shot["plan"]["charge_kg"] == 1.5
    assert [mould["name"] for mould in shot["plan"]["moulds"]] == ["cleat 1"]
    again = shell("melt", "start", "za27")
    assert again.code == 7
    assert tells(again.err, "daemon.melt_runs", melt=melt)

    assert shell("dip", "--read", "930F", "--source", "panel").code == 0
    assert shell("melt", "mark", "high").code == 0
    added = ("melt", "mark", "add", "--mass", "300g", "--source", "returns")
    too_early = shell(*added, "--ago", "60m")
    assert (too_early.code, tells(too_early.err, "command.before_the_melt")) == (7, True)
    assert shell(*added).code == 0
    assert shell("melt", "note", "moulds are warm").code == 0
    changed = shell(
        "melt", "change", "--mould", "cleat 1,kg=0.6,mm=6", "--mould", "cleat 2,kg=0.5", "--why", "room for two"
    )
    assert changed.code == 0, changed.err
    assert [mould["name"] for mould in now()["plan"]["moulds"]] == ["cleat 1", "cleat 2"]
    wrong = shell("melt", "change", "--alloy", "zaa27")
    assert (wrong.code, tells(wrong.err, "alloy.not_found", alloy="zaa27")) == (3, True)
    early = shell("pour", "mark", "--ago", "40s", "--sure")
    assert (early.code, tells(early.err, "command.before_the_melt")) == (7, True)
    time.sleep(1.2)  # real time: the melt must be older than the mark is dated back
    poured = shell("pour", "mark", "--ago", "1s", "--who", "Ann", "--sure")
    assert poured.code == 0, poured.err
    assert tells(poured.out, "daemon.done.pour", number=1, mould="cleat 1")
    assert shell("pour", "mark", "--mould", "cleat 9").code == 7
    assert shell("melt", "end", "ingots").code == 0
    assert shell("melt", "end").code == 7
    assert daemon.stop() == 0

    (row,) = asked(shell("melt", "list", "--json"))
    assert (row["melt"], row["ending"], row["pours"], row["moulds"]) == (melt, "ingots", 1, 2)
    detail = asked(shell("melt", "show", melt, "--json"))
    told = json.dumps(detail)
    assert "moulds are warm" in told
    assert "0.3 kg" in told
    assert "498" in told  # 930 degF is 498.9 degC
    (pour,) = asked(shell("pour", "list", "--json"))
    assert (pour["mould"], pour["melt"]) == ("cleat 1", melt)
    assert row["began_utc_s"] <= pour["at_utc_s"] <= row["ended_utc_s"] - 1.0
    conn = sqlite3.connect(f"file:{home}/data/pourcall.sqlite?mode=ro", uri=True)
    bodies = [str(body) for (body,) in conn.execute("SELECT body FROM events")]
    conn.close()
    assert any("room for two" in body for body in bodies)


def test_setup_writes_settings_that_the_daemon_takes(
    home: Path, socket_board: Any, serve: Callable[..., Any], shell: Run, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pourcall.drivers import ports

    monkeypatch.setattr(ports, "list_ports", list)  # the machine's own ports are not listened to
    scanned = run("setup", "--scan", "--json", "--port", socket_board.port)
    assert scanned.code == 0, scanned.err
    (report,) = json.loads(scanned.out)
    assert (report["format"], report["channels"], report["identity"]["serial"]) == ("pourcall", ["0"], "A1")
    assert not (home / "settings").exists()

    path = home / "settings" / "pourcall.toml"
    done = run("setup", "--yes", "--port", socket_board.port)
    assert done.code == 0, done.err
    settings = parse_settings(path.read_text("utf-8"))
    (board,) = settings.board.values()
    assert (board.port, board.format, board.chip, board.serial) == (socket_board.port, "pourcall", "emf", "A1")
    assert path.stat().st_mode & 0o077 == 0 or sys.platform == "win32"

    daemon = serve()
    assert tells(daemon.said, "cli.serve.listening")
    until(lambda: asked(shell("melt", "show", "--json"))[0]["probes"][0].get("temp_c"))
    assert asked(shell("melt", "show", "--json"))[0]["boards"] == {"board1": {"state": "up"}}
    assert daemon.stop() == 0

    first = path.read_text("utf-8")
    path.write_text(first.replace("workshop", "boat shed"), encoding="utf-8")
    assert run("setup", "--yes", "--port", socket_board.port).code == 0
    kept = [file for file in path.parent.iterdir() if file != path]
    assert [file.read_text("utf-8") for file in kept] == [first.replace("workshop", "boat shed")]


def test_a_capture_of_a_board_can_be_read_back(tmp_path: Path, socket_board: Any, run: Run) -> None:
    from pourcall.drivers.capture import read_capture, replay
    from pourcall.drivers.wire import ourline

    target = tmp_path / "bench.bin"
    done = run("capture", socket_board.port, str(target), "--bytes", "400", "--for", "10s")
    assert done.code == 0, done.err
    assert tells(done.err, "cli.capture.running")
    frames = [frame for _, found in replay(read_capture(target), ourline.decoder()) for frame in found]
    assert len(frames) >= 3


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
async def test_setup_knows_a_simulated_board_on_a_terminal(
    home: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    import asyncio

    from pourcall.drivers import ports
    from pourcall.sim.boards.pty_board import LockStep
    from pourcall.sim.clock import SimClock
    from pourcall.sim.scenarios.demo import demo_scenario
    from pourcall.sim.shop import Shop

    monkeypatch.setattr(ports, "list_ports", list)
    step = LockStep(Shop(demo_scenario()), SimClock(), speed=20.0)
    running = asyncio.ensure_future(step.run(until_s=400.0))
    try:
        done = await asyncio.to_thread(run, "setup", "--yes", "--port", step.port)
    finally:
        step.stop()
        await running
        await step.aclose()
    assert done.code == 0, done.err
    settings = parse_settings((home / "settings" / "pourcall.toml").read_text("utf-8"))
    assert next(iter(settings.board.values())).chip == "max31855"
    assert [probe.channel for probe in settings.probe.values()] == ["1"]


KEY_GAP_S = 1.8  # the dashboard takes the same key sooner than 1.5 s after itself for a bounce


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_the_demonstration_in_a_terminal_shows_the_furnace_and_leaves_the_trace_behind(
    home: Path, tmp_path: Path
) -> None:
    master, slave = os.openpty()
    seen = bytearray()
    process = subprocess.Popen(
        program("demo", "--quiet", "--speed", "200", "--home", str(home), "--export", str(tmp_path)),
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color"},
    )
    os.close(slave)

    def shows(*words: bytes) -> bool:
        """Read what the terminal has; empty at its end."""
        with contextlib.suppress(OSError):
            while select.select([master], [], [], 0.02)[0]:
                seen.extend(os.read(master, 65_536))
        return all(word in seen for word in words)

    try:
        begun = (said("screen.header.simulated").encode(), b"ZA-27", said("key.quit").encode())
        until(lambda: shows(*begun), patience_s=60.0)  # the invented melts come first
        assert tells(seen.decode(errors="replace"), "cli.demo.recorded", pours=12, melts=6)
        os.write(master, b"q")
        until(lambda: shows(said("key.ask.quit").partition("?")[0].encode()))
        asked_s = time.monotonic()
        until(lambda: shows() and time.monotonic() > asked_s + KEY_GAP_S)
        os.write(master, b"q")
        until(lambda: shows() and process.poll() is not None, patience_s=20.0)
        assert process.returncode == 0
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        os.close(master)
    (table,) = tmp_path.glob("*.csv")
    assert table.name.startswith("melt-")
    assert table.read_text("utf-8").startswith("elapsed_s,utc,metal_temp_c")
    assert not list(home.glob("run/*.sock"))  # the simulated shop ended in order
