"""A board's bytes, read by the ordinary decoders; its commands; what a bad cable makes of it."""

import itertools
from collections.abc import Callable
from dataclasses import replace

import pytest

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import BadFrame, BoardStatus, Frame, Identity, Sample, SampleFlag
from pourcall.contract.inputs import Input, LinkIn, SampleIn
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline, text
from pourcall.drivers.wire.framing import Decoder
from pourcall.drivers.wire.registry import FORMATS
from pourcall.sim.boards.amp import CHIPS, RAW_KIND
from pourcall.sim.boards.board import Board
from pourcall.sim.scenarios.normal_melts import normal_melt
from pourcall.sim.shop import START_MONO_S, FaultAt, Scenario, Shop, run
from tests.told import refused


def scenario_with(chip: str, seed: int = 4) -> Scenario:
    """Two probes, one chip."""
    made = normal_melt(seed)
    return replace(made, probes=tuple(replace(probe, chip=chip, tc_type="K") for probe in made.probes), rate_hz=2.0)


def decoder_for(dialect: str, chip: str) -> Decoder:
    if dialect == "text":
        unit = text.TextUnit.UV if chip == "emf" else text.TextUnit.C
        columns = tuple(
            text.TextColumn(2 + 2 * n, str(n + 1), unit, linear=chip == "max31855", cold_column=3 + 2 * n)
            for n in range(2)
        )
        return text.TextDecoder(text.TextMap(columns, separator=",", ms_column=1))
    makers: dict[str, Callable[[], Decoder]] = {
        "pourcall": ourline.decoder,
        "max31855_hex": max31855.decoder,
        "max31856_hex": max31856.decoder,
        "mcp960x_hex": mcp960x.decoder,
    }
    return makers[dialect]()


def frames_of(board: Board, decoder: Decoder, seconds: float) -> list[Frame]:
    frames: list[Frame] = []
    until_s = board.shop.t_s + seconds
    while board.shop.t_s < until_s:
        board.shop.step()
        frames += decoder.feed(board.bytes_now())
    return frames


CASES = [(name, chip) for name, each in FORMATS.items() for chip in CHIPS if RAW_KIND[chip] in each.carries]
STEP = {"mcp960x_hex": 0.0625}


@pytest.mark.parametrize(("dialect", "chip"), CASES)
def test_every_dialect_decodes_to_what_the_chip_measured(dialect: str, chip: str) -> None:
    board = Board(Shop(scenario_with(chip)), dialect)
    twin = Shop(scenario_with(chip))
    frames = frames_of(board, decoder_for(dialect, chip), 30.0)
    samples = [frame for frame in frames if isinstance(frame, Sample)]
    wanted = []
    while twin.t_s < 30.0:
        twin.step()
        if twin.sample_due():
            wanted += twin.samples()
    assert not any(isinstance(frame, BadFrame) for frame in frames)
    assert len(samples) == len(wanted) == 120
    for got, want in zip(samples, wanted, strict=True):
        assert got.channel == want.channel
        assert got.raw_kind is want.raw_kind
        assert got.raw_value == pytest.approx(want.raw_value, abs=STEP.get(dialect, 0.001))
        assert got.cold_junction_c == pytest.approx(want.cold_junction_c, abs=STEP.get(dialect, 0.001))
        assert got.flags == want.flags


@pytest.mark.parametrize(("dialect", "chip"), CASES)
def test_an_open_couple_reaches_the_other_side_without_a_number(dialect: str, chip: str) -> None:
    board = Board(Shop(scenario_with(chip)), dialect)
    board.shop.faults.set("open")
    samples = [f for f in frames_of(board, decoder_for(dialect, chip), 5.0) if isinstance(f, Sample)]
    assert samples
    # A MAX31856 goes on converting beside its flag; what it says then is kept to tell a flag that stays (fault row A7).
    assert all(sample.raw_value is None or dialect == "max31856_hex" for sample in samples)
    assert all(sample.flags for sample in samples)


def test_the_board_says_who_it_is_when_asked() -> None:
    board = Board(Shop(scenario_with("max31855")), name="bench", serial="X-7")
    told = ourline.decoder().feed(board.hear(b"?\n"))
    assert told == [Identity(board="bench", firmware="sim 1", serial="X-7", chip="max31855", channels=("1", "2"))]


def test_the_status_line_comes_once_a_second() -> None:
    board = Board(Shop(scenario_with("emf")))
    status = [f for f in frames_of(board, ourline.decoder(), 20.0) if isinstance(f, BoardStatus)]
    assert len(status) == 20
    assert {b.board_ms - a.board_ms for a, b in itertools.pairwise(status)} == {1000}


