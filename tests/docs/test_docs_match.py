"""The documents say what the code does. Names, figures, examples and links are held against the code itself."""

import argparse
import importlib.util
import inspect
import re
import shlex
import sqlite3
from importlib import import_module
from pathlib import Path
from types import ModuleType

import msgspec
import pytest

from pourcall.cli.main import COMMANDS, main
from pourcall.contract import errors
from pourcall.contract.api import Asked, ResultRequest
from pourcall.contract.events import AlarmState, CallKind, Flag, MeltState, Priority
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.settings import Settings, parse_settings
from pourcall.contract.status import Reason
from pourcall.daemon.api.openapi import ROUTES
from pourcall.drivers.wire import max31855, max31856, mcp960x, ourline
from pourcall.drivers.wire.framing import Decoder
from pourcall.engine.alarms.catalogue import CATALOGUE
from pourcall.engine.melt.melt_state import Band
from pourcall.metal.windows import MATERIAL_SHIFT
from pourcall.sim.scenarios.demo import DEMOS
from pourcall.tui.sounds.cues import REPEAT_S as SOUND_REPEAT_S
from pourcall.tui.sounds.cues import Code
from tests.docs.pages import DOCS, ROOT, coded, page, rows, section

COMMON_OPTIONS = {"--help", "-h", "--json", "--unit", "--furnace", "--who", "--limit"}  # told once for all commands


# -- commands ---------------------------------------------------------------------------------------------------------


def options_of(command: str) -> set[str]:
    """Every option and every sub-command of a command that a person is told of."""
    parser = argparse.ArgumentParser()
    import_module(COMMANDS[command].module(command)).add_arguments(parser)
    found: set[str] = set()

    def look(at: argparse.ArgumentParser) -> None:
        for action in at._actions:
            if isinstance(action, argparse._SubParsersAction):
                for name, below in action.choices.items():
                    found.add(name)
                    look(below)
            elif action.help is not argparse.SUPPRESS:
                found.update(action.option_strings)

    look(parser)
    return found - COMMON_OPTIONS


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_a_section_that_names_all_its_options(command: str) -> None:
    told = section(page("docs/commands.md"), f"pourcall {command}")
    missing = [word for word in options_of(command) if word not in told]
    assert not missing, f"docs/commands.md, pourcall {command}: {missing}"


def test_the_readme_lists_exactly_the_commands_there_are() -> None:
    listed = re.findall(
        r"^\| \[`pourcall (\w+)`\]\(docs/commands\.md#pourcall-(\w+)\)", page("README.md"), re.MULTILINE
    )
    assert [name for name, _ in listed] == list(COMMANDS)
    assert all(name == anchor for name, anchor in listed)


def test_every_command_section_is_of_a_command() -> None:
    assert re.findall(r"^## pourcall (\w+)$", page("docs/commands.md"), re.MULTILINE) == list(COMMANDS)


def test_every_exit_code_is_explained() -> None:
    told = {row[0] for row in rows(section(page("docs/commands.md"), "Exit codes"))}
    kinds = [kind for _, kind in inspect.getmembers(errors, inspect.isclass) if issubclass(kind, errors.PourcallError)]
    assert {str(kind.exit_code) for kind in kinds} | {"0", "130"} == told - {"code"}


OF_THEMSELVES = tuple(
    f"pourcall {words}" for words in ("thermocouple", "dip --read 500", "plan za27", "profile show zinc")
)


def examples() -> list[tuple[str, str]]:
    """Commands in the documents whose output depends on nothing but themselves, with that output."""
    found = []
    for block in re.findall(r"```console\n(.*?)```", page("docs/commands.md"), re.DOTALL):
        for command, told in re.findall(r"^\$ ([^\n]+)\n((?:(?!\$ )[^\n]*\n)*)", block, re.MULTILINE):
            if told and command.startswith(OF_THEMSELVES):
                found.append((command, told))
    return found


