"""What is advised in plain cases, and that it never leaves its limits.

Directions and steps: handbook tables of casting defects and the usual correction of 15 to 30 degC for zinc, 20 to 40
for aluminium, 25 to 50 for copper alloys (common practice, no source).
"""

import math
from xml.etree import ElementTree

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pourcall.contract.message import tell
from pourcall.contract.units import Unit
from pourcall.reports.drawings.advice_plot import advice_svg
from pourcall.texts import say
from pourcall.trials.advice import Advice, Bound, InspectedPour, Place, SetupData
from pourcall.trials.defects import Sides
from pourcall.trials.model import LEVEL, advise, prior_of
from pourcall.trials.next_pour import FAMILY, GOOD_ENOUGH
from tests.told import parts, said

COLD, HOT, BOTH, SOUND = "cold", "hot", "both", "sound"


def found(what: str, grade: int = 2) -> Sides:
    cold, hot = grade if what in (COLD, BOTH) else 0, grade if what in (HOT, BOTH) else 0
    return Sides(cold=cold, cold_strength=3 * bool(cold), hot=hot, hot_strength=3 * bool(hot))


def pours(*told: tuple[float, str], u_c: float = 3.0, apart: float = 1.0) -> tuple[InspectedPour, ...]:
    return tuple(
        InspectedPour(pour=f"2026-{n:03d}-1", lip_c=lip_c, u_c=u_c, found=found(what), apart=apart, setup="other")
        for n, (lip_c, what) in enumerate(told, 1)
    )


def of_melt(number: int, *told: tuple[float, str]) -> tuple[InspectedPour, ...]:
    """Pours of one melt, on one day."""
    return tuple(
        msgspec.structs.replace(pour, pour=f"2026-{number:03d}-{at}", melt=f"2026-{number:03d}")
        for at, pour in enumerate(pours(*told), 1)
    )


def cleat(*told: tuple[float, str], limit_c: float = 595.0, whose: str = "alloy") -> SetupData:
    """The boat club's deck cleat in ZA-27 (invented setup)."""
    return SetupData(
        setup="deck cleat",
        alloy="za27",
        alloy_name="ZA-27",
        family="zinc",
        window_min_c=546.0,
        window_max_c=579.0,
        window_why=tell(
            "advice.window", alloy="ZA-27", material="green_sand", lowest_c=546.0, highest_c=579.0, mark="memory"
        ),
        doubtful=True,
        floor_c=509.0,
        bounds=(
            Bound(
                limit_c=limit_c,
                whose=whose,
                why=tell("advice.bound.pot", whose=whose, highest_c=limit_c + 22.0, loss_difference_c=22.0),
            ),
        ),
        pours=pours(*told),
        places=(Place(order=1, moulds=1, mould="deck cleat", loss_c=22.0),),
    )


def words(advice: Advice) -> str:
    return " ".join(say(told) for told in advice.words)


def at(advice: Advice, temp_c: float) -> tuple[float, float, float]:
    point = min(advice.curve, key=lambda point: abs(point.temp_c - temp_c))
    return point.low, point.sound, point.high


def test_without_a_pour_the_sheet_speaks_and_says_how_little_it_knows() -> None:
    advice = advise(cleat())
    assert advice.next_kind == "first"
    assert advice.best_c == pytest.approx(562.5, abs=4.0)
    assert advice.next_c == advice.best_c
    low, _, high = at(advice, 562.0)
    assert high - low > 0.5
    assert advice.words[0].facts["why"] == tell("advice.why.first")


def test_cold_faults_only_raise_the_next_pour_by_no_more_than_a_step() -> None:
    advice = advise(cleat((532.0, COLD), (536.0, COLD)))
    assert advice.next_c is not None
    assert advice.best_c is not None
    assert 536.0 + 15.0 <= advice.next_c <= 536.0 + FAMILY["zinc"][2] + 0.5
    assert advice.best_c > prior_of(cleat()).cold_c


def test_hot_faults_only_lower_the_next_pour() -> None:
    advice = advise(cleat((578.0, HOT), (574.0, HOT)))
    assert advice.next_c is not None
    assert 574.0 - FAMILY["zinc"][2] - 0.5 <= advice.next_c < 566.0


