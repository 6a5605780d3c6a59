"""Fault S6: wrong baud rate. Within 3 s: link_wrong_speed, priority 2, with advice; it is not called a lost link."""

from pourcall.contract.events import Priority
from pourcall.contract.inputs import LinkKind
from pourcall.drivers.wire import ourline
from tests.faults.conftest import Rig, Wire
from tests.told import name_of

DETECTOR = "link_wrong_speed"


def at_wrong_speed(data: bytes) -> bytes:
    """What an UART makes of 8N1 bits that come at twice its speed: every other bit, framed anew, line ends lost."""
    bits = [bit for byte in data for bit in (0, *((byte >> k) & 1 for k in range(8)), 1)][::2]
    found, at = bytearray(), 0
    while at + 10 <= len(bits):
        if bits[at]:
            at += 1
            continue
        found.append(sum(bit << k for k, bit in enumerate(bits[at + 1 : at + 9])))
        at += 10
    return bytes(found)


def story(rig: Rig, broken: bool) -> None:
    decoder = ourline.decoder(chip="max31855")
    rig.put_link_opened()
    rig.breaks()
    sent = [0]

    def send() -> None:
        sent[0] += 1
        lines = b"".join(rig.line(10 * sent[0] + k, 25.0) for k in range(4))
        rig.frames(at_wrong_speed(lines) if broken else lines, decoder)

    rig.waits(15.0, send)


def test_bytes_at_another_speed_are_one_alarm_with_advice(rig: Rig) -> None:
    story(rig, broken=True)
    rig.one_alarm("link_wrong_speed", Priority.ALARM, 3.0 + 1.0, subject="bench")  # told at the tick after 3 s
    assert name_of(rig.alarms()["link_wrong_speed:bench"].remedy) == "alarm.link_wrong_speed.remedy"
    assert not rig.raised("link_lost")
    assert rig.engine.channels[0].last is None or rig.engine.channels[0].last.temp_c is None


MAIN = test_bytes_at_another_speed_are_one_alarm_with_advice


def test_many_broken_lines_at_another_speed_are_not_called_noise_first(rig: Rig) -> None:
    decoder = ourline.decoder(chip="max31855")
    rig.put_link_opened()
    rig.breaks()
    rubbish = at_wrong_speed(b"".join(rig.line(k, 25.0) for k in range(4)))
    rig.waits(15.0, lambda: rig.frames(rubbish + b"\n" + rubbish + b"\n", decoder))
    rig.one_alarm("link_wrong_speed", Priority.ALARM, 3.0 + 1.0, subject="bench")


def test_the_same_bytes_at_the_right_speed_raise_nothing(rig: Rig) -> None:
    story(rig, broken=False)
    assert not rig.alarms()
    assert rig.engine.channels[0].last is not None


def test_shifted_bits_on_a_real_port_are_told_as_what_they_are(rig: Rig, wire: Wire) -> None:
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    rig.breaks()
    wire.write(at_wrong_speed(b"".join(rig.line(k, 25.0) for k in range(40))) + b"\n")
    wire.into(rig, LinkKind.BAD_FRAMES)
    rig.waits(5.0)
    assert [alarm.kind for alarm in rig.alarms().values() if not alarm.suppressed_by] == ["link_wrong_speed"]
