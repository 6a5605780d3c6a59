"""What the engine must know before the first input: one furnace, its boards and its probes, frozen."""

from collections.abc import Mapping

import msgspec

from pourcall.contract.calibration import Calibration
from pourcall.contract.reading import Place
from pourcall.contract.settings import Settings
from pourcall.contract.units import Unit


class BoardConfig(msgspec.Struct, frozen=True, kw_only=True):
    """One board this furnace listens to."""

    name: str
    chip: str = ""
    serial: str = ""
    sample_s: float = 1.0


class ProbeConfig(msgspec.Struct, frozen=True, kw_only=True):
    """One thermocouple of this furnace."""

    name: str
    board: str
    channel: str
    tc_type: str = "K"
    wire_class: str = "iec_2"
    place: Place = Place.MELT
    sheath: str = "mineral_6mm"
    rating_c: float = 1100.0
    offset_uv: float = 0.0
    stale_after_s: float = 3.0
    calibration: Calibration | None = None  # in force from the start on; takes the place of offset_uv


class PanelConfig(msgspec.Struct, frozen=True, kw_only=True):
    """The furnace's own panel: what it shows, how it turns, how high it goes."""

    unit: Unit = Unit.C
    step: float = 1.0
    max_c: float = 1300.0


class EngineConfig(msgspec.Struct, frozen=True, kw_only=True):
    """One furnace. `furnace` is its name in every event."""

    furnace: str
    kind: str = "electric"  # or "fuel"
    rating_c: float = 1200.0
    boards: tuple[BoardConfig, ...] = ()
    probes: tuple[ProbeConfig, ...] = ()
    simulated: bool = False
    panel: PanelConfig | None = None


def config_for(
    settings: Settings,
    furnace: str,
    *,
    simulated: bool = False,
    calibrations: Mapping[str, Calibration] | None = None,
) -> EngineConfig:
    """The part of the settings that concerns one furnace. Raises KeyError for a furnace that is not there.

    calibrations: by probe, from the record. They are kept with the session, so that its replay keeps them.
    """
    known = calibrations or {}
    own = settings.furnace[furnace]
    probes = {name: probe for name, probe in settings.probe.items() if probe.furnace == furnace}
    boards = {probe.board for probe in probes.values()}
    return EngineConfig(
        furnace=furnace,
        kind=own.kind,
        rating_c=own.rating_c,
        simulated=simulated,
        panel=None
        if own.panel is None
        else PanelConfig(unit=own.panel.unit, step=own.panel.step, max_c=own.panel.max_c),
        boards=tuple(
            BoardConfig(name=name, chip=board.chip, serial=board.serial, sample_s=board.sample_s)
            for name, board in settings.board.items()
            if name in boards
        ),
        probes=tuple(
            ProbeConfig(
                name=name,
                board=probe.board,
                channel=probe.channel,
                tc_type=probe.type,
                wire_class=probe.wire_class,
                place=probe.place,
                sheath=probe.sheath,
                rating_c=probe.rating_c,
                offset_uv=probe.offset_uv,
                stale_after_s=probe.stale_after_s,
                calibration=known.get(name),
            )
            for name, probe in probes.items()
        ),
    )
