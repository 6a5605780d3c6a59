"""An ensemble of furnaces that all could be the one in the shop; readings pull them together. Pure, repeatable.

Thirty-two models, drawn once from the learned parameters by a fixed design whose sample covariance is exactly the one
asked for (no chance: the same melt gives the same bytes). Readings are taken in by the deterministic ensemble Kalman
square root filter (Whitaker and Hamill, Monthly Weather Review 130 (2002) 1913, from memory: the mean moves by the full
gain, deviations by 1/(1 + sqrt(R/(P + R))) of it, which is the half of Sakov and Oke, Tellus A 60 (2008) 361, where a
reading says little). The learned parameters stay frozen: what moves is the state of today's melt: wall, pot, power.
"""

import math
from collections.abc import Sequence
from operator import mul

from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.furnace.model import Furnace, Load, State, integrate, predict_reading
from pourcall.metal.heat.curve import HeatCurve

COUNT = 32
EXTRA = ("heat", "lump", "wall_c", "pot_c")  # charge's heat against sheet and scale; contact of a lump; start of both
ANOTHER_STORY = 4.0  # standard deviations
MOVED_SD_C = 4.0
RATE_SIGMA_SHARE, RATE_SIGMA_C_PER_S = 0.2, 0.04  # of a rise told by the last minute; they err together
HEAT_U = 0.05  # of a charge: scale, sheet and dross together (ours)
LUMP_W_PER_K, LUMP_U = 22.0, 0.5  # bath to one kilogram of cold metal lying in it, and how well that is known (ours)
LUMP_SIGMA_C = 6.0  # of a reading while it lies there
LUMP_STEP_S, STEP_S = 5.0, 10.0
KEEP = 0.25  # of every spread: one melt's readings err together
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41)
SIZE = len(PARAMETERS)
POWER = PARAMETERS.index("power_w")
# columns: logarithms of PARAMETERS, then these; the last four are the state of today's melt
HEAT, LUMP, LUMP_H, WALL, POT, BATH = range(SIZE, SIZE + 6)
KEPT = LUMP + 1  # so many columns have a floor under their spread


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


