"""Thermocouple functions, one value at a time. Microvolts to degC and back for types B E J K N R S T.

Forward as published: ITS-90, NIST Monograph 175 (numbers in `its90.py`), reference junction at 0 degC. The inverse
inverts these very functions, not the published approximate inverse polynomials (those are off by up to 0.06 degC and
type K's steps by 0.033 degC at 500 degC, which a plateau detector takes for an arrest).

How the inverse works. Near its cold end every function flattens, emf ~ base + x**2, so temperature is smooth in
x = sqrt(emf - base) over the whole range. On a uniform grid in x (4096 cells) the exact function is solved by Newton
once per type, and each cell keeps the cubic with the exact values and slopes at its ends: one square root, one look-up,
three multiplications, no iteration. Grid points lie on the joints of the published pieces, so no cubic spans one.

How exact. A temperature taken forward and back is kept within 1e-6 degC everywhere. At the joints the *published*
pieces miss each other by up to 7.5e-5 uV (type J at 760 degC: 1.2e-6 degC; the others below 4e-7 degC): the inverse
passes through the middle, so it is continuous and rising.

Domain of the inverse: the whole published range, type K down to -270 degC. Only type B falls at first: its emf
is least (-2.585 uV) at 21.02 degC, and up to 42 degC one emf has two temperatures; the rising branch is meant.

Not here: cold junctions and amplifiers (`compensation.py`), arrays (`vector.py`).
"""

from itertools import pairwise
from math import ceil, exp, sqrt
from typing import Final, NamedTuple

from pourcall.contract.errors import BadInput, OutOfRange
from pourcall.contract.message import tell
from pourcall.thermometry.its90 import REFERENCE, TYPE_K_EXPONENTIAL

TYPES: Final = tuple(REFERENCE)
CELLS: Final = 4096  # largest error of a cubic: 7e-8 degC at -270 degC, below 6e-9 from -250, 1e-9 from -200 degC on
# Rounding allowed beyond the ends, so that what one function gives at its end the other takes.
EDGE_C: Final = 1e-6
EDGE_UV: Final = 1e-7
EDGE_AT_VERTEX_UV: Final = 2e-15  # type B starts where its slope is zero: 2e-15 uV are 6e-7 degC there

EXPONENTIAL_UV: Final = (TYPE_K_EXPONENTIAL[0] * 1000.0, TYPE_K_EXPONENTIAL[1], TYPE_K_EXPONENTIAL[2])
_A0_UV, _A1, _A2 = EXPONENTIAL_UV


class Curve(NamedTuple):
    """One published polynomial in uV, highest power first (Horner's order), with its first two derivatives."""

    low_c: float
    high_c: float
    emf: tuple[float, ...]
    slope: tuple[float, ...]
    bend: tuple[float, ...]
    exponential: bool


class InverseTable(NamedTuple):
    """Cubics of temperature over equal steps of sqrt(emf - base). Position = sqrt(emf - base) * scale - offset."""

    low_uv: float
    high_uv: float
    base_uv: float
    scale: float
    offset: float
    cells: list[tuple[float, float, float, float]]  # a + b*u + c*u**2 + d*u**3, 0 <= u < 1, degC


def _derivative(rising: list[float]) -> list[float]:
    return [power * c for power, c in enumerate(rising)][1:]


def _curves(tc_type: str) -> tuple[Curve, ...]:
    made = []
    for low_c, high_c, coefficients_mv in REFERENCE[tc_type]:
        emf = [c * 1000.0 for c in coefficients_mv]
        slope = _derivative(emf)
        falling = [tuple(reversed(c)) for c in (emf, slope, _derivative(slope))]
        made.append(Curve(low_c, high_c, falling[0], falling[1], falling[2], tc_type == "K" and low_c >= 0.0))
    return tuple(made)


_CURVES: Final = {tc_type: _curves(tc_type) for tc_type in TYPES}


def _horner(coefficients: tuple[float, ...], temp_c: float) -> float:
    value = 0.0
    for c in coefficients:
        value = value * temp_c + c
    return value


def _emf_on(curve: Curve, temp_c: float) -> float:
    emf_uv = _horner(curve.emf, temp_c)
    if curve.exponential:
        emf_uv += _A0_UV * exp(_A1 * (temp_c - _A2) ** 2)
    return emf_uv


def _slope_on(curve: Curve, temp_c: float) -> float:
    slope = _horner(curve.slope, temp_c)
    if curve.exponential:
        away_c = temp_c - _A2
        slope += 2.0 * _A1 * away_c * _A0_UV * exp(_A1 * away_c * away_c)
    return slope


