"""A guided profile on the screen: where it stands, what should be on the panel, what it said last."""

from pourcall.contract.message import Message, tell
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.snapshot import FurnaceSnapshot, ProfileView
from pourcall.contract.units import UNIT_MARK, bare_temperature, finite
from pourcall.texts import say
from pourcall.tui.drawing.styled import Line, Role, StyledText, joined, line
from pourcall.tui.screen.words import Look, label


def profile_runs(profile: ProfileView | None) -> bool:
    """A profile leads this melt."""
    return profile is not None and not profile.stopped


def profile_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """Name, segment, setpoint, time left, what should be on the panel, in one line."""
    profile = snapshot.profile
    if profile is None:
        return ()
    if profile.stopped:
        return line(label("profile"), StyledText(say(tell("screen.profile.over", profile=profile.name)), Role.DIM))
    place = tell("screen.profile.segment", profile=profile.name, number=profile.segment, of=profile.of)
    pieces = [line(f"{say(place)}: {say(_segment(profile), look.unit)}")]
    if profile.waits:
        pieces.append(line(StyledText(f"? {say(tell('screen.profile.waits'))}", Role.CHECK)))
    elif finite(profile.hold_left_s):
        pieces.append(line(StyledText(say(tell("screen.profile.left", left_s=profile.hold_left_s)), Role.STRONG)))
    elif finite(profile.setpoint_c) and bare_temperature(profile.setpoint_c, look.unit) != bare_temperature(
        profile.to_c, look.unit
    ):
        pieces.append(line(say(tell("screen.profile.now", setpoint_c=profile.setpoint_c), look.unit)))
    if profile.dial is not None:
        panel = f"{profile.dial:g} {UNIT_MARK[profile.dial_unit]}"
        pieces.append(line(f"{say(tell('screen.profile.panel'))} ", StyledText(panel, Role.STRONG)))
    return line(label("profile"), *joined(pieces, " · "))


def _segment(profile: ProfileView) -> Message:
    if profile.kind == SegmentKind.HOLD:
        return tell("screen.profile.hold", to_c=profile.to_c)
    if profile.rate_c_per_min is None:
        return tell("screen.profile.full_power", to_c=profile.to_c)
    return tell("screen.profile.ramp", to_c=profile.to_c)


def said_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """The last thing the profile said, where the instruction no longer says it."""
    profile = snapshot.profile
    if profile is None or profile.stopped or not profile.advice or profile.advice == snapshot.instruction.text:
        return ()
    return line(label("said"), say(profile.advice, look.unit))


def steps_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """All segments in a few words each; the one in work is marked."""
    profile = snapshot.profile
    if profile is None or profile.stopped or not profile.segments:
        return ()
    steps = [
        line(
            StyledText(f"> {say(words, look.unit)}", Role.STRONG)
            if n == profile.segment
            else StyledText(say(words, look.unit), Role.DIM)
        )
        for n, words in enumerate(profile.segments, start=1)
    ]
    return line(label("steps"), *joined(steps, " · "))
