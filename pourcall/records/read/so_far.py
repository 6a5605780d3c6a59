"""What had happened in a melt that has no end on record: as it was marked and found, for when it goes on. Rows in."""

import sqlite3
from collections.abc import Iterator

import msgspec

from pourcall.contract import events as ev
from pourcall.contract.inputs import DipSoFar, Doubt, PowerLevel, SoFar
from pourcall.contract.questions import TWO_CLOCKS_S
from pourcall.contract.reading import Place

_TYPES = ("alarm_changed", "dip_recorded", "lift_marked", "marked", "place_changed", "power_marked", "trust_changed")
_Read = (
    ev.AlarmChanged | ev.DipRecorded | ev.LiftMarked | ev.Marked | ev.PlaceChanged | ev.PowerMarked | ev.TrustChanged
)
_from_json: msgspec.json.Decoder[_Read] = msgspec.json.Decoder(_Read)
# Alarms that say that a probe is not believed (engine/sensing/trust.py, Cause).
DOUBTS = frozenset({"intermittent", "implausible", "unchanging", "reversed_sensor", "type_suspect", "unexplained"})
_ON = (PowerLevel.LOW, PowerLevel.HIGH)


class _Gathered:
    """Event by event, in their order; times UTC, for each session has a monotonic clock of its own."""

    def __init__(self) -> None:
        self.power: tuple[PowerLevel, float] | None = None  # since when it stands so
        self.on_from_utc_s: float | None = None
        self._off_utc_s: float | None = None  # since when it was off, after it was known to be on
        self._maybe_off_utc_s: float | None = None  # since when it was known to be off
        self.places: dict[str, Place] = {}
        self.lift: tuple[float, bool] | None = None
        self.skim_utc_s: float | None = None
        self.added_utc_s: float | None = None
        self.added_kg: float | None = 0.0
        self.dips: list[ev.Dip] = []
        self.doubts: dict[str, Doubt] = {}
        self._doubted: dict[str, ev.TrustChanged] = {}  # of those whose moments have an age
        self._told: set[str] = set()  # of these it is on record how far they are believed; of others the alarms tell

    def of_the_shop(self, event: _Read) -> None:
        """What holds from before the melt as well."""
        match event:
            case ev.PowerMarked():
                self._power(event)
            case ev.PlaceChanged():
                self.places[event.probe] = event.new
            case ev.TrustChanged():
                self._trust(event)
            case ev.AlarmChanged(alarm=alarm) if alarm.kind in DOUBTS and alarm.subject not in self._told:
                if alarm.active:
                    acked = alarm.state is ev.AlarmState.ACKED
                    self.doubts[alarm.subject] = Doubt(probe=alarm.subject, cause=alarm.kind, acknowledged=acked)
                elif alarm.subject in self.doubts and self.doubts[alarm.subject].cause == alarm.kind:
                    del self.doubts[alarm.subject]
            case _:
                pass

    def _power(self, event: ev.PowerMarked) -> None:
        """As the knob has it while the daemon runs (engine/melt/power_knob.py)."""
        at_utc_s = event.utc_s - (event.mono_s - event.at_mono_s)
        before = None if self.power is None else self.power[0]
        if event.level is before:
            return
        was_on = before in _ON
        self.power = event.level, at_utc_s
        if event.level is PowerLevel.OFF:
            self._maybe_off_utc_s = event.utc_s  # told a while afterwards, it was not known till then
            self._off_utc_s = at_utc_s if was_on else self._off_utc_s
        elif not was_on:
            self.on_from_utc_s = at_utc_s

    def on_until_utc_s(self, utc_s: float) -> float | None:
        """The last moment at which the power was known to be on."""
        return utc_s if self.power is not None and self.power[0] in _ON else self._off_utc_s

    def maybe_on_until_utc_s(self, utc_s: float) -> float | None:
        """The last moment at which it was not known to be off."""
        return utc_s if self.power is not None and self.power[0] in _ON else self._maybe_off_utc_s

    def _trust(self, event: ev.TrustChanged) -> None:
        self._told.add(event.probe)
        self.doubts.pop(event.probe, None)
        self._doubted.pop(event.probe, None)
        if not event.proving and not event.cause:
            return
        self._doubted[event.probe] = event
        self.doubts[event.probe] = Doubt(
            probe=event.probe,
            cause=event.cause,
            proving=event.proving,
            quiet_s=event.quiet_s,
            level_c=event.level_c,
            level_c_per_min=event.level_c_per_min,
            too_hot=event.too_hot,
            bound_c=event.bound_c,
            from_nowhere=event.from_nowhere,
            only_in=event.only_in,
            hottest_c=event.hottest_c,
        )

    def doubts_at(self, utc_s: float) -> tuple[Doubt, ...]:
        """With the age of what they are held against."""
        return tuple(_aged(doubt, self._doubted.get(doubt.probe), utc_s) for doubt in self.doubts.values())

    def of_the_melt(self, event: _Read) -> None:
        """What was done in it."""
        match event:
            case ev.LiftMarked():
                self.lift = event.utc_s - (event.mono_s - event.lift_mono_s), event.proposed
            case ev.Marked(what=ev.MarkKind.LIFT_WITHDRAWN):
                self.lift = None
            case ev.Marked(what=ev.MarkKind.POT_RETURNED):
                self.lift = None
                self.dips = [msgspec.structs.replace(dip, valid_s=0.0) for dip in self.dips]  # read before it was out
            case ev.Marked(what=ev.MarkKind.SKIM):
                self.skim_utc_s = event.utc_s - (event.mono_s - event.at_mono_s)
            case ev.Marked(what=ev.MarkKind.ADDITION):
                self.added_utc_s = event.utc_s - (event.mono_s - event.at_mono_s)
                unknown = event.value is None or self.added_kg is None
                self.added_kg = None if unknown else (self.added_kg or 0.0) + (event.value or 0.0)
            case ev.DipRecorded():
                self.dips.append(event.dip)
            case _:
                pass


