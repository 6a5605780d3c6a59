"""What lies ahead on the screen: times with their intervals, the coast, the estimated metal, profile, dips.

Unit conversions after the SI Brochure, 9th edition (0 degC = 32 degF = 273.15 K; 1 K = 1.8 degF of difference).
"""

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pourcall.contract.events import CallKind, CallView, DipHow, MeltState
from pourcall.contract.message import Message, Told, tell
from pourcall.contract.plan import NoAim, NoAimCause, PotLimit
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import DipHint, FurnaceSnapshot, Instruction, Interval, MetalView, ToDo
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import Unit
from pourcall.texts import say, word
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.letters import letters, writable
from pourcall.tui.drawing.styled import Line, Role, plain
from pourcall.tui.input.offered_keys import keys_for
from pourcall.tui.screen.band import headline, in_large
from pourcall.tui.screen.key_line import key_lines
from pourcall.tui.screen.model import Screen, screen_of
from pourcall.tui.screen.panels import melt_word
from pourcall.tui.screen.scene import LinkView, Scene, sizes_for
from pourcall.tui.screen.words import Look, about
from tests.told import said, tells

ROOMY = {"width": 200, "height": 60}  # where no words are cut off, however long
LOST = LinkView(state=LinkState.LOST, silent_s=15.0)


def drawn(snapshot: FurnaceSnapshot, **over: Any) -> Screen:
    """The screen of a snapshot, with its keys."""
    link = over.pop("link", LinkView())
    scene = Scene(snapshot=snapshot, link=link, look=Look(**over), keys=keys_for(snapshot, 0))
    return screen_of(scene, scale_height=over.get("height", 24) - 12)


def text_of(*regions: tuple[Line, ...]) -> str:
    """Regions as plain text."""
    return "\n".join(plain(row) for region in regions for row in region)


def all_text(screen: Screen) -> str:
    """Every region, as plain text."""
    return text_of(
        (screen.header,),
        screen.band,
        screen.figure,
        screen.facts,
        (screen.how,),
        screen.scale,
        screen.info,
        screen.alarms,
        screen.message,
        screen.keys,
    )


def everything(scenes: Any, **over: Any) -> FurnaceSnapshot:
    """All at once: alarms, a dip while the profile waits, forecast, an arrest, fume, a pour behind, no recording."""
    snapshot: FurnaceSnapshot = scenes.dipping(
        alarms=scenes.broken().alarms,
        pours=scenes.lifted().pours,
        flags={"fume": 2},
        store_problem="store_full",
        simulated=True,
    )
    return msgspec.structs.replace(snapshot, **over)


def between(mid: str, low: str, high: str) -> Message:
    """A time with both ends of its interval."""
    return tell("screen.about.between", mid=mid, low=low, high=high)


# -- times ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("span", "told"),
    [
        ((720.0, 610.0, 880.0), between("12 min", "10", "15")),
        ((42.0, 30.4, 54.2), between("42 s", "30", "55")),
        ((6300.0, 5400.0, 7800.0), between("1 h 45 min", "90 min", "2 h 10 min")),
        ((720.0, None, None), tell("screen.about.alone", mid="12 min")),
        ((720.0, 610.0, None), tell("screen.about.or_more", mid="12 min", low="10")),
        ((720.0, None, 880.0), tell("screen.about.at_most", mid="12 min", high="15")),
        ((-5.0, -9.0, 3.0), between("0 s", "0", "3")),
        ((float("nan"), 1.0, 2.0), tell("screen.about.alone", mid="--")),
    ],
)
def test_a_time_stands_with_its_interval(span: tuple[Any, Any, Any], told: Message) -> None:
    assert about(*span) == told


@pytest.mark.wording
def test_a_time_is_read_with_its_interval_behind_it() -> None:
    assert say(about(720.0, 610.0, 880.0)) == "12 min (10 to 15)"
    assert say(about(720.0, 610.0)) == "12 min (10 or more)"
    assert say(about(720.0, None, 880.0)) == "12 min (at most 15)"
    assert say(about(720.0)) == "12 min"


