"""The keys for a guided profile and for dips: what is asked, what is sent. Pure, as tui.hand, which owns them.

A dip is announced at once when depth and stirring have been told before; the first time both are asked, and should
nobody answer, the dip is announced without them: the probe may be on its way already.
"""

from pourcall.contract.api import ProfileRequest
from pourcall.contract.inputs import NextSegment, StartDip, StopProfile
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.drawing.spans import Role
from pourcall.tui.input.key_actions import Action, Ask, Say, Send

DEPTHS_MM = (20.0, 40.0, 60.0, 80.0, 100.0)
DIP_ASK_S = 10.0
Told = tuple[float | None, bool | None]  # depth in mm, stirred; None: not said


class DipMemory:
    """What was said of how dips are taken, furnace by furnace."""

    def __init__(self) -> None:
        self._told: dict[str, Told] = {}

    def told(self, snapshot: FurnaceSnapshot) -> Told | None:
        """As said here, or else as the dips of this melt have it; None: nobody said."""
        if snapshot.furnace in self._told:
            return self._told[snapshot.furnace]
        dips = (*((snapshot.last_dip,) if snapshot.last_dip is not None else ()), *reversed(snapshot.dips))
        said = next((dip for dip in dips if dip.depth_mm is not None or dip.stirred is not None), None)
        return None if said is None else (said.depth_mm, said.stirred)

    def see(self, furnace: str, command: StartDip) -> None:
        """A dip was announced: remember how."""
        if command.depth_mm is not None or command.stirred is not None:
            self._told[furnace] = (command.depth_mm, command.stirred)


def dip_asked(snapshot: FurnaceSnapshot, memory: DipMemory, now_s: float, *, anew: bool) -> Action | Ask:
    """The key for a dip. `anew`: ask again how deep and whether stirred."""
    if not snapshot.melt:
        return Say("No melt is running: a dip belongs to a melt. m starts one", Role.WARN)
    probe = next((p for p in snapshot.probes if p.place is Place.DIP), None)
    probe = probe or next((p for p in snapshot.probes if p.place is Place.MELT), None)
    if probe is None:
        return Say("No probe is set up for dipping (place = dip or melt)", Role.WARN)
    told = memory.told(snapshot)
    if told is not None and not anew:
        return Send(snapshot.furnace, StartDip(probe=probe.name, depth_mm=told[0], stirred=told[1]))
    bare = Send(snapshot.furnace, StartDip(probe=probe.name))
    keys = frozenset({"d", "D"})

    def stirred(depth_mm: float | None) -> Ask:
        choices = {
            key: (word, Send(snapshot.furnace, StartDip(probe=probe.name, depth_mm=depth_mm, stirred=said)))
            for key, word, said in (("y", "stirred", True), ("n", "not stirred", False), ("0", "not to say", None))
        }
        lapse = Send(snapshot.furnace, StartDip(probe=probe.name, depth_mm=depth_mm))
        return Ask("Stirred before the dip?", now_s + 2.0 * DIP_ASK_S, choices, lapse, keys)

    depths = {str(n): (f"{depth:.0f} mm", stirred(depth)) for n, depth in enumerate(DEPTHS_MM, start=1)}
    depths["0"] = ("not to say", stirred(None))
    return Ask("How deep is the tip in the metal?", now_s + DIP_ASK_S, depths, bare, keys)


def guide_asked(snapshot: FurnaceSnapshot, now_s: float, ask_s: float) -> Action | Ask:
    """The key for the profile: begin the one meant for the alloy, go on when it waits, or stop."""
    furnace, profile, keys = snapshot.furnace, snapshot.profile, frozenset({"g"})
    if not snapshot.melt:
        return Say("No melt is running, so there is nothing to guide. m starts one", Role.WARN)
    if profile is None or profile.stopped:
        alloy = snapshot.plan.alloy.name if snapshot.plan is not None else "this alloy"
        begin = Send(furnace, ProfileRequest(who="dashboard"))
        return Ask(
            f"Guide this melt by the profile meant for {alloy}?", now_s + ask_s, {"g": ("yes", begin)}, None, keys
        )
    where = f"{profile.name}, segment {profile.segment} of {profile.of}"
    stop = {"x": ("stop guiding", Send(furnace, StopProfile()))}
    onward = Send(furnace, NextSegment())
    if profile.waits:
        return Ask(f"{where}, waits for you. Go on?", now_s + ask_s, {"g": ("go on", onward), **stop}, None, keys)
    if profile.kind == "hold":
        text = f"{where}, is still holding. End the hold?"
        return Ask(text, now_s + ask_s, {"g": ("end the hold", onward), **stop}, None, keys)
    return Ask(f"{where}, is a ramp: over when the metal is there", now_s + ask_s, stop, None, keys)
