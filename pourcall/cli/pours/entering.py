"""Later entries on their way to the record: through the daemon where one runs, else straight there.

Both ways take the same function (pourcall/daemon/api/library.py), in one transaction: an entry is written whole or
not at all.
"""

import argparse
import sqlite3
from collections.abc import Callable

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import our_paths, unit_of
from pourcall.contract.api import ResultRequest
from pourcall.contract.entries import Entry, MouldSetupRequest
from pourcall.contract.errors import BadInput, DaemonError, StoreError
from pourcall.contract.message import Told, tell
from pourcall.texts import sentence


def record_entry(entry: Entry) -> Told:
    """Put a later entry on record; what was done.

    Raises NotFound, BadInput for what cannot stand, StoreError where it cannot be written.
    """
    client = DaemonClient()
    if _answers(client):
        return client.enter(entry).what
    from pourcall.daemon.api import library
    from pourcall.daemon.clock import RealClock
    from pourcall.records.read.store import Store

    path, utc_s = our_paths().database, RealClock().utc_s()
    if isinstance(entry, MouldSetupRequest) and not path.exists():  # moulds may be described before the first melt
        Store.open(path, utc_s=utc_s).close()
    with Store.read(path) as store:
        prepared = library.prepare(store, entry, utc_s)
    return _straight(lambda conn: library.enter(conn, entry, utc_s, prepared))


def enter(entry: Entry) -> int:
    """A later entry, and what was done, on the screen."""
    print(sentence(record_entry(entry), unit_of(argparse.Namespace())))
    return 0


def record_results(pour: str, found: ResultRequest) -> bool:
    """Record what inspection found on a pour, all of it or nothing; True where a daemon did it. Raises likewise."""
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        store.pour(pour)  # an unknown pour is told before anything is written
    client = DaemonClient()
    if _answers(client):
        client.result(pour, found)
        return True
    from pourcall.daemon.api.library import add_result
    from pourcall.daemon.clock import RealClock

    utc_s = RealClock().utc_s()
    _straight(lambda conn: add_result(conn, pour, found, utc_s))
    return False


def melt_meant(melt: str, furnace: str = "") -> str:
    """The melt that is named, else the one that runs. Raises BadInput where none runs, or several do."""
    if melt:
        return melt
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        newest = store.melts(limit=200, furnace=furnace or None)
    latest = {row.furnace: row for row in reversed(newest)}
    running = [row.melt for row in latest.values() if row.ended_utc_s is None]
    if len(running) == 1:
        return running[0]
    if running:
        raise BadInput(tell("cli.several_melts", melts=", ".join(running)), remedy=tell("cli.several_melts.remedy"))
    if not newest:
        raise BadInput(tell("cli.no_melt_named"), remedy=tell("cli.no_melt_named.remedy"))
    raise BadInput(tell("cli.no_melt_named"), remedy=tell("cli.no_melt_named.newest", melt=newest[0].melt))


def _answers(client: DaemonClient) -> bool:
    try:
        client.health()
    except DaemonError:
        return False
    return True


def _straight(write: Callable[[sqlite3.Connection], Told]) -> Told:
    from pourcall.records.upkeep.opening import connect

    path = our_paths().database
    try:
        conn = connect(path)
        try:
            conn.execute("BEGIN IMMEDIATE")
            told = write(conn)
            conn.execute("COMMIT")
        finally:
            conn.close()  # an open transaction is rolled back: all or nothing
    except sqlite3.Error as err:
        raise StoreError(
            tell("cli.not_written", error=str(err)), where=str(path), remedy=tell("cli.not_written.remedy")
        ) from err
    return told