@given(st.floats(0.0, 5900.0), st.floats(0.0, 600.0), st.floats(0.0, 600.0))
def test_rounding_never_makes_an_interval_narrower(mid_s: float, below_s: float, above_s: float) -> None:
    low_s, high_s = max(0.0, mid_s - below_s), mid_s + above_s
    facts = about(mid_s, low_s, high_s).facts
    unit_s = 60.0 if str(facts["mid"]).endswith(" min") else 1.0
    assert float(str(facts["low"])) * unit_s <= low_s
    assert float(str(facts["high"])) * unit_s >= high_s


# -- forecast --------------------------------------------------------------------------------------------------------


@pytest.mark.wording
def test_ready_cut_and_coast_stand_in_one_line_at_eighty_columns(scenes: Any) -> None:
    info = text_of(drawn(scenes.guided()).info)
    assert "ahead ready in 12 min (10 to 15) · power off in 8 min · ◇ peak 503 °C ±6 if off" in info
    wide = text_of(drawn(scenes.guided(), width=120, height=36).info)
    assert "ready in 12 min (10 to 15) · power off in 8 min · ◇ peak 503 °C ±6 if power off" in wide


def test_time_that_has_passed_since_it_was_worked_out_is_taken_off(scenes: Any) -> None:
    info = text_of(drawn(scenes.guided(mono_s=7040.0 + 120.0), **ROOMY).info)
    ready = said("screen.ahead.ready", about=between("10 min", "8", "13"))
    assert f"{ready} · {said('screen.ahead.off_due', heat_off='power', left_s=360.0)}" in info


def test_where_no_time_can_be_said_the_reason_is(scenes: Any) -> None:
    ahead = scenes.ahead(ready_s=None, why="at this setting it does not get there", cut_in_s=None)
    info = text_of(drawn(scenes.guided(ahead=ahead), **ROOMY).info)
    assert f"{said('screen.ahead.no_time')} at this setting it does not get there" in info
    assert not tells(info, "screen.ahead.ready")
    assert not tells(info, "screen.ahead.off_due", heat_off="power")


@pytest.mark.parametrize(
    ("kind", "cut_in_s", "told"),
    [
        ("electric", 480.0, tell("screen.ahead.off_due", heat_off="power", left_s=480.0)),
        ("electric", 0.0, tell("screen.ahead.off_due_now", heat_off="power")),
        ("fuel", 480.0, tell("screen.ahead.off_due", heat_off="burner", left_s=480.0)),
        ("fuel", 0.0, tell("screen.ahead.off_due_now", heat_off="burner")),
    ],
)
def test_the_time_to_cut_is_said_of_what_is_to_be_cut(scenes: Any, kind: str, cut_in_s: float, told: Message) -> None:
    snapshot = scenes.guided(kind=kind, ahead=scenes.ahead(cut_in_s=cut_in_s))
    assert say(told) in text_of(drawn(snapshot, **ROOMY).info)


def test_once_the_cut_is_called_no_other_time_for_it_is_said(scenes: Any) -> None:
    call = CallView(kind=CallKind.CUT_POWER, text="Cut the power: now", why="", raised_mono_s=0.0, repeat_s=5.0)
    info = text_of(drawn(scenes.guided(calls=(call,)), **ROOMY).info)
    assert not tells(info, "screen.ahead.off_due", heat_off="power")
    assert f"◇ {said('screen.ahead.peak_if_off', heat_off='power', peak_c=503.0, doubt='±6')}" in info


def test_the_coast_is_marked_on_the_scale_with_its_figure(scenes: Any) -> None:
    rows = [plain(row) for row in drawn(scenes.guided()).scale]
    coast, metal = (next(n for n, row in enumerate(rows) if tip in row) for tip in ("503 ◇", "488 ►"))
    assert coast < metal
    close = scenes.guided(ahead=scenes.ahead(coast_c=Interval(488.4)))
    rows = [plain(row) for row in drawn(close).scale]
    assert any("488 ◇" in row for row in rows)
    assert any("488 ►" in row for row in rows)


