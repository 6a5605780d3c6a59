"""Ordinary melts, drawn from a seed. `normal_melt(seed)` is a competent caster's melt, of the whole usual range.

The five kinds come round with the seed (seed % 5), so that any five seeds in a row hold them all; everything else is
drawn: alloy, mass, furnace, cold or hot start, sheath, chip, rate, noise, habits, moulds, second melt at once.
Competent means: the metal's true peak stays below the pot's limit and every pour's true lip temperature lies inside its
mould's window; a test holds the generator to it. Not here: running it (sim.shop).
"""

import math
from collections.abc import Mapping, Sequence
from functools import cache
from random import Random
from typing import ClassVar

import msgspec

from pourcall.contract.plan import AlloyFacts, FumeTable, MeltPlan, MouldPlan, PotLimit
from pourcall.contract.reading import Place
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.vapour.fume import fume_table
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PlantStart, PotSpec
from pourcall.sim.plant.kinds import AnyFurnace
from pourcall.sim.plant.metal import ALLOY_KEYS, SimAlloy, alloy, shifted
from pourcall.sim.scenarios.crew import ALL_KEYS
from pourcall.sim.scenarios.script import Step
from pourcall.sim.shop import ProbeSetup, Scenario, TruthAndSample, run

__all__ = ["KINDS", "Scenario", "TruthAndSample", "make_plan", "normal_melt", "pot_for", "run"]

KINDS = ("left_in_thin", "left_in_tube", "dip", "chamber", "two_probes")
HABITS: dict[str, frozenset[str]] = {
    "presses_all": ALL_KEYS,
    "presses_some": frozenset({"start", "power", "pour", "end"}),
    "starts_only": frozenset({"start"}),
    "presses_nothing": frozenset(),
}
POT_LIMIT_MARGIN_C = 5.0


def pot_for(facts: AlloyFacts, charge_kg: float) -> PotSpec:
    """A pot a third larger than the charge: wall 8 mm of 2000 kg/m3, as high as wide (common practice, no source)."""
    volume_m3 = 1.35 * charge_kg / facts.density_liquid_kg_per_m3
    radius_m = (volume_m3 / (2.0 * math.pi)) ** (1.0 / 3.0)
    outer_m = radius_m + 0.008
    outer_m2 = 2.0 * math.pi * outer_m * (2.0 * radius_m + 0.01) + math.pi * outer_m**2
    return PotSpec(
        mass_kg=outer_m2 * 0.008 * 2000.0, cp_j_per_kg_k=950.0, outer_m2=outer_m2, mouth_m2=math.pi * radius_m**2
    )


def pour_losses_c(
    metal: SimAlloy,
    pot: PotSpec,
    charge_kg: float,
    tap_c: float,
    pours: list[tuple[float, float, float]],
    *,
    behind_c: float,
) -> list[tuple[float, float]]:
    """What the bath has lost in the lifted pot when each pour begins and ends, by the plant's own physics.

    `pours`: (seconds after the lift or the pour before, kg, kg/s). `behind_c`: by how much the pot is colder than the
    metal when it is lifted; with a burner out and the lid off it is.
    """
    plant = Plant(FurnaceSpec("none", 0.0), pot, metal, dt_s=0.5, start=PlantStart(pot_c=tap_c - behind_c))
    plant.add(charge_kg, tap_c)
    plant.lift()
    losses = []
    for wait_s, kg, rate in pours:
        for _ in range(round(wait_s / plant.dt_s)):
            plant.step()
        begun_c = tap_c - plant.metal_c
        plant.pour(kg, rate)
        while plant.pouring:
            plant.step()
        losses.append((begun_c, tap_c - plant.metal_c))
    return losses


def make_plan(melt: str, facts: AlloyFacts, charge_kg: float, moulds: Sequence[MouldPlan]) -> MeltPlan:
    """A plan from a sheet, with the alloy's own limit in the pot and its fume in an ordinary shop."""
    limit = PotLimit(limit_c=facts.alloy_max_c, whose="alloy", why="highest in the pot, of the alloy sheet")
    return MeltPlan(
        melt=melt, alloy=facts, charge_kg=charge_kg, moulds=tuple(moulds), limits=(limit,), fume=_fume(facts.key)
    )


@cache
def _fume(key: str) -> FumeTable | None:
    return fume_table(load_sheets().get(key))