def _curve_at(tc_type: str, temp_c: float) -> Curve | None:
    """The published piece that holds at this temperature; at a joint the upper one. None out of range or for NaN."""
    pieces = _CURVES.get(tc_type)
    if pieces is None:
        raise _unknown(tc_type)
    if not pieces[0].low_c - EDGE_C <= temp_c <= pieces[-1].high_c + EDGE_C:
        return None
    for curve in pieces:
        if temp_c < curve.high_c:
            return curve
    return pieces[-1]


def _unknown(tc_type: str) -> BadInput:
    return BadInput(tell("error.no_type", tc_type=tc_type), remedy=tell("error.use_one", known=", ".join(TYPES)))


def curves(tc_type: str) -> tuple[Curve, ...]:
    """The published pieces of a type from cold to hot. Raises BadInput for an unknown type."""
    if tc_type not in _CURVES:
        raise _unknown(tc_type)
    return _CURVES[tc_type]


def temp_range_c(tc_type: str) -> tuple[float, float]:
    """Lowest and highest degC of the published function. Raises BadInput for an unknown type."""
    pieces = curves(tc_type)
    return pieces[0].low_c, pieces[-1].high_c


def invertible_range_c(tc_type: str) -> tuple[float, float]:
    """Lowest and highest degC that `temp_c` can give: `temp_range_c`, but type B from its least emf at 21.02 degC."""
    low_c, high_c = temp_range_c(tc_type)
    return (_vertex_c(_CURVES["B"][0]) if tc_type == "B" else low_c), high_c


def emf_range_uv(tc_type: str) -> tuple[float, float]:
    """Lowest and highest emf in uV that `temp_c` takes. Raises BadInput for an unknown type."""
    table = inverse_table(tc_type)
    return table.low_uv, table.high_uv


def emf_uv_or_none(tc_type: str, temp_c: float) -> float | None:
    """As `emf_uv`, but None out of range (and NaN for NaN): for the path of every reading."""
    curve = _curve_at(tc_type, temp_c)
    if curve is None:
        return temp_c if temp_c != temp_c else None
    return _emf_on(curve, temp_c)


def emf_uv(tc_type: str, temp_c: float) -> float:
    """Emf in uV at temp_c degC, reference junction at 0 degC. ITS-90, NIST Monograph 175.

    NaN gives NaN. Raises OutOfRange outside `temp_range_c`, BadInput for an unknown type.
    """
    found_uv = emf_uv_or_none(tc_type, temp_c)
    if found_uv is None:
        low_c, high_c = temp_range_c(tc_type)
        raise OutOfRange(
            tell("error.beyond_type", temp_c=temp_c, tc_type=tc_type, low_c=low_c, high_c=high_c),
            remedy=tell("error.beyond_type.remedy"),
        )
    return found_uv


def seebeck_uv_per_c(tc_type: str, temp_c: float) -> float:
    """Slope of the emf in uV/degC at temp_c degC. NaN gives NaN. Raises OutOfRange and BadInput as `emf_uv`."""
    curve = _curve_at(tc_type, temp_c)
    if curve is None:
        return emf_uv(tc_type, temp_c)  # NaN, or the error with its words
    return _slope_on(curve, temp_c)


def temp_c_or_none(tc_type: str, emf_uv: float) -> float | None:
    """As `temp_c`, but None out of range (and NaN for NaN): for the path of every reading."""
    try:
        low_uv, high_uv, base_uv, scale, offset, cells = _tables[tc_type]
    except KeyError:
        low_uv, high_uv, base_uv, scale, offset, cells = inverse_table(tc_type)
    if low_uv <= emf_uv <= high_uv:
        position = sqrt(emf_uv - base_uv) * scale - offset
        cell = int(position)
        u = position - cell
        a, b, c, d = cells[cell]
        return ((d * u + c) * u + b) * u + a
    return emf_uv if emf_uv != emf_uv else None


def temp_c(tc_type: str, emf_uv: float) -> float:
    """Temperature in degC of an emf in uV, reference junction at 0 degC; the exact inverse of `emf_uv`.

    NaN gives NaN. Raises OutOfRange outside `emf_range_uv`, BadInput for an unknown type. Type B: rising branch.
    """
    found_c = temp_c_or_none(tc_type, emf_uv)
    if found_c is not None:
        return found_c
    low_uv, high_uv = emf_range_uv(tc_type)
    told = tell("error.emf_outside", emf_uv=emf_uv, tc_type=tc_type, low_uv=low_uv, high_uv=high_uv)
    raise OutOfRange(told, remedy=tell("error.emf_outside.remedy"))