def test_with_the_power_off_it_says_how_long_the_window_lasts(scenes: Any) -> None:
    info = text_of(drawn(scenes.coasting(), **ROOMY).info)
    peak = said("screen.ahead.peak_in", peak_c=547.0, doubt="±3", left_s=93.0)
    assert f"◇ {peak} · {said('screen.ahead.lasts', about=between('10 min', '7', '13'))}" in info
    assert not tells(info, "screen.ahead.off_due", heat_off="power")
    for in_s in (0.0, None, float("nan")):
        past = scenes.coasting(ahead=msgspec.structs.replace(scenes.coasting().ahead, coast_in_s=in_s))
        assert not tells(text_of(drawn(past, **ROOMY).info), "screen.ahead.peak_in")
        assert "◇" not in text_of(drawn(past).scale)


def test_after_the_lift_nothing_is_foreseen_any_more(scenes: Any) -> None:
    text = all_text(drawn(scenes.lifted(ahead=scenes.ahead()), **ROOMY))
    assert said("screen.label.ahead") not in text
    assert "◇" not in text
    assert not [name for name in ("ready", "peak_in", "peak_if_off") if tells(text, f"screen.ahead.{name}")]


# -- the estimated metal -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "figure", "low", "high"),
    [(Unit.C, "505 °C", "490", "520 °C"), (Unit.F, "941 °F", "914", "968 °F"), (Unit.K, "778 K", "763", "793 K")],
)
def test_an_estimated_figure_is_small_and_says_that_it_is_one(
    scenes: Any, unit: Unit, figure: str, low: str, high: str
) -> None:
    assert all(big("  --")[n] in plain(row) for n, row in enumerate(drawn(scenes.chamber_only(), unit=unit).figure))
    screen = drawn(scenes.chamber_only(), unit=unit, **ROOMY)
    assert plain(screen.facts[0]) == f"-- {said('screen.no_reading')}"
    assert figure in plain(screen.facts[1])
    assert plain(screen.facts[1]) == f"≈ {said('screen.estimate', unit, metal_c=505.0)}"
    assert plain(screen.facts[2]) == f"  {said('screen.span', low=low, high=high)}"
    assert f"{figure.split()[0]} ≈" in text_of(screen.scale)
    assert "►" not in text_of(screen.scale)
    assert all(span.role is not Role.STRONG for span in screen.facts[1])


def test_a_figure_hardly_known_at_all_is_not_shown(scenes: Any) -> None:
    snapshot = scenes.chamber_only(ahead=scenes.ahead(model_c=Interval(252.0, -89.0, 593.0)))
    text = all_text(drawn(snapshot, **ROOMY))
    assert not tells(text, "screen.estimate")
    assert "≈" not in text
    assert f"-- {said('screen.no_reading')}" in text


def test_a_highest_temperature_below_the_measured_one_is_no_forecast(scenes: Any) -> None:
    snapshot = scenes.coasting(ahead=msgspec.structs.replace(scenes.coasting().ahead, coast_c=Interval(530.0)))
    assert "◇" not in all_text(drawn(snapshot))


def test_an_interval_that_is_not_known_is_said_to_be_so(scenes: Any) -> None:
    snapshot = scenes.chamber_only(ahead=scenes.ahead(model_c=Interval(505.0)))
    assert plain(drawn(snapshot, **ROOMY).facts[2]) == f"  {said('screen.estimate.interval_unknown')}"


def test_what_is_measured_needs_no_estimate(scenes: Any) -> None:
    for snapshot in (scenes.guided(), scenes.dipping()):  # in a dip it is being measured
        text = all_text(drawn(snapshot, **ROOMY))
        assert not tells(text, "screen.estimate")
        assert not tells(text, "screen.estimate.not_measured")
        assert "≈" not in text


def test_a_broken_probe_keeps_its_words_and_the_estimated_figure_goes_below(scenes: Any) -> None:
    probe = scenes.probe(temp_c=None, u_c=None, status=Status.BAD, reason=Reason.SENSOR_OPEN)
    snapshot = scenes.chamber_only(probes=(probe, scenes.chamber()))
    screen = drawn(snapshot, **ROOMY)
    assert f"!! {word('status', 'fail')}" in plain(screen.facts[0])
    span = said("screen.span", low="490", high="520 °C")
    assert said("screen.estimate.not_measured", metal_c=505.0, between=span) in text_of(screen.info)


# -- the guided profile -----------------------------------------------------------------------------------------------


