"""Fault S5: frames joined or split anywhere. No alarm, every reading, at each possible cut."""

import pytest

from pourcall.contract.events import AlarmChanged
from pourcall.contract.inputs import LinkKind
from pourcall.drivers.wire import ourline
from tests.faults.conftest import Rig, Wire

DETECTOR = "pieces"


def readings_of(rig: Rig, pieces: list[bytes]) -> list[float]:
    decoder = ourline.decoder(chip="max31855")
    for piece in pieces:
        rig.t_s += 0.002
        rig.frames(piece, decoder)
    return [reading.temp_c for reading in rig.readings() if reading.temp_c is not None]


def test_frames_cut_at_every_place_give_all_readings_and_no_alarm(rig: Rig) -> None:
    whole = b"".join(rig.line(seq, 400.0 + seq) for seq in range(1, 6))
    wanted = readings_of(type(rig)(), [whole])
    assert len(wanted) == 5
    for cut in range(1, len(whole)):
        other = type(rig)()
        assert readings_of(other, [whole[:cut], whole[cut:]]) == wanted
        assert not [out for out in other.outs if isinstance(out, AlarmChanged)]


MAIN = test_frames_cut_at_every_place_give_all_readings_and_no_alarm


def test_frames_byte_by_byte_and_five_at_once_give_all_readings(rig: Rig) -> None:
    whole = b"".join(rig.line(seq, 400.0 + seq) for seq in range(1, 6))
    single = readings_of(rig, [bytes([byte]) for byte in whole])
    assert single == readings_of(type(rig)(), [whole])
    assert not rig.alarms()


@pytest.mark.parametrize("size", [1, 7, 64, 4096])
def test_a_real_port_delivers_all_readings_in_any_pieces(rig: Rig, wire: Wire, size: int) -> None:
    whole = b"".join(rig.line(seq, 400.0 + seq) for seq in range(1, 6))
    wire.link.start()
    wire.into(rig, LinkKind.OPENED)
    for at in range(0, len(whole), size):
        wire.write(whole[at : at + size])
    wire.into(rig, samples=5)
    assert len({reading.temp_c for reading in rig.readings()}) == 5
    assert not rig.alarms()
