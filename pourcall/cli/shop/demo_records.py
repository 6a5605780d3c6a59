"""The invented season through the real engine and the real recorder, as fast as they go.

No row is written by hand: the simulated board's samples and the caster's keys go the ordinary way, and what is
entered later (results, setups, charges, a photo) goes the way the commands go. The file is the same, byte for byte, for
the same seed. It lies in a home of its own and is refused a real shop's. Not here: what was invented
(pourcall/sim/scenarios/invented.py).
"""

import sqlite3
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from typing import NamedTuple, assert_never

import msgspec

from pourcall.cli.shop.demo_shop import SHEATHS
from pourcall.contract import events as ev
from pourcall.contract.api import StartRequest
from pourcall.contract.config import config_for
from pourcall.contract.entries import SOUND, ChargeRequest
from pourcall.contract.errors import BadInput, Refused
from pourcall.contract.inputs import LinkKind, MarkAddition
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.contract.reading import Reading
from pourcall.contract.settings import Settings, parse_settings
from pourcall.contract.toml_tables import parse_toml
from pourcall.daemon.inputs.sequencer import InputSequencer
from pourcall.engine.core import Engine
from pourcall.planning.melt_plans import Planner
from pourcall.records.entries import entries
from pourcall.records.entries.charges import charge, charges_of
from pourcall.records.entries.setups import describe_mould
from pourcall.records.read.lookup import find_melt
from pourcall.records.write.recorder import Recorder
from pourcall.sim.scenarios import invented
from pourcall.sim.scenarios.demo import WORKSHOP, demo_scenario
from pourcall.sim.scenarios.invented import MELTS, SEED, TAG, WHO, InventedMelt
from pourcall.sim.shop import BOARD, Shop

MARK = "# Settings of the demonstration"  # first words of a demonstration's settings, from before they had a key for it
NEXT_DAY_S = 86_400.0  # castings are looked at when they are cold
STOP_S = 60.0


class Made(NamedTuple):
    """What was made, and how long it took."""

    melts: int
    pours: int
    took_s: float


class _SteppedClock:
    """Time as the simulator counts it; nothing here waits."""

    def __init__(self, began_utc_s: float) -> None:
        self.now_s, self._began_utc_s = 0.0, began_utc_s

    def mono_s(self) -> float:
        """Seconds since the daemon of this melt began."""
        return self.now_s

    def utc_s(self) -> float:
        """Seconds since 1970-01-01 UTC."""
        return self._began_utc_s + self.now_s

    async def sleep(self, seconds: float) -> None:
        """Not used: nobody waits for a season that is already over."""
        raise NotImplementedError


def refuse_a_real_shop(paths: Paths) -> None:
    """Invented data and real ones never share a home. Raises Refused for settings or records that are no demo's."""
    try:
        text = paths.settings.read_text("utf-8", errors="replace")
    except FileNotFoundError:
        text = None
    if text is None and not paths.database.exists():
        return
    if text is None or not _of_a_demonstration(text):
        raise Refused(
            tell("cli.demo.real_shop"),
            where=str(paths.settings if text is not None else paths.database),
            remedy=tell("cli.demo.real_shop.remedy"),
        )


def _of_a_demonstration(settings: str) -> bool:
    """Whether settings say that all beside them is invented; those without the key, by their first words."""
    try:
        shop = parse_toml(settings).get("shop")
    except BadInput:
        shop = None
    says = shop.get("demonstration") if isinstance(shop, dict) else None
    return settings.startswith(MARK) if says is None else says is True


def settings_text() -> str:
    """Settings that the invented melts were recorded with, for both furnaces."""
    parts = [
        "# Settings of the demonstration: simulated furnaces, invented data.\nschema = 1\n\n",
        f'[shop]\nname = "{WORKSHOP}"\ndemonstration = true\n',
    ]
    for furnace, name in (("club", "cleats_left_in"), ("burner", "fairleads_dip")):
        made = demo_scenario(name)
        probe = made.probes[0]
        parts.append(
            f'\n[furnace.{furnace}]\nkind = "{made.furnace_kind}"\nrating_c = 1300.0\n'
            f'\n[board.{_board(furnace)}]\nport = "simulated-{furnace}"\nformat = "pourcall"\nchip = "{probe.chip}"\n'
            f"sample_s = 1.0\n"
            f'\n[probe.{_probe(furnace)}]\nfurnace = "{furnace}"\nboard = "{_board(furnace)}"\n'
            f'channel = "{probe.channel}"\ntype = "{probe.tc_type}"\nplace = "{probe.place.value}"\n'
            f'sheath = "{SHEATHS[probe.sheath]}"\nrating_c = 1200.0\n'
        )
    return "".join(parts)