def test_the_profile_tells_its_place_its_setpoint_and_what_stands_on_the_panel(scenes: Any) -> None:
    info = text_of(drawn(scenes.guided(), **ROOMY).info)
    place = said("screen.profile.segment", profile="za27_standard", number=2, of=3)
    ramp, now = said("screen.profile.ramp", to_c=544.0), said("screen.profile.now", setpoint_c=512.0)
    assert f"{said('screen.label.profile')} {place}: {ramp} · {now} · {said('screen.profile.panel')} 977 °F" in info


def test_the_panel_keeps_its_own_unit_whatever_the_reader_chose(scenes: Any) -> None:
    for unit in Unit:
        panel = f"{said('screen.profile.panel')} 977 °F"
        assert panel in text_of(drawn(scenes.guided(), unit=unit, **ROOMY).info)
    # SI Brochure: 544 degC = 1011 degF
    ramp = said("screen.profile.ramp", Unit.F, to_c=544.0)
    assert "1011 °F" in ramp
    assert ramp in text_of(drawn(scenes.guided(), unit=Unit.F, **ROOMY).info)


def test_a_hold_counts_down_and_one_that_waits_names_its_key(scenes: Any) -> None:
    held = scenes.holding(waits=False, hold_left_s=372.0)
    hold, left = said("screen.profile.hold", to_c=544.0), said("screen.profile.left", left_s=372.0)
    assert f"{hold} · {left}" in text_of(drawn(scenes.guided(profile=held), **ROOMY).info)
    screen = drawn(scenes.guided(profile=scenes.holding()), **ROOMY)
    assert f"? {said('screen.profile.waits')}" in text_of(screen.info)
    assert f" g  {said('key.go_on')}" in text_of(screen.keys)


def test_a_profile_that_is_over_asks_for_nothing(scenes: Any) -> None:
    info = text_of(drawn(scenes.guided(profile=scenes.profile(stopped=True)), **ROOMY).info)
    assert said("screen.profile.over", profile="za27_standard") in info
    assert said("screen.profile.panel") not in info


def test_with_room_all_segments_and_the_last_advice_are_told(scenes: Any) -> None:
    snapshot = scenes.guided()
    info = text_of(drawn(snapshot, width=240, height=60, unit=Unit.F).info)
    first, second, third = (say(segment, Unit.F) for segment in snapshot.profile.segments)
    assert f"{said('screen.label.steps')} {first} · > {second} · {third}" in info
    assert "degC" not in info


# -- dips -------------------------------------------------------------------------------------------------------------


def test_during_a_dip_the_large_figure_is_the_time_to_hold_still(scenes: Any) -> None:
    screen = drawn(scenes.dipping())
    assert all(big("   6")[n] in plain(row) for n, row in enumerate(screen.figure))
    assert plain(screen.figure[-1]).endswith(" s")
    facts = [plain(row) for row in drawn(scenes.dipping(), **ROOMY).facts]
    hint = word("headline", "dip_hold").lower()
    fit = said("screen.dip.fit", error_difference_c=1.2)
    assert facts[:4] == [
        f"{said('screen.band.dip')}  {hint}",
        said("screen.dip.heading", to_c=531.2),
        f"{fit}, {said('screen.dip.good')}",
        f"{said('screen.label.in')} 6 s",
    ]
    assert headline(scenes.dipping()) == tell("word.headline.dip_hold")


def test_before_anything_can_be_said_there_is_a_dash_and_no_figure(scenes: Any) -> None:
    dip = scenes.dip_now(hold_s=None, temp_c=None, fit_error_c=None, good=False)
    screen = drawn(scenes.dipping(dip_now=dip))
    assert all(big("  --")[n] in plain(row) for n, row in enumerate(screen.figure))
    facts = [plain(row) for row in drawn(scenes.dipping(dip_now=dip), **ROOMY).facts]
    assert facts[1:3] == [said("screen.dip.too_early"), said("screen.dip.no_fit")]


def test_when_it_is_time_out_is_said_large_and_as_something_to_do(scenes: Any) -> None:
    text = tell("dip.hint.out", temp_c=564.2, known_u_c=0.4)
    snapshot = scenes.dipping(dip_now=scenes.dip_now(hold_s=0.0, hint=DipHint.OUT, text=text))
    screen = drawn(snapshot)
    assert screen.band_role is Role.DO
    assert headline(snapshot) == tell("word.headline.dip_out")
    for words, rows in ((in_large(snapshot), screen.band), (said("screen.dip.out"), screen.figure)):
        if writable(words):  # else the seconds stand there, and the instruction in full
            shapes = letters(words, len(rows) if rows is screen.band else 5)
            assert all(shape in text_of(rows) for shape in shapes)
        elif rows is screen.figure:
            assert all(big("   0")[n] in plain(row) for n, row in enumerate(rows))


