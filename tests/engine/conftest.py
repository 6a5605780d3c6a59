"""Parts for the tests of the engine: a bench that drives one engine by hand, second by second."""

import math
from collections.abc import Callable, Sequence
from typing import Any

import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import BoardConfig, EngineConfig, ProbeConfig
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.plan import MeltPlan, MouldPlan, PotLimit
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.engine.core import Engine
from pourcall.metal.alloys.sheet import load_sheets

ZA27 = load_sheets().get("za27").facts()


def make_plan(
    *,
    lip: tuple[float, float] = (535.0, 575.0),
    loss_c: float = 15.0,
    moulds: int = 1,
    limit_c: float = 600.0,
    melt: str = "2026-014",
    **mould: Any,
) -> MeltPlan:
    """Deck cleats in ZA-27: a plan with one window."""
    return MeltPlan(
        melt=melt,
        alloy=ZA27,
        charge_kg=1.5,
        moulds=tuple(
            MouldPlan(name=f"cleat {k + 1}", lip_min_c=lip[0], lip_max_c=lip[1], loss_c=loss_c, **mould)
            for k in range(moulds)
        ),
        limits=(PotLimit(limit_c=limit_c, whose="alloy", why="sheet"),),
    )


class Bench:
    """One engine, driven by hand. Samples are ITS-90 degrees of an instrument, so that what goes in is meant."""

    def __init__(
        self, place: Place = Place.MELT, *, sheath: str = "thin", chip: str = "", probes: Sequence[ProbeConfig] = ()
    ) -> None:
        own = ProbeConfig(
            name="metal", board="bench", channel="0", place=place, sheath=sheath, wire_class="iec_1", rating_c=1200.0
        )
        self.engine = Engine(
            EngineConfig(
                furnace="small", boards=(BoardConfig(name="bench", chip=chip, sample_s=0.5),), probes=(own, *probes)
            )
        )
        self.t_s = 1000.0
        self.seq = 0
        self.items: list[inp.Input] = []
        self.outs: list[ev.Output] = []

    # -- driving

    utc_zero_s = 1_777_700_000.0  # of its monotonic zero

    def put(self, kind: type[Any], /, **fields: Any) -> list[ev.Output]:
        """One input of a kind, now."""
        self.seq += 1
        item = kind(seq=self.seq, mono_s=self.t_s, utc_s=self.utc_zero_s + self.t_s, **fields)
        self.items.append(item)
        outs = self.engine.handle(item)
        self.outs += outs
        return outs

    def do(self, command: inp.Command) -> list[ev.Output]:
        """A person presses a key."""
        return self.put(inp.CommandIn, command=command)

    def sample(self, temp_c: float | None, *, channel: str = "0", flags: int = 0) -> list[ev.Output]:
        """One sample of one channel."""
        made = Sample(channel, RawKind.ITS90_C, temp_c, 25.0, flags)
        return self.put(inp.SampleIn, board="bench", sample=made)

    def put_tick(self) -> None:
        """A second has passed."""
        self.put(inp.TickIn)

    def run(
        self, seconds: float, temp_c: float | Callable[[float], float | None] | None, *, step_s: float = 0.5
    ) -> list[ev.Output]:
        """So many seconds at a temperature, or at temp_c(seconds since); None: no samples. Ticks once a second."""
        before, start_s = len(self.outs), self.t_s
        steps = round(seconds / step_s)
        per_tick = max(1, round(1.0 / step_s))
        for step in range(1, steps + 1):
            self.t_s = start_s + step * step_s
            if temp_c is not None:
                value = temp_c(step * step_s) if callable(temp_c) else temp_c
                self.sample(value)
            if step % per_tick == 0:
                self.put(inp.TickIn)
        return self.outs[before:]

    def start(self, plan: MeltPlan | None = None) -> None:
        """A melt begins."""
        self.do(inp.StartMelt(plan=make_plan() if plan is None else plan))

    def in_metal(self, temp_c: float, plan: MeltPlan | None = None, *, settle_s: float = 40.0) -> None:
        """A melt runs, is skimmed, and the probe has stood in metal of this temperature, quiet."""
        self.start(plan)
        self.do(inp.MarkSkim())
        self.run(5.0, 20.0)
        self.do(inp.SetProbeState(probe="metal", state=ProbeState.IN_METAL))
        self.run(settle_s, temp_c)

    def dip(self, temp_c: float, *, hold_s: float = 20.0, tau_s: float = 1.0) -> list[ev.Output]:
        """A dip into metal of this temperature, from a probe that is warm."""
        before = len(self.outs)
        self.run(6.0, 60.0)
        self.run(hold_s, lambda t: temp_c - (temp_c - 60.0) * math.exp(-t / tau_s))
        self.run(30.0, lambda t: 60.0 + (temp_c - 60.0) * math.exp(-t / 4.0))
        return self.outs[before:]

    # -- looking

    def calls(
        self, kind: ev.CallKind, how: str = "raised", outs: Sequence[ev.Output] | None = None
    ) -> list[ev.CallView]:
        """Calls of a kind that were raised, repeated or ended."""
        among = self.outs if outs is None else outs
        return [o.call for o in among if isinstance(o, ev.CallChanged) and o.call.kind is kind and o.how == how]

    def of(self, kind: type[Any], outs: Sequence[ev.Output] | None = None) -> list[Any]:
        """Outputs of one type."""
        return [o for o in (self.outs if outs is None else outs) if isinstance(o, kind)]

    def alarm_changes(self, outs: Sequence[ev.Output] | None = None) -> list[ev.AlarmChanged]:
        """All that was said of alarms."""
        return [out for out in (self.outs if outs is None else outs) if isinstance(out, ev.AlarmChanged)]

    def alarms(self) -> dict[str, ev.AlarmView]:
        """Alarms that stand now, by id."""
        return {alarm.id: alarm for alarm in self.engine.alarms.views()}

    def up(self, kind: ev.CallKind) -> ev.CallView | None:
        """A call as it stands."""
        return self.engine.calls.up(kind)

    def readings(self) -> list[Reading]:
        """All readings so far."""
        return self.of(Reading)


@pytest.fixture
def make_bench() -> type[Bench]:
    """The bench; one engine for each that is made."""
    return Bench


@pytest.fixture
def bench() -> Bench:
    """A thin probe left in the pot."""
    return Bench()


@pytest.fixture
def plan_for() -> Callable[..., MeltPlan]:
    """Makes a plan: lip, loss_c, moulds, limit_c, and fields of MouldPlan."""
    return make_plan
