"""The real dashboard, driven by keys, fed by a real server over a real Unix socket, drawn at 80 x 24.

Stored screens: `tests/data/tui/*.txt`, what the program itself drew and a person looked at; regenerate with
POURCALL_REDRAW=1 and read the difference before keeping it.
"""

import contextlib
import os
import re
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input

from pourcall.contract.api import CommandResult
from pourcall.contract.events import CommandRefused, FigureSource, MeltState
from pourcall.contract.message import tell
from pourcall.contract.settings import Sound
from pourcall.contract.snapshot import DipHint, MetalView
from pourcall.contract.status import Reason
from pourcall.contract.units import Unit
from pourcall.texts import sentence, word
from pourcall.tui.app import Dashboard
from pourcall.tui.client import Address
from pourcall.tui.drawing.picture import DIP_MARK
from pourcall.tui.drawing.widgets import Lines, TraceView
from tests.told import said, tells

ROOMY = (200, 60)  # where no words are cut off, however long
STORED = Path(__file__).parents[1] / "data" / "tui"


class Hands:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def screen_text(app: Dashboard) -> str:
    """What stands on the screen, cell by cell, without colours."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips) + "\n"


def compare(text: str, name: str) -> None:
    """With the screen that is kept; POURCALL_REDRAW=1 keeps this one instead."""
    stored = STORED / f"{name}.txt"
    if os.environ.get("POURCALL_REDRAW"):
        stored.parent.mkdir(parents=True, exist_ok=True)
        stored.write_text(text, encoding="utf-8")
    assert text == stored.read_text(encoding="utf-8")


@contextlib.asynccontextmanager
async def dashboard(
    daemon: Any, eventually: Callable[..., Any], *, size: tuple[int, int] = (80, 24), **more: Any
) -> AsyncIterator[tuple[Dashboard, Pilot[int], Hands]]:
    """The dashboard on its screen, connected, with its first trace drawn."""
    clock = Hands()
    app = Dashboard(
        Address(socket=daemon.socket),
        sound=Sound(player="auto"),
        player_path=str(daemon.socket.parent),
        steady_marks=True,
        mono_s=clock,
        **more,
    )
    async with app.run_test(size=size) as pilot:
        if daemon.snapshots:
            await eventually(lambda: daemon.listeners and daemon.traces_asked and app.query("#plot-widget"))
        await settled(app, pilot)
        yield app, pilot, clock


async def settled(app: Dashboard, pilot: Pilot[int]) -> None:
    """Let what came in be drawn, sizes included."""
    for _ in range(4):
        app.draw()
        app._plot(force=True)
        await pilot.pause()


def region(app: Dashboard, name: str) -> str:
    """The text of one region."""
    return "\n".join("".join(span.text for span in row) for row in app.query_one(f"#{name}", Lines).shown)


@pytest.mark.wording
@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("idle", (80, 24)),
        ("heating", (80, 24)),
        ("ready", (80, 24)),
        ("lifted", (80, 24)),
        ("broken", (80, 24)),
        ("heating", (120, 36)),
        ("broken", (120, 36)),
    ],
)
async def test_the_screen_looks_as_it_was_when_a_person_last_read_it(
    daemon: Any, scenes: Any, eventually: Any, name: str, size: tuple[int, int]
) -> None:
    await daemon.put(getattr(scenes, name)(**({} if name == "idle" else {"last_dip": scenes.dip()})))
    async with dashboard(daemon, eventually, size=size) as (app, pilot, _):
        await settled(app, pilot)
        text = screen_text(app)
    compare(text, f"{name}_{size[0]}x{size[1]}")


async def test_with_no_color_nothing_on_the_screen_is_coloured(
    daemon: Any, scenes: Any, eventually: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    await daemon.put(scenes.broken())
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, _):
        await settled(app, pilot)
        text = screen_text(app)
        filters = app._filters
        strips = app.screen._compositor.render_strips()
        background = app.screen.background_colors[1].rich_color.triplet
        assert background is not None
        for strip in strips:
            for line_filter in filters:
                strip = strip.apply_filter(line_filter, app.screen.background_colors[1])
            for segment in strip:
                for colour in (segment.style.color, segment.style.bgcolor) if segment.style else ():
                    if colour is not None and colour.triplet is not None:
                        assert len({colour.triplet.red, colour.triplet.green, colour.triplet.blue}) == 1
    alarm, warning = (word("priority", priority) for priority in ("alarm", "warning"))
    for words in (
        f"{alarm}  {word('alarm_state', 'unacked')}",
        f"{warning}  {word('alarm_state', 'acked')}",
        f"!! {word('status', 'fail')}",
        "thermocouple open",
        f"{said('screen.band.do')}  Look",
        said("screen.header.not_recorded", store_problem="store_full"),
    ):
        assert words in text


async def test_a_change_is_on_the_screen_without_being_asked_for(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually, size=ROOMY) as (app, _pilot, _):
        await daemon.change("forge", melt_state=MeltState.READY, metal=MetalView(temp_c=None, how="probe is out"))
        ready = word("melt_state", "ready")
        await eventually(lambda: ready in region(app, "facts") and "probe is out" in region(app, "how"))


async def test_a_pour_is_marked_by_space_and_said_to_be_recorded_only_when_it_is(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.ready())
    daemon.result = CommandResult(accepted=True, seq=1, recorded=True, what="pour 1, cleat 1", pour=1)
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, clock):
        await pilot.press("space")
        mark = f"{said('key.pour_into', mould='cleat 1')}, {said('key.held.ago', ago='0 s')}"
        assert f"{mark}: {said('key.held.due', left_s=6.0)}" in region(app, "message")
        assert said("key.take_back") in region(app, "keys")
        assert daemon.commands == []
        clock.now_s += 1.0
        await pilot.press("plus")
        assert said("key.held.ago", ago="6 s") in region(app, "message")
        clock.now_s += 2.0
        await pilot.press("enter")
        await eventually(lambda: daemon.commands)
        assert daemon.commands == [("forge", {"type": "mark_pour", "ago_s": 8.0, "mould": "cleat 1", "sure": True})]
        recorded = said("screen.recorded", what="pour 1, cleat 1")
        await eventually(lambda: recorded in region(app, "message"))


async def test_what_is_not_on_the_disk_yet_is_not_called_recorded(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.broken())
    daemon.result = CommandResult(accepted=True, seq=1, recorded=False, what="acknowledged")
    async with dashboard(daemon, eventually) as (app, pilot, clock):
        clock.now_s += 2.0
        await daemon.put(scenes.broken(seq=101))
        await eventually(lambda: app.live)
        await pilot.press("a")
        pending = said("screen.pending", what="acknowledged")
        await eventually(lambda: pending in region(app, "message"))


async def test_a_refusal_is_told_with_its_remedy(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.ready())
    daemon.result = CommandResult(accepted=False, seq=1, recorded=False, what="no mould left", remedy="Add one")
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("space", "enter")
        refused = said("screen.refused", what="no mould left", remedy="Add one")
        await eventually(lambda: refused in region(app, "message"))
        event = CommandRefused(furnace="forge", seq=1, mono_s=0, utc_s=0, command="x", what="still no", remedy="Wait")
        await daemon.event(event)
        again = said("screen.refused", what="still no", remedy="Wait")
        await eventually(lambda: again in region(app, "message"))


async def test_a_daemon_that_goes_away_is_said_loudly_and_its_return_is_seen(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.ready())
    async with dashboard(daemon, eventually) as (app, pilot, clock):
        rung: list[int] = []
        app.player._bell = lambda: rung.append(1)
        await daemon.stop()
        clock.now_s += 12.0
        await eventually(lambda: said("screen.lost", silent_s=12.0) in region(app, "band"))
        assert "543" not in screen_text(app)
        await eventually(lambda: rung)
        await pilot.press("space")
        assert said("key.no_daemon") in region(app, "message")
        await daemon.start()
        await eventually(lambda: "POUR now" in region(app, "band"))
        await settled(app, pilot)
        assert "543 ►" in screen_text(app)


async def test_a_mark_made_just_before_the_daemon_went_away_is_sent_when_it_is_back(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.ready())
    async with dashboard(daemon, eventually) as (app, pilot, clock):
        await pilot.press("space")
        await daemon.stop()
        clock.now_s += 30.0
        await eventually(lambda: said("key.held.waits") in region(app, "message"))
        await daemon.start()
        await eventually(lambda: daemon.commands)
        assert daemon.commands == [("forge", {"type": "mark_pour", "ago_s": 30.0, "mould": "cleat 1", "sure": True})]


async def test_another_major_version_shows_a_read_only_banner(daemon: Any, scenes: Any, eventually: Any) -> None:
    daemon.api = "2.0"
    await daemon.put(scenes.ready())
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, _):
        assert tells(region(app, "band"), "screen.read_only", theirs="2.0")
        await pilot.press("space", "enter")
        await eventually(lambda: tells(region(app, "message"), "screen.read_only", theirs="2.0"))
        assert daemon.commands == []


async def test_a_furnace_without_a_probe_has_an_axis_of_degrees_and_minutes(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    read = MetalView(temp_c=149.0, u_c=16.0, source=FigureSource.TYPED, age_s=40.0, reason=Reason.OVERRIDE)
    await daemon.put(scenes.heating(probes=(), metal=read, ahead=None))
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.resize_terminal(*ROOMY)
        await settled(app, pilot)
        text = screen_text(app)
        assert re.search(r" -10\b", text)  # minutes
        assert "0.2" not in text  # the plot library's own axis runs from 0 to 1
        assert DIP_MARK in text


async def test_the_unit_changes_by_a_key_everywhere(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("u")
        await pilot.resize_terminal(*ROOMY)
        await settled(app, pilot)
        text = screen_text(app)
        # SI Brochure: 488.2 degC = 910.8 degF; 6.2 K/min = 11.2 degF/min; of the window 529 and 559 degC = 984.2 and
        # 1038.2 degF, which are rounded inwards
        span = said("screen.span", low="985", high="1038 °F")
        for words in ("911 ►", "985 ", "1038 ", "+11.2 °F/min", span):
            assert words in text


async def test_another_furnace_is_one_key_away_and_its_alarm_is_seen_from_here(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.heating())
    await daemon.put(scenes.broken(furnace="kiln"))
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, _):
        await eventually(lambda: tells(region(app, "alarms"), "screen.alarms.on", furnace="kiln"))
        assert said("key.furnace") in region(app, "keys")
        await pilot.press("f")
        await eventually(lambda: region(app, "header").startswith(" kiln"))
        assert f"!! {word('status', 'fail')}" in region(app, "facts")


async def test_a_melt_is_started_from_the_dashboard(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.idle())
    async with dashboard(daemon, eventually, unit=Unit.C) as (app, pilot, _):
        await pilot.press("m")
        await pilot.pause()
        for value in ("za27", "1.8 kg", "2x cleat 0.4kg 6mm, fairlead 505-540C"):
            for char in value:  # typed ahead, faster than the screen can follow
                app.post_message(events.Key(char, char))
            app.post_message(events.Key("enter", None))
        await eventually(lambda: daemon.commands)
        assert daemon.commands == [
            (
                "forge",
                {
                    "type": "start_request",
                    "alloy": "za27",
                    "charge_kg": 1.8,
                    "who": "dashboard",
                    "moulds": [
                        {"name": "cleat 1", "setup": "cleat", "mass_kg": 0.4, "thinnest_mm": 6.0},
                        {"name": "cleat 2", "setup": "cleat", "mass_kg": 0.4, "thinnest_mm": 6.0},
                        {
                            "name": "fairlead",
                            "setup": "fairlead",
                            "mass_kg": 0.0,
                            "lip_min_c": 505.0,
                            "lip_max_c": 540.0,
                        },
                    ],
                },
            )
        ]


async def test_the_melt_dialog_keeps_what_cannot_be_used_and_says_why(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.idle())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("m")
        await pilot.pause()
        app.screen.query_one("#alloy", Input).value = "za27"
        app.screen.query_one("#charge", Input).value = "a lot"
        await pilot.press("enter", "enter", "enter")
        told = "".join(span.text for row in app.screen.query_one("#melt-said", Lines).shown for span in row)
        assert tells(told, "quantity.none", typed="a lot")
        await pilot.press("escape")
        await pilot.pause()
        assert len(app.screen_stack) == 1
        assert daemon.commands == []


async def test_leaving_asks_once_during_a_melt(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually) as (app, pilot, clock):
        await pilot.press("ctrl+q")
        assert said("key.ask.quit") in region(app, "message")
        assert app.is_running
        clock.now_s += 2.0
        await pilot.press("q")
        await eventually(lambda: app.return_code == 0 and not app.is_running)


async def test_a_gap_in_the_trace_is_a_gap(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually, size=(120, 36)) as (app, pilot, _):
        await settled(app, pilot)
        buffer = app._traces[("forge", "melt_probe")]
        segments = buffer.segments(7040.0, 2400.0, 200)
        assert len(segments) == 2
        # the scene has no number from 540 s to 420 s before now
        assert segments[0][-1][0] == pytest.approx(-540.0 / 60, abs=0.2)
        assert segments[1][0][0] == pytest.approx(-420.0 / 60, abs=0.2)
        assert app.query_one(TraceView).size.height > 8


async def test_the_keys_of_the_plot_library_do_not_reach_it(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        before = screen_text(app)
        await pilot.press("plus", "minus", "left", "up", "r", "tab")
        await settled(app, pilot)
        assert screen_text(app) == before


async def test_without_a_daemon_it_waits_and_says_so(short_dir: Path) -> None:
    app = Dashboard(Address(socket=short_dir / "none.sock"), sound=Sound(player="off"))
    async with app.run_test(size=ROOMY) as pilot:
        await pilot.pause()
        assert said("screen.connecting") in region(app, "band")
        assert said("sound.off") in region(app, "header")
        await pilot.press("q", "q")


async def test_a_narrow_or_tiny_terminal_does_not_break_it(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.broken())
    async with dashboard(daemon, eventually, size=(60, 16)) as (app, pilot, _):
        assert "Look at the probe" in screen_text(app)
        await pilot.resize_terminal(30, 10)
        await settled(app, pilot)
        await pilot.resize_terminal(120, 36)
        await settled(app, pilot)
        assert "thermocouple open" in screen_text(app)


@pytest.mark.wording
@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("guided", (80, 24)),
        ("dipping", (80, 24)),
        ("chamber_only", (80, 24)),
        ("coasting", (80, 24)),
        ("guided", (120, 36)),
        ("dipping", (120, 36)),
    ],
)
async def test_the_forecast_looks_as_it_was_when_a_person_last_read_it(
    daemon: Any, scenes: Any, eventually: Any, name: str, size: tuple[int, int]
) -> None:
    await daemon.put(getattr(scenes, name)())
    async with dashboard(daemon, eventually, size=size) as (app, pilot, _):
        await settled(app, pilot)
        compare(screen_text(app), f"{name}_{size[0]}x{size[1]}")


@pytest.mark.wording
async def test_everything_at_once_fits_eighty_by_twenty_four(daemon: Any, scenes: Any, eventually: Any) -> None:
    snapshot = scenes.dipping(
        alarms=scenes.broken().alarms,
        pours=scenes.lifted().pours,
        flags={"fume": 2},
        store_problem="store_full",
        simulated=True,
    )
    await daemon.put(snapshot)
    async with dashboard(daemon, eventually, unit=Unit.F) as (app, pilot, _):
        await settled(app, pilot)
        text = screen_text(app)
    rows = text.rstrip("\n").split("\n")
    assert len(rows) <= 24
    assert all(len(row) <= 80 for row in rows)
    for words in (
        "SIMULATED",
        "NOT RECORDED",
        "heading to 988 °F",
        "? waits for you: g",
        "*  ALARM",
        "Do: Switch",
        "WARNING",
        "░",
        "now",
        "help",
    ):
        assert words in text
    assert "nan" not in text


@pytest.mark.wording  # which cell a label of the axis stands in is known by its words
async def test_the_band_is_right_of_now_and_the_measured_curve_left_of_it(
    daemon: Any, scenes: Any, eventually: Any
) -> None:
    await daemon.put(scenes.guided())
    async with dashboard(daemon, eventually, size=(120, 36)) as (app, pilot, _):
        await settled(app, pilot)
        rows = screen_text(app).split("\n")
    labels = next(row for row in rows if " now " in row and "min" in row)
    now = labels.index("now") + 1
    shaded = [(n, row.index("░")) for n, row in enumerate(rows) if "░" in row]
    assert len(shaded) >= 3
    assert all(column > now for _, column in shaded)
    assert all("│" in rows[n][now - 2 : now + 3] for n, _ in shaded)  # the mark of now
    assert "+20 min" in labels
    assert any("◇" in row[now:90] for row in rows[10:])


async def test_when_the_link_is_lost_the_picture_holds_no_future(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.guided())
    async with dashboard(daemon, eventually, size=(120, 36)) as (app, pilot, clock):
        await settled(app, pilot)
        assert "░" in screen_text(app)
        await daemon.stop()
        clock.now_s += 15.0
        await eventually(lambda: tells(region(app, "band"), "screen.lost"))
        await settled(app, pilot)
        text = screen_text(app)
        for gone in ("░", "◇", said("screen.plot.tick", tick="+20"), "977"):
            assert gone not in text
        assert not tells(text, "screen.ahead.ready")


async def test_a_profile_is_begun_stopped_and_moved_on_by_keys(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, clock):
        await pilot.press("g")
        assert said("key.ask.profile", alloy="ZA-27") in region(app, "message")
        clock.now_s += 2.0
        await pilot.press("g")
        await eventually(lambda: daemon.commands)
        assert daemon.commands.pop() == ("forge", {"type": "profile_request", "who": "dashboard"})
        await daemon.change("forge", profile=scenes.holding())
        await eventually(lambda: said("screen.profile.waits") in region(app, "info"))
        for _ in range(2):
            clock.now_s += 1.6
            await daemon.change("forge", seq=int(clock.now_s))  # the link lives by its messages
            await eventually(lambda: app.snapshot is not None and app.snapshot.seq == int(clock.now_s))
            await pilot.press("g")
        await eventually(lambda: daemon.commands)
        assert daemon.commands.pop() == ("forge", {"type": "next_segment"})
        clock.now_s += 1.6
        await pilot.press("g", "x")
        await eventually(lambda: daemon.commands)
        assert daemon.commands.pop() == ("forge", {"type": "stop_profile"})


async def test_a_dip_is_followed_from_the_key_to_its_value(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually, size=ROOMY) as (app, pilot, clock):
        await pilot.press("D", "2", "y")
        await eventually(lambda: daemon.commands)
        assert daemon.commands == [
            ("forge", {"type": "start_dip", "probe": "melt_probe", "depth_mm": 40.0, "stirred": True})
        ]
        await daemon.change("forge", dip_now=scenes.dip_now())
        heading = said("screen.dip.heading", to_c=531.2)
        await eventually(lambda: heading in region(app, "facts"))
        await daemon.change(
            "forge", dip_now=scenes.dip_now(hold_s=0.0, hint=DipHint.OUT, text=tell("dip.hint.out_unsettled"))
        )
        await eventually(lambda: sentence(tell("dip.hint.out_unsettled")) in region(app, "band"))
        assert app.query_one("#band").has_class("do")
        await daemon.change("forge", dip_now=None, last_dip=scenes.dip(ended_mono_s=7035.0), dip_spread_c=1.6)
        age, spread = said("screen.dip.age", age_s=5.0), said("screen.dip.spread", within="2 °C")
        worth = f"3: 487 ±5 °C {word('dip_how', 'settled')}, {age}, {spread}"
        await eventually(lambda: worth in region(app, "info"))
        assert heading not in region(app, "facts")
        clock.now_s += 1.0


async def test_a_key_that_closes_the_help_page_is_not_lost(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.ready())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("question_mark")
        await pilot.pause()
        assert len(app.screen_stack) == 2
        await pilot.press("space")
        await eventually(lambda: len(app.screen_stack) == 1)
        await eventually(lambda: said("key.pour_into", mould="cleat 1") in region(app, "message"))
        await pilot.press("escape", "h")
        await pilot.pause()
        await pilot.press("escape")
        await eventually(lambda: len(app.screen_stack) == 1)


async def test_a_key_held_down_closes_the_help_page_once(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.ready())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("question_mark")
        await pilot.pause()
        page = app.screen
        for _ in range(3):
            page.post_message(events.Key("down", None))
        await eventually(lambda: len(app.screen_stack) == 1)
        await pilot.pause()
        assert app.is_running


async def test_the_help_page_gives_way_to_a_new_alarm(daemon: Any, scenes: Any, eventually: Any) -> None:
    await daemon.put(scenes.heating())
    async with dashboard(daemon, eventually) as (app, pilot, _):
        await pilot.press("question_mark")
        await pilot.pause()
        assert len(app.screen_stack) == 2
        await daemon.change("forge", alarms=(scenes.alarm(),))
        await eventually(lambda: len(app.screen_stack) == 1)
        assert word("priority", "alarm") in region(app, "alarms")
