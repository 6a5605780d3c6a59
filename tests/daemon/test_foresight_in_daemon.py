"""The daemon and what was learned: models from the record into a melt, profiles by name, both over a restart.

A real record on disk, a real recorder; no ports. The fit is a stand-in here (tests/foresight holds the real one).
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import msgspec
import pytest

from pourcall.contract.api import ProfileRequest, StartRequest
from pourcall.contract.errors import BadTrace, NotFound, OutOfRange, PourcallError, Refused
from pourcall.contract.furnace_model import FurnaceModel
from pourcall.contract.inputs import EndMelt, MeltEnding, StartMelt, StopProfile
from pourcall.contract.message import tell
from pourcall.contract.paths import Paths
from pourcall.contract.plan import MouldRequest
from pourcall.contract.settings import parse_settings
from pourcall.contract.units import Unit
from pourcall.daemon.learning import SETTLE_S, Learner, fit_apart
from pourcall.daemon.main import Daemon
from pourcall.daemon.service import Service
from pourcall.furnace.model import usual_model
from pourcall.furnace.training import Fitted, Job
from pourcall.records.entries.calibrations import write_aside
from pourcall.records.entries.furnace_models import keep_model, latest_model
from pourcall.records.read.journal import read_inputs
from pourcall.records.read.store import Store
from pourcall.sim.clock import SimClock
from tests.told import refused

SETTINGS = """
[board.bench]
port = "/dev/null-board"

[furnace.club]
kind = "electric"
power_w = 2200.0

[furnace.club.panel]
unit = "degF"
step = 5

