"""One channel's samples become readings. Chip faults, dead buses, spikes and late bytes are told apart here.

Looked at in this order: late, dead bus, chip flags, no value, conversion, then whether it can be true in the state the
probe is in. What is not followed is still kept in the record with its raw value. BAD never carries a number.
"""

import contextlib
from collections import deque
from dataclasses import dataclass, field

from pourcall.contract.calibration import NO_CALIBRATION, Calibration
from pourcall.contract.config import ProbeConfig
from pourcall.contract.errors import PourcallError
from pourcall.contract.frames import RawKind, Sample, SampleFlag, chip_type_of
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.sensing.cold_junctions import ColdJunction
from pourcall.engine.sensing.metal_pace import MetalPace
from pourcall.engine.sensing.probe_state import ProbeTracker, Sign
from pourcall.engine.sensing.signal_noise import SignalNoise
from pourcall.engine.sensing.trust import Cause, Level, Trust, TrustState
from pourcall.engine.sensing.unchanging import Unchanging, unchanging
from pourcall.thermometry.amplifier_limits import amplifier_of
from pourcall.thermometry.compensation import COLD_HIGH_C, COLD_LOW_C, to_temperature
from pourcall.thermometry.thermocouple import temp_range_c
from pourcall.thermometry.tolerance import WireClass
from pourcall.thermometry.uncertainty import Chain, budget

LATE_S = 2.0
JUMP_C_PER_S = 30.0  # fault row T7: faster than this in the metal is no metal
JUMP_LEAST_C = 40.0
COLD_ALARM_C = 85.0  # fault row A3
DEAD_WORDS = 3  # fault row A1
# Fault row T4: a couple with its wires swapped reads as far below its terminals as the tip is above them. No shop is so
# cold beside a board so warm; our judgement.
BACKWARDS_C, COLDEST_TIP_C, BACKWARDS_SAMPLES = 25.0, -10.0, 3
ODD_TERMINALS_S = 600.0  # fault row A4
ROOM_AT_MOST_C = 100.0  # no flame plays about a tip that is no hotter
STUCK_FLAG_S, STUCK_FLAG_MOVES, STUCK_FLAG_NEAR_C = 10.0, 5, 40.0  # fault row A7
FLIPS, FLIPS_S = 3, 180.0  # so many turns of direction at surging speed: no person moves a fixed probe so
STEP_C, STEP_TAUS, STEP_REST_SHARE, STEP_REST_C = 20.0, 2.0, 0.05, 0.8  # a sheath has more than that still to go
LEVEL_RATE_S = 60.0  # over which it is seen how the metal moved before a figure was lost
USABLE = (Reason.OK, Reason.OFF_SPEC, Reason.LAST_KNOWN)
_IN = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)
_REASON_OF: dict[tuple[TrustState, Cause], Reason] = {
    **{(state, cause): Reason.UNPROVEN for state in (TrustState.PROVING, TrustState.LOST) for cause in Cause},
    (TrustState.DISTRUSTED, Cause.NONE): Reason.INTERMITTENT,
    (TrustState.DISTRUSTED, Cause.INTERMITTENT): Reason.INTERMITTENT,
    (TrustState.DISTRUSTED, Cause.IMPLAUSIBLE): Reason.IMPLAUSIBLE,
    (TrustState.DISTRUSTED, Cause.UNCHANGING): Reason.UNCHANGING,
    (TrustState.DISTRUSTED, Cause.REVERSED): Reason.IMPLAUSIBLE,
    (TrustState.DISTRUSTED, Cause.TYPE): Reason.UNPROVEN,  # it may be right: a person knows, and sees it meanwhile
    (TrustState.DISTRUSTED, Cause.UNEXPLAINED): Reason.UNEXPLAINED,
}
_NO_NUMBER = frozenset(reason for reason, status in STATUS_OF.items() if status is Status.BAD)
# Plain integers: an IntFlag makes an object for each `&`, a fifth of the cost of a reading.
_OPEN, _COLD, _RESERVED, _RANGE = (
    int(flag) for flag in (SampleFlag.OPEN, SampleFlag.COLD_JUNCTION, SampleFlag.RESERVED_BITS, SampleFlag.CHIP_RANGE)
)
_SHORT = int(SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY)
_NO_OPEN_CHECK = int(SampleFlag.NO_OPEN_CHECK)
_CHIP_SETTINGS = _NO_OPEN_CHECK | 0xF000  # bits that tell nothing of the measurement


