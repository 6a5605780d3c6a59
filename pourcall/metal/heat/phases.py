"""Where a binary alloy begins to freeze and ends, from assessed Gibbs energies. Al-Zn, Al-Si and Cu-Zn.

For a melt that is no named alloy: mixed scrap, a corrected bath. Equilibrium figures: a real casting ends lower, at the
eutectic. Trade figures of named alloys differ (ZA-27: 484 against 508), see their sheets; neither is wrong by itself.
Parameters: SGTE unary functions (Dinsdale, CALPHAD 15 (1991) 317); Al-Zn an Mey, Z. Metallkd. 84 (1993) 451; Al-Si and
Cu-Zn COST 507; written from memory and checked against what those assessments are known to give (tests/profiles).
Only liquid, fcc, hcp and diamond are here, so Cu-Zn holds up to 32 % zinc by weight and Al-Si up to 25 % silicon.
"""

import itertools
import math
from collections.abc import Callable, Sequence

import msgspec

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import tell
from pourcall.metal.alloys.elements import GAS_CONSTANT_J_PER_MOL_K, KELVIN_OF_0_C, mole_fractions

_POINTS = 700  # of the composition grid of each phase; its chord error is worth a few mK
_Stability = Callable[[float], float]  # J/mol at T in K, against the element's reference solid


class Phase(msgspec.Struct, frozen=True):
    """A solution of two elements, or the second element alone."""

    name: str
    first: _Stability
    second: _Stability
    excess: tuple[tuple[float, float], ...] = ()  # Redlich-Kister a + b T by power of (x1 - x2)
    second_only: bool = False

    def curve(self, kelvin: float) -> list[tuple[float, float]]:
        """(mole fraction of the second element, J/mol) over the whole range, finer towards the ends."""
        if self.second_only:
            return [(1.0, self.second(kelvin))]
        first, second = self.first(kelvin), self.second(kelvin)
        terms = [a + b * kelvin for a, b in self.excess]
        thermal = GAS_CONSTANT_J_PER_MOL_K * kelvin
        points = [(0.0, first), (1.0, second)]
        for x2 in _GRID:
            x1 = 1.0 - x2
            d = x1 - x2
            excess = 0.0
            for term in reversed(terms):
                excess = excess * d + term
            mixing = thermal * (x1 * math.log(x1) + x2 * math.log(x2))
            points.append((x2, x1 * first + x2 * second + mixing + x1 * x2 * excess))
        return points


_GRID = tuple(0.5 - 0.5 * math.cos(math.pi * step / _POINTS) for step in range(1, _POINTS))


class FreezingRange(msgspec.Struct, frozen=True, kw_only=True):
    """Equilibrium liquidus and solidus, degC."""

    liquidus_c: float
    solidus_c: float


def _al_liquid(kelvin: float) -> float:
    if kelvin <= 933.473:
        return 11005.045 - 11.84185 * kelvin + 7.9337e-20 * kelvin**7
    return 10482.382 - 11.253974 * kelvin + 1.231e28 / kelvin**9


def _zn_liquid(kelvin: float) -> float:
    if kelvin <= 692.677:
        return 7157.213 - 10.29299 * kelvin - 3.5896e-19 * kelvin**7
    return 7450.168 - 10.737066 * kelvin - 4.7051e26 / kelvin**9


def _cu_liquid(kelvin: float) -> float:
    return 12964.735 - 9.511904 * kelvin - 5.8489e-21 * kelvin**7


def _si_liquid(kelvin: float) -> float:
    return 50696.36 - 30.099439 * kelvin + 2.0931e-21 * kelvin**7


def _zero(kelvin: float) -> float:
    return 0.0


def _al_hcp(kelvin: float) -> float:
    return 5481.0 - 1.8 * kelvin


def _zn_fcc(kelvin: float) -> float:
    return 2969.82 - 1.56968 * kelvin


