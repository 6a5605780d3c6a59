"""Foresight and profiles in the engine itself: a simulated furnace, a person at the knob, the engine between.

Furnaces and metal are the simulator's (pourcall/sim/scenarios/foresee.py: another structure than the model's); what
is held against the truth is what the engine says through its events and its snapshot, nothing inside it.
"""

import math
from dataclasses import dataclass, field

import msgspec
import pytest

from pourcall.contract import events as ev
from pourcall.contract import inputs as inp
from pourcall.contract.config import BoardConfig, EngineConfig, PanelConfig, ProbeConfig
from pourcall.contract.frames import RawKind, Sample
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MeltPlan, PotLimit
from pourcall.contract.profile_plan import ProfilePlan
from pourcall.contract.reading import Place
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.contract.units import Unit
from pourcall.engine.core import Engine
from pourcall.engine.situation import Ahead
from pourcall.furnace.model import usual_model
from pourcall.profiles.library import ProfileLibrary
from pourcall.profiles.resolve import resolve
from pourcall.sim.scenarios.foresee import SHEATH_S, Workshop
from pourcall.thermometry.sheaths import SHEATHS
from tests.simulated import RULE_OF_SHEATH
from tests.told import number, parts

HIGH, OFF = PowerLevel.HIGH, PowerLevel.OFF


@dataclass
class Watched:
    """One melt: what the engine said, beside what was true."""

    engine: Engine
    aim_c: float
    window_c: tuple[float, float]
    items: list[inp.Input] = field(default_factory=list)
    outs: list[ev.Output] = field(default_factory=list)
    true_c: list[float] = field(default_factory=list)
    shots: list[tuple[float, FurnaceSnapshot]] = field(default_factory=list)

    def put(self, kind: type, at_s: float, **fields: object) -> None:
        """One input of a kind, at its moment."""
        item = kind(seq=len(self.items) + 1, mono_s=at_s, utc_s=1_777_700_000.0 + at_s, **fields)
        self.items.append(item)
        self.outs += self.engine.handle(item)

    def calls(self, kind: ev.CallKind, how: str = "raised") -> list[ev.CallChanged]:
        return [o for o in self.outs if isinstance(o, ev.CallChanged) and o.how == how and o.call.kind is kind]

    @property
    def peak_c(self) -> float:
        return max(self.true_c)


def profile_of(shop: Workshop) -> ProfilePlan:
    limit = PotLimit(limit_c=shop.facts.alloy_max_c, whose="alloy", why="sheet")
    return resolve(ProfileLibrary().default_for(shop.facts.key, shop.facts.family), shop.facts, shop.tap_c, [limit])


def model_of(shop: Workshop) -> FurnaceModel:
    """What the settings of an electric furnace say; as if it had been learned, where `version` is raised."""
    return usual_model(
        "small",
        kind="fuel" if shop.fuel else "electric",
        power_w=shop.panel_w,
        pot_kg=shop.scenario.pot.mass_kg,
        sheath_s=SHEATH_S[shop.sheath],
    )


def watched(shop: Workshop, probe: ProbeConfig, sample_s: float, panel: PanelConfig | None = None) -> Watched:
    """An engine for this furnace, before anything went in."""
    config = EngineConfig(
        furnace="small",
        kind="fuel" if shop.fuel else "electric",
        panel=panel,
        probes=(probe,),
        boards=(BoardConfig(name="bench", sample_s=sample_s),),
    )
    return Watched(Engine(config), profile_of(shop).segments[-1].to_c, shop.tap_c)


