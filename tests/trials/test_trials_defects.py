"""The table of defects against the reference it was made from, and what findings are refused."""

import pytest

from pourcall.contract.errors import BadInput
from pourcall.trials.defects import Finding, check_findings, defects, find_defect, parse_finding, sides
from tests.told import refused

# The classic pairs: misrun and cold shut of a cold pour; penetration, shrinkage and gas of a hot one (several pages on
# casting defects and pouring temperature, sourced). Groups A to G: scheme of the foundry technical associations as the
# ASM Handbook vol. 15 chapter abstract gives it.
COLD = ("misrun", "cold_shut")
HOT = ("penetration", "shrinkage", "open_shrinkage", "blowhole", "pinholes")


def test_the_classic_pairs_point_the_way_the_trade_says() -> None:
    assert {defects()[key].direction for key in COLD} == {"cold"}
    assert {defects()[key].direction for key in HOT} == {"hot"}
    assert all(defects()[key].strength == 3 for key in COLD)


def test_every_class_is_whole() -> None:
    for key, one in defects().items():
        assert one.key == key
        assert one.group in "ABCDEFG-"
        assert 1 <= one.strength <= 3
        assert one.term
        assert one.looks
        assert one.first or key == "other"
        assert one.code == "" or one.code[0] == one.group


@pytest.mark.parametrize("name", ["cold_shut", "cold shut", "Cold-Lap", "COLD SHUT"])
def test_a_class_is_found_by_key_or_trade_term(name: str) -> None:
    assert find_defect(name).key == "cold_shut"


def test_an_unknown_class_is_refused_with_the_nearest() -> None:
    with refused(BadInput, "defect.unknown_near"):
        find_defect("misrnu")


def test_a_finding_is_read_with_severity_and_place() -> None:
    assert parse_finding("cold lap=2@thin flange, left") == Finding(
        defect="cold_shut", severity=2, detail="thin flange, left"
    )
    assert parse_finding(" Sound ") == Finding(defect="sound", severity=0)


@pytest.mark.parametrize("text", ["misrun", "misrun=4", "misrun=-1", "misrun=two", "sound=2", "=2", ""])
def test_a_finding_that_cannot_be_meant_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        parse_finding(text)


def test_contradictory_findings_are_refused() -> None:
    sound, misrun = Finding(defect="sound", severity=0), Finding(defect="misrun", severity=2)
    with refused(BadInput, "defect.sound_and", defects="misrun"):
        check_findings([sound, misrun])
    with refused(BadInput, "defect.twice"):
        check_findings([misrun, Finding(defect="misrun", severity=1)])
    check_findings([sound, Finding(defect="misrun", severity=0)])


def test_sides_keep_what_speaks_loudest_of_temperature() -> None:
    found = sides([("misrun", 1), ("cold_shot", 3), ("sink", 2), ("crush", 3), ("oxide_film", 1), ("gremlins", 2)])
    assert (found.cold, found.cold_strength) == (1, 3)
    assert (found.hot, found.hot_strength) == (2, 2)
    assert (found.unsided, found.unrelated) == (1, 3)
    assert found.both_at_once


def test_a_weak_hot_class_beside_a_misrun_is_no_fault_of_both_sides() -> None:
    assert not sides([("misrun", 2), ("flash", 2)]).both_at_once  # flash: strength 1
    assert sides([("misrun", 2), ("penetration", 1)]).both_at_once
    assert sides([("sound", 0)]) == sides([])
