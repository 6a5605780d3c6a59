"""How freely zinc and lead can leave a melt. Composition and degC in, activity and activity coefficient out; pure.

The excess energy of the liquid is that of its binaries, each a Redlich-Kister polynomial, put together by Muggianu's
rule, and the one assessed ternary that a casting alloy here reaches, Al-Cu-Zn; the activity coefficient is its
derivative, in closed form. Sources of the binaries and of that ternary: COST 507,
Thermochemical Database for Light Metal Alloys, vol. 2 (Ansara, Dinsdale and Rand, 1998), its Al-Zn that of an Mey;
copper and lead with tin, copper with lead: the open solder database of the US National Institute of Standards and
Technology (1999). Lead with zinc: one regular term from the critical point of its miscibility gap, 798 degC (memory).

Iron, manganese and nickel are not assessed with zinc there, nor in any open database that was found, and count as so
much copper by mole in a copper alloy. Counted as drawing zinc to nothing at all instead, they would bring the line at
0.8 of boiling 3 degC lower in C86500, 6 where it holds the most it may (docs/metal-science.md). Of them nickel is
measured to lower the activity of zinc in dilute Cu-Zn, aluminium to raise it (Sugino and Hagiwara, J. Japan Inst.
Metals 50 (1986) 1068, abstract read): the second comes out of the assessment by itself.
"""

import math
from collections.abc import Mapping

from pourcall.metal.alloys.elements import GAS_CONSTANT_J_PER_MOL_K, KELVIN_OF_0_C, mole_fractions

_LEAD_ZINC_CRITICAL_C = 798.0  # memory: top of the miscibility gap, of which a regular solution has 2 R T_c

# Terms of rising order in (x_first - x_second), each a + b T + c T ln T in J/mol.
_BINARIES: dict[tuple[str, str], tuple[tuple[float, float, float], ...]] = {
    ("Al", "Cu"): ((-66622.0, 8.1, 0.0), (46800.0, -90.8, 10.0), (-2812.0, 0.0, 0.0)),
    ("Al", "Mg"): ((-12000.0, 8.566, 0.0), (1894.0, -3.0, 0.0), (2000.0, 0.0, 0.0)),
    ("Al", "Si"): ((-11655.93, -0.92934, 0.0), (-2873.45, 0.2945, 0.0), (2520.0, 0.0, 0.0)),
    ("Al", "Sn"): ((16329.85, -4.98306, 0.0), (4111.97, -1.15145, 0.0), (1765.43, -0.5739, 0.0)),
    ("Al", "Zn"): ((10465.55, -3.39259, 0.0),),
    ("Cu", "Mg"): ((-36984.0, 4.75612, 0.0), (-8191.29, 0.0, 0.0)),
    ("Cu", "Pb"): ((27447.0, -4.798, 0.0), (3253.1, -0.744, 0.0), (4134.0, -3.302, 0.0)),
    ("Cu", "Si"): ((-39688.86, 14.27467, 0.0), (-49937.13, 29.7896, 0.0), (-31810.16, 18.00804, 0.0)),
    ("Cu", "Sn"): ((-9002.8, -5.8381, 0.0), (-20100.4, 3.6366, 0.0), (-10528.4, 0.0, 0.0)),
    ("Cu", "Zn"): ((-40695.54, 12.65269, 0.0), (4402.72, -6.55425, 0.0), (7818.10, -3.25416, 0.0)),
    ("Mg", "Zn"): ((-81439.68, 518.25145, -64.714411), (2627.54, 2.93061, 0.0), (-1673.28, 0.0, 0.0)),
    ("Pb", "Sn"): ((5368.0, 0.93414, 0.0), (97.8, 0.09354, 0.0)),
    ("Pb", "Zn"): ((2.0 * GAS_CONSTANT_J_PER_MOL_K * (_LEAD_ZINC_CRITICAL_C + KELVIN_OF_0_C), 0.0, 0.0),),
    ("Si", "Zn"): ((7829.25, 0.0, 0.0), (-3338.18, 0.0, 0.0), (-891.33, 0.0, 0.0)),
    ("Sn", "Zn"): ((19314.64, -75.89939, 8.751396), (-5696.28, 4.20198, 0.0), (1037.22, 0.98362, 0.0)),
}
# Terms of the first, second and third element, J/mol, each times its fraction and a third of what is neither.
_TERNARIES: dict[tuple[str, str, str], tuple[float, float, float]] = {
    ("Al", "Cu", "Zn"): (39176.114, -130184.11, 35855.929),
}
ASSESSED = frozenset(symbol for pair in _BINARIES for symbol in pair)


