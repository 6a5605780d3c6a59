"""A message becomes a sentence in the reader's unit; what a fact is, its name says."""

import msgspec
import pytest

from pourcall.contract.events import LinkChanged
from pourcall.contract.message import NOTHING, Message, Told, own, tell
from pourcall.contract.units import Unit, in_unit
from pourcall.daemon.spoken import spoken
from pourcall.texts import say, sentence, word, written
from pourcall.texts.catalogue import English, other_words


class Fixed:
    def __init__(self, **texts: str) -> None:
        self.texts = texts

    def template(self, name: str) -> str | None:
        return self.texts.get(name)


def shown(text: str, unit: Unit = Unit.C, **facts: float | int | str | Message | tuple[Message, ...]) -> str:
    with other_words(Fixed(it=text, part="a part of {one_kg}", **{"word.level.high": "full"})):
        return say(Message("it", facts), unit)


# degF = degC * 9/5 + 32; a difference has no 32 in it (SI Brochure, 9th edition, and the definition of the scale).
@pytest.mark.parametrize(
    ("text", "unit", "facts", "wanted"),
    [
        ("{aim_c}", Unit.F, {"aim_c": 500.0}, "932 °F"),
        ("{aim_c}", Unit.K, {"aim_c": 500.0}, "773 K"),
        ("{low_c:lowest} {high_c:highest}", Unit.C, {"low_c": 546.3, "high_c": 581.7}, "547 °C 581 °C"),
        ("{low_c:lowest} {high_c:highest}", Unit.F, {"low_c": 546.3, "high_c": 581.7}, "1016 °F 1079 °F"),
        ("{aim_c:1}", Unit.C, {"aim_c": 529.46}, "529.5 °C"),
        ("{spare_difference_c}", Unit.F, {"spare_difference_c": 5.0}, "9.0 °F"),
        ("{spare_difference_c}", Unit.C, {"spare_difference_c": 12.4}, "12 °C"),
        ("{rate_c_per_min}", Unit.F, {"rate_c_per_min": 10.0}, "18 °F/min"),
        ("{left_s}", Unit.C, {"left_s": 40.0}, "40 s"),
        ("{count} {count:row|rows}", Unit.C, {"count": 1}, "1 row"),
        ("{count} {count:row|rows}", Unit.C, {"count": 0}, "0 rows"),
        ("{count} {count:row is|rows are} left", Unit.C, {"count": 12}, "12 rows are left"),
        ("{left_s}", Unit.C, {"left_s": 185.0}, "3 min"),
        ("{metal_share}", Unit.C, {"metal_share": 0.004}, "<1 %"),
        ("{mass_kg}", Unit.C, {"mass_kg": 0.3}, "0.3 kg"),
        ("{level}", Unit.C, {"level": "high"}, "full"),
        ("{probe:cap}", Unit.C, {"probe": "melt probe"}, "Melt probe"),
        (
            "{parts:. }",
            Unit.C,
            {"parts": (Message("part", {"one_kg": 1}), Message("part", {"one_kg": 2}))},
            "a part of 1 kg. a part of 2 kg",
        ),
        ("{aim_c}", Unit.C, {"aim_c": float("nan")}, "--"),
    ],
)
def test_a_fact_is_shown_by_the_end_of_its_name(
    text: str, unit: Unit, facts: dict[str, float | int | str | Message | tuple[Message, ...]], wanted: str
) -> None:
    assert shown(text, unit, **facts) == wanted


def test_what_is_written_for_the_record_is_read_in_any_unit_later() -> None:
    with other_words(Fixed(it="up to {aim_c}, {spare_difference_c} to spare")):
        kept = written(tell("it", aim_c=500.0, spare_difference_c=5.0))
    assert in_unit(kept, Unit.F) == "up to 932 °F, 9 °F to spare"


def test_a_sentence_of_an_old_record_is_shown_as_it_stands_with_its_temperatures_turned() -> None:
    assert say("in the pot <500.0 degC>", Unit.F) == "in the pot 932 °F"


@pytest.mark.parametrize(
    # 1 lb is 0.45359237 kg exactly (international avoirdupois pound; NIST SP 811, appendix B.8)
    ("mass_kg", "words"),
    [(3 * 0.45359237, "1.361 kg"), (0.5, "0.5 kg"), (12.3456, "12.346 kg"), (0.0042, "0.0042 kg")],
)
def test_a_mass_is_said_to_the_gram_whatever_unit_it_was_typed_in(mass_kg: float, words: str) -> None:
    assert shown("{one_kg}", one_kg=mass_kg) == words


def test_nothing_says_nothing() -> None:
    assert not NOTHING
    assert say(NOTHING) == ""


