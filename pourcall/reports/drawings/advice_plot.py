"""An advice as a drawing. One self-contained SVG: the curve with its band, the pours, the window, the limit."""

from pourcall.contract.units import Unit, format_temperature, from_c
from pourcall.reports.drawings.axes import Frame, band, bottom_ticks, levels, scale, spread
from pourcall.reports.pages.page import esc, svg, ticks
from pourcall.trials.advice import Advice, InspectedPour

WIDTH, HEIGHT = 760, 440
LEFT, RIGHT, TOP, BOTTOM = 66, 24, 62, 96
_FRAME = Frame(LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM)
_BAND, _LINE, _USABLE, _INK, _GREY = "#9fb9d7", "#1f4e79", "#e3f1e1", "#222222", "#777777"
_COLD, _HOT, _SOUND = "#2166ac", "#b2182b", "#1b7837"


def advice_svg(advice: Advice, unit: Unit = Unit.C) -> str:
    """The drawing as text. Cold faults point down, hot ones up, sound castings are round; bigger is graver."""
    curve = advice.curve
    low_c, high_c = curve[0].temp_c, curve[-1].temp_c
    first, last = from_c(low_c, unit), from_c(high_c, unit)
    across, y = scale(first, last, LEFT, WIDTH - RIGHT), scale(0.0, 1.0, _FRAME.base, _FRAME.top)

    def x(temp_c: float) -> float:
        return round(across(from_c(temp_c, unit)), 1)

    floor, top = _FRAME.base, _FRAME.top
    title = f"{advice.setup}, {advice.alloy}: {advice.pours} inspected pours"
    about = "Chance of a sound casting by temperature at the lip, 90 % band"
    if advice.invented:
        about += "; invented: a simulated furnace"
    parts = [
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        f'<text x="{LEFT}" y="24" font-size="16" font-weight="bold">{esc(title)}</text>',
        f'<text x="{LEFT}" y="44" fill="{_GREY}">{about}</text>',
    ]
    if advice.usable_min_c is not None and advice.usable_max_c is not None:
        a, b = x(advice.usable_min_c), x(advice.usable_max_c)
        parts.append(band(a, max(a + 1.0, b), top, floor, _USABLE, _FRAME))
    parts.append(spread([(x(p.temp_c), y(p.high), y(p.low)) for p in curve], _BAND, 0.5))
    parts += levels((0.0, 0.25, 0.5, 0.75, 1.0), y, _FRAME, lambda share: f"{share:.0%}")
    path = " L".join(f"{x(p.temp_c)} {y(p.sound):.1f}" for p in curve)
    parts.append(f'<path d="M{path}" fill="none" stroke="{_LINE}" stroke-width="2.5"/>')
    parts += bottom_ticks(ticks(first, last, 9.0), across, floor)
    shown = f"{format_temperature(None, unit).removeprefix('-- ')} at the lip"
    parts.append(f'<text x="{WIDTH - RIGHT}" y="{floor + 38}" text-anchor="end" fill="{_GREY}">{shown}</text>')
    if advice.allowed_max_c < high_c - 1.0:
        parts.append(_upright(x(advice.allowed_max_c), top, floor, _HOT, "limit"))
    if advice.next_c is not None:
        parts.append(_upright(x(advice.next_c), top, floor, _INK, f"next {format_temperature(advice.next_c, unit)}"))
    parts += [_pour(pour, x(pour.lip_c), floor) for pour in advice.findings]
    parts.append(_legend(floor + 62))
    return svg(WIDTH, HEIGHT, parts, title, "font-family:sans-serif;font-size:13px") + "\n"


def _upright(at: float, top: float, floor: float, colour: str, label: str) -> str:
    end = ' text-anchor="end"' if at > WIDTH - 160 else ""
    off = -5 if end else 5
    return (
        f'<path d="M{at} {top}V{floor}" stroke="{colour}" stroke-dasharray="5 4"/>'
        f'<text x="{at + off:.1f}" y="{top + 14}" fill="{colour}"{end}>{esc(label)}</text>'
    )


def _pour(pour: InspectedPour, at: float, floor: float) -> str:
    found = pour.found
    label = f"<title>{esc(pour.pour)}</title>"
    marks = []
    if found.cold:
        size = 3 + 2 * found.cold
        marks.append(_triangle(at, floor - 12, size, 1, _COLD))
    if found.hot:
        size = 3 + 2 * found.hot
        marks.append(_triangle(at, floor - 30, size, -1, _HOT))
    if not marks:
        marks.append(f'<circle cx="{at}" cy="{floor - 21}" r="5" fill="{_SOUND}" stroke="#ffffff"/>')
    return f"<g>{label}{''.join(marks)}</g>"


def _triangle(at: float, middle: float, size: float, down: int, colour: str) -> str:
    tip, base = middle + down * size, middle - down * size
    corners = f"{at},{tip} {at - size:.1f},{base} {at + size:.1f},{base}"
    return f'<polygon points="{corners}" fill="{colour}" stroke="#ffffff"/>'


def _legend(at: float) -> str:
    return (
        f'<g><circle cx="{LEFT + 6}" cy="{at - 4}" r="5" fill="{_SOUND}"/><text x="{LEFT + 18}" y="{at}">sound</text>'
        + _triangle(LEFT + 86, at - 4, 6, 1, _COLD)
        + f'<text x="{LEFT + 98}" y="{at}">cold faults</text>'
        + _triangle(LEFT + 202, at - 4, 6, -1, _HOT)
        + f'<text x="{LEFT + 214}" y="{at}">hot faults</text>'
        + f'<rect x="{LEFT + 300}" y="{at - 11}" width="14" height="14" fill="{_USABLE}" stroke="#aaaaaa"/>'
        f'<text x="{LEFT + 320}" y="{at}">usable</text></g>'
    )
