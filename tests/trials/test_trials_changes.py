"""What moves between melts: changes found and acted on, days that differ, misreadings; and steady moulds left alone.

The check of later pours against earlier ones is held against scipy's binomial law, the filter over melts against a
plain sum over every way the thresholds may have moved.
"""

import itertools
import math

import msgspec
import numpy as np
import pytest
from scipy import stats

from pourcall.contract.message import tell
from pourcall.trials.advice import Advice, InspectedPour, Place, SetupData
from pourcall.trials.changes import Grid, Moving, forward, looked_back
from pourcall.trials.check import MISREAD, by_chance
from pourcall.trials.grid import Array, Side, Trial, likelihoods
from pourcall.trials.model import advise
from pourcall.trials.worlds import Worlds, band, draw
from tests.told import parts
from tests.trials.test_trials_advice import BOTH, COLD, HOT, SOUND, at, cleat, found, of_melt

NONE, SOME = (1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 1.0, 1.0)


def series(*melts: tuple[tuple[float, str], ...], **told: object) -> SetupData:
    pours = [pour for number, melt in enumerate(melts, 1) for pour in of_melt(number, *melt)]
    return msgspec.structs.replace(cleat(), pours=tuple(pours), **told)


# Sound at 552 to 574 six melts long, cold below and hot above; then the same temperatures run cold three melts long.
STEADY = (
    ((560.0, SOUND), (552.0, SOUND)),
    ((540.0, COLD), (566.0, SOUND)),
    ((574.0, SOUND), (556.0, SOUND)),
    ((563.0, SOUND), (536.0, COLD)),
    ((570.0, SOUND), (590.0, HOT)),
    ((562.0, SOUND), (555.0, SOUND)),
)
COLDER_MOULD = (((562.0, COLD), (556.0, COLD)), ((566.0, COLD), (560.0, COLD)), ((568.0, COLD), (562.0, COLD)))


def test_a_mould_that_changed_is_noticed_where_it_changed_and_asked_about() -> None:
    advice = advise(series(*STEADY, *COLDER_MOULD), outlook=False)
    assert advice.unlike is not None
    assert (advice.unlike.since, advice.unlike.pours) == ("2026-007-1", 6)
    assert advice.unlike.probability > 0.8
    assert advice.unlike.by_chance < 0.05
    assert [one.name for one in advice.words[:2]] == ["advice.unlike.some", "advice.unlike.remedy"]
    assert advice.words[1].facts["since"] == "2026-007-1"


@pytest.mark.parametrize("melts", range(1, 7))
def test_a_steady_mould_is_never_said_to_have_changed(melts: int) -> None:
    advice = advise(series(*STEADY[:melts], ((561.0, SOUND), (553.0, SOUND))), outlook=False)
    assert advice.unlike is None


def test_one_odd_casting_is_no_change() -> None:
    advice = advise(series(*STEADY, ((564.0, COLD), (558.0, SOUND))), outlook=False)
    assert advice.unlike is None


def test_after_a_change_the_old_pours_count_for_little_and_the_advice_follows_the_new_ones() -> None:
    moved, still = (advise(series(*STEADY, *COLDER_MOULD, unchanged=said), outlook=False) for said in (False, True))
    assert moved.customer_c is not None
    assert still.customer_c is not None
    assert moved.customer_c > still.customer_c + 4.0
    assert at(moved, 562.0)[1] < at(still, 562.0)[1] - 0.1


def test_nothing_changed_ends_the_question() -> None:
    advice = advise(series(*STEADY, *COLDER_MOULD, unchanged=True), outlook=False)
    assert advice.unlike is None
    assert "advice.unlike.remedy" not in [one.name for one in advice.words]


def test_a_change_on_record_is_believed_sooner_than_one_nobody_wrote_down() -> None:
    data = series(*STEADY, COLDER_MOULD[0])
    fresh = [msgspec.structs.replace(pour, mould_changed=pour.melt == "2026-007") for pour in data.pours]
    recorded = advise(msgspec.structs.replace(data, pours=tuple(fresh)), outlook=False)
    assert at(recorded, 560.0)[1] < at(advise(data, outlook=False), 560.0)[1] - 0.03


def test_a_mould_changed_since_the_last_pour_widens_the_band_and_is_said() -> None:
    still, since = (advise(series(*STEADY, changed_since=fresh), outlook=False) for fresh in (False, True))
    (low, _, high), (before_low, _, before_high) = at(since, 562.0), at(still, 562.0)
    assert high - low > before_high - before_low + 0.05
    assert tell("advice.changed_since") in since.words
    assert tell("advice.changed_since") not in still.words


