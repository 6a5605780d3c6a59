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
EXTRA = ("heat", "lump", "wall_c", "pot_c")  # charge's heat against sheet and scale; contact of a lump; start of both
HEAT_U = 0.05  # of a charge: scale, sheet and dross together (ours)
LUMP_W_PER_K, LUMP_U = 22.0, 0.5  # bath to one kilogram of cold metal lying in it, and how well that is known (ours)
LUMP_DOUBT_C = 6.0  # of a reading while it lies there
LUMP_STEP_S = 4.0
LUMP_KEEP = 0.8  # of its spread: the bath alone hardly tells how much of the lump is left
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41)
POWER = PARAMETERS.index("power_w")
# where they stand in a vector; then lump's enthalpy, wall, pot, bath's
HEAT, LUMP = len(PARAMETERS), len(PARAMETERS) + 1
LUMP_AT = LUMP + 1
LUMP_H = LUMP_AT


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
    """All of them.

    A vector: logarithms of PARAMETERS, heat, lump contact; then lump (J/kg), wall, pot (degC), bath (J/kg).

    Cold metal put into a bath with liquid in it lies there as a lump of its own until it is as hot as the bath
    or molten.
    """

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
                [
                    *logs, HEAT_U * z[size], math.log(LUMP_W_PER_K) + LUMP_U * z[size + 1], 0.0,
                    wall_c + wall_u_c * z[size + 2], pot_c + pot_u_c * z[size + 3], h,
                ]
            )  # fmt: skip
        self.lump_kg = 0.0
        self.lies = [False] * COUNT  # in this member the lump is still one
        self.furnaces = [Furnace.of(vector[:size]) for vector in self.vectors]
        self._first_spread = [self.spread(i) for i in range(size + 2)]

    def bath_kg(self, at: int, total_kg: float) -> float:
        """What is bath, as this member feels it: heavier where its heat is more than the sheet says."""
        lump_kg = self.lump_kg if self.lies[at] else 0.0
        return max(total_kg - lump_kg, 0.01) * math.exp(self.vectors[at][HEAT])

    def state(self, at: int) -> State:
        """Wall, pot and bath of one member."""
        vector = self.vectors[at]
        return State(vector[-3], vector[-2], vector[-1])

    def mixed(self, at: int, total_kg: float) -> tuple[State, float]:
        """The same once a lump has melted and mixed: what the heat in the pot comes to."""
        state, bath_kg = self.state(at), self.bath_kg(at, total_kg)
        if not self.lies[at]:
            return state, bath_kg
        lump_kg = self.lump_kg * math.exp(self.vectors[at][HEAT])
        kg = bath_kg + lump_kg
        return State(state.wall_c, state.pot_c, (state.h * bath_kg + self.vectors[at][LUMP_H] * lump_kg) / kg), kg

    def add(self, kg: float, temp_c: float, total_kg: float) -> None:
        """Cold metal: into a bath with liquid as a lump, else mixed at once. total_kg: without it."""
        h = self.metal.enthalpy(temp_c)
        for at, vector in enumerate(self.vectors):
            state, before_kg = self.mixed(at, total_kg)
            vector[-1], self.lies[at] = state.h, False
            if self.metal.liquid(state.h) > 0.05:
                self.lies[at], vector[LUMP_H] = True, h
            else:
                own_kg = kg * math.exp(vector[HEAT])
                vector[-1] = (state.h * before_kg + h * own_kg) / (before_kg + own_kg)
        self.lump_kg = kg

    def middle(self, total_kg: float) -> tuple[Furnace, State, float]:
        """The mean of all, lumps mixed in: furnace, state, mass."""
        size = len(PARAMETERS)
        logs = [sum([vector[k] for vector in self.vectors]) / COUNT for k in range(size)]
        both = [self.mixed(at, total_kg) for at in range(COUNT)]
        wall, pot, h = (sum([state[k] for state, _ in both]) / COUNT for k in range(3))
        return Furnace.of(logs), State(wall, pot, h), sum([kg for _, kg in both]) / COUNT

    def spread(self, at: int) -> float:
        """Standard deviation of one entry."""
        mean = sum(vector[at] for vector in self.vectors) / COUNT
        return math.sqrt(sum((vector[at] - mean) ** 2 for vector in self.vectors) / COUNT)

    def advance(self, mass_kg: float, level: float | None, room_c: float, seconds: float) -> None:
        """Time passes.

        level: share of full power, -1 for the furnace's own "low", None for not known (taken for full).
        """
        for at, (vector, furnace) in enumerate(zip(self.vectors, self.furnaces, strict=True)):
            share = furnace.low_share if level == -1.0 else 1.0 if level is None else level
            left_s = seconds
            while left_s > 1e-9:
                step_s = min(left_s, LUMP_STEP_S) if self.lies[at] else left_s
                bath_kg = self.bath_kg(at, mass_kg)
                vector[-3:] = advance(furnace, self.metal, self.state(at), bath_kg, share, room_c, step_s)
                if self.lies[at]:
                    self._heat_lump(at, bath_kg, step_s)
                left_s -= step_s

    def _heat_lump(self, at: int, bath_kg: float, seconds: float) -> None:
        """Heat from the bath to the lump in it; molten, or as hot as the bath, it is bath."""
        vector, metal = self.vectors[at], self.metal
        lump_kg = self.lump_kg * math.exp(vector[HEAT])
        gap = metal.temp_c(vector[-1]) - metal.temp_c(vector[LUMP_H])
        heat_j = math.exp(vector[LUMP]) * (0.2 + 0.8 * metal.liquid(vector[-1])) * math.sqrt(lump_kg) * gap * seconds
        # never further than to one temperature
        most_j = 0.5 * abs(gap) * metal.cp_solid * lump_kg * bath_kg / (lump_kg + bath_kg)
        heat_j = max(-most_j, min(most_j, heat_j))
        vector[LUMP_H] += heat_j / lump_kg
        vector[-1] -= heat_j / bath_kg
        if vector[LUMP_H] >= metal.h_liquid or metal.temp_c(vector[LUMP_H]) >= metal.temp_c(vector[-1]) - 2.0:
            state, _ = self.mixed(at, bath_kg / math.exp(vector[HEAT]) + self.lump_kg)
            vector[-1], vector[LUMP_H], self.lies[at] = state.h, state.h, False

    def doubt(self, seconds: float, *, wall_c: float, power: float) -> None:
        """What the model leaves out lets wall, pot and power drift: deviations grow by so much a square root
        of a minute.
        """
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
            reads_c(furnace, self.metal, self.state(at), self.bath_kg(at, mass_kg), self.sheath_s)
            for at, furnace in enumerate(self.furnaces)
        ]
        doubt_c = sum([one[1] for one in seen]) / COUNT
        lump_c = LUMP_DOUBT_C * sum(self.lies) / COUNT
        return self._update([one[0] for one in seen], reading_c, math.hypot(sigma_c, doubt_c, lump_c))

    def expected_c(self, mass_kg: float) -> float:
        """What a probe in the pot should read, by the mean of all."""
        return (
            sum(
                [
                    reads_c(furnace, self.metal, self.state(at), self.bath_kg(at, mass_kg), self.sheath_s)[0]
                    for at, furnace in enumerate(self.furnaces)
                ]
            )
            / COUNT
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
        lying = any(self.lies)
        for at in range(len(self.vectors[0])):
            if at == LUMP_AT and not lying:
                continue
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
            vector[LUMP_H] = max(vector[LUMP_H], self.metal.enthalpy(-40.0))
            self.furnaces[k] = Furnace.of(vector[:size])
        return surprise / math.sqrt(total)

    def _keep_spread(self) -> None:
        """One melt's readings err together, so they never narrow a parameter below a quarter of where it began."""
        for at, first in enumerate(self._first_spread):
            floor = (LUMP_KEEP if at == LUMP else 0.25) * first
            now = self.spread(at)
            if 0.0 < now < floor:
                mean = sum(vector[at] for vector in self.vectors) / COUNT
                scale = floor / now
                for vector in self.vectors:
                    vector[at] = mean + scale * (vector[at] - mean)
