"""Composes the daemon that really runs: lock, log, store, ports, API; until SIGTERM or SIGINT.

Order of the start: lock file (nothing of a living daemon is touched before it is ours), settings, log, record,
furnaces, API, ports. The stop goes the other way round and takes at most five seconds (fault P8).
"""

import asyncio
import contextlib
import logging
import logging.handlers
import signal
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path

import msgspec

from pourcall.contract.calibration import Calibration
from pourcall.contract.clock import Clock
from pourcall.contract.config import config_for
from pourcall.contract.errors import BadInput, PourcallError
from pourcall.contract.inputs import DaemonTrouble, StoreProblem
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.paths import Paths
from pourcall.contract.settings import Settings, parse_settings, refused
from pourcall.contract.toml_tables import Fault
from pourcall.daemon.api.library import learned_model, running_melt
from pourcall.daemon.api.routes import Api
from pourcall.daemon.api.sockets import has_unix_sockets
from pourcall.daemon.clock import RealClock
from pourcall.daemon.inputs.intake import Consumed, LinkFactory
from pourcall.daemon.inputs.ports import link_maker
from pourcall.daemon.learning import Learner
from pourcall.daemon.process.process_lock import SingleLock, private_folder
from pourcall.daemon.process.sleep_blocker import WakeKeeper
from pourcall.daemon.service import Service
from pourcall.drivers.wire.registry import board_faults
from pourcall.engine.core import Engine
from pourcall.records.entries.calibrations import calibrations_in_force
from pourcall.records.read.store import Store
from pourcall.records.upkeep.opening import FindingKind
from pourcall.records.write.recorder import Recorder

log = logging.getLogger(__name__)

LOG_BYTES, LOG_FILES = 1_000_000, 3
SERVICE_STOP_S = 3.0  # ports, publishing, tasks: together with the disk's two seconds five at most (fault P8)
RECORDER_STOP_S = 2.0
TROUBLE_OF = {  # what opening the record found and a person must hear of; a torn last commit lost nothing
    FindingKind.DAMAGED: DaemonTrouble.STORE_DAMAGED,
    FindingKind.UNCLEAN_STOP: DaemonTrouble.UNCLEAN_STOP,
}
# How long a busy thread (the recorder, a reader) may keep the interpreter from the event loop. Python's own 5 ms is
# half of the budget from wire to alarm; with this the slowest of fifty alarms took 2.6 ms and not 5.0.
SWITCH_S = 0.0005