def melt_so_far(conn: sqlite3.Connection, melt: str, utc_s: float) -> SoFar:
    """Of a melt, till now."""
    furnace_id, began_utc_s, first_id = conn.execute(
        "SELECT m.furnace_id, m.began_utc_s, s.journal_id FROM melts m JOIN sessions s ON s.id = m.session_id"
        " WHERE m.melt = ?",
        (melt,),
    ).fetchone()
    found = _Gathered()
    for event in _events(conn, furnace_id, first_id):
        found.of_the_shop(event)
        if event.utc_s >= began_utc_s:
            found.of_the_melt(event)
    poured = _poured_at(conn, melt)

    def ago_s(then_utc_s: float | None) -> float | None:
        return None if then_utc_s is None else max(0.0, utc_s - then_utc_s)

    return SoFar(
        ran_s=max(0.0, utc_s - began_utc_s),
        power=None if found.power is None else found.power[0],
        power_ago_s=0.0 if found.power is None else max(0.0, utc_s - found.power[1]),
        on_from_ago_s=ago_s(found.on_from_utc_s),
        on_until_ago_s=ago_s(found.on_until_utc_s(utc_s)),
        maybe_on_until_ago_s=ago_s(found.maybe_on_until_utc_s(utc_s)),
        places=tuple(found.places.items()),
        lift_ago_s=None if found.lift is None else ago_s(found.lift[0]),
        lift_proposed=found.lift is not None and found.lift[1],
        poured_since_lift=_poured_since(poured, None if found.lift is None else found.lift[0]),
        poured_at_utc_s=poured,
        skim_ago_s=ago_s(found.skim_utc_s),
        added_ago_s=ago_s(found.added_utc_s),
        added_kg=found.added_kg,
        dips=tuple(_dip(dip, utc_s) for dip in found.dips),
        doubts=found.doubts_at(utc_s),
    )


def _poured_since(poured: tuple[tuple[int, float], ...], lift_utc_s: float | None) -> tuple[int, ...]:
    """Numbers of the pours of the lift that goes on; none: the pot is in the furnace."""
    if lift_utc_s is None:
        return ()
    return tuple(number for number, at_utc_s in poured if at_utc_s >= lift_utc_s - TWO_CLOCKS_S)


def _poured_at(conn: sqlite3.Connection, melt: str) -> tuple[tuple[int, float], ...]:
    rows = conn.execute(
        "SELECT p.number, p.at_utc_s FROM pours p JOIN melts m ON m.id = p.melt_id WHERE m.melt = ?"
        " AND NOT EXISTS (SELECT 1 FROM pours c WHERE c.corrects = p.id) ORDER BY p.number",
        (melt,),
    )
    return tuple((int(number), float(at_utc_s)) for number, at_utc_s in rows)


def _dip(dip: ev.Dip, utc_s: float) -> DipSoFar:
    return DipSoFar(
        probe=dip.probe,
        number=dip.number,
        ago_s=max(0.0, utc_s - dip.ended_utc_s),
        held_s=dip.ended_mono_s - dip.began_mono_s,
        how=dip.how.value,
        temp_c=dip.temp_c,
        u_c=dip.u_c,
        valid_s=dip.valid_s,
    )


def _aged(doubt: Doubt, event: ev.TrustChanged | None, utc_s: float) -> Doubt:
    if event is None:
        return doubt
    told_utc_s, told_s = event.utc_s, event.mono_s

    def ago_s(then_s: float) -> float:
        return max(0.0, utc_s - (told_utc_s - (told_s - then_s)))

    return msgspec.structs.replace(
        doubt,
        level_ago_s=0.0 if doubt.level_c is None else ago_s(event.level_mono_s),
        lost_ago_s=None if event.lost_mono_s is None else ago_s(event.lost_mono_s),
        hottest_ago_s=0.0 if doubt.hottest_c is None else ago_s(event.hottest_mono_s),
    )


def _events(conn: sqlite3.Connection, furnace_id: int, first_id: int) -> Iterator[_Read]:
    marks = ", ".join("?" for _ in _TYPES)
    rows = conn.execute(
        "SELECT e.body FROM events e JOIN sessions s ON s.id = e.session_id"
        f" WHERE e.journal_id >= ? AND s.furnace_id = ? AND e.type IN ({marks}) ORDER BY e.id",
        (first_id, furnace_id, *_TYPES),
    )
    for (body,) in rows:
        yield _from_json.decode(body)
