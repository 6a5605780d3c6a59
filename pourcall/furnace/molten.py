"""Whether the metal is molten, and not only what touches the probe. From the trace of a probe left in the pot.

Between lumps a tip reads pot wall and pool, tens of degrees above metal that has hardly begun to melt, and rises there
as smoothly as a bath. Two things no such trace has: the heat of melting gone in, which at the pace of the solid metal
before takes its minutes, and after that a rise as free as a liquid's. Pure; thresholds are ours, tuned on one simulated
plant (lumped).
"""

from collections import deque
from collections.abc import Iterable, Sequence

from pourcall.metal.heat.curve import HeatCurve

RATE_S = 45.0  # a rate is told from so much of the trace: longer lags, shorter is noise
SOLID_BAND_C = 150.0  # so far below the beginning of melting the pace of the solid is taken
LEAST_SHARE = 0.4  # of the heat of melting, at that pace, before metal may be molten
ADDED_SHARE = 0.3  # the same of cold metal added later, which may have been told too heavy
FREE_SHARE = 0.35  # of the pace of the solid, in heat
FREE_C_PER_S = 4.0 / 60.0  # at least; a wall creeps slower
FREE_S = 15.0  # so long
ABOVE_C = 2.0  # the liquidus, by the sheet
SURE_C, SURE_S = 15.0, 90.0  # so far above it for so long with nothing known of before
MIXES_S = 240.0  # cold metal in the bath: so long no line is drawn on, and what is read is not all that is in the pot


class TraceEnd:
    """The last minute of a probe that stays in the metal: temperature and rate, the sheath's lag taken off."""

    def __init__(self, sheath_s: float) -> None:
        self._sheath_s = sheath_s
        self._seen: deque[tuple[float, float]] = deque()

    def add(self, at_s: float, reading_c: float) -> None:
        """One reading, about one a second."""
        seen = self._seen
        if seen and (at_s - seen[-1][0] > 12.0 or at_s < seen[-1][0]):
            seen.clear()  # a line through a gap is none
        seen.append((at_s, reading_c))
        while at_s - seen[0][0] > RATE_S:
            seen.popleft()

    def copy(self) -> "TraceEnd":
        """As it stands."""
        other = TraceEnd(self._sheath_s)
        other._seen = deque(self._seen)
        return other

    @property
    def at_s(self) -> float | None:
        """Of the last reading."""
        return self._seen[-1][0] if self._seen else None

    def clear(self) -> None:
        """What comes is not a continuation of what was."""
        self._seen.clear()

    @property
    def rate_c_per_s(self) -> float | None:
        """By least squares; None: too little was seen."""
        seen = self._seen
        if len(seen) < 4 or seen[-1][0] - seen[0][0] < 0.6 * RATE_S:
            return None
        return slope(seen)

    def metal_c(self) -> float | None:
        """The end of the line, and what the sheath is behind it; None: too little was seen."""
        rate = self.rate_c_per_s
        if rate is None:
            return None
        seen = self._seen
        mean_s = sum(at for at, _ in seen) / len(seen)
        mean_c = sum(c for _, c in seen) / len(seen)
        lag_c = min(40.0, max(-40.0, rate * self._sheath_s))
        return mean_c + rate * (seen[-1][0] - mean_s) + lag_c

    def rising_to_c(self, mono_s: float, delay_s: float) -> float | None:
        """The line drawn on to so long after this moment; None: too little was seen, or it does not rise."""
        line_c, rate = self.metal_c(), self.rate_c_per_s
        if line_c is None or rate is None or rate <= 0.0:
            return None
        return line_c + rate * (mono_s - (self.at_s or mono_s) + delay_s)


def slope(seen: Iterable[tuple[float, float]]) -> float:
    """Of a straight line through (seconds, degC), degC a second."""
    points = list(seen)
    mean_s = sum(at for at, _ in points) / len(points)
    mean_c = sum(c for _, c in points) / len(points)
    over = sum((at - mean_s) ** 2 for at, c in points)
    return sum((at - mean_s) * (c - mean_c) for at, c in points) / over if over > 0.0 else 0.0