@pytest.mark.parametrize(
    ("hint", "text", "do"),
    [
        (DipHint.HOLD, tell("dip.hint.middle"), False),
        (DipHint.DEEPER, tell("dip.hint.deeper", wanted_mm=40.0), True),
        (DipHint.HOLD_ON, tell("dip.hint.hold_on"), False),
        (DipHint.OUT, tell("dip.hint.out_unsettled"), True),
    ],
)
def test_what_a_dip_wants_is_told_by_its_ground_and_beside_the_time(
    scenes: Any, hint: DipHint, text: Told, do: bool
) -> None:
    screen = drawn(scenes.dipping(dip_now=scenes.dip_now(hint=hint, text=text)), **ROOMY)
    assert plain(screen.facts[0]) == f"{said('screen.band.dip')}  {word('headline', f'dip_{hint.value}').lower()}"
    assert (screen.band_role is Role.DO) is do


def test_a_fit_error_in_a_text_is_never_rounded_to_nought(scenes: Any) -> None:
    dip = scenes.dip_now(hint=DipHint.OUT, text=tell("dip.hint.out", temp_c=564.2, known_u_c=0.4))
    words = say(dip.text)
    assert "0.4 °C" in words
    assert words in " ".join(text_of(drawn(scenes.dipping(dip_now=dip), width=240, height=36).band).split())


def test_what_is_to_be_dialled_stands_in_the_panels_unit_beside_the_metal_in_the_readers(scenes: Any) -> None:
    call = CallView(
        kind=CallKind.STEP,
        text="Metal to <544.0 degC>",
        why="segment 2 of 3",
        raised_mono_s=0.0,
        repeat_s=0.0,
    )
    snapshot = scenes.guided(calls=(call,), instruction=scenes.called(call, dial=977.0))
    band = drawn(snapshot, width=120, unit=Unit.K).band
    assert headline(snapshot) == tell("screen.headline.dial", dial=977.0, panel_unit="degF")
    assert "Metal to 817 K" in text_of(band)  # 544 degC = 817.15 K


def test_a_figure_not_good_enough_says_so(scenes: Any) -> None:
    dip = scenes.dip_now(good=False, fit_error_c=6.0)
    screen = drawn(scenes.dipping(dip_now=dip), **ROOMY)
    assert said("screen.dip.not_good") in text_of(screen.band)
    assert plain(screen.facts[2]) == said("screen.dip.fit", error_difference_c=6.0)


def test_a_fit_error_is_a_difference_in_the_readers_unit(scenes: Any) -> None:
    heading, fit = (plain(row) for row in drawn(scenes.dipping(), unit=Unit.F, **ROOMY).facts[1:3])
    # 531.2 degC = 988 degF; an error of 1.2 K = 2.2 degF
    assert "988 °F" in heading
    assert heading == said("screen.dip.heading", Unit.F, to_c=531.2)
    assert "2.2 °F" in fit
    assert fit.startswith(said("screen.dip.fit", Unit.F, error_difference_c=1.2))


def test_three_good_dips_in_a_row_have_their_spread(scenes: Any) -> None:
    age, spread = said("screen.dip.age", age_s=40.0), said("screen.dip.spread", within="2 °C")
    assert f"{age}, {spread}" in text_of(drawn(scenes.guided(), **ROOMY).info)
    assert not tells(text_of(drawn(scenes.guided(dip_spread_c=None), **ROOMY).info), "screen.dip.spread")


def test_a_dip_that_is_worth_nothing_says_why(scenes: Any) -> None:
    dip = scenes.dip(temp_c=None, u_c=None, how=DipHow.NOT_USABLE, why="too short: hold it in for 8 s")
    info = text_of(drawn(scenes.guided(last_dip=dip), **ROOMY).info)
    assert f"3: ? {word('dip_how', 'not usable')}: too short: hold it in for 8 s" in info