def read_settings(path: Path) -> tuple[Settings, str]:
    """Settings and their text. Raises BadInput where there is no file, BadSettings for every fault in it."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadInput(tell("settings.none"), where=str(path), remedy=tell("settings.none.remedy")) from None
    except (OSError, UnicodeDecodeError) as err:
        raise BadInput(
            tell("settings.unreadable", error=str(err)), where=str(path), remedy=tell("settings.unreadable.remedy")
        ) from err
    return parse_settings(text, where=str(path), board_faults=board_faults), text


def log_to(path: Path) -> logging.Handler:
    """Log to a file of bounded size; returns the handler, for `logging.getLogger("pourcall")`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handler = logging.handlers.RotatingFileHandler(path, maxBytes=LOG_BYTES, backupCount=LOG_FILES, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    with contextlib.suppress(OSError):
        path.chmod(0o600)
    return handler


class Daemon:
    """A whole daemon on a running event loop: `await start()`, `await ended()`, `await stop()`.

    tcp_port: also listen on loopback TCP (0: a free port, told in the token file); taken by itself where Unix sockets
    are missing. clock, link_for, consumed, simulated, speed: a simulation brings its own. `link_for=None` with
    `simulated` opens no port at all.
    """

    def __init__(
        self,
        settings: Settings,
        settings_text: str,
        paths: Paths,
        *,
        tcp_port: int | None = None,
        clock: Clock | None = None,
        link_for: LinkFactory | None = None,
        consumed: Consumed | None = None,
        simulated: bool = False,
        speed: float = 1.0,
    ) -> None:
        self.settings, self.settings_text, self.paths = settings, settings_text, paths
        self.clock: Clock = clock or RealClock()
        self._tcp_port = tcp_port if tcp_port is not None or has_unix_sockets() else 0
        self._link_for, self._consumed = link_for, consumed
        self._simulated, self._speed = simulated, speed
        self._lock = SingleLock(paths.lock)
        self._handler: logging.Handler | None = None
        self._recorder: Recorder | None = None
        self._store: Store | None = None
        self._api: Api | None = None
        self.service: Service | None = None

    async def start(self) -> None:
        """All of it, or nothing: raises DaemonError, BadSettings or StoreError with everything undone."""
        self._lock.take()
        try:
            await self._start()
        except BaseException:
            await self.stop()
            raise

    async def _start(self) -> None:
        paths = self.paths
        if not self.settings.furnace:
            raise refused([Fault("", tell("settings.no_furnace"))], where=str(paths.settings))
        private_folder(paths.runtime)
        paths.data.mkdir(parents=True, exist_ok=True)
        self._handler = log_to(paths.log)
        root = logging.getLogger("pourcall")
        root.addHandler(self._handler)
        root.setLevel(min(root.level or logging.INFO, logging.INFO))
        self._recorder = Recorder(paths.database, on_state=self._on_store_state, clock=RealClock().mono_s)
        self._recorder.start(utc_s=self.clock.utc_s())
        store = self._store = Store.read(paths.database)
        configs = {
            name: config_for(
                self.settings, name, simulated=self._simulated, calibrations=self._calibrations(store, name)
            )
            for name in self.settings.furnace
        }
        for name, config in configs.items():
            self._recorder.begin_session(
                name, self.settings_text, msgspec.json.encode(config), self.clock.mono_s(), self.clock.utc_s()
            )
        link_for = self._link_for
        if link_for is None and not self._simulated:
            link_for = link_maker(self.clock)
        self.service = Service(
            self.settings,
            paths,
            clock=self.clock,
            engine_for=lambda _, name: Engine(configs[name]),
            recorder=self._recorder,
            running_melt=lambda name: running_melt(store, name, self.clock.utc_s()),
            learned=lambda name: learned_model(store, name),
            link_for=link_for,
            consumed=self._consumed,
            wake=None if self._simulated else WakeKeeper(),
            simulated=self._simulated,
            speed=self._speed,
        )
        self._api = Api(self.service, self._store)
        await self._api.start(
            unix_path=paths.socket if has_unix_sockets() else None, tcp_port=self._tcp_port, token_path=paths.token
        )
        if not self._simulated:
            learner = Learner(store, self._recorder, self.service.usual_model, self.clock, self.service.in_thread)
            self.service.keep("learning", learner.run, learner.on_passed)
        await self.service.start()
        for finding in self._recorder.findings:
            log.warning("%s: %s", finding.kind, finding.detail)
            if (trouble := TROUBLE_OF.get(finding.kind)) is not None:
                self.service.notices.report(trouble, finding.detail)
        if exposed := self._exposed_secret():
            log.warning("%s: %s", DaemonTrouble.SECRET_EXPOSED, exposed)
            self.service.notices.report(DaemonTrouble.SECRET_EXPOSED, exposed)

    def _calibrations(self, store: Store, furnace: str) -> dict[str, Calibration]:
        """What corrects the probes of a furnace from this start on: the newest on record. Told in the log."""
        types = {name: probe.type for name, probe in self.settings.probe.items() if probe.furnace == furnace}
        with store.reading() as conn:
            found = calibrations_in_force(conn, furnace, types)
        out: dict[str, Calibration] = {}
        for name, one in found.items():
            if isinstance(one, PourcallError):
                log.warning("%s: its calibration is not used: %s", name, one)
                continue
            out[name] = one.calibration
            late = " (overdue)" if one.overdue(self.clock.utc_s()) else ""
            log.info(
                "%s: calibration of %s in force, %s; due %s%s",
                name,
                one.calibration.date,
                one.calibration.how,
                one.calibration.due,
                late,
            )
            if self.settings.probe[name].offset_uv:
                log.warning("%s: offset_uv of the settings is not used, since a calibration is on record", name)
        return out

    def _exposed_secret(self) -> Message:
        """A password in a settings file that others may read (fault F5)."""
        path = self.paths.settings
        if not self.settings.mqtt.password or sys.platform == "win32" or not path.exists():
            return NOTHING
        if path.stat().st_mode & 0o077 == 0:
            return NOTHING
        return tell("daemon.secret_exposed", path=str(path))

    def _on_store_state(self, problem: StoreProblem, detail: Told, waiting_rows: int) -> None:
        """From the recorder's thread, perhaps before there is a service."""
        if self.service is not None:
            self.service.on_store_state(problem, detail, waiting_rows)

    async def ended(self) -> None:
        """Returns when the daemon was told to stop, or must."""
        assert self.service is not None
        await self.service.stopping.wait()

    async def stop(self) -> int:
        """Everything the other way round, within five seconds. Returns 0, or 1 where a fault of ours ended it."""
        failed = self.service is not None and self.service.failed is not None
        if self.service is not None:
            await _within(SERVICE_STOP_S, "service", self.service.stop())
        if self._api is not None:
            await _within(1.5, "api", self._api.close())
        if self._recorder is not None:
            stop = asyncio.to_thread(self._recorder.stop, RECORDER_STOP_S)
            await _within(RECORDER_STOP_S + 1.0, "recorder", stop)
        if self._store is not None:
            self._store.close()
        self._lock.release()
        if self._handler is not None:
            logging.getLogger("pourcall").removeHandler(self._handler)
            self._handler.close()
        self.service = self._api = self._recorder = self._store = self._handler = None
        return 1 if failed else 0


async def _within(seconds: float, what: str, work: Awaitable[object]) -> None:
    """One step of the stop; one that takes too long or fails does not keep the others from theirs."""
    try:
        await asyncio.wait_for(work, seconds)
    except TimeoutError:
        log.error("stopping the %s took more than %g s", what, seconds)
    except Exception:
        log.exception("stopping the %s failed", what)


async def _serve(daemon: Daemon, on_ready: Callable[[], None] | None) -> int:
    sys.setswitchinterval(SWITCH_S)
    loop = asyncio.get_running_loop()
    told = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        try:
            loop.add_signal_handler(number, told.set)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(told.set))
    await daemon.start()
    try:
        if on_ready is not None:
            on_ready()
        waits = [asyncio.ensure_future(told.wait()), asyncio.ensure_future(daemon.ended())]
        await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        for wait in waits:
            wait.cancel()
        log.info("told to stop" if told.is_set() else "ending by a fault of its own")
    finally:
        code = await daemon.stop()
    return code


def serve(
    settings_path: Path,
    paths: Paths,
    *,
    tcp_port: int | None = None,
    clock: Clock | None = None,
    link_for: LinkFactory | None = None,
    consumed: Consumed | None = None,
    simulated: bool = False,
    speed: float = 1.0,
    on_ready: Callable[[], None] | None = None,
) -> int:
    """Run a daemon until SIGTERM or SIGINT. Returns 0, or 1 when it ended by a fault of its own.

    on_ready: called when the API answers. The rest as `Daemon`. Raises BadInput or BadSettings for the settings,
    DaemonError where one is running already or cannot listen, StoreError where the record cannot be opened.
    """
    settings, text = read_settings(settings_path)
    daemon = Daemon(
        settings,
        text,
        paths,
        tcp_port=tcp_port,
        clock=clock,
        link_for=link_for,
        consumed=consumed,
        simulated=simulated,
        speed=speed,
    )
    return asyncio.run(_serve(daemon, on_ready))
