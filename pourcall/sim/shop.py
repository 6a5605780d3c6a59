"""One simulated shop: plant, probes, amplifiers, operator, faults, stepped together. Time is a count of steps.

`Scenario` is everything a run depends on, as data; `Shop` runs it; `run` yields what enters the engine together with
the truth. The same Shop stands behind the boards that speak bytes (sim.board, sim.ptyboard).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random
from typing import NamedTuple

import msgspec

from pourcall.contract.frames import BoardStatus, Sample
from pourcall.contract.inputs import BoardStatusIn, Command, CommandIn, Input, LinkIn, LinkKind, SampleIn, TickIn
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place
from pourcall.sim.boards.amp import Amp
from pourcall.sim.boards.faults import Faults
from pourcall.sim.plant.interface import PlantStart, PotSpec, ProbeMake
from pourcall.sim.plant.kinds import AnyFurnace, plant_of, probe_of
from pourcall.sim.plant.metal import SimAlloy
from pourcall.sim.scenarios.crew import ALL_KEYS, Crew
from pourcall.sim.scenarios.script import Step

BOARD = "bench"
START_MONO_S = 5000.0
START_UTC_S = 1_777_709_400.0  # 2026-05-02 08:10 UTC


@dataclass(frozen=True, slots=True)
class ProbeSetup:
    """One probe, as it is wired and as the settings would describe it."""

    name: str  # "metal"
    place: Place  # what the settings say
    sheath: str
    channel: str = "1"
    tc_type: str = "K"  # as the chip and the settings have it
    couple: str = ""  # what is truly wired to it, where that is another type
    chip: str = "max31855"
    start: str = "air"  # where it truly is at the start: melt, chamber, air
    depth_mm: float = 50.0
    gain: float = 1.0
    noise_c: float = 0.1
    offset_uv: float = 0.0
    cold_error_c: float = 0.0
    wander_c: float = 0.0  # slow pickup on the leads, and bursts of it while the power is on (plants that know it)
    wander_s: float = 15.0
    burst_c: float = 0.0
    burst_share: float = 0.0
    sees_pot: float = 0.3


class FaultAt(NamedTuple):
    """A fault word at a simulated time, whatever the operator is doing. `size` None: the word's usual size."""

    at_s: float
    word: str
    size: float | None = None


@dataclass(frozen=True, slots=True)
class Scenario:
    """A run as data. Same scenario, same run, to the last bit."""

    name: str
    kind: str  # left_in_thin, left_in_tube, dip, chamber, two_probes
    seed: int
    alloy: SimAlloy  # what is truly in the pot; the plans hold the sheet
    furnace: AnyFurnace
    pot: PotSpec
    start: PlantStart
    probes: tuple[ProbeSetup, ...]  # the operator moves the first
    steps: tuple[Step, ...]
    plans: tuple[MeltPlan, ...]
    rate_hz: float = 2.0
    keys: frozenset[str] = ALL_KEYS
    stream_loss_c: float = 6.0  # of the metal between pot and mould lip
    boot_ms: int = 0
    board_status: bool = False  # the board sends its own report once a second
    tail_s: float = 120.0  # goes on after the operator is done
    limit_s: float = 14_400.0
    mark_delay_s: float = 4.0
    hand_s: tuple[float, float] = (0.0, 0.0)  # from seeing that the power must change to the hand on the knob
    forgets: float = 0.0  # chance that a mark is never made
    lost_share: float = 0.0  # of the samples, never sent
    faults: tuple[FaultAt, ...] = ()  # in order of time; "sound" mends everything
    tags: tuple[str, ...] = field(default=())

    @property
    def furnace_kind(self) -> str:
        """As the settings say it: electric, fuel."""
        return "fuel" if self.furnace.fuel else "electric"


class Truth(msgspec.Struct, frozen=True, gc=False):
    """What is really so at one moment, which no instrument sees. Temperatures in degC."""

    t_s: float
    metal_c: float | None  # bulk of the bath; None with an empty pot
    liquid_fraction: float
    mass_kg: float
    lump_kg: float
    pot_c: float
    wall_c: float
    power_w: float
    power_level: str  # as the operator set it
    lid_open: bool
    lifted: bool
    pouring: bool
    poured_kg: float
    lip_c: float | None  # at the mould lip, if poured now
    junction_c: float  # of the first probe, free of noise and error
    in_metal: bool  # first probe's tip, in the pot with metal in it
    place: str  # of the first probe: melt, chamber, air
    phase: str  # the operator's own word for it
    melt: str  # name of the plan in work
    unmarked: int  # marks that were due by the person's habit and never made


