"""The settings file. One TOML file, typed; unknown keys are refused with the nearest valid key.

Every fault in the file is told at once, table by table. Nothing is read from disk here: text in, Settings out.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from pourcall.contract.errors import BadInput, BadSettings
from pourcall.contract.message import tell
from pourcall.contract.reading import Place
from pourcall.contract.toml_tables import Checker, Fault, as_found, hint, near, parse_toml, told
from pourcall.contract.units import Unit
from pourcall.contract.version import SETTINGS_SCHEMA

Name = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9_]{0,30}$")]
TcType = Literal["B", "E", "J", "K", "N", "R", "S", "T"]
WireClass = Literal["iec_1", "iec_2", "iec_3", "astm_special", "astm_standard"]


AirLimits = Literal["strictest", "us", "canada", "eu", "uk", "germany"]  # whose exposure limits count


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Common to all tables: a typo must stop the start-up, not be ignored."""


class Shop(_Table, frozen=True):
    """The shop as a whole."""

    name: str = "workshop"
    unit: Unit = Unit.C
    volume_m3: Annotated[float, Meta(gt=0, le=1_000_000)] = 50.0  # of the shop's air, for fume
    air_changes_per_h: Annotated[float, Meta(gt=0, le=1000)] = 2.0
    air: Literal["indoors", "extraction", "outdoors"] = "indoors"
    air_limits: AirLimits = "strictest"
    demonstration: bool = False  # all records beside these settings are invented


class Board(_Table, frozen=True):
    """One serial amplifier."""

    port: str  # "/dev/ttyACM0", "COM3", "usb:SERIAL", "socket://host:port"
    format: str = "pourcall"  # a word of drivers/wire/registry.py, which looks at it
    baud: Annotated[int, Meta(ge=300, le=4_000_000)] = 115_200
    chip: Literal["max31855", "max31856", "mcp960x", "emf", ""] = ""
    serial: str = ""  # the board's own serial; another board on the port is `identity_mismatch`
    columns: dict[str, str] = {}  # for `text`: column name or number -> channel
    unit: Literal["degC", "degF", "K", "uV", "mV"] = "degC"  # for `text`
    sample_s: Annotated[float, Meta(gt=0, le=60)] = 1.0  # time between samples of one channel


class Pot(_Table, frozen=True):
    """The pot, as far as limits and losses need it."""

    rating_c: Annotated[float, Meta(gt=0, le=2000)] = 1200.0
    mass_kg: Annotated[float, Meta(ge=0, le=100)] = 0.8
    mouth_mm: Annotated[float, Meta(gt=0, le=1000)] = 90.0
    height_mm: Annotated[float, Meta(gt=0, le=1000)] = 110.0


class Panel(_Table, frozen=True):
    """The furnace's own panel controller: how it shows and turns, so that advice names the figure to dial."""

    unit: Unit = Unit.C
    step: Annotated[float, Meta(gt=0, le=100)] = 1.0  # smallest change of its setpoint, in its unit
    max_c: Annotated[float, Meta(gt=0, le=2000)] = 1300.0  # highest setpoint it takes


class Furnace(_Table, frozen=True):
    """One furnace. Every id and command carries its name."""

    kind: Literal["electric", "fuel"] = "electric"
    rating_c: Annotated[float, Meta(gt=0, le=2000)] = 1200.0
    power_w: Annotated[float, Meta(gt=0, le=200_000)] | None = None
    transfer_loss_c: Annotated[float, Meta(ge=0, le=300)] | None = None  # pot to lip; None: reckoned
    lifted_c_per_s: Annotated[float, Meta(gt=0, le=20)] | None = None  # as measured with this pot; replaces the physics
    walk_s: Annotated[float, Meta(ge=0, le=600)] = 20.0  # from the lift to the first mould
    pot: Pot = Pot()
    panel: Panel | None = None  # None: only a knob or a burner; advice says off, low, high


class Probe(_Table, frozen=True):
    """One thermocouple."""

    furnace: Name
    board: Name
    channel: str = "0"
    type: TcType = "K"
    wire_class: WireClass = "iec_2"
    place: Place = Place.MELT
    sheath: Literal["thin", "mineral_3mm", "mineral_6mm", "ceramic_tube"] = "mineral_6mm"
    rating_c: Annotated[float, Meta(gt=0, le=1820)] = 1100.0
    offset_uv: Annotated[float, Meta(ge=-2000, le=2000)] = 0.0  # calibration, in emf
    stale_after_s: Annotated[float, Meta(ge=0.5, le=60)] = 3.0


