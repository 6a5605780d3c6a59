"""What lies ahead of the running melt: the forecast beside the engine.

In: power, readings of the metal and the chamber, dips, additions, a look now and then, as the engine has them. Out:
the outlook, when to cut, the trace to come. The furnace's model comes with `StartMelt` and stays for the melt; without
one it is what is usual. The forecast advises: should its arithmetic ever fail, it falls silent for the melt and says
so, and the melt is followed on without it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import msgspec

from pourcall.contract.config import EngineConfig
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel, StartMelt
from pourcall.contract.message import NOTHING, tell
from pourcall.contract.plan import MeltPlan
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import Interval
from pourcall.engine.guidance.profile_advice import CoastForecast
from pourcall.engine.guidance.profile_run import NEVER_S, OPERATOR_REACTION_S
from pourcall.engine.melt.power_knob import PowerKnob
from pourcall.furnace.forecast import Forecast, Outlook
from pourcall.furnace.model import HOT_START_C, usual_model
from pourcall.thermometry.sheaths import SHEATHS

FAR_EVERY_S = 5.0  # forecasts change slowly; near the cut, or while a profile runs, every second
NEAR_S = 120.0
WALL_KNOWN_U_C, WALL_GUESSED_U_C, WALL_UNSEEN_U_C = 40.0, 120.0, 120.0  # k = 1 (ours)
ROOM_C = 20.0
USUAL_SHEATH_S = 4.2  # 6 mm
ROOM_LOW_C, ROOM_HIGH_C = -10.0, 45.0
U_LEAST_C = 3.0
LEAST_IN_POT = 0.2  # of the charge: an addition can hardly have been more than the rest


@dataclass(frozen=True, slots=True)
class AtStart:
    """What is measured as a melt begins, degC; None where nothing tells."""

    room_c: float | None = None  # the board's cold junction
    metal_c: float | None = None
    chamber_c: float | None = None


class ForecastTracker:
    """One furnace; a melt at a time."""

    def __init__(self, config: EngineConfig) -> None:
        self._config = config
        self.forecast: Forecast | None = None
        self.outlook = Outlook()
        self.looked_s = NEVER_S
        self.aim_c: float | None = None
        self.failed = NOTHING
        self._wall: tuple[float, float, float] | None = None  # when a melt ended, its wall then, how fast that cools
        self._band: tuple[float, tuple[tuple[float, float, float], ...]] = (NEVER_S, ())
        self._share: tuple[float | None, bool] = (None, False)

    # -- begin, change, end -------------------------------------------------------------------------------------------

    def start(self, command: StartMelt, power: PowerKnob, mono_s: float, at_start: AtStart) -> FurnaceModel:
        """A melt begins; the model it is forecast by."""
        model = command.model or self._usual()
        self.failed = NOTHING
        plan = command.plan
        room_c = command.room_c if command.room_c is not None else _sensible_room_c(at_start.room_c)
        wall_c, wall_u_c = self._wall_at(mono_s, room_c, at_start)
        self._begin(model, plan, mono_s, room_c=room_c, wall_c=wall_c, wall_u_c=wall_u_c, metal_c=None)
        if self.forecast is not None:
            self.forecast.planned(plan.charge_kg - plan.later_kg, plan.later_kg)
        self.set_power(power, mono_s)
        return model

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
        self.outlook, self.looked_s, self._band = Outlook(), NEVER_S, (NEVER_S, ())
        self._share = (None, False)
        try:
            self.forecast = Forecast(
                msgspec.structs.replace(
                    model, sheath_s=self._sheath_s()
                ),  # of today, not of the melts it was learned in
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
        """Another charge or alloy in mid-melt: the furnace is as it is, and the forecast goes on from there."""
        forecast = self.forecast
        if forecast is None or (old.alloy == new.alloy and old.charge_kg == new.charge_kg):
            return
        if old.alloy == new.alloy:
            forecast.planned(max(forecast.mass_kg + new.charge_kg - old.charge_kg, 0.01), forecast.still_to_come_kg)
            return
        outlook = self.outlook
        self._begin(
            forecast.model,
            new,
            mono_s,
            room_c=forecast.room_c,
            wall_c=outlook.wall_c,
            wall_u_c=WALL_KNOWN_U_C,
            metal_c=outlook.metal_c.mid,
        )
        self.set_power(power, mono_s)

    def end(self, mono_s: float) -> None:
        """The melt is over; how hot it left the furnace is remembered for the next."""
        if self.forecast is not None and self.outlook.wall_c is not None:
            model = self.forecast.model
            tau_s = model.value("wall_j_per_k") / model.value("loss_w_per_k")
            self._wall = (mono_s, self.outlook.wall_c, tau_s)
        self.forecast, self.outlook, self.aim_c = None, Outlook(), None

    def _usual(self) -> FurnaceModel:
        config = self._config
        return usual_model(config.furnace, kind=config.kind, rating_c=config.rating_c, sheath_s=self._sheath_s())

    def _sheath_s(self) -> float:
        """Lag of the probe that will be in the metal, by the settings."""
        by_place = {probe.place: SHEATHS[probe.sheath].tau_metal_s for probe in reversed(self._config.probes)}
        return next((by_place[place] for place in (Place.MELT, Place.DIP) if place in by_place), USUAL_SHEATH_S)

    def _wall_at(self, mono_s: float, room_c: float, at_start: AtStart) -> tuple[float | None, float]:
        """How hot the furnace is as the melt begins, by what tells it best; None: cold."""
        metal_c, chamber_c = at_start.metal_c, at_start.chamber_c
        if chamber_c is not None and chamber_c > HOT_START_C:
            return chamber_c, WALL_KNOWN_U_C
        if self._wall is not None:
            ended_s, wall_c, tau_s = self._wall
            left = math.exp(-(mono_s - ended_s) / max(tau_s, 60.0))
            cooled_c = room_c + (wall_c - room_c) * left
            if cooled_c > HOT_START_C:
                return cooled_c, WALL_KNOWN_U_C
        if metal_c is not None and metal_c > HOT_START_C:
            return metal_c, WALL_GUESSED_U_C
        told = metal_c is not None or chamber_c is not None or self._wall is not None
        return (None, 5.0) if told else (room_c, WALL_UNSEEN_U_C)  # it may stand hot from a melt nobody recorded

    # -- what happens -------------------------------------------------------------------------------------------------

    def set_power(self, power: PowerKnob, mono_s: float) -> None:
        """Knob, burner or what the board applies."""
        share, low = _share_of(power)
        if self.forecast is None or (share, low) == self._share:
            return
        self._share = (share, low)
        self.looked_s = NEVER_S
        self._trying(lambda forecast: forecast.set_power(share, mono_s, low=low))

    def added(self, kg: float | None, mono_s: float) -> None:
        """Cold metal went in. What was not announced as still to come was part of the charge all the same."""
        forecast = self.forecast
        if forecast is None:
            return
        mass_kg = kg if kg is not None else forecast.still_to_come_kg
        if mass_kg <= 0.0:
            return
        if forecast.still_to_come_kg <= 0.0:
            forecast.planned(max(forecast.mass_kg - mass_kg, LEAST_IN_POT * forecast.mass_kg), 0.0)
        self._trying(lambda one: one.add(mass_kg, mono_s))

    def read(self, temp_c: float, u_c: float, mono_s: float) -> None:
        """A probe that stays in the pot; not corrected for its lag."""
        self._trying(lambda forecast: forecast.take(temp_c, max(u_c, U_LEAST_C), mono_s))

    def settled(self, temp_c: float, u_c: float, mono_s: float) -> None:
        """A dip, or a figure of another instrument held in the metal."""
        self._trying(lambda forecast: forecast.take(temp_c, max(u_c, U_LEAST_C), mono_s, settled=True))

    def not_liquid(self, mono_s: float) -> None:
        """A dip found the metal at or below its liquidus."""
        self._trying(lambda forecast: forecast.not_liquid(mono_s))

    def chamber(self, temp_c: float, mono_s: float) -> None:
        """A probe in the chamber."""
        self._trying(lambda forecast: forecast.take_chamber(temp_c, mono_s))

    # -- what it says --------------------------------------------------------------------------------------------------

    @property
    def learned(self) -> bool:
        """The furnace was learned from melts, and this one has been seen: its coast is worth a call."""
        return (
            self.forecast is not None
            and self.forecast.model.version > 0
            and self.forecast.readings > 0
            and not self.failed
        )

    @property
    def could_be_c(self) -> float | None:
        """The most the metal may be at, by the model; None: nobody said how the power stands, or not yet known."""
        return None if self._share == (None, False) or self.looked_s < 0.0 else self.outlook.metal_c.high

    def ready_in_s(self, mono_s: float) -> float | None:
        """Seconds until the metal should be in its window; None: not known, or never read."""
        if (
            self.forecast is None
            or not self.forecast.readings
            or self.looked_s < 0.0
            or self.outlook.ready_s.mid is None
        ):
            return None
        return max(0.0, self.outlook.ready_s.mid - (mono_s - self.looked_s))

    def cut_due(self, mono_s: float) -> bool | None:
        """Is it time to say that the power be cut; None: the furnace was never learned."""
        if not self.learned or self.looked_s < 0.0:
            return None
        left_s = self.outlook.cut_in_s
        return left_s is not None and left_s - (mono_s - self.looked_s) <= OPERATOR_REACTION_S

    def estimated_c(self, within_c: float) -> float | None:
        """The metal by the model, while its 90 % interval is no wider than `within_c` and it was ever read."""
        span = self.outlook.metal_c
        if span.low is None or span.high is None or self.forecast is None or not self.forecast.readings:
            return None
        return span.mid if span.high - span.low <= within_c else None

    @property
    def coast(self) -> CoastForecast | None:
        """What a profile asks where the metal coasts to; None: it cannot be told."""
        return None if self.failed else self.forecast

    @property
    def mass_kg(self) -> float | None:
        """What is in the pot by all that was told; None: no melt is followed."""
        return None if self.forecast is None else self.forecast.mass_kg

    def band(self) -> tuple[tuple[float, float, float], ...]:
        """The trace to come, as of the last look: (seconds from then, low, high). Kept until the next."""
        if self.forecast is None or not self.forecast.readings or self.failed:
            return ()
        if self._band[0] != self.looked_s:
            self._band = (self.looked_s, self.forecast.band(self.looked_s))
        return self._band[1]

    @property
    def peak_with_power_off(self) -> Interval | None:
        """Where the metal goes with the power as it is, off; None: it is not, or the metal was never read."""
        known = self.forecast is not None and self.forecast.readings > 0 and self.looked_s >= 0.0 and not self.failed
        return self.outlook.coast_c if known and self.power_off else None

    @property
    def power_off(self) -> bool:
        """What is forecast is a furnace without power."""
        return self._share == (0.0, False)

    # -- time ---------------------------------------------------------------------------------------------------------

    def look(self, low_c: float, aim_c: float, mono_s: float, *, each_second: bool) -> None:
        """Forecast anew, where it is time to. low_c: of the tap window; aim_c: where the coast should end."""
        self.aim_c = aim_c
        left_s = self.outlook.cut_in_s
        near = left_s is not None and left_s - (mono_s - self.looked_s) < NEAR_S
        if mono_s - self.looked_s >= (1.0 if near or each_second else FAR_EVERY_S) - 1e-6:
            self._look(low_c, aim_c, mono_s)

    def pot_is_out(self) -> None:
        """Nothing of what was forecast is true any more."""
        self.outlook, self.aim_c = Outlook(), None

    def pot_is_back(self, out_s: float, mono_s: float) -> None:
        """It was out so long: what its metal is at, only a figure read from now on tells."""
        self.pot_is_out()
        self._trying(lambda forecast: forecast.was_out(out_s, mono_s))

    def _look(self, low_c: float, aim_c: float, mono_s: float) -> None:
        forecast = self.forecast
        if forecast is None or self.failed:
            return
        try:
            self.outlook = forecast.tick(mono_s, low_c, aim_c, low_c)
            self.looked_s = mono_s
        except (ArithmeticError, ValueError) as err:
            self._fail(err)

    def _trying(self, what: Callable[[Forecast], None]) -> None:
        if self.forecast is not None and not self.failed:
            try:
                what(self.forecast)
            except (ArithmeticError, ValueError) as err:
                self._fail(err)

    def _fail(self, err: Exception) -> None:
        """A forecast that cannot be worked out is left out; the melt goes on."""
        self.failed = tell("forecast.stopped", error=str(err))
        self.outlook = Outlook(why=self.failed)


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
