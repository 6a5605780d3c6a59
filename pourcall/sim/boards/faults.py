"""What can be broken on purpose, as words switched while running. "sound" is the word for nothing broken.

Each word belongs to one level: `plant` (furnace and power), `sensor` (couple and its wires), `amplifier` (the chip) or
`link` (bytes on their way). `Faults` holds what is switched on; plant, amplifier and link each ask it for their own.
Not here: what the system must do about a fault.
"""

from dataclasses import dataclass
from random import Random

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.sim.plant.interface import SimPlant

WORDS: dict[str, tuple[str, float, str]] = {
    # word: (level, usual size, what it does with that size)
    "welded": ("plant", 1.0, "power stays on whatever is ordered"),
    "element_broken": ("plant", 1.0, "no power whatever is ordered"),
    "weak_power": ("plant", 0.58, "only this share of the ordered power, as with a phase missing"),
    "open": ("sensor", 1.0, "wire broken: the chip says so and gives no value"),
    "short": ("sensor", 1.0, "wire on ground: the chip says so"),
    "short_supply": ("sensor", 1.0, "wire on the supply: the chip says so"),
    "flickering": ("sensor", 3.0, "open every other period of this many seconds"),
    "biased": ("sensor", 80.0, "reads this many degC too much, at once"),
    "drifting": ("sensor", 0.2, "reads more and more too much: degC a second"),
    "half_way": ("sensor", 0.2, "wires touch outside: room plus this share of the rise"),
    "reversed": ("sensor", 1.0, "polarity swapped: the emf changes sign"),
    "spike": ("sensor", 300.0, "one sample this many degC too high, then switches itself off"),
    "hum": ("sensor", 5.0, "mains hum: this many degC up and down"),
    "frozen": ("amplifier", 1.0, "the last value again and again"),
    "dead_zero": ("amplifier", 1.0, "the bus reads all zeros"),
    "dead_ones": ("amplifier", 1.0, "the bus reads all ones"),
    "restarted": ("amplifier", 1.0, "one sample flagged restarted, then switches itself off"),
    "cold_junction_hot": ("amplifier", 70.0, "amplifier this many degC warm"),
    "cold_junction_frozen": ("amplifier", 1.0, "cold junction stays where it was"),
    "silent": ("link", 1.0, "no bytes"),
    "scrambled": ("link", 1.0, "random bytes in place of frames"),
    "cut": ("link", 0.3, "this share of the frames loses its last bytes"),
    "sparse": ("link", 3.0, "one frame in this many"),
    "late": ("link", 10.0, "frames held back and delivered in a burst every so many seconds"),
    "flood": ("link", 4096.0, "bytes without a line end, this many a sample"),
}
LEVELS = ("plant", "sensor", "amplifier", "link")


@dataclass(slots=True)
class _On:
    size: float
    since_s: float


class Faults:
    """What is broken now. `plant`, `sensor`, `amplifier`, `link`: word -> what is on; empty dicts cost nothing."""

    __slots__ = ("amplifier", "link", "plant", "rng", "sensor", "word")

    def __init__(self, seed: int = 0) -> None:
        self.plant: dict[str, _On] = {}
        self.sensor: dict[str, _On] = {}
        self.amplifier: dict[str, _On] = {}
        self.link: dict[str, _On] = {}
        self.rng = Random(seed)
        self.word = "sound"

    def set(self, word: str, *, at_s: float = 0.0, size: float | None = None) -> None:
        """Switch a fault on, or everything off with "sound". Several may be on. Raises BadInput for no such word."""
        if word == "sound":
            for level in LEVELS:
                getattr(self, level).clear()
        elif word in WORDS:
            level, usual, _ = WORDS[word]
            getattr(self, level)[word] = _On(usual if size is None else size, at_s)
        else:
            known = ", ".join(("sound", *WORDS))
            raise BadInput(
                tell("sim.unknown", simulated="fault", typed=word), remedy=tell("error.use_one", known=known)
            )
        self.word = word

    def clear(self, word: str) -> None:
        """Switch one fault off."""
        for level in LEVELS:
            getattr(self, level).pop(word, None)

    def active(self) -> list[str]:
        """The words that are on."""
        return [word for level in LEVELS for word in getattr(self, level)]

    def apply_to_plant(self, plant: SimPlant, ordered_share: float) -> None:
        """Power as the broken furnace obeys it; without a fault, as ordered."""
        weak = self.plant.get("weak_power")
        plant.set_faults(
            welded_on="welded" in self.plant,
            element_broken="element_broken" in self.plant,
            strength=weak.size if weak else 1.0,
        )
        plant.set_power(ordered_share)

    def bend(self, sense_c: float, cold_c: float, t_s: float) -> tuple[float, int]:
        """(what the couple seems to be at, SampleFlag bits) under the sensor faults that are on."""
        flags = 0
        for word, on in list(self.sensor.items()):
            if word == "biased":
                sense_c += on.size
            elif word == "drifting":
                sense_c += on.size * (t_s - on.since_s)
            elif word == "half_way":
                sense_c = cold_c + on.size * (sense_c - cold_c)
            elif word == "hum":
                sense_c += on.size * (1.0 if self.rng.random() < 0.5 else -1.0) * self.rng.uniform(0.6, 1.0)
            elif word == "spike":
                sense_c += on.size
                del self.sensor["spike"]
            elif word == "open" or (word == "flickering" and int((t_s - on.since_s) / on.size) % 2 == 0):
                flags |= 1
            elif word == "short":
                flags |= 2
            elif word == "short_supply":
                flags |= 4
        return sense_c, flags
