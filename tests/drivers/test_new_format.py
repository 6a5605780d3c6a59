"""A format added by the recipe of DEVELOPERS.md: a module with a FORMAT, a line in the table. All else follows."""

import asyncio
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from pourcall.contract.errors import BadSettings, FrameError
from pourcall.contract.frames import Frame, RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.contract.settings import Board, parse_settings
from pourcall.daemon.inputs.ports import link_maker
from pourcall.drivers.inbox import Arrival, Item
from pourcall.drivers.wire import registry
from pourcall.drivers.wire.format import WireFormat
from pourcall.drivers.wire.framing import Decoder, LineDecoder, ascii_text
from pourcall.drivers.wire.guess import guess_format
from pourcall.sim.boards.pty_board import LockStep
from pourcall.sim.clock import SimClock
from pourcall.sim.scenarios.normal_melts import normal_melt
from pourcall.sim.shop import Shop
from tests.told import names, parts, refused

# ---- what would be drivers/wire/crucible.py: `C|<channel>|<tenths of a degree, or ->`, such as C|1|6612


class CrucibleDecoder(LineDecoder):
    name = "crucible"

    def decode_line(self, line: bytes) -> list[Frame]:
        mark, *fields = ascii_text(line).split("|")
        if mark != "C" or len(fields) != 2 or (not fields[1].strip("-").isdigit() and fields[1] != "-"):
            raise FrameError(tell("frame.unknown", kind=repr(mark[:8]), count=len(fields)))
        channel, tenths = fields
        value = None if tenths == "-" else int(tenths) / 10.0
        flags = int(SampleFlag.OPEN) if value is None else 0
        return [Sample(channel=channel, raw_kind=RawKind.ITS90_C, raw_value=value, flags=flags)]


def encode(samples: Sequence[Sample]) -> list[bytes]:
    def tenths(sample: Sample) -> str:
        return "-" if sample.raw_value is None else f"{sample.raw_value * 10:.0f}"

    return [f"C|{sample.channel}|{tenths(sample)}\n".encode() for sample in samples]


def decoder(board: Board) -> Decoder:
    return CrucibleDecoder(midway=True)


FORMAT = WireFormat(
    name="crucible",
    example=b"C|1|6612\n",
    decoder=decoder,
    encode=encode,
    carries=(RawKind.ITS90_C,),
)

# ---- what would be its line in drivers/wire/registry.py


@pytest.fixture
def added() -> Iterator[None]:
    text = registry.FORMATS.pop("text")  # tried last: nearly everything is text
    registry.FORMATS.update({FORMAT.name: FORMAT, "text": text})
    yield
    del registry.FORMATS[FORMAT.name]


SETTINGS = """
[furnace.club]
[board.bench]
port = "PORT"
format = "crucible"
[probe.melt_probe]
furnace = "club"
board = "bench"
channel = "1"
"""


def test_settings_take_the_new_word_and_refuse_it_without_its_line() -> None:
    with refused(BadSettings, "settings.faults") as caught:
        parse_settings(SETTINGS, board_faults=registry.board_faults)
    (fault,) = parts(caught.value.what, "faults")
    assert fault.facts["key"] == "[board.bench]"
    assert {"error.no_format", "error.use_one"} <= names(fault)


@pytest.mark.usefixtures("added")
def test_a_new_format_is_in_the_settings_and_recognised_on_a_port() -> None:
    assert parse_settings(SETTINGS, board_faults=registry.board_faults).board["bench"].format == "crucible"
    told = guess_format(b"12\n" + FORMAT.example * 3)
    assert (told.format, told.heard.channels) == ("crucible", ("1",))
    assert told.says.facts["format"] == "crucible"  # told by its word, where the catalogue has one


@pytest.mark.usefixtures("added")
def test_setup_writes_settings_for_a_board_of_the_new_format() -> None:
    from pourcall.cli.shop.setup_command import _ask_all
    from pourcall.drivers.ports import PortInfo, PortReport

    told = guess_format(b"12\n" + FORMAT.example * 3)
    report = PortReport(PortInfo("/dev/ttyUSB0"), told.format, told.says, 115_200, told.heard)
    made = parse_settings(_ask_all([report], ask=False), board_faults=registry.board_faults)
    assert (made.board["board1"].format, made.probe["melt_probe"].channel) == ("crucible", "1")


@pytest.mark.usefixtures("added")
async def test_a_board_that_speaks_the_new_format_is_read_over_a_real_port() -> None:
    made = normal_melt(4)
    probes = tuple(replace(probe, chip="its90", tc_type="K") for probe in made.probes)
    step = LockStep(Shop(replace(made, probes=probes, rate_hz=2.0)), SimClock(), dialect="crucible")
    heard: list[Sample] = []
    loop = asyncio.get_running_loop()

    def count(arrived: int) -> None:
        step.consumed("bench", arrived)

    def deliver(_: float, items: Sequence[Item]) -> None:
        samples = [item.frame for item in items if isinstance(item, Arrival) and isinstance(item.frame, Sample)]
        heard.extend(samples)
        loop.call_soon_threadsafe(count, len(samples))

    board = parse_settings(SETTINGS.replace("PORT", step.port), board_faults=registry.board_faults).board["bench"]

    class Mono:
        def mono_s(self) -> float:
            return time.monotonic()

        def utc_s(self) -> float:
            return time.time()

        async def sleep(self, seconds: float) -> None:
            raise NotImplementedError

    link = link_maker(Mono())("bench", board, deliver)
    link.start()
    try:
        await step.run(until_s=20.0)
    finally:
        await asyncio.to_thread(link.stop)
        await step.aclose()
    twin = Shop(replace(made, probes=probes, rate_hz=2.0))
    wanted = []
    while twin.t_s < 20.0:
        twin.step()
        if twin.sample_due():
            wanted += twin.samples()
    assert len(heard) >= len(wanted) - 2 * len(probes)  # what came before the first whole line is dropped
    assert {sample.channel for sample in heard} == {probe.channel for probe in probes}
    last = {sample.channel: sample.raw_value for sample in wanted}
    for channel, value in last.items():
        got = [sample.raw_value for sample in heard if sample.channel == channel][-1]
        assert got == pytest.approx(value, abs=0.051)
