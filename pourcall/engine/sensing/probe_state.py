"""What a probe is doing, read from its own trace. First signs, then one table, then a small tracker.

A probe that enters or leaves the metal moves hundreds of degrees in seconds: that is ordinary work and raises nothing.
Health rules ask this module first and decide second. A person's key overrides the trace.

The thresholds below are ours (judged on simulated melts, `tests/normal/`); the sheath response times they rest on are
those of mineral-insulated sheaths in water as published (sab-cable.com table: t90 2.9 s for 3 mm, 9.6 s for 6 mm,
tau = t90/2.303) and, for ceramic tubes, common practice, no source.
"""

from enum import StrEnum

from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place, ProbeState
from pourcall.thermal_analysis.immersion import POT_FALLS, POT_RISES, ImmersionFilter, Medium
from pourcall.thermal_analysis.trend import Trend
from pourcall.thermometry.sheaths import SHEATHS

STEADY_C_PER_S = 1.3  # metal heated at full power moves up to about 1 degC/s
LEVEL_SHARE = 0.6  # of the surge rate: a surge is over only below this, so that no state chatters
STEADY_FALL_C_PER_S = 0.5  # after a fall: a probe cooling in air passes through 1 degC/s too, metal recovers
WARM_C = 80.0  # a probe laid into a cold charge has warmed with it from here on
COLD_BELOW_SOLIDUS_C = 40.0  # so far below the solidus in one fall: out, not freezing (latent heat takes minutes)
COLD_WITHOUT_ALLOY_C = 200.0
FALLEN_C = 200.0  # below where it left: no addition cools a bath so far at once; it hangs elsewhere, or it lies
FROZEN_BELOW_SOLIDUS_C = 5.0
CHARGING_S = 300.0  # so long after a melt began a fall is cold metal put into a hot pot
BACK_WITHIN_C = 40.0  # a later fall is over when it is back so near to where it fell from; till then it is doubtful
SLOW_STEP_S = 3.0  # slower sampling than this: a move shows as one large step
SLOW_STEP_C = 40.0
SLOW_STEP_C_PER_S = 2.6  # the fastest an open pot of metal cools (fluidity notes, section 4: silicon bronze)
SETTLE_SAMPLES = 6
# A cold probe put in near the liquidus freezes a shell on itself and reads that, flat, till it melts off.
SHELL_FROM_C, SHELL_BELOW_C, SHELL_ABOVE_C, SHELL_C_PER_S, SHELL_MOST_S = 200.0, 15.0, 8.0, 0.1, 90.0
# A tip between lumps that falls where they collapse stands in the bath as soon as it goes smoothly at a bath's pace, in
# or just above the range in which lumps melt: for so long, and so many time constants.
DROWNED_S, DROWNED_TAUS, DROWNED_FALLS_C_PER_S, DROWNED_BELOW_C, DROWNED_ABOVE_C = 8.0, 3.0, 0.25, 10.0, 40.0
# Hotter than that, what is molten may be while lumps float in it. Gas may be too, but towards gas a sheath goes ever
# more slowly: over the time constant of air, in the second half by six tenths of the first.
DROWNED_AIR_TAUS, DROWNED_NOISE_C = 1.0, 1.0
# Chilled far below by cold metal it counts as out. Where a person said that some went in, it warms with the charge: in
# the open nothing stays so hot. Where nobody said so it stays out: a couple that fails may sink and rise so as well.
CHARGE_BELOW_C, CHILLED_MOST_S = 100.0, 900.0
SOLID_BELOW_C = 10.0
# A tip between lumps half sees the pot. Above the liquidus by so much, for so long without a break, it is none.
LUMPS_ABOVE_C, LUMPS_LAST_S = 25.0, 300.0
# Evidence (natural logarithm of the odds, thermal_analysis/immersion.py) that what it reads is not the bath's: from the
# first on it counts as leaving, below the second it is in again. Of air, from the third on it has surely left.
LEFT, BACK, SURELY_LEFT = 4.0, 0.0, 3.0
# With a pour called, a lift is expected: so far down, faster than a bath in a furnace falls (not called, than one in
# the open: thermal_analysis/immersion.py), and for so long that cold metal beside the tip would have shown itself.
EXPECTED_FALL_C, FURNACE_FALLS_C_PER_S = 30.0, 1.3
SURE_TAUS, SURE_S, SURE_MOST_S = 2.5, 1.5, 20.0  # metal that chills a tip shows itself within so long