class TruthAndSample(NamedTuple):
    """One input to the engine and the truth at its moment."""

    item: Input
    truth: Truth


class Shop:
    """Everything of one scenario, stepped together by the plant's fixed step."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        rng = Random(scenario.seed * 1_000_003 + 7)
        self.rng = rng
        rate_hz = scenario.rate_hz
        self.steps_per_sample = 2 if rate_hz <= 1.0 else 1
        dt_s = 1.0 / (rate_hz * self.steps_per_sample)
        self.dt_s = dt_s
        self.plant = plant_of(scenario.furnace, scenario.pot, scenario.alloy, dt_s=dt_s, start=scenario.start)
        self.faults = Faults(scenario.seed)
        room_c = scenario.start.ambient_c
        self.probes, self.amps = [], []
        for setup in scenario.probes:
            start_c = {"chamber": self.plant.wall_c, "melt": self.plant.pot_c}.get(setup.start, room_c)
            self.probes.append(
                probe_of(
                    self.plant,
                    ProbeMake(
                        setup.sheath,
                        dt_s=dt_s,
                        start_c=start_c,
                        place=setup.start,
                        depth_mm=setup.depth_mm,
                        gain=setup.gain,
                        noise_c=setup.noise_c,
                        wander_c=setup.wander_c,
                        wander_s=setup.wander_s,
                        burst_c=setup.burst_c,
                        burst_share=setup.burst_share,
                        sees_pot=setup.sees_pot,
                    ),
                    rng,
                )
            )
            self.amps.append(
                Amp(
                    setup.chip,
                    channel=setup.channel,
                    tc_type=setup.tc_type,
                    couple=setup.couple,
                    boot_ms=scenario.boot_ms,
                    faults=self.faults,
                    offset_uv=setup.offset_uv,
                    cold_error_c=setup.cold_error_c,
                )
            )
        self.crew = Crew(
            scenario.steps,
            self.plant,
            self.probes[0],
            plans=scenario.plans,
            keys=scenario.keys,
            faults=self.faults,
            mark_delay_s=scenario.mark_delay_s,
            hand_s=scenario.hand_s,
            forgets=scenario.forgets,
            rng=Random(scenario.seed * 999_983 + 3),
        )
        self.n_steps = 0
        self._faults_left = sorted(scenario.faults, key=lambda fault: fault.at_s, reverse=True)
        self._done_s: float | None = None
        self._cold_phase = rng.uniform(0.0, 6.28)
        self._boot = rng.randrange(1, 1000)
        self._status_seq = 0

    @property
    def t_s(self) -> float:
        """Simulated seconds since the start."""
        return self.n_steps * self.dt_s

    @property
    def finished(self) -> bool:
        """The operator is done and the tail is over, or the limit is reached."""
        if self._done_s is None and self.crew.done:
            self._done_s = self.t_s
        over = self._done_s is not None and self.t_s >= self._done_s + self.scenario.tail_s
        return over or self.t_s >= self.scenario.limit_s

    def step(self) -> list[Command]:
        """One plant step; the keys pressed in it."""
        pressed = self.crew.act()
        while self._faults_left and self._faults_left[-1].at_s <= self.n_steps * self.dt_s:
            at_s, word, size = self._faults_left.pop()
            self.faults.set(word, at_s=at_s, size=size)
            self.crew.apply_power()
        self.plant.step()
        for probe in self.probes:
            probe.step()
        self.n_steps += 1
        return pressed

    def sample_due(self) -> bool:
        """Do the amplifiers convert after this step."""
        return self.n_steps % self.steps_per_sample == 0

    def cold_junction_c(self) -> float:
        """The terminals: room, warmed slowly by the furnace, drifting."""
        t_s = self.n_steps * self.dt_s
        return self.plant.terminals_c + 0.6 * math.sin(t_s / 700.0 + self._cold_phase)

    def samples(self) -> list[Sample]:
        """One conversion of every channel."""
        cold_c, t_s = self.cold_junction_c(), self.n_steps * self.dt_s
        made = [amp.sample(probe.sense_c(), cold_c, t_s) for amp, probe in zip(self.amps, self.probes, strict=True)]
        lost = self.scenario.lost_share
        return [sample for sample in made if self.rng.random() >= lost] if lost > 0.0 else made

    def board_status(self) -> BoardStatus:
        """The board's report: no relay of ours, so nothing applied."""
        self._status_seq += 1
        ms = (self.scenario.boot_ms + int(self.t_s * 1000.0)) & 0xFFFFFFFF
        return BoardStatus(self._status_seq, ms, self._boot, 0, 0, 0)

    def truth(self) -> Truth:
        """The true state now."""
        plant, probe, crew = self.plant, self.probes[0], self.crew
        mass_kg, metal_c = plant.mass_kg, plant.metal_c
        has_metal = mass_kg > 0.0
        return Truth(
            self.n_steps * self.dt_s,
            metal_c if has_metal else None,
            plant.liquid_fraction if has_metal else 0.0,
            mass_kg,
            plant.lump_kg,
            plant.pot_c,
            plant.wall_c,
            plant.power_w,
            crew.power_level,
            plant.lid_open,
            plant.lifted,
            plant.pouring,
            plant.poured_kg,
            metal_c - self.scenario.stream_loss_c if has_metal else None,
            probe.junction_c,
            probe.in_metal,
            probe.place,
            crew.phase,
            crew.melt,
            crew.unmarked,
        )


