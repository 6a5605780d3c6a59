"""From the records to the data of one mould setup. Reads only; the newest plan of the setup gives its limits.

Limits, loss, section and material are those frozen in the plan of the setup's latest melt; the window is the alloy
sheet's for that section. Pours of other setups in the same alloy are borrowed: their temperatures are moved by the
difference of the two windows, and they say the less the less their section and mould material are alike.
"""

from collections import Counter
from collections.abc import Sequence
from typing import Any

import msgspec

from pourcall.contract.entries import SOUND
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.nearest import did_you_mean
from pourcall.contract.plan import MeltPlan, MouldPlan
from pourcall.metal.alloys.sheet import AlloySheet, SheetLibrary
from pourcall.metal.windows import USUAL_MATERIAL, LipWindow, pour_window
from pourcall.records.entries.setups import setup_list
from pourcall.records.read.simulated_melts import invented_melts
from pourcall.records.read.store import Store
from pourcall.records.read.views import SetupView
from pourcall.trials.advice import Bound, InspectedPour, Place, SetupData
from pourcall.trials.defects import sides
from pourcall.trials.model import AIM_U_C
from pourcall.trials.series import PouredInto, looked_through
from pourcall.trials.similar import MOST_APART, known, likeness_of

LEAST_U_C = 1.0  # standard uncertainty below which no lip temperature is believed
FUME_ALARM = 2  # index of level 3

_ROWS = (
    "SELECT m.melt || '-' || w.number, coalesce(nullif(w.setup, ''), w.mould), coalesce(p.alloy, m.alloy),"
    " w.lip_temp_c, w.lip_u_c, (SELECT json_group_array(json_array(r.defect, r.severity)) FROM results r"
    "  WHERE r.melt_id = w.melt_id AND r.pour_number = w.number AND (r.severity > 0 OR r.defect = 'sound')"
    "  AND NOT EXISTS (SELECT 1 FROM results c WHERE c.melt_id = w.melt_id AND c.corrects = r.id)), w.melt_id, m.melt,"
    " w.at_utc_s, w.batch, o.thinnest_mm, coalesce(o.material, ''),"
    " coalesce(w.figure, ''), coalesce(w.instrument, '')"
    " FROM pours_now w JOIN melts m ON m.id = w.melt_id"
    " LEFT JOIN melt_plans p ON p.melt_id = m.id AND p.version = (SELECT max(version) FROM melt_plans x"
    "   WHERE x.melt_id = m.id AND x.at_utc_s <= w.at_utc_s)"
    " LEFT JOIN planned_moulds o ON o.plan_id = p.id AND o.position = (SELECT min(position) FROM planned_moulds y"
    "   WHERE y.plan_id = p.id AND y.name = w.mould) ORDER BY w.at_utc_s, w.id"
)

_FOUND: "msgspec.json.Decoder[tuple[tuple[str, int], ...]]" = msgspec.json.Decoder(tuple[tuple[str, int], ...])


class _Row(msgspec.Struct, frozen=True):
    pour: str
    setup: str
    alloy: str
    lip_c: float | None
    u_c: float | None  # expanded
    results: tuple[tuple[str, int], ...]
    melt_id: int
    melt: str
    utc_s: float
    batch: str
    thinnest_mm: float | None
    material: str
    measured: str  # by what the temperature was taken; empty: an old record does not say


class _Plan(msgspec.Struct, frozen=True):
    """The newest plan of a setup and its moulds in it, with their places in the order."""

    plan: MeltPlan
    moulds: tuple[tuple[int, MouldPlan], ...]

    @property
    def mould(self) -> MouldPlan:
        """The one that loses most on the way: what its limits allow, the others' do."""
        return max((mould for _, mould in self.moulds), key=lambda mould: mould.loss_c)


