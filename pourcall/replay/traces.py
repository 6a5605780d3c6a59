"""The engine over what is already recorded. A trace from a file, or a journal; the same answers as live.

Pure: rows in, readings and events out. Reading files is pourcall/drivers/trace_file.py, reading journals is
records/journal.py.
"""

import statistics
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.errors import BadTrace
from pourcall.contract.events import Output
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import CommandIn, Input, SampleIn, StartMelt, TickIn
from pourcall.contract.message import tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import Unit, to_c
from pourcall.drivers.trace_file import Column, TraceFile
from pourcall.engine.core import Engine

FURNACE, BOARD, PROBE = "replay", "file", "trace"
EMF_UV_PER = {"uV": 1.0, "mV": 1e3, "V": 1e6}
DEGREES = {"degC": Unit.C, "degF": Unit.F, "K": Unit.K}
TICK_S = 1.0


class Setup(NamedTuple):
    """How a column is to be read. cold_junction_c: for an emf; None: the file's emf is referred to 0 degC already.

    cold_column: the file's own column of the cold junction, row by row, instead.
    """

    unit: str
    tc_type: str = "K"
    sheath: str = "thin"
    place: Place = Place.MELT
    cold_junction_c: float | None = None
    rating_c: float = 1800.0
    cold_column: Column | None = None


class Step(NamedTuple):
    """One input, what the engine said to it, and the furnace after it."""

    item: Input
    outputs: list[Output]


def config_of(trace: TraceFile, setup: Setup) -> EngineConfig:
    """One probe on one board; what counts as silence follows the file's own step."""
    steps = [b - a for a, b in zip(trace.times_s, trace.times_s[1:], strict=False)]
    step_s = max(statistics.median(steps), 0.05)
    board = BoardConfig(name=BOARD, chip="", sample_s=step_s)
    probe = ProbeConfig(
        name=PROBE,
        board=BOARD,
        channel="0",
        tc_type=setup.tc_type,
        place=setup.place,
        sheath=setup.sheath,
        rating_c=setup.rating_c,
        stale_after_s=max(3.0, 2.5 * step_s),
    )
    return EngineConfig(furnace=FURNACE, rating_c=2000.0, boards=(board,), probes=(probe,))


def inputs_of(trace: TraceFile, column: Column, plan: MeltPlan, setup: Setup) -> Iterator[Input]:
    """The file as the engine's inputs: the melt begins with the first row, ticks run between the rows.

    Raises BadTrace for a unit that is neither a temperature nor an emf.
    """
    if setup.unit not in DEGREES and setup.unit not in EMF_UV_PER:
        raise BadTrace(
            tell("replay.column_unit", column=column.name, unit=setup.unit or "?"),
            where=trace.name,
            remedy=tell("replay.column_unit.remedy"),
        )
    utc_s = trace.began_utc_s or 0.0
    seq = 1
    yield CommandIn(seq=seq, mono_s=0.0, utc_s=utc_s, command=StartMelt(plan=plan, who="replay"))
    next_tick_s = TICK_S
    colds_c = cold_junctions_c(trace, setup)
    for at_s, value, cold_c in zip(trace.times_s, column.values, colds_c, strict=True):
        while next_tick_s <= at_s:
            seq += 1
            yield TickIn(seq=seq, mono_s=next_tick_s, utc_s=utc_s + next_tick_s)
            next_tick_s += TICK_S
        seq += 1
        yield SampleIn(seq=seq, mono_s=at_s, utc_s=utc_s + at_s, board=BOARD, sample=_sample(value, cold_c, setup))


def cold_junctions_c(trace: TraceFile, setup: Setup) -> Sequence[float | None]:
    """Of each row, degC; None where the row has none. Raises BadTrace for a column that is no temperature."""
    column = setup.cold_column
    if column is None:
        return (0.0 if setup.cold_junction_c is None else setup.cold_junction_c,) * len(trace.times_s)
    unit = DEGREES.get(column.unit or "degC")
    if unit is None:
        raise BadTrace(
            tell("replay.cold_unit", column=column.name, unit=column.unit),
            where=trace.name,
            remedy=tell("replay.cold_unit.remedy"),
        )
    return tuple(None if value is None else to_c(value, unit) for value in column.values)


def _sample(value: float | None, cold_c: float | None, setup: Setup) -> Sample:
    if setup.unit in EMF_UV_PER:
        raw = None if value is None else value * EMF_UV_PER[setup.unit]
        return Sample(channel="0", raw_kind=RawKind.EMF_UV, raw_value=raw, cold_junction_c=cold_c)
    degrees = None if value is None else to_c(value, DEGREES[setup.unit])
    return Sample(channel="0", raw_kind=RawKind.ITS90_C, raw_value=degrees)


def run(config: EngineConfig, items: Iterable[Input]) -> Iterator[tuple[Step, FurnaceSnapshot | None]]:
    """Feed inputs to a fresh engine. The snapshot comes with each sample only: that is where a table has a row."""
    engine = Engine(config)
    for item in items:
        outputs = engine.handle(item)
        yield Step(item, outputs), engine.snapshot() if type(item) is SampleIn else None
