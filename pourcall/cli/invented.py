"""The line under a list that names the invented and simulated melts in it."""

from collections.abc import Iterable

from pourcall.cli.common import our_paths
from pourcall.texts import say


def say_invented(melts: Iterable[str]) -> None:
    """Print which of these melts were simulated; nothing where all are real."""
    from pourcall.records.read.simulated_melts import invented_melts, invented_told
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store, store.reading() as conn:
        line = say(invented_told(melts, invented_melts(conn)))
    if line:
        print(line)
