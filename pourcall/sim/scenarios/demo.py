"""The demonstration. A boat club's workshop casts deck cleats in ZA-27 and fairleads in silicon bronze.

`demo_scenario` gives a Scenario that runs from the cold charge to the empty pot in about 25 simulated minutes, with an
operator who answers the calls of the running system (`heard ...` in the script) and has his own eyes where none comes.
The melts are scripts beside this file (pourcall/sim/scenarios/scripts/*.toml); everything here is invented.
"""

from collections.abc import Sequence
from dataclasses import replace
from importlib.resources import files

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan, MouldPlan
from pourcall.contract.reading import Place
from pourcall.sim.plant.brick import BrickSpec, PanelSpec
from pourcall.sim.plant.flame import FlameSpec
from pourcall.sim.plant.furnace import FurnaceSpec, PlantStart, PotSpec
from pourcall.sim.plant.kinds import AnyFurnace
from pourcall.sim.plant.metal import alloy
from pourcall.sim.scenarios.normal_melts import make_plan
from pourcall.sim.scenarios.script import Step, load_steps
from pourcall.sim.shop import ProbeSetup, Scenario

WORKSHOP = "boat club workshop"
FURNACE = FurnaceSpec(
    name="club furnace",
    power_w=2150.0,
    hot_j_per_k=1200.0,
    lining_j_per_k=4500.0,
    hot_lining_w_per_k=0.9,
    exchange_m2=0.038,
    wall_limit_c=860.0,
)
BURNER = FurnaceSpec(
    name="club burner",
    power_w=14_000.0,
    fuel=True,
    useful_share=0.3,
    pot_share=0.35,
    hot_j_per_k=1300.0,
    lining_j_per_k=4500.0,
    exchange_m2=0.045,
)
POT = PotSpec(mass_kg=0.62, outer_m2=0.038, mouth_m2=0.005)
BRONZE_POT = PotSpec(mass_kg=0.75, outer_m2=0.042, mouth_m2=0.0055)
CLEAT_KG, FAIRLEAD_KG = 0.6, 0.9

CLEATS = tuple(
    MouldPlan(
        name=f"cleat {number}",
        setup="deck cleat 160 mm",
        mass_kg=CLEAT_KG,
        thinnest_mm=6.0,
        lip_min_c=535.0,
        lip_max_c=570.0,
        loss_c=loss_c,
        why="sheet, narrowed for 6 mm in green sand; loss of the lift and the walk",
    )
    for number, loss_c in ((1, 10.5), (2, 17.5))
)
FAIRLEADS = (
    MouldPlan(
        name="fairlead 1",
        setup="fairlead 120 mm",
        mass_kg=FAIRLEAD_KG,
        thinnest_mm=5.0,
        lip_min_c=1040.0,
        lip_max_c=1110.0,
        loss_c=26.0,
        why="sheet, narrowed for 5 mm in green sand; loss of the lift and the walk",
    ),
    MouldPlan(
        name="fairlead 2",
        setup="fairlead 120 mm",
        mass_kg=FAIRLEAD_KG,
        thinnest_mm=5.0,
        lip_min_c=1040.0,
        lip_max_c=1110.0,
        loss_c=62.0,
        why="sheet, narrowed for 5 mm in green sand; loss of the lift and the walk",
    ),
)
PLANTS = ("lumped", "brick", "flame")
DEMOS = ("cleats_left_in", "cleats_dip", "fairleads_dip")


def club_furnace(plant: str, *, bronze: bool = False) -> AnyFurnace:
    """The club's furnace as one of PLANTS builds it: for cleats or for bronze. Raises BadInput."""
    match plant:
        case "lumped":
            return BURNER if bronze else FURNACE
        case "brick":
            panel = PanelSpec(kind="pid", high_c=1180.0 if bronze else 780.0, low_c=1080.0 if bronze else 600.0)
            return BrickSpec(
                name="club chamber furnace", power_w=4200.0 if bronze else 2300.0, panel=panel, rating_c=1300.0
            )
        case "flame":
            return FlameSpec(name="club forge", full_kg_per_s=3.8e-4 if bronze else 1.3e-4)
        case _:
            told = tell("sim.unknown", simulated="plant", typed=plant)
            raise BadInput(told, remedy=tell("error.use_one", known=", ".join(PLANTS)))


def demo_steps(name: str) -> tuple[Step, ...]:
    """The script of a demonstration. Raises BadInput."""
    if name not in DEMOS:
        told = tell("sim.unknown", simulated="demo", typed=name)
        raise BadInput(told, remedy=tell("error.use_one", known=", ".join(DEMOS)))
    return load_steps(files("pourcall.sim.scenarios").joinpath("scripts", f"{name}.toml").read_text("utf-8"))


def demo_plan(name: str = "cleats_left_in", melt: str = "2026-014") -> MeltPlan:
    """The plan that belongs to a demonstration, from the sheet that ships."""
    if name == "fairleads_dip":
        return make_plan(melt, alloy("c87300").facts, 2.2, FAIRLEADS)
    return make_plan(melt, alloy("za27").facts, 1.5, CLEATS)


def demo_scenario(
    name: str = "cleats_left_in",
    *,
    plans: Sequence[MeltPlan] | None = None,
    seed: int = 2026,
    rate_hz: float = 2.0,
    keys: frozenset[str] | None = None,
    plant: str = "lumped",
) -> Scenario:
    """A demonstration as a Scenario, on any simulated furnace (`PLANTS`). `plans`: from the alloy sheets of the running
    system, in place of ours; `keys`: which marks the operator makes himself (all, unless told; without "start" the
    caller starts the melt)."""
    bronze = name == "fairleads_dip"
    dips = name.endswith("_dip")
    scenario = Scenario(
        name=name,
        kind="dip" if dips else "left_in_thin",
        seed=seed,
        alloy=alloy("c87300" if bronze else "za27"),
        furnace=club_furnace(plant, bronze=bronze),
        pot=BRONZE_POT if bronze else POT,
        start=PlantStart(19.0),
        probes=(
            ProbeSetup(
                name="metal",
                place=Place.DIP if dips else Place.MELT,
                sheath="mi_3.0" if dips else "mi_4.5",
                chip="max31855",
                depth_mm=60.0,
                gain=1.0008,
                noise_c=0.12,
                offset_uv=2.0,
                cold_error_c=0.2,
            ),
        ),
        steps=demo_steps(name),
        plans=tuple(plans) if plans is not None else (demo_plan(name),),
        rate_hz=rate_hz,
        stream_loss_c=6.0,
        boot_ms=3500,
        board_status=True,
        tail_s=90.0,
        mark_delay_s=6.0,
    )
    if keys is None:
        return scenario
    return replace(scenario, keys=keys)
