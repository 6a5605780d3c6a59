"""The script language, and an operator who follows it."""

import pytest

from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import AnswerCall, MarkPower, PowerLevel
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PotSpec
from pourcall.sim.plant.metal import alloy
from pourcall.sim.plant.probe import SHEATHS, Probe
from pourcall.sim.scenarios.crew import ALL_KEYS, Crew
from pourcall.sim.scenarios.script import NAMES, Step, load_steps, parse_condition


class Fixed:
    """A watcher with given figures."""

    def __init__(self, calls: tuple[str, ...] = (), **figures: float) -> None:
        self.figures, self.calls = figures, calls

    def value(self, name: str) -> float:
        return self.figures[name]

    def heard(self, call: str) -> bool:
        return call in self.calls


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("", True),
        ("metal >= 520", True),
        ("metal > 520", False),
        ("liquid < 0.5", False),
        ("after 20", True),
        ("after 21", False),
        ("metal >= 600 or after 5", True),
        ("metal >= 600 and after 5", False),
        ("heard pour", True),
        ("heard dip", False),
        ("metal >= 600 or heard pour and after 5", True),
    ],
)
def test_conditions_mean_what_they_say(text: str, holds: bool) -> None:
    assert parse_condition(text)(Fixed(("pour",), metal=520.0, liquid=0.9, after=20.0)) is holds


@pytest.mark.parametrize("text", ["metal", "metal = 5", "colour >= 5", "after", "metal >= hot", "and", "metal >= 5 or"])
def test_nonsense_conditions_are_refused_with_advice(text: str) -> None:
    with pytest.raises(BadInput) as err:
        parse_condition(text)
    assert err.value.remedy


@pytest.mark.parametrize(
    "text",
    ['[[step]]\ndo = "fly"', '[[step]]\ndo = "lid"\nopened = true', "not toml", '[[step]]\ndo = "wait"\nwhen = "x"'],
)
def test_faulty_scripts_are_refused(text: str) -> None:
    with pytest.raises(BadInput):
        load_steps(text)


def crew_of(*steps: Step, keys: frozenset[str] = ALL_KEYS) -> Crew:
    plant = Plant(FurnaceSpec("x", 2000.0), PotSpec(), alloy("za27"), dt_s=0.5)
    return Crew(steps, plant, Probe(SHEATHS["mi_3.0"], dt_s=0.5, plant=plant), keys=keys)


def work(crew: Crew, seconds: float) -> list[object]:
    pressed: list[object] = []
    until_s = crew.plant.t_s + seconds
    while crew.plant.t_s < until_s:
        pressed += crew.act()
        crew.plant.step()
        crew.probe.step()
    return pressed


def test_every_name_can_be_watched_on_a_live_plant() -> None:
    crew = crew_of()
    crew.plant.add(1.0)
    assert all(isinstance(crew.value(name), float) for name in NAMES)


def test_steps_wait_from_the_end_of_the_step_before() -> None:
    crew = crew_of(
        Step("charge", kg=1.0), Step("lid", when="after 10", open=True), Step("lid", when="after 10", open=False)
    )
    work(crew, 9.0)
    assert not crew.plant.lid_open
    work(crew, 6.0)
    assert crew.plant.lid_open
    work(crew, 8.0)
    assert not crew.plant.lid_open


def test_a_dip_cuts_the_power_holds_and_restores_it() -> None:
    crew = crew_of(Step("charge", kg=1.0), Step("power", level="high"), Step("dip", when="after 5", for_s=20.0))
    pressed = work(crew, 60.0)
    assert [m.level for m in pressed if isinstance(m, MarkPower)] == [PowerLevel.HIGH, PowerLevel.OFF, PowerLevel.HIGH]
    assert crew.probe.place == "air"
    assert crew.power_level == "high"


def test_someone_who_presses_nothing_presses_nothing() -> None:
    crew = crew_of(Step("charge", kg=1.0), Step("power", level="high"), Step("end"), keys=frozenset())
    assert work(crew, 30.0) == []
    assert crew.plant.power_share == 1.0


def test_an_operator_answers_a_call_he_hears_and_not_an_old_one() -> None:
    crew = crew_of(Step("wait", when="after 5"), Step("key", when="heard dip", text="dip"))
    crew.hear("dip")
    assert work(crew, 20.0) == []
    crew.hear("dip")
    assert [type(each) for each in work(crew, 2.0)] == [AnswerCall]


def test_a_melt_that_never_comes_is_given_up_with_the_power_off() -> None:
    crew = crew_of(Step("power", level="high"), Step("wait", when="metal >= 900", within_s=60.0))
    work(crew, 100.0)
    assert crew.gave_up
    assert crew.done
    assert crew.plant.power_share == 0.0


def test_pours_are_marked_afterwards_with_the_time_that_passed() -> None:
    crew = crew_of(
        Step("charge", kg=1.0), Step("pour", when="after 5", kg=0.5, mould="cleat 1"), Step("end", when="after 30")
    )
    marks = [each for each in work(crew, 60.0) if type(each).__name__ == "MarkPour"]
    assert len(marks) == 1
    assert marks[0].ago_s == pytest.approx(4.0, abs=0.6)  # type: ignore[attr-defined]
    assert crew.plant.mass_kg == pytest.approx(0.5, abs=0.02)
