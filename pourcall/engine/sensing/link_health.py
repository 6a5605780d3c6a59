"""Is a board being heard? Link events and arrival times in, alarms out (rows S1-S4, S6-S8, S11, S12)."""

from collections import deque

from pourcall.contract.config import BoardConfig
from pourcall.contract.frames import Identity
from pourcall.contract.inputs import LinkIn, LinkKind
from pourcall.engine.alarms.manager import AlarmManager

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
        self.problem = ""  # port_unavailable or port_shared, with `detail`
        self.detail = ""
        self.identity: Identity | None = None
        self.mismatch = ""
        self.lost = False
        self._valid_since_open = 0
        self._bad: deque[tuple[float, int]] = deque()
        self._printable = 1.0

    @property
    def words(self) -> str:
        """For the snapshot: `up`, or why not."""
        if self.problem == LinkKind.UNAVAILABLE:
            return self.detail or "port cannot be opened"
        if self.closed:
            return "unplugged"
        if self.lost:
            return "silent"
        return "up" if self.last_valid_s is not None else "waiting"

    @property
    def is_up(self) -> bool:
        """Open, as far as is known; a board that was just opened and has not spoken yet counts."""
        return not self.closed and self.problem != LinkKind.UNAVAILABLE

    def heard(self, mono_s: float) -> None:
        """A valid frame."""
        self.last_valid_s = mono_s
        self._valid_since_open += 1
        if self.closed or self.problem == LinkKind.UNAVAILABLE:
            self.closed, self.problem = False, ""

    def identified(self, identity: Identity) -> None:
        """The board said who it is; another serial than set up (or than before, where none is set up) is a mismatch."""
        expected = self.config.serial or (self.identity.serial if self.identity else "")
        self.mismatch = ""
        if expected and identity.serial and identity.serial != expected:
            self.mismatch = f"It says {identity.serial}; expected was {expected}."
        if self.identity is None or not self.mismatch:
            self.identity = identity

    def link(self, item: LinkIn) -> None:
        """Something happened to the port."""
        if item.kind is LinkKind.OPENED:
            self.open_since_s, self.closed, self.problem = item.mono_s, False, ""
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

    def judge(self, desk: AlarmManager, mono_s: float, utc_s: float) -> bool:
        """Tell the alarm desk; returns True where the link has just been lost."""
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
        unavailable = self.problem == LinkKind.UNAVAILABLE
        was_lost, self.lost = self.lost, self.closed or silent or unavailable
        detail = "It was unplugged." if self.closed else f"Nothing for {silent_s:.0f} s."
        desk.set_condition("port_unavailable", name, unavailable, mono_s, utc_s, detail=self.detail, at_once=True)
        desk.set_condition("port_shared", name, self.problem == LinkKind.PORT_SHARED, mono_s, utc_s, detail=self.detail)
        desk.set_condition(
            "identity_mismatch", name, bool(self.mismatch), mono_s, utc_s, detail=self.mismatch, at_once=True
        )
        desk.set_condition("link_wrong_speed", name, wrong_speed and not unavailable, mono_s, utc_s, at_once=True)
        lost = (self.closed or silent) and not wrong_speed and not unavailable
        desk.set_condition("link_lost", name, lost, mono_s, utc_s, detail=detail, at_once=True)
        noisy = bad >= NOISY_FRAMES and not self.lost and not no_text  # it is about to be called a wrong speed
        desk.set_condition("link_noisy", name, noisy, mono_s, utc_s, detail=f"{bad} in the last {NOISY_S:.0f} s.")
        return self.lost and not was_lost
