"""How far a probe is believed: one memory for every way of losing a figure. The clock is an argument."""

from itertools import product

import pytest

from pourcall.contract.events import AlarmChanged, AlarmState, CallKind, MeltState
from pourcall.contract.frames import SampleFlag
from pourcall.contract.inputs import AckAlarm, MarkPower, PowerLevel
from pourcall.contract.message import NOTHING
from pourcall.contract.reading import Place
from pourcall.contract.status import Reason, Status
from pourcall.engine.sensing.trust import (
    TRUST_STAYS,
    TRUST_TABLE,
    Cause,
    Level,
    Trust,
    TrustEvent,
    TrustState,
)
from tests.engine.conftest import Bench
from tests.engine.test_heat_bounds import coasted, seconds

METAL_C = 570.0


def test_every_state_and_event_pair_is_decided_exactly_once() -> None:
    assert set(TRUST_TABLE) | TRUST_STAYS == set(product(TrustState, TrustEvent))
    assert not set(TRUST_TABLE) & TRUST_STAYS


def fed(trust: Trust, from_s: float, to_s: float, temp_c: float | None) -> None:
    at_s = from_s
    while at_s < to_s:
        if temp_c is None:
            trust.lost(at_s, Level(from_s - 1.0, METAL_C, 0.0))
        else:
            trust.figure(at_s, temp_c, in_metal=True)
        at_s += 1.0


def test_one_missing_sample_is_no_matter_when_it_is_back_where_it_was() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    fed(trust, 10.0, 11.0, None)
    fed(trust, 11.0, 12.0, METAL_C)
    assert trust.trusted


def test_one_missing_sample_after_which_it_reads_something_else_is_not_believed() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    fed(trust, 10.0, 11.0, None)
    fed(trust, 11.0, 60.0, METAL_C + 60.0)
    assert trust.state is TrustState.DISTRUSTED


def test_a_couple_that_leaps_above_all_it_ever_read_after_it_was_lost_is_not_believed_again() -> None:
    """As the couples of a published fire test did (tests/data/traces/PROVENANCE.md): lost, back, 1241, nonsense."""
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    for at_s in map(float, range(10, 40)):
        trust.lost(at_s, None)  # it seemed to leave the metal: no level to come back to
    for at_s, temp_c in ((40.0, 560.0), (41.0, 1157.0), *((at_s, 575.0) for at_s in map(float, range(42, 900)))):
        trust.figure(at_s, temp_c, in_metal=False)
    assert trust.state is TrustState.DISTRUSTED


def restarted(trust: Trust, at_s: float) -> Trust:
    """Another process, that knows what the record was told of it last."""
    again = Trust()
    assert trust.doubted is not None
    again.goes_on(at_s, trust.doubted, NOTHING)
    return again


def test_what_leaps_above_all_it_ever_read_does_so_over_a_restart_too() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    for at_s in range(10, 20):
        trust.lost(float(at_s), None)
    fed(trust, 20.0, 25.0, METAL_C)
    trust = restarted(trust, 25.0)
    fed(trust, 25.0, 27.0, METAL_C)
    fed(trust, 27.0, 28.0, METAL_C + 250.0)
    assert trust.state is TrustState.DISTRUSTED


def test_what_was_shaken_in_the_metal_proves_itself_in_the_metal_alone_over_a_restart_too() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    trust.shaken(10.0)
    trust = restarted(trust, 11.0)
    for at_s in range(11, 200):
        trust.figure(float(at_s), METAL_C, in_metal=False)
    assert trust.state is TrustState.PROVING
    fed(trust, 200.0, 270.0, METAL_C)
    assert trust.trusted


def test_what_is_lost_again_before_it_is_known_that_it_was_lost_before_was_away_since_then() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    fed(trust, 10.0, 200.0, None)
    again = Trust()
    fed(again, 200.0, 202.0, None)
    assert trust.doubted is not None
    again.goes_on(202.0, trust.doubted, NOTHING)
    fed(again, 202.0, 380.0, METAL_C)
    assert again.state is TrustState.PROVING
    fed(again, 380.0, 400.0, METAL_C)
    assert again.trusted


