"""The temperature of a pour worked out again from the record, for another moment, lift or mould.

The inputs of its melt go through a fresh engine up to that moment, and the pour is made by the engine's own function
(`MeltRun.pour`): the same moment gives the same figures, to the last digit. Blocking, some 80,000 readings a second.
"""

import math
from typing import assert_never

import msgspec

from pourcall.contract.config import EngineConfig
from pourcall.contract.errors import BadInput
from pourcall.contract.events import Marking, PlaceChanged, Pour, PowerMarked
from pourcall.contract.inputs import Command, CommandIn, MarkPower, SetPlace
from pourcall.contract.message import Told, tell
from pourcall.contract.plan import MeltPlan, MouldPlan
from pourcall.engine.bath.metal import MetalHistory
from pourcall.engine.core import Engine
from pourcall.engine.melt.melt_run import MeltRun
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.lip_budget import figure_told
from pourcall.records.read.store import Store
from pourcall.records.read.views import MeltDetail, PourDetail

SEEN_AFTER_S = 15.0  # so long after the moment the trace may still show that the probe was on its way out by then


def planned_mould(melt: MeltDetail, name: str, utc_s: float) -> tuple[MeltPlan, MouldPlan]:
    """The mould as planned at a time, else as it was planned at any; with the plan. Raises BadInput naming them all."""
    before = [row.plan for row in melt.plans if row.at_utc_s <= utc_s]
    after = [row.plan for row in melt.plans if row.at_utc_s > utc_s]
    for plan in (*reversed(before), *after):
        for mould in plan.moulds:
            if mould.name == name:
                return plan, mould
    names = dict.fromkeys(mould.name for row in melt.plans for mould in row.plan.moulds)
    raise BadInput(
        tell("correction.no_mould", mould=name[:60], melt=melt.row.melt),
        remedy=tell("command.do.moulds_are", names=", ".join(names) or "-"),
    )


def pour_at(
    store: Store,
    found: PourDetail,
    melt: MeltDetail,
    *,
    at_mono_s: float,
    at_utc_s: float,
    lift_mono_s: float | None,
    mould: str,
) -> Pour:
    """The pour as the engine would have recorded it at another moment. Raises BadInput for a mould not in the melt."""
    plan, planned = planned_mould(melt, mould, at_utc_s)
    until_s = max(at_mono_s, lift_mono_s or at_mono_s, found.at_mono_s) + SEEN_AFTER_S
    history = metal_history(store, melt.row.melt, found.session_id, until_s)
    run = MeltRun(plan, 0.0)
    if lift_mono_s is not None:
        run.lift(lift_mono_s, proposed=False)
    ago_s = math.inf if found.row.marked is Marking.AFTERWARDS else 0.0
    pour = run.pour(planned, history, at_mono_s, at_utc_s, ago_s, found.row.number)
    return msgspec.structs.replace(pour, basis=tell("correction.worked_out_again", basis=pour.basis))


def into_another_mould(found: PourDetail, melt: MeltDetail, mould: str) -> Pour:
    """The same pour, into another mould of the melt: the figure of the pot as recorded, the loss of that mould."""
    row = found.row
    plan, planned = planned_mould(melt, mould, row.at_utc_s)
    lip_c = lip_u_c = None
    basis: Told = row.basis
    if row.pot_temp_c is not None and row.pot_u_c is not None:
        run = MeltRun(plan, 0.0)
        source, lift_s, at_s = row.source, found.lift_mono_s, found.at_mono_s
        read_s = None if source is None or source.at_lift or lift_s is None else max(lift_s, at_s - source.stale_s)
        lip_c, lip_u_c = run.lip_at(planned, row.pot_temp_c, row.pot_u_c, lift_s, at_s, read_s)
        figure = row.basis if row.source is None else figure_told(row.source)
        way_c = row.pot_temp_c - lip_c
        basis = tell("correction.other_mould", pot_c=row.pot_temp_c, figure=figure, way_difference_c=way_c)
    return Pour(
        number=row.number,
        mould=planned.name,
        setup=planned.setup,
        at_mono_s=found.at_mono_s,
        at_utc_s=row.at_utc_s,
        marked=row.marked,
        pot_temp_c=row.pot_temp_c,
        pot_u_c=row.pot_u_c,
        lip_temp_c=lip_c,
        lip_u_c=lip_u_c,
        lip_min_c=planned.lip_min_c,
        lip_max_c=planned.lip_max_c,
        basis=basis,
        lift_mono_s=found.lift_mono_s,
        source=row.source,
    )


def metal_history(store: Store, melt: str, session_id: int, until_s: float) -> MetalHistory:
    """What the metal was at, second by second, as a fresh engine has it after the inputs of a melt up to `until_s`.

    Empty where the session's configuration cannot be read: then nothing is known of the metal.
    """
    with store.reading() as conn:
        began_in, first_id = conn.execute("SELECT session_id, journal_id FROM melts WHERE melt = ?", (melt,)).fetchone()
        body = conn.execute(
            "SELECT t.body FROM sessions s JOIN texts t ON t.hash = s.config_hash WHERE s.id = ?", (session_id,)
        ).fetchone()
        if began_in != session_id:
            first_id = 0  # it went on after the daemon was away: the session begins with it
        before = conn.execute(
            "SELECT body FROM events WHERE session_id = ? AND journal_id < ? AND type IN ('place_changed',"
            " 'power_marked') ORDER BY id",
            (session_id, first_id),
        ).fetchall()
    try:
        engine = Engine(msgspec.json.decode(body[0], type=EngineConfig))
    except msgspec.MsgspecError:
        return MetalHistory()
    for (text,) in before:  # where the probes were and how the knob stood when the melt began
        event = msgspec.json.decode(text, type=PlaceChanged | PowerMarked)
        command: Command
        match event:
            case PlaceChanged():
                command = SetPlace(probe=event.probe, place=event.new)
            case PowerMarked():
                command = MarkPower(level=event.level, ago_s=max(0.0, event.mono_s - event.at_mono_s))
            case _:
                assert_never(event)
        engine.handle(CommandIn(seq=event.seq, mono_s=event.mono_s, utc_s=event.utc_s, command=command))
    for item in read_inputs(store, session_id, first_id=first_id):
        if item.mono_s > until_s:
            break
        engine.handle(item)
    return engine.history
