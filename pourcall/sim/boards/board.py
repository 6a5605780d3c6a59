"""A simulated amplifier board. A `Shop` behind it, bytes out, commands in; every dialect, every link fault.

A dialect is a wire format of `drivers.wire.registry`; its encoder stands beside its decoder, and its own tests hold
both to the data sheets. Our own line is spoken both ways: a status once a second, `?` answered, `PW1` applied until its
time to live is over. Not here: ports and pseudo-terminals (pty_board.py).
"""

from typing import NamedTuple

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import BadFrame, BoardStatus, Identity
from pourcall.contract.message import tell
from pourcall.drivers.wire import ourline
from pourcall.drivers.wire.registry import format_of
from pourcall.sim.boards.amp import RAW_KIND
from pourcall.sim.shop import Shop


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
        self.format = format_of(dialect)
        chips = {setup.chip for setup in shop.scenario.probes}
        if any(RAW_KIND[chip] not in self.format.carries for chip in chips):
            told = tell("sim.not_carried", format=dialect, chips=", ".join(sorted(chips)))
            raise BadInput(told, remedy=tell("sim.not_carried.remedy"))
        self.shop, self.driven = shop, driven
        self._two_way = self.format is ourline.FORMAT
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

    # ---- up -----------------------------------------------------------------------------------------------------

    def bytes_now(self) -> bytes:
        """What the board sends after the shop's last step, link faults included; empty between conversions."""
        return self.send_now().data

    def send_now(self) -> Sent:
        """As `bytes_now`, with how many frames a reader must find in it."""
        shop = self.shop
        self._apply_power()
        samples = shop.samples() if shop.sample_due() else []
        lines = self.format.encode(samples) if samples else []
        frames = len(samples)
        if self._two_way and shop.t_s >= self._next_status_s - 1e-9:
            self._next_status_s += 1.0
            lines.append(self._status(self._last_seq))
            frames += 1
        if shop.faults.link or self._held:
            return Sent(self._over_the_link(lines), None)
        return Sent(b"".join(lines), frames)

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
        if not self._two_way:
            return b""
        answers = []
        for heard in self._down.feed(data):
            if isinstance(heard, ourline.PowerCommand):
                self._permille, self._output, self._last_seq = heard.permille, heard.output, heard.seq
                self._until_s = self.shop.t_s + heard.ttl_ms / 1000.0
                self._apply_power()
                answers.append(self._status(heard.seq))
            elif not isinstance(heard, BadFrame):
                answers.append(ourline.encode_identity(self.identity))
        return b"" if "silent" in self.shop.faults.link else b"".join(answers)

    @property
    def applied_permille(self) -> int:
        """Power the board gives now; dead once its time to live is over."""
        return self._permille if self.shop.t_s < self._until_s else 0

    def _apply_power(self) -> None:
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