def test_a_probe_that_comes_back_cold_and_is_dipped_may_read_hotter_than_before() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    for at_s in map(float, range(10, 40)):
        trust.lost(at_s, None)
    for at_s, temp_c in (
        (40.0, 30.0),
        (60.0, 30.0),
        (63.0, 640.0),
        *((at_s, 650.0) for at_s in map(float, range(64, 400))),
    ):
        trust.figure(at_s, temp_c, in_metal=temp_c > 600.0)
    assert trust.trusted


@pytest.mark.parametrize("melted_before", [False, True])
def test_a_thin_probe_warmed_over_the_furnace_and_lost_for_a_moment_may_be_dipped(melted_before: bool) -> None:
    trust = Trust()
    if melted_before:  # another alloy, a batch ago
        fed(trust, -900.0, -800.0, 450.0)
        trust.new_melt()
    for at_s in map(float, range(20)):
        trust.figure(at_s, 20.0 + 12.0 * at_s, in_metal=False)
    for at_s in (20.0, 21.0, 22.0):
        trust.lost(at_s, None)
    trust.figure(23.0, 245.0, in_metal=False)
    for at_s in map(float, range(24, 120)):
        trust.figure(at_s, 560.0 - 315.0 * 2.718 ** -(at_s - 23.0), in_metal=at_s > 30.0)
    assert trust.trusted


def test_what_a_bath_can_have_risen_since_the_last_dip_is_no_leap() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, 480.0)
    for at_s in map(float, range(10, 310)):
        trust.figure(at_s, 230.0, in_metal=False)
    for at_s in (310.0, 311.0, 312.0):
        trust.lost(at_s, None)
    trust.figure(313.0, 230.0, in_metal=False)
    for at_s in map(float, range(314, 400)):
        trust.figure(at_s, 590.0, in_metal=at_s > 320.0)
    assert trust.trusted


def test_a_figure_that_sank_as_no_bath_does_before_it_was_lost_may_not_come_back_far_below() -> None:
    assert Level(0.0, 714.0, -20.0).could_be(670.0, 360.0)
    assert not Level(0.0, 714.0, -105.0).could_be(604.0, 360.0)


def test_what_was_lost_in_the_metal_proves_itself_in_the_metal_alone() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    fed(trust, 10.0, 40.0, None)
    for second in range(40, 200):
        trust.figure(float(second), METAL_C, in_metal=False)
    assert trust.state is TrustState.PROVING
    fed(trust, 200.0, 225.0, METAL_C)
    assert not trust.trusted
    fed(trust, 225.0, 235.0, METAL_C)
    assert trust.trusted


@pytest.mark.parametrize(("gone_s", "quiet_s"), [(5.0, 30.0), (86.0, 86.0), (300.0, 300.0)])
def test_a_figure_that_was_gone_proves_itself_by_as_long_a_quiet(gone_s: float, quiet_s: float) -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    back_s = 10.0 + gone_s
    fed(trust, 10.0, back_s, None)
    fed(trust, back_s, back_s + quiet_s - 2.0, METAL_C)
    assert not trust.trusted
    assert trust.alarm is Cause.INTERMITTENT
    fed(trust, back_s + quiet_s - 2.0, back_s + quiet_s + 2.0, METAL_C)
    assert trust.trusted
    assert trust.alarm == ""


def unplugged(trust: Trust, *, back_c: float, quiet_s: float) -> None:
    """Out of the metal, gone for 300 s, back at this temperature for so long."""
    for second in range(310):
        if second < 10:
            trust.figure(float(second), 24.0, in_metal=False)
        else:
            trust.lost(float(second), None)
    for second in range(310, 310 + round(quiet_s)):
        trust.figure(float(second), back_c, in_metal=False)


def test_a_probe_unplugged_out_of_the_metal_and_plugged_in_again_is_believed_after_half_a_minute() -> None:
    trust = Trust()
    unplugged(trust, back_c=24.0, quiet_s=29.0)
    assert not trust.trusted
    trust = Trust()
    unplugged(trust, back_c=24.0, quiet_s=32.0)
    assert trust.trusted


