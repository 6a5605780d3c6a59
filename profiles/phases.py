"""Room: where a binary alloy begins to freeze and ends, from assessed Gibbs energies. Al-Zn, Al-Si and Cu-Zn.

For a melt that is no named alloy: mixed scrap, a corrected bath. Equilibrium figures: a real casting ends lower, at the
eutectic. Trade figures of named alloys differ (ZA-27: 484 against 508), see their sheets; neither is wrong by itself.
Parameters: SGTE unary functions (Dinsdale 1991); Al-Zn an Mey, Z. Metallkd. 84 (1993) 451; Al-Si and Cu-Zn COST 507
light-metal database; written from memory and checked against the values those assessments are known to give (tests).
Only liquid, fcc, hcp and diamond are here, so Cu-Zn holds up to 32 % zinc by weight and Al-Si up to 25 % silicon.
"""

import math
from collections.abc import Callable

import msgspec

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.profiles.elements import GAS_CONSTANT_J_PER_MOL_K, KELVIN_OF_0_C, mole_fractions, molar_mass

_Terms = tuple[tuple[float, float], ...]  # Redlich-Kister: (a, b) of a + b T, by power of (x1 - x2)


class Phase(msgspec.Struct, frozen=True):
    """A solution of two elements: lattice stabilities against the reference, and its excess terms."""

    name: str
    first: Callable[[float], float]  # J/mol at T in K
    second: Callable[[float], float]
    excess: _Terms

    def gibbs(self, x_second: float, kelvin: float) -> float:
        """J/mol of atoms at a mole fraction of the second element, against both references."""
        x1, x2 = 1.0 - x_second, x_second
        d = x1 - x2
        mixing = GAS_CONSTANT_J_PER_MOL_K * kelvin * (x1 * math.log(x1) + x2 * math.log(x2))
        excess = sum((a + b * kelvin) * d**power for power, (a, b) in enumerate(self.excess))
        return x1 * self.first(kelvin) + x2 * self.second(kelvin) + mixing + x1 * x2 * excess

    def potentials(self, x_second: float, kelvin: float) -> tuple[float, float]:
        """Chemical potentials of both elements, J/mol; the slope in closed form."""
        x1, x2 = 1.0 - x_second, x_second
        d = x1 - x2
        polynomial = sum((a + b * kelvin) * d**power for power, (a, b) in enumerate(self.excess))
        slope = sum(power * (a + b * kelvin) * d ** (power - 1) for power, (a, b) in enumerate(self.excess) if power)
        change = (
            self.second(kelvin)
            - self.first(kelvin)
            + GAS_CONSTANT_J_PER_MOL_K * kelvin * math.log(x2 / x1)
            + d * polynomial
            - 2.0 * x1 * x2 * slope
        )
        energy = self.gibbs(x_second, kelvin)
        return energy - x2 * change, energy + x1 * change


class FreezingRange(msgspec.Struct, frozen=True, kw_only=True):
    """Equilibrium liquidus and solidus, degC, and what freezes first."""

    liquidus_c: float
    solidus_c: float
    first_solid: str
