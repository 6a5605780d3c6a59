"""The whole daemon over its real socket, with its real record and a real pseudo-terminal for a board."""

import asyncio
import csv
import io
import json
import os
import socket
import stat
import sys
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from pourcall.contract.errors import DaemonError
from pourcall.contract.inputs import Input, LinkIn, LinkKind, Note, SampleIn
from pourcall.contract.paths import Paths
from pourcall.contract.settings import parse_settings
from pourcall.daemon.inputs.sequencer import ProcessedInput
from pourcall.daemon.main import Daemon
from pourcall.drivers.wire.ourline import encode_sample
from pourcall.records.read.store import Store
from tests.told import refused, said

if sys.platform == "win32":
    pytest.skip("pseudo-terminals and Unix sockets are missing here", allow_module_level=True)

import tty

WAIT_S = 30.0  # a bound for a hung test, not a time that anything takes
# ITS-90 table of type K, cold junction at 0 degC: 20.857 mV at 505 degC (tests/data/thermocouple/type_K_table.csv).
UV_AT_505_C = 20_857.0


class Bench:
    """A daemon, its board's end of the wire and a client."""

    def __init__(self, paths: Paths, extra: str = "", **named: Any) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.paths, self.seq = paths, 0
        text = (
            f'[board.bench]\nport = "{os.ttyname(self.slave)}"\nsample_s = 0.1\n'
            '[furnace.crucible]\n[probe.melt_probe]\nfurnace = "crucible"\nboard = "bench"\n' + extra
        )
        self.daemon = Daemon(parse_settings(text), text, paths, **named)
        self.http: aiohttp.ClientSession | None = None
        self.inputs: list[Input] = []
        self.more = asyncio.Event()

    async def __aenter__(self) -> "Bench":
        await self.daemon.start()
        assert self.daemon.service is not None
        self.daemon.service.sequencer("crucible").subscribe(self._hear)  # no turn of the loop after the start
        self.http = aiohttp.ClientSession(
            "http://pourcall",
            connector=aiohttp.UnixConnector(str(self.paths.socket)),
            timeout=aiohttp.ClientTimeout(WAIT_S),
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        if self.http is not None:
            await self.http.close()
        await self.daemon.stop()
        os.close(self.master)
        os.close(self.slave)

    async def sends(self, *, emf_uv: float | None = UV_AT_505_C, flags: int = 0) -> None:
        """A line on the wire, and the engine has had it."""
        await self.hears(lambda item: isinstance(item, LinkIn) and item.kind is LinkKind.OPENED)
        self.seq += 1
        number = self.seq
        line = encode_sample(number, 1000 + 100 * number, "0", emf_uv=emf_uv, cold_junction_c=0.0, flags=flags)
        os.write(self.master, line)
        await self.hears(lambda item: isinstance(item, SampleIn) and item.sample.board_seq == number)

    async def hears(self, wanted: Callable[[Input], bool]) -> None:
        """Return once the engine has had such an input."""
        async with asyncio.timeout(WAIT_S):
            while not any(wanted(item) for item in self.inputs):
                self.more.clear()
                await self.more.wait()

    def _hear(self, passed: ProcessedInput) -> None:
        self.inputs.append(passed.item)
        self.more.set()

    async def get(self, path: str, status: int = 200) -> Any:
        assert self.http is not None
        async with self.http.get(path) as answer:
            assert answer.headers["Pourcall-Api"] == "1.0"
            body = await answer.read()
            assert answer.status == status, body
            return json.loads(body) if answer.content_type == "application/json" else body.decode()

    async def post(self, body: Any, status: int = 200, path: str = "/v1/furnaces/crucible/commands") -> Any:
        assert self.http is not None
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        async with self.http.post(path, data=data) as answer:
            assert answer.status == status, await answer.text()
            return await answer.json()

    async def sees(self, what: str, expected: Any) -> Any:
        """The furnace's snapshot, once a part of it is as expected."""
        async with asyncio.timeout(WAIT_S):
            while True:
                shot = await self.get("/v1/furnaces/crucible")
                if shot.get(what) == expected or (callable(expected) and expected(shot.get(what))):
                    return shot
                await asyncio.sleep(0.01)


@pytest.fixture
async def bench(paths: Paths) -> AsyncIterator[Bench]:
    async with Bench(paths) as made:
        yield made


START = {
    "type": "start_request",
    "alloy": "ZA-27",
    "charge_kg": 1.5,
    "who": "deck crew",
    "moulds": [{"name": "cleat 1", "mass_kg": 0.4}],
}


async def test_health_says_who_and_when(bench: Bench) -> None:
    health = await bench.get("/v1/health")
    assert (health["pid"], health["furnaces"], health["simulated"]) == (os.getpid(), ["crucible"], False)


async def test_a_temperature_on_the_wire_is_a_temperature_in_the_snapshot(bench: Bench) -> None:
    for _ in range(3):
        await bench.sends()
    shot = await bench.sees("probes", lambda probes: probes and probes[0]["temp_c"] is not None)
    assert shot["probes"][0]["temp_c"] == pytest.approx(505.0, abs=0.05)


async def test_a_melt_is_started_changed_noted_and_ended_and_stands_on_record(bench: Bench) -> None:
    began = await bench.post(START)
    assert (began["accepted"], began["recorded"], began["melt"]) == (True, True, "2026-001") or began["melt"]
    melt = began["melt"]
    changed = await bench.post({"type": "change_request", "charge_kg": 1.2, "why": "one cleat less"})
    noted = await bench.post({"type": "note", "text": "a dull day", "who": "deck crew"})
    poured = await bench.post({"type": "mark_pour", "mould": "cleat 1", "sure": True})
    ended = await bench.post({"type": "end_melt", "ending": "poured"})
    assert all(each["accepted"] and each["recorded"] for each in (changed, noted, poured, ended))
    assert poured["pour"] == 1
    (row,) = await bench.get("/v1/melts")
    assert (row["melt"], row["ending"], row["pours"]) == (melt, "poured", 1)
    detail = await bench.get(f"/v1/melts/{melt}")
    assert [plan["plan"]["charge_kg"] for plan in detail["plans"]] == [1.5, 1.2]
    (pour,) = await bench.get(f"/v1/pours?melt={melt}")
    assert (await bench.get(f"/v1/pours/{pour['pour']}"))["row"]["mould"] == "cleat 1"


async def test_what_inspection_finds_goes_on_record_days_later(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    await bench.post({"type": "mark_pour", "sure": True})
    await bench.post({"type": "end_melt", "ending": "poured"})
    path = f"/v1/pours/{melt}-1/results"
    told = await bench.post({"defect": "misrun", "severity": 2, "who": "deck crew"}, path=path)
    assert (told["accepted"], told["recorded"]) == (True, True)
    assert (await bench.get(f"/v1/pours/{melt}-1"))["row"]["result"] == "misrun 2"
    assert (await bench.post({"defect": "misrun", "severity": 9}, 400, path=path))["exit_code"] == 2
    assert (await bench.post({"defect": "misrun", "sev": 1}, 400, path=path))["exit_code"] == 2
    assert (await bench.post({"defect": "sound"}, 404, path="/v1/pours/2026-999-1/results"))["exit_code"] == 3


async def test_several_findings_in_one_request_are_recorded_all_or_none(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    await bench.post({"type": "mark_pour", "sure": True})
    path = f"/v1/pours/{melt}-1/results"
    two = [{"defect": "misrun", "severity": 2}, {"defect": "sink", "severity": 1, "detail": "gate"}]
    assert (await bench.post({"findings": two}, path=path))["what"] == {
        "name": "record.result",
        "facts": {
            "pour": f"{melt}-1",
            "said": [
                {"name": "record.defect", "facts": {"defect": "misrun", "severity": 2}},
                {"name": "record.defect", "facts": {"defect": "sink", "severity": 1}},
            ],
        },
    }
    wrong = [{"defect": "flash", "severity": 1}, {"defect": "sound"}]
    refused = await bench.post({"findings": wrong}, 400, path=path)
    assert refused["exit_code"] == 2
    assert refused["what"] == {"name": "defect.sound_and", "facts": {"defects": "flash"}}
    assert (await bench.post({"findings": [two[0], {"defect": "dross"}]}, 400, path=path))["exit_code"] == 2
    assert (await bench.get(f"/v1/pours/{melt}-1"))["row"]["result"] == "misrun 2, sink 1"
    assert (await bench.get(f"/v1/pours/{melt}-1"))["row"]["inside"] is None  # nothing was known of the metal


async def test_a_later_entry_goes_on_record_whole_or_is_refused_in_words(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    charge = {"type": "charge", "melt": melt, "entries": [{"source": "new", "mass_kg": 1.2}]}
    told = await bench.post(charge, path="/v1/entries")
    assert (told["recorded"], told["what"]["name"]) == (True, "charge.on_record")
    assert told["what"]["facts"]["melt"] == melt
    for wrong, status, code in (
        ({**charge, "melt": "2019-001"}, 404, 3),
        ({**charge, "colour": "red"}, 400, 2),
        ({**charge, "entries": [{"source": "new", "mass_kg": 1.0}, {"source": "new", "mass_kg": -1.0}]}, 400, 2),
        ({**charge, "entries": [{"source": "scrap", "mass_kg": 1.0, "detail": "bell\x07"}]}, 400, 2),
        ({**charge, "entries": [{"source": "returns", "mass_kg": 1.0, "origin": melt}]}, 400, 2),
        ({"type": "charge_everything"}, 400, 2),
        ({"type": "pour_correction", "pour": f"{melt}-1", "mould": "cleat 1"}, 404, 3),
        ({"type": "ending", "melt": melt, "heel_kg": 0.2}, 400, 2),
    ):
        assert (await bench.post(wrong, status, path="/v1/entries"))["exit_code"] == code, wrong
    assert [one["mass_kg"] for one in (await bench.get(f"/v1/melts/{melt}"))["charges"]] == [1.2]
    await bench.post({"type": "mould_setup", "name": "deck cleat", "add": True, "thinnest_mm": 6.0}, path="/v1/entries")
    assert [one["name"] for one in await bench.get("/v1/moulds")] == ["deck cleat"]


async def test_a_pour_that_was_none_makes_its_mould_the_next_again_while_the_melt_runs(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    await bench.post({"type": "mark_pour", "sure": True})
    withdrawn = {"type": "pour_correction", "pour": f"{melt}-1", "not_poured": True, "why": "pressed by mistake"}
    assert (await bench.post(withdrawn, path="/v1/entries"))["recorded"] is True
    assert await bench.get("/v1/pours") == []
    again = await bench.post({"type": "mark_pour", "sure": True})
    assert (again["pour"], again["what"]["facts"]) == (2, {"number": 2, "mould": "cleat 1"})


async def test_a_melt_of_a_number_that_is_on_record_is_refused_and_the_old_melt_stays_as_it_was(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    plan = (await bench.get("/v1/furnaces/crucible"))["plan"]
    await bench.post({"type": "end_melt", "ending": "abandoned"})
    before = await bench.get(f"/v1/melts/{melt}")
    refused = await bench.post({"type": "start_melt", "plan": plan}, 409)
    assert (refused["exit_code"], refused["what"]["name"]) == (7, "daemon.melt_on_record")
    assert await bench.get(f"/v1/melts/{melt}") == before
    assert (await bench.post({"type": "start_melt", "plan": {**plan, "melt": "2026-900"}}))["melt"] == "2026-900"


@pytest.mark.parametrize(
    ("command", "doubt"),
    [
        ({"type": "mark_pour"}, "not_called"),
        ({"type": "mark_lift"}, "not_called"),
        ({"type": "enter_temperature", "temp_c": 1100.0}, "too_hot"),
    ],
)
async def test_a_doubtful_command_is_asked_about_and_counts_once_it_is_sure(
    bench: Bench, command: dict[str, Any], doubt: str
) -> None:
    melt = (await bench.post(START))["melt"]
    told = await bench.post(command)
    assert (told["accepted"], told["recorded"], told["doubt"]) == (False, False, doubt)
    assert told["remedy"] == {"name": "question.sure"}
    assert await bench.get(f"/v1/pours?melt={melt}") == []
    told = await bench.post({**command, "sure": True})
    assert (told["accepted"], told["recorded"], "doubt" in told) == (True, True, False)


async def test_a_corrected_pour_stands_in_the_snapshot_as_it_does_on_record(bench: Bench) -> None:
    moulds = [
        {"name": "cleat 1", "mass_kg": 0.4},
        {"name": "bow", "mass_kg": 0.4, "lip_min_c": 540.0, "lip_max_c": 560.0},
    ]
    melt = (await bench.post({**START, "moulds": moulds}))["melt"]
    await bench.post({"type": "mark_pour", "sure": True})
    moved = {"type": "pour_correction", "pour": f"{melt}-1", "mould": "bow", "why": "the other box"}
    assert (await bench.post(moved, path="/v1/entries"))["recorded"] is True
    await bench.post({"type": "pour_completion", "pour": f"{melt}-1", "batch": "B8"}, path="/v1/entries")
    (shown,) = (await bench.get("/v1/furnaces/crucible"))["pours"]
    row = (await bench.get(f"/v1/pours/{melt}-1"))["row"]
    for name in ("mould", "setup", "lip_min_c", "lip_max_c", "at_utc_s", "lip_temp_c"):
        assert shown.get(name) == row.get(name), name
    assert (shown["mould"], shown["lip_min_c"], shown["lip_max_c"]) == ("bow", 540.0, 560.0)


async def test_a_refused_command_is_an_answer_and_no_error(bench: Bench) -> None:
    told = await bench.post({"type": "end_melt", "ending": "poured"})
    assert told["accepted"] is False
    assert told["what"]
    assert told["remedy"]


async def test_a_second_start_is_refused_with_exit_code_seven(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    error = await bench.post(START, 409)
    assert error["what"]["facts"]["melt"] == melt
    assert error["exit_code"] == 7


async def test_trace_live_on_record_and_as_csv(bench: Bench) -> None:
    melt = (await bench.post(START))["melt"]
    for _ in range(5):
        await bench.sends()
    async with asyncio.timeout(WAIT_S):
        path = "/v1/furnaces/crucible/trace?points=100"
        while not (live := (await bench.get(path))["probes"]):  # noqa: ASYNC110 - it comes over a wire
            await asyncio.sleep(0.01)
    assert live["melt_probe"][0][2] == pytest.approx(505.0, abs=0.05)
    await bench.post({"type": "note", "text": "so that all before is on the disk"})
    rows = list(csv.DictReader(io.StringIO(await bench.get(f"/v1/melts/{melt}/trace.csv"))))
    temps_c = [float(row["melt_probe_temp_c"]) for row in rows if row["melt_probe_temp_c"]]
    assert temps_c
    assert temps_c == pytest.approx([505.0] * len(temps_c), abs=0.05)
    drawn = await bench.get(f"/v1/melts/{melt}/trace?points=10")
    assert drawn["probes"]["melt_probe"][0][1] == pytest.approx(505.0, abs=0.05)


@pytest.mark.parametrize(
    ("path", "status", "exit_code"),
    [
        ("/v1/furnaces/oven", 404, 3),
        ("/v1/melts/2026-999", 404, 3),
        ("/v1/pours/2026-999-1", 404, 3),
        ("/v1/melts/%00%1b[31m", 404, 3),
        ("/v1/nothing", 404, 3),
        ("/v1/furnaces/crucible/trace?points=nan", 400, 2),
        ("/v1/furnaces/crucible/trace?points=1e9", 400, 2),
        ("/v1/furnaces/crucible/trace?since_s=soon", 400, 2),
        ("/v1/furnaces/crucible/commands", 405, 2),
    ],
)
async def test_errors_say_what_and_what_to_do(bench: Bench, path: str, status: int, exit_code: int) -> None:
    error = await bench.get(path, status)
    assert error["what"]
    assert error["exit_code"] == exit_code
    assert "\x1b" not in json.dumps(error)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"null", 400),
        (b'{"type": "raise_power"}', 400),
        (b'{"type": "end_melt"}', 400),
        (b'{"type": "end_melt", "ending": "exploded"}', 400),
        (b'{"type": "mark_pour", "ago_s": -5}', 400),
        (b'{"type": "mark_pour", "ago_s": 1e999}', 400),
        (b'{"type": "enter_temperature", "temp_c": 11000}', 400),
        (b'{"type": "start_request", "alloy": "za27", "chargekg": 1}', 400),
        (b'{"type": "note", "text": "\xff\xfe"}', 400),
        (b'{"type": "note", "x": ' + b"[" * 5000 + b"]" * 5000 + b', "text": ""}', 400),
        (b'{"type": "note", "text": "' + b"x" * 20_000 + b'"}', 413),
    ],
)
async def test_malformed_huge_nested_or_impossible_commands_change_nothing(
    bench: Bench, body: bytes, status: int
) -> None:
    before = await bench.get("/v1/furnaces/crucible")
    error = await bench.post(body, status)
    assert error["what"]
    after = await bench.get("/v1/furnaces/crucible")
    assert after.get("melt") == before.get("melt")
    assert after["melt_state"] == before["melt_state"] if "melt_state" in before else "melt_state" not in after


async def test_a_rejected_command_raises_its_alarm_with_the_text_cleaned(bench: Bench) -> None:
    await bench.post(b'{"type": "\\u001b[2J\x1b[31mred"}', 400)
    shot = await bench.sees("alarms", lambda alarms: bool(alarms))
    (alarm,) = shot["alarms"]
    assert alarm["kind"] == "command_rejected"
    assert "\x1b" not in json.dumps(shot, ensure_ascii=False)


async def test_texts_lose_their_escape_codes_at_the_door(bench: Bench) -> None:
    melt = (await bench.post({**START, "who": "\x1b[31mmate\u202e"}))["melt"]
    await bench.post({"type": "note", "text": "line one\nline\x07 two"})
    detail = json.dumps(await bench.get(f"/v1/melts/{melt}"), ensure_ascii=False)
    assert "line one line two" in detail
    assert not {"\x1b", "\u202e", "\x07"} & set(detail)


async def test_the_description_names_every_route_and_every_command(bench: Bench) -> None:
    description = await bench.get("/v1/openapi.json")
    assert description["openapi"].startswith("3.1")
    assert {"/v1/health", "/v1/stream", "/v1/furnaces/{furnace}/commands"} <= set(description["paths"])
    body = description["paths"]["/v1/furnaces/{furnace}/commands"]["post"]["requestBody"]
    text = json.dumps(body["content"]["application/json"]["schema"])
    named = {name.rsplit("/", 1)[-1] for name in text.split('"') if name.startswith("#/components")}
    assert {"StartRequest", "MarkPour", "AckAlarm", "Note"} <= named
    assert named <= set(description["components"]["schemas"])


async def test_the_stream_gives_snapshot_then_the_alarm_of_an_open_couple_then_its_confirmation(bench: Bench) -> None:
    assert bench.http is not None
    async with bench.http.ws_connect("/v1/stream") as stream:
        first = json.loads(await stream.receive_str(timeout=WAIT_S))
        assert (first["type"], first["snapshot"]["furnace"], first["health"]["api"]) == ("snapshot", "crucible", "1.0")
        for _ in range(3):
            await bench.sends()
        for _ in range(4):
            await bench.sends(emf_uv=None, flags=1)
        marks = []
        async with asyncio.timeout(WAIT_S):
            while "recorded" not in marks:
                message = json.loads(await stream.receive_str())
                if message["type"] == "event" and message["event"]["type"] == "alarm_changed":
                    assert message["event"]["alarm"]["kind"] == "sensor_open"
                    marks.append(message["event"]["alarm"].get("recorded", "pending"))
                elif message["type"] == "delta":
                    marks += [a.get("recorded", "pending") for a in message["changed"].get("alarms", [])]
        assert marks[0] == "pending"


async def test_a_stream_client_is_told_when_the_daemon_stops(paths: Paths) -> None:
    async with Bench(paths) as bench:
        assert bench.http is not None
        async with bench.http.ws_connect("/v1/stream") as stream:
            await stream.receive_str(timeout=WAIT_S)
            stopping = asyncio.create_task(bench.daemon.stop())
            async with asyncio.timeout(WAIT_S):
                async for _ in stream:
                    pass
            assert stream.close_code == aiohttp.WSCloseCode.GOING_AWAY
            await stopping


async def test_a_dashboard_that_hangs_costs_nothing_and_is_skipped(paths: Paths) -> None:
    async with Bench(paths) as bench:
        service = bench.daemon.service
        assert service is not None
        loop = asyncio.get_running_loop()
        hung = socket.socket(socket.AF_UNIX)  # shakes hands and then never reads: fault P7
        hung.setblocking(False)
        await loop.sock_connect(hung, str(paths.socket))
        await loop.sock_sendall(
            hung,
            b"GET /v1/stream HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n",
        )
        for number in range(3000):  # who waited for the reader would wait for ever
            service.sequencer("crucible").submit(Note(text=f"{number} " + "x" * 1000))
            await asyncio.sleep(0)
        assert (await bench.get("/v1/furnaces/crucible"))["seq"] >= 3000
        hung.close()


async def test_a_client_that_hangs_does_not_hold_up_the_stop(paths: Paths) -> None:
    async with Bench(paths) as bench:
        loop = asyncio.get_running_loop()
        hung = socket.socket(socket.AF_UNIX)
        hung.setblocking(False)
        await loop.sock_connect(hung, str(paths.socket))
        await loop.sock_sendall(
            hung,
            b"GET /v1/stream HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n",
        )
        assert (await loop.sock_recv(hung, 12)) == b"HTTP/1.1 101"  # it is a client now
        async with asyncio.timeout(WAIT_S):  # the library alone would wait a minute
            assert await bench.daemon.stop() == 0
        hung.close()


async def test_socket_lock_and_folder_are_private_and_gone_after_the_stop(paths: Paths) -> None:
    async with Bench(paths):
        assert stat.S_IMODE(paths.socket.stat().st_mode) == 0o600
        assert stat.S_IMODE(paths.runtime.stat().st_mode) == 0o700
        assert stat.S_IMODE(paths.log.stat().st_mode) == 0o600
    assert not paths.socket.exists()


async def test_a_second_daemon_is_refused_and_the_first_goes_on(bench: Bench) -> None:
    second = Daemon(bench.daemon.settings, bench.daemon.settings_text, bench.paths)
    with refused(DaemonError, "daemon.runs_already", process=str(os.getpid())):
        await second.start()
    assert (await bench.get("/v1/health"))["pid"] == os.getpid()


async def test_over_tcp_only_the_token_opens(paths: Paths) -> None:
    async with Bench(paths, tcp_port=0):
        where, token = paths.token.read_text().split()
        async with aiohttp.ClientSession(f"http://{where}") as http:
            for headers in ({}, {"Authorization": "Bearer wrong"}):
                async with http.get("/v1/health", headers=headers) as answer:
                    assert answer.status == 401
                    assert (await answer.json())["exit_code"] == 6
            async with http.get("/v1/health", headers={"Authorization": f"Bearer {token}"}) as answer:
                assert answer.status == 200
    assert not paths.token.exists()


async def test_an_unplugged_board_is_an_alarm_of_its_row(paths: Paths) -> None:
    async with Bench(paths) as bench:
        for _ in range(3):
            await bench.sends()
        await bench.sees("probes", lambda probes: probes and probes[0]["temp_c"] is not None)
        os.close(bench.master)
        bench.master = os.open("/dev/null", os.O_RDONLY)
        shot = await bench.sees("alarms", lambda alarms: bool(alarms))
        assert [alarm["kind"] for alarm in shot["alarms"]] == ["link_lost"]


async def test_a_melt_goes_on_after_a_stop_in_order_and_everything_is_on_record(paths: Paths) -> None:
    async with Bench(paths) as bench:
        melt = (await bench.post(START))["melt"]
        await bench.sends()
        await bench.sees("probes", lambda probes: probes and probes[0]["temp_c"] is not None)
    async with Bench(paths) as bench:
        shot = await bench.get("/v1/furnaces/crucible")
        assert (shot["melt"], shot["plan"]["charge_kg"]) == (melt, 1.5)
        await bench.post({"type": "end_melt", "ending": "abandoned"})
    with Store.read(paths.database) as store:
        assert [row.melt for row in store.melts()] == [melt]
        assert said("daemon.resumed", melt=melt) in [note.text for note in store.melt(melt).notes]
        assert all(session.ended_utc_s is not None for session in store.sessions())


async def test_a_slow_reader_of_old_melts_does_not_delay_the_loop(bench: Bench, monkeypatch: Any) -> None:
    begun, let_go = threading.Event(), threading.Event()

    def slow(self: Any, **_: Any) -> tuple[()]:
        begun.set()
        let_go.wait(WAIT_S)
        return ()

    monkeypatch.setattr(Store, "melts", slow)
    reading = asyncio.create_task(bench.get("/v1/melts"))
    try:
        assert await asyncio.to_thread(begun.wait, WAIT_S)
        await bench.get("/v1/health")
        assert not reading.done()
    finally:
        let_go.set()
    assert await reading == []


async def test_a_path_too_long_leaves_nothing_behind(home: Path) -> None:
    from pourcall.contract.paths import paths_for

    long_home = home / ("x" * 100)
    paths = paths_for({"POURCALL_HOME": str(long_home)}, "linux", home)
    text = "[furnace.crucible]\n"
    with refused(DaemonError, "daemon.socket.long_path"):
        await Daemon(parse_settings(text), text, paths).start()
    assert not paths.socket.exists()
