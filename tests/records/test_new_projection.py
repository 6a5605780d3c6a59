"""A projection added by the recipe of DEVELOPERS.md: its event is a `RecordOnly`, and the record alone sees it."""

import asyncio
import logging
from types import SimpleNamespace
from typing import Any

import pytest

from pourcall.cli.probes.replay_command import _told
from pourcall.contract import events as ev
from pourcall.contract.message import NOTHING
from pourcall.daemon.service import Service


class PotWeighed(ev.RecordOnly, frozen=True, tag="pot_weighed"):
    """The pot with what is in it was put on the scale."""

    mass_kg: float


WEIGHED: Any = PotWeighed(furnace="crucible", seq=7, mono_s=120.0, utc_s=1.8e9, mass_kg=2.35)


def test_the_replay_of_a_trace_file_says_nothing_of_it() -> None:
    assert _told(WEIGHED) == NOTHING


def test_the_log_says_nothing_of_it(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    nothing_due = SimpleNamespace(due=lambda processed: False)
    service: Any = SimpleNamespace(traces={}, _wake=None, stopping=asyncio.Event(), lift_plans=nothing_due)
    Service._on_processed(service, SimpleNamespace(furnace="crucible", outputs=[WEIGHED]))  # type: ignore[arg-type]
    assert caplog.records == []


def test_an_event_that_somebody_must_be_told_of_is_not_passed_over_in_silence() -> None:
    class Told(ev._Event, frozen=True, tag="told"):
        """Not a `RecordOnly`."""

    told: Any = Told(furnace="crucible", seq=7, mono_s=120.0, utc_s=1.8e9)
    with pytest.raises(AssertionError):
        _told(told)
