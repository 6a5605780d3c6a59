"""What holds on every screen, whatever the furnace does: over all scenes, all sizes, all units.

Marks of a probe that has not failed after NAMUR NE 107 (a failure is a signal that is no measurement; a probe in air
measures the air); unit conversions after the SI Brochure, 9th edition.
"""

import re
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import CallKind, CallView, FigureSource
from pourcall.contract.inputs import Command
from pourcall.contract.plan import SURROUNDINGS_C
from pourcall.contract.reading import ProbeState
from pourcall.contract.snapshot import FurnaceSnapshot, Interval, MetalView
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import Unit, from_c
from pourcall.texts import word
from pourcall.texts.catalogue import English, other_words
from pourcall.texts.saying import PLACE
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.styled import Line, Role, plain
from pourcall.tui.input.key_actions import Send
from pourcall.tui.input.key_controller import KeyController
from pourcall.tui.input.offered_keys import keys_for
from pourcall.tui.screen.model import Screen, screen_of
from pourcall.tui.screen.scene import LinkView, Scene
from pourcall.tui.screen.words import Look

NAMES = ("idle", "heating", "ready", "lifted", "broken", "guided", "dipping", "chamber_only", "coasting")
SIZES = ((80, 24), (120, 36), (160, 50))
DO = re.compile(r"(?:^|[·:,;.] )(?:cut|pour|skim|dial|set|turn|take|stir|add|lift|press|wait|mark|go|put|call)\b", re.I)


def drawn(snapshot: FurnaceSnapshot, width: int = 160, height: int = 50, **more: Any) -> Screen:
    """The screen of a snapshot, with its keys."""
    link = more.pop("link", LinkView())
    look = Look(width=width, height=height, **more)
    scene = Scene(snapshot=snapshot, link=link, look=look, keys=keys_for(snapshot, 0))
    return screen_of(scene, scale_height=height - 12)


def text_of(*regions: tuple[Line, ...]) -> str:
    return "\n".join(plain(row) for region in regions for row in region)


def small_print(screen: Screen) -> str:
    """All that stands below and beside the band and the alarms."""
    return text_of(screen.facts, (screen.how,), screen.info, screen.scale)


def everything(screen: Screen) -> str:
    return small_print(screen) + text_of((screen.header,), screen.band, screen.figure, screen.alarms)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("reason", [Reason.MOVING, Reason.OUT_OF_METAL])
def test_a_probe_that_moves_or_is_out_of_the_metal_has_not_failed(scenes: Any, name: str, reason: Reason) -> None:
    probe = scenes.probe(temp_c=122.0, state=ProbeState.LEAVING, status=Status.UNCERTAIN, reason=reason)
    for metal in (MetalView(temp_c=None), MetalView(temp_c=543.0, reason=reason, probe="melt_probe")):
        snapshot = getattr(scenes, name)(probes=(probe,), metal=metal)
        for width, height in SIZES:
            screen = drawn(snapshot, width, height)
            assert word("status", "fail") not in everything(screen)
            spans = [piece for row in (*screen.facts, screen.how) for piece in row]
            assert Role.DANGER not in {piece.role for piece in spans}
    assert word("status", "fail") in everything(drawn(scenes.broken())), "one that has failed is said to have"


def test_after_the_lift_the_probe_is_said_to_be_out(scenes: Any) -> None:
    told = f"{word('place', 'melt')} {word('status', 'out')} 310 ±4 °C"
    assert told in plain(drawn(scenes.lifted(), width=200).how)


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize("name", NAMES)
def test_no_figure_of_the_metal_is_below_its_surroundings(scenes: Any, name: str, unit: Unit) -> None:
    cold_c = -588.9  # a loss that went on for twenty minutes: -1028 degF
    cold = Interval(cold_c, cold_c - 5.0, cold_c + 5.0)
    over = {
        "ahead": scenes.ahead(coast_c=cold, model_c=cold),
        "pours": tuple(msgspec.structs.replace(pour, lip_temp_c=cold_c) for pour in scenes.lifted().pours),
        "window": msgspec.structs.replace(scenes.ready().window, lip_now_c=cold_c),
    }
    snapshot = getattr(scenes, name)(**over)
    text = everything(drawn(snapshot, unit=unit))
    found = [float(figure) for figure in re.findall(r"(?<![\w.])(-?\d+(?:\.\d+)?) (?:±\d+ )?(?:°C|°F|K)(?!/min)", text)]
    cold_shown = str(round(from_c(cold_c, unit)))
    assert cold_shown not in text
    assert all(figure >= -1.0 for figure in found), "differences and rates are never below nought here"
    assert from_c(SURROUNDINGS_C, unit) > 0.0