@pytest.mark.wording
@pytest.mark.parametrize(("command", "told"), examples())
def test_examples_of_the_bench_give_the_output_that_is_printed(
    command: str, told: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("POURCALL_HOME", str(tmp_path))
    code = main(shlex.split(command)[1:])
    said = capsys.readouterr()
    given, at = said.err if code else said.out, 0
    parts = told.split("...\n")  # what is left out
    for number, part in enumerate(parts):
        assert part in given[at:], "run it and print what it says"
        at = given.index(part, at) + len(part)
        assert number or given.startswith(part)
    assert len(parts) > 1 or given == told


def test_there_are_examples_to_be_checked() -> None:
    assert len(examples()) >= 6


def test_the_demonstrations_are_named() -> None:
    assert set(DEMOS) <= coded(page("docs/commands.md"))
    for name in DEMOS[1:]:
        assert f"--scenario {name}" in page("README.md")


def test_every_mould_material_is_named() -> None:
    assert set(MATERIAL_SHIFT) <= coded(page("docs/commands.md"))


# -- settings ---------------------------------------------------------------------------------------------------------


def tables() -> list[tuple[str, type[msgspec.Struct]]]:
    """Heading in docs/settings.md -> the structure it tells of."""
    from pourcall.contract import settings as room

    return [
        ("[shop]", room.Shop),
        ("[board.NAME]", room.Board),
        ("[furnace.NAME]", room.Furnace),
        ("[furnace.NAME.pot]", room.Pot),
        ("[probe.NAME]", room.Probe),
        ("[mqtt]", room.Mqtt),
        ("[sound]", room.Sound),
    ]


def bounds_and_choices(field: type) -> list[str]:
    """Figures and words that the range of a field must show."""
    schema = msgspec.json.schema(field)
    parts = [schema, *schema.get("anyOf", ())]
    for part in list(parts):
        if "$ref" in part:
            parts.append(schema["$defs"][part["$ref"].rsplit("/", 1)[1]])
    found: list[str] = []
    for part in parts:
        found += [f"`{choice}`" for choice in part.get("enum", ()) if choice]
        for key in ("minimum", "maximum", "exclusiveMinimum"):
            if key in part:
                found.append(str(part[key]).removesuffix(".0"))
    return found


@pytest.mark.parametrize(("heading", "kind"), tables())
def test_every_setting_is_told_with_its_range_and_default(heading: str, kind: type[msgspec.Struct]) -> None:
    told = {row[0].strip("`"): row for row in rows(section(page("docs/settings.md"), heading)) if row[0] != "key"}
    fields = {field.name: field for field in msgspec.structs.fields(kind)}
    assert set(told) == set(fields)
    for name, field in fields.items():
        _, _, may_be, default, meaning = told[name]
        assert meaning
        if field.required:
            assert default == "must be given"
        elif field.default is None:
            assert default == "left out"
            assert "left out" in may_be
        elif isinstance(field.default, msgspec.Struct) or field.default is msgspec.NODEFAULT:
            assert default in ("see below", "empty")
        else:
            written = str(field.default).lower() if isinstance(field.default, bool) else str(field.default)
            assert default == (f"`{written}`" if written else "empty"), name
        if not isinstance(field.default, msgspec.Struct) and name not in ("furnace", "board"):
            for figure in bounds_and_choices(field.type):
                assert figure in may_be, f"{heading} {name}: {figure} is not in {may_be!r}"


def test_the_settings_page_has_every_table() -> None:
    told = {heading.split(".")[0].strip("[]") for heading, _ in tables()} | {"schema"}
    assert told == {field.name for field in msgspec.structs.fields(Settings)}


def test_the_example_of_the_settings_is_accepted_whole() -> None:
    text = re.search(r"## A whole example\n\n```toml\n(.*?)```", page("docs/settings.md"), re.DOTALL)
    assert text
    settings = parse_settings(text.group(1))
    assert set(settings.probe) == {"metal", "wall"}
    assert settings.furnace["club"].pot.rating_c == 1100.0


@pytest.mark.wording
def test_the_shown_faults_are_the_faults_that_are_told() -> None:
    shown = re.search(
        r"```text\n(pourcall: pourcall.toml: the settings have .*?)```", page("docs/settings.md"), re.DOTALL
    )
    assert shown
    text = (
        '[probe.melt_probe]\nfurnace = "club"\nboard = "bench"\nplase = "melt"\n[furnace.club]\n'
        '[board.bench]\nport = "x"\nbaud = "115200"\n'
    )
    with pytest.raises(errors.BadSettings) as caught:
        parse_settings(text, where="pourcall.toml")
    assert f"pourcall: {caught.value}" == shown.group(1).rstrip("\n")


# -- alarms, states, reasons ------------------------------------------------------------------------------------------


def test_the_alarms_page_names_every_alarm_state_call_and_reason() -> None:
    words = coded(page("docs/alarms.md"))
    assert set(CATALOGUE) <= words
    assert {state.value for state in AlarmState} <= words
    assert {kind.value for kind in CallKind} <= words
    assert {reason.value for reason in Reason} <= words
    assert {priority.name for priority in Priority} <= words


def test_the_sounds_repeat_as_they_are_told_to() -> None:
    told = section(page("docs/alarms.md"), "Sounds")
    assert f"again every {SOUND_REPEAT_S[Code.WARNING]:g} s" in told
    from pourcall.engine.calls import REPEAT_S

    repeats = {row[0].strip("`"): row[2] for row in rows(section(page("docs/alarms.md"), "Calls"))}
    for kind, repeat_s in REPEAT_S.items():
        told_s = next(repeats[names] for names in repeats if f"`{kind.value}`" in f"`{names}`")
        assert told_s == (f"every {repeat_s:g} s" if repeat_s else "once")


def test_how_it_decides_names_every_state_band_place_and_flag() -> None:
    words = coded(page("docs/how-it-decides.md"))
    assert {state.value for state in MeltState} <= words
    assert {state.value for state in ProbeState} <= words
    assert {band.value for band in Band} <= words
    assert {place.value for place in Place} - {"melt"} <= words
    assert {flag.value for flag in Flag} <= words


def test_figures_in_how_it_decides_are_those_of_the_engine() -> None:
    from pourcall.contract import plan, reading
    from pourcall.engine.bath import dips, metal
    from pourcall.engine.melt import pour_call
    from pourcall.engine.sensing import measurement as measure
    from pourcall.thermal_analysis import settling as settle_fit

    text = " ".join(page("docs/how-it-decides.md").split())
    for told in (
        f"for at most {metal.VALID_S:g} seconds",
        f"{reading.GROWTH_C_PER_MIN:g} °C a minute on top",
        f"±{reading.TYPED_U_C:g} °C",
        f"Up to {dips.FIT_LIMIT_C:g} °C the figure counts. With {dips.SETTLED_C:g} °C or less to go",
        f"went down and up again by more than {dips.WANDER_C:g} °C",
        f"a lag of {settle_fit.EDGE_TAU:g} times that of the sheath",
        f"More than {dips.SOLID_C:g} °C below the solidus",
        f"would cool the tip by more than {dips.SHALLOW_LIMIT_C:g} °C",
        f"a dip within {dips.PANEL_WITHIN_S:g} seconds, while both stand still ({dips.STILL_C_PER_MIN:g} °C a minute",
        f"jumps by more than {measure.JUMP_LEAST_C:g} °C faster than {measure.JUMP_C_PER_S:g} °C a second",
        f"{pour_call.KEEP_C:g} °C beyond where it came",
        f"repeatability of {plan.REPEATABILITY_U_C:g} °C",
        f"from {plan.SKIM_BELOW_C:g} °C below the tap window",
        f"Faster than {metal.LAG_RATE_C_PER_MIN:g} °C a minute",
    ):
        assert told in text, told


def _tables_module() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_tables", DOCS / "tables.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.wording
@pytest.mark.parametrize("path", sorted(DOCS.glob("*.md")), ids=lambda path: path.name)
def test_tables_made_from_code_are_as_the_code_has_them(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text == _tables_module().renewed(text), "write them anew: python docs/tables.py"


def test_every_table_that_can_be_made_is_used() -> None:
    used = {
        name
        for path in DOCS.glob("*.md")
        for name in re.findall(r"<!-- made from code: (\w+) -->", path.read_text("utf-8"))
    }
    assert used == set(_tables_module().TABLES)


# -- API, MQTT, record ------------------------------------------------------------------------------------------------


def test_every_command_of_the_api_is_told_with_its_fields() -> None:
    told = list(rows(section(page("docs/api.md"), "Commands")))
    for kind in Asked.__args__:
        tag = str(kind.__struct_config__.tag)
        row = next((row for row in told if f"`{tag}`" in row[0]), None)
        assert row, f"docs/api.md does not name {tag}"
        missing = [field for field in kind.__struct_fields__ if field != "who" and f"`{field}`" not in row[1]]
        assert not missing, f"docs/api.md, {tag}: {missing}"


def test_every_route_is_told() -> None:
    assert {route.path for route in ROUTES} <= coded(page("docs/api.md"))


def test_the_example_of_a_result_is_a_result() -> None:
    body = re.search(r"-d '(\{\"defect\".*?\})'", page("docs/api.md"))
    assert body
    assert msgspec.json.decode(body.group(1), type=ResultRequest).severity == 2


def test_every_topic_is_told() -> None:
    from pourcall.daemon import mqtt

    assert mqtt.__doc__
    topics = re.findall(r"^    TOPIC/(\S+)", mqtt.__doc__, re.MULTILINE)
    assert len(topics) >= 7
    words = coded(page("docs/mqtt.md"))
    for topic in topics:
        assert f"pourcall/{topic.replace('FURNACE', 'club').replace('PROBE', 'metal')}" in words


def test_every_table_of_the_record_is_told() -> None:
    schema = sorted((ROOT / "daemon" / "records" / "schema").glob("*.sql"))
    conn = sqlite3.connect(":memory:")
    try:
        for step in schema:
            conn.executescript(step.read_text(encoding="utf-8"))
        names = {
            name
            for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")
            if not name.startswith("sqlite_")
        }
    finally:
        conn.close()
    assert names - coded(page("docs/record.md")) == set()


# -- boards -----------------------------------------------------------------------------------------------------------


def test_the_shown_lines_of_ours_pass_their_checksum() -> None:
    text = page("docs/boards.md") + page("README.md")
    lines = re.findall(r"P[CSI]1,\d[^*`\n]*\*[0-9A-F]{4}|PI1,pourcall[^*`\n]*\*[0-9A-F]{4}", text)
    assert {line[:3] for line in lines} == {"PC1", "PS1", "PI1"}
    for line in lines:
        ourline.decode_up(line.encode())


@pytest.mark.parametrize(
    ("name", "decoder"),
    [(room.NAME, room.decoder()) for room in (max31855, max31856, mcp960x)],
)
@pytest.mark.parametrize("where", ["README.md", "docs/boards.md"])
def test_the_shown_hex_lines_are_46_degrees(where: str, name: str, decoder: Decoder) -> None:
    shown = next(row[-1].strip("`") for row in rows(page(where)) if f"`{name}`" in row)
    (sample,) = decoder.feed(shown.encode() + b"\n")
    assert sample.raw_value == 46.0  # type: ignore[union-attr]
    assert sample.cold_junction_c == 24.5  # type: ignore[union-attr]


def test_every_format_and_flag_of_the_line_is_told() -> None:
    from pourcall.contract.frames import SampleFlag
    from pourcall.drivers.wire.registry import FORMATS

    text = page("docs/boards.md")
    assert set(FORMATS) <= coded(text)
    for flag in SampleFlag:
        if flag <= ourline.SENT_FLAGS:
            assert re.search(rf"\b{int(flag)} (open|short to|cold-junction|restarted)", text), flag
