"""The invented season of the demonstration. Six melts of the boat club, twelve pours of two moulds, to try things on.

What was meant (alloy, moulds, temperatures aimed at, charges, words) stands here as data; the traces are made by the
plant, what came of each pour by a law of our own with a seed: a cold and a hot fault, each logistic in the true
temperature at the lip, and one casting in thirty faulty whatever the temperature. Nothing here was measured anywhere,
and no foundry should learn from it. Who runs this through engine and recorder: pourcall.cli.shop.demo_records.
"""

import math
import re
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

import msgspec

from pourcall.contract.entries import ChargeEntry, MouldSetupRequest
from pourcall.contract.plan import MeltPlan, MouldRequest
from pourcall.sim.plant.furnace import PlantStart
from pourcall.sim.plant.metal import alloy
from pourcall.sim.scenarios.demo import CLEATS, FAIRLEADS, demo_scenario, demo_steps
from pourcall.sim.scenarios.script import Step
from pourcall.sim.shop import Scenario

TAG = "invented"
SAID = "Invented: a simulated furnace, made up so that there is something to look at. Nothing of it was poured."
WHO = "demo"
SEED = 346  # of those tried the first whose season teaches something: cold ends, hot ends, a trial not over
HALF_WINDOW_C = {"za27": 12.0, "c87300": 20.0}  # of a trial: what the caster calls near enough to the aim
CLEAT, FAIRLEAD = CLEATS[0].setup, FAIRLEADS[0].setup


@dataclass(frozen=True, slots=True)
class InventedMelt:
    """One melt, two pours of one setup. aim_c: at the lip of the first mould; the second gets what the walk leaves."""

    melt: str
    began_utc_s: float
    scenario: str  # a demonstration whose script the caster works by, moved to the aim
    furnace: str
    alloy: str
    charge_kg: float
    aim_c: float
    note: str
    charges: tuple[ChargeEntry, ...]  # in the order they went in; the second is added to what is liquid
    pour_notes: tuple[tuple[int, str], ...] = ()  # number of the pour, words
    inspected: int = 2  # how many of its pours; the rest still lies on the bench
    photo_of: int = 0  # number of the pour that has one
    setups: tuple[MouldSetupRequest, ...] = ()  # described or changed before it


@dataclass(frozen=True, slots=True)
class InventedFault:
    """What inspection found; grade 1 to 3."""

    defect: str
    grade: int
    place: str


@dataclass(frozen=True, slots=True)
class _Law:
    """Half of the castings have a cold fault at cold_c, half a hot one at hot_c; 73 % one scale beyond."""

    cold_c: float
    hot_c: float
    scale_c: float
    cold: tuple[tuple[str, str], ...]  # defect and place, by grade: slight first
    hot: tuple[tuple[str, str], ...]