@dataclass(slots=True)
class Health:
    """What the sensor rules have found so far, for the alarms. Counts run up while a fault lasts."""

    open: int = 0
    short: int = 0
    no_value: int = 0
    over_range: int = 0
    dead_words: int = 0
    dead: bool = False
    cold_out: int = 0
    cold_c: float | None = None
    chip_type: str = ""  # as the chip says that it is set, read back with the measurement; empty: not read
    type_changed: bool = False  # set to another type of couple than the settings say
    open_checked: bool = False  # it has looked for an open couple once
    open_unchecked: bool = False  # it does not now
    flag_stuck: bool = False  # it says open, and converts as if nothing were
    flips: deque[float] = field(default_factory=deque)


class ProbeChannel:
    """One probe: its tracker, its health, its last reading."""

    def __init__(self, config: ProbeConfig) -> None:
        self.config = config
        self.tracker = ProbeTracker(config.place, config.sheath)
        self.health = Health()
        self.trust = Trust()
        self.pace = MetalPace()
        self.noise = SignalNoise()
        self.terminals = ColdJunction()
        self.terminals_odd: Message = NOTHING  # why they are not believed, though within what a chip stands
        self._odd_since_s: float | None = None
        by_hand = Calibration(offset_uv=config.offset_uv) if config.offset_uv else NO_CALIBRATION
        self.calibration = by_hand if config.calibration is None else config.calibration
        self.last: Reading | None = None
        self.last_usable: Reading | None = None  # the last that could be the metal's, to hold over a short gap
        self.u_c: float | None = None  # expanded uncertainty, refreshed once a second
        self.untold_since_s: float | None = None  # in something hot, and no figure of the metal since then
        self.off_spec = False  # beyond what class or data sheet promise, by that budget
        self.late_s = 0.0
        self.heard_mono_s: float | None = None  # last sample of any kind, late ones too
        self._same_raw: float | None = None  # the digits that came last, since when, and how often
        self._same_since_s, self._same = 0.0, 0
        self._good: tuple[float, float] | None = None  # last followed sample
        self._jumped: list[tuple[float, float]] = []  # samples that jumped and are not yet explained
        self._step: tuple[float, float] | None = None  # when the last sample stepped, and by how much
        self._jumped_up = False  # till a person has looked, nothing is followed
        self._beside: tuple[float, float, int] | None = None  # beside an open flag: since when, last, how often moved
        self._backwards = 0  # samples in a row far below its own terminals
        self._direction = 0

    @property
    def trusted(self) -> bool:
        """What it says counts. While it does not, nothing may be called, learned or recorded on it."""
        return self.trust.trusted

    @property
    def usable(self) -> bool:
        """Its last reading counts, as far as the sensor goes; whether it is of the metal, the tracker knows."""
        return self.trust.trusted and self.last is not None and self.last.reason in USABLE

    def take(
        self,
        sample: Sample,
        late_s: float,
        mono_s: float,
        utc_s: float,
        alloy: AlloyFacts | None,
        *,
        lifted: bool = False,
        worked: bool = False,
    ) -> tuple[Reading, Sign | None]:
        """A sample becomes a reading; with it the sign by which the probe's state changed, if it did.

        lifted: the pot is out of the furnace, where metal moves as it likes. worked: somebody is at the bath.
        """
        self.late_s, self.heard_mono_s = late_s, mono_s
        if sample.raw_value != self._same_raw:
            self._same_raw, self._same_since_s, self._same = sample.raw_value, mono_s, 0
        self._same += 1
        trust = self.trust
        if sample.cold_junction_c is not None:
            self.terminals.heard(mono_s, sample.cold_junction_c)
        temp_c, reason = self._convert(sample)
        turned = None
        if late_s > LATE_S:
            if temp_c is not None:
                reason = Reason.LATE
        elif temp_c is None:
            self.noise.missed()
            if reason is not Reason.OVER_RANGE or not self._near_its_end():
                trust.lost(mono_s, self._level())
        elif reason is Reason.COLD_JUNCTION or reason is Reason.OK:
            at_s = mono_s - late_s
            plausible, turned = self._follow(at_s, temp_c, alloy)
            self._look_whether_backwards(at_s, temp_c, sample.cold_junction_c)
            self._listen(temp_c)
            if plausible is not Reason.SPIKE:
                self._believe(at_s, temp_c, alloy, turned, lifted=lifted, worked=worked)
            if plausible is not Reason.OK:
                reason = plausible
            elif reason is Reason.OK:
                reason = self._moving()
            if reason is Reason.OK and self.off_spec:
                reason = Reason.OFF_SPEC
            if trust.state is not TrustState.TRUSTED:
                reason = _REASON_OF[trust.state, trust.cause]
        if reason in _NO_NUMBER:
            temp_c = None
        reading = Reading(
            probe=self.config.name,
            temp_c=temp_c,
            reason=reason,
            at_mono_s=mono_s,
            at_utc_s=utc_s,
            raw_kind=sample.raw_kind,
            raw_value=sample.raw_value,
            cold_junction_c=sample.cold_junction_c,
            u_c=None if temp_c is None else self.u_c,
        )
        if reason is not Reason.LATE:
            self.last = reading
            if reason in USABLE and temp_c is not None:
                self.last_usable = reading
        return reading, turned

    def _near_its_end(self) -> bool:
        """It was about to leave the range of its couple: a chamber that is too hot for it comes and goes there."""
        good, tc_type = self._good, self.config.tc_type
        return good is not None and bool(tc_type) and good[1] > temp_range_c(tc_type)[1] - JUMP_LEAST_C

    def lose(self, reason: Reason, mono_s: float, utc_s: float) -> Reading:
        """Nothing is heard of it any more, or of another probe than this: a reading that says so."""
        self.last = Reading(
            probe=self.config.name,
            temp_c=None,
            reason=reason,
            at_mono_s=mono_s,
            at_utc_s=utc_s,
            raw_kind=RawKind.ITS90_C if self.last is None else self.last.raw_kind,
        )
        self.noise.forget()
        self.terminals.forget(mono_s)
        self.trust.lost(mono_s, self._level(), link=reason is not Reason.NO_VALUE, samples=2)
        return self.last

    def refresh_uncertainty(self, chip: str) -> None:
        """The budget of the present reading; a moment without a figure, or without a budget for it, keeps the last."""
        reading = self.last
        if reading is None or reading.temp_c is None:
            return
        chain = Chain(self.config.tc_type, amplifier_of(chip), WireClass(self.config.wire_class), self.calibration)
        with contextlib.suppress(PourcallError):
            whole = budget(chain, reading.temp_c, reading.cold_junction_c)
            self.u_c, self.off_spec = whole.expanded_c, whole.off_spec

    def same_digits_s(self, mono_s: float) -> float:
        """For how long it has said the same to the last digit."""
        return 0.0 if self._same_raw is None else mono_s - self._same_since_s

    def look_whether_stuck(self, mono_s: float, high_s: float, alloy: AlloyFacts | None) -> None:
        """Once a second: the same digits for longer than can be. high_s: how long the power has been high."""
        raw, good = self._same_raw, self._good
        if raw is None or good is None or self.tracker.place is not Place.MELT or self.tracker.state not in _IN:
            return
        same_s = mono_s - self._same_since_s
        match unchanging(same_s, self._same, raw, good[1], high_s, alloy):
            case Unchanging.STUCK:
                self.trust.lied(mono_s, Cause.UNCHANGING, tell("alarm.same_digits", temp_c=good[1], same_s=same_s))
            case Unchanging.DOUBTFUL:
                self.trust.shaken(mono_s)
            case Unchanging.NO:
                pass

    def _look_whether_backwards(self, at_s: float, temp_c: float, cold_c: float | None) -> None:
        """Far colder than its own terminals: its wires are swapped."""
        below = cold_c is not None and temp_c < min(COLDEST_TIP_C, cold_c - BACKWARDS_C)
        self._backwards = self._backwards + 1 if below else 0
        if cold_c is not None and self._backwards >= BACKWARDS_SAMPLES and self.tracker.place is not Place.AMBIENT:
            self.trust.lied(at_s, Cause.REVERSED, tell("alarm.backwards", reads_c=temp_c, terminals_c=cold_c))

    def mended(self, mono_s: float) -> None:
        """A person acknowledged: it is believed again, as soon as it has been quiet long enough."""
        if self.trust.state is TrustState.DISTRUSTED:
            self.trust.person(mono_s)
            self.health.flips.clear()
            self._jumped.clear()
            self._jumped_up = False
            self.pace.forget()
            self._good = None

    def judge_terminals(self, mono_s: float, why: Message) -> None:
        """why: they are frozen, or far from those beside them; ten minutes of it are believed."""
        if not why:
            self.terminals_odd, self._odd_since_s = NOTHING, None
            return
        if self._odd_since_s is None:
            self._odd_since_s = mono_s
        if mono_s - self._odd_since_s >= ODD_TERMINALS_S or self.terminals.still_s(mono_s) is not None:
            self.terminals_odd = why

    def untold_for_s(self, mono_s: float, *, untold: bool) -> float:
        """How long it has been in something hot without a figure of the metal. untold: it is now."""
        if not untold:
            self.untold_since_s = None
            return 0.0
        if self.untold_since_s is None:
            self.untold_since_s = mono_s
        return mono_s - self.untold_since_s

    def new_melt(self, mono_s: float) -> None:
        """Another batch: what the last one did says nothing any more."""
        self.tracker.new_melt(mono_s)
        self.trust.new_melt()
        self.pace.forget()

    def _level(self) -> Level | None:
        """Where the metal is, for when the figure comes back; None: the probe is not in it."""
        tracker, good = self.tracker, self._good
        if good is None or tracker.state not in _IN or not self.trust.trusted:
            return None
        return Level(good[0], good[1], tracker.trend.rate_c_per_min(LEVEL_RATE_S) or 0.0)

    def _believe(
        self,
        at_s: float,
        temp_c: float,
        alloy: AlloyFacts | None,
        turned: Sign | None,
        *,
        lifted: bool,
        worked: bool,
    ) -> None:
        """What was followed is held against what metal can do, and against what was there before a gap."""
        tracker, trust = self.tracker, self.trust
        watched = tracker.place is Place.MELT and alloy is not None and not lifted
        if watched and (turned is not None or self.pace.due(at_s)):
            self.pace.stands(between_lumps=tracker.between_lumps)
            tau_s, warmed = tracker.rule.tau_metal_s, turned is Sign.WARMED
            found = self.pace.look(
                at_s,
                temp_c,
                tracker.state,
                alloy,
                tau_s,
                warmed=warmed,
                worked=worked,
                suspect_since_s=trust.suspect_since_s(at_s),
            )
            if found:
                trust.lied(at_s, Cause.IMPLAUSIBLE, found)
            elif self.pace.shaken:
                trust.shaken(at_s)
        trust.figure(at_s, temp_c, in_metal=tracker.state in _IN)

    def _listen(self, temp_c: float) -> None:
        """To its noise, in metal and in the cold; over a furnace a flame plays about the tip."""
        place, state = self.tracker.place, self.tracker.state
        if (place is Place.MELT or place is Place.DIP) and (state is not ProbeState.OUT or temp_c < ROOM_AT_MOST_C):
            self.noise.add(temp_c)

    # -- what the chip says -------------------------------------------------------------------------------------------

    def _convert(self, sample: Sample) -> tuple[float | None, Reason]:
        health, flags, value = self.health, sample.flags, sample.raw_value
        if flags & _CHIP_SETTINGS or health.chip_type:
            self._read_back(flags)
            flags &= ~_CHIP_SETTINGS
        if flags & _RESERVED:
            health.dead_words, health.dead = DEAD_WORDS, True
            return None, Reason.DEAD_BUS
        if value == 0.0 and sample.cold_junction_c == 0.0 and sample.raw_kind is not RawKind.EMF_UV and not flags:
            health.dead_words += 1
            health.dead = health.dead_words >= DEAD_WORDS
            return None, Reason.DEAD_BUS
        health.dead_words, health.dead = 0, False
        opened = bool(flags & _OPEN)
        health.open = health.open + 1 if opened else 0
        if opened:
            self._look_whether_flag_stuck(value)
            return None, Reason.SENSOR_OPEN
        self._beside, health.flag_stuck = None, False
        shorted = flags & _SHORT
        health.short = health.short + 1 if shorted else 0
        if shorted:
            return None, Reason.SENSOR_SHORT
        if flags & _RANGE:
            health.over_range += 1
            return None, Reason.OVER_RANGE
        cold_c = sample.cold_junction_c
        health.cold_c = cold_c
        cold_out = bool(flags & _COLD) or (cold_c is not None and not COLD_LOW_C <= cold_c <= COLD_HIGH_C)
        health.cold_out = health.cold_out + 1 if cold_out else 0
        if value is None:
            health.no_value += 1
            return None, Reason.NO_VALUE
        health.no_value = 0
        if health.type_changed:
            return None, Reason.CONFIG
        temp_c, reason = to_temperature(sample.raw_kind, value, cold_c, self.config.tc_type, self.calibration)
        health.over_range = health.over_range + 1 if reason is Reason.OVER_RANGE else 0
        if cold_out and temp_c is not None:
            reason = Reason.COLD_JUNCTION
        return temp_c, reason

    def _read_back(self, flags: int) -> None:
        """The chip's own settings, beside what they should be and what they were."""
        health = self.health
        health.chip_type = chip_type_of(flags)
        if not health.chip_type:
            return
        health.type_changed = health.chip_type != self.config.tc_type
        health.open_unchecked = bool(flags & _NO_OPEN_CHECK)
        health.open_checked = health.open_checked or not health.open_unchecked

    def _look_whether_flag_stuck(self, value: float | None) -> None:
        """It says that the couple is open, and what it converts goes on moving about where the probe was."""
        good, beside, now_s = self._good, self._beside, self.heard_mono_s or 0.0
        last = beside[1] if beside is not None else None if good is None else good[1]
        if value is None or last is None or abs(value - last) > STUCK_FLAG_NEAR_C:
            self._beside, self.health.flag_stuck = None, False
            return
        since_s, moves = (now_s, 0) if beside is None else (beside[0], beside[2] + (value != beside[1]))
        self._beside = (since_s, value, moves)
        self.health.flag_stuck = now_s - since_s >= STUCK_FLAG_S and moves >= STUCK_FLAG_MOVES

    # -- what physics says --------------------------------------------------------------------------------------------

    def _follow(self, at_s: float, temp_c: float, alloy: AlloyFacts | None) -> tuple[Reason, Sign | None]:
        """Feed the tracker, unless this sample cannot be true in the present state."""
        tracker, good = self.tracker, self._good
        if good is not None and at_s <= good[0]:
            return Reason.OK, None
        if tracker.state is ProbeState.IN_METAL and good is not None:
            step_c, step_s = temp_c - good[1], at_s - good[0]
            if abs(step_c) > JUMP_LEAST_C and abs(step_c) > JUMP_C_PER_S * step_s:
                return self._jump(at_s, temp_c, step_c, good, alloy)
            self._jumped.clear()
        if self._stepped(at_s, temp_c):
            step_c = self._step[1] if self._step else 0.0
            self.trust.lied(at_s, Cause.IMPLAUSIBLE, tell("alarm.stepped", by_difference_c=abs(step_c)))
        if self.trust.state is TrustState.DISTRUSTED and self.trust.cause is Cause.IMPLAUSIBLE and self._jumped_up:
            return Reason.IMPLAUSIBLE, None
        self._good = (at_s, temp_c)
        sign = tracker.update(at_s, temp_c, alloy)
        if sign is not None:
            self._turned(at_s)
        return Reason.OK, sign

    def _stepped(self, at_s: float, temp_c: float) -> bool:
        """A step in one sample that stands still at the next: whatever happened, a sheath would still be on its way."""
        good, step = self._good, self._step
        self._step = None
        if good is None or self.tracker.place is not Place.MELT:
            return False
        step_s, step_c = at_s - good[0], temp_c - good[1]
        if step is not None and step_s <= STEP_TAUS * self.tracker.rule.tau_metal_s:
            self._step = step
            if abs(step_c) < max(STEP_REST_SHARE * abs(step[1]), STEP_REST_C):
                return True
            self._step = None
        if abs(step_c) >= STEP_C and step_s <= STEP_TAUS * self.tracker.rule.tau_metal_s:
            self._step = (at_s, step_c)
        return False

    def _jump(
        self, at_s: float, temp_c: float, step_c: float, good: tuple[float, float], alloy: AlloyFacts | None
    ) -> tuple[Reason, Sign | None]:
        """A jump in the metal. Down: the probe is coming out. Up from below the liquidus: it went in. Else a lie."""
        self._jumped.append((at_s, temp_c))
        if len(self._jumped) < 2:
            return Reason.SPIKE, None
        # Below the liquidus a shell frozen on a cold tip melts off within a second: up to the bath in one jump.
        below = alloy is None or good[1] < alloy.liquidus_c
        if step_c < 0.0 or below:
            jumped, self._jumped = self._jumped, []
            self._good = jumped[-1]
            sign = None
            for moment_s, value_c in jumped:
                sign = self.tracker.update(moment_s, value_c, alloy) or sign
            if sign is not None:
                self._turned(at_s)
            return Reason.OK, sign
        self._jumped_up = True
        self.trust.lied(
            at_s, Cause.IMPLAUSIBLE, tell("alarm.rose", by_difference_c=abs(step_c), within_s=at_s - good[0])
        )
        return Reason.IMPLAUSIBLE, None

    def _turned(self, at_s: float) -> None:
        """Count turns of direction at surging speed: a loose contact zigzags, a person turns once or twice."""
        state = self.tracker.state
        direction = {ProbeState.ENTERING: 1, ProbeState.LEAVING: -1}.get(state, 0)
        if direction == 0 or self.tracker.place is not Place.MELT:
            return
        if self._direction and direction != self._direction:
            flips = self.health.flips
            flips.append(at_s)
            while flips[0] < at_s - FLIPS_S:
                flips.popleft()
            if len(flips) >= FLIPS or self.trust.state is TrustState.DISTRUSTED:
                self.trust.lied(at_s, Cause.INTERMITTENT, tell("alarm.rushes", times=len(flips)))
        self._direction = direction

    def _moving(self) -> Reason:
        """A true reading that is not the metal's says so."""
        place, state = self.tracker.place, self.tracker.state
        if place is not Place.MELT and place is not Place.DIP:
            return Reason.OK
        if state in (ProbeState.ENTERING, ProbeState.SETTLING, ProbeState.LEAVING):
            return Reason.MOVING
        if state is ProbeState.OUT and place is Place.MELT and self.tracker.been_in:
            return Reason.OUT_OF_METAL
        return Reason.OK