def test_power_is_obeyed_answered_and_dies_when_not_renewed() -> None:
    board = Board(Shop(scenario_with("emf")), driven=True)
    board.shop.step()
    answer = ourline.decoder().feed(board.hear(ourline.encode_power(77, 0, 600, 2000)))
    assert isinstance(answer[0], BoardStatus)
    assert (answer[0].board_seq, answer[0].applied_permille, answer[0].ttl_left_ms) == (77, 600, 2000)
    applied = []
    while board.shop.t_s < 4.0:
        board.shop.step()
        board.bytes_now()
        applied.append((board.shop.t_s, board.applied_permille))
    assert {permille for t_s, permille in applied if t_s < 2.4} == {600}
    assert {permille for t_s, permille in applied if t_s > 2.6} == {0}
    assert board.shop.plant.power_share == 0.0


def test_rubbish_from_the_host_is_not_answered() -> None:
    board = Board(Shop(scenario_with("emf")))
    assert board.hear(b"PW1,1,0,600,2000*0000\nhello\n") == b""


def test_a_welded_relay_goes_on_whatever_the_board_is_told() -> None:
    board = Board(Shop(scenario_with("emf")), driven=True)
    board.shop.faults.set("welded")
    board.bytes_now()
    board.shop.step()
    assert board.shop.plant.power_w > 0.0
    assert board.applied_permille == 0


def faulty(word: str, seconds: float = 30.0) -> list[Frame]:
    board = Board(Shop(scenario_with("max31855")))
    board.shop.faults.set(word)
    return frames_of(board, ourline.decoder(), seconds)


def test_link_words_do_what_they_say_to_the_bytes() -> None:
    sound = len(faulty("sound"))
    assert faulty("silent") == []
    assert len(faulty("sparse")) == pytest.approx(sound / 3.0, abs=2)
    scrambled = faulty("scrambled")
    assert scrambled
    assert all(isinstance(frame, BadFrame) for frame in scrambled)
    cut = faulty("cut")
    bad = sum(isinstance(frame, BadFrame) for frame in cut)
    assert 0.15 * len(cut) < bad < 0.5 * len(cut)
    flood = faulty("flood", 5.0)
    assert flood
    assert all(isinstance(frame, BadFrame) for frame in flood)


def test_late_bytes_come_in_a_burst_and_none_is_lost() -> None:
    board = Board(Shop(scenario_with("max31855")))
    board.shop.faults.set("late", size=10.0)
    decoder, sizes = ourline.decoder(), []
    while board.shop.t_s < 31.0:
        board.shop.step()
        sizes.append(len(decoder.feed(board.bytes_now())))
    bursts = [size for size in sizes if size]
    assert len(bursts) == 2 or len(bursts) == 3
    assert min(bursts) > 40
    board.shop.faults.set("sound")
    board.shop.step()
    sizes.append(len(decoder.feed(board.bytes_now())))
    assert sum(sizes) == int(board.shop.t_s * 4) + int(board.shop.t_s)


def test_a_fault_word_in_a_script_breaks_and_mends_the_run() -> None:
    from pourcall.sim.scenarios.script import Step

    made = scenario_with("max31855")
    steps = (Step("fault", when="after 10", word="open"), Step("fault", when="after 10", word="sound"))
    board = Board(Shop(replace(made, steps=steps)))
    flags = [f.flags for f in frames_of(board, ourline.decoder(), 30.0) if isinstance(f, Sample)]
    assert flags[0] == flags[-1] == 0
    assert 36 <= sum(flag == SampleFlag.OPEN for flag in flags) <= 44


def test_faults_at_given_times_break_a_whole_run_and_mend_it() -> None:
    made = replace(normal_melt(1), rate_hz=1.0, faults=(FaultAt(60.0, "silent"), FaultAt(90.0, "sound")))
    times = [item.mono_s - START_MONO_S for item, _ in run(made, until_s=150.0) if isinstance(item, SampleIn)]
    assert not [t for t in times if 61.5 < t < 90.0]
    assert len(times) == pytest.approx(120, abs=2)


def test_decoded_runs_show_link_faults_as_the_link_would() -> None:
    made = replace(normal_melt(1), rate_hz=1.0)

    def items(word: str) -> list[Input]:
        return [item for item, _ in run(replace(made, faults=(FaultAt(10.0, word),)), until_s=100.0)]

    assert sum(isinstance(i, LinkIn) for i in items("scrambled")) == pytest.approx(90, abs=2)
    late = [i for i in items("late") if isinstance(i, SampleIn)]
    assert max(i.late_s for i in late) >= 9.0
    assert [i.seq for i in items("late")] == list(range(1, len(items("late")) + 1))
    assert len([i for i in items("sparse") if isinstance(i, SampleIn)]) == pytest.approx(10 + 30, abs=2)


def test_a_dialect_that_cannot_carry_the_chip_is_refused() -> None:
    with refused(BadInput, "sim.not_carried"):
        Board(Shop(scenario_with("emf")), "max31855_hex")
    with refused(BadInput, "error.no_format", typed="morse"):
        Board(Shop(scenario_with("emf")), "morse")