def setup_data(
    store: Store,
    setup: str,
    sheets: SheetLibrary,
    *,
    alloy: str = "",
    thinnest_mm: float | None = None,
    material: str = "",
    since: str = "",
    unchanged: bool = False,
) -> SetupData:
    """All that is known of a setup. alloy, thinnest_mm and material override what its newest plan says.

    since: a pour from which on the mould is another one; what was poured before is borrowed as from a similar setup.
    unchanged: the caster says that nothing changed, whatever the pours look like.

    Raises NotFound for a setup nobody poured or planned (unless `alloy` is given), naming the nearest; BadInput where
    it was poured in several alloys and none is named; NotFound and BadSheet for the alloy's sheet.
    """
    with store.reading() as conn:
        rows = [_row(r) for r in conn.execute(_ROWS).fetchall()]
        plans = _newest_plans(conn.execute("SELECT plan FROM melt_plans ORDER BY at_utc_s, id").fetchall())
        described = {one.name: one for one in setup_list(conn)}
        never = invented_melts(conn)
    rows, unreal = _real(rows, never)
    names = dict.fromkeys([row.setup for row in rows] + [name for name, _ in plans] + list(described))
    name = _named(setup, list(names), known_alloy=bool(alloy))
    sheet = sheets.get(alloy) if alloy else _sheet_of(name, rows, plans, sheets)
    planned = plans.get((name, sheet.key))
    mould = planned.mould if planned is not None else None
    now = known(described.get(name), mould)
    thinnest = thinnest_mm if thinnest_mm is not None else now.thinnest_mm
    made_of = material or now.material or USUAL_MATERIAL
    window = pour_window(sheet, thinnest_mm=thinnest, material=made_of)
    own = [row for row in rows if row.setup == name and row.alloy == sheet.key]
    earlier, own = _before(own, since)
    pours, left_out = _inspected(own)
    other_alloy = [row.pour for row in rows if row.setup == name and row.alloy != sheet.key]
    if other_alloy:
        left_out += (tell("advice.out.other_alloy", pours=", ".join(other_alloy)),)
    if unreal and any(row.setup == name for row in unreal):
        never_poured = ", ".join(row.pour for row in unreal if row.setup == name)
        left_out += (tell("advice.out.invented", pours=never_poured),)
    counted = {pour.pour for pour in pours}
    with store.reading() as conn:
        series = looked_through(
            conn,
            [
                PouredInto(row.melt_id, row.utc_s, row.setup, row.batch, row.thinnest_mm, row.material, row.measured)
                for row in own
                if row.pour in counted
            ],
        )
    pours = tuple(
        msgspec.structs.replace(pour, mould_changed=fresh) for pour, fresh in zip(pours, series.fresh, strict=True)
    )
    middle_c = 0.5 * (window.min_c + window.max_c)
    borrowed = _borrowed(name, sheet, thinnest, made_of, middle_c, rows, plans, described)
    return SetupData(
        setup=name,
        alloy=sheet.key,
        alloy_name=sheet.name,
        family=sheet.family,
        window_min_c=window.min_c,
        window_max_c=window.max_c,
        window_why=_window_told(sheet, thinnest, made_of, window),
        doubtful=sheet.pour_min.mark != "sourced",
        floor_c=sheet.liquidus.value + sheet.margin_c,
        bounds=_bounds(sheet, planned),
        pours=pours,
        borrowed=(*_lent(earlier, name, since), *borrowed),
        left_out=left_out,
        changed=series.differs,
        changed_since=series.changed_since,
        unchanged=unchanged,
        invented=any(row.melt in never for row in own),
        thinnest_mm=thinnest,
        material=made_of,
        places=_places(planned),
        seen=tuple(
            key
            for key, _ in Counter(
                defect for row in own for defect, severity in row.results if severity > 0 and defect != SOUND
            ).most_common()
        ),
    )


def _real(rows: Sequence[_Row], never: frozenset[str]) -> tuple[list[_Row], list[_Row]]:
    """Rows that count, and invented ones that do not: those count only where nothing real is on record."""
    real = [row for row in rows if row.melt not in never]
    return (real, [row for row in rows if row.melt in never]) if real else (list(rows), [])