def test_a_message_of_a_newer_version_shows_its_facts_rather_than_nothing() -> None:
    assert say(tell("later.unknown", aim_c=500.0), Unit.F) == "later.unknown: aim_c 932 °F"


def test_a_message_survives_the_wire_with_its_facts() -> None:
    told = tell("it", aim_c=500.5, number=3, level="high", inner=tell("part", one_kg=1.0), parts=(tell("part"),))
    assert msgspec.json.decode(msgspec.json.encode(told), type=Told) == told
    assert msgspec.json.decode(b'"an old sentence"', type=Told) == "an old sentence"


def test_a_capital_begins_a_sentence_and_a_word_without_an_entry_is_itself() -> None:
    assert sentence("hold still") == "Hold still"
    with other_words(Fixed(**{"word.level.high": "full on"})):
        assert word("level", "high") == "full on"
        assert word("level", "sideways") == "sideways"


@pytest.mark.parametrize("name", ["", ".", "..x", "__init__.x", "no such.x", "no.\n", "os.path", "call"])
def test_a_name_from_outside_is_said_as_it_is_and_never_raises(name: str) -> None:
    assert say(Message(name, {"aim_c": 565.0})).startswith(name)


def test_a_fact_of_another_kind_than_its_sentence_wants_is_said_all_the_same() -> None:
    assert "5" in say(tell("cli.pour.was", parts=5))


# A person's words: whatever they look like, they are neither a temperature of ours nor a word of the catalogue.


def test_what_a_person_wrote_or_named_is_never_turned_into_another_unit() -> None:
    assert say(own("kept at <500 degC> overnight"), Unit.F) == "kept at <500 degC> overnight"
    assert shown("{mould} is full", Unit.F, mould="cleat <500 degC>") == "cleat <500 degC> is full"
    assert shown("{why}", Unit.F, why=own("<500 degC apart>")) == "<500 degC apart>"


@pytest.mark.parametrize("words", ["<5 degC>", "<<5 degC>", "<-3.5 degC apart>", "<5 degC or less>", "<silent>", ""])
def test_what_a_person_wrote_comes_back_from_the_record_as_it_was_written(words: str) -> None:
    assert say(written(own(words)), Unit.F) == words
    with other_words(Fixed(it="{mould}: up to {aim_c}")):
        assert say(written(tell("it", mould=words, aim_c=500.0)), Unit.F) == f"{words}: up to 932 °F"


def test_a_sentence_on_record_within_a_sentence_is_turned() -> None:
    assert shown("{why}", Unit.F, why="above <500 degC>") == "above 932 °F"


@pytest.mark.parametrize("name", ["unknown", "silent", "waiting", "none", "inside", "probe"])
def test_a_board_or_an_instrument_called_like_a_word_of_the_catalogue_keeps_its_name(name: str) -> None:
    class Telling:
        """Says each word of the catalogue otherwise: whoever looks a name up there is found out."""

        def template(self, asked: str) -> str | None:
            text = English().template(asked)
            return "looked up" if text is not None and asked.startswith("word.") else text

    with other_words(Telling()):
        assert name in say(tell("melt.board_restarted", board=name)).split()
        assert name in say(tell("melt.read_off", temp_c=500.0, source=name)).split()
        assert name in say(tell("melt.added_of", source=name))


def test_what_is_published_turns_sentences_on_record_and_no_names() -> None:
    said = LinkChanged(furnace="a", seq=1, mono_s=0.0, utc_s=0.0, board="<500 degC>", up=False, detail="at <500 degC>")
    out = spoken(said)
    assert (out.board, out.detail) == ("<500 degC>", "at 500 °C")


# What is printed adds up: 555.4 less 10.8 is 544.6, and 555 less 11 is not 545.


@pytest.mark.parametrize(
    ("unit", "wanted"),
    [
        (Unit.C, "555 °C less 10 °C is 545 °C"),
        (Unit.F, "1032 °F less 20 °F is 1012 °F"),
        (Unit.K, "829 K less 11 K is 818 K"),
    ],
)
def test_a_loss_is_said_so_that_what_is_left_comes_out_as_it_is_said(unit: Unit, wanted: str) -> None:
    text = "{pot_c} less {loss_difference_c:below pot_c} is {lip_c}"
    facts = {"pot_c": 555.4, "loss_difference_c": 10.8, "lip_c": 555.4 - 10.8}
    with other_words(Fixed(it=text)):
        assert say(Message("it", {**facts}), unit) == in_unit(written(Message("it", {**facts})), unit) == wanted


def test_a_loss_of_a_pot_that_nobody_measured_is_said_by_itself() -> None:
    assert shown("less {loss_difference_c:below pot_c}", loss_difference_c=10.8) == "less 11 °C"