def test_many_castings_of_one_day_say_less_than_as_many_days() -> None:
    one_day = series(tuple((556.0, COLD) for _ in range(8)))
    days = series(*(((556.0, COLD),) for _ in range(8)))
    of_a_day, of_days = (at(advise(data, outlook=False), 575.0) for data in (one_day, days))
    assert of_a_day[2] - of_a_day[0] >= of_days[2] - of_days[0]


def test_old_pours_fade() -> None:
    cold = tuple(((555.0, COLD),) for _ in range(4))
    sound = tuple(((575.0, SOUND),) for _ in range(4))
    late, early = (advise(series(*melts), outlook=False) for melts in ((*sound, *cold), (*cold, *sound)))
    assert at(late, 555.0)[1] < at(early, 555.0)[1]


def test_one_casting_that_contradicts_all_others_may_be_misread() -> None:
    melts = [((562.0, SOUND), (556.0, SOUND)) for _ in range(6)]
    odd, even = advise(series(*melts, ((562.0, BOTH),)), outlook=False), advise(series(*melts), outlook=False)
    assert at(odd, 562.0)[1] > at(even, 562.0)[1] - 0.25
    assert at(odd, 562.0)[0] > 0.3


# -- two answers, and the places in the order -----------------------------------------------------------------------


def two_answers() -> Advice:
    places = tuple(Place(order=n, moulds=3, mould=f"cleat {n}", loss_c=20.0 + 6.0 * n) for n in (1, 3))
    melts = (((540.0, COLD), (536.0, COLD)), ((562.0, SOUND),), ((563.0, SOUND),))
    return advise(series(*melts, places=places), outlook=False)


def test_the_surest_for_a_customer_and_the_most_telling_stand_side_by_side() -> None:
    advice = two_answers()
    assert advice.customer_c is not None
    assert advice.next_c is not None
    assert abs(advice.customer_c - advice.next_c) >= 2.0
    assert advice.customer_sound is not None
    assert advice.next_sound is not None
    assert advice.customer_sound >= advice.next_sound
    assert [one.name for one in advice.words[:3]] == ["advice.customer", "advice.learn", "advice.pots"]


def test_each_place_in_the_order_has_its_own_temperature_in_the_pot() -> None:
    advice = two_answers()
    assert advice.next_c is not None
    assert advice.customer_c is not None
    assert [(pot.order, pot.next_tap_c - advice.next_c) for pot in advice.pots] == [(1, 26.0), (3, 38.0)]
    assert [pot.customer_tap_c - advice.customer_c for pot in advice.pots] == [26.0, 38.0]
    assert advice.next_tap_c == advice.pots[0].next_tap_c


def test_each_place_is_named_by_mould_and_number() -> None:
    (pots,) = (parts(told, "parts") for told in two_answers().words if told.name == "advice.pots")
    assert {one.name for one in pots} == {"advice.pot_of_several_both"}
    assert [(one.facts["mould"], one.facts["order"], one.facts["loss_difference_c"]) for one in pots] == [
        ("cleat 1", 1, 26.0),
        ("cleat 3", 3, 38.0),
    ]


def test_that_a_much_better_temperature_may_be_missed_is_said_and_not_where_it_is_settled() -> None:
    unknown = advise(series(((562.0, SOUND),), ((550.0, HOT),), ((575.0, COLD),)), outlook=False)
    settled = advise(series(*STEADY, *STEADY), outlook=False)
    assert unknown.far_below_probability > 0.05 > settled.far_below_probability
    assert "advice.far_below" in [one.name for one in unknown.words]
    assert "advice.far_below" not in [one.name for one in settled.words]


def test_the_question_after_a_change_is_asked() -> None:
    asked = {told.name: told.facts for told in advise(series(*STEADY, *COLDER_MOULD), outlook=False).words}
    unlike = asked["advice.unlike.some"]
    assert (unlike["pours"], unlike["since"]) == (6, "2026-007-1")
    assert asked["advice.unlike.remedy"] == {"since": "2026-007-1"}


# -- numerics against something outside -----------------------------------------------------------------------------


def test_the_chance_of_so_many_faults_is_binomial() -> None:
    """One world whose castings are cold with chance 0.3 and never hot: scipy.stats.binom, with our misreadings."""
    one = np.array([[0.3]])
    free_of_cold = 1.0 - one
    threshold = 560.0 + 7.0 * np.log((1.0 - free_of_cold[0, 0]) / free_of_cold[0, 0])
    world = Worlds(np.array([[threshold, 5_000.0]]), np.full((1, 2), 7.0), np.zeros((1, 2)), np.ones(1))
    assert 1.0 - world.free(np.array([560.0]))[0][0, 0] == pytest.approx(0.3)
    later = [InspectedPour(pour=f"{n}", lip_c=560.0, u_c=3.0, found=found(COLD if n < 5 else SOUND)) for n in range(6)]
    chance = MISREAD + (1.0 - 2.0 * MISREAD) * 0.3
    ups, downs = stats.binom(6, chance), MISREAD  # a misreading to the hot side takes one away
    wanted = sum(
        ups.pmf(n) * stats.binom(6 - n, downs / (1.0 - chance)).pmf(m)
        for n in range(7)
        for m in range(7 - n)
        if n - m >= 5
    )
    assert by_chance(world, later) == pytest.approx(2.0 * wanted, rel=1e-9)