def _row(r: tuple[Any, ...]) -> _Row:
    return _Row(
        pour=r[0],
        setup=r[1],
        alloy=r[2],
        lip_c=r[3],
        u_c=r[4],
        results=_FOUND.decode(r[5]),
        melt_id=r[6],
        melt=r[7],
        utc_s=r[8],
        batch=r[9],
        thinnest_mm=r[10],
        material=r[11],
        measured=_measured(r[12], r[13]),
    )


def _measured(figure: str, instrument: str) -> str:
    if figure.startswith("dip"):
        return "dip"
    return {"last_good": "probe", "none": ""}.get(figure, instrument if figure == "typed" else figure)


def _before(rows: list[_Row], since: str) -> tuple[list[_Row], list[_Row]]:
    """Rows before that pour, and from it on. Raises NotFound."""
    if not since:
        return [], rows
    names = [row.pour for row in rows]
    if since not in names:
        raise NotFound(
            tell("advice.no_pour", pour=since, hint=did_you_mean(since, names)),
            remedy=tell("advice.no_pour.remedy", pours=", ".join(names) or "-"),
        )
    return rows[: names.index(since)], rows[names.index(since) :]


def _lent(rows: Sequence[_Row], name: str, since: str) -> tuple[InspectedPour, ...]:
    """Pours from before a change: of another mould now, which is like this one."""
    pours, _ = _inspected(rows)
    return tuple(msgspec.structs.replace(pour, setup=f"{name} before {since}") for pour in pours)


def _newest_plans(rows: Sequence[tuple[str]]) -> dict[tuple[str, str], _Plan]:
    """By setup (or mould name where it has none) and alloy; later ones win."""
    found: dict[tuple[str, str], _Plan] = {}
    for (text,) in rows:
        try:
            plan = msgspec.json.decode(text, type=MeltPlan)
        except msgspec.DecodeError:
            continue  # written by another version: the pours still count
        of: dict[str, list[tuple[int, MouldPlan]]] = {}
        for order, mould in enumerate(plan.moulds, 1):
            of.setdefault(mould.setup or mould.name, []).append((order, mould))
        for setup, moulds in of.items():
            found[setup, plan.alloy.key] = _Plan(plan, tuple(moulds))
    return found


def _named(setup: str, names: Sequence[str], *, known_alloy: bool) -> str:
    """The setup as it is written in the records."""
    for name in names:
        if name == setup:
            return name
    for name in names:
        if name.casefold().replace("_", " ") == setup.casefold().replace("_", " "):
            return name
    if known_alloy:
        return setup
    raise NotFound(
        tell("advice.no_setup", setup=setup, hint=did_you_mean(setup, names)),
        remedy=tell("advice.no_setup.remedy", setups=", ".join(dict.fromkeys(names)) or "-"),
    )


def _sheet_of(name: str, rows: Sequence[_Row], plans: dict[tuple[str, str], _Plan], sheets: SheetLibrary) -> AlloySheet:
    alloys = dict.fromkeys(
        [row.alloy for row in reversed(rows) if row.setup == name and row.alloy]
        + [alloy for setup, alloy in plans if setup == name]
    )
    if len(alloys) > 1:
        raise BadInput(
            tell("advice.several_alloys", setup=name, alloys=", ".join(alloys)),
            remedy=tell("advice.several_alloys.remedy"),
        )
    if not alloys:
        raise NotFound(tell("advice.no_alloy", setup=name), remedy=tell("advice.several_alloys.remedy"))
    return sheets.get(next(iter(alloys)))


def _window_told(sheet: AlloySheet, thinnest_mm: float | None, material: str, window: LipWindow) -> Message:
    low_c, high_c, mark = window.min_c, window.max_c, sheet.pour_min.mark
    if thinnest_mm is None:
        return tell("advice.window", alloy=sheet.name, material=material, lowest_c=low_c, highest_c=high_c, mark=mark)
    return tell(
        "advice.window_section",
        alloy=sheet.name,
        thinnest_mm=thinnest_mm,
        material=material,
        lowest_c=low_c,
        highest_c=high_c,
        mark=mark,
    )


