"""The engine's tables are whole: every (state, event) pair is decided, once. OPC UA Part 9 for the alarms."""

from itertools import product

from pourcall.contract.events import AlarmState, CallKind, MeltState, Priority
from pourcall.contract.reading import ProbeState
from pourcall.engine.alarms.catalogue import CATALOGUE, PARENTS
from pourcall.engine.alarms.manager import ALARM_TABLE, LATCHING_TABLE, AlarmEvent
from pourcall.engine.calls import REPEAT_S
from pourcall.engine.melt.melt_state import MELT_TABLE, Band
from pourcall.engine.sensing.probe_state import PROBE_STAYS, PROBE_TABLE, WHY, Sign

A, E = AlarmState, AlarmEvent
LATCHED = (A.LATCHED_UNACKED, A.LATCHED_ACKED)

# OPC UA Part 9, Acknowledgeable Condition (Active, Acked): what is acknowledged stays so, what is active is raised no
# second time, what is inactive clears no second time. WORSEN and RESET come only where there is something to worsen or
# to release; a clear alarm whose severity rises is raised anew, which the desk does by RAISE.
EVERYDAY_NO_CHANGE = {
    (A.NORMAL, E.CLEAR),
    (A.NORMAL, E.ACK),
    (A.NORMAL, E.WORSEN),
    (A.NORMAL, E.RESET),
    (A.UNACKED, E.RAISE),
    (A.UNACKED, E.WORSEN),
    (A.UNACKED, E.RESET),
    (A.ACKED, E.RAISE),
    (A.ACKED, E.ACK),
    (A.ACKED, E.RESET),
    (A.RTN_UNACKED, E.CLEAR),
    (A.RTN_UNACKED, E.RESET),
}
# The same with the latch (Part 9, LatchedState): released only by a person, only when acknowledged, only when clear.
LATCHING_NO_CHANGE = {
    (A.NORMAL, E.CLEAR),
    (A.NORMAL, E.ACK),
    (A.NORMAL, E.WORSEN),
    (A.NORMAL, E.RESET),
    (A.UNACKED, E.RAISE),
    (A.UNACKED, E.WORSEN),
    (A.UNACKED, E.RESET),
    (A.ACKED, E.RAISE),
    (A.ACKED, E.ACK),
    (A.ACKED, E.RESET),
    (A.LATCHED_UNACKED, E.CLEAR),
    (A.LATCHED_UNACKED, E.RESET),
    (A.LATCHED_ACKED, E.CLEAR),
    (A.LATCHED_ACKED, E.ACK),
}


def test_every_everyday_alarm_pair_is_decided_exactly_once() -> None:
    states = [state for state in A if state not in LATCHED]
    assert set(ALARM_TABLE) | EVERYDAY_NO_CHANGE == set(product(states, E))
    assert not set(ALARM_TABLE) & EVERYDAY_NO_CHANGE


def test_every_latching_alarm_pair_is_decided_exactly_once() -> None:
    states = [state for state in A if state is not A.RTN_UNACKED]
    assert set(LATCHING_TABLE) | LATCHING_NO_CHANGE == set(product(states, E))
    assert not set(LATCHING_TABLE) & LATCHING_NO_CHANGE


def test_the_everyday_table_is_that_of_opc_ua_part_9() -> None:
    """Part 9: Acked and Active are two independent flags; the four states are their four pairs."""
    flags = {A.NORMAL: (False, True), A.UNACKED: (True, False), A.ACKED: (True, True), A.RTN_UNACKED: (False, False)}
    for (state, event), new in ALARM_TABLE.items():
        active, acked = flags[state]
        if event is E.ACK:
            wanted = (active, True)
        elif event is E.CLEAR:
            wanted = (False, acked)
        else:  # raised anew, or worse: active and not acknowledged
            wanted = (True, False)
        assert flags[new] == wanted, (state, event)


def test_a_latched_alarm_reaches_normal_only_by_reset_after_ack_and_clear() -> None:
    assert [pair for pair, new in LATCHING_TABLE.items() if new is A.NORMAL] == [(A.LATCHED_ACKED, E.RESET)]


def test_every_probe_state_and_sign_is_decided_exactly_once() -> None:
    assert set(PROBE_TABLE) | PROBE_STAYS == set(product(ProbeState, Sign))
    assert not set(PROBE_TABLE) & PROBE_STAYS
    assert all(state is not new for (state, _), new in PROBE_TABLE.items())
    assert set(WHY) == set(Sign)


def test_every_probe_state_can_be_reached_and_left() -> None:
    assert set(PROBE_TABLE.values()) == set(ProbeState)
    assert {state for state, _ in PROBE_TABLE} == set(ProbeState)


def test_every_melt_state_and_band_is_decided() -> None:
    assert set(MELT_TABLE) == set(product(MeltState, Band))


def test_no_melt_state_is_reached_but_by_a_running_melt() -> None:
    assert all(new is MeltState.EMPTY for (state, _), new in MELT_TABLE.items() if state is MeltState.EMPTY)
    assert all(new is not MeltState.EMPTY for (state, _), new in MELT_TABLE.items() if state is not MeltState.EMPTY)


def test_unknown_is_the_only_answer_where_nothing_tells_the_temperature() -> None:
    for state in MeltState:
        wanted = MeltState.EMPTY if state is MeltState.EMPTY else MeltState.UNKNOWN
        assert MELT_TABLE[state, Band.NONE] is wanted


def test_every_call_says_how_often_it_is_repeated() -> None:
    """alarms_and_signals, section 5: cut power and window closing every 5 s, pour every 10 s, the rest once."""
    assert set(REPEAT_S) == set(CallKind)
    often = {kind: seconds for kind, seconds in REPEAT_S.items() if seconds}
    assert often == {CallKind.CUT_POWER: 5.0, CallKind.WINDOW_CLOSING: 5.0, CallKind.POUR: 10.0}


def test_every_alarm_says_what_it_means_and_what_to_do_and_every_parent_exists() -> None:
    for name, kind in CATALOGUE.items():
        what, remedy = kind.texts("melt_probe", "Detail here.")
        assert name == kind.name
        assert len(what) > 15, name
        assert len(remedy) > 10, name
        assert "{" not in what + remedy, name
        assert 0.0 <= kind.on_delay_s <= 60.0, name  # bounds of the reference, section 2
        assert 0.0 <= kind.off_delay_s <= 60.0, name
        assert kind.priority is not Priority.TRIP or kind.on_delay_s == 0.0, name
    for parent, children in PARENTS.items():
        assert {parent, *children} <= set(CATALOGUE)
        assert parent not in children


def test_no_two_alarms_explain_each_other() -> None:
    def explained(kind: str, seen: frozenset[str] = frozenset()) -> None:
        assert kind not in seen, f"{kind} explains itself by way of {sorted(seen)}"
        for child in PARENTS.get(kind, ()):
            explained(child, seen | {kind})

    for kind in PARENTS:
        explained(kind)