[probe.metal]
furnace = "club"
board = "bench"
channel = "0"
"""
CLEAT = MouldRequest(name="cleat 1", mass_kg=0.6, thinnest_mm=6.0)


@asynccontextmanager
async def running(paths: Paths, clock: SimClock) -> AsyncIterator[Service]:
    daemon = Daemon(parse_settings(SETTINGS), SETTINGS, paths, clock=clock, simulated=True)
    await daemon.start()
    try:
        assert daemon.service is not None
        yield daemon.service
    finally:
        await daemon.stop()


def learned(version: int = 1) -> FurnaceModel:
    return msgspec.structs.replace(
        usual_model("club", power_w=2100.0), version=version, melts=("2026-001",), note="", panel_offset_c=-12.0
    )


def begun(paths: Paths) -> list[StartMelt]:
    """Every start of a melt in the journal, as the engine got it."""
    with Store.read(paths.database) as store:
        inputs = [item for session in store.sessions() for item in read_inputs(store, session.id)]
    return [command for item in inputs if isinstance(command := getattr(item, "command", None), StartMelt)]


async def test_a_melt_takes_the_usual_model_first_and_the_learned_one_once_there_is_one(paths: Paths) -> None:
    clock = SimClock()
    async with running(paths, clock) as service:
        await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.5, later_kg=0.4, moulds=(CLEAT,)))
        service.sequencer("club").tick()
        shot = service.sequencer("club").snapshot()
        assert shot.ahead is not None
        assert shot.ahead.model_version == 0
        assert shot.plan is not None
        assert shot.plan.later_kg == pytest.approx(0.4)
        write_aside(paths.database, lambda conn: keep_model(conn, learned()), utc_s=clock.utc_s())
        still = service.sequencer("club").snapshot().ahead
        assert still is not None
        assert still.model_version == 0  # frozen while the melt runs
        await service.command("club", EndMelt(ending=MeltEnding.POURED))
        await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.5, moulds=(CLEAT,)))
        service.sequencer("club").tick()
        ahead = service.sequencer("club").snapshot().ahead
        assert ahead is not None
        assert ahead.model_version == 1
    first, second = begun(paths)
    assert first.model is not None
    assert first.model.power_known
    assert first.model.version == 0
    assert second.model == learned()  # whole, in the journal: a replay needs no record of models


async def test_a_profile_is_looked_up_by_name_and_its_dial_takes_the_offset_of_the_panel(paths: Paths) -> None:
    clock = SimClock()
    async with running(paths, clock) as service:
        write_aside(paths.database, lambda conn: keep_model(conn, learned()), utc_s=clock.utc_s())
        with refused(Refused, "daemon.no_melt", furnace="club"):
            await service.run_profile("club", ProfileRequest())
        await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.5, moulds=(CLEAT,)))
        result = await service.run_profile("club", ProfileRequest(who="ann"))
        assert result.accepted
        with pytest.raises(NotFound):
            await service.run_profile("club", ProfileRequest(profile="no_such"))
        service.sequencer("club").tick()
        view = service.sequencer("club").snapshot().profile
        assert view is not None
        assert view.segment == 1
        fahrenheit = (view.to_c + 12.0) * 1.8 + 32.0  # metal stands 12 degC below what the panel shows
        assert view.dial_unit is Unit.F
        assert view.dial == pytest.approx(fahrenheit, abs=2.5)
        assert view.dial is not None
        assert view.dial % 5.0 == 0.0
    with Store.read(paths.database) as store, store.reading() as conn:
        who, body = conn.execute(
            "SELECT r.who, t.body FROM profile_runs r JOIN texts t ON t.hash = r.text_hash"
        ).fetchone()
    assert who == "ann"
    assert msgspec.json.decode(body)["alloy"] == "za27"


async def test_more_to_be_added_than_the_whole_charge_is_refused(paths: Paths) -> None:
    async with running(paths, SimClock()) as service:
        with refused(OutOfRange, "charge_plan.wrong.later", later_kg=1.2, charge_kg=1.0):
            await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.0, later_kg=1.2))


async def test_a_profile_goes_on_after_a_restart_unless_it_was_stopped(paths: Paths) -> None:
    clock = SimClock()
    async with running(paths, clock) as service:
        await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.5, moulds=(CLEAT,), profile="default"))
    async with running(paths, clock) as service:
        view = service.sequencer("club").snapshot().profile
        assert view is not None
        assert not view.stopped
        await service.command("club", StopProfile())
    async with running(paths, clock) as service:
        shot = service.sequencer("club").snapshot()
        assert shot.melt
        assert shot.profile is None


class Fit:
    """A stand-in for the process that fits: gives a model, or fails as told."""

    def __init__(self, error: PourcallError | None = None) -> None:
        self.jobs: list[Job] = []
        self.error = error

    async def __call__(self, job: Job) -> Fitted:
        self.jobs.append(job)
        if self.error is not None:
            raise self.error
        model = msgspec.structs.replace(job.prior, version=job.version, melts=tuple(t.melt for t in job.traces))
        return Fitted(model=model, traces=(), refused=(), cost=0.0)


async def settled(clock: SimClock, learner: Learner) -> None:
    await asyncio.sleep(0)  # it hears of the melt that ended
    await clock.advance(SETTLE_S)
    await asyncio.wait_for(learner.idle(), 30.0)


@pytest.mark.parametrize(
    "error", [None, BadTrace(tell("furnace.no_melt")), PourcallError(tell("furnace.not_installed"))]
)
async def test_a_melt_that_ended_is_learned_from_and_a_failed_fit_harms_nothing(
    paths: Paths, error: PourcallError | None
) -> None:
    clock, fit = SimClock(), Fit(error)
    async with running(paths, clock) as service:
        assert service.recorder is not None
        store = Store.read(paths.database)
        learner = Learner(store, service.recorder, service.usual_model, clock, service.in_thread, fit=fit)
        service.keep("learning", learner.run, learner.on_passed)
        for _ in range(2):
            await service.start_melt("club", StartRequest(alloy="za27", charge_kg=1.5, moulds=(CLEAT,)))
            await service.command("club", EndMelt(ending=MeltEnding.POURED))
            await settled(clock, learner)
        store.close()
    assert [len(job.traces) for job in fit.jobs] == [1, 2]
    with Store.read(paths.database) as store, store.reading() as conn:
        found = latest_model(conn, "club")
    if error is None:
        assert found is not None
        assert found.version == 2
        assert len(found.melts) == 2
    else:
        assert found is None


def job(furnace: str = "club") -> Job:
    return Job(prior=usual_model(furnace), traces=(), utc_s=1.0, version=1)


async def test_a_fit_in_a_process_of_its_own_sends_its_refusal_home(children: Callable[[], set[int]]) -> None:
    before = children()
    with refused(BadTrace, "furnace.nothing", furnace="club"):
        await fit_apart(job())
    assert children() == before


@pytest.mark.parametrize("turns", [0, 1, 2, 3, 4, 6, 10, 30])
async def test_a_stop_in_a_fit_ends_its_process_at_any_turn_of_the_loop(
    children: Callable[[], set[int]], turns: int
) -> None:
    before = children()
    fitting = asyncio.create_task(fit_apart(job()))
    for _ in range(turns):
        await asyncio.sleep(0)
    fitting.cancel()
    await asyncio.sleep(0)
    fitting.cancel()  # whoever stops it may be in a hurry
    await asyncio.gather(fitting, return_exceptions=True)
    assert fitting.cancelled()
    assert children() == before


async def test_a_fit_that_finds_no_room_for_its_files_says_so_and_ends_no_daemon(
    monkeypatch: pytest.MonkeyPatch, paths: Paths
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(paths.data / "not there"))
    with refused(PourcallError, "daemon.learning_failed"):
        await fit_apart(job())
