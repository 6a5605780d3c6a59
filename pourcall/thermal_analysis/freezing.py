"""Does metal that was liquid freeze. Level and slope of one probe's trace in, one direction out.

What was last known for sure and the sign of heat decide: metal that was liquid, falls, and then stands still freezes,
and goes on freezing, however often the halt seems to end, until it is solid, until it has plainly been heated again,
or until it stood for longer than all its heat can last (then a furnace holds it). Growth restrictions and
recalescence move the reading by some degrees up and down meanwhile (cooling curve method: Metals 16 (2026) 54); the
thresholds are ours, tried on simulated melts left to freeze.
"""

HELD_SHARE = 2.5  # of latent heat over specific heat: a halt that took more is a hold
FLAT_SHARE = 0.2  # of the rate of the fall: it stands, or springs back
FALLS_S = 10.0  # falling so long before a rate of it is known
HALTS_S = 15.0
RATE_KEEP_S = 45.0
QUIET_S = 60.0  # after power, lid, an addition, a skim: a change of slope has its own reason
ABOVE_HALT_C = 6.0  # more than a recalescence: heated again, past where it began to freeze
ABOVE_OVER_C = 3.0  # the same, where no halt but a level said that it freezes
HEATED_S = 10.0  # rising so long before it is heat put in and no recalescence
REMELTS_S = 25.0
SLOPES = 3.0  # a slope within so many deviations of its scatter is none
LEAST_C_PER_S = 0.02
FALLEN_C = 3.0  # below the halt: its heat is not holding it there any more


class FreezingWatch:
    """One probe in one melt. `add` each line of an ArrestWatch while the metal was last known to be liquid."""

    __slots__ = (
        "_at_s",
        "_fall_rate",
        "_falling_s",
        "_held",
        "_liquid_from_c",
        "_quiet_until_s",
        "_rising_s",
        "_stands_s",
        "freezes",
        "halt_c",
    )

    def __init__(self) -> None:
        self.freezes = False
        self.halt_c = 0.0  # where it began to freeze, as read
        self._liquid_from_c = 0.0  # heated up to here again, it is liquid
        self._rising_s = self._falling_s = self._stands_s = 0.0
        self._fall_rate = 0.0  # at which it fell before it stood, degC/s
        self._held = False  # what stands here is a furnace that holds it
        self._quiet_until_s = -1e9
        self._at_s: float | None = None

    @property
    def heated(self) -> bool:
        """It has risen for so long that it is heat put in, and no recalescence."""
        return self._rising_s >= REMELTS_S

    @property
    def remelts(self) -> bool:
        """Frozen in part, and heated again."""
        return self.freezes and self.heated

    def over(self) -> None:
        """Solid, or the probe left: nothing freezes."""
        self.freezes = self._held = False
        self._rising_s, self._at_s = 0.0, None
        self._forget_fall()

    def disturbed(self, mono_s: float) -> None:
        """Power, lid, an addition, a skim: what begins to stand now has its own reason."""
        self._quiet_until_s = mono_s + QUIET_S

    def add(
        self,
        at_s: float,
        level_c: float,
        slope: float,
        noise: float,
        *,
        within_c: tuple[float, float],
        whole_k: float,
        over_c: float | None,
    ) -> bool:
        """One line (middle, level, slope, its scatter); True when freezing is first seen.

        within_c: where this alloy's freezing may read; whole_k: latent heat over specific heat; over_c: the reading
        below which it is certainly not all liquid any more.
        """
        step_s = 0.0 if self._at_s is None else min(max(at_s - self._at_s, 0.0), 60.0)
        self._at_s = at_s
        moves = max(SLOPES * noise, LEAST_C_PER_S)
        self._rising_s = self._rising_s + step_s if slope > moves else 0.0
        halts = self._halts(slope, moves, step_s, whole_k)
        if self.freezes:
            if self._held and level_c > self.halt_c - FALLEN_C:
                self.freezes = False
            elif self._rising_s >= HEATED_S and level_c >= self._liquid_from_c:
                self.freezes = False
                self._forget_fall()
            return False
        if halts and not self._held and at_s >= self._quiet_until_s and within_c[0] <= level_c <= within_c[1]:
            self.freezes, self.halt_c, self._liquid_from_c = True, level_c, level_c + ABOVE_HALT_C
        elif over_c is not None and level_c < over_c and slope < -moves:
            self.freezes, self.halt_c, self._liquid_from_c = True, level_c, over_c + ABOVE_OVER_C
        return self.freezes

    def _halts(self, slope: float, moves: float, step_s: float, whole_k: float) -> bool:
        """It fell, and now it stands."""
        if self.heated:
            self._forget_fall()
            return False
        if slope < -max(moves, FLAT_SHARE * self._fall_rate):
            self._falling_s += step_s
            self._stands_s, self._held = 0.0, False
            known = min(1.0, step_s / RATE_KEEP_S) if self._falling_s > FALLS_S else 1.0
            self._fall_rate += known * (-slope - self._fall_rate)
            return False
        if self._falling_s < FALLS_S:
            self._falling_s = 0.0
            return False
        self._stands_s += step_s
        self._held = self._stands_s > HELD_SHARE * whole_k / max(self._fall_rate, LEAST_C_PER_S)
        return self._stands_s >= HALTS_S

    def _forget_fall(self) -> None:
        self._falling_s = self._stands_s = self._fall_rate = 0.0
        self._held = False
