"""What is known of the power. A person's marks and a board's reports in; whether it is on, and since when, out."""

import math

from pourcall.contract.inputs import PowerLevel
from pourcall.engine.bath.metal import Powered

REPORTED_S = 10.0  # what a board applies is not known for longer, though its probes are still heard


class PowerKnob:
    """What is known of the power: a person's marks, or what a board reports."""

    def __init__(self) -> None:
        self.level: PowerLevel | None = None
        self.applied_permille: int | None = None
        self.drives = False  # the board has applied power: its nought is no power, that of another board tells nothing
        self.on_since_s: float | None = None
        self._on_from_s = math.inf  # when it last came on
        self.on_until_s = -math.inf  # last moment at which it was known to be on
        self.maybe_on_until_s = -math.inf  # last moment at which it was not known to be off
        self._level_s = 0.0  # since when it stands so, by a person's mark
        self._reported_s = -math.inf  # last
        self._applied_s = -math.inf  # when a board last reported that it applies power

    @property
    def off_since_s(self) -> float | None:
        """Since when it is marked off; None: it is not."""
        return self._level_s if self.level is PowerLevel.OFF else None

    def high_for_s(self, mono_s: float) -> float:
        """How long it has been marked high; 0: it is not, or nobody says."""
        return max(0.0, mono_s - self._level_s) if self.level is PowerLevel.HIGH else 0.0

    def mark(self, level: PowerLevel, at_s: float) -> None:
        """A person set the knob."""
        if level is not self.level:
            self._level_s = at_s
        was_on = self.level in (PowerLevel.LOW, PowerLevel.HIGH)
        self.level = level
        if level is PowerLevel.OFF:
            if not self.applied_permille:
                self.on_since_s = None
            if was_on:  # told a while afterwards, it was off since then, but for what a board reported meanwhile
                self.on_until_s = max(min(self.on_until_s, at_s), self._applied_s)
        else:
            if not was_on:
                self.on_since_s = self._on_from_s = at_s
            self.on_until_s = max(self.on_until_s, at_s)
            self.maybe_on_until_s = max(self.maybe_on_until_s, at_s)

    def goes_on(self, level: PowerLevel, since_s: float, powered: Powered) -> None:
        """It stands as it was marked before the daemon was away, and what was read of the metal before then ages by
        what it did."""
        self.mark(level, since_s)
        self._on_from_s = min(self._on_from_s, powered.on_from_s)
        self.on_until_s = max(self.on_until_s, powered.on_until_s)
        self.maybe_on_until_s = max(self.maybe_on_until_s, powered.maybe_on_until_s)

    @property
    def powered(self) -> Powered:
        """What of it ages a figure of one moment."""
        return Powered(self._on_from_s, self.on_until_s, self.maybe_on_until_s)

    def seen(self, mono_s: float) -> None:
        """A moment at which it stands as it stands: what was read of the metal before then ages by it."""
        if not self.off:
            self.maybe_on_until_s = mono_s
        if self.on_since_s is not None:
            self.on_until_s = mono_s

    def report(self, applied_permille: int, at_s: float) -> None:
        """A board reports what it applies."""
        self.applied_permille, self._reported_s = applied_permille, at_s
        self.drives = self.drives or applied_permille > 0
        if applied_permille > 0:
            self._applied_s = at_s
        if applied_permille > 0 and self.on_since_s is None:
            self.on_since_s = self._on_from_s = at_s
        elif applied_permille == 0 and self.level not in (PowerLevel.LOW, PowerLevel.HIGH):
            self.on_since_s = None

    def passes(self, mono_s: float) -> None:
        """Time. A board that drives says each second what it applies (drivers/wire/ourline.py); then it is old."""
        if mono_s - self._reported_s > REPORTED_S:
            self.unheard()

    def unheard(self) -> None:
        """The board that reported it is gone: what it applies now, nobody knows."""
        if self.applied_permille is None:
            return
        self.applied_permille = None
        if self.level not in (PowerLevel.LOW, PowerLevel.HIGH):
            self.on_since_s = None

    @property
    def off(self) -> bool:
        """Known to be off. A mark of a person does not outweigh a board that applies power."""
        if self.applied_permille:
            return False
        if self.level is not None:
            return self.level is PowerLevel.OFF
        return self.applied_permille == 0
