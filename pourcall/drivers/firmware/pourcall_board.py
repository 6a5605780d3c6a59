"""Reference firmware of a board. One MicroPython file: MAX31855 chips on one SPI bus, one output, four contacts.

Copy to the board as `main.py`, after setting the pins below. Speaks the line protocol of drivers/wire/ourline.py over
USB. The board does not linearise, does not judge temperatures and never asks for power by itself: it applies what it
was told, for as long as it was told, and then nothing. `Board` is plain Python; only `main` touches hardware.

Three things take power away: the time to live of the last command, a limit of MAX_TTL_MS on what a command may ask for,
and the hardware watchdog, which restarts a hung board with its output off.
"""

# ---- what to set for your board

BOARD_NAME = "pourcall-board"
CHANNELS = ("1", "2")  # names as the host sees them, one for each chip select pin
CS_PINS = (5, 6)
SPI_ID, SCK_PIN, MISO_PIN, MOSI_PIN = 0, 2, 4, 3  # RP2040; MOSI is not wired, the chip only talks
OUTPUT_PIN = 15
INPUT_PINS = (16, 17, 18, 19)  # next button, limit tripped, current seen, on battery; closed to ground is "on"
SAMPLE_EVERY_MS = 100  # the chip converts in 100 ms at most (MAX31855 data sheet)
WINDOW_MS = 2000  # the output is time-proportioned in windows of this length: for a solid state relay
WATCHDOG_MS = 2000

# ---- the protocol: pure, and the same on a desk computer

FIRMWARE = "1.0"
CHIP = "max31855"
STATUS_EVERY_MS = 1000
MAX_TTL_MS = 5000
MAX_LINE = 128
WRAP = 1 << 32
OPEN, SHORT_GROUND, SHORT_SUPPLY, COLD_JUNCTION, RESTARTED = 1, 2, 4, 8, 16
NEXT_PRESSED, LIMIT_TRIPPED, CURRENT_SEEN, ON_BATTERY = 1, 2, 4, 8  # bits of the inputs


