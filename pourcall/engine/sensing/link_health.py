"""Is a board being heard? Link events and arrival times in, alarms out (rows S1-S4, S6-S8, S11-S13)."""

from collections import deque

from pourcall.contract.config import BoardConfig
from pourcall.contract.frames import Identity
from pourcall.contract.inputs import LinkIn, LinkKind
from pourcall.contract.message import NOTHING, Message, Told, tell
from pourcall.contract.snapshot import BoardState, BoardView
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.sensing.pace_of_board import BoardPace

SILENT_S = 3.0
NOISY_FRAMES, NOISY_S = 3, 10.0
TEXT_SHARE = 0.9  # bytes at a wrong speed are seldom text


class BoardLink:
    """What is known of one board's link."""

    def __init__(self, config: BoardConfig) -> None:
        self.config = config
        self.open_since_s: float | None = None
        self.last_valid_s: float | None = None
        self.closed = False
        self.problem: LinkKind | None = None  # UNAVAILABLE or PORT_SHARED, with `detail`
        self.detail: Told = NOTHING
        self.identity: Identity | None = None
        self.mismatch: Message = NOTHING
        self.lost = False
        self.pace = BoardPace(config.sample_s)
        self._valid_since_open = 0
        self._bad: deque[tuple[float, int]] = deque()
        self._printable = 1.0

    @property
    def view(self) -> BoardView:
        """As the dashboard sees it."""
        if self.problem is LinkKind.UNAVAILABLE:
            return BoardView(state=BoardState.UNAVAILABLE, detail=self.detail)
        if self.closed:
            return BoardView(state=BoardState.UNPLUGGED)
        if self.lost:
            return BoardView(state=BoardState.SILENT)
        return BoardView(state=BoardState.WAITING if self.last_valid_s is None else BoardState.UP)

    @property
    def is_up(self) -> bool:
        """Open, as far as is known; a board that was just opened and has not spoken yet counts."""
        return not self.closed and self.problem is not LinkKind.UNAVAILABLE

    def heard(self, mono_s: float) -> None:
        """A valid frame."""
        self.last_valid_s = mono_s
        self._valid_since_open += 1
        self.pace.heard(mono_s)
        if self.closed or self.problem is LinkKind.UNAVAILABLE:
            self.closed, self.problem = False, None

    def identified(self, identity: Identity) -> None:
        """The board said who it is; another serial than set up (or than before, where none is set up) is a mismatch."""
        expected = self.config.serial or (self.identity.serial if self.identity else "")
        self.mismatch = NOTHING
        if expected and identity.serial and identity.serial != expected:
            self.mismatch = tell("alarm.other_board", found=identity.serial, expected=expected)
        if self.identity is None or not self.mismatch:
            self.identity = identity

    def link(self, item: LinkIn) -> None:
        """Something happened to the port."""
        if item.kind is LinkKind.OPENED:
            self.open_since_s, self.closed, self.problem = item.mono_s, False, None
            self._valid_since_open = 0
            self._printable = 1.0
            self._bad.clear()
        elif item.kind is LinkKind.CLOSED:
            self.closed, self.detail = True, item.detail
        elif item.kind is LinkKind.BAD_FRAMES:
            self._bad.append((item.mono_s, max(item.count, 1)))
            self._printable = min(self._printable, item.printable)
        else:
            self.problem, self.detail = item.kind, item.detail

    def set_conditions(self, alarms: AlarmManager, mono_s: float, utc_s: float) -> bool:
        """Set the alarm conditions of this link; returns True where it has just been lost."""
        name = self.config.name
        while self._bad and self._bad[0][0] < mono_s - NOISY_S:
            self._bad.popleft()
        bad = sum(count for _, count in self._bad)
        silent_after_s = max(SILENT_S, 2.5 * self.config.sample_s + 0.5)
        since_s = max((s for s in (self.open_since_s, self.last_valid_s) if s is not None), default=None)
        silent_s = 0.0 if since_s is None else mono_s - since_s
        silent = silent_s > silent_after_s
        no_text = self._valid_since_open == 0 and bad > 0 and self._printable < TEXT_SHARE
        wrong_speed = silent and no_text
        unavailable = self.problem is LinkKind.UNAVAILABLE
        was_lost, self.lost = self.lost, self.closed or silent or unavailable
        if self.lost:
            self.pace.forget()
        slow = self.pace.slow_by(mono_s)

        def condition(kind: str, holds: bool, detail: Told = NOTHING, *, at_once: bool = True) -> None:
            alarms.set_condition(kind, name, holds, mono_s, utc_s, detail=detail, at_once=at_once)

        condition("port_unavailable", unavailable, self.detail)
        condition("port_shared", self.problem is LinkKind.PORT_SHARED, self.detail, at_once=False)
        condition("identity_mismatch", bool(self.mismatch), self.mismatch)
        condition("link_wrong_speed", wrong_speed and not unavailable)
        lost = (self.closed or silent) and not wrong_speed and not unavailable
        quiet = tell("alarm.unplugged") if self.closed else tell("alarm.silent_for", silent_s=silent_s)
        condition("link_lost", lost, quiet)
        noisy = bad >= NOISY_FRAMES and not self.lost and not no_text  # it is about to be called a wrong speed
        condition("link_noisy", noisy, tell("alarm.broken_lines", lines=bad, span_s=NOISY_S), at_once=False)
        condition("slow_data", slow is not None, tell("alarm.slow", usual_share=slow or 0.0), at_once=False)
        return self.lost and not was_lost
