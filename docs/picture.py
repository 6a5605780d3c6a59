"""The picture of the README: a screenshot of the running demonstration at its first pour call.

    python docs/picture.py          writes docs/dashboard.svg anew

The simulated shop runs under the ordinary daemon, the ordinary dashboard is its client; nothing is drawn by hand. What
the file must say is held by `tests/docs/`.
"""

import asyncio
import os
import re
import sys
import tempfile
from pathlib import Path
from unittest.mock import patch

from pourcall.cli.shop.demo_shop import run_demo
from pourcall.contract.events import CallKind
from pourcall.contract.paths import paths_for
from pourcall.contract.settings import Sound
from pourcall.sim.scenarios.demo import DEMOS
from pourcall.tui.app import Dashboard
from pourcall.tui.main import address_for

PICTURE = Path(__file__).resolve().parent / "dashboard.svg"
SIZE = (100, 30)
SPEED = 60.0
STEADY_S = 4.0  # real ones after the call, so that figure, band and letters have all been drawn since
GIVE_UP_S = 300.0
LABEL = (
    "The dashboard calls a pour in large letters: the metal is inside the window for the first of two deck cleats; "
    "beside the measured curve the shaded band of what is to come"
)
_TOP = 32.0  # what the library leaves above the screen for the title and the buttons of a window
_WEB_FONTS = re.compile(r"\s*@font-face \{.*?\}", re.DOTALL)
_FACE = re.compile(r"font-family: (?:Fira Code|FiraCode)[^;]*;")
_WINDOW = re.compile(r"<g transform=\"translate\(26,22\)\">.*?</g>|<text class=\"[^\"]*t-title\".*?</text>", re.DOTALL)
_ID = re.compile(r"terminal-\d+")
_REMARK = re.compile(r"<!--.*?-->", re.DOTALL)
_BACKGROUND = re.compile(r'<rect fill="#292929"[^>]*/>')


async def screenshot(home: Path) -> str:
    """The screen as SVG, at the first pour call of the demonstration. Raises TimeoutError where none comes."""
    paths = paths_for({**os.environ, "POURCALL_HOME": str(home)}, sys.platform, home)
    ready, stop = asyncio.Event(), asyncio.Event()
    shop = asyncio.create_task(run_demo(paths, name=DEMOS[0], speed=SPEED, by_hand=True, stop=stop, on_ready=ready.set))
    try:
        async with asyncio.timeout(GIVE_UP_S):
            await ready.wait()
            app = Dashboard(address_for(paths), sound=Sound(player="off"), steady_marks=True)
            async with app.run_test(size=SIZE) as pilot:
                while not any(
                    call.kind is CallKind.POUR for one in app.client.snapshots.values() for call in one.calls
                ):
                    await pilot.pause(0.1)
                await pilot.pause(STEADY_S)
                return app.export_screenshot()
    finally:
        stop.set()
        await shop


def cleaned(svg: str) -> str:
    """The screen alone: no web font, no window round it, and what it shows in words for those who cannot see it."""
    svg = _FACE.sub("font-family: DejaVu Sans Mono, Menlo, Consolas, monospace;", _WEB_FONTS.sub("", svg))
    svg = _WINDOW.sub("", _REMARK.sub("", _ID.sub("t", svg)))
    wide, high = (float(side) for side in re.findall(r'viewBox="0 0 (\S+) (\S+)"', svg)[0])
    high -= _TOP
    svg = svg.replace("translate(9, 41)", f"translate(9, {41.0 - _TOP:g})")
    svg = _BACKGROUND.sub(f'<rect fill="#12171a" width="{wide:g}" height="{high:g}"/>', svg)
    place = f'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}"'
    svg = re.sub(r"<svg [^>]*>", f'<svg role="img" aria-label="{LABEL}" {place}>', svg, count=1)
    return "\n".join(row.rstrip() for row in svg.splitlines() if row.strip()) + "\n"


def main() -> int:
    """Write the picture."""
    with tempfile.TemporaryDirectory(prefix="pourcall-picture-") as home, patch.dict(os.environ, {"TZ": "UTC"}):
        PICTURE.write_text(cleaned(asyncio.run(screenshot(Path(home)))), encoding="utf-8")
    print(f"written: {PICTURE}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
