"""How fast the exact inverse is, beside the best that others do with the same accuracy. Scalar and vector.

`python benchmarks/bench_thermocouple.py` prints a table; `run()` gives the rows. Peers: the published inverse
polynomial as seed and Newton on the published function, written here in plain Python and in numpy; the package
`thermocouple-its90` where it is installed (pure Python, exact); scipy's Brent search as `thermocouples_reference`
does it. Each figure is the best of several passes over the same emfs, and each answer is checked before it is timed.
"""

import importlib
import json
import sys
import time
from collections.abc import Callable
from math import exp
from pathlib import Path
from typing import Any

import numpy as np

from pourcall.contract.frames import RawKind
from pourcall.thermometry import thermocouple, vector
from pourcall.thermometry.compensation import to_temperature
from pourcall.thermometry.its90 import REFERENCE, TYPE_K_EXPONENTIAL

Floats = np.ndarray[Any, np.dtype[np.float64]]
POINTS = 1_000_000
SCALAR_POINTS = 20_000
EXACT_C = 1e-6


def _published_inverse() -> list[tuple[float, list[float]]]:
    """Type K's published inverse pieces, from the stored copy of SRD 60."""
    path = Path(__file__).parents[1] / "tests" / "data" / "thermocouple" / "its90_coefficients.json"
    pieces = json.loads(path.read_text(encoding="utf-8"))["types"]["K"]["inverse"]
    return [(piece["emf_min"], piece["coeffs"]) for piece in pieces]


def _best_s(work: Callable[[], object], passes: int) -> float:
    best = float("inf")
    for _ in range(passes):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def _numpy_newton(emf_uv: Floats, pieces: list[tuple[float, list[float]]]) -> Floats:
    """The usual way in numpy: seed by the published inverse polynomial, then Newton, two steps to 1e-6 degC."""
    a0, a1, a2 = TYPE_K_EXPONENTIAL
    emf = emf_uv / 1000.0
    temp = np.empty_like(emf)
    place = np.digitize(emf, [low for low, _ in pieces[1:]])
    for number, (_, coefficients) in enumerate(pieces):
        here = place == number
        temp[here] = np.polynomial.polynomial.polyval(emf[here], coefficients)
    for low_c, high_c, coefficients_mv in REFERENCE["K"]:
        here = (temp < high_c) if low_c < 0.0 else (temp >= low_c)
        t, wanted = temp[here], emf[here]
        slopes = np.polynomial.polynomial.polyder(coefficients_mv)
        for _ in range(2):
            value = np.polynomial.polynomial.polyval(t, coefficients_mv)
            slope = np.polynomial.polynomial.polyval(t, slopes)
            if low_c >= 0.0:
                bump = a0 * np.exp(a1 * (t - a2) ** 2)
                value += bump
                slope += 2.0 * a1 * (t - a2) * bump
            t = t - (value - wanted) / slope
        temp[here] = t
    return temp


def _python_newton(pieces: list[tuple[float, list[float]]]) -> Callable[[float], float]:
    """The same in plain Python, as fast as we can write it: reversed coefficients, one loop for value and slope."""
    a0, a1, a2 = TYPE_K_EXPONENTIAL
    cold = tuple(reversed(REFERENCE["K"][0].coefficients_mv))
    hot = tuple(reversed(REFERENCE["K"][1].coefficients_mv))
    seeds = [(low, tuple(reversed(coefficients))) for low, coefficients in reversed(pieces)]

    def invert(emf_uv: float) -> float:
        emf = emf_uv / 1000.0
        seed = next((c for low, c in seeds if emf >= low), seeds[-1][1])
        t = 0.0
        for c in seed:
            t = t * emf + c
        for _ in range(2):
            value = slope = 0.0
            for c in cold if emf < 0.0 else hot:
                slope = slope * t + value
                value = value * t + c
            if emf >= 0.0:
                bump = a0 * exp(a1 * (t - a2) ** 2)
                value += bump
                slope += 2.0 * a1 * (t - a2) * bump
            t -= (value - emf) / slope
        return t

    return invert


def _row(
    what: str, measured: float, unit: str, budget: str, peer: str, peer_measured: float | None, ok: bool
) -> dict[str, Any]:
    ratio = None if peer_measured is None else peer_measured / measured
    return {
        "what": what,
        "measured": measured,
        "unit": unit,
        "budget": budget,
        "peer": peer,
        "peer_measured": peer_measured,
        "ratio": ratio,
        "ok": ok,
    }