def test_cutting_the_power_is_more_pressing_than_a_dip(scenes: Any) -> None:
    call = CallView(kind=CallKind.CUT_POWER, text="Cut the power: now", why="", raised_mono_s=0.0, repeat_s=5.0)
    snapshot = scenes.dipping(calls=(call,), instruction=scenes.called(call))
    screen = drawn(snapshot)
    assert headline(snapshot) == tell("word.headline.cut")
    assert all(big("   6")[n] in plain(row) for n, row in enumerate(screen.figure))  # the hand still knows


def test_what_an_arrest_said_stands_where_there_is_room(scenes: Any) -> None:
    screen = drawn(scenes.guided(), width=120, height=36, unit=Unit.F)
    assert f"{said('screen.label.found')} Liquidus seen at 900 °F: the probe reads 4 °F low" in text_of(screen.info)


# -- the whole --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize(("width", "height"), [(80, 24), (80, 30), (104, 32), (120, 36), (160, 50)])
def test_everything_at_once_fits_its_places(scenes: Any, width: int, height: int, unit: Unit) -> None:
    sizes = sizes_for(Look(width=width, height=height))
    for over in ({}, {"dip_now": None}, {"dip_now": None, "metal": MetalView(temp_c=1203.4, u_c=12.0)}):
        screen = drawn(everything(scenes, **over), width=width, height=height, unit=unit)
        for rows, most, high in (
            (screen.band, width, sizes.band_rows),
            (screen.info, width, sizes.info_rows),
            (screen.alarms, width, sizes.alarm_rows),
            (screen.keys, width, sizes.key_rows),
            (screen.figure, sizes.figure_width, sizes.digit_rows),
            (screen.facts, sizes.facts_width, 5),
            (screen.scale, sizes.scale_width, height - 12),
            ((screen.how,), width - sizes.scale_width, 1),
        ):
            assert len(rows) <= high
            assert all(len(plain(row)) <= most for row in rows), [plain(row) for row in rows]
        assert len(screen.band) == sizes.band_rows
        assert not {"nan", "None", "degC"} & set(all_text(screen).replace(",", " ").split())
        trace_rows = height - 1 - sizes.band_rows - sizes.digit_rows - 1 - sizes.info_rows - 3 - 1 - sizes.key_rows
        assert trace_rows - (3 if sizes.roomy else 0) >= 5  # fewer are not drawn


def test_what_is_no_number_is_nowhere_shown_as_one(scenes: Any) -> None:
    nan = float("nan")
    hollow = scenes.ahead(
        ready_s=Interval(nan, nan, nan),
        coast_c=Interval(nan),
        coast_in_s=nan,
        cut_in_s=nan,
        model_c=Interval(nan),
        cooling_s=Interval(nan),
        band=((60.0, nan, nan),),
    )
    profile = scenes.profile(setpoint_c=nan, hold_left_s=nan, to_c=nan)
    dip = scenes.dip_now(hold_s=nan, temp_c=nan, fit_error_c=nan, good=False)
    for snapshot in (
        scenes.guided(ahead=hollow, profile=profile, dip_spread_c=nan),
        scenes.coasting(ahead=msgspec.structs.replace(hollow, power_off=True)),
        scenes.dipping(ahead=hollow, profile=profile, dip_now=dip),
        scenes.chamber_only(ahead=hollow),
    ):
        assert "nan" not in all_text(drawn(snapshot, width=160, height=50)).lower()


def test_when_the_link_is_lost_nothing_foreseen_stays(scenes: Any) -> None:
    for name in ("guided", "dipping", "chamber_only", "coasting"):
        text = all_text(drawn(getattr(scenes, name)(), link=LOST, **ROOMY))
        gone = ["≈", "◇", "za27_standard", said("screen.profile.panel"), said("screen.label.steps")]
        gone += [word("headline", f"dip_{hint.value}").lower() for hint in DipHint]
        for words in gone:
            assert words not in text, (name, words)
        assert not tells(text, "screen.ahead.off_due", heat_off="power"), name
        for told in ("ready", "off_due_now", "peak_in", "peak_if_off", "lasts"):
            assert not tells(text, f"screen.ahead.{told}"), (name, told)
        for told in ("screen.estimate", "screen.estimate.not_measured", "screen.dip.heading"):
            assert not tells(text, told), (name, told)
        for figure in ("503", "505", "547", "531", "512", "977"):
            assert figure not in text, (name, figure)


