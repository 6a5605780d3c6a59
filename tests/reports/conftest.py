"""Parts for the tests of the reports: a melt on record, and commands run in a home of their own."""

from tests.cli.conftest import home, run, serve, settings_for, shell, socket_board, write_settings
from tests.records.conftest import cast, clock, database, make, recording, told

__all__ = [
    "cast",
    "clock",
    "database",
    "home",
    "make",
    "recording",
    "run",
    "serve",
    "settings_for",
    "shell",
    "socket_board",
    "told",
    "write_settings",
]
