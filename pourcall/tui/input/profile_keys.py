"""The keys for a guided profile and for dips: what is asked, what is sent. Pure, as the key controller that owns them.

A dip is announced at once when depth and stirring have been told before; the first time both are asked, and should
nobody answer, the dip is announced without them: the probe may be on its way already.
"""

from pourcall.contract.api import ProfileRequest
from pourcall.contract.inputs import NextSegment, StartDip, StopProfile
from pourcall.contract.message import Message, tell
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot, ProfileView
from pourcall.tui.drawing.styled import Role
from pourcall.tui.input.key_actions import Action, Ask, Choice, Say, Send

DEPTHS_MM = (20.0, 40.0, 60.0, 80.0, 100.0)
DIP_ASK_S = 10.0
HowTaken = tuple[float | None, bool | None]  # depth in mm, stirred; None: not said


class DipMemory:
    """What was said of how dips are taken, furnace by furnace."""

    def __init__(self) -> None:
        self._said: dict[str, HowTaken] = {}

    def said(self, snapshot: FurnaceSnapshot) -> HowTaken | None:
        """As said here, or else as the dips of this melt have it; None: nobody said."""
        if snapshot.furnace in self._said:
            return self._said[snapshot.furnace]
        dips = (*((snapshot.last_dip,) if snapshot.last_dip is not None else ()), *reversed(snapshot.dips))
        found = next((dip for dip in dips if dip.depth_mm is not None or dip.stirred is not None), None)
        return None if found is None else (found.depth_mm, found.stirred)

    def see(self, furnace: str, command: StartDip) -> None:
        """A dip was announced: remember how."""
        if command.depth_mm is not None or command.stirred is not None:
            self._said[furnace] = (command.depth_mm, command.stirred)


def dip_asked(snapshot: FurnaceSnapshot, memory: DipMemory, now_s: float, *, anew: bool) -> Action | Ask:
    """The key for a dip. `anew`: ask again how deep and whether stirred."""
    if not snapshot.melt:
        return Say(tell("key.no_melt.dip"), Role.WARN)
    probe = next((p for p in snapshot.probes if p.place is Place.DIP), None)
    probe = probe or next((p for p in snapshot.probes if p.place is Place.MELT), None)
    if probe is None:
        return Say(tell("key.no_dip_probe"), Role.WARN)
    said = memory.said(snapshot)
    if said is not None and not anew:
        return Send(snapshot.furnace, StartDip(probe=probe.name, depth_mm=said[0], stirred=said[1]))
    bare = Send(snapshot.furnace, StartDip(probe=probe.name))
    keys = frozenset({"d", "D"})

    def stirred(depth_mm: float | None) -> Ask:
        def choice(word: Message, is_stirred: bool | None) -> Choice:
            command = StartDip(probe=probe.name, depth_mm=depth_mm, stirred=is_stirred)
            return Choice(word, Send(snapshot.furnace, command))

        choices = {
            "y": choice(tell("screen.dip.stirred"), True),
            "n": choice(tell("screen.dip.not_stirred"), False),
            "0": choice(tell("key.dont_know"), None),
        }
        lapse = Send(snapshot.furnace, StartDip(probe=probe.name, depth_mm=depth_mm))
        return Ask(tell("key.ask.stirred"), now_s + 2.0 * DIP_ASK_S, choices, lapse, keys)

    depths = {
        str(n): Choice(tell("key.depth", depth_mm=depth), stirred(depth)) for n, depth in enumerate(DEPTHS_MM, start=1)
    }
    depths["0"] = Choice(tell("key.dont_know"), stirred(None))
    return Ask(tell("key.ask.depth"), now_s + DIP_ASK_S, depths, bare, keys)


def profile_asked(snapshot: FurnaceSnapshot, now_s: float, ask_s: float) -> Action | Ask:
    """The key for the profile: begin the one meant for the alloy, go on when it waits, or stop."""
    furnace, profile, keys = snapshot.furnace, snapshot.profile, frozenset({"g"})
    if not snapshot.melt:
        return Say(tell("key.no_melt.profile"), Role.WARN)
    if profile is None or profile.stopped:
        begin = {"g": Choice(tell("key.yes"), Send(furnace, ProfileRequest(who="dashboard")))}
        alloy = snapshot.plan.alloy.name if snapshot.plan is not None else ""
        text = tell("key.ask.profile", alloy=alloy) if alloy else tell("key.ask.profile.unnamed")
        return Ask(text, now_s + ask_s, begin, None, keys)
    stop = {"x": Choice(tell("key.stop_profile"), Send(furnace, StopProfile()))}
    onward = Send(furnace, NextSegment())
    if profile.waits:
        go_on = {"g": Choice(tell("key.go_on"), onward), **stop}
        return Ask(tell("key.ask.go_on", where=_where(profile)), now_s + ask_s, go_on, None, keys)
    if profile.kind == SegmentKind.HOLD:
        end = {"g": Choice(tell("key.end_hold"), onward), **stop}
        return Ask(tell("key.ask.end_hold", where=_where(profile)), now_s + ask_s, end, None, keys)
    return Ask(tell("key.ask.ramp", where=_where(profile)), now_s + ask_s, stop, None, keys)


def _where(profile: ProfileView) -> Message:
    return tell("key.profile.where", profile=profile.name, number=profile.segment, of=profile.of)