def test_the_same_figure_has_the_same_uncertainty_wherever_it_stands(scenes: Any) -> None:
    dip = scenes.dip(ended_mono_s=7000.0)  # ±4.2 when it was taken
    metal = MetalView(temp_c=dip.temp_c, u_c=12.4, source=FigureSource.DIP, reason=Reason.OK, how="dip 3", age_s=40.0)
    screen = drawn(scenes.heating(metal=metal, last_dip=dip, dips=(dip,)))
    assert plain(screen.figure[-1]).rstrip().endswith("±13")
    settled = word("dip_how", "settled")
    assert f"3: 487 ±13 °C {settled}" in text_of(screen.info)
    other = drawn(scenes.heating(last_dip=dip))  # the large figure is another one: the dip keeps its own
    assert f"3: 487 ±5 °C {settled}" in text_of(other.info)


@pytest.mark.parametrize("name", NAMES)
def test_every_temperature_rate_and_difference_is_in_the_readers_unit(scenes: Any, name: str) -> None:
    for unit, others in ((Unit.F, ("°C",)), (Unit.K, ("°C", "°F")), (Unit.C, ("°F",))):
        snapshot = getattr(scenes, name)()
        if snapshot.profile is not None:
            snapshot = msgspec.structs.replace(snapshot, profile=scenes.profile(dial_unit=unit))
        if snapshot.calls:
            snapshot = msgspec.structs.replace(snapshot, calls=(), instruction=scenes.waiting(""))
        text = everything(drawn(snapshot, unit=unit))
        assert not [mark for mark in others if mark in text]
        assert "degC" not in text
        assert not re.search(r"\d/min|\d a minute|degrees", text), "a rate has its unit"


@pytest.mark.parametrize("name", NAMES)
def test_what_is_to_be_done_stands_in_the_band_alone(scenes: Any, name: str) -> None:
    for kind in ("electric", "fuel"):
        for width, height in SIZES:
            text = small_print(drawn(getattr(scenes, name)(kind=kind), width, height))
            assert [row for row in text.splitlines() if DO.search(row)] == []


# -- another language -------------------------------------------------------------------------------------------------


class Other:
    """Every sentence different, every fact in its place."""

    def template(self, name: str) -> str | None:
        text = English().template(name)
        if text is None:
            return None
        out, end = "", 0
        for found in PLACE.finditer(text):
            out += re.sub(r"\w", "x", text[end : found.start()]) + found[0]
            end = found.end()
        return out + re.sub(r"\w", "x", text[end:])


@pytest.mark.parametrize("name", NAMES)
def test_no_word_decides_what_is_drawn(scenes: Any, name: str) -> None:
    lost = LinkView(state=LinkState.LOST, silent_s=9.0)
    for link in (LinkView(), lost):
        with other_words(English()):
            english = drawn(getattr(scenes, name)(), link=link)
        with other_words(Other()):
            other = drawn(getattr(scenes, name)(), link=link)
        assert other.band_role is english.band_role
        assert text_of(other.figure) == text_of(english.figure)
        assert [[piece.role for piece in row] for row in other.facts] == [
            [piece.role for piece in row] for row in english.facts
        ]
        assert len(other.alarms) == len(english.alarms)
        assert len(other.info) == len(english.info)


def commands(scenes: Any) -> list[Command]:
    """What a row of keys sends, over a melt."""
    skim = CallView(kind=CallKind.SKIM, text="", why="", raised_mono_s=0.0, repeat_s=0.0)
    keys, sent = KeyController(), []
    steps = (
        ("D", scenes.heating()),
        ("2", scenes.heating()),
        ("y", scenes.heating()),
        ("enter", scenes.ready(calls=(skim,))),
        ("enter", scenes.ready(calls=(skim,))),
        ("n", scenes.ready()),
        ("enter", scenes.ready()),
        ("p", scenes.ready()),
        ("0", scenes.ready()),
        ("l", scenes.ready()),
        ("space", scenes.lifted()),
        ("enter", scenes.lifted()),
        ("m", scenes.lifted()),
        ("o", scenes.lifted()),
    )
    for n, (key, snapshot) in enumerate(steps):
        sent += [a for a in keys.press(key, snapshot, 100.0 + 5.0 * n) if isinstance(a, Send)]
        sent += [a for a in keys.tick(102.0 + 5.0 * n, live=True) if isinstance(a, Send)]
    return [one.command for one in sent]  # type: ignore[misc]


def test_no_word_decides_what_a_key_sends(scenes: Any) -> None:
    with other_words(English()):
        english = commands(scenes)
    with other_words(Other()):
        assert commands(scenes) == english
    assert len(english) == 7
