"""From what a person asks (alloy, charge, moulds) to a plan with every number resolved.

The sheets and the science lie in profiles/; here only the order of precedence: what the request says, then what the
furnace's settings say, then what physics computes for the alloy's family. Sheets are read anew for each plan, so that
an edited one counts from the next melt on while a running melt keeps its own. Loaded when first asked for.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from pourcall.contract.api import ChangeRequest, MouldRequest, StartRequest
from pourcall.contract.errors import OutOfRange
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.plan import AlloyHalts, MeltPlan, MouldPlan, PotLimit
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place
from pourcall.contract.settings import Furnace, Settings, Shop

if TYPE_CHECKING:
    from pourcall.metal.heat.transfer import Carry, Pot
    from pourcall.metal.vapour.ventilation import Air
    from pourcall.metal.windows import MouldSpec

UNSTATED_CHARGE_KG = 1.0  # where neither the charge nor any mould has a mass; the answer says so
WALL_MM = 10.0  # a small crucible's wall (common practice, no source); only the computed transfer loss uses it


class Planner:
    """Makes plans for the furnaces of one settings file. Blocking (reads sheets): call it off the event loop."""

    def __init__(self, settings: Settings, alloys: Path | None, profiles: Path | None = None) -> None:
        self._settings, self._alloys, self._profiles = settings, alloys, profiles

    def start(self, furnace: str, request: StartRequest, melt: str) -> tuple[MeltPlan, tuple[str, ...]]:
        """The plan of a new melt, and what to mind about it.

        Raises NotFound for an alloy that is not there, BadSheet for one whose sheet is refused, BadInput or OutOfRange
        for figures that cannot be meant.
        """
        charge_kg, assumed = _charge(request.charge_kg, request.moulds)
        if not 0.0 <= request.later_kg < charge_kg:
            raise OutOfRange(
                f"{request.later_kg:g} kg to be added later, of a charge of {charge_kg:g} kg",
                remedy="The charge is all that goes in; what comes later is a part of it",
            )
        plan, mind = self._plan(furnace, melt, request.alloy, charge_kg, request.moulds, assumed)
        return msgspec.structs.replace(plan, later_kg=request.later_kg), mind

    def halts(self) -> tuple[AlloyHalts, ...]:
        """Where every alloy of the shop halts while it melts: what a wrong charge may be. Gaps are skipped."""
        from pourcall.contract.errors import BadSheet
        from pourcall.metal.alloys.sheet import load_sheets
        from pourcall.thermal_analysis.arrest_check import halts_of

        found = []
        for sheet in load_sheets(self._alloys).all():
            try:
                found.append(halts_of(sheet.facts()))
            except BadSheet:
                continue
        return tuple(found)

    def profile(self, furnace: str, name: str, plan: MeltPlan) -> ProfilePlan:
        """A guided profile with its temperatures for this melt. name empty or "default": the one for the alloy.

        Raises NotFound or BadSheet; one that goes beyond a limit of alloy, pot, furnace or probe is refused by segment.
        """
        from pourcall.contract.plan import tap_window_c
        from pourcall.profiles.library import ProfileLibrary
        from pourcall.profiles.resolve import resolve

        library = ProfileLibrary(self._profiles)
        alloy = plan.alloy
        profile = library.default_for(alloy.key, alloy.family) if name in ("", "default") else library.get(name)
        low_c, high_c = alloy.pour_min_c, min(alloy.pour_max_c, plan.lowest_limit.limit_c)
        if plan.moulds:
            low_c, high_c = tap_window_c(plan.moulds[0], plan)
        own = self._settings.furnace[furnace]
        rating = PotLimit(limit_c=own.rating_c, whose="furnace", why="rating in the settings")
        return resolve(profile, alloy, (low_c, high_c), [*plan.limits, rating])

    def usual(self, furnace: str) -> FurnaceModel:
        """What the settings alone say of a furnace nothing was learned of."""
        from pourcall.furnace.model import usual_model
        from pourcall.thermometry.sheaths import SHEATHS

        own = self._settings.furnace[furnace]
        probes = [probe for probe in self._settings.probe.values() if probe.furnace == furnace]
        in_metal = [probe for probe in probes if probe.place in (Place.MELT, Place.DIP)]
        sheath = SHEATHS[in_metal[0].sheath].tau_metal_s if in_metal else 4.2
        return usual_model(
            furnace,
            kind=own.kind,
            power_w=own.power_w,
            rating_c=own.rating_c,
            pot_kg=own.pot.mass_kg,
            sheath_s=sheath,
        )

    def change(self, furnace: str, request: ChangeRequest, old: MeltPlan) -> tuple[MeltPlan, tuple[str, ...]]:
        """The plan of a melt whose alloy, charge or moulds changed; what is None stays.

        Moulds that stay keep their windows while the alloy stays too; for another alloy they are made anew.
        """
        alloy = request.alloy if request.alloy is not None else old.alloy.key
        charge_kg = request.charge_kg if request.charge_kg is not None else old.charge_kg
        if request.moulds is not None:
            moulds = request.moulds
        else:
            moulds = tuple(as_request(mould, keep_window=request.alloy is None) for mould in old.moulds)
        charge_kg, assumed = _charge(charge_kg, moulds)
        return self._plan(furnace, old.melt, alloy, charge_kg, moulds, assumed)

    def _plan(
        self, furnace: str, melt: str, alloy: str, charge_kg: float, moulds: Sequence[MouldRequest], assumed: str
    ) -> tuple[MeltPlan, tuple[str, ...]]:
        from pourcall.metal.alloys.sheet import load_sheets
        from pourcall.metal.windows import melt_plan, plan_conflicts

        own = self._settings.furnace[furnace]
        plan = melt_plan(
            melt,
            load_sheets(self._alloys).get(alloy),
            charge_kg,
            [spec_of(mould) for mould in moulds],
            loss_c=own.transfer_loss_c,
            pot=pot_of(own),
            carry=carry_of(own),
            air=air_of(self._settings.shop),
            pot_rating_c=own.pot.rating_c,
            probe_rating_c=probe_rating_c(self._settings, furnace),
        )
        return plan, (*((assumed,) if assumed else ()), *plan_conflicts(plan))


def spec_of(mould: MouldRequest) -> "MouldSpec":
    """A mould as a person gives it, as the planner of windows takes it."""
    from pourcall.metal.windows import MouldSpec

    return MouldSpec(
        name=mould.name,
        setup=mould.setup,
        mass_kg=mould.mass_kg,
        thinnest_mm=mould.thinnest_mm,
        material=mould.material or "green_sand",
        loss_c=mould.loss_c,
        lip_min_c=mould.lip_min_c,
        lip_max_c=mould.lip_max_c,
    )


def pot_of(furnace: Furnace) -> "Pot":
    """A furnace's pot as the settings describe it, for the loss on the way."""
    from pourcall.metal.heat.transfer import Pot

    return Pot(
        mouth_mm=furnace.pot.mouth_mm,
        outside_mm=furnace.pot.mouth_mm + 2.0 * WALL_MM,
        height_mm=furnace.pot.height_mm,
        mass_kg=max(0.05, furnace.pot.mass_kg),
    )