def make_records(
    paths: Paths,
    *,
    seed: int = SEED,
    melts: Sequence[InventedMelt] = MELTS,
    on_melt: Callable[[str], None] | None = None,
) -> Made:
    """Fill a home with the invented season. on_melt: told of each melt that is done.

    Raises Refused where a real shop's settings or records lie; does nothing where the season is there already.
    """
    refuse_a_real_shop(paths)
    if paths.database.exists():
        return Made(0, 0, 0.0)
    began_s = time.monotonic()
    text = settings_text()
    paths.settings.parent.mkdir(parents=True, exist_ok=True)
    if not paths.settings.exists():
        paths.settings.write_text(text, encoding="utf-8")
    paths.data.mkdir(parents=True, exist_ok=True)
    settings = parse_settings(text, where=str(paths.settings))
    pours = 0
    with tempfile.TemporaryDirectory(prefix="season-", dir=paths.data) as folder:
        draft = Path(folder) / "season.sqlite"
        rng = Random(seed)
        for melt in melts:
            pours += _one_melt(draft, paths, settings, text, melt, seed, rng)
            if on_melt is not None:
                on_melt(melt.melt)
        _settle(draft, paths.database)
    return Made(len(melts), pours, time.monotonic() - began_s)


def _settle(draft: Path, database: Path) -> None:
    """Copy the finished file to its place, whole or not at all; packed anew: the same rows are the same bytes."""
    partial = database.with_name(database.name + ".part")
    partial.unlink(missing_ok=True)
    conn = sqlite3.connect(draft)
    try:
        conn.execute("VACUUM INTO ?", (str(partial),))
    finally:
        conn.close()
    partial.replace(database)


def _one_melt(
    draft: Path, paths: Paths, settings: Settings, text: str, melt: InventedMelt, seed: int, rng: Random
) -> int:
    """The daemon of one day: a session, the melt in it, and what was entered the day after."""
    recorder = Recorder(draft, on_state=lambda *_: None, clock=time.monotonic)
    recorder.start(utc_s=melt.began_utc_s, check=False)
    try:
        clock = _SteppedClock(melt.began_utc_s)
        config = config_for(settings, melt.furnace, simulated=True)
        recorder.begin_session(melt.furnace, text, msgspec.json.encode(config), clock.mono_s(), clock.utc_s())
        sequencer = InputSequencer(melt.furnace, Engine(config), recorder, clock)
        request = StartRequest(alloy=melt.alloy, charge_kg=melt.charge_kg, moulds=invented.moulds(melt), who=WHO)
        plan, _ = Planner(settings, None).start(melt.furnace, request, melt.melt)
        poured = _run(sequencer, clock, Shop(invented.scenario_of(melt, plan, seed)), melt)
        if len(poured) != len(plan.moulds):
            raise Refused(
                tell("cli.demo.melt_cut_short", melt=melt.melt), remedy=tell("cli.demo.melt_cut_short.remedy")
            )
        recorder.call(lambda conn: _enter(conn, melt, poured, paths, rng)).result(STOP_S)
    finally:
        left = recorder.stop(STOP_S)
    if left:
        raise Refused(
            tell("cli.demo.unwritten", count=left), where=str(draft), remedy=tell("cli.demo.unwritten.remedy")
        )
    return len(poured)