def melt(
    seed: int,
    *,
    profile: bool = True,
    learned: bool = False,
    minutes: float = 40.0,
    panel: PanelConfig | None = None,
    obey: bool = True,
) -> Watched:
    """A melt with a person who sets the knob as told after a few seconds; obey=False: who only turned it up."""
    shop = Workshop(seed)
    bout = shop.bout(0, parts=False)
    probe = ProbeConfig(name="metal", board="bench", channel="0", sheath=RULE_OF_SHEATH[shop.sheath], rating_c=1300.0)
    made = watched(shop, probe, 1.0, panel)
    engine, put = made.engine, made.put
    model = model_of(shop)
    if learned:
        model = msgspec.structs.replace(model, version=3)
    plan: MeltPlan = shop.scenario.plans[0]
    start = inp.StartMelt(plan=plan, model=model, profile=profile_of(shop) if profile else None, room_c=bout.room_c)
    put(inp.CommandIn, 0.0, command=start)
    level, pending = OFF, [(5.0, HIGH)]
    heard = 0
    while bout.t_s < minutes * 60.0:
        while pending and pending[0][0] <= bout.t_s:
            level = pending.pop(0)[1]
            put(inp.CommandIn, bout.t_s, command=inp.MarkPower(level=level))
        seen = bout.second(level.value)
        put(inp.SampleIn, seen.t_s, board="bench", sample=Sample("0", RawKind.ITS90_C, seen.reading_c, 22.0, 0))
        put(inp.TickIn, seen.t_s)
        made.true_c.append(seen.metal_c)
        for out in made.outs[heard:]:
            if not obey or not isinstance(out, ev.CallChanged) or out.how == "ended":
                continue
            if out.call.kind is ev.CallKind.CUT_POWER and level is not OFF and not pending:
                pending = [(seen.t_s + 6.0, OFF)]
            elif out.call.kind is ev.CallKind.STEP and out.how == "raised" and bout.t_s > 10.0:
                wanted, _ = engine.guiding.asked
                if wanted is not None and wanted is not OFF:
                    pending = [(seen.t_s + 8.0, wanted)]
        heard = len(made.outs)
        if int(seen.t_s) % 60 == 0:
            made.shots.append((seen.t_s, engine.snapshot()))
    return made


def ahead_at(seen: Watched, out: ev.CallChanged) -> Ahead:
    """What the forecast told the rest of the engine when this call was raised."""
    engine = Engine(seen.engine.config)
    for item in seen.items:
        engine.handle(item)
        if item.seq == out.seq:
            break
    return engine.guiding.ahead(out.mono_s)


@pytest.fixture(scope="module")
def guided() -> Watched:
    return melt(5001)


@pytest.fixture(scope="module")
def plain() -> Watched:
    return melt(5001, profile=False, learned=True)


def test_a_guided_melt_is_told_to_cut_before_the_aim_and_peaks_inside_the_window(guided: Watched) -> None:
    cut = guided.calls(ev.CallKind.CUT_POWER)
    assert cut
    at_s = next(i for i, c in enumerate(guided.true_c) if c >= guided.aim_c - 40.0)
    assert cut[0].mono_s >= at_s - 300.0
    assert guided.window_c[0] - 3.0 <= guided.peak_c <= guided.window_c[1] + 3.0


def test_the_hand_is_asked_onto_the_knob_and_counted_down_before_the_cut(guided: Watched) -> None:
    cut_s = guided.calls(ev.CallKind.CUT_POWER)[0].call.raised_mono_s
    steps = [out.call for out in guided.calls(ev.CallKind.STEP) if out.call.raised_mono_s <= cut_s]
    said = [(step.raised_mono_s, step.text) for step in steps if isinstance(step.text, Message)]
    asked_s = [at for at, text in said if text.name == "profile.hand_on_knob"]
    counted = [number(text, "count") for _, text in said if text.name == "profile.count"]
    assert asked_s
    assert 20.0 < cut_s - asked_s[-1] < 90.0
    assert counted[-1] == 1
    assert counted == sorted(counted, reverse=True)


def test_the_forecast_lags_by_the_sheath_of_today_not_of_the_melts_it_was_learned_from() -> None:
    shop = Workshop(5003)
    probe = ProbeConfig(name="metal", board="bench", channel="0", sheath="ceramic_tube", rating_c=1300.0)
    made = watched(shop, probe, 1.0)
    learned = msgspec.structs.replace(model_of(shop), version=3, sheath_s=1.3)
    made.put(inp.CommandIn, 0.0, command=inp.StartMelt(plan=shop.scenario.plans[0], model=learned))
    forecast = made.engine.guiding.tracker.forecast
    assert forecast is not None
    assert forecast.model.sheath_s == SHEATHS["ceramic_tube"].tau_metal_s
    assert forecast.model.version == 3