def _places(planned: _Plan | None) -> tuple[Place, ...]:
    if planned is None:
        return ()
    count = len(planned.plan.moulds)
    return tuple(
        Place(order=order, moulds=count, mould=mould.name, loss_c=mould.loss_c) for order, mould in planned.moulds
    )


def _bounds(sheet: AlloySheet, planned: _Plan | None) -> tuple[Bound, ...]:
    """Upper limits at the lip: the alloy's highest pour, the pot's limits and the fume's alarm less the loss."""
    highest = tell("advice.bound.highest_pour", alloy=sheet.name)
    found = [Bound(limit_c=sheet.pour_max.value, whose="alloy", why=highest)]
    if planned is None:
        in_pot = tell("advice.bound.in_pot", alloy=sheet.name)
        found.append(Bound(limit_c=sheet.highest_in_pot_c, whose="pot", why=in_pot))
        return tuple(sorted(found, key=lambda bound: bound.limit_c))
    loss_c = planned.mould.loss_c
    for limit in planned.plan.limits:
        why = tell("advice.bound.pot", whose=limit.whose, highest_c=limit.limit_c, loss_difference_c=loss_c)
        found.append(Bound(limit_c=limit.limit_c - loss_c, whose="pot", why=why))
    fume = planned.plan.fume
    begins_c = fume.disturbed_c[FUME_ALARM] if fume is not None else None
    if fume is not None and begins_c is not None and not fume.flares:  # for brass the level asks for open air instead
        why = tell("advice.bound.fume", highest_c=begins_c, loss_difference_c=loss_c)
        found.append(Bound(limit_c=begins_c - loss_c, whose="fume", why=why))
    return tuple(sorted(found, key=lambda bound: bound.limit_c))


def _inspected(rows: Sequence[_Row]) -> tuple[tuple[InspectedPour, ...], tuple[Message, ...]]:
    """Pours that say something, and which do not, and why."""
    pours: list[InspectedPour] = []
    waiting: list[str] = []
    unmeasured: list[str] = []
    for row in rows:
        if not row.results:
            waiting.append(row.pour)
        elif row.lip_c is None:
            unmeasured.append(row.pour)
        else:
            pours.append(_pour(row))
    said = []
    if waiting:
        said.append(tell("advice.out.waiting", pours=", ".join(waiting)))
    if unmeasured:
        said.append(tell("advice.out.unmeasured", pours=", ".join(unmeasured)))
    return tuple(pours), tuple(said)


def _pour(row: _Row, *, shift_c: float = 0.0, apart: float = 1.0) -> InspectedPour:
    assert row.lip_c is not None
    return InspectedPour(
        pour=row.pour,
        lip_c=row.lip_c + shift_c,
        u_c=max(LEAST_U_C, 0.5 * row.u_c) if row.u_c is not None else 2.0 * AIM_U_C,
        found=sides(row.results),
        apart=apart,
        setup=row.setup,
        melt=row.melt,
    )


def _borrowed(
    name: str,
    sheet: AlloySheet,
    thinnest_mm: float | None,
    material: str,
    middle_c: float,
    rows: Sequence[_Row],
    plans: dict[tuple[str, str], _Plan],
    described: dict[str, SetupView],
) -> tuple[InspectedPour, ...]:
    found: list[InspectedPour] = []
    likeness: dict[str, tuple[float, float]] = {}  # setup -> how far apart, shift
    for row in rows:
        if row.setup == name or row.alloy != sheet.key or not row.results or row.lip_c is None:
            continue
        if row.setup not in likeness:
            planned = plans.get((row.setup, sheet.key))
            other = known(described.get(row.setup), None if planned is None else planned.mould)
            likeness[row.setup] = likeness_of(sheet, thinnest_mm, material, middle_c, other)
        apart, shift_c = likeness[row.setup]
        if apart <= MOST_APART:
            found.append(_pour(row, shift_c=shift_c, apart=apart))
    return tuple(found)
