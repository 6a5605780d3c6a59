"""Room: an ensemble of furnaces that all could be the one in the shop; readings pull them together. Pure, repeatable.

Thirty-two models, drawn once from the learned parameters by a fixed design whose sample covariance is exactly the one
asked for (no chance: the same melt gives the same bytes). Readings are taken in by the deterministic ensemble Kalman
filter (Sakov and Oke, Tellus A 60 (2008) 361: the mean moves by the full gain, deviations by half of it). The learned
parameters stay frozen: what moves is the belief about today's melt, its wall, its pot, its power.
"""

import math
from collections.abc import Sequence

from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.daemon.foresight.model import Furnace, Metal, State, advance, reads_c

COUNT = 32
EXTRA = ("heat", "wall_c", "pot_c")  # charge's heat against sheet and scale; start of wall and pot
HEAT_U = 0.05  # of a charge: scale, sheet and dross together (ours)
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41)
POWER = PARAMETERS.index("power_w")


def normal_quantile(p: float) -> float:
    """Inverse of the standard normal distribution, by bisection on erf; 0 < p < 1."""
    low, high = -8.0, 8.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if 0.5 * (1.0 + math.erf(middle / math.sqrt(2.0))) < p:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def cholesky(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Lower triangle L with L L' = matrix; a semi-definite one is taken with zeros where nothing is left."""
    size = len(matrix)
    lower = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            rest = matrix[i][j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            if i == j:
                lower[i][i] = math.sqrt(rest) if rest > 1e-14 else 0.0
            else:
                lower[i][j] = rest / lower[j][j] if lower[j][j] > 0.0 else 0.0
    return lower


def _halton(index: int, base: int) -> float:
    share, value = 1.0, 0.0
    while index:
        share /= base
        value += share * (index % base)
        index //= base
    return value


def _design(size: int, count: int) -> list[list[float]]:
    """`count` points of `size` standard normals with mean 0 and covariance exactly the unit matrix."""
    points = [[normal_quantile(_halton(41 + 7 * k, _PRIMES[d])) for d in range(size)] for k in range(count)]
    for d in range(size):
        mean = sum(point[d] for point in points) / count
        for point in points:
            point[d] -= mean
    cov = [[sum(p[i] * p[j] for p in points) / count for j in range(size)] for i in range(size)]
    lower = cholesky(cov)
    made = []
    for point in points:  # solve L z = point
        z: list[float] = []
        for i in range(size):
            z.append((point[i] - sum(lower[i][k] * z[k] for k in range(i))) / lower[i][i])
        made.append(z)
    return made


_DESIGN: list[list[float]] = []


def design() -> list[list[float]]:
    """The one design, made at its first use (20 ms)."""
    if not _DESIGN:
        _DESIGN.extend(_design(len(PARAMETERS) + len(EXTRA), COUNT))
    return _DESIGN


class Members:
    """All of them. Vectors are the logarithms of PARAMETERS, of heat, then wall, pot (degC) and enthalpy (J/kg)."""

    def __init__(
        self, model: FurnaceModel, metal: Metal, *, wall_c: float, wall_u_c: float, pot_c: float, pot_u_c: float,
        metal_c: float,
    ) -> None:  # fmt: skip
        """Start of a melt: how hot wall and pot are, with standard uncertainties, and the charge."""
        self.metal, self.sheath_s = metal, model.sheath_s
        size = len(PARAMETERS)
        lower = cholesky(model.cov)
        h = metal.enthalpy(metal_c)
        self.vectors: list[list[float]] = []
        for z in design():
            logs = [model.mean[i] + sum(lower[i][k] * z[k] for k in range(i + 1)) for i in range(size)]
            self.vectors.append(
                [*logs, HEAT_U * z[size], wall_c + wall_u_c * z[size + 1], pot_c + pot_u_c * z[size + 2], h]
            )
        self.furnaces = [Furnace.of(vector[:size]) for vector in self.vectors]
        self._first_spread = [self.spread(i) for i in range(size + 1)]

    def mass_kg(self, vector: list[float], mass_kg: float) -> float:
        """The charge as this member feels it: heavier where its heat is more than the sheet says."""
        return mass_kg * math.exp(vector[len(PARAMETERS)])

    def state(self, vector: list[float]) -> State:
        """Wall, pot and charge of one member."""
        return State(vector[-3], vector[-2], vector[-1])

    def middle(self) -> list[float]:
        """The mean of all."""
        return [sum(column) / COUNT for column in zip(*self.vectors, strict=True)]

    def spread(self, at: int) -> float:
        """Standard deviation of one entry."""
        mean = sum(vector[at] for vector in self.vectors) / COUNT
        return math.sqrt(sum((vector[at] - mean) ** 2 for vector in self.vectors) / COUNT)

    def advance(self, mass_kg: float, level: float | None, room_c: float, seconds: float) -> None:
        """Time passes. level: share of full power, -1 for the furnace's own "low", None for not known (taken for full)."""
        for vector, furnace in zip(self.vectors, self.furnaces, strict=True):
            share = furnace.low_share if level == -1.0 else 1.0 if level is None else level
            state = advance(
                furnace, self.metal, self.state(vector), self.mass_kg(vector, mass_kg), share, room_c, seconds
            )
            vector[-3:] = state

    def doubt(self, seconds: float, *, wall_c: float, power: float) -> None:
        """What the model leaves out lets wall, pot and power drift: deviations grow by so much a square root of a minute."""
        grow = seconds / 60.0
        for at, amount in ((-3, wall_c), (-2, 0.3 * wall_c), (POWER, power)):
            mean = sum(vector[at] for vector in self.vectors) / COUNT
            variance = sum((vector[at] - mean) ** 2 for vector in self.vectors) / COUNT
            if variance <= 0.0:
                continue
            scale = math.sqrt(1.0 + amount * amount * grow / variance)
            for vector in self.vectors:
                vector[at] = mean + scale * (vector[at] - mean)

    def take(self, reading_c: float, sigma_c: float, mass_kg: float) -> float:
        """One reading of a probe in the pot; returns by how many standard deviations it surprised."""
        seen = [
            reads_c(furnace, self.metal, self.state(vector), self.mass_kg(vector, mass_kg), self.sheath_s)
            for vector, furnace in zip(self.vectors, self.furnaces, strict=True)
        ]
        return self._update(
            [one[0] for one in seen], reading_c, math.hypot(sigma_c, sum(one[1] for one in seen) / COUNT)
        )

    def take_chamber(self, reading_c: float, sigma_c: float, wall_share: float) -> float:
        """One reading of a probe in the chamber: part wall, part pot."""
        seen = [wall_share * vector[-3] + (1.0 - wall_share) * vector[-2] for vector in self.vectors]
        return self._update(seen, reading_c, sigma_c)

    def _update(self, seen: list[float], reading_c: float, sigma_c: float) -> float:
        mean_seen = sum(seen) / COUNT
        off = [value - mean_seen for value in seen]
        total = sum(value * value for value in off) / COUNT + sigma_c * sigma_c
        surprise = reading_c - mean_seen
        limited = max(-4.0, min(4.0, surprise / math.sqrt(total))) * math.sqrt(total)  # no reading may throw the melt
        for at in range(len(self.vectors[0])):
            column = [vector[at] for vector in self.vectors]
            mean = sum(column) / COUNT
            gain = sum((value - mean) * o for value, o in zip(column, off, strict=True)) / COUNT / total
            if gain == 0.0:
                continue
            for vector, o in zip(self.vectors, off, strict=True):
                vector[at] += gain * (limited - 0.5 * o)
        self._keep_spread()
        size = len(PARAMETERS)
        for k, vector in enumerate(self.vectors):
            vector[-3] = min(max(vector[-3], -40.0), 2000.0)
            vector[-2] = min(max(vector[-2], -40.0), 2000.0)
            self.furnaces[k] = Furnace.of(vector[:size])
        return surprise / math.sqrt(total)

    def _keep_spread(self) -> None:
        """One melt's readings err together, so they never narrow a parameter below a quarter of where it began."""
        for at, first in enumerate(self._first_spread):
            floor = 0.25 * first
            now = self.spread(at)
            if 0.0 < now < floor:
                mean = sum(vector[at] for vector in self.vectors) / COUNT
                scale = floor / now
                for vector in self.vectors:
                    vector[at] = mean + scale * (vector[at] - mean)
