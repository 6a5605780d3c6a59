"""Parts for the tests of calibration: a cup or a bath from the simulator, seen as a recorded probe."""

from collections.abc import Callable

import pytest

from pourcall.calibration.correction import EmfTrace, ProbeFacts, RawSample, emf_trace
from pourcall.contract.frames import RawKind
from pourcall.sim.plant.cup import Cup, CupRun, cool_cup

FACTS = ProbeFacts("metal", "club", "K", "iec_2", "emf", "mineral_3mm")


def traced(run: CupRun) -> EmfTrace:
    """As it is read back from a record."""
    return emf_trace([RawSample(s.at_s, RawKind.EMF_UV, s.emf_uv, s.cold_junction_c) for s in run.samples], "K")


@pytest.fixture
def facts() -> ProbeFacts:
    return FACTS


@pytest.fixture
def trace_of() -> Callable[[CupRun], EmfTrace]:
    return traced


@pytest.fixture
def cooled() -> Callable[[Cup], EmfTrace]:
    return lambda cup: traced(cool_cup(cup))
