"""Tables in the documents that are made from the code, so that they cannot tell another story.

    python docs/tables.py            write them anew
    python docs/tables.py --check    only say which are not as the code has them

A table stands between `<!-- made from code: NAME -->` and `<!-- end -->`. What stands outside is written by hand.
"""

import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from pourcall.contract.message import NOTHING, tell
from pourcall.contract.reading import ProbeState
from pourcall.contract.status import STATUS_OF
from pourcall.contract.units import in_unit
from pourcall.daemon.api.openapi import ROUTES
from pourcall.engine.alarms.catalogue import CATALOGUE, PARENTS
from pourcall.engine.alarms.manager import ALARM_TABLE
from pourcall.engine.melt.melt_state import MELT_TABLE
from pourcall.engine.sensing.probe_state import PROBE_TABLE
from pourcall.metal.alloys.sheet import from_memory, load_settling, load_sheets
from pourcall.metal.vapour.exposure_limits import LIMITS
from pourcall.texts import say, word
from pourcall.thermometry.sheaths import SHEATHS

DOCS = Path(__file__).resolve().parent
_BLOCK = re.compile(r"(<!-- made from code: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def alarms() -> str:
    """Every kind of alarm, in the order of the catalogue."""
    rows = []
    for kind in CATALOGUE.values():
        what, remedy = (say(one) for one in kind.texts("*name*", NOTHING))
        rows.append(
            (
                f"`{kind.name}`",
                kind.priority.name,
                f"{kind.on_delay_s:g} s",
                what,
                remedy,
            )
        )
    return _table(("kind", "priority", "waits", "what it means", "what to do"), rows)


def parents() -> str:
    """Which alarm explains which."""
    rows = [(f"`{name}`", ", ".join(f"`{child}`" for child in children)) for name, children in PARENTS.items()]
    return _table(("while this stands", "these stand under it, silent"), rows)


def lifecycle() -> str:
    """The moves of an alarm."""
    return _table(
        ("state", "what happens", "new state"),
        [(f"`{old}`", f"{event}", f"`{new}`") for (old, event), new in ALARM_TABLE.items()],
    )


def melt_states() -> str:
    """State by band: what the next state is."""
    bands = list(dict.fromkeys(band for _, band in MELT_TABLE))
    states = list(dict.fromkeys(state for state, _ in MELT_TABLE))
    rows = []
    for state in states:
        cells = [MELT_TABLE.get((state, band)) for band in bands]
        rows.append((f"`{state}`", *("-" if cell is None else f"`{cell}`" for cell in cells)))
    return _table(("from", *(str(band) for band in bands)), rows)


def probe_states() -> str:
    """The moves of a probe."""
    rows = []
    for state in ProbeState:
        for (old, sign), new in PROBE_TABLE.items():
            if old is state:
                rows.append((f"`{old}`", say(tell(f"probe.sign.{sign.value}")), f"`{new}`"))
    return _table(("state", "the trace", "new state"), rows)


def sheaths() -> str:
    """How fast each sheath follows, and from which rate on it must be moving."""
    return _table(
        ("sheath", "time constant in metal", "entering: faster than", "leaving: faster than"),
        [
            (
                f"`{name}`",
                f"{rule.tau_metal_s:g} s",
                f"{rule.surge_up_c_per_s:g} °C/s up",
                f"{rule.surge_down_c_per_s:g} °C/s down",
            )
            for name, rule in SHEATHS.items()
        ],
    )


def reasons() -> str:
    """Reasons of a reading."""
    return _table(
        ("reason", "status", "in words"),
        [(f"`{reason}`", f"{status}", word("reason", reason)) for reason, status in STATUS_OF.items()],
    )


def routes() -> str:
    """The ways into the daemon."""
    return _table(
        ("method", "address", "what", "query"),
        [
            (one.method, f"`{one.path}`", one.what, ", ".join(f"`{name}`" for name, _, _ in one.query) or "-")
            for one in ROUTES
        ],
    )


def alloys() -> str:
    """The sheets that ship."""
    return _table(
        ("key", "name", "solidus", "liquidus", "pour", "mark of the pour window"),
        [
            (
                f"`{one.key}`",
                one.name,
                in_unit(f"<{one.solidus.value} degC>"),
                in_unit(f"<{one.liquidus.value} degC>"),
                in_unit(f"<{one.pour_min.value} degC> to <{one.pour_max.value} degC>"),
                one.pour_min.mark,
            )
            for one in load_sheets().all()
        ],
    )


def memory_figures() -> str:
    """Every figure of the alloy sheets that was not read, with what would settle it."""
    settling = load_settling()
    rows = [
        (f"`{sheet.key}`", source, ", ".join(figures), settling[source])
        for sheet in load_sheets().all()
        for source, figures in sorted(from_memory(sheet).items())
    ]
    return _table(("alloy", "recalled from", "figures", "what would settle them"), rows)


def _plain(value: float) -> str:
    """A figure with no exponent and no idle zeros."""
    return f"{value:.5f}".rstrip("0").rstrip(".")


def exposure_limits() -> str:
    """Every limit of air, by substance and region."""
    rows = [
        (
            one.substance,
            one.region,
            one.kind,
            _plain(one.mg_per_m3),
            one.body,
            one.dated,
            one.mark,
        )
        for one in sorted(LIMITS, key=lambda one: (one.substance, one.region))
    ]
    return _table(("substance", "region", "over", "mg/m³", "whose", "of when", "mark"), rows)


TABLES: dict[str, Callable[[], str]] = {
    each.__name__: each
    for each in (
        alarms,
        parents,
        lifecycle,
        melt_states,
        probe_states,
        sheaths,
        reasons,
        routes,
        alloys,
        exposure_limits,
        memory_figures,
    )
}


def renewed(text: str) -> str:
    """A page with its tables as the code has them now. Raises KeyError for a table that nobody makes."""
    return _BLOCK.sub(lambda found: found.group(1) + TABLES[found.group(2)]() + found.group(3), text)


def main(words: Sequence[str]) -> int:
    """Write, or only check; 1 where something was not as the code has it and only a check was asked for."""
    stale = []
    for page in sorted(DOCS.glob("*.md")):
        text = page.read_text(encoding="utf-8")
        new = renewed(text)
        if new != text:
            stale.append(page.name)
            if "--check" not in words:
                page.write_text(new, encoding="utf-8")
    if stale:
        print(("differ from the code: " if "--check" in words else "written anew: ") + ", ".join(stale))
    return int(bool(stale) and "--check" in words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
