"""The lines below the middle: what lies ahead, the profile, the mould that is next, dips, pours, what was found.

Where there is less room than there is to say, the lines that matter least at this moment give way; the order of those
that stay is always the same.
"""

from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.texts import say
from pourcall.tui.drawing.spans import Line, Role, Span, joined, line, width_of
from pourcall.tui.screen.dipping import how_taken, last_dip
from pourcall.tui.screen.forecast_lines import IN_WINDOW_OR_ABOVE, ahead_lines
from pourcall.tui.screen.panels import POURABLE
from pourcall.tui.screen.profile_panel import guide_line, is_guiding, said_line, steps_line
from pourcall.tui.screen.scene import Sizes
from pourcall.tui.screen.words import Look, percent, span_of, with_unit


def info_lines(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> tuple[Line, ...]:
    """At most as many lines as there is room for."""
    ranked = [(rank, row) for rank, row in _ranked(snapshot, look, sizes) if row]
    kept = sorted(range(len(ranked)), key=lambda n: ranked[n][0])[: sizes.info_rows]
    return tuple(ranked[n][1] for n in sorted(kept))


def _ranked(snapshot: FurnaceSnapshot, look: Look, sizes: Sizes) -> list[tuple[int, Line]]:
    """Every line there could be, in its order, with its rank: 0 is kept first."""
    pourable = snapshot.melt_state in IN_WINDOW_OR_ABOVE
    waits = snapshot.profile is not None and snapshot.profile.waits
    guides = is_guiding(snapshot.profile)
    first, second = (*ahead_lines(snapshot, look, most=2), (), ())[:2]
    rows = [(1, first), (5, second), (0 if waits else 2 if guides and not pourable else 4, guide_line(snapshot, look))]
    if sizes.roomy:
        rows += [(10, steps_line(snapshot, look)), (11, said_line(snapshot, look))]
    rows += [
        (3, _next(snapshot, look)),
        (0 if pourable else 7, _now(snapshot, look)),
        (
            9,
            line(Span("why   ", Role.DIM), say(snapshot.window.why, look.unit))
            if sizes.roomy and snapshot.window
            else (),
        ),
    ]
    dip, pours = last_dip(snapshot, look.unit), _pours(snapshot, look)
    if dip and sizes.roomy and snapshot.last_dip is not None and (taken := how_taken(snapshot.last_dip)):
        dip = line(*dip, Span(f", {taken}", Role.DIM))
    both = joined((dip, pours), "   ")
    if width_of(both) + 1 <= look.width:
        rows.append((2 if pourable else 4, both))
    else:
        rows += [(2 if pourable else 4, dip), (6, pours)]
    rows.append((8, line(Span("found ", Role.DIM), say(snapshot.arrest, look.unit)) if snapshot.arrest else ()))
    return rows


def _next(snapshot: FurnaceSnapshot, look: Look) -> Line:
    window = snapshot.window
    if window is None:
        return line(Span("next  ", Role.DIM), "no mould left in the list") if snapshot.melt else ()
    return line(
        Span("next  ", Role.DIM),
        Span(f"{window.mould}", Role.STRONG),
        f" ({window.index + 1} of {window.of})",
        f": at the lip {span_of(window.lip_min_c, window.lip_max_c, look.unit)}",
        f", in the pot {span_of(window.tap_min_c, window.tap_max_c, look.unit)}",
    )


def _now(snapshot: FurnaceSnapshot, look: Look) -> Line:
    window = snapshot.window
    if window is None or window.lip_now_c is None or snapshot.melt_state not in POURABLE:
        return ()
    return line(
        Span("now   ", Role.DIM),
        f"arrives at {with_unit(window.lip_now_c, look.unit)}: ",
        Span(f"too cold {percent(window.too_cold)}, too hot {percent(window.too_hot)}", Role.STRONG),
    )


def _pours(snapshot: FurnaceSnapshot, look: Look) -> Line:
    total = len(snapshot.plan.moulds) if snapshot.plan is not None else 0
    if not snapshot.pours:
        return line(Span("poured ", Role.DIM), f"0 of {total}") if total else ()
    latest = snapshot.pours[-1]
    lip = f" at the lip {with_unit(latest.lip_temp_c, look.unit)}"
    return line(Span("poured ", Role.DIM), f"{len(snapshot.pours)} of {total}, last {latest.mould}{lip}")
