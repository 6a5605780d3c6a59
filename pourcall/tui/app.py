"""The dashboard as a running thing: link, keys, sound and clock brought together around the pure model.

All it decides is *when* to draw. What is drawn comes from screen_of, what a key does from the key controller, what is
heard from the cue selector.
"""

import asyncio
import logging
import time
from collections.abc import Callable, Coroutine
from typing import Any, ClassVar, assert_never

import msgspec
from textual import events
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from pourcall.contract.api import Asked, CommandResult, StartRequest, TracePoint
from pourcall.contract.errors import PourcallError, Refused
from pourcall.contract.events import CommandRefused, Event, FigureSource
from pourcall.contract.inputs import SILENCE_S
from pourcall.contract.message import Told, tell
from pourcall.contract.settings import Sound
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import UNIT_MARK, Unit
from pourcall.texts import say
from pourcall.tui.client import Address, ApiClient, LinkState
from pourcall.tui.dialogs.help_page import HelpPage, pressing
from pourcall.tui.dialogs.start_melt import StartMelt
from pourcall.tui.drawing.picture import picture_of
from pourcall.tui.drawing.styled import Line, Role, StyledText, line
from pourcall.tui.drawing.trace import SPAN_MAX_S, TraceBuffer, span_for
from pourcall.tui.drawing.widgets import DECIMATE, Lines, TraceView
from pourcall.tui.input.key_actions import Action, Do, Say, Send, What
from pourcall.tui.input.key_controller import KeyController
from pourcall.tui.input.offered_keys import keys_for
from pourcall.tui.screen.forecast_lines import METAL_PLACES, best_metal_c, coast_c
from pourcall.tui.screen.model import Screen, screen_of
from pourcall.tui.screen.scene import LinkView, Scene, sizes_for
from pourcall.tui.screen.words import Look
from pourcall.tui.sounds.cues import CueSelector
from pourcall.tui.sounds.player import Player

log = logging.getLogger(__name__)

TICK_S = 0.2
BLINK_S = 0.7  # half a period: 0.7 Hz, slow by IEC 60073 and below once a second
SAY_S = 8.0
PLOT_EVERY_S = 1.0
FETCH_EVERY_S = 60.0
_UNITS = (Unit.C, Unit.F, Unit.K)


