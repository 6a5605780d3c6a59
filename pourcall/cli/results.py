"""Room: results of inspection on their way to the record: through the daemon where one runs, else straight there."""

import sqlite3
from collections.abc import Sequence

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import our_paths
from pourcall.contract.api import ResultRequest
from pourcall.contract.errors import DaemonError, StoreError


def record_results(pour: str, findings: Sequence[ResultRequest]) -> bool:
    """Record findings on a pour; True where a daemon did it.

    Straight to the file all of them stand or none does. Raises NotFound for an unknown pour, BadInput for a finding
    that contradicts the record, StoreError where it cannot be written.
    """
    from pourcall.daemon.records.store import Store

    with Store.read(our_paths().database) as store:
        store.pour(pour)  # an unknown pour is told before anything is written
    client = DaemonClient()
    in_order = sorted(findings, key=lambda finding: finding.severity)  # what is taken back comes first
    try:
        client.health()
    except DaemonError:
        _straight(pour, in_order)
        return False
    for finding in in_order:
        client.result(pour, finding)
    return True


def _straight(pour: str, findings: Sequence[ResultRequest]) -> None:
    from pourcall.daemon.clock import RealClock
    from pourcall.daemon.library import add_result
    from pourcall.daemon.records.opening import connect

    path = our_paths().database
    utc_s = RealClock().utc_s()
    try:
        conn = connect(path)
        try:
            conn.execute("BEGIN IMMEDIATE")
            for finding in findings:
                add_result(conn, pour, finding, utc_s)
            conn.execute("COMMIT")
        finally:
            conn.close()  # an open transaction is rolled back: all or nothing
    except sqlite3.Error as err:
        raise StoreError(
            f"the result could not be written: {err}", where=str(path), remedy="Nothing of it was; try again"
        ) from err
