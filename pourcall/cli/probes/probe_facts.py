"""What is known of a probe, by the settings, or by the newest record where they do not name it."""

import getpass
from typing import TYPE_CHECKING

from pourcall.cli.common import our_paths, settings_or_none
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import tell

if TYPE_CHECKING:
    from pourcall.calibration.correction import ProbeFacts


def facts_of(name: str, furnace: str = "") -> "ProbeFacts":
    """Type, class, sheath and board of a probe. Raises NotFound with the names there are, BadInput for the furnace."""
    from pourcall.calibration.correction import ProbeFacts

    settings = settings_or_none()
    if settings is not None and name in settings.probe:
        own = settings.probe[name]
        if furnace and own.furnace != furnace:
            raise BadInput(
                tell("cli.probe_elsewhere", probe=name, furnace=own.furnace),
                remedy=tell("usage.leave_out", option="--furnace"),
            )
        chip = settings.board[own.board].chip
        return ProbeFacts(name, own.furnace, own.type, own.wire_class, chip, own.sheath, own.offset_uv)
    found = _on_record(name, furnace)
    if found is not None:
        return found
    known = ", ".join(settings.probe) if settings is not None else ""
    raise NotFound(
        tell("cli.no_probe", probe=name),
        remedy=tell("cli.no_probe.remedy", probes=known) if known else tell("settings.none.remedy"),
    )


def _on_record(name: str, furnace: str) -> "ProbeFacts | None":
    from pourcall.calibration.correction import ProbeFacts
    from pourcall.records.entries.calibrations import latest_config
    from pourcall.records.read.store import Store

    path = our_paths().database
    if not path.exists():
        return None
    with Store.read(path) as store, store.reading() as conn:
        config = latest_config(conn, name, furnace)
    if config is None:
        return None
    own = next(probe for probe in config.probes if probe.name == name)
    chip = next((board.chip for board in config.boards if board.name == own.board), "")
    return ProbeFacts(name, config.furnace, own.tc_type, own.wire_class, chip, own.sheath, own.offset_uv)


def who_of() -> str:
    """The user of this computer; empty where it does not say."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
