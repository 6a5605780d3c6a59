"""A guided profile on the screen: where it stands, what should be on the panel, what it said last."""

from pourcall.contract.snapshot import FurnaceSnapshot, ProfileView
from pourcall.texts import say
from pourcall.tui.drawing.spans import Line, Role, Span, joined, line
from pourcall.tui.screen.words import UNIT_MARK, Look, duration, figure, finite, with_unit


def is_guiding(profile: ProfileView | None) -> bool:
    """A profile runs."""
    return profile is not None and not profile.stopped


def guide_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """Name, segment, setpoint, time left, what should be on the panel, in one line."""
    profile = snapshot.profile
    if profile is None:
        return ()
    label = Span("guide ", Role.DIM)
    if profile.stopped:
        return line(label, Span(f"{profile.name}: over or stopped. g begins anew", Role.DIM))
    pieces = [line(Span(f"{profile.name} {profile.segment} of {profile.of}"), ": ", *_segment(profile, look))]
    if profile.waits:
        pieces.append(line(Span("? waits for you: g", Role.CHECK)))
    elif finite(profile.hold_left_s):
        pieces.append(line(Span(f"{duration(profile.hold_left_s)} left", Role.STRONG)))
    elif finite(profile.setpoint_c) and figure(profile.setpoint_c, look.unit) != figure(profile.to_c, look.unit):
        pieces.append(line(f"now {with_unit(profile.setpoint_c, look.unit)}"))
    if profile.dial is not None:
        pieces.append(line(Span("panel "), Span(f"{profile.dial:g} {UNIT_MARK[profile.dial_unit]}", Role.STRONG)))
    return line(label, *joined(pieces, " · "))


def _segment(profile: ProfileView, look: Look) -> Line:
    to = with_unit(profile.to_c, look.unit)
    if profile.kind == "hold":
        return line(f"hold {to}")
    return line(f"ramp to {to}{' at full power' if profile.rate_c_per_min is None else ''}")


def said_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """The last thing the profile said, where the instruction no longer says it."""
    profile = snapshot.profile
    if profile is None or profile.stopped or not profile.advice or profile.advice == snapshot.instruction.text:
        return ()
    return line(Span("said  ", Role.DIM), say(profile.advice, look.unit))


def steps_line(snapshot: FurnaceSnapshot, look: Look) -> Line:
    """All segments in a few words each; the one in work is marked."""
    profile = snapshot.profile
    if profile is None or profile.stopped or not profile.segments:
        return ()
    steps = [
        line(
            Span(f"> {say(words, look.unit)}", Role.STRONG)
            if n == profile.segment
            else Span(say(words, look.unit), Role.DIM)
        )
        for n, words in enumerate(profile.segments, start=1)
    ]
    return line(Span("steps ", Role.DIM), *joined(steps, " · "))