def carry_of(furnace: Furnace) -> "Carry":
    """The way to the moulds: its seconds, and what this shop measured on it."""
    from pourcall.metal.heat.transfer import Carry

    return Carry(walk_s=furnace.walk_s, fitted_c_per_s=furnace.lifted_c_per_s)


def air_of(shop: Shop) -> "Air":
    """The air that takes up the fume."""
    from pourcall.metal.vapour.ventilation import OUTDOORS, Air, under_extraction

    if shop.air == "outdoors":
        return OUTDOORS
    air = Air(volume_m3=shop.volume_m3, changes_per_h=shop.air_changes_per_h)
    return under_extraction(air) if shop.air == "extraction" else air


def probe_rating_c(settings: Settings, furnace: str) -> float | None:
    """The lowest rating of the probes that go into this furnace's metal; None: there is none."""
    in_metal = [
        probe.rating_c
        for probe in settings.probe.values()
        if probe.furnace == furnace and probe.place in (Place.MELT, Place.DIP)
    ]
    return min(in_metal, default=None)


def _charge(charge_kg: float, moulds: Sequence[MouldRequest]) -> tuple[float, str]:
    """The mass to reckon with, and a sentence where nobody gave one."""
    if charge_kg > 0.0:
        return charge_kg, ""
    needed_kg = sum(mould.mass_kg for mould in moulds)
    if needed_kg > 0.0:
        return needed_kg, f"no charge was given: the moulds' {needed_kg:g} kg are taken for it"
    return UNSTATED_CHARGE_KG, f"no charge was given: {UNSTATED_CHARGE_KG:g} kg is taken for it"


def as_request(mould: MouldPlan, *, keep_window: bool) -> MouldRequest:
    """A planned mould as a request that makes it again, with the window it had or without."""
    return MouldRequest(
        name=mould.name,
        setup=mould.setup,
        mass_kg=mould.mass_kg,
        thinnest_mm=mould.thinnest_mm,
        material=mould.material,
        lip_min_c=mould.lip_min_c if keep_window else None,
        lip_max_c=mould.lip_max_c if keep_window else None,
        loss_c=mould.loss_c if keep_window else None,
    )