class Dashboard(App[int]):
    """The dashboard. `mono_s` is its clock; `player_path` where players are looked for (None: PATH)."""

    CSS_PATH = "dashboard.tcss"
    TITLE = "pourcall"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+q,ctrl+c", "ask_quit", "quit", show=False, priority=True),
    ]

    def __init__(
        self,
        address: Address,
        *,
        unit: Unit = Unit.C,
        sound: Sound | None = None,
        furnace: str = "",
        steady_marks: bool = False,
        mono_s: Callable[[], float] = time.monotonic,
        player_path: str | None = None,
        client: ApiClient | None = None,
    ) -> None:
        super().__init__()
        sound = sound or Sound()
        self._mono_s = mono_s
        self._unit, self._furnace, self._steady = unit, furnace, steady_marks
        self.client = client or ApiClient(address, mono_s=mono_s)
        self.client.subscribe(self._on_change, self._on_event)
        self.key_controller, self.cue_selector = KeyController(), CueSelector()
        self.player = Player(sound.player, sound.volume, self.bell, path=player_path)
        self._traces: dict[tuple[str, str], TraceBuffer] = {}
        self._read_off: dict[str, list[tuple[float, float]]] = {}  # figures typed in, as seen: when, degC
        self._said: tuple[Line, float] = ((), float("-inf"))
        self._draw_due = False
        self._plot_ready = False
        self._plotted_s = float("-inf")
        self._fetched: tuple[str, float] = ("", float("-inf"))
        self._pressing_then: frozenset[str] = frozenset()
        self._tasks: set[asyncio.Task[None]] = set()

    def compose(self) -> ComposeResult:
        yield Lines(id="header")
        yield Lines(id="band")
        with Horizontal(id="body"):
            with Vertical(id="left"):
                with Horizontal(id="top"):
                    yield Lines(id="figure")
                    yield Lines(id="facts")
                yield Lines(id="how")
                yield TraceView(id="trace")
            yield Lines(id="scale")
        yield Lines(id="info")
        yield Lines(id="alarms")
        yield Lines(id="message")
        yield Lines(id="keys")

    async def on_mount(self) -> None:
        """Draw at once, then connect, then load the plot."""
        await self.client.__aenter__()
        self._go(self.client.run())
        self.set_interval(TICK_S, self._tick)
        self.draw()
        self.call_after_refresh(self._load_plot)

    async def on_unmount(self) -> None:
        """Leave nothing running behind."""
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.client.__aexit__(None, None, None)
        self.player.__exit__()

    def _go(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and (err := task.exception()) is not None:
            log.error("a task of the dashboard ended", exc_info=err)
            self._say(tell("screen.own_fault", error=str(err)), Role.DANGER)

    async def _load_plot(self) -> None:
        await self.query_one(TraceView).load()
        self._plot_ready = True
        self._plot(force=True)

    # -- what comes in -------------------------------------------------------------------------------------------

    def _on_change(self, furnace: str) -> None:
        snapshot = self.client.snapshots[furnace]
        for probe in snapshot.probes:
            self._traces.setdefault((furnace, probe.name), TraceBuffer()).add(snapshot.mono_s, probe.temp_c)
        metal, read = snapshot.metal, self._read_off.setdefault(furnace, [])
        if metal.source is FigureSource.TYPED and metal.temp_c is not None:
            at_s = snapshot.mono_s - metal.age_s
            if not read or at_s - read[-1][0] > 0.5:
                read.append((at_s, metal.temp_c))
        if not self._draw_due:
            self._draw_due = True
            self.call_later(self.draw)
        if self._fetched[0] != furnace and furnace == self._chosen():
            self._refetch()

    def _on_event(self, event: Event) -> None:
        if isinstance(event, CommandRefused) and event.furnace == self._chosen():
            self._say(tell("screen.refused", what=event.what, remedy=event.remedy), Role.WARN)

    def _chosen(self) -> str:
        """The furnace on the screen: the one asked for, or the first there is."""
        names = sorted(self.client.snapshots)
        if self._furnace in names or not names:
            return self._furnace
        return names[0]

    @property
    def snapshot(self) -> FurnaceSnapshot | None:
        """The furnace on the screen as it was last heard of."""
        return self.client.snapshots.get(self._chosen())

    @property
    def live(self) -> bool:
        """Whether the figures are of now."""
        return self.client.link is LinkState.LIVE

    # -- time ----------------------------------------------------------------------------------------------------

    def _tick(self) -> None:
        now_s = self._mono_s()
        self._act(self.key_controller.tick(now_s, live=self.live))
        lost = self.client.link is LinkState.LOST
        cue = self.cue_selector.step(self.client.snapshots.values(), now_s, daemon_lost=lost)
        if cue is not None:
            self.player.play(cue)
        else:
            self.player.check()
        if not self.screen_stack:
            return  # a last tick while the screens go
        if isinstance(self.screen, HelpPage) and pressing(self.snapshot) - self._pressing_then:
            self.screen.dismiss(None)  # what is new and to be done is not hidden behind a page of words
        self.draw()
        self._plot()
        if self.live and now_s - self._fetched[1] > FETCH_EVERY_S:
            self._refetch()

    # -- keys ----------------------------------------------------------------------------------------------------

    def on_key(self, event: events.Key) -> None:
        """Every key of the main screen goes to the key controller; the dialog keeps its own."""
        if len(self.screen_stack) > 1:
            return
        event.stop()
        event.prevent_default()
        self._press(event.key)

    def action_ask_quit(self) -> None:
        """The keys that end other programs ask here too: leaving means that alarms are no longer heard."""
        self._press("q")

    def _press(self, key: str) -> None:
        self._act(self.key_controller.press(key, self.snapshot if self.live else None, self._mono_s()))
        self.draw()

    def _act(self, actions: list[Action]) -> None:
        for action in actions:
            match action:
                case Say(text, role):
                    self._say(text, role)
                case Send(furnace, command):
                    self._go(self._send(furnace, command))
                case Do(what):
                    self._do(what)
                case _:
                    assert_never(action)

    def _do(self, what: What) -> None:
        match what:
            case What.QUIT:
                self._go(self._leave())
            case What.UNIT:
                self._unit = _UNITS[(_UNITS.index(self._unit) + 1) % len(_UNITS)]
                self._say(tell("screen.unit", unit_mark=UNIT_MARK[self._unit]))
                self._plot(force=True)
            case What.FURNACE:
                names = sorted(self.client.snapshots)
                if names:
                    here = names.index(self._chosen()) if self._chosen() in names else -1
                    self._furnace = names[(here + 1) % len(names)]
                    self._said = ((), float("-inf"))
                    self._refetch()
                    self._plot(force=True)
            case What.SILENCE:
                self.cue_selector.silence(self._mono_s())
                self.player.stop()
                self._say(tell("sound.silenced", for_s=SILENCE_S))
            case What.HELP:
                self._pressing_then = pressing(self.snapshot)
                self.push_screen(HelpPage(self._unit), self._after_help)
            case What.START_MELT:
                self.push_screen(StartMelt(self._chosen(), self._unit), self._start_melt)
            case _:
                assert_never(what)

    def _start_melt(self, request: StartRequest | None) -> None:
        if request is not None:
            self._go(self._send(self._chosen(), request))

    def _after_help(self, key: str | None) -> None:
        """A key that closed the help and means something is not lost: metal may be flowing."""
        if key:
            self._press(key)

    async def _leave(self) -> None:
        """What is still held goes out before the screen does."""
        for action in self.key_controller.flush(self._mono_s()):
            if isinstance(action, Send):
                await self._send(action.furnace, action.command)
        self.exit(0)

    async def _send(self, furnace: str, command: Asked) -> None:
        try:
            result = await self.client.send(furnace, command)
        except Refused as err:
            self._say(tell("screen.not_done", error=self._words(err)), Role.WARN)
            return
        except PourcallError as err:
            self._say(tell("screen.not_known_to_be_done", error=self._words(err)), Role.DANGER)
            return
        self._say(*_answer_words(result))

    def _words(self, err: PourcallError) -> str:
        return err.said(lambda told: say(told, self._unit))

    def _say(self, told: Told, role: Role = Role.PLAIN) -> None:
        self._said = (line(StyledText(say(told, self._unit), role)), self._mono_s() + SAY_S)
        self.draw()

    # -- drawing -------------------------------------------------------------------------------------------------

    def scene(self) -> Scene:
        """All that the screen is made of, now."""
        now_s, chosen, snapshot = self._mono_s(), self._chosen(), self.snapshot
        look = Look(
            unit=self._unit,
            width=self.size.width,
            height=self.size.height,
            blink_on=int(now_s / BLINK_S) % 2 == 0,
            steady_marks=self._steady,
        )
        link = LinkView(
            state=self.client.link,
            silent_s=self.client.silent_s,
            problem=self.client.problem,
            read_only=self.client.read_only,
            address=str(self.client.address),
        )
        others = tuple(other for name, other in sorted(self.client.snapshots.items()) if name != chosen)
        prompt = self.key_controller.prompt(now_s, live=self.live, unit=self._unit)
        said = self._said[0] if now_s < self._said[1] else ()
        return Scene(
            snapshot=snapshot,
            others=others,
            link=link,
            look=look,
            sound=self.player.label,
            message=prompt[0] if prompt else said,
            keys=keys_for(snapshot, len(others)),
            prompt_keys=prompt[1] if prompt else (),
        )

    def draw(self) -> None:
        """Bring the screen up to date; regions that say the same as before are not touched."""
        self._draw_due = False
        if not self.is_running or not self.screen_stack or not self.screen_stack[0].query("#header"):
            return
        base = self.screen_stack[0]
        sizes = sizes_for(Look(width=self.size.width, height=self.size.height))
        scale = base.query_one("#scale", Lines)
        figure, trace = base.query_one("#figure", Lines), base.query_one(TraceView)
        if figure.styles.width is None or figure.styles.width.value != sizes.figure_width:
            figure.styles.width, scale.styles.width = sizes.figure_width, sizes.scale_width
            base.set_class(sizes.roomy, "roomy")
        scene = self.scene()
        screen = screen_of(scene, scale_height=max(3, scale.size.height))
        self._show(screen, base.query_one)
        band = base.query_one("#band", Lines)
        band.set_class(screen.band_role is Role.DO, "do")
        band.set_class(screen.band_role is Role.LOST, "lost")
        trace.set_class(scene.snapshot is None or 0 < trace.size.height < 5, "unseen")
        self.key_controller.see(scene.snapshot if self.live else None, self._mono_s())

    def _show(self, screen: Screen, find: Callable[[str, type[Lines]], Lines]) -> None:
        for name, lines in (
            ("header", (screen.header,)),
            ("band", screen.band),
            ("figure", screen.figure),
            ("facts", screen.facts),
            ("how", (screen.how,)),
            ("scale", screen.scale),
            ("info", screen.info),
            ("alarms", screen.alarms),
            ("message", screen.message),
            ("keys", screen.keys),
        ):
            find(f"#{name}", Lines).show(lines)

    def on_resize(self) -> None:
        """Another size: lay out anew once the widgets know theirs."""
        self.call_after_refresh(self.draw)
        self._plotted_s = float("-inf")

    def _plot(self, *, force: bool = False) -> None:
        now_s, snapshot = self._mono_s(), self.snapshot
        if not self._plot_ready or snapshot is None or (not force and now_s - self._plotted_s < PLOT_EVERY_S):
            return
        self._plotted_s = now_s
        trace = self.screen_stack[0].query_one(TraceView)
        probes = sorted(snapshot.probes, key=lambda p: p.place not in METAL_PLACES)[:2]
        buffers = [self._traces.setdefault((snapshot.furnace, p.name), TraceBuffer()) for p in probes]
        began_s = snapshot.melt_began_mono_s  # what was typed in earlier melts is no dot of this one, nor of none
        read = self._read_off.get(snapshot.furnace, ())
        typed = [] if began_s is None else [one for one in read if one[0] >= began_s]
        now_mono_s = snapshot.mono_s + (0.0 if self.live else self.client.silent_s)
        first = [TracePoint(at_s, temp_c, temp_c) for at_s, temp_c in typed[:1]]
        span_s = max(span_for(points, now_mono_s) for points in (*(buffer.points for buffer in buffers), first))
        width = max(20, trace.size.width - 8)
        curves = [
            (buffer.segments(now_mono_s, span_s, width * DECIMATE // 2), Role.STRONG if n == 0 else Role.DIM)
            for n, buffer in enumerate(buffers)
        ]
        window, lifted = snapshot.window, snapshot.lift_mono_s is not None
        window_c = (window.tap_min_c, window.tap_max_c) if window is not None and window.no_aim is None else None
        ahead = snapshot.ahead if self.live and not lifted else None  # a forecast of a lost link is none
        if ahead is not None and coast_c(snapshot) is None:
            ahead = msgspec.structs.replace(ahead, coast_c=None)
        picture = picture_of(
            curves,
            window_c,
            span_s,
            ahead,
            now_mono_s,
            trace.picture_rows,
            metal_c=best_metal_c(snapshot),
            dips=(*((dip.ended_mono_s, dip.temp_c) for dip in snapshot.dips if dip.temp_c is not None), *typed),
        )
        trace.draw(picture, self._unit)

    def _refetch(self) -> None:
        self._fetched = (self._chosen(), self._mono_s())
        self._go(self._fetch(self._chosen()))

    async def _fetch(self, furnace: str) -> None:
        snapshot = self.client.snapshots.get(furnace)
        if snapshot is None:
            return
        try:
            points = DECIMATE * max(20, self.size.width)
            trace = await self.client.trace(furnace, since_s=max(0.0, snapshot.mono_s - SPAN_MAX_S), points=points)
        except PourcallError as err:
            log.info("no trace: %s", err)
            return
        for probe, fetched in trace.probes.items():
            self._traces.setdefault((furnace, probe), TraceBuffer()).replace(fetched)
        self._plot(force=True)


def _answer_words(result: CommandResult) -> tuple[Told, Role]:
    """What became of a command; "recorded" is said only of what is on the disk."""
    if not result.accepted:
        what = result.what or tell("screen.no_reason")
        if not result.remedy:
            return tell("screen.refused.bare", what=what), Role.WARN
        return tell("screen.refused", what=what, remedy=result.remedy), Role.WARN
    what = result.what or tell("screen.done")
    if result.recorded:
        return tell("screen.recorded", what=what), Role.OK
    return tell("screen.pending", what=what), Role.PLAIN
