"""The simulated chips against data sheet examples, and what each fault word does."""

import itertools

import pytest

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import RawKind, SampleFlag
from pourcall.sim.boards.amp import Amp
from pourcall.sim.boards.faults import WORDS, Faults
from pourcall.sim.plant.furnace import FurnaceSpec, Plant, PotSpec
from pourcall.sim.plant.metal import alloy

# MAX31855K words for a true temperature and a cold junction: worked from the data sheet's V = 41.276 uV/degC x
# (T_R - T_AMB) and the printed type K function (reference notes on amplifiers; computed)
WORKED = [
    (660.323, 25.0, 0x29A01900),
    (1084.62, 31.5, 0x437C1F80),
    (1150.0, 25.0, 0x47341900),
    (750.0, -5.0, 0x2F40FB00),
    (-50.0, 20.0, 0xFD301400),
]


@pytest.mark.parametrize(("true_c", "cold_c", "word"), WORKED)
def test_a_max31855_sends_the_worked_word(true_c: float, cold_c: float, word: int) -> None:
    sample = Amp("max31855").sample(true_c, cold_c, 1.0)
    assert sample.raw_code == word
    assert sample.raw_kind is RawKind.LINEAR_C
    assert sample.cold_junction_c == cold_c


# Error of the uncorrected chip with terminals at 25 degC (computed from the printed type K function)
@pytest.mark.parametrize(
    ("true_c", "error_c"), [(100.0, 0.0), (300.0, -3.45), (771.0, 7.0), (1100.0, -6.1), (1372.0, -41.5)]
)
def test_a_max31855_errs_as_a_linear_chip_must(true_c: float, error_c: float) -> None:
    sample = Amp("max31855").sample(true_c, 25.0, 1.0)
    assert sample.raw_value is not None
    assert sample.raw_value - true_c == pytest.approx(error_c, abs=0.18)  # half a step of 0.25 degC, and rounding


# ADS1118 codes at +-0.256 V, 7.8125 uV a step (data sheet), terminals 25 degC: 0x0D3B is 660.335 degC (computed)
def test_a_plain_converter_sends_the_worked_code() -> None:
    sample = Amp("emf").sample(660.335, 25.0, 1.0)
    assert sample.raw_value == 0x0D3B * 7.8125


def test_a_linearising_chip_sends_degrees_in_its_own_steps() -> None:
    sample = Amp("its90").sample(512.3456, 25.0, 1.0)
    assert sample.raw_kind is RawKind.ITS90_C
    assert sample.raw_value is not None
    assert sample.raw_value == pytest.approx(512.3456, abs=0.004)
    assert sample.raw_value * 128 == int(sample.raw_value * 128)


def test_the_board_counts_and_its_milliseconds_wrap() -> None:
    amp = Amp("emf", boot_ms=2**32 - 500)
    first, second = amp.sample(20.0, 20.0, 0.4), amp.sample(20.0, 20.0, 0.6)
    assert (first.board_seq, second.board_seq) == (1, 2)
    assert (first.board_ms, second.board_ms) == (2**32 - 100, 100)


def amp_with(word: str, size: float | None = None, chip: str = "max31855") -> tuple[Amp, Faults]:
    faults = Faults(3)
    amp = Amp(chip, faults=faults)
    amp.sample(500.0, 25.0, 0.0)
    faults.set(word, at_s=1.0, size=size)
    return amp, faults


@pytest.mark.parametrize(
    ("word", "flag"),
    [("open", SampleFlag.OPEN), ("short", SampleFlag.SHORT_GROUND), ("short_supply", SampleFlag.SHORT_SUPPLY)],
)
@pytest.mark.parametrize("chip", ["max31855", "emf", "its90"])
def test_broken_wires_are_flagged_and_have_no_value(word: str, flag: SampleFlag, chip: str) -> None:
    amp, _ = amp_with(word, chip=chip)
    sample = amp.sample(500.0, 25.0, 2.0)
    assert sample.raw_value is None
    assert sample.flags == flag


def test_an_open_couple_shows_the_data_sheets_field() -> None:
    # both inputs unconnected: D31 = 0, D30..D18 = 1 (data sheet), with the fault bits set
    amp, _ = amp_with("open")
    code = amp.sample(500.0, 25.0, 2.0).raw_code
    assert code is not None
    assert (code >> 18, code >> 16 & 1, code & 7) == (0x1FFF, 1, 1)


