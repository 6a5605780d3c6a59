"""What must hold of every snapshot, whatever the shop, the fault and the keys: the screen never contradicts itself."""

from pourcall.contract.events import CallKind, FigureSource, MeltState, Pour
from pourcall.contract.inputs import NOT_NOW_S, MarkPour, PowerLevel
from pourcall.contract.plan import SURROUNDINGS_C
from pourcall.contract.questions import LIFT_LASTS_S, question
from pourcall.contract.reading import ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, Instruction, ToDo
from pourcall.contract.status import Reason, Status
from pourcall.texts import say

KEEP_C = 2.0  # a call that is up stays up so far beyond the edge at which it was raised
READY = frozenset({MeltState.READY, MeltState.ABOVE})
LIMITS = frozenset({"alloy_limit", "pot_limit"})
HEATING = frozenset({PowerLevel.LOW, PowerLevel.HIGH})
LIMIT_S = 2.0  # the on-delay of these alarms
NO_MOULD = frozenset({ToDo.CHOOSE, ToDo.EMPTY, ToDo.CHECK})  # what may be said of metal that freezes
FROZEN = frozenset({MeltState.FREEZING, MeltState.SOLID})
CALLED = (CallKind.POUR, CallKind.WINDOW_CLOSING)
SAME_READ_S = 1e-3
POURS = frozenset({ToDo.POUR, ToDo.BEST_AIM, ToDo.POUR_SOON})


def contradictions(shot: FurnaceSnapshot) -> list[str]:
    """Everything in a snapshot that cannot be true together; empty: nothing."""
    return [
        *_pouring(shot),
        *_arriving(shot),
        *_in_the_hand(shot),
        *_instruction(shot),
        *_figures(shot),
        *_moulds(shot),
        *_of_one_moment(shot),
        *_leaving(shot),
    ]


def _moulds(shot: FurnaceSnapshot) -> list[str]:
    """The mould that is next is the first that is left; nothing is emptied with the power on; what is called for is
    not asked about."""
    if not shot.melt:
        return []
    wrong = []
    following = shot.moulds_left[0] if shot.moulds_left else None
    if following != (None if shot.window is None else shot.window.mould):
        wrong.append(f"left are {shot.moulds_left}, and next is {shot.window}")
    if shot.instruction.todo is ToDo.EMPTY and shot.moulds_left:
        wrong.append(f"the pot is to be emptied, and {shot.moulds_left} wait")
    if shot.instruction.todo is ToDo.EMPTY and shot.lift_mono_s is None and shot.power in HEATING:
        wrong.append(f"the pot is to be emptied, and the power is {shot.power}")
    if shot.instruction.todo in POURS and question(MarkPour(), shot) is not None:
        wrong.append("a pour is called, and would be asked about")
    return wrong


def _of_one_moment(shot: FurnaceSnapshot) -> list[str]:
    """No pour is called on a figure of one moment with the power on; what is held back is in its window."""
    metal, told, wrong = shot.metal, shot.instruction, []
    moment = metal.source in (FigureSource.DIP, FigureSource.TYPED)
    if moment and shot.power in HEATING and (told.todo in POURS or any(c.kind in CALLED for c in shot.calls)):
        wrong.append(f"{told.todo} on a figure {metal.source}, and the power is {shot.power}")
    if metal.source is FigureSource.DIP and shot.power in HEATING:
        wrong.append(f"a dip counts, and the power is {shot.power}")
    if told.todo is ToDo.HOLD and shot.melt_state is not MeltState.READY:
        wrong.append(f"it is held back, and the melt is {shot.melt_state}")
    if _too_old(shot) and shot.lift_mono_s is None and not told.must:
        wrong.append("a figure grew too old, and nothing is to be done")
    return wrong


def _too_old(shot: FurnaceSnapshot) -> bool:
    return shot.metal.temp_c is None and getattr(shot.metal.how, "name", "") == "figure.too_old"


def _leaving(shot: FurnaceSnapshot) -> list[str]:
    """From when the probe leaves, perhaps with the pot, nothing is shown as though it stood in the furnace."""
    if getattr(shot.metal.how, "name", "") != "figure.perhaps_lifted":
        return []
    wrong = [] if shot.ahead is None else ["the probe is leaving, and there is a forecast"]
    if shot.metal.temp_c is not None or any(call.kind in CALLED for call in shot.calls):
        wrong.append("the probe is leaving, and a pour is called")
    return wrong if shot.instruction.must else [*wrong, "the probe is leaving, and nothing is to be done"]


