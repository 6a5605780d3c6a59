"""Where the furnace can have put the metal: no power, no rise; full power, at least so much.

Heat of the metal: the enthalpy curves of the sheets, held against CALPHAD in tests/metal. Radiation: Stefan and
Boltzmann, constant from CODATA 2018. How slowly a furnace coasts: the simulated plant, four bodies and air.
"""

import math
import random
from collections.abc import Callable
from functools import cache, partial

import msgspec
import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import PanelConfig
from pourcall.contract.events import CallKind, MeltState
from pourcall.contract.frames import BoardStatus
from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.inputs import AckAlarm, Answer, AnswerCall, MarkPower, PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.reading import ProbeState
from pourcall.contract.status import Reason, Status
from pourcall.engine.core import Engine
from pourcall.engine.sensing.heat_bounds import HeatBounds
from pourcall.engine.sensing.heat_ceiling import coast_tau_s
from pourcall.engine.sensing.heat_floor import weakest
from pourcall.furnace.model import usual_model
from pourcall.metal.heat.curve import curve_of
from pourcall.sim.scenarios.foresee import Seen, Workshop
from tests.engine.conftest import ZA27, Bench, make_plan

OFF, HIGH = PowerLevel.OFF, PowerLevel.HIGH
COASTED_S = 1500.0


class Board:
    """A sample of a sound board: noise, and steps of a quarter of a degree."""

    def __init__(self, seed: int = 3) -> None:
        self._noise = random.Random(seed)

    def __call__(self, temp_c: float) -> float:
        return round(4.0 * (temp_c + self._noise.gauss(0.0, 0.25))) / 4.0


def seconds(bench: Bench, lasts_s: float, temp_c: Callable[[float], float], *, step_s: float = 2.0) -> None:
    board = Board()
    bench.run(lasts_s, lambda t: board(temp_c(t)), step_s=step_s)


def coasted(bench: Bench, at_c: float = 520.0) -> None:
    """Liquid metal, its power cut so long ago that the wall has given its heat."""
    bench.start()
    bench.do(MarkPower(level=HIGH))
    bench.run(5.0, 20.0)
    bench.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    seconds(bench, 120.0, lambda t: at_c - 20.0 + t / 6.0)
    bench.do(MarkPower(level=OFF))
    seconds(bench, COASTED_S, lambda t: at_c, step_s=5.0)


def first_s(bench: Bench, found: Callable[[ev.Output], bool], since_s: float) -> float:
    """Seconds from a moment to the first output of a kind."""
    for out in bench.outs:
        at_s = getattr(out, "mono_s", getattr(out, "at_mono_s", None))
        if found(out) and at_s is not None and at_s >= since_s:
            return float(at_s) - since_s
    raise AssertionError("never said")


def is_call(out: ev.Output) -> bool:
    return isinstance(out, ev.CallChanged) and out.call.kind is CallKind.CHECK_POWER and out.how == "raised"


def is_alarm(out: ev.Output) -> bool:
    return isinstance(out, ev.AlarmChanged) and out.alarm.kind == "unexplained" and out.alarm.active


def last_of(bench: Bench) -> tuple[Reason, Status]:
    last = bench.engine.channels[0].last
    assert last is not None
    return last.reason, last.status


# -- no power, no rise ------------------------------------------------------------------------------------------------


def climbing(bench: Bench, rate_c_per_min: float = 8.0, lasts_s: float = 600.0) -> float:
    coasted(bench)
    began_s = bench.t_s
    seconds(bench, lasts_s, lambda t: 520.0 + rate_c_per_min * t / 60.0)
    return began_s


def test_a_figure_that_climbs_without_power_is_asked_about_within_four_minutes_and_unexplained_within_six() -> None:
    bench = Bench()
    began_s = climbing(bench)
    assert first_s(bench, is_call, began_s) <= 240.0
    assert first_s(bench, is_alarm, began_s) <= 360.0
    assert last_of(bench) == (Reason.UNEXPLAINED, Status.UNCERTAIN)
    assert bench.engine.metal.temp_c is None
    assert bench.up(CallKind.POUR) is None