# Handbook tables and the usual steps: a misrun is answered hotter, penetration or shrinkage colder, by 15 to 30 degC
# for zinc and 25 to 50 for copper alloys (common practice, no source).
@pytest.mark.parametrize(("family", "temp_c", "least", "most"), [("zinc", 560.0, 15, 30), ("copper", 560.0, 25, 50)])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_faults_of_one_kind_move_the_next_pour_away_by_a_usual_step(
    family: str, temp_c: float, least: float, most: float, count: int
) -> None:
    for what, sign in ((COLD, 1.0), (HOT, -1.0)):
        data = msgspec.structs.replace(cleat(*((temp_c, what),) * count), family=family, floor_c=480.0)
        advice = advise(data, outlook=False)
        assert advice.next_c is not None
        moved_c = sign * (advice.next_c - temp_c)
        assert least - 3.0 <= moved_c <= most + 3.0
        assert advice.next_kind in ("hotter", "colder", "best")


def test_evidence_moves_the_best_against_the_faults() -> None:
    best = [advise(cleat(*told)).best_c for told in (((560.0, COLD),) * 3, (), ((560.0, HOT),) * 3)]
    assert best[0] is not None
    assert best[1] is not None
    assert best[2] is not None
    assert best[0] > best[1] > best[2]


def test_many_sound_pours_narrow_the_band_and_end_the_trials() -> None:
    told = [(t, COLD) for t in (526.0, 531.0, 536.0)] + [(t, SOUND) for t in range(552, 580, 2)]
    advice = advise(cleat(*told, (592.0, HOT)))
    assert advice.best_sound is not None
    assert advice.best_sound > 0.85  # not more: an inspector may err, and the mould may change unseen
    assert advice.gain_left < GOOD_ENOUGH
    assert (advice.pours_more, advice.next_kind) == (0, "stop")
    assert advice.usable_min_c is not None
    assert advice.usable_max_c is not None
    assert 536.0 < advice.usable_min_c < 556.0
    assert 576.0 < advice.usable_max_c <= 595.0
    low, _, high = at(advice, 564.0)
    assert high - low < 0.25


def test_cold_and_hot_faults_in_one_casting_say_that_temperature_is_not_the_cause() -> None:
    data = msgspec.structs.replace(cleat((560.0, BOTH), (565.0, SOUND)), seen=("misrun", "sink"))
    advice = advise(data)
    assert advice.not_temperature
    assert advice.both_at_once == ("2026-001-1",)
    assert advice.words[0].name == "advice.other_cause.both"
    (steps,) = (told.facts["steps"] for told in advice.words if told.name == "advice.here")
    assert steps == (tell("defect.first.misrun"), tell("defect.first.sink"))  # as the list of defects has it


def test_faults_of_both_kinds_at_every_temperature_say_so_too() -> None:
    told = [(530.0, HOT), (540.0, HOT), (550.0, COLD), (560.0, HOT), (570.0, COLD), (580.0, COLD), (590.0, COLD)]
    advice = advise(cleat(*told))
    assert advice.not_temperature
    assert not advice.both_at_once
    assert advice.no_good_probability > 0.5


def test_cold_faults_when_cold_and_hot_ones_when_hot_do_not_accuse_anything_else() -> None:
    advice = advise(cleat((530.0, COLD), (562.0, SOUND), (594.0, HOT)))
    assert not advice.not_temperature


@pytest.mark.parametrize("whose", ["pot", "fume", "alloy"])
def test_a_limit_holds_the_advice_back_and_says_whose_it_is(whose: str) -> None:
    told = ((540.0, COLD), (545.0, COLD), (549.0, COLD))
    advice = advise(cleat(*told, limit_c=550.0, whose=whose))
    assert advice.bounded_by == whose
    assert advice.next_c is not None
    assert advice.next_c <= 550.0
    (limit,) = (told.facts["limit"] for told in advice.words if told.name == "advice.held_back")
    bound = tell("advice.bound.pot", whose=whose, highest_c=572.0, loss_difference_c=22.0)
    assert limit == tell("advice.limit", why=bound, highest_c=550.0)
    free = advise(cleat(*told))
    assert free.best_c is not None
    assert free.best_c > 555.0


