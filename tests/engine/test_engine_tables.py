"""The engine's tables are whole: every (state, event) pair is decided, once. OPC UA Part 9 for the alarms."""

from itertools import product

from pourcall.contract.events import AlarmState, CallKind, MeltState
from pourcall.contract.message import tell
from pourcall.contract.reading import ProbeState
from pourcall.engine.alarms.catalogue import CATALOGUE, PARENTS
from pourcall.engine.alarms.manager import ALARM_TABLE, AlarmEvent
from pourcall.engine.calls import REPEAT_S
from pourcall.engine.melt.melt_state import MELT_TABLE, Band
from pourcall.engine.sensing.probe_state import PROBE_STAYS, PROBE_TABLE, Sign
from pourcall.texts import say
from pourcall.texts.catalogue import subject_texts
from tests.told import said

A, E = AlarmState, AlarmEvent

# OPC UA Part 9, Acknowledgeable Condition (Active, Acked): what is acknowledged stays so, what is active is raised no
# second time, what is inactive clears no second time. WORSEN comes only where there is something to worsen; a clear
# alarm whose severity rises is raised anew, by RAISE.
NO_CHANGE = {
    (A.NORMAL, E.CLEAR),
    (A.NORMAL, E.ACK),
    (A.NORMAL, E.WORSEN),
    (A.UNACKED, E.RAISE),
    (A.UNACKED, E.WORSEN),
    (A.ACKED, E.RAISE),
    (A.ACKED, E.ACK),
    (A.RTN_UNACKED, E.CLEAR),
    (A.NORMAL, E.SETTLE),
    (A.UNACKED, E.SETTLE),
    (A.ACKED, E.SETTLE),
}


def test_every_alarm_pair_is_decided_exactly_once() -> None:
    assert set(ALARM_TABLE) | NO_CHANGE == set(product(A, E))
    assert not set(ALARM_TABLE) & NO_CHANGE


def test_the_alarm_table_is_that_of_opc_ua_part_9() -> None:
    """Part 9: Acked and Active are two independent flags; the four states are their four pairs."""
    flags = {A.NORMAL: (False, True), A.UNACKED: (True, False), A.ACKED: (True, True), A.RTN_UNACKED: (False, False)}
    for (state, event), new in ALARM_TABLE.items():
        active, acked = flags[state]
        if event in (E.ACK, E.SETTLE):  # the end of the melt stands in for the person
            wanted = (active, True)
        elif event is E.CLEAR:
            wanted = (False, acked)
        else:  # raised anew, or worse: active and not acknowledged
            wanted = (True, False)
        assert flags[new] == wanted, (state, event)


def test_every_probe_state_and_sign_is_decided_exactly_once() -> None:
    assert set(PROBE_TABLE) | PROBE_STAYS == set(product(ProbeState, Sign))
    assert not set(PROBE_TABLE) & PROBE_STAYS
    assert all(state is not new for (state, _), new in PROBE_TABLE.items())
    assert {f"probe.sign.{sign.value}" for sign in Sign} <= set(subject_texts("probe"))


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
    fell_silent = said("alarm.fell_silent")
    for name, kind in CATALOGUE.items():
        what, remedy = (say(one) for one in kind.texts("melt_probe", tell("alarm.fell_silent")))
        assert name == kind.name
        assert len(what) > 15, name
        assert fell_silent in what, name
        assert len(remedy) > 10, name
        assert "{" not in what + remedy, name
        assert 0.0 <= kind.on_delay_s <= 60.0, name  # bounds of the reference, section 2
        assert 0.0 <= kind.off_delay_s <= 60.0, name
    for parent, children in PARENTS.items():
        assert {parent, *children} <= set(CATALOGUE)
        assert parent not in children


def test_no_text_stands_in_the_catalogue_for_an_alarm_that_there_is_not() -> None:
    told = {name.split(".")[1] for name in subject_texts("alarm") if name.endswith((".what", ".remedy"))}
    assert told == set(CATALOGUE)


def test_no_two_alarms_explain_each_other() -> None:
    def explained(kind: str, seen: frozenset[str] = frozenset()) -> None:
        assert kind not in seen, f"{kind} explains itself by way of {sorted(seen)}"
        for child in PARENTS.get(kind, ()):
            explained(child, seen | {kind})

    for kind in PARENTS:
        explained(kind)
