"""Room: what will be. One melt followed by an ensemble; time to ready, coast peak, cooling time, each with an interval.

`Ahead` is given power, metal, additions as they happen, and a tick once a second; it spreads its work so that no tick
takes more than a few milliseconds. Intervals are 90 %: the ensemble's spread and what the model leaves out together.
Judged on simulated melts whose plant has another structure (tests/foresight, benchmarks/bench_foresight.py).
"""

import math

import msgspec

from pourcall.contract.furnace_model import PARAMETERS, FurnaceModel
from pourcall.contract.plan import AlloyFacts
from pourcall.daemon.foresight.members import COUNT, Members
from pourcall.daemon.foresight.model import Coast, Furnace, Metal, State, add_cold, advance, coast, time_to_c

TAKE_S = 10.0  # readings a second apart err together: one in ten seconds counts
READING_SIGMA_C = 3.0  # what a probe in a stirred bath and the model differ by when all is well
K90 = 1.645  # 90 % of a normal distribution
LEFT_OUT_SHARE, LEFT_OUT_S = 0.04, 10.0  # of the time to go, k = 1: lid, dips, dross
# The ensemble forgives more than the furnace does: so much of its spread is what comes true (148 simulated melts whose
# furnaces nothing else was tuned on; a plain spread covered 99 % and 96 % where 90 % is said).
READY_SHARE, COAST_SHARE = 0.55, 0.75
COAST_LEFT_OUT_SHARE, COAST_LEFT_OUT_C = 0.10, 1.5  # of the rise still to come, k = 1
WALL_DRIFT_C, POWER_DRIFT = 3.0, 0.006  # a square root of a minute
CHAMBER_WALL_SHARE, CHAMBER_SIGMA_C = 0.7, 25.0
FROM_CHAMBER_U_C = 15.0  # expanded; metal from a chamber probe is never better than this
PER_TICK = 2
CUT_FAR_C = 120.0  # the coast peak this far below the aim: no moment to cut is in sight
BAND_STEP_S, BAND_POINTS = 60.0, 40


class Span(msgspec.Struct, frozen=True):
    """A figure with its 90 % interval; None: not within reach, or not known how far."""

    mid: float | None
    low: float | None = None
    high: float | None = None


NOTHING = Span(None)


class View(msgspec.Struct, frozen=True, kw_only=True):
    """What foresight says now. Times in seconds from now, temperatures of the true metal in degC."""

    ready_s: Span = NOTHING  # until the target is reached at the present setting
    why: str = ""  # why there is no time, where there is none
    coast_c: Span = NOTHING  # highest the metal goes if the power is cut now
    coast_in_s: float | None = None
    cut_in_s: float | None = None  # until the coast peak would be the aim, at the present setting
    cooling_s: Span = NOTHING  # with the power off: until the metal leaves the window below
    metal_c: Span = NOTHING  # of the model; with a chamber probe alone, all there is
    wall_c: float | None = None
    band: tuple[tuple[float, float, float], ...] = ()  # (seconds from now, low, high) for the dashboard