# (first, second) -> (phases, highest weight percent of the second element, lowest and highest degC searched)
_SYSTEMS: dict[tuple[str, str], tuple[tuple[Phase, ...], float, float, float]] = {
    ("Al", "Zn"): (
        (
            Phase("liquid", _al_liquid, _zn_liquid, ((10465.55, -3.39259),)),
            Phase("fcc", _zero, _zn_fcc, ((7297.48, 0.47512), (6612.88, -4.5911), (-3097.19, 3.30635))),
            Phase("hcp", _al_hcp, _zero, ((18820.95, -8.95255), (0.0, 0.0), (0.0, 0.0), (-702.79, 0.0))),
        ),
        100.0,
        340.0,
        680.0,
    ),
    ("Al", "Si"): (
        (
            Phase("liquid", _al_liquid, _si_liquid, ((-11340.1, -1.23394), (-3530.93, 1.35993), (2265.39, 0.0))),
            Phase("fcc", _zero, lambda kelvin: 51000.0 - 21.8 * kelvin, ((-3143.78, 0.39297),)),
            Phase("diamond", _zero, _zero, second_only=True),
        ),
        25.0,
        500.0,
        900.0,
    ),
    ("Cu", "Zn"): (
        (
            Phase("liquid", _cu_liquid, _zn_liquid, ((-40695.54, 12.65269), (4402.72, -6.55425), (7818.10, -3.25416))),
            Phase("fcc", _zero, _zn_fcc, ((-42803.75, 10.02258), (2936.39, -3.05323), (9034.20, -5.39314))),
        ),
        32.0,
        850.0,
        1120.0,
    ),
}


def freezing_range(first: str, second: str, second_percent: float) -> FreezingRange:
    """Liquidus and solidus of a binary at equilibrium, degC, for weight percent of the second element.

    Raises BadInput for a pair not kept and OutOfRange for a composition beyond what its phases cover.
    """
    system = _SYSTEMS.get((first, second))
    if system is None:
        known = ", ".join("-".join(pair) for pair in _SYSTEMS)
        told = tell("metal.no_figure", physical="phases", symbol=f"{first}-{second}")
        raise BadInput(told, remedy=tell("error.use_one", known=known))
    phases, most_percent, low_c, high_c = system
    if not 0.0 < second_percent <= most_percent or second_percent >= 100.0:
        told = tell(
            "metal.phases",
            system=f"{first}-{second}",
            symbol=second,
            most_percent=most_percent,
            percent=second_percent,
        )
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    x_second = mole_fractions({first: 100.0 - second_percent, second: second_percent})[second]
    liquidus_c = _boundary(phases, x_second, low_c, high_c, wholly=True)
    solidus_c = _boundary(phases, x_second, low_c, liquidus_c + 0.5, wholly=False)
    return FreezingRange(liquidus_c=liquidus_c, solidus_c=min(solidus_c, liquidus_c))


def _boundary(phases: Sequence[Phase], x_second: float, low_c: float, high_c: float, *, wholly: bool) -> float:
    """Lowest temperature at which the alloy is wholly liquid, or holds any liquid, degC, within 0.01."""
    while high_c - low_c > 0.01:
        middle_c = 0.5 * (low_c + high_c)
        ends = _stable_ends(phases, x_second, middle_c + KELVIN_OF_0_C)
        liquid = [name == "liquid" for name in ends]
        if all(liquid) if wholly else any(liquid):
            high_c = middle_c
        else:
            low_c = middle_c
    return high_c


def _stable_ends(phases: Sequence[Phase], x_second: float, kelvin: float) -> tuple[str, str]:
    """Names of the phases at both ends of the piece of the lower convex hull that holds this composition."""
    points = sorted((x, energy, phase.name) for phase in phases for x, energy in phase.curve(kelvin))
    hull: list[tuple[float, float, str]] = []
    for point in points:
        if hull and point[0] == hull[-1][0]:
            continue  # sorted by energy next: the first at a composition is the lowest
        while len(hull) > 1 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    for left, right in itertools.pairwise(hull):
        if left[0] <= x_second <= right[0]:
            return left[2], right[2]
    raise OutOfRange(tell("metal.phases_beyond", second_share=x_second), remedy=tell("error.figure.remedy"))


def _turns_down(a: tuple[float, float, str], b: tuple[float, float, str], c: tuple[float, float, str]) -> bool:
    """Whether b lies on or above the chord from a to c."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0.0