def test_time_to_ready_is_shown_with_an_interval_and_comes_true(guided: Watched) -> None:
    ready_s = next(float(i) for i, c in enumerate(guided.true_c) if c >= guided.window_c[0])
    looked = [
        (t, shot.ahead) for t, shot in guided.shots if shot.ahead is not None and 0.5 * ready_s <= t <= 0.85 * ready_s
    ]
    assert len(looked) >= 3
    for t, ahead in looked:
        assert ahead.ready_s is not None
        assert ahead.ready_s.mid is not None
        assert ahead.ready_s.low is not None
        assert ahead.ready_s.low <= ahead.ready_s.mid
        assert abs(ahead.ready_s.mid - (ready_s - t)) <= 0.2 * ready_s


def test_the_band_starts_where_the_metal_is_and_reaches_on(guided: Watched) -> None:
    _, shot = guided.shots[8]
    assert shot.ahead is not None
    band = shot.ahead.band
    assert len(band) >= 20
    assert all(low < high for _, low, high in band)
    first_s, low, high = band[0]
    truth_c = guided.true_c[int(shot.ahead.at_mono_s + first_s)]
    assert low - 25.0 <= truth_c <= high + 25.0


def test_looking_changes_nothing(guided: Watched) -> None:
    """The same inputs without a single look at the snapshot give the same bytes."""
    engine = Engine(guided.engine.config)
    outs = [out for item in guided.items for out in engine.handle(item)]
    assert msgspec.json.encode(outs) == msgspec.json.encode(guided.outs)


def test_the_profile_is_on_record_as_it_began_and_as_it_moves(guided: Watched) -> None:
    said = [out for out in guided.outs if isinstance(out, ev.ProfileChanged)]
    assert said[0].how == "began"
    assert said[0].plan is not None
    assert said[0].plan.hash == said[0].hash
    assert [one.how for one in said[1:]] == ["moved"] * (len(said) - 1)
    assert said[-1].segment > 1


def test_a_step_that_asked_for_power_is_over_once_the_knob_is_marked(guided: Watched) -> None:
    steps = guided.calls(ev.CallKind.STEP)
    assert steps
    ended = guided.calls(ev.CallKind.STEP, "ended")
    assert any(one.why == tell("call.ended.power_set") for one in ended)


def test_without_a_profile_a_learned_furnace_calls_the_cut_by_its_coast(plain: Watched) -> None:
    cut = plain.calls(ev.CallKind.CUT_POWER)
    assert cut
    ahead = ahead_at(plain, cut[0])
    assert ahead.cut_due
    assert not ahead.guided
    assert plain.peak_c <= plain.window_c[1] + 3.0


