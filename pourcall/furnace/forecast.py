"""The forecast of one melt, by an ensemble: time to ready, coast peak, cooling time, each with an interval.

`Forecast` is given power, metal, additions as they happen, and a tick once a second or every few; it spreads its work
so that no tick takes more than a few milliseconds: the ensemble moves in blocks of ten seconds, between them only its
middle does. Intervals are 90 %: the ensemble's spread and what the model leaves out together.
Judged on simulated melts whose plant has another structure (tests/furnace, benchmarks/bench_foresight.py).
"""

import math

import msgspec

from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.message import NOTHING, Told, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.snapshot import Interval
from pourcall.furnace.band import BAND_POINTS, BAND_STEP_S, K90, band_of, rows_ahead
from pourcall.furnace.cuts import Cuts, stays_above_s
from pourcall.furnace.ensemble import COUNT, Ensemble, deviation
from pourcall.furnace.model import (
    CHAMBER_SIGMA_C,
    CHAMBER_WALL_SHARE,
    Coast,
    Furnace,
    State,
    add_cold,
    advance,
    coast,
    share_of,
    time_to_c,
)
from pourcall.furnace.molten import FREE_C_PER_S, MIXES_S, MoltenWatch
from pourcall.furnace.own_coasts import CoastWatch, Peak, of_line, physics_sd_c, weighed
from pourcall.metal.heat.curve import curve_of

SHELL_C = 40.0  # so far above its liquidus metal may still freeze on a cold sheath for seconds (ours)
TAKE_S = 10.0  # readings a second apart err together: one in ten seconds counts
READING_SIGMA_C = 3.0  # what a probe in a stirred bath and the model differ by when all is well
LEFT_OUT_SHARE, LEFT_OUT_S = 0.04, 10.0  # of the time to go, k = 1: lid, dips, dross
# Of the whole melt, until it is molten, k = 1: a charge told wrong, the way lumps melt (tuned on one simulated plant,
# lumped, with persons who err; on furnaces of another build it is more)
MELTING_SHARE = 0.05
# The ensemble forgives more than the furnace does: so much of its spread is what comes true (simulated melts, the last
# sixty, whose furnaces nothing else was tuned on; a plain spread covered 99 % and 96 % where 90 % is said). Before
# anything was read there is nothing to forgive: the plain spread.
READY_SHARE, COAST_SHARE = 0.45, 0.75
COAST_LEFT_OUT_SHARE, COAST_LEFT_OUT_C = 0.10, 1.5  # of the rise still to come, k = 1
OUT_C_PER_MIN = 30.0  # a few kilograms in an open pot in the air (common practice, no source)
WALL_DRIFT_C, BATH_DRIFT_C, POWER_DRIFT = 3.0, 3.0, 0.006  # a square root of a minute
FROM_CHAMBER_U_C = 15.0  # expanded; metal from a chamber probe is never better than this
BLOCK_S = 10.0  # the ensemble is moved at readings, and at least so often
LOOK_ALL_S, LOOK_NEAR_S = 100.0, 30.0  # in which every member's forecast is made anew; when something is near
NEAR_S = 180.0
FIRST_READINGS = 12  # they change what is believed the most
PER_TICK = 8  # at most
CUT_FAR_C = 120.0  # the coast peak this far below the aim: no moment to cut is in sight
COOLING_S = 30.0  # so long a cooling time is counted down before it is worked out anew
MELTING_TAKE_S = 120.0  # what a tip between lumps reads is out by the same for minutes, and would drag the wall along
MELTS_BELOW_C = 10.0
KNEE_S = 60.0  # in which an earlier rise is forgotten

UNKNOWN = Interval(None)


class Outlook(msgspec.Struct, frozen=True, kw_only=True):
    """What the forecast says now. Times in seconds from now, temperatures of the true metal in degC."""

    ready_s: Interval = UNKNOWN  # until the target is reached at the present setting
    why: Told = NOTHING  # why there is no time, where there is none
    coast_c: Interval = UNKNOWN  # highest the metal goes if the power is cut now
    coast_in_s: float | None = None
    cut_in_s: float | None = None  # until the coast peak would be the aim, at the present setting
    cooling_s: Interval = UNKNOWN  # with the power off: until the metal leaves the window below
    metal_c: Interval = UNKNOWN  # of the model; with a chamber probe alone, all there is
    wall_c: float | None = None


