"""`pourcall dip` as a person types it. The listing over a record the engine and the recorder themselves wrote."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pourcall.cli.common import our_paths
from pourcall.contract import inputs as inp
from pourcall.contract.message import Message, tell
from pourcall.contract.reading import Place
from pourcall.records.write.recorder import Recorder
from pourcall.texts import word
from tests.engine.conftest import Bench, make_plan
from tests.told import heard, said, tells

Run = Callable[..., Any]
UTC_S = 1_777_700_000.0


@pytest.fixture
def recorded(home: Path, run: Run) -> Path:
    """Two melts: one with a dip too short, a good one, a handheld and a panel figure; then one with nothing."""
    bench = Bench(Place.DIP)
    bench.start(make_plan(melt="2026-014"))
    bench.do(inp.MarkPower(level=inp.PowerLevel.OFF))
    bench.do(inp.StartDip(probe="metal", depth_mm=60.0, stirred=True))
    bench.dip(565.0, hold_s=1.5)
    bench.dip(565.0)
    bench.do(inp.EnterTemperature(temp_c=562.0, source="handheld", instrument=inp.Instrument.METER))
    bench.do(inp.EnterTemperature(temp_c=540.0, source="furnace panel", instrument=inp.Instrument.PANEL))
    bench.do(inp.EndMelt(ending=inp.MeltEnding.POURED))
    bench.start(make_plan(melt="2026-015"))
    path = our_paths().database
    path.parent.mkdir(parents=True, exist_ok=True)
    recorder = Recorder(path, on_state=lambda problem, detail, waiting: None, clock=lambda: bench.t_s)
    recorder.start(utc_s=UTC_S)
    recorder.begin_session("small", "[shop]\n", b'{"furnace":"small"}', bench.items[0].mono_s, bench.items[0].utc_s)
    again = Bench(Place.DIP).engine  # the same inputs give the same outputs
    for item in bench.items:
        recorder.put("small", item, tuple(again.handle(item)))
    assert recorder.stop() == 0
    return path


def test_the_listing_has_dips_and_typed_figures_in_order_with_what_each_was_worth(recorded: Path, run: Run) -> None:
    done = run("dip", "--list", "--melt", "2026-014")
    assert done.code == 0, done.err
    head, columns, *rows = done.out.splitlines()
    assert head == said("cli.dip.melt", melt="2026-014")
    names = ("when", "dip", "taken_by", "metal", "plus_minus", "how", "depth", "stirred")
    assert columns.split() == [said(f"column.{name}") for name in names]
    short, good, handheld, panel, why = rows
    assert word("dip_how", "not usable") in short
    assert re.search(rf"60 mm +{re.escape(said('key.yes'))}$", short)
    assert "565 °C" in good
    assert word("dip_how", "settled") in good
    assert "handheld" in handheld
    assert handheld.endswith("typed")
    assert "furnace panel" in panel
    assert panel.endswith("typed, of the furnace")
    assert tells(why, "cli.dip.why", number=1)


def test_the_listing_for_programs_is_json_with_the_same(recorded: Path, run: Run) -> None:
    lines = json.loads(run("dip", "--list", "--melt", "2026-014", "--json").out)
    assert [line["number"] for line in lines] == [1, 2, None, None]
    assert [line["probe"] for line in lines] == ["metal", "metal", "handheld", "furnace panel"]
    assert lines[0]["temp_c"] is None
    assert lines[1]["temp_c"] == pytest.approx(565.0, abs=0.5)
    assert [line["temp_c"] for line in lines[2:]] == [562.0, 540.0]
    assert lines[1]["u_c"] > 0.0
    assert lines[1]["depth_mm"] == 60.0


def test_the_listing_speaks_the_unit_asked_for(recorded: Path, run: Run) -> None:
    done = run("dip", "--list", "--melt", "2026-014", "--unit", "F")
    assert "1049 °F" in done.out
    assert "°C" not in done.out
    assert "degC" not in done.out


def test_without_a_number_it_is_the_latest_melt_and_one_with_nothing_says_so(recorded: Path, run: Run) -> None:
    assert run("dip", "--list").out == said("cli.dip.none", melt="2026-015") + "\n"


def test_a_melt_that_is_not_there_and_a_shop_without_melts(recorded: Path, run: Run) -> None:
    unknown = run("dip", "--list", "--melt", "2026-099")
    assert unknown.code == 3
    assert "2026-099" in unknown.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--list", "--read", "500C"), tell("usage.dip.list")),
        (("--list", "--depth", "60mm"), tell("usage.dip.list")),
        (("--melt", "2026-014"), tell("usage.only_with", option="--melt", other="--list")),
        (("--json",), tell("usage.only_with", option="--json", other="--list")),
        (("--read", "500C", "--no-stirred"), tell("usage.dip.read")),
        (("--depth", "nan"), tell("quantity.none", typed="nan", measure="length")),
        (("--depth", "0mm"), tell("cli.dip.depth", figure="0mm")),
    ],
)
def test_what_does_not_go_together_is_said(run: Run, words: tuple[str, ...], told: str | Message) -> None:
    done = run("dip", *words)
    assert done.code == 2
    assert heard(done.err, told)