_OUT_OF_IT = (Medium.AIR, Medium.GAS)


class Sign(StrEnum):
    """What the trace shows just now."""

    SURGE_UP = "surge_up"
    SURGE_DOWN = "surge_down"
    QUIET = "quiet"  # moves no faster than metal does
    SETTLED = "settled"  # quiet for three time constants and six samples
    WARMED = "warmed"  # slowly up from cold, together with a charge
    COLD = "cold"  # too cold to be in the metal it was in
    FROZEN = "frozen"  # was in liquid, now slowly below the solidus
    FLUID = "fluid"  # above the liquidus


P, S = ProbeState, Sign
PROBE_TABLE: dict[tuple[ProbeState, Sign], ProbeState] = {
    (P.OUT, S.SURGE_UP): P.ENTERING,
    (P.OUT, S.WARMED): P.IN_METAL,
    (P.ENTERING, S.SURGE_DOWN): P.LEAVING,
    (P.ENTERING, S.QUIET): P.SETTLING,
    (P.ENTERING, S.SETTLED): P.SETTLING,
    (P.ENTERING, S.FLUID): P.SETTLING,
    (P.ENTERING, S.FROZEN): P.SETTLING,
    (P.ENTERING, S.COLD): P.SETTLING,
    (P.ENTERING, S.WARMED): P.SETTLING,
    (P.SETTLING, S.SURGE_UP): P.ENTERING,
    (P.SETTLING, S.SURGE_DOWN): P.LEAVING,
    (P.SETTLING, S.SETTLED): P.IN_METAL,
    (P.SETTLING, S.COLD): P.OUT,  # it fell and never levelled off
    (P.IN_METAL, S.SURGE_UP): P.ENTERING,
    (P.IN_METAL, S.SURGE_DOWN): P.LEAVING,
    (P.IN_METAL, S.FROZEN): P.FROZEN_IN,
    (P.IN_METAL, S.COLD): P.OUT,
    (P.LEAVING, S.SURGE_UP): P.ENTERING,
    (P.LEAVING, S.COLD): P.OUT,
    (P.LEAVING, S.QUIET): P.SETTLING,  # it levels off in hot metal: a cold addition, or pushed back
    (P.LEAVING, S.SETTLED): P.SETTLING,
    (P.LEAVING, S.FLUID): P.SETTLING,
    (P.LEAVING, S.FROZEN): P.OUT,
    (P.LEAVING, S.WARMED): P.OUT,
    (P.FROZEN_IN, S.FLUID): P.IN_METAL,
    (P.FROZEN_IN, S.SURGE_DOWN): P.LEAVING,  # pulled out with a lump on it
    (P.FROZEN_IN, S.COLD): P.OUT,
}
PROBE_STAYS: frozenset[tuple[ProbeState, Sign]] = frozenset(
    {
        (P.OUT, S.SURGE_DOWN),
        (P.OUT, S.QUIET),
        (P.OUT, S.SETTLED),
        (P.OUT, S.COLD),
        (P.OUT, S.FROZEN),
        (P.OUT, S.FLUID),
        (P.ENTERING, S.SURGE_UP),
        (P.SETTLING, S.QUIET),
        (P.SETTLING, S.WARMED),
        (P.SETTLING, S.FROZEN),
        (P.SETTLING, S.FLUID),
        (P.IN_METAL, S.QUIET),
        (P.IN_METAL, S.SETTLED),
        (P.IN_METAL, S.WARMED),
        (P.IN_METAL, S.FLUID),
        (P.LEAVING, S.SURGE_DOWN),
        (P.FROZEN_IN, S.SURGE_UP),
        (P.FROZEN_IN, S.QUIET),
        (P.FROZEN_IN, S.SETTLED),
        (P.FROZEN_IN, S.WARMED),
        (P.FROZEN_IN, S.FROZEN),
    }
)


