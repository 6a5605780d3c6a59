"""What every simulated furnace and probe offers, whatever its physics: crew, boards, scenarios and tests run on any.

No physics here, and none shared: each plant brings its own equations and parameters, from sources of its own. Which
furnaces there are, and how a plant and its probes are made of one, stands in sim.plant.kinds.
"""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class PotSpec:
    """A crucible of clay-graphite or silicon carbide."""

    mass_kg: float = 0.6
    cp_j_per_kg_k: float = 950.0
    outer_m2: float = 0.038  # 100 x 100 mm with its bottom
    mouth_m2: float = 0.005  # 80 mm mouth


@dataclass(frozen=True, slots=True)
class PlantStart:
    """Temperatures at the start, degC; a cold furnace is at the room's."""

    ambient_c: float = 20.0
    wall_c: float | None = None
    lining_c: float | None = None
    pot_c: float | None = None


COLD = PlantStart()


@dataclass(frozen=True, slots=True)
class ProbeMake:
    """How one probe is made and where it starts. `sheath`: a key of `probe.SHEATHS`; its physics are the plant's."""

    sheath: str
    dt_s: float
    start_c: float = 20.0
    place: str = "air"
    depth_mm: float = 50.0
    gain: float = 1.0
    noise_c: float = 0.1
    wander_c: float = 0.0  # slow pickup; what follows is for plants whose probes know it
    wander_s: float = 15.0
    burst_c: float = 0.0
    burst_share: float = 0.0
    sees_pot: float = 0.3  # between solid pieces: share of the pot's wall in what the tip feels


class FurnaceFacts(Protocol):
    """What a person knows of any furnace."""

    @property
    def name(self) -> str:
        """As a person would call it."""
        ...

    @property
    def fuel(self) -> bool:
        """Gas or oil, not electric."""
        ...

    @property
    def rating_c(self) -> float:
        """As its plate and the settings say."""
        ...

    @property
    def low_share(self) -> float:
        """What the knob's "low" is for `set_power`."""
        ...


class SimPlant(Protocol):
    """The true state of a shop. Call the verbs between steps, then `step()`; read the attributes. Degrees Celsius."""

    @property
    def furnace(self) -> FurnaceFacts:
        """The furnace as data."""
        ...

    @property
    def t_s(self) -> float:
        """Seconds since the start."""
        ...

    @property
    def ambient_c(self) -> float:
        """The room."""
        ...

    @property
    def metal_c(self) -> float:
        """Bulk of the bath, as if stirred now; of the pieces while there is no bath; of an empty pot the pot."""
        ...

    @property
    def liquid_fraction(self) -> float:
        """Of all metal in the pot, 0 to 1."""
        ...

    @property
    def mass_kg(self) -> float:
        """Metal in the pot."""
        ...

    @property
    def lump_kg(self) -> float:
        """Of metal added later: what still lies solid in the bath."""
        ...

    @property
    def pot_c(self) -> float:
        """The pot's wall."""
        ...

    @property
    def wall_c(self) -> float:
        """The hot face, that is the chamber."""
        ...

    @property
    def terminals_c(self) -> float:
        """Where the thermocouples end: the room, warmed slowly by the furnace."""
        ...

    @property
    def power_share(self) -> float:
        """As ordered, 0 to 1."""
        ...

    @property
    def power_w(self) -> float:
        """Given now, after the furnace's own controller."""
        ...

    @property
    def lid_open(self) -> bool:
        """Is the lid off."""
        ...

    @property
    def lifted(self) -> bool:
        """Is the pot out of the furnace."""
        ...

    @property
    def pouring(self) -> bool:
        """Is metal leaving the pot now."""
        ...

    @property
    def poured_kg(self) -> float:
        """Since the start."""
        ...

    @property
    def supplied_j(self) -> float:
        """Electric work or heat of the fuel since the start."""
        ...

    @property
    def lost_j(self) -> float:
        """Heat to the room since the start."""
        ...

    @property
    def poured_j(self) -> float:
        """Heat that left with the metal."""
        ...

    def set_lid(self, open_: bool) -> None:
        """Open or shut."""
        ...

    def set_power(self, share: float) -> None:
        """Knob, panel or burner: 0 off, 1 high, the furnace's `low_share` low."""
        ...

    def set_faults(self, *, welded_on: bool, element_broken: bool, strength: float = 1.0) -> None:
        """What is broken now; `strength`: share of the ordered power that comes."""
        ...

    def add(self, kg: float, temp_c: float | None = None) -> None:
        """Solid metal into the pot, at room temperature unless told. Raises ValueError for no mass."""
        ...

    def skim(self, kg: float) -> None:
        """Dross off the bath, and the bath stirred by it."""
        ...

    def stir(self) -> None:
        """Evens the bath."""
        ...

    def lift(self) -> None:
        """The pot leaves the furnace."""
        ...

    def put_back(self) -> None:
        """The pot returns."""
        ...

    def pour(self, kg: float, rate_kg_per_s: float) -> None:
        """Begin to pour; ends by itself."""
        ...

    def step(self) -> None:
        """Advance by the fixed step."""
        ...

    def coast_peak_c(self, horizon_s: float = 900.0) -> float:
        """The highest temperature the metal would reach with the power cut now."""
        ...

    def stored_j(self) -> float:
        """Heat in all bodies above 25 degC."""
        ...

    def net_in_j(self) -> float:
        """What came in less what went out since the start, by the ledger; equals the change of `stored_j`."""
        ...


class SimProbe(Protocol):
    """One simulated thermocouple in its sheath. `place`: "melt", "chamber" or "air"."""

    @property
    def place(self) -> str:
        """Where a person holds it."""
        ...

    @property
    def junction_c(self) -> float:
        """Of the junction, free of noise and error."""
        ...

    @property
    def in_metal(self) -> bool:
        """Is the tip in the pot with metal in it."""
        ...

    def move(self, place: str, depth_mm: float | None = None) -> None:
        """To another place at once; the lag does the rest."""
        ...

    def step(self) -> None:
        """One plant step, with what surrounds the probe now."""
        ...

    def sense_c(self) -> float:
        """What the couple says of its junction now: its own error and the noise of one sample."""
        ...