class Ahead:
    """One melt. Times are monotonic seconds; shares are of full power."""

    def __init__(
        self, model: FurnaceModel, alloy: AlloyFacts, charge_kg: float, mono_s: float, *, room_c: float = 20.0,
        wall_c: float | None = None, wall_u_c: float = 5.0, metal_c: float | None = None,
    ) -> None:  # fmt: skip
        """wall_c, wall_u_c: what is known of a furnace still hot from the melt before (k = 1); None: cold."""
        self.model, self.alloy, self.room_c = model, alloy, room_c
        self.metal = Metal(alloy)
        self.mass_kg, self.still_to_come_kg = charge_kg, 0.0
        wall = room_c if wall_c is None else wall_c
        pot = room_c if wall_c is None else 0.85 * wall_c
        self.members = Members(
            model, self.metal, wall_c=wall, wall_u_c=wall_u_c, pot_c=pot, pot_u_c=wall_u_c,
            metal_c=room_c if metal_c is None else metal_c,
        )  # fmt: skip
        self.level: float | None = None
        self._at_s, self._taken_s, self._chamber_s = mono_s, -1e9, -1e9
        self.seen = 0  # readings of the metal taken
        self._ready_at: list[float | None] = [None] * COUNT
        self._known = [False] * COUNT
        self._coast_off: list[float] = [0.0] * COUNT
        self._coast_sd = COAST_LEFT_OUT_C
        self._turn = 0
        self._targets: tuple[float, float, float] = (0.0, 0.0, 0.0)
        self._cut: tuple[float, float | None] = (-1e9, None)  # when reckoned, and at which moment to cut

    # -- what happens -------------------------------------------------------------------------------------------------

    def set_power(self, share: float | None, mono_s: float, *, low: bool = False) -> None:
        """The knob: 0 off, 1 full, low=True for the burner's own low; None: nobody says (taken for full)."""
        self._advance(mono_s)
        level = -1.0 if low else share
        if level != self.level:
            self.level = level
            self._known = [False] * COUNT

    def planned(self, in_pot_kg: float, still_to_come_kg: float) -> None:
        """How much of the charge is in the pot and how much will be added cold before it is ready."""
        self.mass_kg, self.still_to_come_kg = max(in_pot_kg, 0.01), max(0.0, still_to_come_kg)

    def add(self, kg: float, mono_s: float, *, temp_c: float | None = None) -> None:
        """Cold metal went in."""
        self._advance(mono_s)
        self.members.add(kg, self.room_c if temp_c is None else temp_c, self.mass_kg)
        self.mass_kg += kg
        self.still_to_come_kg = max(0.0, self.still_to_come_kg - kg)

    def take(self, metal_c: float, u_c: float, mono_s: float, *, settled: bool = False) -> None:
        """What a probe in the pot reads (raw, not corrected for lag), U expanded. settled: of a dip, without lag."""
        if mono_s - self._taken_s < TAKE_S:
            return
        self._advance(mono_s)
        self._taken_s = mono_s
        lag_s, self.members.sheath_s = self.members.sheath_s, 0.0 if settled else self.members.sheath_s
        self.members.take(metal_c, math.hypot(READING_SIGMA_C, 0.5 * u_c), self.mass_kg)
        self.members.sheath_s = lag_s
        self.seen += 1

    def take_chamber(self, chamber_c: float, mono_s: float) -> None:
        """What a probe in the chamber reads."""
        if mono_s - self._chamber_s < TAKE_S:
            return
        self._advance(mono_s)
        self._chamber_s = mono_s
        self.members.take_chamber(chamber_c, CHAMBER_SIGMA_C, CHAMBER_WALL_SHARE)

    def _advance(self, mono_s: float) -> None:
        seconds = mono_s - self._at_s
        if seconds <= 0.0:
            return
        self._at_s = mono_s
        self.members.advance(self.mass_kg, self.level, self.room_c, seconds)
        self.members.doubt(seconds, wall_c=WALL_DRIFT_C, power=POWER_DRIFT * (2.0 if self.level is None else 1.0))

    # -- what will be -------------------------------------------------------------------------------------------------

    def _middle(self) -> tuple[Furnace, State, float]:
        return self.members.middle(self.mass_kg)

    def _share(self, furnace: Furnace) -> float:
        return furnace.low_share if self.level == -1.0 else 1.0 if self.level is None else self.level

    def _with_rest(self, state: State, mass_kg: float) -> tuple[State, float]:
        """The same once what is still to come has gone in: its heat has to be found either way."""
        rest = self.still_to_come_kg * mass_kg / max(self.mass_kg, 1e-6)
        return add_cold(self.metal, state, mass_kg, rest, self.room_c) if rest > 0.0 else (state, mass_kg)

    def coast(self, delay_s: float = 0.0) -> Coast:
        """Peak if the power is cut `delay_s` from now, by the mean of the ensemble."""
        furnace, state, mass = self._middle()
        state, mass = self._with_rest(state, mass)
        return coast(furnace, self.metal, state, mass, self.room_c, delay_s=delay_s, share=self._share(furnace))

    def coast_peak_c(self, delay_s: float) -> float | None:
        """The peak alone; None before anything was read of the metal (engine/profile_advice.py asks so)."""
        return self.coast(delay_s).peak_c if self.seen else None

    def coast_spread_c(self) -> float:
        """Standard uncertainty of the coast peak, as of the last tick."""
        return self._coast_sd

    def dip_c(self, kg: float, temp_c: float | None = None) -> float:
        """How far the bath falls if `kg` of cold metal goes in now, degC, before it is heated up again."""
        _, state, mass = self._middle()
        after, _ = add_cold(self.metal, state, mass, kg, self.room_c if temp_c is None else temp_c)
        return self.metal.temp_c(state.h) - self.metal.temp_c(after.h)

    def tick(self, mono_s: float, ready_c: float, aim_c: float, low_c: float) -> View:
        """Once a second. ready_c: when it counts as ready; aim_c: wished peak; low_c: where the window ends below."""
        self._advance(mono_s)
        if (ready_c, aim_c, low_c) != self._targets:
            self._targets = (ready_c, aim_c, low_c)
            self._known = [False] * COUNT
        furnace, state, mass = self._middle()
        rested, rested_mass = self._with_rest(state, mass)
        share = self._share(furnace)
        now_c = self.metal.temp_c(state.h)
        fresh = coast(furnace, self.metal, rested, rested_mass, self.room_c)
        for _ in range(PER_TICK):
            self._look(self._turn, mono_s, fresh.peak_c, ready_c)
            self._turn = (self._turn + 1) % COUNT
        spread = [self.metal.temp_c(self.members.mixed(at, self.mass_kg)[0].h) for at in range(COUNT)]
        metal_sd = math.hypot(_sd(spread), 1.0)
        ready, why = self._ready(mono_s, now_c >= ready_c)
        self._coast_sd = coast_sd = math.hypot(
            _sd(self._coast_off), COAST_LEFT_OUT_C, COAST_LEFT_OUT_SHARE * max(0.0, fresh.peak_c - now_c)
        )
        return View(
            ready_s=ready,
            why=why,
            coast_c=_span(fresh.peak_c, COAST_SHARE * coast_sd),
            coast_in_s=fresh.in_s,
            cut_in_s=self._cut_at(furnace, rested, rested_mass, share, fresh.peak_c, aim_c, mono_s),
            cooling_s=self._cooling(furnace, state, mass, low_c, now_c),
            metal_c=_span(now_c, metal_sd),
            wall_c=state.wall_c,
        )  # fmt: skip

    def _look(self, at: int, mono_s: float, middle_c: float, ready_c: float) -> None:
        """Refresh one member's forecast."""
        members = self.members
        furnace = members.furnaces[at]
        state, mass = self._with_rest(*members.mixed(at, self.mass_kg))
        seconds = time_to_c(furnace, self.metal, state, mass, self._share(furnace), self.room_c, ready_c)
        self._ready_at[at] = None if seconds is None else mono_s + seconds
        self._known[at] = True
        self._coast_off[at] = coast(furnace, self.metal, state, mass, self.room_c).peak_c - middle_c

    def _ready(self, mono_s: float, there: bool) -> tuple[Span, str]:
        if there and self.still_to_come_kg <= 0.0:
            return Span(0.0, 0.0, 0.0), ""
        if self.level == 0.0:
            return NOTHING, "the power is off"
        known = [at for at, k in zip(self._ready_at, self._known, strict=True) if k]
        if len(known) < COUNT:
            return NOTHING, "reckoning"
        left = sorted(max(0.0, at - mono_s) for at in known if at is not None)
        if len(left) < 0.5 * COUNT:
            return NOTHING, "at this setting it does not get there"
        mean, sd = sum(left) / len(left), _sd(left)
        middle = left[len(left) // 2] if len(left) < COUNT else mean
        sd = READY_SHARE * math.hypot(sd, LEFT_OUT_SHARE * mean, LEFT_OUT_S)
        high = None if len(left) < 0.9 * COUNT else middle + K90 * sd
        return Span(middle, max(0.0, middle - K90 * sd), high), ""

    def _cut_at(
        self, furnace: Furnace, state: State, mass: float, share: float, now_peak_c: float, aim_c: float, mono_s: float
    ) -> float | None:  # fmt: skip
        """`_cut_in`, reckoned anew every few seconds and counted down between."""
        if now_peak_c >= aim_c or self.level == 0.0:
            return self._cut_in(furnace, state, mass, share, now_peak_c, aim_c)
        reckoned_s, at_s = self._cut
        soon = at_s is not None and at_s - mono_s < 30.0
        if mono_s - reckoned_s >= (2.0 if soon else 10.0) or not any(self._known):
            left = self._cut_in(furnace, state, mass, share, now_peak_c, aim_c)
            at_s = None if left is None else mono_s + left
            self._cut = (mono_s, at_s)
        return None if at_s is None else max(0.0, at_s - mono_s)

    def _cut_in(
        self, furnace: Furnace, state: State, mass: float, share: float, now_peak_c: float, aim_c: float
    ) -> float | None:
        """Seconds until the coast peak would be the aim; 0: it is, or past; None: off, or further than ten minutes."""
        if self.level == 0.0:
            return None
        if now_peak_c >= aim_c:
            return 0.0
        before_s, before_c, at_s, now = 0.0, now_peak_c, 0.0, state
        if now_peak_c < aim_c - CUT_FAR_C:
            return None
        for step_s in (30.0, 30.0, 60.0, 120.0, 180.0):
            at_s += step_s
            now = advance(furnace, self.metal, now, mass, share, self.room_c, step_s, step_s=8.0)
            peak = coast(furnace, self.metal, now, mass, self.room_c, horizon_s=900.0).peak_c
            if peak >= aim_c:
                return before_s + (at_s - before_s) * (aim_c - before_c) / max(peak - before_c, 1e-6)
            before_s, before_c = at_s, peak
        return None

    def _cooling(self, furnace: Furnace, state: State, mass: float, low_c: float, now_c: float) -> Span:
        if now_c <= low_c:
            return NOTHING
        peak = coast(furnace, self.metal, state, mass, self.room_c)
        turned = advance(furnace, self.metal, state, mass, 0.0, self.room_c, peak.in_s, step_s=8.0)
        seconds = time_to_c(furnace, self.metal, turned, mass, 0.0, self.room_c, low_c, horizon_s=5400.0)
        if seconds is None:
            return NOTHING
        seconds += peak.in_s
        sd = math.hypot(math.exp(self.members.spread(PARAMETERS.index("loss_w_per_k"))) - 1.0, 0.15) * seconds
        return Span(seconds, max(0.0, seconds - K90 * sd), seconds + K90 * sd)

    def metal_from_chamber(self) -> tuple[float, float]:
        """Temperature of the metal where only a chamber probe and earlier dips speak, with its expanded uncertainty."""
        temps = [self.metal.temp_c(self.members.vectors[at][-1]) for at in range(COUNT)]
        return sum(temps) / COUNT, max(FROM_CHAMBER_U_C, 2.0 * math.hypot(_sd(temps), 4.0))

    def band(self, mono_s: float, for_s: float = BAND_STEP_S * BAND_POINTS) -> tuple[tuple[float, float, float], ...]:
        """The trace to come as (seconds from now, low, high) of 90 %, from every fourth member; 10 ms, when
        looked at.
        """
        self._advance(mono_s)
        chosen = range(0, COUNT, 4)
        states = {at: self.members.mixed(at, self.mass_kg) for at in chosen}
        made = []
        for step in range(1, int(for_s / BAND_STEP_S) + 1):
            temps = []
            for at in chosen:
                furnace, (state, mass) = self.members.furnaces[at], states[at]
                state = advance(
                    furnace, self.metal, state, mass, self._share(furnace), self.room_c, BAND_STEP_S, step_s=10.0
                )
                states[at] = (state, mass)
                temps.append(self.metal.temp_c(state.h))
            mean, half = sum(temps) / len(temps), K90 * math.hypot(_sd(temps), 2.0)
            made.append((step * BAND_STEP_S, mean - half, mean + half))
        return tuple(made)

    def expected_reading_c(self) -> float:
        """What a probe in the pot should read now, by the mean of the ensemble."""
        return self.members.expected_c(self.mass_kg)


def _span(mid: float, sd: float) -> Span:
    return Span(mid, mid - K90 * sd, mid + K90 * sd)


def _sd(values: "list[float]") -> float:
    mean = sum(values) / len(values)
    return math.sqrt(sum((value - mean) ** 2 for value in values) / len(values))