_CLEAT_SETUP = MouldSetupRequest(
    name=CLEAT,
    add=True,
    pattern="cleat 160 v2, two in one flask",
    material="green_sand",
    batch="sand 7",
    gating="tapered sprue, one gate at the base",
    venting="two 2 mm vents at the horn tips",
    thinnest_mm=6.0,
    mass_kg=0.6,
    preheat_c=40.0,
    who=WHO,
)
_FAIRLEAD_SETUP = MouldSetupRequest(
    name=FAIRLEAD,
    add=True,
    pattern="fairlead 120 v1",
    material="green_sand",
    batch="sand 7",
    gating="choke in the runner, two gates under the flange",
    venting="one 3 mm vent at the lip",
    thinnest_mm=5.0,
    mass_kg=0.9,
    preheat_c=60.0,
    who=WHO,
)
_NEW_SAND = MouldSetupRequest(name=FAIRLEAD, batch="sand 8", who=WHO, why="the old sand was burnt out")
_NEW_ZA = ChargeEntry(source="new", mass_kg=1.05, detail="ingot ZA-27")
_NEW_BRONZE = ChargeEntry(source="new", mass_kg=1.5, detail="ingot silicon bronze")
_MORE_ZA = ChargeEntry(source="new", mass_kg=0.45, detail="ingot ZA-27, put in when most was liquid")
_MORE_BRONZE = ChargeEntry(source="new", mass_kg=0.7, detail="ingot silicon bronze, put in when most was liquid")
_BACK_BRONZE = ChargeEntry(source="returns", mass_kg=0.7, origin="2025-002", detail="gates and a misrun fairlead")
_DAY_S = 86_400.0
_FIRST_S = 1_757_146_800.0  # 2025-09-06 08:20 UTC, a Saturday
MELTS = (
    InventedMelt(
        "2025-001",
        _FIRST_S,
        "cleats_left_in",
        "club",
        "za27",
        1.5,
        541.0,
        "First day with the new pattern. Poured cold on purpose, to see where it stops filling.",
        (_NEW_ZA, _MORE_ZA),
        pour_notes=((2, "The stream was sluggish; the far horn filled last."),),
        photo_of=2,
        setups=(_CLEAT_SETUP,),
    ),
    InventedMelt(
        "2025-002",
        _FIRST_S + 7 * _DAY_S,
        "fairleads_dip",
        "burner",
        "c87300",
        2.2,
        1082.0,
        "Outdoors, light wind. First fairleads in silicon bronze.",
        (_NEW_BRONZE, _MORE_BRONZE),
        pour_notes=((2, "Took long over the second flask: sixteen steps and a kerb."),),
        setups=(_FAIRLEAD_SETUP,),
    ),
    InventedMelt(
        "2025-003",
        _FIRST_S + 14 * _DAY_S + 1_500.0,
        "cleats_left_in",
        "club",
        "za27",
        1.5,
        561.0,
        "Twenty degrees hotter than last time, everything else as it was.",
        (_NEW_ZA, _MORE_ZA),
    ),
    InventedMelt(
        "2025-004",
        _FIRST_S + 21 * _DAY_S + 600.0,
        "fairleads_dip",
        "burner",
        "c87300",
        2.2,
        1136.0,
        "Hotter; the rest as it was.",
        (_NEW_BRONZE, _MORE_BRONZE),
    ),
    InventedMelt(
        "2025-005",
        _FIRST_S + 28 * _DAY_S + 2_400.0,
        "cleats_left_in",
        "club",
        "za27",
        1.5,
        591.0,
        "The hot end: how far may it go before the boss sinks?",
        (_NEW_ZA, _MORE_ZA),
        pour_notes=((1, "Wrinkle-free skin, but the boss drew in while it froze."),),
    ),
    InventedMelt(
        "2025-006",
        _FIRST_S + 35 * _DAY_S + 900.0,
        "fairleads_dip",
        "burner",
        "c87300",
        2.2,
        1106.0,
        "Between the two, in fresh sand; a third of the metal are returns: not temperature alone that changed.",
        (_NEW_BRONZE, _BACK_BRONZE),
        inspected=1,
        setups=(_NEW_SAND,),
    ),
)
_LAWS = {
    CLEAT: _Law(
        543.0,
        585.0,
        6.0,
        cold=(("cold_shut", "horn, near side"), ("misrun", "far horn tip"), ("misrun", "both horn tips")),
        hot=(("sink", "boss"), ("internal_shrinkage", "boss, sawn through"), ("penetration", "under the base")),
    ),
    FAIRLEAD: _Law(
        1048.0,
        1112.0,
        10.0,
        cold=(("cold_shut", "lip, where the streams meet"), ("misrun", "lip"), ("misrun", "half of the lip")),
        hot=(("rough_surface", "flange"), ("penetration", "flange, inner corner"), ("blowhole", "under the flange")),
    ),
}
_CHANCE = 1.0 / 30.0  # of a fault that has nothing to do with temperature
_CHANCE_FAULT = ("sand_inclusion", "cope side")
_GRADE_STEP = 1.1  # scales from one grade to the next


def inspect(setup: str, lip_c: float, rng: Random) -> tuple[InventedFault, ...]:
    """What inspection of this casting finds; empty: it is sound. lip_c: true temperature at the lip."""
    law, found = _LAWS[setup], []
    for faults, over in ((law.cold, law.cold_c - lip_c), (law.hot, lip_c - law.hot_c)):
        draw = rng.random()
        grade = sum(1 for step in range(3) if draw < 1.0 / (1.0 + math.exp(_GRADE_STEP * step - over / law.scale_c)))
        if grade:
            found.append(InventedFault(faults[grade - 1][0], grade, faults[grade - 1][1]))
    if rng.random() < _CHANCE:
        found.append(InventedFault(_CHANCE_FAULT[0], 1, _CHANCE_FAULT[1]))
    return tuple(found)


