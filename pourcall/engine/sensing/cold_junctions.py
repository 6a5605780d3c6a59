"""Cold junctions of a board beside each other and beside what they were (fault row A4). Temperatures in. Pure.

Terminals of one board stand in one place: one that is far from its neighbours is wrong, and every degree of it is a
degree of the metal. One that moved as a chip's does and stands still to the last digit is frozen, and falsifies what
the furnace's warmth then does. One that never moved says nothing: a file or an instrument may give a constant.
Limits of the rows; how often a chip's figure must have moved is ours, judged on simulated melts.
"""

from collections.abc import Mapping

APART_C = 8.0
FROZEN_S, FROZEN_TIMES, MOVES = 600.0, 10.0, 20  # still for so long and so many times longer than ever, after so many


class ColdJunction:
    """One channel's. `heard` for each sample that has one."""

    __slots__ = ("_longest_s", "_moves", "_since_s", "temp_c")

    def __init__(self) -> None:
        self.temp_c: float | None = None
        self._since_s, self._longest_s, self._moves = 0.0, 0.0, 0

    def heard(self, mono_s: float, temp_c: float) -> None:
        """What its terminals are at."""
        if temp_c == self.temp_c:
            return
        if self.temp_c is not None:
            self._moves += 1
            if self._moves > 1:
                self._longest_s = max(self._longest_s, mono_s - self._since_s)
        self.temp_c, self._since_s = temp_c, mono_s

    def forget(self, mono_s: float) -> None:
        """Nothing was heard for a while: it may have stood still or not."""
        self._since_s = mono_s

    def still_s(self, mono_s: float) -> float | None:
        """For how long it has stood still as none does; None: it moves, or nothing can be told."""
        still_s = mono_s - self._since_s
        frozen = self._moves >= MOVES and still_s >= max(FROZEN_S, FROZEN_TIMES * self._longest_s)
        return still_s if frozen else None


def odd_ones(terminals_c: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Of channels of one board: the one furthest from the others, its degC and theirs; empty: they agree.

    Of two it cannot be told which is wrong: both are named.
    """
    if len(terminals_c) == 2:
        (one, one_c), (other, other_c) = terminals_c.items()
        apart = abs(one_c - other_c) > APART_C
        return {one: (one_c, other_c), other: (other_c, one_c)} if apart else {}
    if len(terminals_c) < 2:
        return {}
    middle_c = sorted(terminals_c.values())[len(terminals_c) // 2]
    name, own_c = max(terminals_c.items(), key=lambda item: abs(item[1] - middle_c))
    return {name: (own_c, middle_c)} if abs(own_c - middle_c) > APART_C else {}
