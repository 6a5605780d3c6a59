"""What lies ahead of the running melt, and what its profile says: foresight and profile beside the engine.

In: power, readings of the metal and the chamber, dips, additions, a tick a second, as the engine has them. Out: the
forecast, advice in words, findings of a dead flame or a deaf furnace. The furnace's model comes with `StartMelt` and
stays for the melt; without one it is what is usual. Foresight advises: should its arithmetic ever fail, it falls silent
for the melt and says so, and the melt is followed on without it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from pourcall.contract.config import EngineConfig
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel, StartMelt
from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.engine.guidance.profile_advice import Advice, Panel
from pourcall.engine.guidance.profile_run import OPERATOR_REACTION_S, ProfileRun
from pourcall.engine.guidance.response import Findings, ResponseWatch
from pourcall.engine.melt.melt_run import MeltRun, PowerKnob
from pourcall.furnace.forecast import Forecast, Outlook
from pourcall.furnace.model import usual_model
from pourcall.thermometry.sheaths import SHEATHS

FAR_EVERY_S = 5.0  # forecasts change slowly; near the cut, or while a profile runs, every second
NEAR_S = 120.0
HOT_C = 80.0  # hotter than that at the start: the furnace stands hot from the melt before
WALL_KNOWN_U_C, WALL_GUESSED_U_C, WALL_UNSEEN_U_C = 40.0, 120.0, 120.0  # k = 1 (ours)
ROOM_C = 20.0
ROOM_LOW_C, ROOM_HIGH_C = -10.0, 45.0
U_LEAST_C = 3.0
LEAST_IN_POT = 0.2  # of the charge: an addition can hardly have been more than the rest


@dataclass(frozen=True, slots=True)
class Sight:
    """What the engine sees at one tick; temperatures degC, None where nothing tells."""

    metal_c: float | None  # best figure for the metal
    rate_c_per_min: float | None
    standing_c: float | None  # of a probe that stays in the metal
    chamber_c: float | None
    busy: bool  # lifted, a dip going on, a probe on its way


class Guide:
    """One furnace; a melt at a time."""

    def __init__(self, config: EngineConfig) -> None:
        self.config, self.fuel = config, config.kind == "fuel"
        self.ahead: Forecast | None = None
        self.seen = Outlook()
        self.seen_s = -1e9
        self.aim_c: float | None = None
        self.profile: ProfileRun | None = None
        self.advice: Told = NOTHING
        self.dial: float | None = None  # what should stand on the panel, in its own unit
        self.found = Findings()
        self.failed = NOTHING
        self.panel_offset_c: float | None = None
        self._response: ResponseWatch | None = None
        self._wall: tuple[float, float, float] | None = None  # when a melt ended, its wall then, how fast that cools
        self._band: tuple[float, tuple[tuple[float, float, float], ...]] = (-1e9, ())
        self._share: tuple[float | None, bool] = (None, False)

    # -- begin, change, end -------------------------------------------------------------------------------------------

    def start(
        self,
        command: StartMelt,
        power: PowerKnob,
        mono_s: float,
        *,
        room_c: float | None,
        metal_c: float | None,
        chamber_c: float | None,
    ) -> None:
        """A melt begins. metal_c, chamber_c: what the probes read at that moment; room_c: the board's cold junction."""
        model = command.model or self._usual()
        self.failed, self.advice, self.dial = NOTHING, NOTHING, None
        self.panel_offset_c = model.panel_offset_c
        plan = command.plan
        room = command.room_c if command.room_c is not None else _sensible_room_c(room_c)
        wall_c, wall_u_c = self._wall_at(mono_s, room, metal_c, chamber_c)
        self._begin(model, plan, mono_s, room_c=room, wall_c=wall_c, wall_u_c=wall_u_c, metal_c=None)
        if self.ahead is not None:
            self.ahead.planned(plan.charge_kg - plan.later_kg, plan.later_kg)
        self._response = ResponseWatch(fuel=self.fuel, power_w=_least_power_w(model))
        self.found = Findings()
        self.profile = None
        self.set_power(power, mono_s)

    def _begin(
        self,
        model: FurnaceModel,
        plan: MeltPlan,
        mono_s: float,
        *,
        room_c: float,
        wall_c: float | None,
        wall_u_c: float,
        metal_c: float | None,
    ) -> None:
        self.seen, self.seen_s, self._band = Outlook(), -1e9, (-1e9, ())
        self._share = (None, False)
        try:
            self.ahead = Forecast(
                model,
                plan.alloy,
                plan.charge_kg,
                mono_s,
                room_c=room_c,
                wall_c=wall_c,
                wall_u_c=wall_u_c,
                metal_c=metal_c,
            )
        except (ArithmeticError, ValueError) as err:
            self._fail(err)

    def change(self, old: MeltPlan, new: MeltPlan, power: PowerKnob, mono_s: float) -> None:
        """Another charge or alloy in mid-melt: the furnace is as it is, and foresight goes on from there."""
        ahead = self.ahead
        if ahead is None or (old.alloy == new.alloy and old.charge_kg == new.charge_kg):
            return
        if old.alloy == new.alloy:
            ahead.planned(max(ahead.mass_kg + new.charge_kg - old.charge_kg, 0.01), ahead.still_to_come_kg)
            return
        seen = self.seen
        self._begin(
            ahead.model,
            new,
            mono_s,
            room_c=ahead.room_c,
            wall_c=seen.wall_c,
            wall_u_c=WALL_KNOWN_U_C,
            metal_c=seen.metal_c.mid,
        )
        self.set_power(power, mono_s)

    def end(self, mono_s: float) -> None:
        """The melt is over; how hot it left the furnace is remembered for the next."""
        if self.ahead is not None and self.seen.wall_c is not None:
            model = self.ahead.model
            tau_s = model.value("wall_j_per_k") / model.value("loss_w_per_k")
            self._wall = (mono_s, self.seen.wall_c, tau_s)
        self.ahead, self.profile, self._response = None, None, None
        self.seen, self.aim_c, self.found = Outlook(), None, Findings()

    def _usual(self) -> FurnaceModel:
        sheath_s = next((SHEATHS[probe.sheath].tau_metal_s for probe in self.config.probes), 4.2)
        return usual_model(self.config.furnace, kind=self.config.kind, rating_c=self.config.rating_c, sheath_s=sheath_s)

    def _wall_at(
        self, mono_s: float, room_c: float, metal_c: float | None, chamber_c: float | None
    ) -> tuple[float | None, float]:
        """How hot the furnace is as the melt begins, by what tells it best; None: cold."""
        if chamber_c is not None and chamber_c > HOT_C:
            return chamber_c, WALL_KNOWN_U_C
        if self._wall is not None:
            ended_s, wall_c, tau_s = self._wall
            left = math.exp(-(mono_s - ended_s) / max(tau_s, 60.0))
            cooled_c = room_c + (wall_c - room_c) * left
            if cooled_c > HOT_C:
                return cooled_c, WALL_KNOWN_U_C
        if metal_c is not None and metal_c > HOT_C:
            return metal_c, WALL_GUESSED_U_C
        told = metal_c is not None or chamber_c is not None or self._wall is not None
        return (None, 5.0) if told else (room_c, WALL_UNSEEN_U_C)  # it may stand hot from a melt nobody recorded

    # -- what happens -------------------------------------------------------------------------------------------------

    def set_power(self, power: PowerKnob, mono_s: float) -> None:
        """Knob, burner or what the board applies."""
        share, low = _share_of(power)
        if self.ahead is None or (share, low) == self._share:
            return
        self._share = (share, low)
        self.seen_s = -1e9
        self._trying(lambda ahead: ahead.set_power(share, mono_s, low=low))

    def added(self, kg: float | None, mono_s: float) -> None:
        """Cold metal went in. What was not announced as still to come was part of the charge all the same."""
        if self._response is not None:
            self._response.added(mono_s)
        ahead = self.ahead
        if ahead is None:
            return
        mass_kg = kg if kg is not None else ahead.still_to_come_kg
        if mass_kg <= 0.0:
            return
        if ahead.still_to_come_kg <= 0.0:
            ahead.planned(max(ahead.mass_kg - mass_kg, LEAST_IN_POT * ahead.mass_kg), 0.0)
        self._trying(lambda one: one.add(mass_kg, mono_s))

    def disturbed(self, mono_s: float) -> None:
        """Lid, skim, stirring."""
        if self._response is not None:
            self._response.disturbed(mono_s)

    def read(self, temp_c: float, u_c: float, mono_s: float) -> None:
        """A probe that stays in the pot; not corrected for its lag."""
        self._trying(lambda ahead: ahead.take(temp_c, max(u_c, U_LEAST_C), mono_s))

    def settled(self, temp_c: float, u_c: float, mono_s: float) -> None:
        """A dip, or a figure of another instrument held in the metal."""
        self._trying(lambda ahead: ahead.take(temp_c, max(u_c, U_LEAST_C), mono_s, settled=True))

    def not_liquid(self, mono_s: float) -> None:
        """A dip found the metal at or below its liquidus."""
        self._trying(lambda ahead: ahead.not_liquid(mono_s))

    def chamber(self, temp_c: float, mono_s: float) -> None:
        """A probe in the chamber."""
        self._trying(lambda ahead: ahead.take_chamber(temp_c, mono_s))

    # -- the profile --------------------------------------------------------------------------------------------------

    def follow(self, plan: ProfilePlan, run: MeltRun, mono_s: float, metal_c: float | None) -> str:
        """Guide by this profile from now on; how: began or changed."""
        running = self.profile
        if running is not None and not running.over:
            running.change(plan, mono_s, metal_c)
            how = "changed"
        else:
            self.profile = running = ProfileRun(
                plan, mono_s, fuel=self.fuel, panel=self._panel(), window_c=run.tap_window_c
            )
            if metal_c is not None and len(plan.segments) > 1:
                running.change(plan, mono_s, metal_c)  # a melt that is half hot begins half-way
                running.history.clear()
            how = "began"
        self.advice, self.dial = NOTHING, None
        return how

    def _panel(self) -> Panel | None:
        own = self.config.panel
        if own is None:
            return None
        return Panel(unit=own.unit, step=own.step, offset_c=self.panel_offset_c or 0.0, max_c=own.max_c)

    def compared(self, metal_c: float, panel_c: float) -> None:
        """The panel was read while the metal was known and both stood still: from now on it is dialled by that."""
        self.panel_offset_c = metal_c - panel_c
        if self.profile is not None and self.profile.panel is not None:
            self.profile.panel = self._panel()

    @property
    def guiding(self) -> bool:
        """A profile runs and is not over."""
        return self.profile is not None and not self.profile.over

    @property
    def learned(self) -> bool:
        """The furnace was learned from melts, and this one has been seen: its coast is worth a call."""
        return self.ahead is not None and self.ahead.model.version > 0 and self.ahead.seen > 0 and not self.failed

    @property
    def could_be_c(self) -> float | None:
        """The most the metal may be at, by the model; None: nobody said how the power stands, or nothing reckoned."""
        return None if self._share == (None, False) or self.seen_s < 0.0 else self.seen.metal_c.high

    def ready_in_s(self, mono_s: float) -> float | None:
        """Seconds until the metal should be in its window; None: not known, or never read."""
        if self.ahead is None or not self.ahead.seen or self.seen_s < 0.0 or self.seen.ready_s.mid is None:
            return None
        return max(0.0, self.seen.ready_s.mid - (mono_s - self.seen_s))

    def cut_due(self, mono_s: float) -> bool | None:
        """Without a profile: is it time to say that the power be cut; None: the furnace was never learned."""
        if not self.learned or self.guiding or self.seen_s < 0.0:
            return None
        left_s = self.seen.cut_in_s
        return left_s is not None and left_s - (mono_s - self.seen_s) <= OPERATOR_REACTION_S

    # -- time ---------------------------------------------------------------------------------------------------------

    def tick(self, run: MeltRun, sight: Sight, power: PowerKnob, mono_s: float) -> tuple[Advice, ...]:
        """A second passed; what the profile says, most pressing first."""
        low_c, high_c = run.tap_window_c
        if self._response is not None:
            mass_kg = run.plan.charge_kg if self.ahead is None else self.ahead.mass_kg
            self.found = self._response.update(
                mono_s,
                power.level,
                metal_c=sight.standing_c,
                chamber_c=sight.chamber_c,
                alloy=run.plan.alloy,
                mass_kg=mass_kg,
                target_c=None if run.next_mould is None else low_c,
                busy=sight.busy,
            )
        if run.lifted(mono_s):
            self.seen, self.aim_c = Outlook(), None  # the pot is out: nothing of this is true any more
            return ()
        profile = self.profile if self.guiding else None
        self.aim_c = 0.5 * (low_c + high_c) if profile is None else profile.plan.segments[-1].to_c
        near = self.seen.cut_in_s is not None and self.seen.cut_in_s - (mono_s - self.seen_s) < NEAR_S
        if mono_s - self.seen_s >= (1.0 if near or profile is not None else FAR_EVERY_S) - 1e-6:
            self._look(low_c, mono_s)
        if profile is None:
            return ()
        profile.window_c = (low_c, high_c)
        said = profile.tick(
            mono_s, sight.metal_c, sight.rate_c_per_min, power.level, None if self.failed else self.ahead
        )
        for advice in said:
            if advice.dial is not None:
                self.dial = advice.dial
        if said:
            self.advice = said[0].text
        return said

    def _look(self, low_c: float, mono_s: float) -> None:
        ahead, aim_c = self.ahead, self.aim_c
        if ahead is None or aim_c is None or self.failed:
            return
        try:
            self.seen = ahead.tick(mono_s, low_c, aim_c, low_c)
            self.seen_s = mono_s
        except (ArithmeticError, ValueError) as err:
            self._fail(err)

    def _trying(self, what: Callable[[Forecast], None]) -> None:
        if self.ahead is not None and not self.failed:
            try:
                what(self.ahead)
            except (ArithmeticError, ValueError) as err:
                self._fail(err)

    def _fail(self, err: Exception) -> None:
        """A forecast that cannot be reckoned is left out; the melt goes on."""
        self.failed = tell("forecast.stopped", error=str(err))
        self.seen = Outlook(why=self.failed)

    def band(self) -> tuple[tuple[float, float, float], ...]:
        """The trace to come, as of the last look: (seconds from then, low, high). Kept until the next."""
        if self.ahead is None or not self.ahead.seen or self.failed:
            return ()
        if self._band[0] != self.seen_s:
            self._band = (self.seen_s, self.ahead.band(self.seen_s))
        return self._band[1]

    @property
    def power_off(self) -> bool:
        """What is foreseen is a furnace without power."""
        return self._share == (0.0, False)


def _share_of(power: PowerKnob) -> tuple[float | None, bool]:
    """Share of full power, and whether it is the burner's own low. A board that drives nothing reports nought."""
    if power.level is PowerLevel.LOW:
        return None, True
    if power.level is not None:
        return (1.0 if power.level is PowerLevel.HIGH else 0.0), False
    return (power.applied_permille / 1000.0 if power.applied_permille else None), False


def _sensible_room_c(room_c: float | None) -> float:
    """A cold junction beside the furnace is no thermometer on the wall; out of reason, the usual is taken."""
    return room_c if room_c is not None and ROOM_LOW_C <= room_c <= ROOM_HIGH_C else ROOM_C


def _least_power_w(model: FurnaceModel) -> float | None:
    """The least the furnace gives at full power, by what was learned; None: nothing was."""
    if model.version == 0 and not model.power_known:
        return None
    return model.value("power_w") * math.exp(-2.0 * model.spread("power_w"))
