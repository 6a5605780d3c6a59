"""The lines below the middle: what lies ahead, the profile, the mould that is next, dips, pours, what was found.

Where there is less space than there is to say, the lines that matter least at this moment give way; the order of those
that stay is always the same.
"""

import math

from pourcall.contract.message import tell
from pourcall.contract.plan import NoAimCause
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.texts import say
from pourcall.tui.drawing.styled import Line, Role, StyledText, joined, line, width_of
from pourcall.tui.screen.dipping import how_taken, last_dip
from pourcall.tui.screen.forecast_lines import IN_WINDOW_OR_ABOVE, ahead_lines
from pourcall.tui.screen.panels import POURABLE
from pourcall.tui.screen.profile_panel import profile_line, profile_runs, said_line, steps_line
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import Look, label, of_metal, window_words


def info_lines(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
    """At most as many lines as fit."""
    ranked = [(rank, row) for rank, row in _ranked(snapshot, look, sizes) if row]
    kept = sorted(range(len(ranked)), key=lambda n: ranked[n][0])[: sizes.info_rows]
    return tuple(ranked[n][1] for n in sorted(kept))


def _ranked(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> list[tuple[int, Line]]:
    """Every line there could be, in its order, with its rank: 0 is kept first."""
    pourable = snapshot.melt_state in IN_WINDOW_OR_ABOVE
    waits = snapshot.profile is not None and snapshot.profile.waits
    runs = profile_runs(snapshot.profile)
    first, second = (*ahead_lines(snapshot, look, most=2), (), ())[:2]
    rows = [(1, first), (5, second), (0 if waits else 2 if runs and not pourable else 4, profile_line(snapshot, look))]
    if sizes.roomy:
        rows += [(10, steps_line(snapshot, look)), (11, said_line(snapshot, look))]
    rows += [(3, _next(snapshot, look)), (0 if pourable else 7, _now(snapshot, look))]
    if sizes.roomy and snapshot.window is not None and snapshot.window.why:
        rows.append((9, line(label("why"), say(snapshot.window.why, look.unit))))
    dip, pours = last_dip(snapshot, look.unit), _pours(snapshot, look)
    if dip and sizes.roomy and snapshot.last_dip is not None and (taken := how_taken(snapshot.last_dip)):
        dip = line(*dip, StyledText(f", {taken}", Role.DIM))
    both = joined((dip, pours), "   ")
    if width_of(both) + 1 <= look.width:
        rows.append((2 if pourable else 4, both))
    else:
        rows += [(2 if pourable else 4, dip), (6, pours)]
    if snapshot.arrest:
        rows.append((8, line(label("found"), say(snapshot.arrest, look.unit))))
    return rows


def _next(snapshot: FurnaceSnapshot, look: Look) -> Line:
    window = snapshot.window
    if window is None:
        return line(label("next"), say(tell("screen.next.none"))) if snapshot.melt else ()
    if window.no_aim is not None and window.no_aim.cause is NoAimCause.TURN:
        told = tell("screen.next.own_lift", number=window.index + 1, of=window.of)
        return line(label("next"), StyledText(window.mould, Role.STRONG), say(told, look.unit))
    if window.no_aim is not None:
        told = tell(
            "screen.next.no_aim",
            number=window.index + 1,
            of=window.of,
            lowest_c=window.no_aim.needed_c,
            highest_c=window.no_aim.allowed_c,
        )
        return line(label("next"), StyledText(window.mould, Role.STRONG), say(told, look.unit))
    return line(
        label("next"),
        StyledText(window.mould, Role.STRONG),
        say(
            tell(
                "screen.next",
                number=window.index + 1,
                of=window.of,
                lip=window_words(window.lip_min_c, window.lip_max_c, look.unit),
                pot=window_words(window.tap_min_c, window.tap_max_c, look.unit),
            )
        ),
    )


def _now(snapshot: FurnaceSnapshot, look: Look) -> Line:
    window = snapshot.window
    if window is None or not of_metal(window.lip_now_c) or snapshot.melt_state not in POURABLE:
        return ()
    if window.too_cold is None and window.too_hot is None:  # in the hand nothing says how likely
        return line(label("now"), say(tell("screen.now.arrives", lip_c=window.lip_now_c), look.unit))
    odds = tell("screen.now.odds", cold_share=_share(window.too_cold), hot_share=_share(window.too_hot))
    return line(
        label("now"),
        f"{say(tell('screen.now.arrives', lip_c=window.lip_now_c), look.unit)}: ",
        StyledText(say(odds), Role.STRONG),
    )


def _share(probability: float | None) -> float:
    return math.nan if probability is None else probability


def _pours(snapshot: FurnaceSnapshot, look: Look) -> Line:
    total = len(snapshot.plan.moulds) if snapshot.plan is not None else 0
    count = snapshot.moulds_poured
    if not snapshot.pours:
        return line(label("poured"), say(tell("screen.poured", count=count, of=total))) if total else ()
    latest = snapshot.pours[-1]
    lip_c = latest.lip_temp_c if of_metal(latest.lip_temp_c) else math.nan
    told = tell("screen.poured.last", count=count, of=total, mould=latest.mould, lip_c=lip_c)
    return line(label("poured"), say(told, look.unit))
