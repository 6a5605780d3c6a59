"""Events become rows a person asks for: melts, plans, pours, dips, alarms, notes, gaps.

Runs in the same transaction as the events themselves; nothing is altered, a second telling is a row that corrects the
first. Not here: the journal (codec.py), what a person enters later (entries.py).
"""

import sqlite3
from typing import assert_never

import msgspec

from pourcall.contract.events import (
    AlarmChanged,
    CallChanged,
    CommandRefused,
    DipRecorded,
    Event,
    FlagChanged,
    LiftMarked,
    LinkChanged,
    Marked,
    MarkKind,
    MeltChanged,
    MeltEnded,
    MeltStarted,
    MeltStateChanged,
    PanelCompared,
    PlaceChanged,
    PourMarked,
    PowerMarked,
    ProbeStateChanged,
    ProfileChanged,
    StoreChanged,
    TrustChanged,
)
from pourcall.contract.inputs import CommandIn, DaemonIn, EndMelt, Input, MarkAddition
from pourcall.contract.message import own, tell
from pourcall.contract.plan import MeltPlan
from pourcall.records.entries import melt_outcome
from pourcall.records.write.ids import SessionIds, keep_text
from pourcall.records.write.rows import insert
from pourcall.records.write.typed_columns import GapKind, source_columns, way_columns
from pourcall.texts import written

_json = msgspec.json.Encoder()