class Mqtt(_Table, frozen=True):
    """Publishing over MQTT; off unless a host is named."""

    host: str = ""
    port: Annotated[int, Meta(ge=1, le=65535)] = 1883
    username: str = ""
    password: str = ""
    topic: str = "pourcall"
    readings_every_s: Annotated[float, Meta(ge=0.1, le=3600)] = 1.0


class Sound(_Table, frozen=True):
    """What the dashboard may use to be heard."""

    player: Literal["auto", "bell", "off"] = "auto"
    volume: Annotated[float, Meta(ge=0, le=1)] = 0.8


class Settings(_Table, frozen=True):
    """The whole file."""

    schema: int = SETTINGS_SCHEMA
    shop: Shop = Shop()
    board: dict[Name, Board] = {}
    furnace: dict[Name, Furnace] = {}
    probe: dict[Name, Probe] = {}
    mqtt: Mqtt = Mqtt()
    sound: Sound = Sound()


_TABLES: dict[str, tuple[type[_Table], bool]] = {  # name -> (type, is a table of named tables)
    "shop": (Shop, False),
    "board": (Board, True),
    "furnace": (Furnace, True),
    "probe": (Probe, True),
    "mqtt": (Mqtt, False),
    "sound": (Sound, False),
}


def parse_settings(
    text: str,
    *,
    where: str = "settings",
    board_faults: Callable[[Mapping[str, Board]], Iterable[Fault]] = lambda boards: (),
) -> Settings:
    """Settings from TOML text. Raises BadSettings with every fault found: syntax, keys, values, cross-checks.

    board_faults: what is wrong with the wire formats of boards, `drivers.wire.registry.board_faults`.
    """
    try:
        file = Checker(parse_toml(text))
    except BadInput as err:
        raise refused([Fault("", tell("toml.said", what=err.what))], where=where) from err
    tables: dict[str, Any] = {}
    for key, value in file.raw.items():
        if key == "schema":
            if value != SETTINGS_SCHEMA:
                file.add(key, tell("settings.schema", schema=SETTINGS_SCHEMA, found=as_found(value)))
        elif key not in _TABLES:
            file.add(f"[{key}]", tell("toml.unknown_table", hint=hint(key, _TABLES)), near(key, _TABLES))
        else:
            kind, named = _TABLES[key]
            table = file.headed(key, f"[{key}]")
            if table is not None:
                tables[key] = _named_tables(table, key, kind) if named else table.struct(kind)
    boards = tables.get("board", {})
    file.faults.extend(board_faults({name: board for name, board in boards.items() if board is not None}))
    if not file.faults:
        settings = Settings(**tables)
        _cross_checks(file, settings)
        if not file.faults:
            return settings
    raise refused(file.faults, where=where)


def refused(faults: Sequence[Fault], *, where: str) -> BadSettings:
    """The error that tells all faults of the settings."""
    what = tell("settings.faults", count=len(faults), faults=told(faults))
    return BadSettings(what, where=where, remedy=tell("settings.faults.remedy"))


def _named_tables(tables: Checker, key: str, kind: type[_Table]) -> dict[str, _Table | None]:
    """`[board.bench]` and the like, by name; None for one with faults."""
    made: dict[str, _Table | None] = {}
    for name in tables.raw:
        table = tables.headed(name, f"[{key}.{name}]")
        if table is not None:
            if not _is_name(name):
                table.add("", tell("settings.name"))
            made[name] = table.struct(kind)
    return made


def _is_name(name: str) -> bool:
    try:
        msgspec.convert(name, Name)
    except msgspec.ValidationError:
        return False
    return True


def _cross_checks(file: Checker, settings: Settings) -> None:
    """Faults that only show between tables: dangling names, two probes on one input, two boards on one port."""
    seen: dict[tuple[str, str], str] = {}
    for name, probe in settings.probe.items():
        for kind, wanted, known in (
            ("furnace", probe.furnace, settings.furnace),
            ("board", probe.board, settings.board),
        ):
            if wanted not in known:
                what = tell("settings.no_such", table=f"[{kind}.{wanted}]", hint=hint(wanted, known))
                file.add(f"[probe.{name}] {kind}", what, near(wanted, known))
        place = (probe.board, probe.channel)
        if place in seen:
            what = tell("settings.same_input", board=place[0], channel=place[1], table=f"[probe.{seen[place]}]")
            file.add(f"[probe.{name}] channel", what)
        seen[place] = name
    ports: dict[str, str] = {}
    for name, board in settings.board.items():
        if board.port in ports:
            what = tell("settings.same_port", port=board.port, table=f"[board.{ports[board.port]}]")
            file.add(f"[board.{name}] port", what)
        ports[board.port] = name