def test_when_the_link_is_lost_what_is_on_record_stays_and_ages(scenes: Any) -> None:
    text = all_text(drawn(scenes.guided(), link=LOST, **ROOMY))
    age, spread = said("screen.dip.age", age_s=55.0), said("screen.dip.spread", within="2 °C")
    assert f"3: 487 ±5 °C {word('dip_how', 'settled')}, {age}, {spread}" in text
    later = all_text(drawn(scenes.guided(), link=msgspec.structs.replace(LOST, silent_s=90.0), **ROOMY))
    assert tells(later, "screen.dip.too_old")


def test_nothing_of_the_forecast_is_in_the_colours_of_alarms(scenes: Any) -> None:
    for name in ("guided", "chamber_only", "coasting", "dipping"):
        screen = drawn(getattr(scenes, name)(), width=160, height=50)
        spans = [span for row in (*screen.info, *screen.facts, *screen.figure) for span in row]
        assert not {Role.DANGER, Role.WARN} & {span.role for span in spans}


@pytest.mark.wording
def test_the_keys_that_mean_something_now_fit_in_one_line_and_help_is_always_among_them(scenes: Any) -> None:
    for snapshot in (scenes.idle(), scenes.guided(), scenes.ready(), everything(scenes), scenes.broken()):
        (row,) = drawn(snapshot).keys
        assert " ?  help" in plain(row)
        assert "space" in plain(row) or not snapshot.melt
    assert " n  not now" in text_of(drawn(scenes.ready()).keys)
    assert " a  acknowledge" in text_of(drawn(scenes.broken()).keys)
    assert " m  start melt" in text_of(drawn(scenes.idle()).keys)
    assert len(key_lines(keys_for(scenes.ready(), 1), 60)) > 1


def test_dip_and_place_do_not_hide_that_the_metal_is_ready(scenes: Any) -> None:
    probe = scenes.probe(place=Place.DIP)
    text = all_text(drawn(scenes.coasting(probes=(probe,), melt_state=MeltState.READY), **ROOMY))
    assert word("melt_state", "ready") in text
    assert tells(text, "screen.now.arrives", lip_c=529.0)


def test_no_coast_is_said_without_how_well_it_is_known(scenes: Any) -> None:
    wide = scenes.guided(ahead=scenes.ahead(coast_c=Interval(503.0, 495.0, 512.0)))
    unknown = scenes.guided(ahead=scenes.ahead(coast_c=Interval(503.0)))
    for snapshot, doubt in ((wide, "±9"), (unknown, said("screen.estimate.interval_unknown"))):
        peak = said("screen.ahead.peak_if_off", heat_off="power", peak_c=503.0, doubt=doubt)
        assert f"◇ {peak}" in text_of(drawn(snapshot, **ROOMY).info)


# -- state and instruction, side by side


def test_what_is_held_back_is_not_called_ready_beside_it(scenes: Any) -> None:
    told = Instruction(todo=ToDo.HOLD, text=tell("instruction.held", held=tell("call.pour.power_first")))
    held = scenes.ready(instruction=told, calls=())
    assert melt_word(held) == said("screen.melt.in_window")
    assert headline(held) == tell("word.headline.hold")
    assert melt_word(scenes.ready()) == word("melt_state", MeltState.READY)


def test_where_no_temperature_serves_the_mould_the_state_does_not_ask_for_more_heat(scenes: Any) -> None:
    cold = scenes.ready(melt_state=MeltState.LIQUID, calls=())
    assert melt_word(cold) == word("melt_state", MeltState.LIQUID)
    none = NoAim(
        mould="cleat 1",
        cause=NoAimCause.POT_LIMIT,
        limit=PotLimit(limit_c=598.0, whose="alloy", why="sheet"),
        lip_min_c=600.0,
        lip_max_c=640.0,
        least_c=600.0,
        loss_c=15.0,
    )
    unserved = msgspec.structs.replace(cold, window=msgspec.structs.replace(cold.window, no_aim=none))
    assert melt_word(unserved) == said("screen.melt.liquid")
