"""The amplifier's end of the wire. A `Shop` behind it, bytes out, commands in; every dialect, every link fault.

"pourcall": our own checksummed line, with its status line once a second, `?` answered, `PW1` obeyed until its time to
live is over. "max31855_hex", "max31856_hex", "mcp960x_hex": lines of chip registers. "text": milliseconds, then value
and cold junction of each channel, separated by commas. Encoders are those beside the decoders (drivers.wire): their own
tests hold them to the data sheets. Not here: ports and pseudo-terminals (sim.ptyboard).
"""

from collections.abc import Callable
from typing import NamedTuple

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import BadFrame, BoardStatus, Identity, RawKind, Sample, SampleFlag
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline
from pourcall.drivers.wire.hexline import format_hex_line
from pourcall.sim.shop import Shop

DIALECTS = {
    "pourcall": ("max31855", "emf", "its90"),  # dialect: chips that can speak it
    "max31855_hex": ("max31855",),
    "max31856_hex": ("its90",),
    "mcp960x_hex": ("its90",),
    "text": ("emf", "its90", "max31855"),
}
_OPEN_HOT_C = 0.0  # what a linearising chip shows beside its fault bit; nobody may use it


def chip_registers(sample: Sample, dialect: str) -> bytes:
    """The registers of the chip behind this sample, as the dialect (or our line's chip code) sends them."""
    if sample.raw_kind is RawKind.LINEAR_C:
        assert sample.raw_code is not None
        return max31855.word_bytes(sample.raw_code)
    cold_c = sample.cold_junction_c or 0.0
    hot_c = _OPEN_HOT_C if sample.raw_value is None else sample.raw_value
    open_ = bool(sample.flags & SampleFlag.OPEN)
    short = bool(sample.flags & (SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY))
    if dialect == "mcp960x_hex":
        return mcp960x.encode_registers(hot_c, cold_c, 0x40 | (0x10 if open_ else 0) | (0x20 if short else 0))
    return max31856.encode_registers(hot_c, cold_c, (0x01 if open_ else 0) | (0x02 if short else 0))


class Sent(NamedTuple):
    """Bytes for the wire, and the frames in them; None where a link fault makes that unknown."""

    data: bytes
    frames: int | None