def test_what_lies_ahead_is_gone_once_the_pot_is_lifted_and_once_the_melt_is_over(plain: Watched) -> None:
    engine = Engine(plain.engine.config)
    for item in plain.items[: len(plain.items) // 2]:
        engine.handle(item)
    assert engine.snapshot().ahead is not None
    last = plain.items[len(plain.items) // 2 - 1]

    def put(kind: type, after_s: float, **fields: object) -> None:
        engine.handle(kind(seq=last.seq + 1, mono_s=last.mono_s + after_s, utc_s=last.utc_s + after_s, **fields))

    put(inp.CommandIn, 1.0, command=inp.MarkLift())
    put(inp.TickIn, 2.0)
    assert engine.snapshot().ahead is None
    put(inp.CommandIn, 3.0, command=inp.EndMelt(ending=inp.MeltEnding.POURED))
    assert engine.snapshot().ahead is None


def test_answering_done_to_the_cut_marks_the_power_off_and_not_now_keeps_it() -> None:
    seen = melt(5001, profile=False, learned=True, obey=False, minutes=35.0)
    cut = seen.calls(ev.CallKind.CUT_POWER)
    assert cut
    upto = next(i for i, item in enumerate(seen.items) if item.seq > cut[0].seq)
    for answer, level in ((inp.Answer.DONE, OFF), (inp.Answer.NOT_NOW, HIGH)):
        engine = Engine(seen.engine.config)
        for item in seen.items[:upto]:
            engine.handle(item)
        assert engine.calls.up(ev.CallKind.CUT_POWER) is not None
        last = seen.items[upto - 1]
        engine.handle(
            inp.CommandIn(
                seq=last.seq + 1,
                mono_s=last.mono_s,
                utc_s=last.utc_s,
                command=inp.AnswerCall(call="cut_power", answer=answer),
            )
        )
        assert engine.snapshot().power is level
        assert engine.calls.up(ev.CallKind.CUT_POWER) is None


def test_the_panel_is_named_in_its_own_unit_and_step() -> None:
    seen = melt(5001, panel=PanelConfig(unit=Unit.F, step=5.0, max_c=1100.0), obey=False, minutes=2.0)
    step = seen.calls(ev.CallKind.STEP)[0]
    dial = next(one for one in parts(step.call.text, "steps") if one.name == "profile.dial")
    assert dial.facts["panel_unit"] == "degF"
    shot = seen.engine.snapshot()
    assert shot.profile is not None
    assert shot.profile.dial == dial.facts["dial"]
    assert shot.profile.dial is not None
    assert shot.profile.dial % 5.0 == 0.0
    assert shot.profile.dial_unit is Unit.F
    assert shot.profile.advice == step.call.text


@pytest.fixture
def running() -> Engine:
    return melt(5001, minutes=3.0).engine


def told(engine: Engine, command: inp.Command) -> list[ev.Output]:
    now = engine.snapshot()
    at_s, utc_s = now.mono_s + 1.0, now.utc_s + 1.0
    return engine.handle(inp.CommandIn(seq=now.seq + 1, mono_s=at_s, utc_s=utc_s, command=command))


def test_a_stopped_profile_says_no_more_and_the_power_stays(running: Engine) -> None:
    before = running.snapshot().power
    outs = told(running, inp.StopProfile())
    assert [out.how for out in outs if isinstance(out, ev.ProfileChanged)] == ["stopped"]
    shot = running.snapshot()
    assert shot.profile is not None
    assert shot.profile.stopped
    assert shot.power is before
    assert not any(call.kind is ev.CallKind.STEP for call in shot.calls)
    refused = [out for out in told(running, inp.NextSegment()) if isinstance(out, ev.CommandRefused)]
    assert refused[0].what == tell("guidance.none_runs")


def test_going_on_is_refused_on_a_ramp_with_the_reason(running: Engine) -> None:
    refused = [out for out in told(running, inp.NextSegment()) if isinstance(out, ev.CommandRefused)]
    assert refused[0].what == tell("guidance.ramp")


def test_a_profile_for_another_alloy_or_beyond_a_limit_is_refused_in_words(running: Engine) -> None:
    assert running.run is not None
    plan = profile_of(Workshop(5001))
    other = msgspec.structs.replace(plan, alloy="pewter")
    hot = msgspec.structs.replace(
        plan, segments=(msgspec.structs.replace(plan.segments[0], to_c=running.run.plan.lowest_limit.limit_c + 1.0),)
    )
    limit = running.run.plan.lowest_limit
    for wrong, why in (
        (other, tell("guidance.other_alloy", profile_alloy="pewter", alloy=running.run.plan.alloy.key)),
        (hot, tell("guidance.above_limit", to_c=limit.limit_c + 1.0, whose=limit.whose, limit_c=limit.limit_c)),
    ):
        refused = [out for out in told(running, inp.RunProfile(profile=wrong)) if isinstance(out, ev.CommandRefused)]
        assert refused[0].what == why
        assert refused[0].remedy
    assert running.snapshot().profile is not None


def test_another_profile_in_mid_melt_goes_on_from_where_the_metal_is(guided: Watched) -> None:
    engine = Engine(guided.engine.config)
    for item in guided.items[: int(0.9 * len(guided.items))]:
        engine.handle(item)
    metal_c = engine.snapshot().metal.temp_c
    assert metal_c is not None
    plan = profile_of(Workshop(5001))
    outs = told(engine, inp.RunProfile(profile=msgspec.structs.replace(plan, name="another")))
    said = next(out for out in outs if isinstance(out, ev.ProfileChanged))
    assert said.how in ("changed", "began")
    assert said.segment > 1
    kept = [
        out.plan.name for out in [*guided.outs, *outs] if isinstance(out, ev.ProfileChanged) and out.plan is not None
    ]
    assert kept == [plan.name, "another"]  # both are on record


def test_a_forecast_that_cannot_be_reckoned_is_silent_and_the_melt_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = melt(5001, minutes=3.0)
    ahead = seen.engine.guiding.tracker.forecast
    assert ahead is not None

    def broken(*_: object, **__: object) -> None:
        raise OverflowError("math range error")

    monkeypatch.setattr(ahead, "tick", broken)
    for second in range(1, 12):
        item = inp.TickIn(seq=seen.items[-1].seq + second, mono_s=180.0 + second, utc_s=1_777_700_180.0 + second)
        seen.engine.handle(item)
    shot = seen.engine.snapshot()
    assert shot.ahead is not None
    assert shot.ahead.why == tell("forecast.stopped", error="math range error")
    assert shot.ahead.ready_s is None
    assert shot.melt


def by_dips(seed: int, minutes: float = 45.0) -> Watched:
    """A melt known by dips alone: the probe hangs in air, goes in for twelve seconds when told; nothing else tells."""
    shop = Workshop(seed)
    bout = shop.bout(0, parts=False)
    probe = ProbeConfig(
        name="metal", board="bench", channel="0", place=Place.DIP, sheath="mineral_3mm", rating_c=1300.0
    )
    made = watched(shop, probe, 0.5)
    engine, put = made.engine, made.put
    model = msgspec.structs.replace(model_of(shop), version=3)
    put(inp.CommandIn, 0.0, command=inp.StartMelt(plan=shop.scenario.plans[0], model=model, profile=profile_of(shop)))
    level, dips_from, dipped_s, tip_c, off_s = OFF, None, -1e9, 60.0, None
    while bout.t_s < minutes * 60.0 and (off_s is None or bout.t_s < off_s + 600.0):
        if bout.t_s == 5.0:
            level = HIGH
            put(inp.CommandIn, bout.t_s, command=inp.MarkPower(level=level))
        seen = bout.second(level.value)
        made.true_c.append(seen.metal_c)
        for half in (0.5, 1.0):
            at_s = seen.t_s - 1.0 + half
            inside = dips_from is not None and at_s <= dips_from + 12.0
            tau_s = 1.3 if inside else 6.0
            tip_c += (1.0 - math.exp(-0.5 / tau_s)) * ((seen.metal_c if inside else 60.0) - tip_c)
            put(inp.SampleIn, at_s, board="bench", sample=Sample("0", RawKind.ITS90_C, round(4 * tip_c) / 4, 22.0, 0))
        put(inp.TickIn, seen.t_s)
        if dips_from is not None and seen.t_s > dips_from + 40.0:
            dips_from, dipped_s = None, seen.t_s
        told = engine.calls.up(ev.CallKind.DIP) is not None
        if dips_from is None and told and seen.t_s - dipped_s > 30.0:
            dips_from = seen.t_s + 4.0
        cut = engine.calls.up(ev.CallKind.CUT_POWER)
        if cut is not None and level is not OFF and seen.t_s - cut.raised_mono_s >= 6.0:
            level, off_s = OFF, seen.t_s
            put(inp.CommandIn, seen.t_s, command=inp.MarkPower(level=level))
    return made


@pytest.mark.parametrize("seed", [5001, 5006])  # burners that nobody knows anything of
def test_by_dips_alone_the_first_is_asked_for_in_time_and_the_cut_is_called_by_reckoning(seed: int) -> None:
    seen = by_dips(seed)
    asked = seen.calls(ev.CallKind.DIP)
    assert asked
    could_be_c = ahead_at(seen, asked[0]).could_be_c  # no dip told anything yet: by the model alone
    assert could_be_c is not None
    assert could_be_c >= seen.window_c[0]
    assert seen.true_c[int(asked[0].mono_s)] <= seen.window_c[0]  # early enough, however little the furnace is known
    cut = seen.calls(ev.CallKind.CUT_POWER)
    assert cut
    assert seen.peak_c <= seen.window_c[1] + 3.0
    assert not [out for out in seen.outs if isinstance(out, ev.AlarmChanged)]


def test_after_a_dip_that_found_it_solid_it_is_left_alone_for_a_while() -> None:
    seen = by_dips(5001, minutes=14.0)
    dips = [out for out in seen.outs if isinstance(out, ev.DipRecorded)]
    asked = seen.calls(ev.CallKind.DIP)
    assert dips[0].dip.temp_c is None
    assert asked[1].mono_s - dips[0].mono_s >= 140.0
    assert seen.calls(ev.CallKind.DIP, "ended")[0].why == tell("call.ended.dipped")
