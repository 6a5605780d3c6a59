"""What the screen says, tested without a screen.

Sources: priorities, words and marks after IEC 60073 and NAMUR NE 107 as written down in the project's alarm design;
flash for unacknowledged and steady for acknowledged after IMO MSC.302(87) 7.3; unit conversions after the SI
Brochure, 9th edition (0 degC = 32 degF = 273.15 K).
"""

import itertools
import math
import re
from typing import Any

import msgspec
import pytest

from pourcall.contract.events import AlarmState, MeltState, Priority
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import tell
from pourcall.contract.plan import NoAim, NoAimCause, PotLimit
from pourcall.contract.reading import ProbeState
from pourcall.contract.snapshot import BoardState, BoardView, Instruction, MetalView, ToDo
from pourcall.contract.status import STATUS_OF, Reason, Status
from pourcall.contract.units import Unit, format_temperature
from pourcall.texts import say, word
from pourcall.tui.client import LinkState
from pourcall.tui.drawing.digits import big
from pourcall.tui.drawing.letters import letters
from pourcall.tui.drawing.styled import Line, Role, StyledText, fit, line, plain, spread, width_of, wrap, wrap_spans
from pourcall.tui.screen.band import in_large
from pourcall.tui.screen.model import Screen, screen_of
from pourcall.tui.screen.scene import LinkView, Scene, sizes_for
from pourcall.tui.screen.words import Look, plus_minus, rate_words, window_words, with_uncertainty
from tests.told import said, tells

ROOMY = {"width": 200, "height": 60}  # where no words are cut off, however long
SIZES = [(80, 24), (100, 30), (120, 36), (200, 60)]


def drawn(snapshot: Any, **over: Any) -> Screen:
    """The screen of a snapshot."""
    link = over.pop("link", LinkView())
    others = over.pop("others", ())
    return screen_of(Scene(snapshot=snapshot, others=others, link=link, look=Look(**over)), scale_height=14)