class Ensemble:
    """All of them.

    A column for each unknown, an entry for each member: logarithms of PARAMETERS, heat, lump contact; then lump (J/kg),
    wall, pot (degC), bath (J/kg).

    Cold metal put into a bath with liquid in it lies there as a lump of its own until it is as hot as the bath
    or molten.
    """

    def __init__(
        self,
        model: FurnaceModel,
        metal: HeatCurve,
        *,
        wall_c: float,
        wall_u_c: float,
        pot_c: float,
        pot_u_c: float,
        metal_c: float,
    ) -> None:
        """Start of a melt: how hot wall and pot are, with standard uncertainties, and the charge."""
        self.metal, self.sheath_s = metal, model.sheath_s
        lower = cholesky(model.cov)
        h = metal.enthalpy(metal_c)
        zs = design()
        self.columns: list[list[float]] = [
            [model.mean[i] + sum(lower[i][k] * z[k] for k in range(i + 1)) for z in zs] for i in range(SIZE)
        ]
        self.columns += [
            [HEAT_U * z[SIZE] for z in zs],
            [math.log(LUMP_W_PER_K) + LUMP_U * z[SIZE + 1] for z in zs],
            [0.0] * COUNT,
            [wall_c + wall_u_c * z[SIZE + 2] for z in zs],
            [pot_c + pot_u_c * z[SIZE + 3] for z in zs],
            [h] * COUNT,
        ]
        self.lump_kg = 0.0
        self.lies = [False] * COUNT  # in this member the lump is still one
        self._variance = [self.spread(at) ** 2 for at in range(KEPT)]
        self._floor = [KEEP**2 * self._variance[at] for at in range(KEPT)]
        self._unpack_state()

    def _unpack_state(self) -> None:
        """Furnaces and masses from the columns as they stand."""
        logs = [[math.exp(v if -9.0 < v < 14.0 else min(14.0, max(-9.0, v))) for v in c] for c in self.columns[:SIZE]]
        self.furnaces = [Furnace._make(row) for row in zip(*logs, strict=True)]
        self._heavier = [math.exp(v) for v in self.columns[HEAT]]

    def bath_kg(self, at: int, total_kg: float) -> float:
        """What is bath, as this member feels it: heavier where its heat is more than the sheet says."""
        lump_kg = self.lump_kg if self.lies[at] else 0.0
        return max(total_kg - lump_kg, 0.01) * self._heavier[at]

    def state(self, at: int) -> State:
        """Wall, pot and bath of one member."""
        return State(self.columns[WALL][at], self.columns[POT][at], self.columns[BATH][at])

    def mixed(self, at: int, total_kg: float) -> tuple[State, float]:
        """The same once a lump has melted and mixed: what the heat in the pot comes to."""
        state, bath_kg = self.state(at), self.bath_kg(at, total_kg)
        if not self.lies[at]:
            return state, bath_kg
        lump_kg = self.lump_kg * self._heavier[at]
        kg = bath_kg + lump_kg
        return State(state.wall_c, state.pot_c, (state.h * bath_kg + self.columns[LUMP_H][at] * lump_kg) / kg), kg

    def add(self, kg: float, temp_c: float, total_kg: float) -> None:
        """Cold metal: into a bath with liquid as a lump, else mixed at once. total_kg: without it."""
        h = self.metal.enthalpy(temp_c)
        bath, lump = self.columns[BATH], self.columns[LUMP_H]
        for at in range(COUNT):
            state, before_kg = self.mixed(at, total_kg)
            bath[at], self.lies[at] = state.h, False
            if self.metal.liquid(state.h) > 0.05:
                self.lies[at], lump[at] = True, h
            else:
                own_kg = kg * self._heavier[at]
                bath[at] = (state.h * before_kg + h * own_kg) / (before_kg + own_kg)
        self.lump_kg = kg

    def middle(self, total_kg: float) -> tuple[Furnace, State, float]:
        """The mean of all, lumps mixed in: furnace, state, mass."""
        columns = self.columns
        furnace = Furnace.of([sum(column) / COUNT for column in columns[:SIZE]])
        wall, pot = sum(columns[WALL]) / COUNT, sum(columns[POT]) / COUNT
        if not any(self.lies):
            bath_kg = max(total_kg, 0.01) * sum(self._heavier) / COUNT
            return furnace, State(wall, pot, sum(columns[BATH]) / COUNT), bath_kg
        both = [self.mixed(at, total_kg) for at in range(COUNT)]
        return furnace, State(wall, pot, sum([s.h for s, _ in both]) / COUNT), sum([kg for _, kg in both]) / COUNT

    def temps_c(self, total_kg: float) -> list[float]:
        """The metal's temperature in each, lumps mixed in."""
        temp_c = self.metal.temp_c
        if not any(self.lies):
            return [temp_c(h) for h in self.columns[BATH]]
        return [temp_c(self.mixed(at, total_kg)[0].h) for at in range(COUNT)]

    def spread(self, at: int) -> float:
        """Standard deviation of one column."""
        return deviation(self.columns[at])

    def advance(self, mass_kg: float, level: float | None, room_c: float, seconds: float) -> None:
        """Time passes.

        level: share of full power, -1 for the furnace's own "low", None for not known (taken for full).
        """
        if seconds <= 0.0:
            return
        walls, pots, baths = self.columns[WALL:]
        count = max(1, math.ceil(seconds / STEP_S - 1e-9))
        share = 1.0 if level is None else level
        for at, furnace in enumerate(self.furnaces):
            if level == -1.0:
                share = furnace.low_share
            left_s, steps = seconds, count
            while self.lies[at] and left_s > 1e-9:
                step_s = min(left_s, LUMP_STEP_S)
                bath_kg = self.bath_kg(at, mass_kg)
                load = Load(bath_kg, share, room_c)
                walls[at], pots[at], baths[at], *_ = integrate(furnace, self.metal, self.state(at), load, step_s, 1)
                self._heat_lump(at, bath_kg, step_s)
                left_s -= step_s
                steps = max(1, math.ceil(left_s / STEP_S - 1e-9))
            if left_s > 1e-9:
                load = Load(self.bath_kg(at, mass_kg), share, room_c)
                there = integrate(furnace, self.metal, self.state(at), load, left_s / steps, steps)
                walls[at], pots[at], baths[at], *_ = there

    def _heat_lump(self, at: int, bath_kg: float, seconds: float) -> None:
        """Heat from the bath to the lump in it; molten, or as hot as the bath, it is bath."""
        lump, bath, metal = self.columns[LUMP_H], self.columns[BATH], self.metal
        lump_kg = self.lump_kg * self._heavier[at]
        gap = metal.temp_c(bath[at]) - metal.temp_c(lump[at])
        contact_w = math.exp(self.columns[LUMP][at]) * (0.2 + 0.8 * metal.liquid(bath[at]))
        heat_j = contact_w * math.sqrt(lump_kg) * gap * seconds
        # never further than to one temperature
        most_j = 0.5 * abs(gap) * metal.cp_solid * lump_kg * bath_kg / (lump_kg + bath_kg)
        heat_j = max(-most_j, min(most_j, heat_j))
        lump[at] += heat_j / lump_kg
        bath[at] -= heat_j / bath_kg
        if lump[at] >= metal.h_liquid or metal.temp_c(lump[at]) >= metal.temp_c(bath[at]) - 2.0:
            state, _ = self.mixed(at, bath_kg / self._heavier[at] + self.lump_kg)
            bath[at], lump[at], self.lies[at] = state.h, state.h, False

    def add_process_noise(self, seconds: float, *, wall_c: float, power: float, bath_c: float = 0.0) -> None:
        """What the model leaves out lets wall, pot, bath and power drift: deviations grow by so much a square root
        of a minute.
        """
        grow = seconds / 60.0
        bath_j = bath_c * self.metal.cp_liquid
        for at, amount in ((WALL, wall_c), (POT, 0.3 * wall_c), (BATH, bath_j), (POWER, power)):
            column = self.columns[at]
            added = amount * amount * grow
            variance = self._variance[at] if at < KEPT else deviation(column) ** 2
            if variance <= 0.0:
                continue
            self._stretch(at, math.sqrt(1.0 + added / variance))
            if at < KEPT:
                self._variance[at] = variance + added

    def _stretch(self, at: int, scale: float) -> None:
        column = self.columns[at]
        fixed = (1.0 - scale) * sum(column) / COUNT
        self.columns[at] = [fixed + scale * value for value in column]

    def take(self, reading_c: float, sigma_c: float, mass_kg: float, *, lag: bool = True) -> float:
        """One reading of a probe in the pot (lag: as read, behind the metal); returns by how many standard
        deviations it surprised.
        """
        predicted, model_c = self._predict_observation(mass_kg, self.sheath_s if lag else 0.0)
        lump_c = LUMP_SIGMA_C * sum(self.lies) / COUNT
        return self._update(predicted, reading_c, math.hypot(sigma_c, model_c, lump_c))

    def take_liquid(self, metal_c: float, sigma_c: float) -> float:
        """A settled figure of metal that is liquid, told in heat: in the freezing range degrees hide most of that, and
        a furnace hardly known is spread over all of it.
        """
        lump_c = LUMP_SIGMA_C * sum(self.lies) / COUNT
        sigma_j = self.metal.cp_liquid * math.hypot(sigma_c, lump_c)
        return self._update(list(self.columns[BATH]), self.metal.enthalpy(metal_c), sigma_j)

    def take_molten(self, metal_c: float, sigma_c: float, rate_c_per_s: float | None, mass_kg: float) -> None:
        """A probe that stays in metal that is molten for certain: how hot it is, and how fast it rises.

        Where all members are far from it they held to another story (still melting, or molten long ago), and no gain
        leads out of that: they are moved there as they are, what was unknown kept, the pot with them, for the heat
        that flows is the same. The rise then tells how hot the pot is.
        """
        h, metal = self.metal.enthalpy(metal_c), self.metal
        if any(self.lies):  # no lump is left in it
            self.columns[BATH] = [self.mixed(at, mass_kg)[0].h for at in range(COUNT)]
            self.lies = [False] * COUNT
        bath = self.columns[BATH]
        mean = sum(bath) / COUNT
        if abs(h - mean) > ANOTHER_STORY * math.hypot(deviation(bath), metal.cp_liquid * sigma_c):
            near = min(1.0, MOVED_SD_C * metal.cp_liquid / max(deviation(bath), 1.0))
            moved = [h + near * (value - mean) for value in bath]
            by = [metal.temp_c(new) - metal.temp_c(old) for new, old in zip(moved, bath, strict=True)]
            self.columns[BATH] = moved
            self.columns[POT] = [pot + c for pot, c in zip(self.columns[POT], by, strict=True)]
            self.columns[WALL] = [wall + 0.5 * c for wall, c in zip(self.columns[WALL], by, strict=True)]
        self.take_liquid(metal_c, sigma_c)
        if rate_c_per_s is None:
            return
        predicted = []
        for at, furnace in enumerate(self.furnaces):
            kg = self.bath_kg(at, mass_kg)
            gap = self.columns[POT][at] - metal.temp_c(self.columns[BATH][at])
            predicted.append(furnace.contact_w_per_k * gap / (metal.cp_liquid * math.sqrt(kg)))
        self._update(predicted, rate_c_per_s, RATE_SIGMA_SHARE * abs(rate_c_per_s) + RATE_SIGMA_C_PER_S)

    def truncate_above(self, metal_c: float) -> None:
        """The metal is no hotter than this: members beyond it are drawn back, and with them what led there."""
        most_j = self.metal.enthalpy(metal_c)
        bath = self.columns[BATH]
        cut = [min(h, most_j) for h in bath]
        if cut != bath:
            self._update(list(bath), sum(cut) / COUNT, max(deviation(cut), self.metal.cp_liquid))
            self.columns[BATH] = [min(h, most_j) for h in self.columns[BATH]]

    def _predict_observation(self, mass_kg: float, sheath_s: float) -> tuple[list[float], float]:
        """What a probe in the pot reads in each, and on the whole its standard deviation for reasons no model knows."""
        metal = self.metal
        liquidus, h_liquid, per_j = metal.liquidus_c, metal.h_liquid, 1.0 / metal.cp_liquid
        predicted, sigma_c = [], 0.0
        for at, (furnace, pot, h) in enumerate(zip(self.furnaces, self.columns[POT], self.columns[BATH], strict=True)):
            kg = self.bath_kg(at, mass_kg)
            if h >= h_liquid:
                charge = liquidus + (h - h_liquid) * per_j
                lag = furnace.contact_w_per_k * (pot - charge) * per_j * sheath_s / math.sqrt(kg)
                lag = 40.0 if lag > 40.0 else -40.0 if lag < -40.0 else lag
                predicted.append(charge - lag)
                sigma_c += 0.25 * abs(lag)
            else:
                reading_c, own_c = predict_reading(furnace, metal, State(0.0, pot, h), kg, sheath_s)
                predicted.append(reading_c)
                sigma_c += own_c
        return predicted, sigma_c / COUNT

    def take_chamber(self, reading_c: float, sigma_c: float, wall_share: float) -> float:
        """One reading of a probe in the chamber: part wall, part pot."""
        pot_share = 1.0 - wall_share
        walls, pots = self.columns[WALL], self.columns[POT]
        predicted = [wall_share * wall + pot_share * pot for wall, pot in zip(walls, pots, strict=True)]
        return self._update(predicted, reading_c, sigma_c)

    def _update(self, predicted: list[float], reading_c: float, sigma_c: float) -> float:
        mean = sum(predicted) / COUNT
        off = [value - mean for value in predicted]
        spread = sum(map(mul, off, off)) / COUNT
        total = spread + sigma_c * sigma_c
        root = math.sqrt(total)
        innovation = reading_c - mean
        limited = max(-4.0, min(4.0, innovation / root)) * root  # no reading may throw the melt
        share = 1.0 / (1.0 + sigma_c / root)  # of the gain, for the deviations: a half where a reading says little
        lying = any(self.lies)
        columns = self.columns
        pull = [limited - share * o for o in off]
        for at, column in enumerate(columns):
            if at == LUMP or (at == LUMP_H and not lying):
                continue  # the bath alone hardly tells how fast a lump melts
            gain = sum(map(mul, column, off)) / COUNT / total  # the offs have no mean
            if gain == 0.0:
                continue
            columns[at] = [value + gain * p for value, p in zip(column, pull, strict=True)]
            if at < KEPT:
                self._variance[at] += gain * gain * share * (share * spread - 2.0 * total)
                if self._variance[at] < self._floor[at]:
                    self._keep(at)
        columns[WALL] = [-40.0 if v < -40.0 else 2000.0 if v > 2000.0 else v for v in columns[WALL]]
        columns[POT] = [-40.0 if v < -40.0 else 2000.0 if v > 2000.0 else v for v in columns[POT]]
        if lying:
            least = self.metal.enthalpy(-40.0)
            columns[LUMP_H] = [max(v, least) for v in columns[LUMP_H]]
        self._unpack_state()
        return innovation / root

    def _keep(self, at: int) -> None:
        """One melt's readings err together, so they never narrow what is unknown below a share of where it began."""
        now, floor = self.spread(at), math.sqrt(self._floor[at])
        if 0.0 < now < floor:
            self._stretch(at, floor / now)
        self._variance[at] = max(now, floor) ** 2


def deviation(values: Sequence[float]) -> float:
    """Standard deviation of all there is."""
    mean = sum(values) / len(values)
    return math.sqrt(sum([(value - mean) ** 2 for value in values]) / len(values))