def run(scenario: Scenario, *, until_s: float | None = None) -> Iterator[TruthAndSample]:
    """The whole run: samples, ticks once a second, keys, link events, in order and numbered from 1.

    Link faults act on the decoded samples here (`scrambled` becomes the link's own event), on bytes in sim.board.
    """
    shop = Shop(scenario)
    rng, link = shop.rng, shop.faults.link
    seq = count = 0
    next_tick_s = 1.0
    end_s = math.inf if until_s is None else until_s
    held: list[tuple[float, Sample]] = []
    while not shop.finished and shop.n_steps * shop.dt_s < end_s:
        pressed = shop.step()
        t_s = shop.n_steps * shop.dt_s
        mono_s, utc_s = START_MONO_S + t_s, START_UTC_S + t_s
        truth = shop.truth()
        for command in pressed:
            seq += 1
            yield TruthAndSample(CommandIn(seq=seq, mono_s=mono_s, utc_s=utc_s, command=command), truth)
        if shop.n_steps % shop.steps_per_sample == 0:
            late_s = rng.random() * 0.02  # conversion, cable and scheduler
            for sample in shop.samples():
                count += 1
                if link:
                    if "late" in link:
                        held.append((t_s, sample))
                        continue
                    if (
                        "silent" in link
                        or "flood" in link
                        or ("sparse" in link and count % max(1, round(link["sparse"].size)))
                    ):
                        continue
                    if "scrambled" in link or ("cut" in link and rng.random() < link["cut"].size):
                        seq += 1
                        rubbish = rng.randbytes(24)
                        yield TruthAndSample(
                            LinkIn(
                                seq=seq,
                                mono_s=mono_s,
                                utc_s=utc_s,
                                board=BOARD,
                                kind=LinkKind.BAD_FRAMES,
                                count=1,
                                sample_hex=rubbish.hex(),
                                printable=0.37 if "scrambled" in link else 1.0,
                            ),
                            truth,
                        )
                        continue
                seq += 1
                yield TruthAndSample(
                    SampleIn(seq=seq, mono_s=mono_s + late_s, utc_s=utc_s + late_s, board=BOARD, sample=sample), truth
                )
            if held and ("late" not in link or t_s - held[0][0] >= link["late"].size):
                for taken_s, sample in held:
                    seq += 1
                    yield TruthAndSample(
                        SampleIn(
                            seq=seq,
                            mono_s=mono_s + late_s,
                            utc_s=utc_s + late_s,
                            board=BOARD,
                            sample=sample,
                            late_s=t_s - taken_s,
                        ),
                        truth,
                    )
                held.clear()
        if t_s >= next_tick_s - 1e-9:
            next_tick_s += 1.0
            if scenario.board_status and "silent" not in link:
                seq += 1
                yield TruthAndSample(
                    BoardStatusIn(
                        seq=seq, mono_s=mono_s + 0.03, utc_s=utc_s + 0.03, board=BOARD, status=shop.board_status()
                    ),
                    truth,
                )
            seq += 1
            yield TruthAndSample(TickIn(seq=seq, mono_s=mono_s + 0.04, utc_s=utc_s + 0.04), truth)
