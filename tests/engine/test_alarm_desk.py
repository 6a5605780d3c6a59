"""The alarm manager: delays, silence, shelves, severity, suppression (alarms_and_signals, sections 1 and 2).

Times of the reference: re-sound after silence 30 s (IMO MSC.302(87) 7.3.5); shelves 5 to 60 minutes.
"""

import pytest

from pourcall.contract.events import AlarmState, AlarmView, Priority
from pourcall.contract.message import NOTHING
from pourcall.engine.alarms.catalogue import CATALOGUE, Scope
from pourcall.engine.alarms.manager import AlarmManager

UTC = 1_777_700_000.0


class Desk:
    """The manager with what it said, and a clock of one second."""

    def __init__(self) -> None:
        self.said: list[tuple[AlarmView, str]] = []
        self.desk = AlarmManager(lambda view, who: self.said.append((view, who)))
        self.t_s = 100.0

    def judge(self, kind: str, present: bool, *, subject: str = "small", **more: object) -> None:
        self.desk.set_condition(kind, subject, present, self.t_s, UTC + self.t_s, **more)  # type: ignore[arg-type]

    def wait(self, seconds: float) -> None:
        until_s = self.t_s + seconds
        while self.t_s < until_s - 1e-9:
            self.t_s = min(self.t_s + 0.5, until_s)
            self.desk.tick(self.t_s, UTC + self.t_s)

    def state(self, kind: str, subject: str = "small") -> AlarmState:
        return self.view(kind, subject).state if self.has(kind, subject) else AlarmState.NORMAL

    def has(self, kind: str, subject: str = "small") -> bool:
        return any(view.id == f"{kind}:{subject}" for view in self.desk.views())

    def view(self, kind: str, subject: str = "small") -> AlarmView:
        return next(view for view in self.desk.views() if view.id == f"{kind}:{subject}")

    def ack(self, key: str = "") -> int:
        return self.desk.ack(key, self.t_s, UTC + self.t_s, "shop")


@pytest.fixture
def desk() -> Desk:
    return Desk()


def test_a_temperature_alarm_waits_its_on_delay_of_two_seconds(desk: Desk) -> None:
    desk.judge("alloy_limit", True)
    desk.wait(1.5)
    assert not desk.said
    desk.wait(0.5)
    assert desk.state("alloy_limit") is AlarmState.UNACKED


def test_a_condition_shorter_than_its_delay_raises_nothing_and_leaves_no_trace(desk: Desk) -> None:
    desk.judge("alloy_limit", True)
    desk.wait(1.5)
    desk.judge("alloy_limit", False)
    desk.wait(60.0)
    assert not desk.said
    assert not desk.desk.is_up("alloy_limit", "small")


def test_two_short_conditions_do_not_add_up_to_a_long_one(desk: Desk) -> None:
    for _ in range(10):
        desk.judge("alloy_limit", True)
        desk.wait(1.5)
        desk.judge("alloy_limit", False)
        desk.wait(0.5)
    assert not desk.said


def test_an_alarm_goes_only_after_its_off_delay_of_five_seconds(desk: Desk) -> None:
    desk.judge("sensor_open", True)
    assert desk.state("sensor_open") is AlarmState.UNACKED
    desk.judge("sensor_open", False)
    desk.wait(4.5)
    assert desk.state("sensor_open") is AlarmState.UNACKED
    desk.wait(0.5)
    assert desk.state("sensor_open") is AlarmState.RTN_UNACKED
    desk.ack("sensor_open:small")
    assert desk.state("sensor_open") is AlarmState.NORMAL


def test_an_alarm_that_flickers_faster_than_its_off_delay_is_one_alarm(desk: Desk) -> None:
    for _ in range(20):
        desk.judge("sensor_open", True)
        desk.wait(1.0)
        desk.judge("sensor_open", False)
        desk.wait(1.0)
    assert len(desk.said) == 1


def test_silence_lasts_thirty_seconds_and_is_no_acknowledgement(desk: Desk) -> None:
    desk.judge("sensor_open", True)
    desk.desk.silence(desk.t_s)
    assert desk.desk.silenced_until_s == desk.t_s + 30.0
    desk.wait(29.5)
    assert desk.desk.silenced_until_s is not None
    assert desk.state("sensor_open") is AlarmState.UNACKED
    desk.wait(0.5)
    assert desk.desk.silenced_until_s is None  # what is not acknowledged sounds again
    assert desk.state("sensor_open") is AlarmState.UNACKED


def test_a_new_alarm_ends_the_silence(desk: Desk) -> None:
    desk.judge("sensor_open", True)
    desk.desk.silence(desk.t_s)
    desk.wait(5.0)
    desk.judge("link_lost", True, subject="bench")
    assert desk.desk.silenced_until_s is None


def test_an_acknowledged_alarm_comes_back_when_it_gets_worse_but_not_when_it_repeats(desk: Desk) -> None:
    desk.judge("cold_junction", True)
    desk.ack()
    desk.judge("cold_junction", True)
    assert desk.state("cold_junction") is AlarmState.ACKED
    desk.judge("cold_junction", True, priority=Priority.ALARM)
    assert desk.state("cold_junction") is AlarmState.UNACKED
    assert desk.view("cold_junction").priority is Priority.ALARM