def test_where_the_limits_leave_nothing_nothing_is_advised() -> None:
    advice = advise(cleat((540.0, COLD), limit_c=500.0, whose="pot"))
    assert (advice.best_c, advice.next_c, advice.next_kind) == (None, None, "none")
    assert [told.name for told in advice.words] == ["advice.nothing"]


def test_a_badly_known_temperature_says_less() -> None:
    def width(u_c: float) -> float:
        told = pours(*((t, COLD) for t in (540.0, 545.0, 550.0)), *((t, SOUND) for t in (565.0, 570.0)), u_c=u_c)
        low, _, high = at(advise(msgspec.structs.replace(cleat(), pours=told)), 550.0)
        return high - low

    assert width(20.0) > width(2.0) + 0.03


def test_borrowed_pours_pull_less_than_own_ones_and_the_less_the_less_they_are_alike() -> None:
    told = ((545.0, COLD), (552.0, COLD), (560.0, COLD), (575.0, SOUND))

    def best(data: SetupData) -> float:
        found_c = advise(data, outlook=False).best_c
        assert found_c is not None
        return found_c

    own = best(cleat(*told))
    alone, like = best(cleat()), best(msgspec.structs.replace(cleat(), borrowed=pours(*told)))
    unlike = best(msgspec.structs.replace(cleat(), borrowed=pours(*told, apart=3.0)))
    assert alone <= unlike < like < own
    advice = advise(msgspec.structs.replace(cleat(), borrowed=pours(*told)))
    assert [(one.setup, one.pours) for one in advice.borrowed] == [("other", 4)]
    (lent,) = (part for told in advice.words if told.name == "advice.borrowed" for part in parts(told, "parts"))
    assert (lent.name, lent.facts["pours"], lent.facts["setup"]) == ("advice.lent", 4, "other")
    assert advice.words[0].facts["why"] == tell("advice.why.first_borrowed")


def test_however_many_pours_are_borrowed_they_never_settle_what_only_own_ones_can() -> None:
    def width(data: SetupData) -> float:
        low, _, high = at(advise(data, outlook=False), 552.0)
        return high - low

    told = [(t, SOUND if 555.0 < t < 580.0 else COLD if t < 560.0 else HOT) for t in range(536, 600, 4)]
    lent = [(float(t), what) for _ in range(8) for t, what in told]
    crowd = msgspec.structs.replace(cleat(), borrowed=pours(*lent))
    assert width(crowd) > 0.35
    assert width(msgspec.structs.replace(cleat(), pours=crowd.borrowed)) < 0.25


def test_many_own_pours_outweigh_what_is_borrowed() -> None:
    told = [(t, SOUND) for t in range(552, 576)] + [(530.0, COLD), (594.0, HOT)]
    lent = pours(*((562.0, COLD),) * 12)
    alone = advise(cleat(*told))
    mixed = advise(msgspec.structs.replace(cleat(*told), borrowed=lent))
    assert at(mixed, 568.0)[1] == pytest.approx(at(alone, 568.0)[1], abs=0.06)


def test_a_weak_class_says_less_than_a_strong_one() -> None:
    def best(strength: int) -> float:
        hot = Sides(hot=2, hot_strength=strength)
        told = tuple(InspectedPour(pour="2026-001-1", lip_c=565.0, u_c=3.0, found=hot) for _ in range(3))
        found_c = advise(msgspec.structs.replace(cleat(), pours=told)).best_c
        assert found_c is not None
        return found_c

    assert best(3) < best(1)


def test_slight_faults_may_be_accepted() -> None:
    slight = InspectedPour(pour="2026-001-1", lip_c=550.0, u_c=3.0, found=found(COLD, 1))
    data = msgspec.structs.replace(cleat(), pours=(slight,) * 4)
    assert at(advise(data, accept=1), 550.0)[1] > at(advise(data), 550.0)[1] + 0.2


def test_the_same_records_give_the_same_advice_to_the_last_digit() -> None:
    data = cleat((540.0, COLD), (560.0, SOUND), (580.0, HOT))
    assert msgspec.json.encode(advise(data)) == msgspec.json.encode(advise(data))