def run() -> list[dict[str, Any]]:
    """One row per figure: what, measured, unit, budget, peer, peer_measured, ratio (peer / ours), ok."""
    pieces = _published_inverse()
    random = np.random.default_rng(20260101)
    temps = random.uniform(-200.0, 1372.0, POINTS)
    emfs = vector.emf_uv("K", temps)
    rows: list[dict[str, Any]] = []

    def in_blocks() -> Floats:  # the peer gets the same blocks as we do: it is a fifth faster for it
        return np.concatenate(
            [_numpy_newton(emfs[k : k + vector.BLOCK], pieces) for k in range(0, POINTS, vector.BLOCK)]
        )

    error_c = float(np.abs(vector.temp_c("K", emfs) - temps).max())
    peer_error_c = float(np.abs(in_blocks() - temps).max())
    ours_ns = 1e9 * _best_s(lambda: vector.temp_c("K", emfs), 9) / POINTS
    numpy_ns = 1e9 * _best_s(in_blocks, 3) / POINTS
    rows.append(
        _row(
            "exact inverse, vector, 1e6 points, type K, -200..1372 degC",
            ours_ns,
            "ns/point",
            "<= 12 and >= 5 x peer",
            f"numpy polynomial + 2 Newton ({peer_error_c:.0e} degC)",
            numpy_ns,
            ours_ns <= 12.0 and numpy_ns / ours_ns >= 5.0,
        )
    )
    worst_c = error_c
    for tc_type in thermocouple.TYPES:
        own = random.uniform(*thermocouple.invertible_range_c(tc_type), POINTS // 4)
        worst_c = max(worst_c, float(np.abs(vector.temp_c(tc_type, vector.emf_uv(tc_type, own)) - own).max()))
    rows.append(
        _row(
            "largest round-trip error, all types, whole range", worst_c, "degC", "<= 1e-6", "", None, worst_c <= EXACT_C
        )
    )

    sample = emfs[:SCALAR_POINTS].tolist()
    truth = temps[:SCALAR_POINTS].tolist()
    invert = thermocouple.temp_c
    scalar_ns = 1e9 * _best_s(lambda: [invert("K", uv) for uv in sample], 9) / SCALAR_POINTS
    for name, peer in _scalar_peers(pieces):
        if peer is None:
            rows.append(
                _row(
                    f"exact inverse, scalar, beside {name}",
                    scalar_ns,
                    "ns/call",
                    "faster than the peer",
                    f"{name}: not installed, skipped",
                    None,
                    True,
                )
            )
            continue
        off_c = max(abs(peer(uv) - t) for uv, t in zip(sample[:2000], truth, strict=False))
        few = sample if name != "Brent search" else sample[:1000]
        peer_ns = 1e9 * _best_s(lambda peer=peer, few=few: [peer(uv) for uv in few], 5) / len(few)  # type: ignore[misc]
        rows.append(
            _row(
                "exact inverse, scalar, type K",
                scalar_ns,
                "ns/call",
                "faster than the peer",
                f"{name} ({off_c:.0e} degC)",
                peer_ns,
                scalar_ns < peer_ns,
            )
        )

    chain_us = 1e6 * _best_s(lambda: [to_temperature(RawKind.LINEAR_C, 666.0, 25.0, "K") for _ in sample], 5)
    chain_us /= SCALAR_POINTS
    rows.append(
        _row(
            "raw MAX31855 degrees to temperature and reason", chain_us, "us/reading", "<= 6", "", None, chain_us <= 6.0
        )
    )
    build_ms = 1e3 * _best_s(lambda: thermocouple._build("K"), 3)
    rows.append(_row("making a type's table, once per process", build_ms, "ms", "<= 40", "", None, build_ms <= 40.0))
    return rows


def _scalar_peers(pieces: list[tuple[float, list[float]]]) -> list[tuple[str, Callable[[float], float] | None]]:
    peers: list[tuple[str, Callable[[float], float] | None]] = [("polynomial + 2 Newton", _python_newton(pieces))]
    try:
        type_k = importlib.import_module("thermocouple_its90").TypeK
        peers.append(("thermocouple-its90", lambda emf_uv: float(type_k.temperature(emf_uv / 1000.0))))
    except ImportError:
        peers.append(("thermocouple-its90", None))
    try:
        brentq = importlib.import_module("scipy.optimize").brentq
        forward, (low_c, high_c) = thermocouple.emf_uv, thermocouple.temp_range_c("K")
        peers.append(
            ("Brent search", lambda uv: float(brentq(lambda t: forward("K", t) - uv, low_c, high_c, xtol=1e-7)))
        )
    except ImportError:
        peers.append(("Brent search", None))
    return peers


def main() -> int:
    """Print the rows; exit code 1 where a budget is missed."""
    rows = run()
    for row in rows:
        line = f"{'ok  ' if row['ok'] else 'MISS'} {row['what']}: {row['measured']:.3g} {row['unit']} ({row['budget']})"
        if row["peer_measured"] is not None:
            line += f"; {row['peer']}: {row['peer_measured']:.3g}, {row['ratio']:.1f} x ours"
        elif row["peer"]:
            line += f"; {row['peer']}"
        print(line)
    return 0 if all(row["ok"] for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