def _run(
    sequencer: InputSequencer, clock: _SteppedClock, shop: Shop, melt: InventedMelt
) -> dict[int, tuple[str, float]]:
    """From the cold charge to the empty pot; pour -> (setup, true temperature at the lip), which no record holds."""
    poured: dict[int, tuple[str, float]] = {}
    lips: dict[str, float] = {}  # by mould: the first metal that went in
    board = _board(melt.furnace)
    sequencer.link(board, LinkKind.OPENED, f"simulated-{melt.furnace}")
    charges = {charge.mass_kg: charge for charge in melt.charges}
    next_tick_s = 1.0
    while not shop.finished:
        pressed = shop.step()
        clock.now_s = shop.t_s
        truth = shop.truth() if shop.plant.pouring else None
        if truth is not None and truth.lip_c is not None:
            lips.setdefault(truth.phase.removeprefix("pour "), truth.lip_c)
        items = []
        for command in pressed:
            if isinstance(command, MarkAddition) and command.mass_kg in charges:
                command = msgspec.structs.replace(command, source=charges[command.mass_kg].source)
            items.append(sequencer.submit(msgspec.structs.replace(command, who=WHO)))
        if shop.sample_due():
            items += [
                processed for sample in shop.samples() if (processed := sequencer.frame(board, sample)) is not None
            ]
        if shop.t_s >= next_tick_s - 1e-9:
            next_tick_s += 1.0
            sequencer.frame(board, shop.board_status())
            items.append(sequencer.tick())
        for processed in items:
            for out in processed.outputs:
                match out:
                    case ev.CallChanged():
                        if out.how is ev.CallHow.RAISED:
                            shop.crew.hear(out.call.kind.value)
                    case ev.PourMarked(pour=pour):
                        if pour.mould in lips:
                            poured[pour.number] = pour.setup, lips[pour.mould]
                    case (
                        Reading()
                        | ev.RecordOnly()
                        | ev.ProbeStateChanged()
                        | ev.MeltStateChanged()
                        | ev.AlarmChanged()
                        | ev.MeltStarted()
                        | ev.MeltEnded()
                        | ev.LinkChanged()
                        | ev.StoreChanged()
                    ):
                        pass
                    case _:
                        assert_never(out)
    return poured


def _enter(
    conn: sqlite3.Connection, melt: InventedMelt, poured: dict[int, tuple[str, float]], paths: Paths, rng: Random
) -> None:
    """What a caster writes down afterwards."""
    utc_s = melt.began_utc_s + NEXT_DAY_S
    entries.add_tag(conn, melt.melt, TAG, utc_s=utc_s)
    for setup in melt.setups:
        describe_mould(conn, setup, melt.began_utc_s - NEXT_DAY_S)
    _charges(conn, melt, utc_s)
    entries.add_note(conn, melt.melt, melt.note, who=WHO, utc_s=utc_s)
    for number, words in melt.pour_notes:
        entries.add_note(conn, melt.melt, words, who=WHO, utc_s=utc_s, pour_number=number)
    for number, (setup_name, lip_c) in sorted(poured.items()):
        pour = f"{melt.melt}-{number}"
        entries.add_tag(conn, melt.melt, TAG, utc_s=utc_s, pour_number=number)
        found = invented.inspect(setup_name, lip_c, rng)
        if number > melt.inspected:
            continue
        for fault in found:
            entries.add_result(conn, pour, fault.defect, fault.grade, who=WHO, utc_s=utc_s, detail=fault.place)
        if not found:
            entries.add_result(conn, pour, SOUND, 0, who=WHO, utc_s=utc_s)
        if number == melt.photo_of:
            _photo(conn, melt.melt, number, paths, utc_s)


def _charges(conn: sqlite3.Connection, melt: InventedMelt, utc_s: float) -> None:
    """Where the metal came from: told in full of what was marked as an addition, entered for the rest."""
    melt_id, _, began_utc_s = find_melt(conn, melt.melt)
    marked = {one.mass_kg: one.number for one in charges_of(conn, melt_id, began_utc_s)}
    for entry in melt.charges:
        number = marked.get(entry.mass_kg, 0)
        why = "told in full the day after" if number else ""
        charge(conn, ChargeRequest(melt=melt.melt, entries=(entry,), correcting=number, who=WHO, why=why), utc_s)


def _photo(conn: sqlite3.Connection, melt: str, number: int, paths: Paths, utc_s: float) -> None:
    with tempfile.TemporaryDirectory(prefix="season-", dir=paths.data) as folder:
        source = Path(folder) / "casting.png"
        source.write_bytes(invented.picture())
        digest, suffix, size = entries.store_photo_file(paths.photos, source)
    entries.add_photo(
        conn,
        melt,
        digest,
        suffix,
        size,
        who=WHO,
        utc_s=utc_s,
        pour_number=number,
        caption="Invented: drawn, not photographed. One horn short.",
    )


def _board(furnace: str) -> str:
    return BOARD if furnace == "club" else f"{BOARD}_{furnace}"


def _probe(furnace: str) -> str:
    return "metal" if furnace == "club" else "dipper"