def test_the_highest_severity_is_kept_until_acknowledged_and_clear(desk: Desk) -> None:
    desk.judge("cold_junction", True, priority=Priority.ALARM)
    desk.judge("cold_junction", True)  # falls back to a warning
    assert desk.view("cold_junction").priority is Priority.ALARM
    desk.judge("cold_junction", False)
    desk.wait(6.0)
    desk.judge("cold_junction", True)  # returns as a warning, and nobody has seen the worse one yet
    assert desk.view("cold_junction").priority is Priority.ALARM
    desk.ack()
    desk.judge("cold_junction", False)
    desk.wait(6.0)
    assert not desk.has("cold_junction")
    desk.judge("cold_junction", True)
    assert desk.view("cold_junction").priority is Priority.WARNING


@pytest.mark.parametrize("minutes", [4.9, 60.1, 0.0, -5.0, float("nan"), float("inf")])
def test_a_shelf_outside_five_to_sixty_minutes_is_refused_in_words(desk: Desk, minutes: float) -> None:
    desk.judge("sensor_open", True)
    refused = desk.desk.shelve("sensor_open:small", minutes, desk.t_s, "shop")
    assert (refused.facts["least_min"], refused.facts["most_min"]) == (5.0, 60.0)
    assert desk.view("sensor_open").shelved_until_mono_s is None


def test_a_shelf_ends_by_itself_and_the_alarm_ran_on_underneath(desk: Desk) -> None:
    desk.judge("sensor_open", True)
    assert desk.desk.shelve("sensor_open:small", 5.0, desk.t_s, "shop") == NOTHING
    desk.ack()
    assert desk.state("sensor_open") is AlarmState.ACKED
    desk.wait(299.0)
    assert desk.view("sensor_open").shelved_until_mono_s is not None
    desk.wait(1.0)
    assert desk.view("sensor_open").shelved_until_mono_s is None
    assert desk.said[-1][1] == "time"


def test_what_a_stronger_alarm_explains_runs_on_underneath_and_shows_the_truth_when_that_is_gone(desk: Desk) -> None:
    desk.judge("link_noisy", True, subject="bench")
    desk.desk.suppress(["link_noisy:bench"], "link_lost:bench")
    assert desk.view("link_noisy", "bench").suppressed_by == "link_lost:bench"
    desk.ack("link_noisy:bench")
    desk.desk.suppress(["link_noisy:bench"], "")
    assert desk.view("link_noisy", "bench").suppressed_by == ""
    assert desk.state("link_noisy", "bench") is AlarmState.ACKED


def test_an_alarm_cannot_be_suppressed_under_itself(desk: Desk) -> None:
    desk.judge("link_lost", True, subject="bench")
    desk.desk.suppress(["link_lost:bench"], "link_lost:bench")
    assert desk.view("link_lost", "bench").suppressed_by == ""


def test_acknowledging_all_names_who_for_each_and_an_unknown_one_is_an_error(desk: Desk) -> None:
    desk.judge("sensor_open", True)
    desk.judge("link_lost", True, subject="bench")
    assert desk.ack() == 2
    assert [who for _, who in desk.said[-2:]] == ["shop", "shop"]
    with pytest.raises(KeyError):
        desk.ack("sensor_open:nothing")


def test_alarms_are_listed_most_severe_first_then_oldest(desk: Desk) -> None:
    desk.judge("test", True)
    desk.t_s += 1.0
    desk.judge("sensor_open", True, subject="b")
    desk.t_s += 1.0
    desk.judge("sensor_open", True, subject="a")
    assert [view.id for view in desk.desk.views()] == ["sensor_open:b", "sensor_open:a", "test:small"]


@pytest.mark.parametrize("over", [Scope.BEFORE_LIFT, Scope.MELT])
def test_what_can_no_longer_matter_goes_at_once_and_everything_else_stays(desk: Desk, over: Scope) -> None:
    for kind in CATALOGUE:
        desk.judge(kind, True, at_once=True)
    desk.desk.withdraw_scope(over, desk.t_s, UTC + desk.t_s)
    stays = {kind.name for kind in CATALOGUE.values() if kind.scope > over}
    assert {view.kind for view in desk.desk.views() if view.active} == stays
    # as the pages say: the lift ends what warns before it, the end of the melt whatever concerns its metal
    assert {"sensor_open", "link_lost", "furnace_rating", "store_full"} <= stays
    assert not {"overshoot", "above_window"} & stays
    assert ("alloy_limit" in stays) == (over is Scope.BEFORE_LIFT)


def test_an_alarm_that_waits_to_come_is_withdrawn_too(desk: Desk) -> None:
    desk.judge("above_window", True)
    desk.wait(30.0)
    desk.desk.withdraw_scope(Scope.BEFORE_LIFT, desk.t_s, UTC + desk.t_s)
    desk.wait(120.0)
    assert not desk.said