def small_grid() -> Grid:
    cold_c, hot_c = np.array([530.0, 550.0, 570.0]), np.array([560.0, 580.0])

    def side(sign: float, axis_c: Array) -> Side:
        n = axis_c.size
        scale, background = np.tile([5.0, 9.0], n), np.full(2 * n, 0.05)
        return Side(sign, np.repeat(axis_c, 2), scale, background, np.full(2 * n, 0.02), np.log(np.full(2 * n, 0.5)))

    return Grid(side(-1.0, cold_c), side(1.0, hot_c), cold_c, hot_c, np.zeros((3, 2)), 15.0)


MELTS = (
    (Trial(555.0, 3.0, ((NONE, NONE),)),),
    (Trial(552.0, 3.0, ((SOME, NONE),)), Trial(549.0, 3.0, ((SOME, NONE),))),
    (Trial(575.0, 3.0, ((NONE, SOME),)),),
)
CHANCES = (0.2, 0.3, 0.1)


def by_every_path() -> tuple[Array, Array, float]:
    """Posterior of the pair now, when the last change was, evidence: summed over every way it may have gone."""
    grid = small_grid()
    moving = Moving(0.5, 0.2, 1.0, 1.0)
    shifts = [moving.shift_u_c(3 - at, 7.0) for at in range(3)]
    tables = likelihoods(grid.cold, grid.hot, MELTS, shifts)
    jump, nuisance = grid.jump(), 0.25  # two scales a side, evenly
    now, last, evidence = np.zeros_like(tables[0]), np.zeros(4), 0.0
    pairs = list(itertools.product(range(3), range(2)))
    within = list(itertools.product(range(2), range(2)))
    for changes in itertools.product((False, True), repeat=3):
        parts = 1 + sum(changes)
        weight = math.prod([c if yes else 1.0 - c for c, yes in zip(CHANCES, changes, strict=True)])
        for states in itertools.product(itertools.product(pairs, within), repeat=parts):
            part, p = 0, weight / 6.0 * nuisance
            for melt, yes in enumerate(changes):
                (c, h), (v, w) = states[part]
                p *= float(tables[melt][2 * c + v, 2 * h + w])
                if yes:
                    (c2, h2), _ = states[part + 1]
                    p *= float(jump[2 * c2 + h2, 2 * c + h]) * nuisance
                    part += 1
            (c, h), (v, w) = states[part]
            now[2 * c + v, 2 * h + w] += p
            last[max((n + 1 for n, yes in enumerate(changes) if yes), default=0)] += p
            evidence += p
    return now / evidence, last / evidence, float(np.log(evidence))


def test_the_filter_over_melts_is_the_sum_over_every_way_it_may_have_gone() -> None:
    grid, moving = small_grid(), Moving(0.5, 0.2, 1.0, 1.0)
    jump = grid.jump()
    part, tables = forward(grid, jump, MELTS, CHANCES, moving, 7.0)
    last, _ = looked_back(grid, jump, part, tables, CHANCES)
    now, wanted_last, log_evidence = by_every_path()
    assert part.joint == pytest.approx(now, abs=1e-6)
    assert last == pytest.approx(wanted_last, abs=1e-6)
    assert part.log_evidence == pytest.approx(log_evidence, abs=1e-6)


def test_worlds_are_drawn_as_often_as_their_states_are_likely() -> None:
    grid = small_grid()
    joint = np.linspace(0.0, 1.0, 24).reshape(6, 4)
    drawn = draw(grid.cold, grid.hot, [(joint / joint.sum(), 1.0, 0.0)], (0.0, 0.0), 50_000)
    of_cold = joint.sum(1).reshape(3, 2).sum(1) / joint.sum()
    counted = [float((drawn.threshold[:, 0] == t).mean()) for t in grid.cold_c]
    assert counted == pytest.approx(of_cold.tolist(), abs=1e-3)


def test_the_band_is_that_of_numpy_on_the_same_worlds() -> None:
    chances = np.random.default_rng(3).beta(4.0, 2.0, (4001, 3))
    low, high = band(chances)
    wanted = np.quantile(chances, (0.05, 0.95), axis=0, method="hazen")
    assert low == pytest.approx(wanted[0])
    assert high == pytest.approx(wanted[1])