class MoltenWatch:
    """One melt. `add` every reading; `molten` says how it stands."""

    def __init__(self, metal: HeatCurve, sheath_s: float) -> None:
        self.metal, self.end = metal, TraceEnd(sheath_s)
        self.molten = False
        self._need_j = LEAST_SHARE * (metal.h_liquid - metal.h_solid)
        self._pace_w: float | None = None  # W/kg into solid metal, just before it melts
        self._given_j: float | None = None  # since melting began, at that pace
        self._free_s: float | None = None
        self._above_s: float | None = None
        self._fed = False  # it was molten when cold metal went in: the tip stands in a bath, not between lumps

    def add(self, at_s: float, reading_c: float, share: float) -> None:
        """share: of full power."""
        was_s = self.end.at_s
        self.end.add(at_s, reading_c)
        rate, metal = self.end.rate_c_per_s, self.metal
        if reading_c < metal.liquidus_c - ABOVE_C:
            self.molten, self._free_s, self._above_s, self._fed = False, None, None, False
        begins_c = metal.begins_c
        if self._given_j is None and reading_c < begins_c - 5.0:
            if rate is not None and rate > 0.0 and share > 0.0 and reading_c > begins_c - SOLID_BAND_C:
                pace_w = rate * metal.cp_before_melting
                self._pace_w = pace_w if self._pace_w is None else self._pace_w + 0.03 * (pace_w - self._pace_w)
        elif self._given_j is None:
            self._given_j = 0.0
        elif self._pace_w is not None and was_s is not None:
            self._given_j += share * self._pace_w * min(30.0, at_s - was_s)
        if not self.molten and reading_c > metal.liquidus_c + ABOVE_C:
            self._judge(at_s, reading_c, rate)

    def _judge(self, at_s: float, reading_c: float, rate: float | None) -> None:
        metal = self.metal
        if self._pace_w is None:
            sure = reading_c > metal.liquidus_c + SURE_C
            self._above_s = (self._above_s or at_s) if sure else None
            self.molten = self._above_s is not None and at_s - self._above_s >= SURE_S
            return
        least = max(FREE_C_PER_S, FREE_SHARE * self._pace_w / metal.cp_liquid)
        free = rate is not None and rate >= least and (self._given_j or 0.0) >= self._need_j
        self._free_s = (self._free_s or at_s) if free else None
        self.molten = self._free_s is not None and at_s - self._free_s >= FREE_S
        if self._fed:  # held at a little power it never rises freely again, and is molten all the same
            self._above_s = self._above_s or at_s
            self.molten = self.molten or at_s - self._above_s >= MIXES_S
        self._fed = self._fed and not self.molten

    @property
    def paced(self) -> bool:
        """Was it seen as solid, so that its melting can be reckoned."""
        return self._pace_w is not None

    def added(self, kg: float, into_kg: float) -> None:
        """Cold metal: its heat has to go in as well, and none that went in before it counts for it."""
        if self.molten:
            self._need_j, self._given_j, self._fed = 0.0, 0.0, True
        if self._given_j is not None:
            self._need_j += kg / max(into_kg, 0.01) * ADDED_SHARE * self.metal.h_liquid
        self.molten, self._free_s, self._above_s = False, None, None
        self.end.clear()

    def lost(self) -> None:
        """Nothing that was seen holds any more."""
        self.molten, self._free_s, self._above_s, self._fed = False, None, None, False
        self.end.clear()


def molten_from_s(
    metal: HeatCurve,
    sheath_s: float,
    times_s: Sequence[float],
    temps_c: Sequence[float],
    power: Sequence[tuple[float, float]],
    added: Sequence[tuple[float, float]] = (),
    charge_kg: float = 1.0,
) -> float | None:
    """When a recorded trace was first molten for good; None: never."""
    watch, since, share = MoltenWatch(metal, sheath_s), None, 0.0
    marks = sorted([(at, 0, level) for at, level in power] + [(at, 1, kg) for at, kg in added])
    place = 0
    for at_s, reading_c in zip(times_s, temps_c, strict=True):
        while place < len(marks) and marks[place][0] <= at_s:
            _, kind, value = marks[place]
            place += 1
            if kind == 0:
                share = 0.5 if value < 0.0 else value
            else:
                watch.added(value, charge_kg)
        watch.add(at_s, reading_c, share)
        since = (since or at_s) if watch.molten else None
    return since