# The table of a type is made when it is first asked for: some 20 ms once, and most shops use one type.
_tables: dict[str, InverseTable] = {}


def inverse_table(tc_type: str) -> InverseTable:
    """The cubics behind `temp_c`, made once per type. Raises BadInput for an unknown type."""
    if tc_type not in _tables:
        _tables[tc_type] = _build(tc_type)
    return _tables[tc_type]


def _vertex_c(curve: Curve) -> float:
    """Where type B's first piece is least."""
    temp_c = 21.0
    for _ in range(6):
        temp_c -= _slope_on(curve, temp_c) / _horner(curve.bend, temp_c)
    return temp_c


def _build(tc_type: str) -> InverseTable:
    pieces = curves(tc_type)
    first, last = pieces[0], pieces[-1]
    low_c, high_c = invertible_range_c(tc_type)
    low_uv, high_uv = _emf_on(first, low_c), _emf_on(last, high_c)
    if tc_type == "B":
        low_uv = base_uv = low_uv - EDGE_AT_VERTEX_UV
    else:
        base_uv = low_uv - _slope_on(first, low_c) ** 2 / (2.0 * _horner(first.bend, low_c))

    # The joints, in the middle between the two pieces, and a step that puts a grid point on each of them.
    joints = [
        (left.high_c, sqrt((_emf_on(left, left.high_c) + _emf_on(right, left.high_c)) / 2.0 - base_uv))
        for left, right in pairwise(pieces)
    ]
    low_x, high_x = sqrt(low_uv - base_uv), sqrt(high_uv - base_uv)
    span = (low_x, joints[0][1]) if len(joints) == 1 else (joints[0][1], joints[1][1])
    step = (span[1] - span[0]) / ceil((span[1] - span[0]) / (high_x - low_x) * CELLS)
    below = ceil((joints[0][1] - low_x) / step - 1e-9)
    origin = joints[0][1] - below * step

    cells: list[tuple[float, float, float, float]] = []
    bounds = [round((x - origin) / step) for _, x in joints] + [ceil((high_x - origin) / step)]
    start = 0
    ends = [*(joint_c for joint_c, _ in joints), None]
    at_c = low_c if len(joints) == 1 else None  # with one joint the grid starts at the low end itself
    for curve, stop, end_c in zip(pieces, bounds, ends, strict=True):
        nodes = _nodes(curve, base_uv, [origin + step * k for k in range(start, stop + 1)], at_c, end_c)
        for (t0, m0), (t1, m1) in pairwise(nodes):
            rise, m0, m1 = t1 - t0, m0 * step, m1 * step
            cells.append((t0, m0, 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise))
        start, at_c = stop, end_c
    low_uv -= 0.0 if tc_type == "B" else EDGE_UV
    return InverseTable(low_uv, high_uv + EDGE_UV, base_uv, 1.0 / step, origin / step, cells)


def _nodes(
    curve: Curve, base_uv: float, xs: list[float], first_c: float | None, last_c: float | None
) -> list[tuple[float, float]]:
    """Temperature and d(temperature)/dx where emf = base + x**2 on one piece; its two ends may be given."""
    nodes: list[tuple[float, float]] = []
    guess_c = curve.low_c if first_c is None else first_c
    for k, x in enumerate(xs):
        temp_c = guess_c
        if k == 0 and first_c is not None:
            pass
        elif k == len(xs) - 1 and last_c is not None:
            temp_c = last_c
        else:
            emf_uv = base_uv + x * x
            for _ in range(20):
                error_c = (_emf_on(curve, temp_c) - emf_uv) / _slope_on(curve, temp_c)
                temp_c -= error_c
                if abs(error_c) < 1e-7:  # the next correction would be its square: below rounding
                    break
        # At type B's least emf both x and the slope vanish; their ratio tends to sqrt(2 / bend).
        per_x = 2.0 * x / _slope_on(curve, temp_c) if x > 0.0 else sqrt(2.0 / _horner(curve.bend, temp_c))
        nodes.append((temp_c, per_x))
        if k + 1 < len(xs):
            step = xs[k + 1] - x
            before_x = nodes[-2][1] if k else per_x
            guess_c = temp_c + step * (1.5 * per_x - 0.5 * before_x)
    return nodes