def gamma_of(symbol: str, x: Mapping[str, float], temp_c: float) -> float:
    """Activity coefficient of an element in a liquid of these mole fractions, which are of ASSESSED elements."""
    kelvin = temp_c + KELVIN_OF_0_C
    partial = 0.0
    for (first, second), terms in _BINARIES.items():
        x_first, x_second = x.get(first, 0.0), x.get(second, 0.0)
        product, d = x_first * x_second, x_first - x_second
        if product <= 0.0 and symbol not in (first, second):
            continue
        for order, (a, b, c) in enumerate(terms):
            strength = a + b * kelvin + c * kelvin * math.log(kelvin)
            # A term of order k is homogeneous of degree k + 2 in the fractions: the partial energy of an element is its
            # own derivative less (k + 1) times the term.
            own, turned = 0.0, order * product * d ** (order - 1) if order else 0.0
            if symbol == first:
                own = x_second * d**order + turned
            elif symbol == second:
                own = x_first * d**order - turned
            partial += strength * (own - (order + 1) * product * d**order)
    for triple, ternary in _TERNARIES.items():
        partial += _ternary_j_per_mol(symbol, x, triple, ternary)
    return math.exp(partial / (GAS_CONSTANT_J_PER_MOL_K * kelvin))


def _ternary_j_per_mol(
    symbol: str, x: Mapping[str, float], triple: tuple[str, str, str], terms: tuple[float, float, float]
) -> float:
    """Partial excess energy of an element by one ternary; in moles it is of degree 4 over the cube of the whole."""
    shares = [x.get(one, 0.0) for one in triple]
    product, rest = math.prod(shares), (1.0 - sum(shares)) / 3.0
    strength = sum(term * (share + rest) for term, share in zip(terms, shares, strict=True))
    if symbol not in triple:
        return product * (sum(terms) / 3.0 - 3.0 * strength)
    place = triple.index(symbol)
    others = math.prod(share for number, share in enumerate(shares) if number != place)
    return others * strength + product * (terms[place] - 3.0 * strength)


def gamma_zinc(x: Mapping[str, float], temp_c: float) -> float:
    """Activity coefficient of zinc."""
    return gamma_of("Zn", x, temp_c)


def gamma_zinc_in_aluminium(x_zinc: float, temp_c: float) -> float:
    """Activity coefficient of zinc in liquid Al-Zn."""
    return gamma_zinc({"Al": 1.0 - x_zinc, "Zn": x_zinc}, temp_c)


def gamma_zinc_in_copper(x_zinc: float, temp_c: float) -> float:
    """Activity coefficient of zinc in liquid Cu-Zn."""
    return gamma_zinc({"Cu": 1.0 - x_zinc, "Zn": x_zinc}, temp_c)


def zinc_activity(weight_percent: Mapping[str, float], temp_c: float) -> float:
    """Activity of zinc (0-1) in a melt of this composition; 0 without zinc. Raises BadInput for an unknown element."""
    return activity_of("Zn", weight_percent, temp_c)


def activity_of(symbol: str, weight_percent: Mapping[str, float], temp_c: float) -> float:
    """Activity of an assessed element (0-1) in a melt of this composition; 0 without it.

    What is not assessed counts as copper where copper outweighs aluminium, else as aluminium, mole for mole; above 1,
    where the binaries part into two liquids, as 1. Raises BadInput for an unknown element.
    """
    if weight_percent.get(symbol, 0.0) <= 0.0:
        return 0.0
    x = {symbol: share for symbol, share in mole_fractions(weight_percent).items() if symbol in ASSESSED}
    solvent = "Cu" if weight_percent.get("Cu", 0.0) > weight_percent.get("Al", 0.0) else "Al"
    x[solvent] = x.get(solvent, 0.0) + 1.0 - sum(x.values())
    return min(1.0, x[symbol] * gamma_of(symbol, x, temp_c))
