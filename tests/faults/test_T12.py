"""Fault T12: the contact comes and goes. Three changes in 60 s: intermittent, priority 2; no return by itself."""

from pourcall.contract.events import Priority
from pourcall.contract.frames import SampleFlag
from pourcall.contract.inputs import AckAlarm
from pourcall.contract.status import Reason
from tests.faults.conftest import METAL_C, Rig

DETECTOR = "intermittent"


def flicker(rig: Rig, every: int = 1) -> None:
    """Open every other sample."""
    rig.turn = getattr(rig, "turn", 0) + 1  # type: ignore[attr-defined]
    opened = (rig.turn // every) % 2 == 1  # type: ignore[attr-defined]
    rig.sample(None if opened else METAL_C, flags=int(SampleFlag.OPEN) if opened else 0)


def story(rig: Rig, broken: bool) -> None:
    rig.ready()
    rig.waits(30.0, (lambda: flicker(rig)) if broken else (lambda: rig.sample(METAL_C)))


def test_a_loose_contact_is_one_alarm_after_three_changes_and_gives_no_number(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("intermittent", Priority.ALARM, 3 * rig.T_S)
    assert {reading.temp_c for reading in rig.since(rig.broken_s + 3 * rig.T_S)} == {None}
    rig.no_call()


MAIN = test_a_loose_contact_is_one_alarm_after_three_changes_and_gives_no_number


def test_slow_changes_too_are_found_within_their_minute(rig: Rig) -> None:
    rig.ready()
    rig.waits(60.0, lambda: flicker(rig, every=20))  # a change every 10 s
    assert rig.raised("intermittent")
    assert rig.raised("intermittent")[0].alarm.raised_mono_s - rig.broken_s <= 60.0
    shown = [alarm.id for alarm in rig.alarms().values() if alarm.active and not alarm.suppressed_by]
    assert shown == ["intermittent:metal"]


def test_it_does_not_resume_by_itself_but_after_a_person_mended_it(rig: Rig) -> None:
    story(rig, broken=True)
    rig.waits(300.0, lambda: rig.sample(METAL_C), step_s=1.0)
    rig.no_number(Reason.INTERMITTENT)
    rig.no_call()
    rig.do(AckAlarm(alarm="intermittent:metal"))
    rig.waits(70.0, lambda: rig.sample(METAL_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active]
    assert rig.engine.metal.temp_c is not None


def test_the_same_run_with_a_firm_contact_raises_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    rig.silent()