class Draw:
    """One melt being drawn; the pieces in the order a caster would settle them.

    Another plant's melts are drawn by a class derived from this one, which says what is otherwise there.
    """

    salt = 17
    alloys: ClassVar[Mapping[str, int]] = dict(zip(ALLOY_KEYS, (28, 10, 12, 24, 14, 12), strict=True))  # how often each

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.rng = rng = Random(seed * 7_919 + self.salt)
        self.kind = KINDS[seed % len(KINDS)]
        key = rng.choices(list(self.alloys), weights=list(self.alloys.values()))[0]
        self.sheet = self.sheet_of(key)
        self.alloy = shifted(self.sheet, rng.uniform(-2.0, 2.0))
        self.facts = self.sheet.facts
        most_kg = 1.8 if self.facts.family == "aluminium" else 3.0
        self.charge_kg = round(rng.uniform(1.0, most_kg), 2)
        self.pot = pot_for(self.facts, self.charge_kg)
        self.stream_loss_c = rng.uniform(4.0, 9.0)
        self.walk_s = rng.uniform(6.0, 16.0 if self.facts.family == "copper" else 24.0)
        self.fuel = rng.random() < (0.6 if self.facts.family == "copper" else 0.3)
        self.tags: list[str] = [key]

    def sheet_of(self, key: str) -> SimAlloy:
        """The alloy as its sheet has it."""
        return alloy(key)

    def losses_c(self, tap_c: float, pours: list[tuple[float, float, float]]) -> list[tuple[float, float]]:
        """What the bath has lost when each pour begins and ends, by this plant's own physics."""
        behind_c = 15.0 if self.fuel else 4.0
        return pour_losses_c(self.alloy, self.pot, self.charge_kg, tap_c, pours, behind_c=behind_c)

    def settle_moulds(self) -> None:
        """Moulds whose windows, seen in the pot, leave one tap window wide enough to hit."""
        rng, facts = self.rng, self.facts
        highest_c = facts.alloy_max_c - POT_LIMIT_MARGIN_C
        count = rng.choices((1, 2, 3), weights=(4, 4, 2))[0]
        width_c = min(rng.uniform(26.0, 60.0), facts.pour_max_c - facts.pour_min_c)
        gap_s, rate = rng.uniform(3.0, 7.0), rng.uniform(0.22, 0.4)
        while True:
            each_kg = self.charge_kg * rng.uniform(0.78, 0.92) / count
            rate = min(rate, each_kg / 2.5)
            pours = [(self.walk_s if i == 0 else gap_s, each_kg, rate) for i in range(count)]
            guess_c = min(facts.pour_min_c + 0.5 * width_c + 25.0, highest_c)
            losses = [
                (begun_c + self.stream_loss_c, ended_c + self.stream_loss_c)
                for begun_c, ended_c in self.losses_c(guess_c, pours)
            ]
            room_c = max(0.0, min(facts.pour_max_c, highest_c - losses[-1][1]) - width_c - facts.pour_min_c)
            low_c = facts.pour_min_c + rng.uniform(0.0, 0.6) * room_c
            lo_c = max(low_c + ended_c for _, ended_c in losses)
            hi_c = min(low_c + width_c + min(begun_c for begun_c, _ in losses), highest_c)
            if hi_c - lo_c >= 14.0:
                break
            if count > 1:
                count -= 1
            elif self.walk_s > 4.0:
                self.walk_s *= 0.7  # the mould is brought to the furnace
            else:
                width_c, rate = min(width_c + 4.0, facts.pour_max_c - facts.pour_min_c), min(rate * 1.2, 0.8)
                if hi_c - lo_c >= 9.0:
                    break
        self.moulds = [
            MouldPlan(
                name=f"cleat {i + 1}",
                mass_kg=round(each_kg, 3),
                thinnest_mm=rng.choice((3.0, 4.0, 5.0, 6.0)),
                lip_min_c=round(low_c, 1),
                lip_max_c=round(low_c + width_c, 1),
                loss_c=round(0.5 * (begun_c + ended_c) + rng.uniform(-1.0, 1.0), 1),
                why="sheet, narrowed by section; loss by the lift, the walk and the stream",
            )
            for i, (begun_c, ended_c) in enumerate(losses)
        ]
        inset_c = min(3.0 + 0.1 * losses[0][1], 0.3 * (hi_c - lo_c))  # lid and tongs cost some degrees too
        self.lo_c, self.hi_c, self.gap_s, self.pour_rate = lo_c + inset_c, hi_c - 0.25 * (hi_c - lo_c), gap_s, rate
        self.target_c = min(self.lo_c + 0.8 * (self.hi_c - self.lo_c), highest_c - 4.0)

    def settle_furnace(self) -> None:
        """A furnace that does this melt in a quarter to three quarters of an hour; cold, or hot from the one before."""
        rng = self.rng
        hot_j, lining_j = rng.uniform(900.0, 1600.0), rng.uniform(3000.0, 6000.0)
        metal_j = self.charge_kg * self.sheet.curve.enthalpy(self.target_c)
        bodies_j = (hot_j + self.pot.mass_kg * self.pot.cp_j_per_kg_k) * (self.target_c + 120.0)
        useful_w = min(4500.0, 1.25 * (metal_j + bodies_j) / rng.uniform(1000.0, 2000.0) + 250.0)
        share = rng.uniform(0.25, 0.38)
        self.furnace: AnyFurnace = FurnaceSpec(
            name="burner furnace" if self.fuel else "electric furnace",
            power_w=useful_w / share if self.fuel else useful_w,
            fuel=self.fuel,
            low_share=0.5,
            useful_share=share if self.fuel else 1.0,
            pot_share=0.35 if self.fuel else 0.0,
            hot_j_per_k=hot_j,
            lining_j_per_k=lining_j,
            hot_lining_w_per_k=rng.uniform(0.6, 1.2),
            exchange_m2=max(0.025, self.pot.outer_m2),
            wall_limit_c=min(1330.0, self.target_c + rng.uniform(160.0, 300.0)),
        )
        room_c = rng.uniform(8.0, 30.0)
        self.hot = rng.random() < 0.3
        if self.hot:
            wall_c = rng.uniform(0.5, 0.9) * self.target_c
            self.start = PlantStart(room_c, wall_c, rng.uniform(0.3, 0.5) * wall_c, rng.uniform(0.5, 0.8) * wall_c)
        else:
            self.start = PlantStart(room_c)
        self.tags += ["fuel" if self.fuel else "electric", "hot_start" if self.hot else "cold_start"]

    def settle_probes(self) -> None:
        """Sheath, chip, rate and noise."""
        rng = self.rng
        chip = rng.choices(("max31855", "emf", "its90"), weights=(5, 3, 2))[0]
        tc_type = "N" if self.facts.family == "copper" and rng.random() < 0.4 else "K"
        main = {
            "left_in_thin": ("mi_3.0", "mi_4.5", "mi_6.0", "grounded_6.0"),
            "left_in_tube": ("tube_12", "tube_20"),
            "dip": ("mi_1.5", "mi_3.0", "grounded_3.0", "grounded_4.5"),
            "chamber": ("mi_6.0", "mi_8.0", "tube_12"),
            "two_probes": ("mi_3.0", "grounded_4.5", "mi_6.0"),
        }[self.kind]
        self.late_in = self.kind in ("left_in_thin", "two_probes") and rng.random() < 0.4
        in_pot = self.kind in ("left_in_thin", "left_in_tube", "two_probes")
        start = "chamber" if self.kind == "chamber" else "melt" if in_pot and not self.late_in else "air"
        place = Place.CHAMBER if self.kind == "chamber" else Place.DIP if self.kind == "dip" else Place.MELT

        def setup(name: str, where: Place, sheath: str, channel: str, at: str) -> ProbeSetup:
            return ProbeSetup(
                name=name,
                place=where,
                sheath=sheath,
                channel=channel,
                tc_type=tc_type,
                chip=chip,
                start=at,
                depth_mm=rng.uniform(40.0, 70.0),
                gain=1.0 + max(-0.004, min(0.004, rng.gauss(0.0, 0.0015))),
                noise_c=rng.uniform(0.03, 0.35),
                offset_uv=rng.uniform(-6.0, 6.0),
                cold_error_c=rng.uniform(-0.5, 0.5),
            )

        name = "chamber" if self.kind == "chamber" else "metal"
        probes = [setup(name, place, rng.choice(main), "1", start)]
        if self.kind == "two_probes":
            probes.append(setup("chamber", Place.CHAMBER, "mi_6.0", "2", "chamber"))
        self.probes = tuple(probes)
        self.rate_hz = rng.choices((1.0, 2.0, 4.0, 5.0, 10.0), weights=(34, 30, 18, 11, 7))[0]
        self.dip_s = 20.0 + rng.uniform(-3.0, 5.0)
        self.tags += [chip, f"type_{tc_type}", f"{self.rate_hz:g}_hz"]

    def melt_steps(self, plan: int, *, again: bool) -> list[Step]:
        """One melt from the charge to the empty pot."""
        rng = self.rng
        parts = [1.0] if rng.random() < 0.4 else [0.65, 0.35] if rng.random() < 0.6 else [0.5, 0.3, 0.2]
        dips = self.kind == "dip"
        every_s = rng.uniform(110.0, 200.0) if dips else 0.0
        moves = self.kind not in ("dip", "chamber")
        steps = [Step("start", plan=plan)]
        if again:
            steps += [Step("put_back", when=f"after {rng.uniform(15.0, 60.0):.0f}"), Step("lid", open=True)]
        steps.append(Step("charge", when=f"after {rng.uniform(5.0, 40.0):.0f}", kg=self.charge_kg * parts[0]))
        if moves and again and not self.late_in:
            steps.append(Step("probe", when="after 4", place="melt", depth_mm=self.probes[0].depth_mm))
        steps += [Step("lid", when="after 3", open=False), Step("power", when="after 2", level="high")]
        for part in parts[1:]:
            steps += [
                Step("watch", until=f"liquid >= {rng.uniform(0.5, 0.95):.2f} and lump <= 0"),
                Step("lid", open=True),
                Step("charge", when=f"after {rng.uniform(2.0, 6.0):.0f}", kg=self.charge_kg * part),
                Step("lid", when=f"after {rng.uniform(3.0, 10.0):.0f}", open=False),
            ]
        if moves and self.late_in:
            steps += [
                Step("wait", when="liquid >= 0.8 and lump <= 0"),
                Step("lid", open=True),
                Step("probe", when="after 2", place="melt", depth_mm=self.probes[0].depth_mm),
                Step("lid", when="after 3", open=False),
            ]
        bring = Step("bring", lo_c=self.lo_c, hi_c=self.hi_c, target_c=self.target_c, every_s=every_s, for_s=self.dip_s)
        at_last = msgspec.structs.replace(bring, every_s=0.0)
        early_c = self.lo_c - rng.uniform(8.0, 25.0)
        if early_c > self.facts.liquidus_c + 5.0:
            steps.append(msgspec.structs.replace(bring, lo_c=early_c))
        else:
            steps.append(bring)
        if rng.random() < 0.85:
            steps += [
                Step("lid", when="after 2", open=True),
                Step("stir", when="after 2"),
                Step("skim", when=f"after {rng.uniform(5.0, 18.0):.0f}", kg=self.charge_kg * rng.uniform(0.005, 0.02)),
                Step("lid", when=f"after {rng.uniform(2.0, 8.0):.0f}", open=False),
            ]
        steps.append(at_last)
        if dips:
            steps += [
                Step("dip", for_s=self.dip_s, depth_mm=self.probes[0].depth_mm),
                at_last,
            ]
        steps += [Step("lid", when=f"after {rng.uniform(1.0, 4.0):.0f}", open=True)]
        first = rng.random() < 0.5  # probe out just before the lift, or with it
        out = Step("probe", when="after 1", place="air")
        lift = Step("lift", when=f"after {rng.uniform(1.0, 3.0):.0f} and metal <= {self.hi_c:.1f}")
        steps += ([out, lift] if first else [lift, out]) if moves else [lift]
        walk_s = self.walk_s - (1.0 if moves and not first else 0.0)
        for mould in self.moulds:
            pour = Step("pour", kg=mould.mass_kg, mould=mould.name, rate_kg_per_s=self.pour_rate)
            steps.append(msgspec.structs.replace(pour, when=f"after {walk_s:.1f}"))
            walk_s = self.gap_s
        steps += [
            Step("pour", when="after 5", kg=9.9, rate_kg_per_s=self.pour_rate),  # the rest into an ingot mould
            Step("end", when="after 6", ending="poured"),
            Step("lid", when="after 5", open=False),
        ]
        return steps

    def scenario(self) -> Scenario:
        """All of it."""
        rng = self.rng
        self.settle_moulds()
        self.settle_furnace()
        self.settle_probes()
        habit = rng.choices(list(HABITS), weights=(45, 25, 15, 15))[0]
        again = rng.random() < 0.12
        steps = self.melt_steps(0, again=False)
        plans = [make_plan("2026-014", self.facts, self.charge_kg, self.moulds)]
        if again:
            steps += self.melt_steps(1, again=True)
            plans.append(make_plan("2026-015", self.facts, self.charge_kg, self.moulds))
            self.tags.append("second_melt")
        status = rng.random() < 0.2
        wraps = rng.random() < 0.05
        return Scenario(
            name=f"normal {self.seed}",
            kind=self.kind,
            seed=self.seed,
            alloy=self.alloy,
            furnace=self.furnace,
            pot=self.pot,
            start=self.start,
            probes=self.probes,
            steps=tuple(steps),
            plans=tuple(plans),
            rate_hz=self.rate_hz,
            keys=HABITS[habit],
            stream_loss_c=self.stream_loss_c,
            boot_ms=2**32 - 600_000 if wraps else rng.randrange(1, 10**8),
            board_status=status,
            tail_s=rng.uniform(60.0, 300.0),
            mark_delay_s=rng.uniform(2.0, 25.0),
            tags=(*self.tags, habit, *(["board_ms_wraps"] if wraps else [])),
        )


def normal_melt(seed: int) -> Scenario:
    """An ordinary melt. `normal_melt(s)` is the same for ever; kinds come round by seed % 5."""
    return Draw(seed).scenario()