def test_the_order_of_pours_within_a_melt_does_not_matter() -> None:
    told = [(540.0 + 3.0 * n, COLD if n < 4 else SOUND) for n in range(12)]
    melts = [of_melt(n, *told[3 * n : 3 * n + 3]) for n in range(4)]
    turned = [tuple(reversed(melt)) for melt in melts]
    one, other = (
        advise(msgspec.structs.replace(cleat(), pours=tuple(pour for melt in series for pour in melt)), outlook=False)
        for series in (melts, turned)
    )
    assert [p.sound for p in one.curve] == pytest.approx([p.sound for p in other.curve], abs=1e-3)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(300.0, 900.0), st.sampled_from([COLD, HOT, BOTH, SOUND])), max_size=8),
    st.floats(515.0, 640.0),
)
def test_advice_never_leaves_its_limits_whatever_was_poured(told: list[tuple[float, str]], limit_c: float) -> None:
    advice = advise(cleat(*told, limit_c=limit_c), points=25, outlook=False)
    assert advice.next_c is not None
    assert 509.0 <= advice.next_c <= limit_c
    for point in advice.curve:
        assert 0.0 <= point.low <= point.high <= 1.0
        assert 0.0 <= point.sound <= 1.0
        assert math.isfinite(point.sound)
    assert advice.words


def test_what_else_changed_is_said_beside_what_the_temperature_did() -> None:
    remelts = [tell("advice.value.count", value=count) for count in (0, 3)]
    sections = [tell("advice.value.mm", value_mm=mm) for mm in (5.0, 6.0)]
    differs = (
        tell("advice.differs.remelts", values=tell("advice.values", parts=(remelts[0],), last=remelts[1])),
        tell("advice.differs.thinnest", values=tell("advice.values", parts=(sections[0],), last=sections[1])),
    )
    data = msgspec.structs.replace(cleat((560.0, SOUND)), changed=differs)
    advice = advise(data, outlook=False)
    assert advice.changed == data.changed
    assert tell("advice.changed", parts=differs) in advice.words
    unchanged = advise(cleat((560.0, SOUND)), outlook=False)
    assert "advice.changed" not in [told.name for told in unchanged.words]


def test_advice_from_invented_pours_says_so_in_words_and_in_the_drawing() -> None:
    advice = advise(msgspec.structs.replace(cleat((560.0, SOUND)), invented=True), outlook=False)
    assert advice.invented
    assert tell("advice.invented") in advice.words
    assert said("plot.advice_about_invented") in advice_svg(advice)
    assert said("plot.advice_about_invented") not in advice_svg(advise(cleat((560.0, SOUND)), outlook=False))


def test_temperatures_in_words_follow_the_readers_unit() -> None:
    advice = advise(cleat((560.0, SOUND)))
    assert "°C" in words(advice)
    assert "°C" not in " ".join(say(told, Unit.F) for told in advice.words)
    assert advice.next_tap_c == (advice.next_c or 0.0) + 22.0
    assert advice.level == LEVEL


@pytest.mark.parametrize("unit", list(Unit))
def test_the_drawing_is_well_formed_and_shows_every_pour(unit: Unit) -> None:
    data = cleat((540.0, COLD), (560.0, SOUND), (580.0, HOT), (570.0, BOTH))
    svg = advice_svg(advise(msgspec.structs.replace(data, setup="cleat <7 & up>")), unit)
    root = ElementTree.fromstring(svg)
    titles = [node.text for node in root.iter("{http://www.w3.org/2000/svg}title")]
    assert titles[0] == said("plot.advice", setup="cleat <7 & up>", alloy="za27", pours=4)
    assert titles[1:] == [f"2026-{n:03d}-1" for n in (1, 2, 3, 4)]
    width, height = (float(part) for part in root.attrib["viewBox"].split()[2:])
    for node in root.iter("{http://www.w3.org/2000/svg}text"):
        assert 0.0 <= float(node.attrib["x"]) <= width
        assert 0.0 <= float(node.attrib["y"]) <= height
