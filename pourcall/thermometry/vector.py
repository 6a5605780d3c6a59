"""Thermocouple functions for whole logs at once. The same functions and cubics as `thermocouple.py`, in numpy.

Work goes through blocks small enough to stay in the processor's second-level cache: the cubics of a type are 131 kB,
a block's scratch space 420 kB. The daemon never imports this module (numpy costs it memory and start-up time).
"""

from functools import cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pourcall.thermometry import thermocouple

BLOCK: Final = 8192

Floats = NDArray[np.float64]


class _Scratch(NamedTuple):
    """Scratch arrays for one block, made once per call."""

    position: Floats
    fraction: Floats
    cell: NDArray[np.intp]
    cubic: Floats


@cache
def _cubics(tc_type: str) -> Floats:
    cubics = np.array(thermocouple.inverse_table(tc_type).cells, dtype=np.float64)
    cubics.setflags(write=False)
    return cubics


def temp_c(tc_type: str, emf_uv: ArrayLike) -> Floats:
    """Temperatures in degC of emfs in uV, reference junction at 0 degC; exact as `thermocouple.temp_c`, same shape.

    NaN where the emf is NaN or out of range: `outside(tc_type, emf_uv)` tells which. Raises BadInput for an
    unknown type.
    """
    table = thermocouple.inverse_table(tc_type)
    cubics = _cubics(tc_type)
    emf = np.ascontiguousarray(emf_uv, dtype=np.float64)
    flat, temps = emf.reshape(-1), np.empty(emf.size)
    size = min(BLOCK, emf.size)
    scratch = _Scratch(np.empty(size), np.empty(size), np.empty(size, np.intp), np.empty((size, 4)))
    for start in range(0, emf.size, BLOCK):
        block, result = flat[start : start + BLOCK], temps[start : start + BLOCK]
        if table.low_uv <= block.min() and block.max() <= table.high_uv:  # false as well where one is NaN
            _invert(table, cubics, block, result, scratch)
        else:
            inside = (block >= table.low_uv) & (block <= table.high_uv)
            _invert(table, cubics, np.where(inside, block, table.low_uv), result, scratch)
            result[~inside] = np.nan
    return temps.reshape(np.shape(emf_uv))


def _invert(table: thermocouple.InverseTable, cubics: Floats, emf: Floats, result: Floats, scratch: _Scratch) -> None:
    """One block of emfs that are all in range; nothing here makes a new array."""
    size = emf.size
    position, fraction = scratch.position[:size], scratch.fraction[:size]
    cell, cubic = scratch.cell[:size], scratch.cubic[:size]
    np.subtract(emf, table.base_uv, out=position)
    np.sqrt(position, out=position)
    position *= table.scale
    position -= table.offset
    np.trunc(position, out=fraction)
    cell[...] = fraction
    np.subtract(position, fraction, out=fraction)
    cubics.take(cell, axis=0, out=cubic, mode="clip")
    np.multiply(cubic[:, 3], fraction, out=result)
    result += cubic[:, 2]
    result *= fraction
    result += cubic[:, 1]
    result *= fraction
    result += cubic[:, 0]


def outside(tc_type: str, emf_uv: ArrayLike) -> NDArray[np.bool_]:
    """True where an emf is a number that `temp_c` cannot take (the reading's reason is over_range); NaN is not."""
    low_uv, high_uv = thermocouple.emf_range_uv(tc_type)
    emf = np.asarray(emf_uv, dtype=np.float64)
    return (emf < low_uv) | (emf > high_uv)


def emf_uv(tc_type: str, temp_c: ArrayLike) -> Floats:
    """Emfs in uV of temperatures in degC, reference junction at 0 degC, as `thermocouple.emf_uv`, same shape.

    NaN where the temperature is NaN or out of range. Raises BadInput for an unknown type.
    """
    curves = thermocouple.curves(tc_type)
    temps = np.ascontiguousarray(temp_c, dtype=np.float64)
    flat, emfs = temps.reshape(-1), np.empty(temps.size)
    low_c, high_c = thermocouple.temp_range_c(tc_type)
    for start in range(0, temps.size, BLOCK):
        block, result = flat[start : start + BLOCK], emfs[start : start + BLOCK]
        result[...] = np.nan
        inside = (block >= low_c - thermocouple.EDGE_C) & (block <= high_c + thermocouple.EDGE_C)
        for number, curve in enumerate(curves):
            here = inside & (block >= curve.low_c) if number else inside
            if number + 1 < len(curves):
                here = here & (block < curve.high_c)
            if here.any():
                result[here] = _emf_on(curve, block[here])
    return emfs.reshape(np.shape(temp_c))


def _emf_on(curve: thermocouple.Curve, temps: Floats) -> Floats:
    emf = np.zeros_like(temps)
    for c in curve.emf:
        emf *= temps
        emf += c
    if curve.exponential:
        a0_uv, a1, a2 = thermocouple.EXPONENTIAL_UV
        emf += a0_uv * np.exp(a1 * (temps - a2) ** 2)
    return emf