def crc16(data: bytes) -> int:
    """CRC-16/CCITT-FALSE; MicroPython has no crc_hqx."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else crc << 1
    return crc


def seal(text: str) -> bytes:
    """The line with its checksum."""
    body = text.encode()
    return body + f"*{crc16(body):04X}\n".encode()


def word_fields(word: int) -> "tuple[str, int]":
    """(cold junction in degC or nothing, flags) of a MAX31855 word. Reserved bits set: the host will see them."""
    flags = word & 7  # open, short to ground, short to supply: the same bits as in the line
    if word & 0x20008:
        return "", 0
    cold = (word >> 4) & 0xFFF
    if cold & 0x800:
        cold -= 0x1000
    return f"{cold / 16:.4f}", flags


class Board:
    """The board without its hardware. Give it time and lines; it gives back lines and whether the output is on.

    now_ms is the board's own count of milliseconds since its start; it must not go back.
    """

    def __init__(self, serial: str, boot: int) -> None:
        self.serial = serial
        self.boot = boot
        self.seq = 0
        self.command_seq = 0
        self.permille = 0
        self.set_ms = 0
        self.ttl_ms = 0
        self.inputs = 0
        self.fresh = dict.fromkeys(CHANNELS, True)
        self.part = b""
        self.overlong = False
        self.status_ms = -STATUS_EVERY_MS

    def ttl_left_ms(self, now_ms: int) -> int:
        """Milliseconds until the power dies by itself."""
        return max(0, self.ttl_ms - (now_ms - self.set_ms))

    def applied_permille(self, now_ms: int) -> int:
        """Power in force: what was asked for, or nothing once its time is over or the limit contact has opened."""
        return 0 if self.inputs & LIMIT_TRIPPED or self.ttl_left_ms(now_ms) == 0 else self.permille

    def output_on(self, now_ms: int) -> bool:
        """Whether the output is closed at this moment of its window."""
        return now_ms % WINDOW_MS * 1000 < self.applied_permille(now_ms) * WINDOW_MS

    def sample(self, channel: str, word: int, now_ms: int) -> bytes:
        """The line for one word of one channel."""
        cold, flags = word_fields(word)
        if self.fresh.get(channel):
            flags |= RESTARTED
            self.fresh[channel] = False
        self.seq = (self.seq + 1) % WRAP
        return seal(f"PC1,{self.seq},{now_ms % WRAP},{channel},,{word:08X},{cold},{flags}")

    def status(self, now_ms: int) -> bytes:
        """The status line; the next one is due a second later."""
        self.status_ms = now_ms
        permille, left_ms = self.applied_permille(now_ms), self.ttl_left_ms(now_ms)
        return seal(f"PS1,{self.command_seq},{now_ms % WRAP},{self.boot},0,{permille},{left_ms},{self.inputs}")

    def tick(self, now_ms: int, inputs: int) -> "list[bytes]":
        """A status line when one is due: every second, and at once when a contact changes."""
        changed = inputs != self.inputs
        self.inputs = inputs
        if changed or now_ms - self.status_ms >= STATUS_EVERY_MS:
            return [self.status(now_ms)]
        return []

    def hear(self, data: bytes, now_ms: int) -> "list[bytes]":
        """Answers to what the host sent. What is no command is left unanswered and changes nothing."""
        answers = []
        for value in data:
            if value in (10, 13):
                if self.part and not self.overlong:
                    answers += self.handle(self.part, now_ms)
                self.part = b""
                self.overlong = False
            elif len(self.part) >= MAX_LINE:
                self.overlong = True
            else:
                self.part += bytes((value,))
        return answers

    def handle(self, line: bytes, now_ms: int) -> "list[bytes]":
        """One whole line from the host."""
        if line.strip() == b"?":
            words = (BOARD_NAME, FIRMWARE, self.serial, CHIP, ";".join(CHANNELS))
            return [seal("PI1," + ",".join(words))]
        star = line.rfind(b"*")
        try:
            if star < 0 or len(line) - star != 5 or int(line[star + 1 :].decode(), 16) != crc16(line[:star]):
                return []
            fields = line[:star].decode().split(",")
            if len(fields) != 5 or fields[0] != "PW1":
                return []
            seq, output, permille, ttl_ms = [int(field) for field in fields[1:]]
        except ValueError:
            return []
        if output != 0 or not 0 <= permille <= 1000 or not 0 <= ttl_ms <= MAX_TTL_MS or not 0 <= seq < WRAP:
            return []
        self.command_seq, self.permille, self.ttl_ms, self.set_ms = seq, permille, ttl_ms, now_ms
        return [self.status(now_ms)]


# ---- the hardware


def main() -> None:
    """Run for ever. MicroPython only."""
    import os
    import select
    import sys
    import time

    import machine  # type: ignore[import-not-found]
    import micropython  # type: ignore[import-not-found]

    output = machine.Pin(OUTPUT_PIN, machine.Pin.OUT, value=0)  # before anything else
    watchdog = machine.WDT(timeout=WATCHDOG_MS)
    micropython.kbd_intr(-1)  # a stray 0x03 on the line must not stop the program
    selects = [machine.Pin(pin, machine.Pin.OUT, value=1) for pin in CS_PINS]
    contacts = [machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP) for pin in INPUT_PINS]
    spi = machine.SPI(
        SPI_ID,
        baudrate=1_000_000,
        polarity=0,
        phase=0,
        sck=machine.Pin(SCK_PIN),
        miso=machine.Pin(MISO_PIN),
        mosi=machine.Pin(MOSI_PIN),
    )
    serial = "".join([f"{byte:02x}" for byte in machine.unique_id()])
    board = Board(serial, int.from_bytes(os.urandom(4), "big"))
    heard = select.poll()
    heard.register(sys.stdin, select.POLLIN)
    clock: list[int] = [time.ticks_ms(), 0]  # type: ignore[attr-defined]

    def now() -> int:
        """Milliseconds since the start, without the wrap of ticks, which comes much earlier than that of 32 bits."""
        ticks = time.ticks_ms()  # type: ignore[attr-defined]
        clock[1] += time.ticks_diff(ticks, clock[0])  # type: ignore[attr-defined]
        clock[0] = ticks
        return clock[1]

    def switch() -> None:
        """Set the output for this moment. Called between lines too: writing one may block while nobody reads."""
        output.value(1 if board.output_on(now()) else 0)
        watchdog.feed()

    next_sample_ms = 200  # the first valid result comes 200 ms after power-up (data sheet)
    while True:
        switch()
        lines = board.tick(now(), sum([1 << bit for bit, pin in enumerate(contacts) if pin.value() == 0]))
        for _ in range(64):  # a flood from the host must not keep the output from being switched
            if not heard.poll(0):
                break
            lines += board.hear(sys.stdin.buffer.read(1), now())
        if now() >= next_sample_ms:
            next_sample_ms = now() + SAMPLE_EVERY_MS
            for place in range(len(CHANNELS)):
                selects[place].value(0)
                word = int.from_bytes(spi.read(4), "big")
                selects[place].value(1)
                lines.append(board.sample(CHANNELS[place], word, now()))
        for line in lines:
            sys.stdout.buffer.write(line)
            switch()
        time.sleep_ms(2)  # type: ignore[attr-defined]


if __name__ == "__main__":
    main()
