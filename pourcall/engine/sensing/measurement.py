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
from pourcall.contract.frames import RawKind, Sample, SampleFlag
from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import AlloyFacts
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.engine.sensing.probe_state import ProbeTracker, Sign
from pourcall.thermometry.amplifier_limits import amplifier_of
from pourcall.thermometry.compensation import COLD_HIGH_C, COLD_LOW_C, to_temperature
from pourcall.thermometry.tolerance import WireClass
from pourcall.thermometry.uncertainty import Chain, budget

LATE_S = 2.0
JUMP_C_PER_S = 30.0  # fault row T7: faster than this in the metal is no metal
JUMP_LEAST_C = 40.0
COLD_ALARM_C = 85.0  # fault row A3
DEAD_WORDS = 3  # fault row A1
FLIPS, FLIPS_S = 3, 180.0  # so many turns of direction at surging speed: no person moves a fixed probe so
CONTACT_CHANGES, CONTACT_S = 3, 60.0  # fault row T12
MEND_QUIET_S = 60.0
USABLE = (Reason.OK, Reason.OFF_SPEC, Reason.LAST_KNOWN)
_NO_NUMBER = frozenset(reason for reason, status in STATUS_OF.items() if status is Status.BAD)
# Plain integers: an IntFlag makes an object for each `&`, a fifth of the cost of a reading.
_OPEN, _COLD, _RESERVED, _RANGE = (
    int(flag) for flag in (SampleFlag.OPEN, SampleFlag.COLD_JUNCTION, SampleFlag.RESERVED_BITS, SampleFlag.CHIP_RANGE)
)
_SHORT = int(SampleFlag.SHORT_GROUND | SampleFlag.SHORT_SUPPLY)


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
    implausible: bool = False
    implausible_why: Message = NOTHING
    intermittent: bool = False
    intermittent_why: Message = NOTHING
    flips: deque[float] = field(default_factory=deque)
    contacts: deque[float] = field(default_factory=deque)
    trouble_mono_s: float = 0.0  # last time anything in here was wrong


class ProbeChannel:
    """One probe: its tracker, its health, its last reading."""

    def __init__(self, config: ProbeConfig) -> None:
        self.config = config
        self.tracker = ProbeTracker(config.place, config.sheath)
        self.health = Health()
        by_hand = Calibration(offset_uv=config.offset_uv) if config.offset_uv else NO_CALIBRATION
        self.calibration = by_hand if config.calibration is None else config.calibration
        self.last: Reading | None = None
        self.last_usable: Reading | None = None  # the last that could be the metal's, to hold over a short gap
        self.u_c: float | None = None  # expanded uncertainty, refreshed once a second
        self.late_s = 0.0
        self.heard_mono_s: float | None = None  # last sample of any kind, late ones too
        self._good: tuple[float, float] | None = None  # last followed sample
        self._jumped: list[tuple[float, float]] = []  # samples that jumped and are not yet explained
        self._direction = 0
        self._was_open = False

    def take(
        self, sample: Sample, late_s: float, mono_s: float, utc_s: float, alloy: AlloyFacts | None
    ) -> tuple[Reading, Sign | None]:
        """A sample becomes a reading; with it the sign by which the probe's state changed, if it did."""
        self.late_s, self.heard_mono_s = late_s, mono_s
        temp_c, reason = self._convert(sample, mono_s)
        turned = None
        if late_s > LATE_S:
            if temp_c is not None:
                reason = Reason.LATE
        elif temp_c is not None:
            at_s = mono_s - late_s
            if reason is Reason.COLD_JUNCTION or reason is Reason.OK or reason is Reason.OFF_SPEC:
                plausible, turned = self._follow(at_s, temp_c, alloy)
                if plausible is not Reason.OK:
                    reason = plausible
                elif reason is Reason.OK:
                    reason = self._moving()
        if self.health.intermittent and reason is not Reason.LATE:
            reason = Reason.INTERMITTENT if temp_c is not None else reason
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
        return self.last

    def refresh_uncertainty(self, chip: str) -> None:
        """The budget of the present reading; a moment without a figure, or without a budget for it, keeps the last."""
        reading = self.last
        if reading is None or reading.temp_c is None:
            return
        chain = Chain(self.config.tc_type, amplifier_of(chip), WireClass(self.config.wire_class), self.calibration)
        with contextlib.suppress(PourcallError):
            self.u_c = budget(chain, reading.temp_c, reading.cold_junction_c).expanded_c

    def mended(self, mono_s: float) -> None:
        """A person acknowledged and the probe has been quiet: believe it again."""
        if mono_s - self.health.trouble_mono_s >= MEND_QUIET_S:
            self.health.intermittent = self.health.implausible = False
            self.health.flips.clear()
            self.health.contacts.clear()
            self._jumped.clear()
            self._good = None

    # -- what the chip says -------------------------------------------------------------------------------------------

    def _convert(self, sample: Sample, mono_s: float) -> tuple[float | None, Reason]:
        health, flags, value = self.health, sample.flags, sample.raw_value
        if flags & _RESERVED:
            health.dead_words, health.dead = DEAD_WORDS, True
            return None, Reason.DEAD_BUS
        if value == 0.0 and sample.cold_junction_c == 0.0 and sample.raw_kind is not RawKind.EMF_UV and not flags:
            health.dead_words += 1
            health.dead = health.dead_words >= DEAD_WORDS
            return None, Reason.DEAD_BUS
        health.dead_words, health.dead = 0, False
        opened = bool(flags & _OPEN)
        if opened != self._was_open:
            self._was_open = opened
            self._contact(mono_s)
        health.open = health.open + 1 if opened else 0
        if opened:
            return None, Reason.SENSOR_OPEN
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
        temp_c, reason = to_temperature(sample.raw_kind, value, cold_c, self.config.tc_type, self.calibration)
        health.over_range = health.over_range + 1 if reason is Reason.OVER_RANGE else 0
        if cold_out and temp_c is not None:
            reason = Reason.COLD_JUNCTION
        return temp_c, reason

    def _contact(self, mono_s: float) -> None:
        contacts = self.health.contacts
        contacts.append(mono_s)
        while contacts[0] < mono_s - CONTACT_S:
            contacts.popleft()
        self.health.trouble_mono_s = mono_s
        if len(contacts) >= CONTACT_CHANGES:
            self.health.intermittent = True
            self.health.intermittent_why = tell("alarm.contacts", times=len(contacts))

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
        if self.health.implausible:
            return Reason.IMPLAUSIBLE, None
        self._good = (at_s, temp_c)
        sign = tracker.update(at_s, temp_c, alloy)
        if sign is not None:
            self._turned(at_s)
        return Reason.OK, sign

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
        self.health.implausible = True
        self.health.implausible_why = tell("alarm.rose", by_difference_c=abs(step_c), within_s=at_s - good[0])
        self.health.trouble_mono_s = at_s
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
            if len(flips) >= FLIPS:
                self.health.intermittent = True
                self.health.intermittent_why = tell("alarm.rushes", times=len(flips))
            if self.health.intermittent:
                self.health.trouble_mono_s = at_s
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