def blind_to_heat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the detector out."""
    monkeypatch.setattr(HeatBounds, "look", lambda self, now: None)


def said_of(bench: Bench) -> list[ev.Output]:
    return [out for out in bench.outs if is_call(out) or is_alarm(out)]


def test_without_the_bounds_a_climb_without_power_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    blind_to_heat(monkeypatch)
    bench = Bench()
    climbing(bench)
    assert not said_of(bench)
    assert bench.engine.metal.temp_c is not None


def until_asked(bench: Bench) -> None:
    climbing(bench, lasts_s=240.0)
    assert bench.up(CallKind.CHECK_POWER)
    assert bench.engine.metal.temp_c is not None, "asked first"


def test_a_caster_who_says_that_the_power_is_off_loses_the_figure_at_once() -> None:
    bench = Bench()
    until_asked(bench)
    bench.do(AnswerCall(call="check_power", answer=Answer.DONE))
    seconds(bench, 10.0, lambda t: 552.0 + t / 8.0)
    assert last_of(bench)[0] is Reason.UNEXPLAINED
    assert "unexplained:metal" in bench.alarms()


def test_a_caster_who_forgot_to_mark_the_power_marks_it_and_keeps_the_figure() -> None:
    bench = Bench()
    until_asked(bench)
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 200.0, lambda t: 552.0 + t / 8.0)
    assert bench.up(CallKind.CHECK_POWER) is None
    assert not bench.alarms().keys() & {"unexplained:metal", "power_not_obeying:small"}
    assert bench.engine.channels[0].trusted


def test_who_marks_it_too_late_has_explained_it_and_has_the_figure_back() -> None:
    bench = Bench()
    climbing(bench)
    assert last_of(bench)[0] is Reason.UNEXPLAINED
    bench.do(MarkPower(level=HIGH))
    seconds(bench, 120.0, lambda t: 600.0 + t / 8.0)
    assert bench.engine.channels[0].trusted
    assert last_of(bench)[0] is Reason.OK


def test_acknowledged_it_is_believed_again_from_where_it_stands() -> None:
    bench = Bench()
    climbing(bench)
    bench.do(AckAlarm(alarm="unexplained:metal"))
    seconds(bench, 300.0, lambda t: 600.0)
    assert bench.engine.channels[0].trusted
    assert not [alarm for alarm in bench.alarms().values() if alarm.kind == "unexplained" and alarm.active]


def test_limits_of_alloy_and_pot_are_judged_on_though_the_figure_is_doubted() -> None:
    bench = Bench()
    climbing(bench, rate_c_per_min=20.0, lasts_s=420.0)
    assert last_of(bench)[0] is Reason.UNEXPLAINED
    assert bench.engine.situation.for_limits_c is not None
    assert bench.engine.situation.for_limits_c > 600.0
    assert bench.alarms()["alloy_limit:small"].active or bench.alarms()["pot_limit:small"].active


# -- full power, at least so much -------------------------------------------------------------------------------------


def flat(bench: Bench, at_c: float, lasts_s: float, level: PowerLevel | None = HIGH) -> float:
    """A cold charge warms to a temperature and the figure stays there, with its noise."""
    bench.start()
    if level is not None:
        bench.do(MarkPower(level=level))
    began_s = bench.t_s
    seconds(bench, lasts_s, lambda t: 20.0 + min(at_c - 20.0, t / 4.0), step_s=5.0)
    return began_s


def test_a_figure_flat_below_the_solidus_at_full_power_is_unexplained_within_an_hour_in_any_furnace() -> None:
    bench = Bench()
    began_s = flat(bench, 150.0, 3600.0)
    assert first_s(bench, is_call, began_s) < first_s(bench, is_alarm, began_s) <= 3600.0
    assert last_of(bench) == (Reason.UNEXPLAINED, Status.UNCERTAIN)


def test_flat_without_the_bounds_is_never_doubted(monkeypatch: pytest.MonkeyPatch) -> None:
    blind_to_heat(monkeypatch)
    bench = Bench()
    flat(bench, 150.0, 3600.0)
    assert not said_of(bench)


@pytest.mark.parametrize("at_c", [380.0, 478.0])
def test_a_long_plateau_of_the_alloy_at_full_power_is_no_doubt(at_c: float) -> None:
    bench = Bench()
    flat(bench, at_c, 5400.0)
    assert not said_of(bench)


@pytest.mark.parametrize("level", [None, OFF, PowerLevel.LOW])
def test_a_charge_that_stays_cold_without_full_power_is_no_doubt(level: PowerLevel | None) -> None:
    bench = Bench()
    flat(bench, 60.0, 3600.0, level)
    assert not said_of(bench)


def test_where_a_panel_may_hold_full_power_by_the_knob_says_nothing() -> None:
    bench = Bench()
    panelled(bench)
    flat(bench, 150.0, 3600.0)
    assert not said_of(bench)


def test_a_panel_and_a_board_that_applies_full_power_do_not_hold() -> None:
    bench = Bench()
    panelled(bench)
    bench.start()
    bench.do(MarkPower(level=HIGH))
    under(bench, 1000, 3600.0, lambda t: 20.0 + min(130.0, t / 4.0))
    assert last_of(bench)[0] is Reason.UNEXPLAINED


def panelled(bench: Bench) -> None:
    config = msgspec.structs.replace(bench.engine.config, panel=PanelConfig())
    bench.engine = Engine(config)


def applied(bench: Bench, permille: int) -> None:
    bench.put(inp.BoardStatusIn, board="bench", status=BoardStatus(1, 0, 1, 0, permille, 0))


def under(bench: Bench, permille: int, lasts_s: float, temp_c: Callable[[float], float]) -> None:
    """A board that says what it applies about as often as the firmware does."""
    board = Board()

    def reads(t: float) -> float:
        applied(bench, permille)
        return board(temp_c(t))

    applied(bench, permille)
    bench.run(lasts_s, reads, step_s=2.0)


# -- on a plant: a half-shorted couple, a relay stuck on, honest coasts -----------------------------------------------

# An electric furnace for ZA-27 as `fit` learned it from three melts of that workshop (benchmarks/bench_foresight.py).
SEED = 7001
LEARNED = {
    "power_w": 1859.0,
    "wall_j_per_k": 1505.0,
    "loss_w_per_k": 0.897,
    "exchange_m2": 0.032,
    "contact_w_per_k": 29.27,
    "limit_c": 1077.6,
    "pot_j_per_k": 513.7,
}


@cache
def learned() -> FurnaceModel:
    usual = usual_model("small", power_w=1859.0)
    mean = tuple(
        math.log(LEARNED.get(name, math.exp(value))) for name, value in zip(PARAMETERS, usual.mean, strict=True)
    )
    cov = tuple(tuple(0.01 if i == j else 0.0 for j in range(len(mean))) for i in range(len(mean)))
    return msgspec.structs.replace(usual, version=3, mean=mean, cov=cov)


class Shop:
    """A workshop of the simulator and the engine beside it; a couple that reads true unless told otherwise."""

    def __init__(self, *, model: FurnaceModel | None, number: int = 4, hot: bool = False) -> None:
        self.workshop = Workshop(SEED)
        self.bout = self.workshop.bout(number, hot=hot)
        self.bench = Bench(sheath="mineral_6mm")
        low_c, high_c = self.workshop.tap_c
        plan = make_plan(lip=(low_c - 15.0, high_c - 15.0), limit_c=high_c + 60.0)
        plan = msgspec.structs.replace(plan, alloy=self.workshop.facts, charge_kg=self.bout.charge_kg)
        self.bench.run(5.0, self.bout.second("off").reading_c, step_s=1.0)
        self.bench.do(inp.StartMelt(plan=plan, model=model))
        self.seen = self.bout.second("off")

    def melts(
        self, level: str, until: Callable[[Seen], bool], reads: Callable[[float], float] = lambda temp_c: temp_c
    ) -> None:
        bench, until_s = self.bench, self.bout.t_s + 7200.0
        while self.bout.t_s < until_s:
            self.seen = self.bout.second(level)
            if self.seen.added_kg:
                bench.do(inp.MarkAddition(mass_kg=self.seen.added_kg))
            if self.seen.t_s % 4 == 0:
                bench.run(4.0, reads(self.seen.reading_c), step_s=4.0)
            if until(self.seen):
                return

    def mark(self, level: PowerLevel) -> float:
        self.bench.do(MarkPower(level=level))
        return self.bench.t_s

    def to_window(self) -> None:
        self.mark(HIGH)
        self.melts("high", lambda seen: seen.metal_c >= self.workshop.tap_c[0] - 10.0)

    def for_s(self, lasts_s: float) -> Callable[[Seen], bool]:
        end_s = self.bout.t_s + lasts_s
        return lambda seen: seen.t_s >= end_s


def half(temp_c: float) -> float:
    """Wires that touch half-way: the couple reads the touch point (fault row T3)."""
    return 20.0 + 0.5 * (temp_c - 20.0)


def test_a_half_shorted_couple_on_a_learned_furnace_is_unexplained_before_the_bath_is_too_hot() -> None:
    shop = Shop(model=learned())
    shop.mark(HIGH)
    shop.melts("high", lambda seen: "unexplained:metal" in shop.bench.alarms(), half)
    shop.melts("high", shop.for_s(8.0), half)  # the next readings say so too
    assert last_of(shop.bench) == (Reason.UNEXPLAINED, Status.UNCERTAIN)
    assert shop.seen.metal_c < shop.workshop.tap_c[1] + 60.0


@pytest.mark.parametrize(("model", "within_s"), [(None, 600.0), (learned(), 300.0)], ids=["never_learned", "learned"])
def test_power_stuck_on_after_the_cut_is_said(model: FurnaceModel | None, within_s: float) -> None:
    shop = Shop(model=model)
    shop.to_window()
    cut_s = shop.mark(OFF)
    shop.melts("high", shop.for_s(900.0))
    assert first_s(shop.bench, is_call, cut_s) <= within_s
    assert first_s(shop.bench, is_alarm, cut_s) <= within_s + 130.0


def test_a_board_that_says_it_still_applies_power_is_an_alarm_in_twelve_seconds_and_the_figure_stays() -> None:
    bench = Bench()
    bench.in_metal(520.0)
    bench.do(MarkPower(level=OFF))
    began_s = bench.t_s
    under(bench, 1000, 300.0, lambda t: 520.0 + t / 8.0)
    alarm = bench.alarms()["power_not_obeying:small"]
    assert alarm.active
    assert alarm.raised_mono_s - began_s <= 12.0
    assert not said_of(bench)
    assert bench.engine.channels[0].trusted
    applied(bench, 0)
    seconds(bench, 10.0, lambda t: 557.0)
    assert not bench.alarms()["power_not_obeying:small"].active


@pytest.mark.parametrize("model", [None, learned()], ids=["never_learned", "learned"])
@pytest.mark.parametrize(("number", "hot"), [(4, False), (5, True), (6, False)])
def test_a_melt_its_coast_and_the_hour_after_are_no_doubt(
    model: FurnaceModel | None, number: int, *, hot: bool
) -> None:
    shop = Shop(model=model, number=number, hot=hot)
    shop.to_window()
    shop.mark(OFF)
    shop.melts("off", shop.for_s(1800.0))
    shop.mark(HIGH)
    shop.melts("high", shop.for_s(120.0))
    shop.mark(OFF)
    shop.melts("off", shop.for_s(1200.0))
    assert not said_of(shop.bench)


def _falls_and_comes_back(fell_c: float, at_s: float) -> float:
    """In twenty seconds down, in some three minutes up again."""
    return 520.0 - fell_c * min(1.0, at_s / 20.0, (240.0 - at_s) / 200.0)


def test_cold_metal_lid_and_skim_after_the_cut_are_no_rise() -> None:
    bench = Bench()
    coasted(bench)
    for fell_c in (25.0, 12.0, 4.0):  # returns that nobody marked, a lid, a skim
        seconds(bench, 240.0, partial(_falls_and_comes_back, fell_c))
        seconds(bench, 120.0, lambda t: 521.0)
    assert not said_of(bench)


def test_a_second_melt_in_a_hot_furnace_whose_power_is_still_marked_off_is_no_rise_up_to_where_it_was() -> None:
    bench = Bench()
    coasted(bench)
    bench.do(inp.EndMelt(ending=inp.MeltEnding.POURED))
    bench.start(make_plan(melt="2026-015"))
    seconds(bench, 1200.0, lambda t: 60.0 + min(450.0, t / 2.0))
    assert not said_of(bench)


def test_a_board_that_drives_nothing_does_not_say_that_the_power_is_off() -> None:
    bench = Bench()
    bench.in_metal(520.0)
    under(bench, 0, 1800.0, lambda t: 520.0)
    under(bench, 0, 400.0, lambda t: 520.0 + t / 8.0)
    assert not said_of(bench)


# -- the bounds alone -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("charge_kg", [0.5, 1.5, 5.0])
def test_heat_from_the_wall_dies_away_as_radiation_and_heat_capacity_say(charge_kg: float) -> None:
    """Heat capacity over 4 eps sigma T^3 A: of the order of minutes for a pot (Incropera, radiation coefficient)."""
    assert 150.0 < coast_tau_s(ZA27, curve_of(ZA27), charge_kg) < 600.0


def test_a_furnace_of_which_nothing_is_known_has_no_weakest() -> None:
    assert weakest(None) is None
    assert weakest(usual_model("small", kind="fuel")) is None
    stated, known = weakest(usual_model("small", power_w=1859.0)), weakest(learned())
    assert stated is not None
    assert known is not None
    assert stated.power_w < known.power_w < LEARNED["power_w"]


def test_while_the_power_is_in_question_the_one_situation_holds_the_pour_back_and_says_why() -> None:
    bench = Bench()
    until_asked(bench)
    assert bench.engine.judgement is not None
    assert not bench.engine.judgement.pour
    assert bench.engine.judgement.held == tell("call.pour.power_in_question")
    bench.do(AnswerCall(call="check_power", answer=Answer.NOT_NOW))
    bench.run(1.0, 552.0)
    shot = bench.engine.snapshot()
    assert shot.melt_state is MeltState.READY
    assert shot.instruction.text == tell("instruction.held", held=tell("call.pour.power_in_question"))