def test_dead_buses_read_all_zeros_or_all_ones() -> None:
    zero = amp_with("dead_zero")[0].sample(500.0, 25.0, 2.0)
    assert (zero.raw_code, zero.raw_value, zero.cold_junction_c, zero.flags) == (0, 0.0, 0.0, 0)
    ones = amp_with("dead_ones")[0].sample(500.0, 25.0, 2.0)
    assert (ones.raw_code, ones.raw_value) == (0xFFFFFFFF, None)
    assert ones.flags & SampleFlag.RESERVED_BITS


def test_a_reversed_couple_reads_colder_as_it_heats() -> None:
    amp, _ = amp_with("reversed")
    readings = [amp.sample(c, 25.0, 2.0).raw_value or 0.0 for c in (100.0, 200.0, 400.0)]
    assert readings == sorted(readings, reverse=True)
    assert readings[0] < 25.0


def test_a_touch_outside_the_furnace_reads_room_plus_a_fifth() -> None:
    amp, _ = amp_with("half_way", chip="its90")
    assert amp.sample(525.0, 25.0, 2.0).raw_value == pytest.approx(125.0, abs=0.01)


def test_frozen_repeats_to_the_last_digit_while_the_counter_runs() -> None:
    amp, faults = amp_with("frozen")
    first, second = amp.sample(700.0, 25.0, 2.0), amp.sample(900.0, 30.0, 3.0)
    assert first.raw_value == second.raw_value == pytest.approx(500.0, abs=2.0)
    assert first.board_seq != second.board_seq
    faults.set("sound")
    assert (amp.sample(900.0, 30.0, 4.0).raw_value or 0.0) > 890.0


def test_a_spike_is_one_sample_and_ends_by_itself() -> None:
    amp, _ = amp_with("spike", chip="its90")
    seen = [amp.sample(500.0, 25.0, t).raw_value for t in (2.0, 3.0)]
    assert seen[0] == pytest.approx(800.0, abs=0.01)
    assert seen[1] == pytest.approx(500.0, abs=0.01)


def test_flickering_comes_and_goes() -> None:
    amp, _ = amp_with("flickering", 2.0)
    states = [amp.sample(500.0, 25.0, 1.0 + t * 0.5).flags for t in range(24)]
    changes = sum(a != b for a, b in itertools.pairwise(states))
    assert changes >= 3


def test_a_board_restart_is_flagged_once() -> None:
    amp, _ = amp_with("restarted")
    assert amp.sample(500.0, 25.0, 2.0).flags == SampleFlag.RESTARTED
    assert amp.sample(500.0, 25.0, 3.0).flags == 0


def test_cold_junction_faults_move_or_hold_the_terminals() -> None:
    assert amp_with("cold_junction_hot", 90.0)[0].sample(500.0, 25.0, 2.0).cold_junction_c == 90.0
    amp, _ = amp_with("cold_junction_frozen")
    assert [amp.sample(500.0, c, 2.0).cold_junction_c for c in (30.0, 45.0)] == [25.0, 25.0]


def test_bias_drift_and_hum_are_as_large_as_told() -> None:
    assert amp_with("biased", 80.0, "its90")[0].sample(500.0, 25.0, 2.0).raw_value == pytest.approx(580.0, abs=0.01)
    assert amp_with("drifting", 0.5, "its90")[0].sample(500.0, 25.0, 61.0).raw_value == pytest.approx(530.0, abs=0.01)
    amp, _ = amp_with("hum", 5.0, "its90")
    seen = [(amp.sample(500.0, 25.0, 2.0).raw_value or 0.0) - 500.0 for _ in range(200)]
    assert min(seen) < -3.0
    assert max(seen) > 3.0
    assert max(abs(s) for s in seen) <= 5.01


def test_power_faults_change_what_the_furnace_gives() -> None:
    faults = Faults()
    plant = Plant(FurnaceSpec("x", 1000.0), PotSpec(), alloy("za27"))
    given = {}
    for word in ("sound", "weak_power", "element_broken", "welded"):
        faults.set("sound")
        faults.set(word)
        faults.apply_to_plant(plant, 0.0 if word == "welded" else 1.0)
        plant.step()
        given[word] = plant.power_w
    assert given == {"sound": 1000.0, "weak_power": 580.0, "element_broken": 0.0, "welded": 1000.0}


@pytest.mark.parametrize("word", WORDS)
def test_sound_switches_every_word_off(word: str) -> None:
    faults = Faults()
    faults.set(word)
    assert faults.active() == [word]
    faults.set("sound")
    assert faults.active() == []


def test_a_word_nobody_knows_is_refused_with_the_list() -> None:
    with pytest.raises(BadInput, match="scrambled"):
        Faults().set("confused")