class Board:
    """One amplifier board. Step the shop, then ask for `bytes_now`; give what arrives to `hear`."""

    def __init__(
        self, shop: Shop, dialect: str = "pourcall", *, name: str = "", serial: str = "", driven: bool = False
    ) -> None:
        """`driven`: the board's output feeds the element, so PW1 sets the power. Raises BadInput."""
        chips = {setup.chip for setup in shop.scenario.probes}
        if dialect not in DIALECTS:
            raise BadInput(f"{dialect!r} is no dialect", remedy=f"Use one of {', '.join(DIALECTS)}")
        if not chips <= set(DIALECTS[dialect]):
            raise BadInput(f"{dialect} cannot carry {', '.join(sorted(chips))}")
        self.shop, self.dialect, self.driven = shop, dialect, driven
        chip = shop.scenario.probes[0].chip
        self.identity = Identity(
            board=name or "bench",
            firmware="sim 1",
            serial=serial or f"SIM-{shop.scenario.seed:05d}",
            chip={"max31855": "max31855", "emf": "emf", "its90": "max31856"}[chip],
            channels=tuple(setup.channel for setup in shop.scenario.probes),
        )
        self.boot = 1
        self._down = ourline.DownDecoder()
        self._permille, self._until_s, self._last_seq, self._output = 0, 0.0, 0, 0
        self._next_status_s, self._count = 1.0, 0
        self._held: list[tuple[float, bytes]] = []
        self._encode: Callable[[list[Sample]], list[bytes]] = {
            "pourcall": self._our_lines,
            "text": self._text_line,
        }.get(dialect, self._hex_line)

    # ---- up -----------------------------------------------------------------------------------------------------

    def bytes_now(self) -> bytes:
        """What the board sends after the shop's last step, link faults included; empty between conversions."""
        return self.send_now().data

    def send_now(self) -> Sent:
        """As `bytes_now`, with how many frames a reader must find in it."""
        shop = self.shop
        self._obey_time()
        samples = shop.samples() if shop.sample_due() else []
        lines = self._encode(samples) if samples else []
        frames = len(samples)
        if self.dialect == "pourcall" and shop.t_s >= self._next_status_s - 1e-9:
            self._next_status_s += 1.0
            lines.append(self._status(self._last_seq))
            frames += 1
        if shop.faults.link or self._held:
            return Sent(self._over_the_link(lines), None)
        return Sent(b"".join(lines), frames)

    def _our_lines(self, samples: list[Sample]) -> list[bytes]:
        lines = []
        for sample in samples:
            emf_uv, code = None, None
            if sample.raw_kind is RawKind.EMF_UV:
                emf_uv = sample.raw_value
            else:
                code = chip_registers(sample, "pourcall")
            lines.append(
                ourline.encode_sample(
                    sample.board_seq or 0,
                    sample.board_ms or 0,
                    sample.channel,
                    emf_uv=emf_uv,
                    chip_code=code,
                    cold_junction_c=sample.cold_junction_c,
                    flags=sample.flags & ourline.SENT_FLAGS,
                )
            )
        return lines

    def _hex_line(self, samples: list[Sample]) -> list[bytes]:
        return [format_hex_line({sample.channel: chip_registers(sample, self.dialect) for sample in samples})]

    def _text_line(self, samples: list[Sample]) -> list[bytes]:
        cells = [str(samples[0].board_ms)]
        for sample in samples:
            cells.append("open" if sample.raw_value is None else f"{sample.raw_value:.4f}")
            cells.append("" if sample.cold_junction_c is None else f"{sample.cold_junction_c:.4f}")
        return [",".join(cells).encode("ascii") + b"\n"]

    def _over_the_link(self, lines: list[bytes]) -> bytes:
        """The lines as a bad cable delivers them."""
        link, rng, t_s = self.shop.faults.link, self.shop.faults.rng, self.shop.t_s
        out = []
        for line in lines:
            self._count += 1
            if "silent" in link or ("sparse" in link and self._count % max(1, round(link["sparse"].size))):
                continue
            if "flood" in link:
                out.append(b"x" * int(link["flood"].size))
                continue
            if "scrambled" in link:
                line = rng.randbytes(len(line))
            elif "cut" in link and rng.random() < link["cut"].size:
                line = line[: rng.randrange(1, max(2, len(line) - 1))] + b"\n"
            if "late" in link:
                self._held.append((t_s, line))
            else:
                out.append(line)
        if self._held and ("late" not in link or t_s - self._held[0][0] >= link["late"].size):
            out = [line for _, line in self._held] + out
            self._held.clear()
        return b"".join(out)

    # ---- down ---------------------------------------------------------------------------------------------------

    def hear(self, data: bytes) -> bytes:
        """Bytes from the host; what the board answers at once. Only our own line listens."""
        if self.dialect != "pourcall":
            return b""
        answers = []
        for heard in self._down.feed(data):
            if isinstance(heard, ourline.PowerCommand):
                self._permille, self._output, self._last_seq = heard.permille, heard.output, heard.seq
                self._until_s = self.shop.t_s + heard.ttl_ms / 1000.0
                self._obey_time()
                answers.append(self._status(heard.seq))
            elif not isinstance(heard, BadFrame):
                answers.append(ourline.encode_identity(self.identity))
        return b"" if "silent" in self.shop.faults.link else b"".join(answers)

    @property
    def applied_permille(self) -> int:
        """Power the board gives now; dead once its time to live is over."""
        return self._permille if self.shop.t_s < self._until_s else 0

    def _obey_time(self) -> None:
        if self.driven:
            self.shop.faults.apply_to_plant(self.shop.plant, self.applied_permille / 1000.0)

    def _status(self, seq: int) -> bytes:
        shop = self.shop
        left_ms = max(0, round((self._until_s - shop.t_s) * 1000.0)) if self.applied_permille else 0
        ms = (shop.scenario.boot_ms + int(shop.t_s * 1000.0)) & 0xFFFFFFFF
        inputs = int(ourline.InputBit.CURRENT) if self.driven and shop.plant.power_w > 1.0 else 0
        return ourline.encode_status(
            BoardStatus(seq, ms, self.boot, self._output, self.applied_permille, left_ms, inputs)
        )