def test_one_that_was_gone_for_minutes_and_comes_back_hot_is_believed_only_when_a_person_has_looked() -> None:
    """Quiet alone proves nothing where no level is known that it could agree with: shorted couples are quiet."""
    trust = Trust()
    unplugged(trust, back_c=560.0, quiet_s=290.0)
    assert trust.state is TrustState.PROVING
    trust = Trust()
    unplugged(trust, back_c=560.0, quiet_s=310.0)
    assert trust.state is TrustState.DISTRUSTED
    trust.person(1_300.0)  # it has been quiet for longer than it was away and doubted
    assert trust.trusted


def test_a_figure_that_comes_back_elsewhere_is_believed_only_when_a_person_has_looked() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    fed(trust, 10.0, 96.0, None)
    fed(trust, 96.0, 2_000.0, METAL_C + 90.0)
    assert trust.state is TrustState.DISTRUSTED
    trust.person(2_000.0)
    assert trust.trusted  # it has been quiet for longer than it lied


def test_a_person_who_looks_while_it_still_lies_mends_nothing() -> None:
    trust = Trust()
    fed(trust, 0.0, 10.0, METAL_C)
    trust.lied(10.0, Cause.IMPLAUSIBLE, NOTHING)
    trust.person(11.0)
    assert not trust.trusted
    trust.lied(12.0, Cause.IMPLAUSIBLE, NOTHING)
    fed(trust, 13.0, 500.0, METAL_C)
    assert trust.state is TrustState.DISTRUSTED


def test_the_longer_it_lied_the_longer_it_must_be_quiet() -> None:
    trust = Trust()
    for at_s in range(10, 310, 10):
        trust.lied(float(at_s), Cause.INTERMITTENT, NOTHING)
    trust.person(301.0)
    fed(trust, 302.0, 560.0, METAL_C)
    assert not trust.trusted
    fed(trust, 560.0, 600.0, METAL_C)
    assert trust.trusted


def test_a_lie_that_follows_a_shake_is_reckoned_from_the_shake() -> None:
    trust = Trust()
    trust.shaken(1_000.0)
    trust.lied(1_020.0, Cause.IMPLAUSIBLE, NOTHING)
    trust.person(1_021.0)
    fed(trust, 1_022.0, 1_090.0, METAL_C)
    assert trust.trusted


# -- in the engine ----------------------------------------------------------------------------------------------------

PATTERNS = [(2, 7), (20, 30), (45, 75), (86, 100_000)]


def raised(bench: Bench) -> list[str]:
    """Alarms as they were heard, in order."""
    seen: dict[tuple[str, float], None] = {}
    for alarm in (out.alarm for out in bench.outs if isinstance(out, AlarmChanged)):
        if alarm.active and alarm.state is AlarmState.UNACKED and not alarm.suppressed_by:
            seen.setdefault((alarm.kind, alarm.raised_mono_s))
    return [kind for kind, _ in seen]


@pytest.mark.parametrize("flags", [0, int(SampleFlag.OPEN), int(SampleFlag.SHORT_GROUND), int(SampleFlag.CHIP_RANGE)])
@pytest.mark.parametrize(("gone_s", "of_s"), PATTERNS)
def test_a_figure_that_comes_and_goes_is_one_standing_alarm_and_calls_nothing(
    gone_s: int, of_s: int, flags: int
) -> None:
    bench = Bench()
    bench.in_metal(METAL_C)
    assert bench.up(CallKind.POUR)
    begins = len(bench.outs)
    for second in range(300 if of_s < 1000 else 150):
        bench.t_s += 1.0
        gone = second % of_s < gone_s
        bench.sample(None if gone else METAL_C, flags=flags if gone else 0)
        bench.put_tick()
        if second > 4:
            assert bench.engine.metal.temp_c is None
            assert bench.engine.state is not MeltState.READY
    assert not bench.calls(CallKind.POUR, outs=bench.outs[begins:])
    standing = [alarm.kind for alarm in bench.alarms().values() if alarm.active and not alarm.suppressed_by]
    assert standing == ["intermittent"]
    assert raised(bench).count("intermittent") == 1
    assert len(raised(bench)) <= 2  # the loss itself, till it was seen to come back