def all_text(screen: Screen) -> str:
    """Every region, as plain text."""
    regions: tuple[tuple[Line, ...], ...] = (
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
    return "\n".join(plain(row) for region in regions for row in region)


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize(
    "name",
    ["idle", "heating", "ready", "lifted", "broken", "guided", "dipping", "chamber_only", "coasting"],
)
def test_no_line_is_wider_than_its_place(scenes: Any, name: str, width: int, height: int) -> None:
    screen = drawn(getattr(scenes, name)(last_dip=scenes.dip()), width=width, height=height)
    sizes = sizes_for(Look(width=width, height=height))
    for rows, most in (
        ((screen.header, *screen.band, *screen.info, *screen.alarms, *screen.keys), width),
        (screen.figure, sizes.figure_width),
        (screen.facts, sizes.facts_width),
        (screen.scale, sizes.scale_width),
        ((screen.how,), width - sizes.scale_width),
    ):
        assert all(len(plain(row)) <= most for row in rows), [plain(row) for row in rows]


def test_the_metal_is_drawn_large_with_unit_and_uncertainty(scenes: Any) -> None:
    screen = drawn(scenes.heating())
    rows = [plain(row) for row in screen.figure]
    assert all(big(" 488")[n] in row for n, row in enumerate(rows))
    assert rows[0].rstrip().endswith("°C")
    assert rows[-1].rstrip().endswith("±4")  # 3.6 is never rounded down


@pytest.mark.parametrize(
    ("unit", "figure", "mark"), [(Unit.C, " 488", "°C"), (Unit.F, " 911", "°F"), (Unit.K, " 761", "K")]
)
def test_the_large_figure_follows_the_unit(scenes: Any, unit: Unit, figure: str, mark: str) -> None:
    # SI Brochure: 488.2 degC = 910.76 degF = 761.35 K
    rows = [plain(row) for row in drawn(scenes.heating(), unit=unit).figure]
    assert all(big(figure)[n] in row for n, row in enumerate(rows))
    assert rows[0].rstrip().endswith(mark)


@pytest.mark.parametrize("reason", [reason for reason in Reason if STATUS_OF[reason] is Status.BAD])
def test_where_there_is_no_number_there_is_a_dash_and_the_reason_in_words(scenes: Any, reason: Reason) -> None:
    probe = scenes.probe(temp_c=None, u_c=None, status=Status.BAD, reason=reason)
    screen = drawn(scenes.heating(metal=MetalView(temp_c=None, how="why not"), probes=(probe,)))
    assert all(big("  --")[n] in plain(row) for n, row in enumerate(screen.figure))
    assert "488" not in all_text(screen)
    assert "why not" in plain(screen.how)
    assert "►" not in "".join(plain(row) for row in screen.scale)


def test_a_figure_of_nought_is_not_taken_for_no_figure(scenes: Any) -> None:
    screen = drawn(scenes.heating(metal=MetalView(temp_c=0.0), probes=()))
    assert big("   0")[0] in plain(screen.figure[0])


def test_a_figure_that_is_not_finite_is_a_dash() -> None:
    assert format_temperature(float("nan"), Unit.C) == "-- °C"
    assert with_uncertainty(None, Unit.F, 3.0) == "-- °F"
    assert rate_words(float("inf"), Unit.C) == "-- °C/min"


@pytest.mark.parametrize(("u_c", "shown"), [(3.6, "±4"), (4.0, "±4"), (0.02, "±1"), (None, "")])
def test_uncertainty_is_never_shown_smaller_than_it_is(u_c: float | None, shown: str) -> None:
    assert plus_minus(u_c, Unit.C) == shown


def test_uncertainty_in_fahrenheit_is_a_difference() -> None:
    assert plus_minus(5.0, Unit.F) == "±9"  # 5 K = 9 degF of difference, not 41


@pytest.mark.parametrize(
    ("share", "shown"),
    [(0.0, "0 %"), (0.004, "<1 %"), (0.72, "72 %"), (0.996, ">99 %"), (1.0, "100 %")],
)
def test_a_doubt_is_never_rounded_away(scenes: Any, share: float, shown: str) -> None:
    window = msgspec.structs.replace(scenes.ready().window, too_cold=share, too_hot=0.5)
    odds = said("screen.now.odds", cold_share=share, hot_share=0.5)
    assert shown in odds
    assert odds in all_text(drawn(scenes.ready(window=window), **ROOMY))


def test_where_the_odds_are_not_known_none_are_told_and_the_figure_stays(scenes: Any) -> None:
    window = msgspec.structs.replace(scenes.ready().window, too_cold=None, too_hot=None)
    text = all_text(drawn(scenes.ready(window=window), **ROOMY))
    assert tells(text, "screen.now.arrives", lip_c=529.0)
    assert not tells(text, "screen.now.odds")
    half = msgspec.structs.replace(window, too_cold=0.25)
    text = all_text(drawn(scenes.ready(window=half), **ROOMY))
    assert tells(text, "screen.now.odds", cold_share=0.25, hot_share=math.nan)


def test_the_instruction_stands_in_the_band_word_for_word(scenes: Any) -> None:
    in_letters = in_large(scenes.ready())  # empty where other words have no letters
    for width in (80, 120):
        screen = drawn(scenes.ready(), width=width)
        rows = [plain(row) for row in screen.band]
        beside = rows
        if in_letters:
            large = letters(in_letters)
            assert all(row.startswith(f"  {cells} ") for row, cells in zip(rows, large, strict=True))
            beside = [row[len(large[0]) + 3 :] for row in rows]
        told = " ".join(" ".join(beside).split())
        assert told.startswith(f"> {said('screen.band.do')} POUR now: cleat 1 of 3, arrives at 529 °C")
    assert "uncertainty lies inside the window" in told


def test_temperatures_inside_texts_are_in_the_readers_unit(scenes: Any) -> None:
    alarm = scenes.alarm(what="The pot is at <601.0 degC>", remedy="Let it fall by <20.0 degC apart>")  # on record
    snapshot = scenes.heating(
        instruction=scenes.waiting(tell("instruction.liquid", to_go_difference_c=42.0)),
        alarms=(alarm,),
        metal=MetalView(temp_c=488.2, how="dip 3, less <5.0 degC apart>"),
    )
    screen = drawn(snapshot, unit=Unit.F, **ROOMY, others=(scenes.broken(furnace="kiln", alarms=(alarm,)),))
    text = all_text(screen)
    # SI Brochure: 42 K = 75.6 degF of difference, 601 degC = 1113.8 degF, 20 K = 36 degF, 5 K = 9 degF
    for words in (
        say(tell("instruction.liquid", to_go_difference_c=42.0), Unit.F),
        "The pot is at 1114 °F",
        "fall by 36 °F",
        "less 9 °F",
    ):
        assert words in text
    assert "degC" not in text
    assert said("screen.alarms.on", furnace="kiln", what="The pot is at 1114 °F") in text


def test_an_instruction_longer_than_the_screen_goes_on_in_a_second_row(scenes: Any) -> None:
    words = (
        "Best aim: pour cleat 1 of 3 at 533 °C in the pot, too cold 20 %, too hot 25 %, because the window is narrow"
    )
    screen = drawn(scenes.ready(instruction=Instruction(todo=ToDo.STEP, text=words, must=True), calls=()))
    rows = [plain(row).replace(said("screen.band.do"), "").strip(" >") for row in screen.band]
    assert " ".join(rows).strip() == words


@pytest.mark.parametrize("state", list(MeltState))
def test_each_melt_state_has_a_word_of_its_own_on_the_screen(scenes: Any, state: MeltState) -> None:
    shown = {
        other: [plain(row) for row in drawn(scenes.heating(melt_state=other), **ROOMY).facts] for other in MeltState
    }
    assert all(shown[state] != rows for other, rows in shown.items() if other is not state)


@pytest.mark.parametrize("state", list(ProbeState))
def test_each_probe_state_is_in_words(scenes: Any, state: ProbeState) -> None:
    text = all_text(drawn(scenes.heating(probes=(scenes.probe(state=state),)), **ROOMY))
    assert f"{said('screen.label.probe')} {word('probe_state', state)}" in text


def test_without_colour_every_signal_status_is_told_apart(scenes: Any) -> None:
    looks = {}
    for reason in Reason:
        bad = STATUS_OF[reason] is Status.BAD
        probe = scenes.probe(temp_c=None if bad else 488.2, status=STATUS_OF[reason], reason=reason)
        metal = MetalView(temp_c=None if bad else 488.2, reason=reason, probe="melt_probe")
        screen = drawn(scenes.heating(probes=(probe,), metal=metal))
        looks[reason] = "\n".join(plain(row) for row in (*screen.facts, screen.how))
    assert len(set(looks.values())) == len(looks)


def test_without_colour_every_alarm_state_and_priority_is_told_apart(scenes: Any) -> None:
    for blink_on, steady in ((True, False), (False, False), (True, True)):  # in the dark phase of the blinking too
        looks = [
            plain(
                drawn(
                    scenes.heating(alarms=(scenes.alarm(priority=priority, state=state),)),
                    blink_on=blink_on,
                    steady_marks=steady,
                ).alarms[0]
            )
            for priority, state in itertools.product(Priority, AlarmState)
            if state is not AlarmState.NORMAL
        ]
        assert len(set(looks)) == len(looks)


def test_power_is_never_in_the_colour_of_alarms(scenes: Any) -> None:
    for level in PowerLevel:
        screen = drawn(scenes.heating(power=level, applied_permille=1000))
        spans = [span for row in screen.facts for span in row]
        assert not {Role.DANGER, Role.WARN} & {span.role for span in spans}


def test_only_the_mark_of_an_unseen_alarm_blinks_and_the_words_stay(scenes: Any) -> None:
    snapshot = scenes.heating(alarms=(scenes.alarm(),))
    on, off = (plain(drawn(snapshot, blink_on=phase).alarms[0]) for phase in (True, False))
    assert on.replace("!!", "  ") == off
    assert on != off


def test_a_seen_alarm_stands_still(scenes: Any) -> None:
    snapshot = scenes.heating(alarms=(scenes.alarm(state=AlarmState.ACKED),))
    assert drawn(snapshot, blink_on=True).alarms == drawn(snapshot, blink_on=False).alarms


def test_the_setting_turns_blinking_into_a_steady_star(scenes: Any) -> None:
    snapshot = scenes.ready(alarms=(scenes.alarm(),))
    first, second = (drawn(snapshot, blink_on=phase, steady_marks=True) for phase in (True, False))
    assert first == second
    assert plain(first.alarms[0]).startswith(" * ")
    assert f" *  {said('screen.band.do')}  POUR now" in plain(first.band[0])


def test_the_worst_unseen_alarm_comes_first_with_what_to_do(scenes: Any) -> None:
    rows = [plain(row) for row in drawn(scenes.broken()).alarms]
    assert rows[0].startswith(f" !! {word('priority', 'alarm')}  {word('alarm_state', 'unacked')}")
    assert rows[1] == f"    {said('screen.alarms.do', remedy='Switch the power off, then look at plug and tip')}"
    assert rows[2].startswith(f" !  {word('priority', 'warning')}  {word('alarm_state', 'acked')}")


def test_alarms_that_do_not_fit_are_counted_never_dropped(scenes: Any) -> None:
    alarms = tuple(scenes.alarm(id=f"x:{n}", what=f"trouble {n}", raised_mono_s=float(n)) for n in range(7))
    rows = [plain(row) for row in drawn(scenes.heating(alarms=alarms), width=200).alarms]
    assert len(rows) == 3
    assert "trouble 0" in rows[0]
    assert rows[2].startswith(f" {said('screen.alarms.more', count=6)} {word('priority', 'alarm')} trouble 1")


def test_shelved_and_explained_alarms_are_counted_aside(scenes: Any) -> None:
    alarms = (
        scenes.alarm(priority=Priority.WARNING, shelved_until_mono_s=7040.0 + 720.0),
        scenes.alarm(id="b:b", suppressed_by="c:c"),
        scenes.alarm(id="c:c", what="the reason of b"),
    )
    text = "\n".join(plain(row) for row in drawn(scenes.heating(alarms=alarms), **ROOMY).alarms)
    assert tells(text, "screen.alarms.shelved", count=1, back_in_s=720.0)
    assert tells(text, "screen.alarms.explained", count=1)


def test_an_alarm_of_another_furnace_is_on_this_screen(scenes: Any) -> None:
    other = scenes.broken(furnace="kiln")
    rows = [plain(row) for row in drawn(scenes.heating(), others=(other,), **ROOMY).alarms]
    assert word("priority", "alarm") in rows[0]
    assert tells(rows[0], "screen.alarms.on", furnace="kiln", what=other.alarms[0].what)


def test_the_window_is_a_thick_stretch_of_the_scale_and_the_metal_points_at_its_place(scenes: Any) -> None:
    rows = [plain(row) for row in drawn(scenes.ready(), **ROOMY).scale]
    band = [n for n, row in enumerate(rows) if "█" in row]
    pointer = next(n for n, row in enumerate(rows) if "►" in row)
    assert pointer in band
    assert "543 ►" in rows[pointer]
    marks = [said(f"screen.scale.{name}") for name in ("window_high", "window_low", "liquidus", "solidus")]
    marks.insert(0, said("screen.scale.limit", whose="alloy"))
    named = [row.rstrip() for row in rows if re.search("[┼█] [0-9]", row)]
    assert [re.findall("[┼█] ([0-9]+)", row) for row in named] == [["600"], ["559"], ["529"], ["484"], ["375"]]
    # A name too long for the scale is cut, never in the middle of a word.
    assert all(mark[:12] in row or row.endswith("…") for row, mark in zip(named, marks, strict=True))


@pytest.mark.parametrize(("temp_c", "tip", "row"), [(20.0, "▼", -1), (900.0, "▲", 0)])
def test_a_temperature_off_the_scale_says_so(scenes: Any, temp_c: float, tip: str, row: int) -> None:
    rows = [plain(r) for r in drawn(scenes.heating(metal=MetalView(temp_c=temp_c))).scale]
    assert tip in rows[row]


@pytest.mark.parametrize("cause", list(NoAimCause))
def test_a_next_mould_that_no_pot_serves_says_whether_a_lift_of_its_own_does(scenes: Any, cause: NoAimCause) -> None:
    limit = PotLimit(limit_c=600.0, whose="alloy", why="for tests")
    found = NoAim(
        mould="cleat 2", cause=cause, limit=limit, lip_min_c=590.0, lip_max_c=610.0, least_c=590.0, loss_c=30.0
    )
    window = msgspec.structs.replace(scenes.ready().window, mould="cleat 2", index=1, no_aim=found)
    text = all_text(drawn(scenes.ready(window=window), **ROOMY))
    own = cause is NoAimCause.TURN
    assert (said("screen.next.own_lift", number=2, of=window.of) in text) is own
    none = said("screen.next.no_aim", number=2, of=window.of, lowest_c=620.0, highest_c=600.0)
    assert (none in text) is not own


def test_the_next_mould_its_window_and_the_odds_are_in_words(scenes: Any) -> None:
    text = "\n".join(plain(row) for row in drawn(scenes.heating(last_dip=scenes.dip()), **ROOMY).info)
    lip, pot = window_words(515.0, 545.0, Unit.C), window_words(529.0, 559.0, Unit.C)
    assert f"cleat 1{said('screen.next', number=1, of=3, lip=lip, pot=pot)}" in text
    arrives, odds = said("screen.now.arrives", lip_c=474.0), said("screen.now.odds", cold_share=0.999, hot_share=0.0)
    assert f"{arrives}: {odds}" in text
    assert f"3: 487 ±5 °C {word('dip_how', 'settled')}, {said('screen.dip.age', age_s=40.0)}" in text


def test_a_dip_older_than_it_is_worth_says_so(scenes: Any) -> None:
    text = "\n".join(
        plain(row) for row in drawn(scenes.heating(last_dip=scenes.dip(ended_mono_s=6940.0)), **ROOMY).info
    )
    assert tells(text, "screen.dip.too_old", age_s=100.0)


def test_after_the_lift_the_large_figure_is_the_countdown(scenes: Any) -> None:
    screen = drawn(scenes.lifted())
    assert all(big("1:05")[n] in plain(row) for n, row in enumerate(screen.figure))
    assert plain(drawn(scenes.lifted(), **ROOMY).facts[0]) == said("screen.left")
    assert plain(drawn(scenes.lifted(countdown_s=0.0), **ROOMY).facts[0]) == f"! {said('screen.left.closed')}"
    over = drawn(scenes.lifted(countdown_s=0.0))
    assert big("0:00")[0] in plain(over.figure[0])


def test_simulated_and_not_recorded_are_never_squeezed_out(scenes: Any) -> None:
    snapshot = scenes.heating(
        simulated=True, store_problem="store_full", boards={"amp": BoardView(state=BoardState.UNPLUGGED)}
    )
    must = [said("screen.header.simulated"), f"!! {said('screen.header.not_recorded', store_problem='store_full')}"]
    must.append(f"!! {said('screen.header.board', boards='amp ' + word('board_state', 'unplugged'))}")
    for width in range(sum(len(words) + 4 for words in must), 200):
        header = plain(drawn(snapshot, width=width, height=24).header)
        assert all(words in header for words in must)


def test_a_lost_daemon_is_said_loudly_and_every_figure_is_dashed_out(scenes: Any) -> None:
    link = LinkView(state=LinkState.LOST, silent_s=12.4)
    for name in ("heating", "ready", "lifted"):
        screen = drawn(getattr(scenes, name)(), link=link, **ROOMY)
        assert "".join(map(plain, screen.band)).strip().startswith(f"!! {said('screen.lost', silent_s=12.4)}")
        assert all(big("  --", screen.sizes.digit_rows)[n] in plain(row) for n, row in enumerate(screen.figure))
        now = "\n".join(plain(row) for row in (*screen.figure, *screen.facts, screen.how))
        now = now.replace(said("screen.lost.how", melt_state="ready"), "")
        for old in ("488", "543", "702", word("melt_state", "ready"), word("level", "high").upper(), "6.2"):
            assert old not in now
        assert said("screen.alarms.unknown") in all_text(screen)
        assert not tells(all_text(screen), "screen.now.arrives")
        assert "►" not in all_text(screen)


def test_what_is_on_record_stays_when_the_daemon_is_lost(scenes: Any) -> None:
    text = all_text(drawn(scenes.lifted(), link=LinkView(state=LinkState.LOST, silent_s=5.0), **ROOMY))
    assert tells(text, "screen.poured.last", count=1, of=3, mould="cleat 1", lip_c=528.0)


def test_before_the_first_word_it_says_what_it_looks_for(scenes: Any) -> None:
    screen = drawn(None, link=LinkView(state=LinkState.CONNECTING, address="/run/d.sock"))
    assert said("screen.connecting") in plain(screen.band[0])
    assert said("screen.connecting.why", where="/run/d.sock") in plain(screen.band[1])
    assert said("screen.disclaimer") in plain(screen.how)


def test_fume_is_said_with_its_level(scenes: Any) -> None:
    fume = said("screen.flag.fume", level_of_3=2)
    assert f"! {fume}" in all_text(drawn(scenes.heating(flags={"fume": 2}), **ROOMY))


def test_cutting_spreading_and_wrapping_keep_their_width() -> None:
    assert plain(fit(line("abcdef"), 4)) == "abc…"
    assert plain(spread(line("left"), line("right"), 12)) == "left   right"
    assert len(plain(spread(line("much too long a left"), line("right"), 12))) == 12
    assert [plain(row) for row in wrap("one two three four", 8, most=2)] == ["one two", "three…"]
    assert fit((StyledText("ab"),), 0) == ()


def test_a_figure_is_never_parted_from_its_unit_at_the_end_of_a_line() -> None:
    assert [plain(row) for row in wrap("41 °C to the window", 4, most=9)] == ["41 °C"[:3] + "…", "to", "the", "win…"]
    assert [plain(row) for row in wrap("it lasts 7 min, no more", 11, most=9)] == ["it lasts", "7 min, no", "more"]


def test_snapshots_are_not_changed_by_drawing(scenes: Any) -> None:
    snapshot = scenes.broken()
    before = msgspec.json.encode(snapshot)
    drawn(snapshot, link=LinkView(state=LinkState.LOST, silent_s=5.0))
    assert msgspec.json.encode(snapshot) == before


@pytest.mark.parametrize(
    ("text", "width", "kept"),
    [
        ("arrives at 1009 °F", 14, "arrives at…"),  # never 10: half a figure is another figure
        ("arrives at 1009 °F", 16, "arrives at…"),  # nor 1009 of nobody knows what
        ("loses 12.5 °C more", 10, "loses…"),
        ("deck cleat of bronze", 12, "deck cleat…"),
        ("deck cleat of bronze", 14, "deck cleat of…"),
        ("0123456789012345678901234567890", 10, "012345678…"),  # one word: nothing else is left
    ],
)
def test_what_does_not_fit_is_cut_between_words(text: str, width: int, kept: str) -> None:
    assert plain(fit((StyledText(text),), width)).replace(" …", "…") == kept


@pytest.mark.parametrize("width", [80, 100])
def test_the_longest_question_is_shown_whole_and_nothing_below_it_moves(scenes: Any, width: int) -> None:
    moulds = ", ".join(f"fairlead {n} of the new boat" for n in range(1, 6))
    asked = said("key.ask.end_melt.left", melt="2026-014", moulds=moulds)
    message = line(StyledText("? ", Role.CHECK), StyledText(asked, Role.STRONG))
    for snapshot in (scenes.heating(), scenes.ready(), scenes.broken()):
        scene = Scene(snapshot=snapshot, look=Look(width=width, height=24))
        screen = screen_of(msgspec.structs.replace(scene, message=message), scale_height=8)
        shown = " ".join(" ".join(plain(row).split()) for row in screen.message)
        assert shown == f"? {' '.join(asked.split())}"
        assert all(width_of(row) <= width for row in screen.message)
        assert len(screen.info) + len(screen.message) <= screen.sizes.info_rows + 1


def test_a_held_mark_that_is_wrapped_keeps_its_colon_at_the_word(scenes: Any) -> None:
    parts = line(
        StyledText("> "), StyledText("Pour into the long fairlead at the bow of the old boat"), ": goes on record"
    )
    rows = wrap_spans(parts, 60, most=3)
    assert [plain(row) for row in rows] == [
        "> Pour into the long fairlead at the bow of the old boat:",
        "goes on record",
    ]
