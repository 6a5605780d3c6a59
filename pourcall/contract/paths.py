"""Where things lie on this computer. Pure: environment and platform are arguments, nothing is created here.

Linux and other Unix: XDG Base Directory Specification 0.8. macOS and Windows: their usual folders.
POURCALL_HOME puts everything below one folder: for a USB stick, a test, the demo.
"""

from collections.abc import Mapping
from pathlib import Path

import msgspec


class Paths(msgspec.Struct, frozen=True, kw_only=True):
    """The files and folders of one installation."""

    settings: Path
    alloys: Path  # the user's own sheets
    profiles: Path
    data: Path
    database: Path
    photos: Path
    log: Path
    runtime: Path  # 0700
    socket: Path  # 0600
    lock: Path
    token: Path  # for loopback TCP, where Unix sockets are missing


def paths_for(env: Mapping[str, str], platform: str, home: Path) -> Paths:
    """Paths from an environment (`os.environ`), a platform (`sys.platform`) and a home folder."""
    whole = env.get("POURCALL_HOME", "")
    if whole:
        base = Path(whole).expanduser()
        config, data, runtime = base / "settings", base / "data", base / "run"
    elif platform == "win32":
        roaming = Path(env.get("APPDATA") or home / "AppData" / "Roaming")
        local = Path(env.get("LOCALAPPDATA") or home / "AppData" / "Local")
        config, data, runtime = roaming / "pourcall", local / "pourcall", local / "pourcall" / "run"
    elif platform == "darwin":
        support = home / "Library" / "Application Support" / "pourcall"
        config, data, runtime = support, support, support / "run"
    else:
        config = Path(env.get("XDG_CONFIG_HOME") or home / ".config") / "pourcall"
        data = Path(env.get("XDG_DATA_HOME") or home / ".local" / "share") / "pourcall"
        runtime_base = env.get("XDG_RUNTIME_DIR")
        runtime = Path(runtime_base) / "pourcall" if runtime_base else data / "run"
    return Paths(
        settings=config / "pourcall.toml",
        alloys=config / "alloys",
        profiles=config / "profiles",
        data=data,
        database=data / "pourcall.sqlite",
        photos=data / "photos",
        log=data / "pourcall.log",
        runtime=runtime,
        socket=runtime / "daemon.sock",
        lock=runtime / "daemon.lock",
        token=runtime / "token",
    )
