"""`pourcall demo`. A boat club's workshop casts deck cleats; the furnace is simulated, all the rest is real."""

import argparse
import asyncio
import os
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pourcall.cli.common import add_unit
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput, DaemonError
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths, paths_for
from pourcall.contract.settings import Sound
from pourcall.contract.units import Unit, parse_unit
from pourcall.sim.scenarios.demo import DEMOS, PLANTS
from pourcall.sim.scenarios.invented import CLEAT, MELTS, SAID
from pourcall.texts import say

START_S = 20.0
DEFAULT_SPEED = 20.0
# What to try on the invented melts: two cleats of which only the temperature differs, and a sheet with a photo on it.
TRY = (
    f'advise "{CLEAT}"',
    f"compare {MELTS[0].melt}-1 {MELTS[2].melt}-1",
    f"sheet {MELTS[0].melt}-2",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What runs, how fast, and what becomes of it."""
    parser.add_argument("--scenario", default=DEMOS[0], choices=DEMOS, help=option("demo.scenario", scenario=DEMOS[0]))
    plant = option("demo.plant", plant=PLANTS[0])
    parser.add_argument("--plant", default=PLANTS[0], choices=PLANTS, help=plant)
    parser.add_argument("--speed", type=float, metavar="N", help=option("demo.speed"))
    parser.add_argument("--headless", action="store_true", help=option("demo.headless"))
    parser.add_argument("--export", type=Path, default=None, metavar="DIR", help=option("demo.export"))
    parser.add_argument("--home", type=Path, default=None, help=option("demo.home"))
    parser.add_argument("--records", type=Path, default=None, metavar="DIR", help=option("demo.records"))
    parser.add_argument("--empty", action="store_true", help=option("demo.empty"))
    parser.add_argument("--quiet", action="store_true", help=option("demo.quiet"))
    parser.add_argument("--shop-only", action="store_true", help=argparse.SUPPRESS)
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Shop and dashboard, or the shop alone."""
    if args.speed is not None and not 0.1 <= args.speed <= 5000.0:
        raise BadInput(tell("usage.demo.speed", speed=f"{args.speed:g}"), remedy=tell("usage.demo.speed.remedy"))
    if args.shop_only:
        return _shop(_paths(args.home), args, args.speed or DEFAULT_SPEED, by_hand=True)[0]
    if args.records is not None:
        return _records(args)
    from pourcall.cli.shop.demo_records import refuse_a_real_shop

    if not args.headless and not (sys.stderr.isatty() and sys.stdin.isatty()):
        raise DaemonError(tell("screen.no_terminal"), remedy=tell("screen.no_terminal.demo"))
    home = args.home or Path(tempfile.mkdtemp(prefix="pourcall-demo-"))
    try:
        paths = _paths(home)
        refuse_a_real_shop(paths)
        if not args.headless and not args.empty:
            _season(paths)
        before = _melts(paths)
        if args.headless:
            code, _ = _shop(paths, args, args.speed, by_hand=False)
        else:
            code = _with_dashboard(args, home, paths)
        _export(paths, args.export or Path("pourcall-demo"), but=before)
        if not args.headless and args.home is None and not args.empty:
            print(say(tell("cli.demo.gone")))
        return code
    finally:
        if args.home is None:
            shutil.rmtree(home, ignore_errors=True)


def _records(args: argparse.Namespace) -> int:
    """The invented season alone, and what to try on it."""
    other = [name for name in ("home", "export", "speed", "headless", "empty") if getattr(args, name)]
    if other:
        raise BadInput(tell("usage.demo.records", option=f"--{other[0]}"), remedy=tell("usage.demo.records.remedy"))
    folder = args.records.resolve()
    if not _season(_paths(folder)):
        print(say(tell("cli.demo.there_already", folder=str(folder))), file=sys.stderr)
    print(SAID)
    print(say(tell("cli.demo.try")))
    print(f"  export POURCALL_HOME={shlex.quote(str(folder))}")
    for words in TRY:
        print(f"  pourcall {words}")
    return 0


def _season(paths: Paths) -> bool:
    """Put the invented melts on record where there are none yet; whether there were none."""
    from pourcall.cli.shop.demo_records import make_records

    made = make_records(paths, on_melt=_tell)
    if made.melts:
        said = say(tell("cli.demo.recorded", pours=made.pours, melts=made.melts, took_s=made.took_s))
        print(f"\r{said}" if sys.stderr.isatty() else said, file=sys.stderr)
    return made.melts > 0


def _tell(melt: str) -> None:
    if sys.stderr.isatty():
        print("\r" + say(tell("cli.demo.inventing", melt=melt)), end=" ", file=sys.stderr, flush=True)


def _paths(home: Path) -> Paths:
    return paths_for({**os.environ, "POURCALL_HOME": str(home.resolve())}, sys.platform, Path.home())


def _shop(paths: Paths, args: argparse.Namespace, speed: float | None, *, by_hand: bool) -> tuple[int, list[str]]:
    """The simulated shop under the ordinary daemon, in this process."""
    from pourcall.cli.shop.demo_shop import run_demo

    async def main() -> list[str]:
        stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            try:
                loop.add_signal_handler(number, stop.set)
            except NotImplementedError:  # Windows
                signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop.set))
        return await run_demo(paths, name=args.scenario, plant=args.plant, speed=speed, by_hand=by_hand, stop=stop)

    began_s = time.monotonic()
    ended = asyncio.run(main())
    if not by_hand:
        took_s = time.monotonic() - began_s
        print(say(tell("cli.demo.took", melts=", ".join(ended), took_s=took_s)), file=sys.stderr)
    return 0, ended


