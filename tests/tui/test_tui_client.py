"""The API client against a real server on a real Unix socket."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from typing import Any

import msgspec
import pytest
from aiohttp import web

from pourcall.contract.api import CommandResult, StreamDelta
from pourcall.contract.errors import DaemonError, Refused
from pourcall.contract.events import CommandRefused, MeltState
from pourcall.contract.inputs import AckAlarm, MarkPour
from pourcall.contract.message import Message, as_message, tell
from pourcall.contract.snapshot import MetalView
from pourcall.tui.client import BACK_OFF_S, LOST_AFTER_S, Address, ApiClient, LinkState, merge


class Hands:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@contextlib.asynccontextmanager
async def listening(client: ApiClient) -> AsyncIterator[ApiClient]:
    """The client, running."""
    async with client:
        task = asyncio.create_task(client.run())
        try:
            yield client
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task


async def test_the_first_message_is_the_whole_and_deltas_are_merged_over_it(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: "forge" in client.snapshots and daemon.listeners)
        assert client.snapshots["forge"] == daemon.snapshots["forge"]
        await daemon.change(
            "forge",
            seq=101,
            melt_state=MeltState.READY,
            metal=MetalView(temp_c=531.0, u_c=4.0),
            window=None,
            alarms=(scenes.alarm(),),
            flags={"fume": 1},
            power=None,
        )
        await eventually(lambda: client.snapshots["forge"].seq == 101)
        assert client.snapshots["forge"] == daemon.snapshots["forge"]
        assert client.link is LinkState.LIVE


def test_a_field_of_a_newer_daemon_is_left_out(scenes: Any) -> None:
    before = scenes.heating()
    delta = StreamDelta(furnace="forge", changed={"hearth_angle": msgspec.Raw(b"12"), "seq": msgspec.Raw(b"7")})
    assert merge(before, delta) == msgspec.structs.replace(before, seq=7)


def test_a_known_field_of_another_shape_is_refused(scenes: Any) -> None:
    with pytest.raises(msgspec.ValidationError):
        merge(scenes.heating(), StreamDelta(furnace="forge", changed={"seq": msgspec.Raw(b'"seven"')}))


async def test_a_message_that_cannot_be_read_leads_to_a_fresh_whole(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: daemon.listeners)
        daemon.snapshots["forge"] = scenes.heating(seq=300)
        await daemon.send('{"type":"delta","furnace":"forge","changed":{"seq":"what"}}')
        await eventually(lambda: "forge" in client.snapshots and client.snapshots["forge"].seq == 300)


async def test_it_comes_back_by_itself_when_the_daemon_does(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: client.link is LinkState.LIVE)
        await daemon.stop()
        await eventually(lambda: client.link is LinkState.LOST)
        assert client.problem
        daemon.snapshots["forge"] = scenes.ready()
        await daemon.start()
        await eventually(lambda: client.link is LinkState.LIVE and client.snapshots["forge"].seq == 200)


def test_it_never_waits_longer_than_two_seconds_to_try_again() -> None:
    assert max(BACK_OFF_S) <= 2.0


async def test_an_open_socket_that_says_nothing_for_3_s_is_a_lost_daemon(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    clock = Hands()
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket), mono_s=clock)) as client:
        await eventually(lambda: client.link is LinkState.LIVE)
        clock.now_s = LOST_AFTER_S - 0.1
        links = [client.link]
        clock.now_s = LOST_AFTER_S
        links.append(client.link)
        assert links == [LinkState.LIVE, LinkState.LOST]
        assert client.silent_s == LOST_AFTER_S
        await daemon.change("forge", seq=101)
        await eventually(lambda: client.link is LinkState.LIVE)


async def test_before_the_first_word_it_is_looking_not_lost(short_dir: Any) -> None:
    async with listening(ApiClient(Address(socket=short_dir / "none.sock"))) as client:
        await asyncio.sleep(0)
        assert client.link is LinkState.CONNECTING


async def test_a_furnace_that_is_gone_after_a_reconnect_is_not_shown_any_more(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    await daemon.put(scenes.heating())
    await daemon.put(scenes.heating(furnace="kiln"))
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: len(client.snapshots) == 2)
        await daemon.stop()
        del daemon.snapshots["kiln"]
        await daemon.start()
        await eventually(lambda: set(client.snapshots) == {"forge"} and client.link is LinkState.LIVE)


async def test_a_command_goes_out_as_the_contract_says_and_its_answer_comes_back(daemon: Any, scenes: Any) -> None:
    daemon.result = CommandResult(accepted=True, seq=9, recorded=True, what="pour 1, cleat 1", pour=1)
    async with ApiClient(Address(socket=daemon.socket)) as client:
        result = await client.send("forge", MarkPour(ago_s=4.5, mould="cleat 1"))
    assert result == daemon.result
    assert daemon.commands == [("forge", {"type": "mark_pour", "ago_s": 4.5, "mould": "cleat 1"})]


async def test_a_refusal_keeps_the_words_of_the_daemon(daemon: Any) -> None:
    daemon.status = 409
    daemon.result = {
        "api": "1.0",
        "what": "no melt is running",
        "where": "forge",
        "remedy": "Start one",
        "exit_code": 7,
    }
    async with ApiClient(Address(socket=daemon.socket)) as client:
        with pytest.raises(Refused, match="no melt is running") as caught:
            await client.send("forge", AckAlarm())
    assert caught.value.remedy == as_message("Start one")


async def test_a_command_that_was_not_done_comes_back_as_its_result(daemon: Any) -> None:
    daemon.status = 409
    daemon.result = CommandResult(accepted=False, seq=4, recorded=True, what="no melt is running", remedy="Start one")
    async with ApiClient(Address(socket=daemon.socket)) as client:
        assert await client.send("forge", AckAlarm()) == daemon.result


async def test_no_daemon_is_told_with_the_remedy(short_dir: Any) -> None:
    async with ApiClient(Address(socket=short_dir / "none.sock")) as client:
        with pytest.raises(DaemonError) as refused:
            await client.send("forge", AckAlarm())
    assert refused.value.remedy == tell("screen.link.nobody.do")


async def test_another_major_version_is_read_only(daemon: Any, scenes: Any, eventually: Callable[..., Any]) -> None:
    daemon.api = "2.0"
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: "forge" in client.snapshots and daemon.listeners)
        assert isinstance(client.read_only, Message)
        assert client.read_only.name == "screen.read_only"
        with pytest.raises(Refused):
            await client.send("forge", AckAlarm())
        assert daemon.commands == []
        await daemon.change("forge", seq=101)  # it is still followed: figures that stand still would be a lie
        await eventually(lambda: client.snapshots["forge"].seq == 101)


async def test_another_minor_version_is_served(daemon: Any, scenes: Any, eventually: Callable[..., Any]) -> None:
    daemon.api = "1.7"
    await daemon.put(scenes.heating())
    async with listening(ApiClient(Address(socket=daemon.socket))) as client:
        await eventually(lambda: "forge" in client.snapshots)
        assert not client.read_only


async def test_events_are_handed_on_and_unknown_ones_left_out(
    daemon: Any, scenes: Any, eventually: Callable[..., Any]
) -> None:
    heard: list[Any] = []
    await daemon.put(scenes.heating())
    client = ApiClient(Address(socket=daemon.socket))
    client.subscribe(lambda _furnace: None, heard.append)
    async with listening(client):
        await eventually(lambda: daemon.listeners)
        await daemon.send('{"type":"event","event":{"type":"eclipse","furnace":"forge"}}')
        await daemon.send('{"type":"weather","wind":"south"}')
        event = CommandRefused(furnace="forge", seq=1, mono_s=0, utc_s=0, command="mark_pour", what="no", remedy="yes")
        await daemon.event(event)
        await eventually(lambda: heard == [event])


async def test_the_trace_is_asked_for_as_the_contract_says(daemon: Any, scenes: Any) -> None:
    daemon.snapshots["forge"] = scenes.heating()
    async with ApiClient(Address(socket=daemon.socket)) as client:
        trace = await client.trace("forge", since_s=3440.0, points=320)
    assert daemon.traces_asked == [{"since_s": "3440.000", "points": "320"}]
    assert trace == scenes.trace(scenes.heating())


async def test_over_loopback_tcp_the_token_is_shown() -> None:
    seen: list[str] = []

    async def command(request: web.Request) -> web.Response:
        seen.append(request.headers.get("Authorization", ""))
        return web.Response(body=msgspec.json.encode(CommandResult(accepted=True, seq=1, recorded=True)))

    app = web.Application()
    app.router.add_post("/v1/furnaces/{furnace}/commands", command)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    port = runner.addresses[0][1]
    async with ApiClient(Address(url=f"http://127.0.0.1:{port}", token="s3cret")) as client:
        await client.send("forge", AckAlarm())
    await runner.cleanup()
    assert seen == ["Bearer s3cret"]