class Ageing:
    """A figure of one moment only grows less sure, and once it counts no more it stays so. `see` every snapshot."""

    def __init__(self) -> None:
        self._read_s, self._u_c, self._over_s = -1e9, 0.0, -1e9

    def see(self, shot: FurnaceSnapshot) -> list[str]:
        """What grew surer by age, or came back."""
        metal = shot.metal
        if metal.source not in (FigureSource.DIP, FigureSource.TYPED) or metal.u_c is None:
            if metal.temp_c is None:
                self._over_s = max(self._over_s, self._read_s)
            return []
        read_s, u_c, wrong = shot.mono_s - metal.age_s, metal.u_c, []
        if abs(read_s - self._read_s) < SAME_READ_S and u_c < self._u_c - 1e-6:
            wrong.append(f"a figure of {metal.age_s:.0f} s ago was known to {self._u_c:.1f} and is to {u_c:.1f}")
        if read_s <= self._over_s + SAME_READ_S and shot.lift_mono_s is None:
            wrong.append(f"a figure of {metal.age_s:.0f} s ago counted no more, and counts again")
        self._read_s, self._u_c = read_s, u_c
        return wrong


class Lasting:
    """What may not stay so for long. `see` every snapshot, about once a second."""

    def __init__(self) -> None:
        self._since_s: dict[str, float] = {}

    def see(self, shot: FurnaceSnapshot) -> list[str]:
        """What has been so for too long by now."""
        kinds = {alarm.kind for alarm in shot.alarms}
        metal, plan, profile = shot.metal, shot.plan, shot.profile
        known = metal.temp_c is not None and metal.source is not FigureSource.LAST_GOOD
        limit_c = None if plan is None else plan.lowest_limit.limit_c
        hot = known and metal.temp_c is not None and limit_c is not None and metal.temp_c > limit_c
        step = any(call.kind is CallKind.STEP for call in shot.calls)
        return [
            *self._for("above a limit, and no alarm", hot and not kinds & LIMITS, shot, LIMIT_S),
            *self._for(
                "a profile waits to be told, and nothing says so",
                profile is not None and profile.waits and not step and shot.countdown_s is None and _stands(shot),
                shot,
                NOT_NOW_S,
            ),
        ]

    def _for(self, what: str, holds: bool, shot: FurnaceSnapshot, most_s: float) -> list[str]:
        if not holds:
            self._since_s.pop(what, None)
            return []
        since_s = self._since_s.setdefault(what, shot.mono_s)
        return [f"{what}, for {shot.mono_s - since_s:.0f} s"] if shot.mono_s - since_s > most_s + 5.0 else []


def _stands(shot: FurnaceSnapshot) -> bool:
    """The pot is not out of the furnace."""
    return shot.lift_mono_s is None or shot.mono_s - shot.lift_mono_s >= LIFT_LASTS_S


def _pouring(shot: FurnaceSnapshot) -> list[str]:
    """Never *pour* on metal outside its window or not known; never towards another edge than the forecast's."""
    if shot.instruction.todo not in POURS:
        return []
    metal_c, window, wrong = shot.metal.temp_c, shot.window, []
    if metal_c is None or window is None:
        return [f"pour, and the metal is {metal_c}, the window {window}"]
    if shot.melt_state is MeltState.ABOVE or metal_c > window.tap_max_c + KEEP_C:
        wrong.append(f"pour at {metal_c:.1f}, {shot.melt_state}, and the window ends at {window.tap_max_c:.1f}")
    if metal_c < window.tap_min_c - KEEP_C:
        wrong.append(f"pour at {metal_c:.1f}, and the window begins at {window.tap_min_c:.1f}")
    if shot.metal.reason in (Reason.MOVING, Reason.OUT_OF_METAL, Reason.LATE):
        wrong.append(f"pour on a figure that is {shot.metal.reason}")
    if shot.lift_mono_s is not None and shot.countdown_s is not None:
        wrong.append("pour is called with the pot in the hand")
    closing = next((call for call in shot.calls if call.kind.value == "window_closing"), None)
    coast = None if shot.ahead is None or not shot.ahead.power_off else shot.ahead.coast_c
    too_hot = closing is not None and getattr(closing.text, "name", "") == "call.closing.hot"
    if too_hot and coast is not None and coast.mid is not None and coast.mid <= window.tap_max_c:
        wrong.append(f"closes too hot, and coasts to {coast.mid:.1f} inside {window.tap_max_c:.1f}")
    return wrong