def _with_dashboard(args: argparse.Namespace, home: Path, paths: Paths) -> int:
    """The shop in a process of its own, as a daemon would be, and the dashboard here."""
    from pourcall.tui.main import address_for, run_dashboard

    words = [sys.executable, "-m", "pourcall", "demo", "--shop-only", "--home", str(home), "--scenario", args.scenario]
    words += ["--plant", args.plant]
    home.mkdir(parents=True, exist_ok=True)
    with (home / "shop.log").open("ab") as log:
        shop = subprocess.Popen([*words, "--speed", f"{args.speed or DEFAULT_SPEED:g}"], stdout=log, stderr=log)
    try:
        _wait_for(shop, paths, home)
        return run_dashboard(
            address_for(paths),
            unit=parse_unit(args.unit) if args.unit else Unit.C,
            sound=Sound(player="off") if args.quiet else Sound(),
            log_file=paths.data / "dashboard.log",
        )
    finally:
        shop.terminate()
        try:
            shop.wait(10.0)
        except subprocess.TimeoutExpired:
            shop.kill()
            shop.wait()


def _wait_for(shop: subprocess.Popen[bytes], paths: Paths, home: Path) -> None:
    until_s = time.monotonic() + START_S
    while not (paths.socket.exists() or paths.token.exists()):
        if shop.poll() is not None or time.monotonic() > until_s:
            told = (home / "shop.log").read_text("utf-8", errors="replace").strip().splitlines()
            raise DaemonError(
                tell("cli.demo.no_start"), where=told[-1] if told else "", remedy=tell("cli.demo.no_start.remedy")
            )
        time.sleep(0.05)


def _melts(paths: Paths) -> frozenset[str]:
    """The melts on record."""
    from pourcall.records.read.store import Store

    if not paths.database.exists():
        return frozenset()
    with Store.read(paths.database) as store:
        return frozenset(row.melt for row in store.melts(limit=10_000))


def _export(paths: Paths, folder: Path, *, but: frozenset[str]) -> None:
    """Every pour that was marked, or the melt where none was; none of the melts that were there before."""
    from pourcall.records.read.store import Store
    from pourcall.reports.tables.export import export_melt, export_pour

    if not paths.database.exists():
        return
    folder.mkdir(parents=True, exist_ok=True)
    with Store.read(paths.database) as store:
        pours = [row for row in store.pours(limit=50) if row.melt not in but]
        melts = [row for row in store.melts(limit=1) if row.melt not in but]
        done = [export_pour(store, row.pour, folder) for row in reversed(pours)]
        if not done and melts:
            done = [export_melt(store, melts[0].melt, folder)]
    for one in done:
        print(say(tell("cli.demo.exported", file=str(one.csv), rows=one.rows, metadata=one.metadata.name)))