def test_what_is_not_proven_is_shown_with_its_mark_and_counts_for_nothing() -> None:
    bench = Bench()
    bench.in_metal(METAL_C)
    bench.run(20.0, lambda t: None)
    bench.run(5.0, METAL_C)
    last = bench.engine.channels[0].last
    assert last is not None
    assert (last.reason, last.status, last.temp_c) == (Reason.UNPROVEN, Status.UNCERTAIN, METAL_C)
    assert not bench.engine.channels[0].trusted


def test_a_loose_contact_that_a_person_mended_is_believed_after_its_quiet_time() -> None:
    bench = Bench()
    bench.in_metal(METAL_C)
    for _ in range(4):
        bench.run(3.0, lambda t: None)
        bench.run(9.0, METAL_C)
    assert bench.engine.channels[0].trust.state is TrustState.DISTRUSTED
    bench.do(AckAlarm(alarm="intermittent:metal"))
    bench.run(30.0, METAL_C)
    assert bench.engine.metal.temp_c is None
    bench.run(60.0, METAL_C)
    assert bench.engine.metal.temp_c is not None
    assert bench.up(CallKind.POUR)


@pytest.mark.parametrize(
    ("first", "second", "stands"),
    [
        (Cause.TYPE, Cause.UNEXPLAINED, Cause.UNEXPLAINED),
        (Cause.UNEXPLAINED, Cause.TYPE, Cause.UNEXPLAINED),
        (Cause.UNEXPLAINED, Cause.INTERMITTENT, Cause.INTERMITTENT),
        (Cause.IMPLAUSIBLE, Cause.UNEXPLAINED, Cause.IMPLAUSIBLE),
        (Cause.IMPLAUSIBLE, Cause.INTERMITTENT, Cause.IMPLAUSIBLE),
        (Cause.INTERMITTENT, Cause.IMPLAUSIBLE, Cause.INTERMITTENT),
    ],
)
def test_what_a_word_may_settle_gives_way_to_what_the_couple_shows_and_of_equals_the_first_stands(
    first: Cause, second: Cause, stands: Cause
) -> None:
    trust = Trust()
    trust.lied(0.0, first, NOTHING)
    trust.lied(1.0, second, NOTHING)
    assert trust.alarm is stands


def test_a_power_marked_at_last_does_not_mend_a_couple_that_came_and_went_meanwhile() -> None:
    bench = Bench()
    coasted(bench)
    seconds(bench, 400.0, lambda t: 520.0 + 8.0 * t / 60.0)
    trust = bench.engine.channels[0].trust
    assert trust.alarm == Cause.UNEXPLAINED
    for _ in range(6):
        bench.run(4.0, 573.0)
        for _ in range(4):
            bench.t_s += 0.5
            bench.sample(None, flags=SampleFlag.OPEN)
            bench.put_tick()
    bench.do(MarkPower(level=PowerLevel.HIGH))
    seconds(bench, 200.0, lambda t: 573.0)
    assert trust.alarm.value == "intermittent"


def test_a_chamber_hotter_than_its_couple_reads_comes_and_goes_and_its_contact_is_sound() -> None:
    bench = Bench(Place.CHAMBER)  # type K ends at 1372 degC (IEC 60584-1)
    bench.start()
    bench.run(120.0, lambda t: 1340.0 + min(30.0, t / 2.0))
    bench.run(120.0, lambda t: 1372.0 + 5.0 * (1.0 if int(t) // 2 % 2 else -1.0))
    assert set(bench.alarms()) >= {"over_range:metal"}
    assert not [key for key in bench.alarms() if key.startswith("intermittent")]
    bench.run(20.0, 1360.0)
    assert bench.engine.channels[0].trusted


def test_a_couple_that_leaps_over_its_range_from_far_below_is_lost() -> None:
    bench = Bench(Place.CHAMBER)
    bench.start()
    bench.run(60.0, 900.0)
    bench.run(4.0, 1500.0)
    assert not bench.engine.channels[0].trusted