def moulds(melt: InventedMelt) -> tuple[MouldRequest, ...]:
    """The two moulds of a melt, their windows laid about the aim of the trial."""
    planned = FAIRLEADS if melt.alloy == "c87300" else CLEATS
    half_c, most_c = HALF_WINDOW_C[melt.alloy], alloy(melt.alloy).facts.pour_max_c
    first_c = planned[0].loss_c
    return tuple(
        MouldRequest(
            name=mould.name,
            setup=mould.setup,
            mass_kg=mould.mass_kg,
            thinnest_mm=mould.thinnest_mm,
            lip_min_c=melt.aim_c + first_c - mould.loss_c - half_c,
            lip_max_c=min(most_c, melt.aim_c + first_c - mould.loss_c + half_c),
            loss_c=mould.loss_c,
        )
        for mould in planned
    )


def scenario_of(melt: InventedMelt, plan: MeltPlan, seed: int = SEED) -> Scenario:
    """The melt as the simulator runs it; `plan` as the running system made it."""
    made = demo_scenario(melt.scenario, plans=[plan], seed=seed * 100 + int(melt.melt[-3:]), rate_hz=1.0)
    aim_in_pot_c = melt.aim_c + plan.moulds[0].loss_c
    # The furnace is warm: the moulds were dried over it. (A cold one would only make a season longer to compute.)
    warm = PlantStart(19.0, 620.0, 430.0, 480.0)
    return replace(made, steps=moved(demo_steps(melt.scenario), aim_in_pot_c), start=warm, tail_s=30.0, tags=(TAG,))


_HOT = re.compile(r"\b(coast|metal) >= (\d+(?:\.\d+)?)")


def moved(steps: Sequence[Step], aim_in_pot_c: float) -> tuple[Step, ...]:
    """A demonstration's script with its temperatures moved so that it brings the pot to `aim_in_pot_c` at the lift."""
    brought = [step for step in steps if step.do == "bring"]
    by_c = aim_in_pot_c - 0.5 * (brought[-1].lo_c + brought[-1].hi_c)

    def shift(words: str) -> str:
        return _HOT.sub(lambda found: f"{found[1]} >= {float(found[2]) + by_c:.1f}", words)

    out = []
    for step in steps:
        step = msgspec.structs.replace(step, when=shift(step.when), until=shift(step.until))
        if step.do == "bring":
            step = msgspec.structs.replace(
                step, lo_c=step.lo_c + by_c, hi_c=step.hi_c + by_c, target_c=step.target_c + by_c
            )
        out.append(msgspec.structs.replace(step, text=SAID) if step.do == "say" else step)
    return tuple(out)


# -- the picture --------------------------------------------------------------------------------------------------

_WIDE, _HIGH = 240, 150
_PALETTE = ((214, 203, 180), (120, 124, 130), (168, 172, 178), (70, 60, 52), (178, 34, 34))  # bench, metal, light, gap


def picture() -> bytes:
    """A casting with one horn short, drawn by us: a PNG (W3C) of 240 x 150, the same bytes always."""
    rows = bytearray()
    for y in range(_HIGH):
        rows.append(0)
        rows += bytes(_ink(x, y) for x in range(_WIDE))
    head = struct.pack(">IIBBBBB", _WIDE, _HIGH, 8, 3, 0, 0, 0)
    colours = b"".join(bytes(colour) for colour in _PALETTE)
    chunks = ((b"IHDR", head), (b"PLTE", colours), (b"IDAT", zlib.compress(bytes(rows), 0)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in chunks
    )


def _ink(x: int, y: int) -> int:
    """A cleat from the side: base, two legs, a bar with two horns of which the right one did not fill."""
    if abs(x - 206) < 24 and abs(y - 40) < 24 and 20 <= math.hypot(x - 206, y - 40) < 23:
        return 4  # the inspector's ring
    bar_y = 44.0 + 0.0011 * (x - 120) ** 2
    end = 22 <= x <= 196 and abs(y - bar_y) <= 8.5 - 0.0003 * (x - 120) ** 2
    legs = 64 <= y - 0 <= 104 and (abs(x - 90) <= 9 or abs(x - 150) <= 9)
    neck = 44 <= y < 64 and (abs(x - 90) <= 12 or abs(x - 150) <= 12)
    base = 104 <= y <= 118 and 58 <= x <= 182
    if end or legs or neck or base:
        return 2 if (end and y < bar_y - 3) or (base and y < 108) else 1
    if 118 < y <= 122 and 58 <= x <= 184:
        return 3
    return 0