class Projector:
    """Rows of one open file. After a rollback `forget()` must be called."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self._conn = conn
        self._running: dict[int, int | None] = {}  # furnace -> melt that has not ended

    def forget(self) -> None:
        """After a rollback."""
        self._running.clear()

    def event(self, ids: SessionIds, journal_id: int, event_id: int, event: Event, item: Input) -> None:
        """Write what follows from one event. `item` is the input that caused it."""
        match event:
            case MeltStarted():
                self._melt_started(ids, journal_id, event)
            case MeltChanged():
                melt_id = self._melt(ids, event.old.melt, journal_id, event.mono_s, event.utc_s)
                self._plan(melt_id, event.new, event.utc_s, written(own(event.why)))
            case MeltEnded():
                self._melt_ended(ids, journal_id, event, item)
            case PourMarked():
                self._pour(ids, journal_id, event_id, event)
            case DipRecorded():
                self._dip(ids, event_id, event)
            case AlarmChanged():
                self._alarm(ids, event_id, event)
                if isinstance(item, DaemonIn) and item.lasted_s > 0.0 and event.alarm.active:
                    self._paused(ids, item)
            case Marked():
                self._mark(ids, event_id, event, item)
            case PanelCompared():
                self._panel(ids, event_id, event)
            case LinkChanged():
                self._link(ids, event)
            case ProfileChanged():
                if event.plan is not None:
                    self._profile(ids, event, item)
            case (
                ProbeStateChanged()
                | PlaceChanged()
                | MeltStateChanged()
                | FlagChanged()
                | CallChanged()
                | LiftMarked()
                | PowerMarked()
                | CommandRefused()
                | StoreChanged()
                | TrustChanged()
            ):
                pass  # told by the events themselves: no table is asked for them
            case _:
                assert_never(event)

    def running_melt(self, furnace_id: int) -> int | None:
        """The melt of a furnace that has not ended."""
        if furnace_id not in self._running:
            row = self._conn.execute(
                "SELECT m.id FROM melts m WHERE m.furnace_id = ? AND NOT EXISTS"
                " (SELECT 1 FROM melt_endings e WHERE e.melt_id = m.id) ORDER BY m.id DESC LIMIT 1",
                (furnace_id,),
            ).fetchone()
            self._running[furnace_id] = None if row is None else int(row[0])
        return self._running[furnace_id]

    def _melt_started(self, ids: SessionIds, journal_id: int, event: MeltStarted) -> None:
        plan = event.plan
        known = self._conn.execute("SELECT id FROM melts WHERE melt = ?", (plan.melt,)).fetchone()
        if known is not None:  # told again after a restart: one melt, another version of its plan
            self._running[ids.furnace_id] = int(known[0])
            last = self._conn.execute(
                "SELECT plan FROM melt_plans WHERE melt_id = ? ORDER BY version DESC LIMIT 1", known
            ).fetchone()
            if last is None or msgspec.json.decode(last[0], type=MeltPlan) != plan:
                self._plan(int(known[0]), plan, event.utc_s, "started again")
            return
        melt_id = self._insert(
            "melts",
            melt=plan.melt,
            furnace_id=ids.furnace_id,
            session_id=ids.id,
            journal_id=journal_id,
            began_mono_s=event.mono_s,
            began_utc_s=event.utc_s,
            alloy=plan.alloy.key,
            alloy_name=plan.alloy.name,
            charge_kg=plan.charge_kg,
        )
        self._running[ids.furnace_id] = melt_id
        self._plan(melt_id, plan, event.utc_s, "")

    def _plan(self, melt_id: int, plan: MeltPlan, utc_s: float, why: str) -> None:
        (version,) = self._conn.execute(
            "SELECT coalesce(max(version), 0) + 1 FROM melt_plans WHERE melt_id = ?", (melt_id,)
        ).fetchone()
        plan_id = self._insert(
            "melt_plans",
            melt_id=melt_id,
            version=version,
            at_utc_s=utc_s,
            alloy=plan.alloy.key,
            charge_kg=plan.charge_kg,
            plan=_json.encode(plan).decode(),
            why=why,
        )
        for position, mould in enumerate(plan.moulds):
            self._insert(
                "planned_moulds",
                plan_id=plan_id,
                position=position,
                name=mould.name,
                setup=mould.setup,
                material=mould.material,
                mass_kg=mould.mass_kg,
                thinnest_mm=mould.thinnest_mm,
                lip_min_c=mould.lip_min_c,
                lip_max_c=mould.lip_max_c,
                loss_c=mould.loss_c,
                **way_columns(mould.window_basis, mould.way),
            )

    def _melt(self, ids: SessionIds, melt: str, journal_id: int, mono_s: float, utc_s: float) -> int:
        """Id of a melt by its number. One whose beginning lies in a file that is gone is adopted, never dropped."""
        row = self._conn.execute("SELECT id FROM melts WHERE melt = ?", (melt,)).fetchone()
        if row is not None:
            return int(row[0])
        melt_id = self._insert(
            "melts",
            melt=melt,
            furnace_id=ids.furnace_id,
            session_id=ids.id,
            journal_id=journal_id,
            began_mono_s=mono_s,
            began_utc_s=utc_s,
            alloy="",
            alloy_name="",
            charge_kg=0.0,
            adopted=1,
        )
        self._running[ids.furnace_id] = melt_id
        return melt_id

    def _melt_ended(self, ids: SessionIds, journal_id: int, event: MeltEnded, item: Input) -> None:
        melt_id = self._melt(ids, event.melt, journal_id, event.mono_s, event.utc_s)
        command = item.command if isinstance(item, CommandIn) and isinstance(item.command, EndMelt) else None
        old = self._conn.execute(
            "SELECT id FROM melt_endings WHERE melt_id = ? ORDER BY id DESC LIMIT 1", (melt_id,)
        ).fetchone()
        self._insert(
            "melt_endings",
            melt_id=melt_id,
            journal_id=journal_id,
            mono_s=event.mono_s,
            utc_s=event.utc_s,
            ending=event.ending.value,
            corrects=None if old is None else old[0],
            who=command.who if command is not None else "",
            detail=command.why if command is not None else "",
        )
        if command is not None and old is None:
            melt_outcome.ended(self._conn, melt_id, command, event.utc_s)
        self._running[ids.furnace_id] = None

    def _pour(self, ids: SessionIds, journal_id: int, event_id: int, event: PourMarked) -> None:
        pour = event.pour
        melt_id = self._melt(ids, event.melt, journal_id, event.mono_s, event.utc_s)
        old = self._conn.execute(
            "SELECT id FROM pours WHERE melt_id = ? AND number = ? ORDER BY id DESC LIMIT 1", (melt_id, pour.number)
        ).fetchone()
        self._insert(
            "pours",
            event_id=event_id,
            melt_id=melt_id,
            number=pour.number,
            mould=pour.mould,
            setup=pour.setup,
            session_id=ids.id,
            journal_id=journal_id,
            at_mono_s=pour.at_mono_s,
            at_utc_s=pour.at_utc_s,
            lift_mono_s=pour.lift_mono_s,
            marked=pour.marked,
            pot_temp_c=pour.pot_temp_c,
            pot_u_c=pour.pot_u_c,
            lip_temp_c=pour.lip_temp_c,
            lip_u_c=pour.lip_u_c,
            lip_min_c=pour.lip_min_c,
            lip_max_c=pour.lip_max_c,
            basis=written(pour.basis),
            corrects=None if old is None else old[0],
            **source_columns(pour.source),
        )

    def _dip(self, ids: SessionIds, event_id: int, event: DipRecorded) -> None:
        dip = event.dip
        melt_id = self.running_melt(ids.furnace_id)
        old = self._conn.execute(
            "SELECT id FROM dips WHERE melt_id = ? AND probe = ? AND number = ? AND began_mono_s = ?"
            " ORDER BY id DESC LIMIT 1",
            (melt_id, dip.probe, dip.number, dip.began_mono_s),
        ).fetchone()
        self._insert(
            "dips",
            event_id=event_id,
            furnace_id=ids.furnace_id,
            melt_id=melt_id,
            probe=dip.probe,
            number=dip.number,
            began_mono_s=dip.began_mono_s,
            ended_mono_s=dip.ended_mono_s,
            ended_utc_s=dip.ended_utc_s,
            temp_c=dip.temp_c,
            u_c=dip.u_c,
            how=dip.how,
            widened=dip.widened,
            fault=None if dip.fault is None else dip.fault.value,
            fit_error_c=dip.fit_error_c,
            depth_mm=dip.depth_mm,
            stirred=dip.stirred,
            why=written(dip.why),
            corrects=None if old is None else old[0],
        )

    def _alarm(self, ids: SessionIds, event_id: int, event: AlarmChanged) -> None:
        alarm = event.alarm
        self._insert(
            "alarms",
            event_id=event_id,
            furnace_id=ids.furnace_id,
            melt_id=self.running_melt(ids.furnace_id),
            at_utc_s=event.utc_s,
            alarm=alarm.id,
            kind=alarm.kind,
            subject=alarm.subject,
            priority=int(alarm.priority),
            state=alarm.state.value,
            present=alarm.active,
            what=written(alarm.what),
            remedy=written(alarm.remedy),
            raised_utc_s=alarm.raised_utc_s,
            by=event.by,
        )

    def _panel(self, ids: SessionIds, event_id: int, event: PanelCompared) -> None:
        here: dict[str, object] = {
            "event_id": event_id,
            "furnace_id": ids.furnace_id,
            "melt_id": self.running_melt(ids.furnace_id),
            "at_utc_s": event.utc_s,
        }
        self._insert("panel_pairs", **here, metal_c=event.metal_c, panel_c=event.panel_c)
        text = written(tell("record.panel_compared", metal_c=event.metal_c, panel_c=event.panel_c))
        self._insert("notes", **here, what=MarkKind.PANEL_PAIR, text=text, value=event.metal_c - event.panel_c, who="")

    def _mark(self, ids: SessionIds, event_id: int, event: Marked, item: Input) -> None:
        who, melt_id = "", self.running_melt(ids.furnace_id)
        if isinstance(item, CommandIn):
            who = item.command.who
            if isinstance(item.command, MarkAddition) and melt_id is not None:
                self._insert(
                    "charges",
                    melt_id=melt_id,
                    at_utc_s=event.utc_s - (event.mono_s - event.at_mono_s),
                    mass_kg=item.command.mass_kg,
                    source=item.command.source,
                )
        self._insert(
            "notes",
            event_id=event_id,
            furnace_id=ids.furnace_id,
            melt_id=melt_id,
            at_utc_s=event.utc_s - (event.mono_s - event.at_mono_s),
            what=event.what,
            text=written(event.text),
            value=event.value,
            who=who,
        )

    def _profile(self, ids: SessionIds, event: ProfileChanged, item: Input) -> None:
        self._insert(
            "profile_runs",
            furnace_id=ids.furnace_id,
            melt_id=self.running_melt(ids.furnace_id),
            began_utc_s=event.utc_s,
            name=event.profile,
            text_hash=keep_text(self._conn, "profile", _json.encode(event.plan).decode()),
            who=item.command.who if isinstance(item, CommandIn) else "",
        )

    def _link(self, ids: SessionIds, event: LinkChanged) -> None:
        opened = self._conn.execute(
            "SELECT g.id, g.began_utc_s, g.reason FROM gaps g WHERE g.session_id = ? AND g.board = ?"
            " AND g.ended_utc_s IS NULL AND NOT EXISTS (SELECT 1 FROM gaps c WHERE c.closes = g.id)"
            " ORDER BY g.id DESC LIMIT 1",
            (ids.id, event.board),
        ).fetchone()
        if event.up == (opened is None):
            return
        gap = {"furnace_id": ids.furnace_id, "session_id": ids.id, "board": event.board}
        if event.up:
            self._insert(
                "gaps", **gap, began_utc_s=opened[1], ended_utc_s=event.utc_s, reason=opened[2], closes=opened[0]
            )
        else:
            self._insert("gaps", **gap, began_utc_s=event.utc_s, reason=written(event.detail) or GapKind.LINK_DOWN)

    def _paused(self, ids: SessionIds, item: DaemonIn) -> None:
        """The daemon stood still (fault C5): nothing was heard for so long, whatever the boards say of it later."""
        self._insert(
            "gaps",
            furnace_id=ids.furnace_id,
            session_id=ids.id,
            board="",
            began_utc_s=item.utc_s - item.lasted_s,
            ended_utc_s=item.utc_s,
            reason=GapKind.STOOD_STILL,
        )

    def _insert(self, table: str, **columns: object) -> int:
        return insert(self._conn, table, **columns)
