"""What a furnace is learned from: traces of its melts as the fit takes them, and which of them are of no use.

One melt as data, and what it lacks where it cannot be used. Pure, no arrays.
"""

from collections.abc import Sequence

import msgspec

from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.plan import AlloyFacts

LEAST_S, LEAST_RISE_C, LEAST_POINTS = 300.0, 150.0, 30
LEAST_DIPS, LEAST_DIPS_S = 3, 90.0  # dips or typed figures in one melt, and what lies between first and last
LOW = -1.0  # as a share of power: the burner's own "low"


class LearnTrace(msgspec.Struct, frozen=True, kw_only=True):
    """One melt to learn from. Times in seconds from its start; the last of `power` and `added` holds to the end.

    A probe left in the pot, dips, typed figures and a probe in the chamber all count, together or alone.
    """

    melt: str
    alloy: AlloyFacts
    charge_kg: float  # in the pot at the start
    times_s: tuple[float, ...]
    temps_c: tuple[float, ...]  # a probe left in the pot, as read
    power: tuple[tuple[float, float], ...]  # (from, share); share -1: the burner's low
    added: tuple[tuple[float, float], ...] = ()  # (at, kg)
    room_c: float = 20.0
    hot: bool = False  # the furnace was hot from the melt before
    hot_wall_c: float = 400.0  # guess of it
    sheath_s: float = 4.2
    dips: tuple[tuple[float, float, float], ...] = ()  # (at, settled or extrapolated degC, U expanded), one probe
    typed: tuple[tuple[float, float, float], ...] = ()  # the same of figures read off a meter in the metal
    chamber: tuple[tuple[float, float], ...] = ()  # (at, degC)


def why_not(trace: LearnTrace) -> Message:
    """What a trace lacks to be learned from; NOTHING where it can be."""
    lacking = {
        "probe": _lacks(trace.times_s, trace.temps_c, "metal"),
        "dips": _dips_lack(trace),
        "chamber": _lacks([at for at, _ in trace.chamber], [c for _, c in trace.chamber], "chamber"),
    }
    if all(lacking.values()):
        if trace.times_s:
            return lacking["probe"]
        if trace.dips or trace.typed:
            return lacking["dips"]
        return lacking["chamber"] if trace.chamber else tell("furnace.lacks.everything", least=LEAST_DIPS)
    if not trace.power:
        return tell("furnace.lacks.power")
    if not any(share != 0.0 for _, share in trace.power):
        return tell("furnace.lacks.power_on")
    if trace.charge_kg <= 0.0:
        return tell("furnace.lacks.charge")
    return NOTHING


def _lacks(times_s: Sequence[float], temps_c: Sequence[float], of: str) -> Message:
    """What a probe's trace lacks. of: metal or chamber."""
    if len(times_s) < LEAST_POINTS:
        return tell(f"furnace.lacks.readings.{of}", count=len(times_s), least=LEAST_POINTS)
    if times_s[-1] - times_s[0] < LEAST_S:
        return tell("furnace.lacks.time", lasts_s=times_s[-1] - times_s[0], least_s=LEAST_S)
    return _flat(max(temps_c) - min(temps_c))


def _dips_lack(trace: LearnTrace) -> Message:
    """What dips and typed figures lack: that the metal began at the room's temperature is a figure, too."""
    figures = sorted((*trace.dips, *trace.typed))
    if len(figures) < LEAST_DIPS:
        return tell("furnace.lacks.dips", count=len(figures), least=LEAST_DIPS)
    within_s = figures[-1][0] - figures[0][0]
    if within_s < LEAST_DIPS_S:
        return tell("furnace.lacks.time_between_dips", within_s=within_s, least_s=LEAST_DIPS_S)
    return _flat(max(c for _, c, _ in figures) - trace.room_c)


def _flat(span_c: float) -> Message:
    if span_c >= LEAST_RISE_C:
        return NOTHING
    return tell("furnace.lacks.rise", span_difference_c=span_c, least_difference_c=LEAST_RISE_C)


class Fitted(msgspec.Struct, frozen=True):
    """The model, and how each trace was met: (melt, root mean square in degC, points)."""

    model: FurnaceModel
    traces: tuple[tuple[str, float, int], ...]
    refused: tuple[tuple[str, Told], ...]  # (melt, what it lacks)
    cost: float


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """What the worker is asked."""

    prior: FurnaceModel
    traces: tuple[LearnTrace, ...]
    utc_s: float
    version: int
    pairs: tuple[tuple[float, float], ...] = ()  # (metal degC, panel degC) while both stood still
