"""`pourcall melt charge`. What went into the pot: new metal, returns with their melt, scrap; and corrections."""

import argparse
from collections.abc import Sequence
from typing import Any

from pourcall.cli.pours.entering import enter, melt_meant
from pourcall.contract.entries import ChargeEntry, ChargeRequest
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import kilograms

_STARTS = ("new", "returns", "scrap")
Typed = list[tuple[str, str]]


class _InOrder(argparse.Action):
    """Keeps options in the order they were typed: --from and --remelt belong to the metal named before them."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        option_string: str | None = None,
    ) -> None:
        told: Typed = [*(getattr(namespace, "told", None) or []), (self.metavar_word, str(values))]
        namespace.told = told

    @property
    def metavar_word(self) -> str:
        """The option without its dashes."""
        return self.option_strings[0].lstrip("-")


def add_arguments(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """The sub-command of `melt`."""
    charge = subs.add_parser(
        "charge",
        help="what went into the pot, with where it came from",
        description="Each metal begins with --new, --returns or --scrap and its mass; --from, --remelt and --what "
        "after it belong to it. The remelt count of returns is carried on from their melt where it is not told.",
    )
    charge.add_argument("melt", nargs="?", default="", help="such as 2026-014 (default: the melt that runs)")
    order = {"action": _InOrder, "dest": "told", "default": None}
    charge.add_argument("--new", metavar="MASS", help="metal that was never molten here, such as 1.2kg", **order)  # type: ignore[arg-type]
    charge.add_argument("--returns", metavar="MASS", help="gates, spoiled castings, ingots of our own", **order)  # type: ignore[arg-type]
    charge.add_argument("--scrap", metavar="MASS", help="metal of unknown source", **order)  # type: ignore[arg-type]
    charge.add_argument("--from", metavar="MELT", help="of returns: 2026-011, or its ingot 2026-011-i1", **order)  # type: ignore[arg-type]
    charge.add_argument("--remelt", metavar="N", help="how often it was molten before", **order)  # type: ignore[arg-type]
    charge.add_argument("--what", metavar="WORDS", help="in words, such as 'cleat gates, shot clean'", **order)  # type: ignore[arg-type]
    charge.add_argument("--correct", metavar="N", default="", help="entry N (see `melt show`) was really this")
    charge.add_argument("--take-back", metavar="N", default="", help="entry N does not hold")
    charge.add_argument("--why", default="", help="of a correction, for the record")
    charge.add_argument("--furnace", default="", help="whose running melt is meant")
    charge.add_argument("--who", default="shop", help="who says so, for the record")


def run(args: argparse.Namespace) -> int:
    """Check what was typed, then record it whole."""
    entries = charge_entries(args.told or [])
    if args.correct and args.take_back:
        raise BadInput(
            tell("usage.contradict", first="--correct", second="--take-back"), remedy=tell("usage.contradict.remedy")
        )
    correcting = _entry_number(args.correct or args.take_back) if args.correct or args.take_back else 0
    if args.take_back and entries:
        raise BadInput(tell("usage.charge.taken_back"), remedy=tell("usage.charge.taken_back.remedy"))
    if args.correct and not entries:
        raise BadInput(tell("usage.charge.corrected"), where="--correct", remedy=tell("usage.charge.corrected.remedy"))
    if not entries and not correcting:
        raise BadInput(tell("charge.nothing"), remedy=tell("charge.nothing.remedy"))
    melt = melt_meant(args.melt, args.furnace)
    return enter(ChargeRequest(melt=melt, entries=entries, correcting=correcting, why=args.why, who=args.who))


def charge_entries(told: Typed) -> tuple[ChargeEntry, ...]:
    """Options in the order they were typed, as entries. Raises BadInput."""
    found: list[dict[str, Any]] = []
    for word, value in told:
        if word in _STARTS:
            found.append({"source": word, "mass_kg": kilograms(value)})
            continue
        if not found:
            raise BadInput(
                tell("usage.charge.before_metal", option=f"--{word}"), remedy=tell("usage.charge.before_metal.remedy")
            )
        key = {"from": "origin", "remelt": "remelts", "what": "detail"}[word]
        if key in found[-1]:
            raise BadInput(
                tell("usage.charge.twice", option=f"--{word}", source=found[-1]["source"]),
                remedy=tell("usage.charge.twice.remedy"),
            )
        found[-1][key] = _count(value) if word == "remelt" else value.strip()
    return tuple(ChargeEntry(**fields) for fields in found)


def _count(text: str) -> int:
    try:
        count = int(text)
    except ValueError:
        raise BadInput(
            tell("usage.charge.remelts", word=text.strip()), remedy=tell("usage.charge.remelts.remedy")
        ) from None
    if count < 0:
        raise BadInput(tell("usage.charge.remelts", word=text.strip()), remedy=tell("usage.charge.remelts.remedy"))
    return count


def _entry_number(text: str) -> int:
    if not (text.strip().isascii() and text.strip().isdecimal()) or int(text) < 1:
        raise BadInput(tell("usage.charge.entry", word=text.strip()), remedy=tell("usage.charge.entry.remedy"))
    return int(text)
