"""Fault T9: another type of couple than is set. One alarm `type_suspect` (3), and no call till a person answers.

By the reference functions (ITS-90, through `emf_uv`): the couple gives the emf of its own type, the program reads it
as type K. The metal warms by the enthalpy curve of its sheet, so that it stands where metal stands, and is heated past
its window whatever is said: a wrong figure must be found out before that does harm.
"""

import random
from collections.abc import Callable, Iterator

import pytest

from pourcall.contract.events import CallKind, Priority
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.inputs import AckAlarm, MarkPower, MarkSkim, PowerLevel, SampleIn, SetProbeState, StartMelt
from pourcall.contract.plan import AlloyFacts, AlloyHalts
from pourcall.contract.reading import ProbeState
from pourcall.contract.status import Reason, Status
from pourcall.metal.alloys.sheet import load_sheets
from pourcall.metal.heat.curve import curve_of
from pourcall.thermal_analysis.arrest_check import halts_of
from pourcall.thermal_analysis.couple_type import read_as
from pourcall.thermometry.thermocouple import emf_uv, temp_c
from tests.engine.conftest import make_plan
from tests.faults.conftest import Rig
from tests.told import name_of

DETECTOR = "type_suspect"
TERMINALS_C = 31.0
WINDOW_C = (550.0, 590.0)  # of the bench's plan, in the pot
SHEETS = load_sheets()
HALTS: tuple[AlloyHalts, ...] = tuple(halts_of(sheet.facts()) for sheet in SHEETS.all())
ZA27 = SHEETS.get("za27").facts()


def heats(facts: AlloyFacts, *, to_c: float, from_c: float = 200.0, c_per_s: float = 0.8) -> Iterator[float]:
    """What the metal is at, each second, at a steady power: by the heat that its sheet says it takes."""
    curve = curve_of(facts)
    heat, at_c = curve.enthalpy(from_c), from_c
    while at_c < to_c:
        heat += c_per_s * facts.cp_solid_j_per_kg_k
        at_c = curve.temp_c(heat)
        yield at_c


def story(
    rig: Rig,
    couple: str,
    *,
    metal: AlloyFacts = ZA27,
    to_c: float = 700.0,
    until: Callable[[], bool] = lambda: False,
    others: tuple[AlloyHalts, ...] = (),
) -> float:
    """A melt of ZA-27 from cold at full power; what the metal is truly at where it ends. The fault begins to show
    where the metal first does what no solid does: there the time to detect begins."""
    rig.put_link_opened()
    rig.do(StartMelt(plan=make_plan(), others=others))
    rig.do(MarkSkim())
    rig.do(MarkPower(level=PowerLevel.HIGH))
    rig.do(SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    noise, at_c, trace = random.Random(9), [0.0], heats(metal, to_c=to_c, from_c=min(200.0, metal.solidus_c - 120.0))

    def sample() -> None:
        at_c[0] = next(trace, to_c)
        seen_uv = emf_uv(couple, at_c[0]) - emf_uv(couple, TERMINALS_C) + noise.gauss(0.0, 4.0)
        rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.EMF_UV, seen_uv, TERMINALS_C, 0))

    while at_c[0] < to_c and not until():
        if at_c[0] < metal.solidus_c:
            rig.breaks()
        rig.waits(1.0, sample, step_s=1.0)
    return at_c[0]


def asked(rig: Rig) -> bool:
    return bool(rig.raised("type_suspect"))


def test_type_j_read_as_type_k_is_asked_about_before_any_pour_is_called_on_metal_that_melts(rig: Rig) -> None:
    at_c = story(rig, "J", until=lambda: asked(rig))
    rig.one_alarm("type_suspect", Priority.WARNING, 400.0)
    assert at_c < ZA27.liquidus_c  # all of it is not liquid yet, and 580 degC is read
    assert not rig.calls(CallKind.POUR, "raised")
    rig.no_call()


MAIN = test_type_j_read_as_type_k_is_asked_about_before_any_pour_is_called_on_metal_that_melts


def test_type_n_read_as_type_k_is_asked_about_before_the_bath_is_far_over_its_window(rig: Rig) -> None:
    at_c = story(rig, "N", until=lambda: asked(rig))
    rig.one_alarm("type_suspect", Priority.WARNING, 1200.0)
    assert at_c < WINDOW_C[1] + 10.0  # it reads a hundred degrees less, and would have read so for ever
    assert not rig.calls(CallKind.POUR, "raised")


def test_it_is_shown_meanwhile_counts_for_nothing_and_is_believed_once_a_person_has_answered(rig: Rig) -> None:
    story(rig, "N", to_c=600.0)
    last = rig.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.status) == (Reason.UNPROVEN, Status.UNCERTAIN)
    assert rig.engine.metal.temp_c is None
    rig.do(AckAlarm(alarm="type_suspect:metal"))
    emf = emf_uv("K", 570.0) - emf_uv("K", 25.0)
    rig.waits(90.0, lambda: rig.put(SampleIn, board="bench", sample=Sample("0", RawKind.EMF_UV, emf, 25.0, 0)))
    assert rig.engine.metal.temp_c == pytest.approx(570.0, abs=0.1)
    assert len(rig.raised("type_suspect")) == 1


def test_the_right_couple_is_asked_nothing_and_its_pour_is_called(rig: Rig) -> None:
    story(rig, "K", to_c=575.0, others=HALTS)
    assert not rig.said_of("type_suspect")
    assert rig.calls(CallKind.POUR, "raised")


@pytest.mark.parametrize("charged", ["alloy3", "za8", "zinc", "lead"])
def test_another_alloy_in_the_pot_is_no_other_couple(rig: Rig, charged: str) -> None:
    story(rig, "K", metal=SHEETS.get(charged).facts(), to_c=560.0, others=HALTS)
    assert not rig.said_of("type_suspect")


def test_where_another_alloy_would_explain_it_too_both_are_said(rig: Rig) -> None:
    # type N: ZA-27 melts at 304 to 398 degC as read, about where a shop that also casts this one has its sheet
    like = AlloyHalts("like", "the other one", "zinc", 304.0, 398.0, latent_k=230.0)
    story(rig, "N", until=lambda: asked(rig), others=(like,))
    (alarm,) = rig.alarms().values()
    assert alarm.kind == "type_suspect"
    told = rig.engine.channels[0].trust.why
    assert name_of(told) == "arrest.wrong_couple_or_alloy"
    assert (told.facts["types"], told.facts["like"]) == ("N", "the other one")


# Reference tables of IEC 60584-1 (from memory): type J 21.848 mV at 400 degC, type K 20.644 mV at 500 degC, type N
# 20.613 mV at 600 degC, terminals at 0 degC.
@pytest.mark.parametrize(
    ("couple", "emf_mv", "true_c"), [("J", 21.848, 400.0), ("K", 20.644, 500.0), ("N", 20.613, 600.0)]
)
def test_a_figure_is_read_again_as_another_type_by_its_microvolts(couple: str, emf_mv: float, true_c: float) -> None:
    for set_type in ("K", "J", "N", "E"):
        reads_c = temp_c(set_type, 1000.0 * emf_mv)
        assert read_as(couple, reads_c, set_type, 0.0) == pytest.approx(true_c, abs=0.05)


def test_beyond_a_type_nothing_is_read() -> None:
    assert read_as("T", 1200.0, "K", 25.0) is None
    assert read_as("K", 1400.0, "K", 25.0) is None