class ProbeTracker:
    """The state of one probe. `update` once for each followed sample.

    place: `melt` may start in a cold charge; `dip` starts out; the others have no states beyond `out`.
    """

    def __init__(self, place: Place, sheath: str) -> None:
        self.place = place
        self.rule = SHEATHS[sheath]
        self.state = ProbeState.OUT
        self.trend = Trend(self.rule.span_s)
        self.been_fluid = False
        self.fluid_this_melt = False  # once the metal was liquid, a probe that is out does not come back by warming
        self.melted = False  # this melt's charge is known to be liquid; till then the tip may stand between lumps
        self.between_lumps = False  # its tip may be: what it reads says little of the metal
        self._seen_to_melt = False  # an arrest said so; else only what it read for long did, as between lumps it may
        self._was_solid = False  # it stood in metal that was certainly solid in this melt
        self._above: float | None = None  # since when it reads what no melting of this alloy reads
        self.been_in = False  # in the metal at least once since it was last put out by hand
        self.moved_mono_s = 0.0  # last time it surged either way
        self._quiet_samples = 0
        self._surging = False
        self._melt_began_s = -1e9
        self._fell_from: tuple[float, float] = (-1e9, 1e9)  # when and from where it last began to fall
        self._fell = False  # the last surge was downwards
        self._left_c: float | None = None  # what the metal was at that it was last seen to leave
        self._from_cold = True  # since it was last cold, nothing but slow warming happened
        self._last: tuple[float, float] | None = None
        self.immersion = ImmersionFilter(self.rule)
        self._doubted = False  # the evidence said that it left, and has not come back since
        self._sank_from_lumps = False  # it stood between lumps when it last seemed to leave
        self._smooth_since_s: float | None = None  # since then: smoothly in the range where lumps melt
        self._smooth_c = 0.0  # at that moment
        self._half_c: float | None = None  # half the time constant of air later
        self._cold_entry_s = -1e9  # when it was last put in cold
        self._left_told = True

    def set_place(self, place: Place) -> None:
        """A person moved the probe; it starts anew."""
        self.place = place
        self.force(ProbeState.OUT, self.moved_mono_s)

    def new_melt(self, mono_s: float) -> None:
        """Another batch: what the last one did says nothing any more."""
        self._melt_began_s = mono_s
        self.been_fluid = self.fluid_this_melt = self.melted = self._was_solid = self.between_lumps = False
        self._left_c = self._above = None
        self._seen_to_melt = self._sank_from_lumps = False

    def seen_to_melt(self) -> None:
        """The arrest says that the charge is liquid."""
        self.melted = self._seen_to_melt = True
        self.between_lumps = False

    def force(self, state: ProbeState, mono_s: float) -> None:
        """A person says what the probe is doing."""
        self.state = state
        self._quiet_samples = SETTLE_SAMPLES if state is ProbeState.IN_METAL else 0
        self.moved_mono_s = mono_s - 10.0 * self.rule.tau_metal_s
        self._from_cold = state is ProbeState.OUT
        self._surging = self._doubted = False
        self._left_c = None
        self.been_in = state is ProbeState.IN_METAL
        self.immersion.enter()

    def pot_is_back(self, mono_s: float) -> None:
        """The pot that it was thought to leave stands in the furnace again, and it reads what that metal may be at: it
        was in it all along, and metal that cooled in the open looked like air. It settles anew, and is judged anew."""
        if self.state not in (ProbeState.LEAVING, ProbeState.OUT):
            return
        self.state = ProbeState.SETTLING
        self._quiet_samples, self.moved_mono_s = 0, mono_s
        self._fell = self._surging = self._doubted = self._from_cold = False
        self._left_c = None
        self.immersion.enter()

    @property
    def left_s(self) -> float | None:
        """When it left the metal, as far as can be told so early; None: it has not, or it never was in it."""
        gone = self.state in (ProbeState.LEAVING, ProbeState.OUT) and self._fell and self._left_c is not None
        return self._fell_from[0] - self.rule.span_s if gone else None

    def left_for_sure(self, mono_s: float, *, expected: bool = False) -> float | None:
        """When it left the metal, told once: it is surely in air, and not beside cold metal in the pot.

        expected: a pour was called, nobody said that cold metal goes in, and then it fell.
        """
        if self._left_told or self.state not in (ProbeState.LEAVING, ProbeState.OUT):
            return None
        since_s = mono_s - self._fell_from[0]
        cold = self.state is ProbeState.OUT
        shown = since_s >= min(SURE_TAUS * self.rule.tau_metal_s + SURE_S, SURE_MOST_S)
        sure = cold or (shown and self.immersion.fell_s is not None and self.immersion.in_air >= SURELY_LEFT)
        seen = (shown if expected else since_s >= SURE_MOST_S) and self.immersion.likeliest in _OUT_OF_IT
        limit_c_per_s = FURNACE_FALLS_C_PER_S if expected else POT_FALLS
        if not sure and not (seen and self._falls_away(mono_s, limit_c_per_s)):
            return None
        self._left_told = True
        return self._fell_from[0] - self.rule.span_s

    def _falls_away(self, mono_s: float, limit_c_per_s: float) -> bool:
        """It has fallen further and faster than metal does."""
        since_s = mono_s - self._fell_from[0]
        if self._last is None or self._left_c is None:
            return False
        fell_c = self._left_c - self._last[1]
        return fell_c >= max(EXPECTED_FALL_C, limit_c_per_s * (since_s + self.rule.span_s))

    def update(self, mono_s: float, temp_c: float, alloy: AlloyFacts | None) -> Sign | None:
        """One followed sample. Returns the sign by which the state changed; None: it did not."""
        previous = self._last
        if previous is not None and mono_s <= previous[0]:
            return None
        self._last = (mono_s, temp_c)
        self.trend.add(mono_s, temp_c)
        if self.place is not Place.MELT and self.place is not Place.DIP:
            return None
        if self.state is not ProbeState.OUT and self.state is not ProbeState.ENTERING:
            solid = alloy is not None and self._not_melted(mono_s, temp_c, alloy)
            self.between_lumps = solid and self._was_solid and self.state is ProbeState.IN_METAL
            self.immersion.add(mono_s, temp_c, solid=solid)
        sign = self._sign(mono_s, temp_c, previous, alloy)
        sign = self._looked_at_again(mono_s, temp_c, alloy, sign)
        new = PROBE_TABLE.get((self.state, sign))
        if new is None:
            return None
        if new is ProbeState.ENTERING and self.state is ProbeState.OUT and (previous or (0.0, 1e9))[1] < SHELL_FROM_C:
            self._cold_entry_s = mono_s
        if new is ProbeState.LEAVING and self.state is ProbeState.IN_METAL:
            self._sank_from_lumps = self._was_solid and not self._seen_to_melt
            self._left_c, self._left_told = self.trend.highest_c(), False
        if new is not ProbeState.IN_METAL and new is not ProbeState.FROZEN_IN:
            self._quiet_samples = 0
        if new is ProbeState.OUT:
            self.been_fluid = False
        if self.state in (ProbeState.OUT, ProbeState.ENTERING) and new not in (ProbeState.OUT, ProbeState.ENTERING):
            self.immersion.enter()
            self._doubted = False
        if new is ProbeState.IN_METAL:
            self.been_in, self._left_c = True, None
        self.state = new
        return sign

    def _looked_at_again(self, mono_s: float, temp_c: float, alloy: AlloyFacts | None, sign: Sign) -> Sign:
        """A sign beside what the alloy says: a tip that drowned has not left, one in its own shell has not settled."""
        if alloy is None:
            return sign
        if sign is Sign.SETTLED and self._in_shell(mono_s, temp_c, alloy):
            return Sign.QUIET
        if self._drowned(mono_s, temp_c, alloy):
            if self.state is ProbeState.OUT:
                self.between_lumps = True
                return Sign.WARMED
            self._doubted = self._fell = self._surging = False
            self._left_c, self._smooth_since_s = None, None
            self.moved_mono_s = mono_s
            self.immersion.enter()
            return Sign.QUIET
        return sign

    def _in_shell(self, mono_s: float, temp_c: float, alloy: AlloyFacts) -> bool:
        if self.state is not ProbeState.SETTLING or mono_s - self._cold_entry_s > SHELL_MOST_S:
            return False
        if not alloy.solidus_c - SHELL_BELOW_C <= temp_c <= alloy.liquidus_c + SHELL_ABOVE_C:
            return False
        return abs(self.trend.probe_rate_c_per_s() or 0.0) <= SHELL_C_PER_S

    def _drowned(self, mono_s: float, temp_c: float, alloy: AlloyFacts) -> bool:
        """It fell from between lumps onto what a bath or a charge with lumps in it is at, and goes on as one."""
        rate, out = self.trend.probe_rate_c_per_s(), self.state is ProbeState.OUT
        low_c = alloy.solidus_c - (CHARGE_BELOW_C if out else DROWNED_BELOW_C)
        high_c = alloy.liquidus_c + DROWNED_ABOVE_C
        smooth = (
            (self.state is ProbeState.LEAVING or (out and self.immersion.returns_since(mono_s - CHILLED_MOST_S)))
            and self._sank_from_lumps
            and not self._seen_to_melt
            and rate is not None
            and -DROWNED_FALLS_C_PER_S <= rate <= POT_RISES
            and low_c <= temp_c <= max(high_c, self._left_c or high_c)
        )
        if not smooth:
            self._smooth_since_s = None
            return False
        if self._smooth_since_s is None:
            self._smooth_since_s, self._smooth_c, self._half_c = mono_s, temp_c, None
        smooth_s, air_s = mono_s - self._smooth_since_s, DROWNED_AIR_TAUS * self.rule.tau_air_s
        if self._half_c is None and smooth_s >= 0.5 * air_s:
            self._half_c = temp_c
        if temp_c <= high_c:
            return smooth_s >= max(DROWNED_S, DROWNED_TAUS * self.rule.tau_metal_s)
        if self._half_c is None or smooth_s < air_s:
            return False
        return temp_c - self._half_c >= self._half_c - self._smooth_c - DROWNED_NOISE_C

    def _not_melted(self, mono_s: float, temp_c: float, alloy: AlloyFacts) -> bool:
        """The charge may not be: it was solid, its melting was not seen, and it has not long been past all of it."""
        if self.place is not Place.MELT:
            return not self.fluid_this_melt and temp_c < alloy.liquidus_c
        if temp_c < alloy.solidus_c - SOLID_BELOW_C and self.state is ProbeState.IN_METAL and not self.melted:
            self._was_solid = True
        if temp_c <= alloy.liquidus_c + LUMPS_ABOVE_C:
            self._above = None
        elif self._above is None:
            self._above = mono_s
        long_above = self._above is not None and mono_s - self._above >= LUMPS_LAST_S
        # On its way out it is still hot from before.
        standing = self.state in (ProbeState.IN_METAL, ProbeState.SETTLING)
        if standing and (long_above or (not self._was_solid and temp_c >= alloy.liquidus_c)):
            self.melted = True
        return not self.melted

    def _sign(
        self, mono_s: float, temp_c: float, previous: tuple[float, float] | None, alloy: AlloyFacts | None
    ) -> Sign:
        """The first of these that holds."""
        rate = self.trend.probe_rate_c_per_s() or 0.0
        from_c = temp_c if previous is None else previous[1]
        surge = self._surge(mono_s, from_c, temp_c - from_c, rate)
        if surge is not None:
            return surge
        if self._has_left(mono_s, from_c):
            return Sign.COLD if self._is_cold(temp_c, alloy) else Sign.SURGE_DOWN
        if temp_c < WARM_C:
            self._from_cold = True
        if self._is_cold(temp_c, alloy):
            return Sign.COLD
        against_alloy = None if alloy is None else self._against_alloy(temp_c, alloy)
        if against_alloy is not None:
            return against_alloy
        if self.state is ProbeState.OUT and self.place is Place.MELT and self._warming(mono_s, temp_c, rate):
            return Sign.WARMED
        return Sign.SETTLED if self._is_settled(mono_s, rate) else Sign.QUIET

    def _surge(self, mono_s: float, from_c: float, step_c: float, rate_c_per_s: float) -> Sign | None:
        """It moves faster than metal can. from_c: the sample before; step_c: from there to this one."""
        slow = self.trend.step_s > SLOW_STEP_S and abs(step_c) >= SLOW_STEP_C
        limit_up = SLOW_STEP_C_PER_S if slow else self.rule.surge_up_c_per_s
        limit_down = SLOW_STEP_C_PER_S if slow else self.rule.surge_down_c_per_s
        if self._surging:
            limit_up, limit_down = LEVEL_SHARE * limit_up, LEVEL_SHARE * limit_down
        up, down = rate_c_per_s >= limit_up, rate_c_per_s <= -limit_down
        self._surging = up or down
        if not self._surging:
            return None
        self.moved_mono_s = mono_s
        self._quiet_samples = 0
        self._from_cold = False
        if up:
            self._fell = False
            return Sign.SURGE_UP
        if not self._fell or self.state is ProbeState.IN_METAL:
            self._fell_from = (mono_s, from_c)
        self._fell = True
        return Sign.SURGE_DOWN

    def _has_left(self, mono_s: float, from_c: float) -> bool:
        """The trace is that of a sheath in air, gas or dross, however slow; with hysteresis in the evidence."""
        if self.state in (ProbeState.OUT, ProbeState.ENTERING):
            return False
        doubt = self.immersion.doubt
        if self._doubted:
            self._doubted = doubt > BACK
        elif doubt >= LEFT:
            self._doubted = True
            if not self._fell:
                self._fell_from = (self.immersion.fell_s or mono_s, from_c)
            self._fell, self._from_cold = True, False
        if self._doubted:
            self.moved_mono_s = mono_s
            self._quiet_samples = 0
        return self._doubted

    def _is_cold(self, temp_c: float, alloy: AlloyFacts | None) -> bool:
        """Too cold for the metal it was in: after a fall, or without one far below what any melt is."""
        if self._fell and self.state in (ProbeState.LEAVING, ProbeState.SETTLING):
            cold_c = COLD_WITHOUT_ALLOY_C if alloy is None else alloy.solidus_c - COLD_BELOW_SOLIDUS_C
            if self._left_c is not None:
                cold_c = max(cold_c, self._left_c - FALLEN_C)
            if temp_c < cold_c:
                return True
        return self.state is ProbeState.IN_METAL and self.been_fluid and temp_c < WARM_C

    def _against_alloy(self, temp_c: float, alloy: AlloyFacts) -> Sign | None:
        """Liquid again, or frozen in, by the temperatures of the alloy."""
        if temp_c > alloy.liquidus_c:
            if self.state is ProbeState.IN_METAL:
                self.been_fluid = self.fluid_this_melt = True
            return Sign.FLUID if self.state is ProbeState.FROZEN_IN else None
        frozen_c = min(alloy.solidus_c, alloy.eutectic_c or alloy.solidus_c) - FROZEN_BELOW_SOLIDUS_C
        frozen = self.state is ProbeState.IN_METAL and self.been_fluid and temp_c < frozen_c
        return Sign.FROZEN if frozen else None

    def _is_settled(self, mono_s: float, rate_c_per_s: float) -> bool:
        """It has moved no faster than metal does for three time constants and six samples."""
        if not -(STEADY_FALL_C_PER_S if self._fell else STEADY_C_PER_S) <= rate_c_per_s <= STEADY_C_PER_S:
            self._quiet_samples = 0
            return False
        self._quiet_samples += 1
        return self._quiet_samples >= SETTLE_SAMPLES and mono_s - self.moved_mono_s >= 3.0 * self.rule.tau_metal_s

    def _warming(self, mono_s: float, temp_c: float, rate_c_per_s: float) -> bool:
        """Comes up slowly together with a charge: from cold, or out of a hot pot that was charged cold."""
        if temp_c < WARM_C:
            return False
        if self._from_cold:
            return True
        if self.fluid_this_melt or rate_c_per_s <= 0.0 or mono_s - self.moved_mono_s < 3.0 * self.rule.tau_metal_s:
            return False
        fell_s, fell_from_c = self._fell_from
        charging = fell_s - self._melt_began_s <= CHARGING_S
        return charging or temp_c >= fell_from_c - BACK_WITHIN_C