def _arriving(shot: FurnaceSnapshot) -> list[str]:
    """*Pour* never stands while what would arrive lies outside the mould's window, whatever led there."""
    window, told = shot.window, shot.instruction
    if told.todo not in (*POURS, ToDo.MARK_POUR) or window is None or window.lip_now_c is None:
        return []
    lip_c = window.lip_now_c
    if not window.lip_min_c - 1e-6 <= lip_c <= window.lip_max_c + 1e-6:
        return [f"{told.todo}, and {lip_c:.1f} would arrive in {window.lip_min_c:.1f} to {window.lip_max_c:.1f}"]
    if told.todo is ToDo.MARK_POUR and shot.melt_state not in READY:
        return [f"{told.todo}, and the melt is {shot.melt_state}"]
    return []


def _in_the_hand(shot: FurnaceSnapshot) -> list[str]:
    """After the lift *pour* needs a window that is open."""
    closed = shot.countdown_s is not None and shot.countdown_s <= 0.0
    if closed and shot.instruction.todo in (*POURS, ToDo.MARK_POUR):
        return [f"the window has closed, and the instruction is {shot.instruction.todo}"]
    wrong = [f"the window has closed, and the melt is {shot.melt_state}"] if closed and shot.melt_state in READY else []
    lip_c = None if shot.window is None else shot.window.lip_now_c
    if shot.plan is None or shot.window is None or lip_c is None or not _out(shot):
        return wrong
    alloy, told = shot.plan.alloy, shot.instruction
    if lip_c < alloy.liquidus_c and (told.todo not in NO_MOULD or shot.melt_state not in FROZEN):
        wrong.append(f"{lip_c:.0f} would arrive, below the liquidus; the instruction is {told.todo}, {shot.melt_state}")
    if lip_c < alloy.solidus_c and shot.melt_state is not MeltState.SOLID:
        wrong.append(f"{lip_c:.0f} would arrive, below the solidus, and the melt is {shot.melt_state}")
    return wrong


def _out(shot: FurnaceSnapshot) -> bool:
    """The pot is in the hand."""
    return shot.lift_mono_s is not None and shot.mono_s - shot.lift_mono_s < LIFT_LASTS_S


def _instruction(shot: FurnaceSnapshot) -> list[str]:
    """One instruction: that of the call that does most harm if it is not followed."""
    instruction: Instruction = shot.instruction
    if not say(instruction.text):
        return [f"{instruction.todo} says nothing"]
    if instruction.call is not None and (not shot.calls or shot.calls[0].kind is not instruction.call):
        return [f"the instruction speaks for {instruction.call}, the first call is {shot.calls[:1]}"]
    return []


def _figures(shot: FurnaceSnapshot) -> list[str]:
    """A probe that only moves has not failed; a figure has one doubt wherever it stands; waiting cools a pour."""
    wrong = [
        f"{probe.name} only moves and is {probe.status}"
        for probe in shot.probes
        if probe.reason in (Reason.MOVING, Reason.OUT_OF_METAL) and probe.status is Status.BAD
    ]
    for probe in shot.probes:
        stands = probe.state is ProbeState.IN_METAL and probe.name == shot.metal.probe
        if not stands or shot.metal.source is not FigureSource.PROBE or probe.u_c is None or shot.metal.u_c is None:
            continue
        if shot.metal.u_c < probe.u_c - 1e-9:
            wrong.append(f"the metal is known to {shot.metal.u_c:.2f}, its probe to {probe.u_c:.2f}")
    return wrong + [fault for pour in shot.pours for fault in _pour(pour)]


def _pour(pour: Pour) -> list[str]:
    if pour.lip_temp_c is None or pour.pot_temp_c is None:
        return []
    coldest_c = min(SURROUNDINGS_C, pour.pot_temp_c - 60.0)  # 60 degC: the largest planned loss of these shops
    if not coldest_c <= pour.lip_temp_c <= pour.pot_temp_c:
        return [f"pour {pour.number} at {pour.lip_temp_c:.1f} from {pour.pot_temp_c:.1f} in the pot"]
    return []
