"""Fault T10: the probe fell out of the metal while it should be in. After 30 s with the power on `probe_out` (2).

It cools as a bare tip does in still air, towards the warm air over a furnace; nothing tells then what the metal is at.
"""

import math

from pourcall.contract.config import ProbeConfig
from pourcall.contract.events import Priority
from pourcall.contract.inputs import MarkLift, MarkPower, MarkSkim, PowerLevel, SetProbeState
from pourcall.contract.reading import Place, ProbeState
from tests.engine.conftest import make_plan
from tests.faults.conftest import Rig

DETECTOR = "probe_out"
BATH_C, AIR_C, AIR_TAU_S = 520.0, 60.0, 12.0  # liquid, below the window


def cools_c(since_s: float) -> float:
    return AIR_C + (BATH_C - AIR_C) * math.exp(-since_s / AIR_TAU_S)


def heated(rig: Rig, level: PowerLevel | None = PowerLevel.HIGH) -> None:
    rig.put_link_opened()
    rig.in_metal(BATH_C - 20.0, make_plan())
    if level is not None:
        rig.do(MarkPower(level=level))
    start_s = rig.t_s
    rig.waits(40.0, lambda: rig.sample(BATH_C - 20.0 + 0.5 * (rig.t_s - start_s)))
    rig.breaks()


def falls_out(rig: Rig, lasts_s: float = 90.0) -> None:
    rig.waits(lasts_s, lambda: rig.sample(cools_c(rig.t_s - rig.broken_s)))


def story(rig: Rig, level: PowerLevel | None = PowerLevel.HIGH) -> None:
    heated(rig, level)
    falls_out(rig)


def test_a_probe_out_of_the_metal_with_the_power_on_is_one_alarm(rig: Rig) -> None:
    story(rig)
    # seen to be out within some seconds, and then half a minute of it
    rig.one_alarm("probe_out", Priority.ALARM, 30.0 + 2.5 * AIR_TAU_S)
    rig.no_call()


MAIN = test_a_probe_out_of_the_metal_with_the_power_on_is_one_alarm


def test_with_the_power_off_or_nobody_knows_it_is_no_matter(rig: Rig) -> None:
    story(rig, PowerLevel.OFF)
    assert not rig.said_of("probe_out")


def test_where_nobody_says_that_the_power_is_on_it_is_not_told(rig: Rig) -> None:
    story(rig, None)
    assert not rig.said_of("probe_out")


def test_a_lift_explains_it(rig: Rig) -> None:
    heated(rig)
    rig.do(MarkLift())
    falls_out(rig)
    assert not rig.said_of("probe_out")


def test_while_somebody_skims_or_adds_metal_it_may_be_out(rig: Rig) -> None:
    heated(rig)
    rig.do(MarkSkim())
    falls_out(rig, 60.0)
    assert not rig.said_of("probe_out")


def test_a_tip_that_a_cold_charge_chills_is_not_out(rig: Rig) -> None:
    rig.put_link_opened()
    rig.in_metal(240.0, make_plan())
    rig.do(MarkPower(level=PowerLevel.HIGH))
    start_s = rig.t_s
    rig.waits(120.0, lambda: rig.sample(158.0 + 82.0 * math.exp(-(rig.t_s - start_s) / 30.0)))
    assert not rig.said_of("probe_out")


def test_put_back_it_clears(rig: Rig) -> None:
    story(rig)
    rig.waits(60.0, lambda: rig.sample(BATH_C))
    assert not [alarm for alarm in rig.alarms().values() if alarm.active and alarm.kind == "probe_out"]


def test_a_chamber_probe_that_fell_out_of_the_furnace_is_told() -> None:
    chamber = ProbeConfig(name="chamber", board="bench", channel="1", place=Place.CHAMBER, rating_c=1200.0)
    rig = Rig(probes=(chamber,))
    rig.put_link_opened()
    rig.start()
    rig.do(SetProbeState(probe="metal", state=ProbeState.IN_METAL))
    rig.do(MarkPower(level=PowerLevel.HIGH))
    rig.waits(90.0, lambda: (rig.sample(300.0 + 0.1 * rig.seq), rig.sample(800.0, channel="1")))
    rig.breaks()

    def falls() -> None:
        rig.sample(320.0)
        rig.sample(60.0 + 740.0 * math.exp(-(rig.t_s - rig.broken_s) / 12.0), channel="1")

    rig.waits(90.0, falls)
    assert "probe_out:chamber" in rig.alarms()
