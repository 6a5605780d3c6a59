"""What one input leads to: readings and events, each stamped with the moment of that input."""

from pourcall.contract import events as ev
from pourcall.contract.inputs import Input
from pourcall.contract.message import Told


class Outputs:
    """Of one furnace. `begin` with each input; whatever is said till the next belongs to it."""

    def __init__(self, furnace: str) -> None:
        self.furnace = furnace
        self.seq, self.mono_s, self.utc_s = 0, 0.0, 0.0
        self._out: list[ev.Output] = []

    def begin(self, item: Input) -> list[ev.Output]:
        """A new input; its outputs will be in this list."""
        self.seq, self.mono_s, self.utc_s = item.seq, item.mono_s, item.utc_s
        self._out = []
        return self._out

    def put(self, output: ev.Output) -> None:
        """A reading."""
        self._out.append(output)

    def say(self, kind: type, **fields: object) -> None:
        """An event of this moment."""
        self._out.append(kind(furnace=self.furnace, seq=self.seq, mono_s=self.mono_s, utc_s=self.utc_s, **fields))

    def mark(
        self, what: ev.MarkKind, text: Told, *, at_s: float | None = None, value: float | None = None, source: str = ""
    ) -> None:
        """A mark for the record; of this moment, unless it is said of which."""
        at_mono_s = self.mono_s if at_s is None else at_s
        self.say(ev.Marked, what=what, text=text, at_mono_s=at_mono_s, value=value, source=source)

    def mono_at(self, utc_s: float) -> float:
        """By this clock, a moment that the record has."""
        return self.mono_s - (self.utc_s - utc_s)

    def utc_at(self, mono_s: float) -> float:
        """The time for the record of a moment a little ago."""
        return self.utc_s - (self.mono_s - mono_s)