class Forecast:
    """One melt. Times are monotonic seconds; shares are of full power."""

    def __init__(
        self,
        model: FurnaceModel,
        alloy: AlloyFacts,
        charge_kg: float,
        mono_s: float,
        *,
        room_c: float = 20.0,
        wall_c: float | None = None,
        wall_u_c: float = 5.0,
        metal_c: float | None = None,
    ) -> None:
        """wall_c, wall_u_c: what is known of a furnace still hot from the melt before (k = 1); None: cold."""
        self.model, self.alloy, self.room_c = model, alloy, room_c
        self.metal = curve_of(alloy)
        self.mass_kg, self.still_to_come_kg = charge_kg, 0.0
        wall = room_c if wall_c is None else wall_c
        pot = room_c if wall_c is None else 0.85 * wall_c
        metal_c = room_c if metal_c is None else metal_c
        self.members = Ensemble(
            model, self.metal, wall_c=wall, wall_u_c=wall_u_c, pot_c=pot, pot_u_c=wall_u_c, metal_c=metal_c
        )
        self.level: float | None = None
        self.readings = 0  # of the metal, taken so far
        self._began_s = mono_s
        self._at_s = self._now_s = mono_s  # where the ensemble stands; what was told last
        self._taken_s, self._chamber_s, self._own_c = -1e9, -1e9, 0.0
        # when each member is ready, and when the middle was to be, looked at together: between looks they shift alike
        self._ready_at: list[tuple[float | None, float | None]] = [(None, None)] * COUNT
        self._known = [False] * COUNT
        self._ready_cache: tuple[float, float, int] | None = None
        self._coast_off: list[float] = [0.0] * COUNT
        self._coast_sd = COAST_LEFT_OUT_C
        self._turn, self._owed, self._looked_s, self._near = 0, 0.0, mono_s, False
        self._targets: tuple[float, float, float] = (0.0, 0.0, 0.0)
        self._cooled: tuple[float, float | None, float] | None = None
        self._molten, self._coasts = MoltenWatch(self.metal, model.sheath_s), list(model.coasts)
        self._steepest, self._added_s = 0.0, -1e9
        self._coasting: CoastWatch | None = None
        self._changed()

    # -- what happens -------------------------------------------------------------------------------------------------

    def set_power(self, share: float | None, mono_s: float, *, low: bool = False) -> None:
        """The knob: 0 off, 1 full, low=True for the burner's own low; None: nobody says (taken for full)."""
        level = -1.0 if low else share
        if level == self.level:
            return
        self._advance(mono_s)
        if level == 0.0 and self._molten.molten and self._line_holds(mono_s):
            self._coasting = CoastWatch(self._molten.end.copy(), mono_s, self._share(self._middle()[0]), self._steepest)
        elif level != 0.0:
            self._coasting = None
        self.level, self._steepest = level, 0.0
        self._forget()

    def planned(self, in_pot_kg: float, still_to_come_kg: float) -> None:
        """How much of the charge is in the pot and how much will be added cold before it is ready."""
        mass_kg, still_kg = max(in_pot_kg, 0.01), max(0.0, still_to_come_kg)
        if (mass_kg, still_kg) != (self.mass_kg, self.still_to_come_kg):
            self.mass_kg, self.still_to_come_kg = mass_kg, still_kg
            self._changed()

    def add(self, kg: float, mono_s: float, *, temp_c: float | None = None) -> None:
        """Cold metal went in."""
        self._advance(mono_s)
        self.members.add(kg, self.room_c if temp_c is None else temp_c, self.mass_kg)
        self.mass_kg += kg
        self.still_to_come_kg = max(0.0, self.still_to_come_kg - kg)
        self._cooled = self._coasting = None
        self._added_s = mono_s
        self._molten.added(kg, self.mass_kg - kg)
        self._changed()

    def take(self, metal_c: float, u_c: float, mono_s: float, *, settled: bool = False) -> None:
        """What a probe in the pot reads (raw, not corrected for lag), U expanded. settled: of a dip, without lag."""
        if not settled:
            self._follow_trace(metal_c, mono_s)
        melts = not settled and self._melts(metal_c, mono_s)
        if mono_s - self._taken_s < (MELTING_TAKE_S if melts else TAKE_S):
            return
        self._advance(mono_s)
        self._taken_s = mono_s
        # what a probe left in is wrong by is the same in every reading: followed closely, and told beside the figure
        self._own_c = 0.0 if settled else 0.5 * u_c
        sigma_c = math.hypot(READING_SIGMA_C, 0.5 * u_c) if settled else READING_SIGMA_C
        if settled and metal_c >= self.metal.liquidus_c:
            self.members.take_liquid(metal_c, sigma_c)
        elif not settled and self._one_bath(mono_s) and (line_c := self._molten.end.metal_c()) is not None:
            rate = self._molten.end.rate_c_per_s
            if rate is not None and self.level != 0.0 and rate < FREE_C_PER_S:
                rate = None  # the last lumps still sink: it says nothing of the pot
            lag_c = 0.25 * abs(line_c - metal_c)
            self.members.take_molten(max(line_c, self.metal.liquidus_c), math.hypot(sigma_c, lag_c), rate, self.mass_kg)
        else:
            self.members.take(metal_c, sigma_c, self.mass_kg, lag=not settled)
        self.readings += 1
        self._changed()

    def _follow_trace(self, reading_c: float, mono_s: float) -> None:
        """The line through the last minute; whether the metal is molten by it; the coast that goes on."""
        watch = self._molten
        was_s = watch.end.at_s
        watch.add(mono_s, reading_c, self._share_told())
        if self._coasting is not None:
            self._coasting.add(mono_s, reading_c)
            coast = self._coasting.made(self.alloy)
            if coast is not None:
                self._coasts.append(coast)
        rate = watch.end.rate_c_per_s
        if rate is not None:
            self._steepest = max(rate, self._steepest - (mono_s - (was_s or mono_s)) * self._steepest / KNEE_S)

    def _melts(self, reading_c: float, mono_s: float) -> bool:
        """Is what a probe reads that of a tip between lumps, or of a bath with cold metal in it."""
        if self._molten.molten or not self._molten.paced:
            return False
        return reading_c > self.metal.begins_c - MELTS_BELOW_C or mono_s - self._added_s < MIXES_S

    def _share_told(self) -> float:
        """Of full power, by what was told and learned."""
        if self.level == -1.0:
            return self.model.value("low_share")
        return 1.0 if self.level is None else self.level

    def _one_bath(self, mono_s: float) -> bool:
        """Is all that is in the pot molten and mixed, so that what is read of it is its heat."""
        return self._molten.molten and mono_s - self._added_s > MIXES_S

    def _line_holds(self, mono_s: float) -> bool:
        """May the last minute be drawn on: seen to now, and no cold metal in it."""
        at_s = self._molten.end.at_s
        return at_s is not None and mono_s - at_s <= TAKE_S and mono_s - self._added_s > MIXES_S

    def was_out(self, out_s: float, mono_s: float) -> None:
        """The pot was out of the furnace for so long and is back: nothing is told of its metal until it is read."""
        self._advance(mono_s)
        self.members.add_process_noise(60.0, wall_c=0.0, power=0.0, bath_c=OUT_C_PER_MIN * out_s / 60.0)
        self.readings = 0
        self._molten.lost()
        self._coasting = None
        self._forget()

    def not_liquid(self, mono_s: float) -> None:
        """A dip found it not yet liquid, or froze a shell on its sheath: no more than a little above the liquidus."""
        self._advance(mono_s)
        self.members.truncate_above(self.metal.liquidus_c + SHELL_C)
        self._changed()

    def take_chamber(self, chamber_c: float, mono_s: float) -> None:
        """What a probe in the chamber reads."""
        if mono_s - self._chamber_s < TAKE_S:
            return
        self._advance(mono_s)
        self._chamber_s = mono_s
        self.members.take_chamber(chamber_c, CHAMBER_SIGMA_C, CHAMBER_WALL_SHARE)
        self._changed()

    def _advance(self, mono_s: float) -> None:
        """The ensemble to this moment."""
        seconds = mono_s - self._at_s
        if seconds <= 0.0:
            return
        self._at_s, self._now_s = mono_s, max(mono_s, self._now_s)
        self.members.advance(self.mass_kg, self.level, self.room_c, seconds)
        power = POWER_DRIFT * (2.0 if self.level is None else 1.0)
        self.members.add_process_noise(seconds, wall_c=WALL_DRIFT_C, power=power, bath_c=BATH_DRIFT_C)
        self._changed()

    def _forget(self) -> None:
        """Forecasts no longer hold."""
        self._known = [False] * COUNT
        self._ready_cache = self._cooled = None
        self._changed()

    def _changed(self) -> None:
        """What was worked out from the ensemble as it stood is worked out again when asked for."""
        self._mid: tuple[Furnace, State, float] | None = None
        self._mid_ready: list[float | None] = []
        self._ready_cache = None
        self._cuts: Cuts | None = None
        self._now: tuple[float, State] | None = None
        self._spread: float | None = None
        self._band: list[tuple[float, float]] = []

    # -- what will be -------------------------------------------------------------------------------------------------

    def _middle(self) -> tuple[Furnace, State, float]:
        if self._mid is None:
            self._mid = self.members.middle(self.mass_kg)
        return self._mid

    def _share(self, furnace: Furnace) -> float:
        return share_of(furnace, self.level)

    def _state(self) -> State:
        """The middle as of the last tick: the ensemble may stand some seconds before it."""
        if self._now is None or self._now[0] != self._now_s:
            furnace, state, mass = self._middle()
            seconds = self._now_s - self._at_s
            if seconds > 0.0:
                share = self._share(furnace)
                state = advance(furnace, self.metal, state, mass, share, self.room_c, seconds, step_s=10.0)
            self._now = (self._now_s, state)
        return self._now[1]

    def _with_rest(self, state: State, mass_kg: float) -> tuple[State, float]:
        """The same once what is still to come has gone in: its heat has to be found either way."""
        rest = self.still_to_come_kg * mass_kg / max(self.mass_kg, 1e-6)
        return add_cold(self.metal, state, mass_kg, rest, self.room_c) if rest > 0.0 else (state, mass_kg)

    def coast(self, delay_s: float = 0.0) -> Coast:
        """Peak if the power is cut `delay_s` from the last tick, by the mean of the ensemble."""
        furnace, _, mass = self._middle()
        state, mass = self._with_rest(self._state(), mass)
        return coast(furnace, self.metal, state, mass, self.room_c, delay_s=delay_s, share=self._share(furnace))

    def _by_model(self) -> Cuts:
        """Cuts as of where the ensemble stands, of its middle, with what is still to come."""
        if self._cuts is None:
            furnace, state, mass = self._middle()
            self._cuts = Cuts(furnace, self.metal, *self._with_rest(state, mass), self._share(furnace), self.room_c)
        return self._cuts

    def _own(self, delay_s: float) -> Peak | None:
        """Peak if the power is cut so long after the last tick, by this furnace's own coasts; None: they tell nothing.

        Nor do they know of cold metal that is still to come: only the model has its heat.
        """
        if self.still_to_come_kg > 0.0:
            return None
        if self._coasting is not None:
            return self._coasting.peak_c(self._coasts, self.alloy.key)
        if self.level == 0.0 or not self._molten.molten or not self._line_holds(self._now_s):
            return None
        share = self._share(self._middle()[0])
        return of_line(self._molten.end, self._coasts, self.alloy.key, share, self._now_s, delay_s)

    def _cut_after(self, delay_s: float) -> tuple[float, float]:
        """(peak, seconds from the cut to it) if the power is cut so long after the last tick."""
        peak_c, in_s = self._reckoned_cut(delay_s)
        own = self._own(delay_s)
        if own is None:
            return peak_c, in_s
        now_c = self.metal.temp_c(self._state().h)
        line_c = self._molten.end.rising_to_c(self._now_s, delay_s)
        if self.level != 0.0 and line_c is not None:
            # only how far it runs on is asked of the model: where the metal is and how it rises is seen
            peak_c = line_c + max(0.0, self._reckoned_cut(0.0)[0] - now_c)
        return weighed(Peak(peak_c, physics_sd_c(COAST_SHARE * self._coast_sd, peak_c - now_c)), own).c, in_s

    def _reckoned_cut(self, delay_s: float) -> tuple[float, float]:
        """The same by the model alone."""
        found = self._by_model().after(self._now_s - self._at_s + delay_s)
        if found is not None:
            return found
        there = self.coast(delay_s)
        return there.peak_c, there.in_s - delay_s

    def coast_peak_c(self, delay_s: float) -> float | None:
        """The peak alone; None before anything was read of the metal (a profile that runs asks so)."""
        return self._cut_after(delay_s)[0] if self.readings else None

    def coast_spread_c(self) -> float:
        """Standard uncertainty of the coast peak, as of the last tick."""
        own, spread_c = self._own(0.0), COAST_SHARE * self._coast_sd
        return spread_c if own is None else weighed(Peak(own.c, physics_sd_c(spread_c, 0.0)), own).sd_c

    def tick(self, mono_s: float, ready_c: float, aim_c: float, low_c: float) -> Outlook:
        """Once a second, or every few. ready_c: when it counts as ready; aim_c: wished peak; low_c: where the
        window ends below.
        """
        if mono_s - self._at_s >= BLOCK_S:
            self._advance(mono_s)
        self._now_s = max(self._now_s, mono_s)
        if (ready_c, aim_c, low_c) != self._targets:
            self._targets = (ready_c, aim_c, low_c)
            self._forget()
        furnace, _, mass = self._middle()
        state = self._state()
        now_c = self.metal.temp_c(state.h)
        peak_c, peak_in_s = self._cut_after(0.0)
        there = now_c >= ready_c and self.still_to_come_kg <= 0.0
        self._look_about(ready_c, there)
        if self._spread is None:
            self._spread = math.hypot(deviation(self.members.temps_c(self.mass_kg)), 1.0, self._own_c)
        ready, why = self._ready(there)
        self._coast_sd = math.hypot(
            deviation(self._coast_off), COAST_LEFT_OUT_C, COAST_LEFT_OUT_SHARE * max(0.0, peak_c - now_c)
        )
        cut_in_s = self._cut_in(peak_c, aim_c)
        self._near = (cut_in_s is not None and cut_in_s < NEAR_S) or (ready.mid is not None and ready.mid < NEAR_S)
        return Outlook(
            ready_s=ready,
            why=why,
            coast_c=_span(peak_c, self.coast_spread_c()),
            coast_in_s=peak_in_s,
            cut_in_s=cut_in_s,
            cooling_s=self._cooling(furnace, state, mass, low_c, now_c),
            metal_c=_span(now_c, self._spread),
            wall_c=state.wall_c,
        )

    def _look_about(self, ready_c: float, there: bool) -> None:
        """Refresh as many forecasts as are due: all of them within a minute or two, soon after a change at once."""
        cycle_s = LOOK_NEAR_S if self._near or self.readings < FIRST_READINGS else LOOK_ALL_S
        self._owed += (self._now_s - self._looked_s) * COUNT / cycle_s
        self._looked_s = self._now_s
        due = PER_TICK if not all(self._known) else min(PER_TICK, int(self._owed))
        if due == 0:
            return
        self._owed = max(0.0, min(self._owed - due, 1.0 * COUNT))
        middle_c = self._by_model().now_c
        for _ in range(due):
            self._look(self._turn, middle_c, ready_c, there)
            self._turn = (self._turn + 1) % COUNT
        self._ready_cache = None

    def _look(self, at: int, middle_c: float, ready_c: float, there: bool) -> None:
        """Refresh one member's forecast."""
        members = self.members
        furnace = members.furnaces[at]
        state, mass = self._with_rest(*members.mixed(at, self.mass_kg))
        if not there and self.level != 0.0:
            self._ready_at[at] = self._arrives_at(furnace, state, mass, ready_c), self._middle_ready(ready_c)
        self._known[at] = True
        self._coast_off[at] = coast(furnace, self.metal, state, mass, self.room_c).peak_c - middle_c

    def _arrives_at(self, furnace: Furnace, state: State, mass: float, ready_c: float) -> float | None:
        """When metal that stands so is ready; None: never."""
        if self.metal.temp_c(state.h) >= ready_c:
            return self._at_s
        seconds = time_to_c(furnace, self.metal, state, mass, self._share(furnace), self.room_c, ready_c)
        return None if seconds is None else self._at_s + seconds

    def _middle_ready(self, ready_c: float) -> float | None:
        """When the middle is ready."""
        if not self._mid_ready:
            furnace, state, mass = self._middle()
            state, mass = self._with_rest(state, mass)
            self._mid_ready.append(self._arrives_at(furnace, state, mass, ready_c))
        return self._mid_ready[0]

    def _ready(self, there: bool) -> tuple[Interval, Told]:
        if there:
            return Interval(0.0, 0.0, 0.0), NOTHING
        if self.level == 0.0:
            return UNKNOWN, tell("forecast.power_off")
        if not all(self._known):
            return UNKNOWN, tell("forecast.working")
        if self._ready_cache is None:
            now = self._middle_ready(self._targets[0])
            arrive = sorted(
                at if now is None or then is None else at + now - then for at, then in self._ready_at if at is not None
            )
            count = len(arrive)
            if count:
                middle = arrive[count // 2] if count < COUNT else sum(arrive) / count
                self._ready_cache = (middle, deviation(arrive), count)
            else:
                self._ready_cache = (0.0, 0.0, 0)
        middle, sd, count = self._ready_cache
        if count < 0.5 * COUNT:
            return UNKNOWN, tell("forecast.out_of_reach")
        left = max(0.0, middle - self._now_s)
        share = READY_SHARE if self.readings else 1.0
        sd = share * math.hypot(sd, LEFT_OUT_SHARE * left, LEFT_OUT_S)
        if not self._molten.molten and self.readings:
            sd = math.hypot(sd, MELTING_SHARE * (self._now_s - self._began_s + left))
        high = None if count < 0.9 * COUNT else left + K90 * sd
        return Interval(left, max(0.0, left - K90 * sd), high), NOTHING

    def _cut_in(self, now_peak_c: float, aim_c: float) -> float | None:
        """Seconds until the coast peak would be the aim; 0: it is, or past; None: off, or further than some minutes."""
        if self.level == 0.0 or now_peak_c < aim_c - CUT_FAR_C:
            return None
        if now_peak_c >= aim_c:
            return 0.0
        rate = self._molten.end.rate_c_per_s
        if rate is not None and rate > 0.0 and self._own(0.0) is not None:
            return (aim_c - now_peak_c) / rate
        at_s = self._by_model().when(aim_c)
        return None if at_s is None else max(0.0, self._at_s + at_s - self._now_s)

    def _cooling(self, furnace: Furnace, state: State, mass: float, low_c: float, now_c: float) -> Interval:
        """Reckoned anew twice a minute and counted down between where the power is off."""
        if now_c <= low_c:
            return UNKNOWN
        if self._cooled is None or self._now_s - self._cooled[0] >= COOLING_S:
            seconds = stays_above_s(furnace, self.metal, state, mass, self.room_c, low_c)
            loss = math.exp(self.members.spread(PARAMETERS.index("loss_w_per_k"))) - 1.0
            self._cooled = (self._now_s, seconds, math.hypot(loss, 0.15))
        at_s, seconds, share = self._cooled
        if seconds is None:
            return UNKNOWN
        if self.level == 0.0:
            seconds = max(0.0, seconds - (self._now_s - at_s))
        sd = share * seconds
        return Interval(seconds, max(0.0, seconds - K90 * sd), seconds + K90 * sd)

    def metal_from_chamber(self) -> tuple[float, float]:
        """Temperature of the metal where only a chamber probe and earlier dips speak, with its expanded uncertainty."""
        temps = [self.metal.temp_c(h) for h in self.members.columns[-1]]
        return sum(temps) / COUNT, max(FROM_CHAMBER_U_C, 2.0 * math.hypot(deviation(temps), 4.0))

    def band(self, mono_s: float, for_s: float = BAND_STEP_S * BAND_POINTS) -> tuple[tuple[float, float, float], ...]:
        """The trace to come as (seconds from `mono_s`, low, high) of 90 %, from every fourth member.

        Changes nothing: of the ensemble as it stands, at the setting as it is; worked out once for each (2 ms).
        """
        points, ahead = int(for_s / BAND_STEP_S), max(0.0, mono_s - self._at_s) / BAND_STEP_S
        least = points + int(ahead) + 2
        if len(self._band) < least:
            self._band = rows_ahead(self.members, self.mass_kg, self.level, self.room_c, least)
        return band_of(self._band, ahead, points)


def _span(mid: float, sd: float) -> Interval:
    return Interval(mid, mid - K90 * sd, mid + K90 * sd)
