"""`pourcall melt charge`. What went into the pot: new metal, returns with their melt, scrap; and corrections."""

import argparse
from collections.abc import Sequence
from typing import Any

from pourcall.cli.parser import option
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
    charge = subs.add_parser("charge", help=option("charging.charge"), description=option("charging.charge.about"))
    charge.add_argument("melt", nargs="?", default="", help=option("charging.charge.melt"))
    order = {"action": _InOrder, "dest": "told", "default": None}
    charge.add_argument("--new", metavar="MASS", help=option("charging.charge.new"), **order)  # type: ignore[arg-type]
    charge.add_argument("--returns", metavar="MASS", help=option("charging.charge.returns"), **order)  # type: ignore[arg-type]
    charge.add_argument("--scrap", metavar="MASS", help=option("charging.charge.scrap"), **order)  # type: ignore[arg-type]
    charge.add_argument("--from", metavar="MELT", help=option("charging.charge.from"), **order)  # type: ignore[arg-type]
    charge.add_argument("--remelt", metavar="N", help=option("charging.charge.remelt"), **order)  # type: ignore[arg-type]
    charge.add_argument("--what", metavar="WORDS", help=option("charging.charge.what"), **order)  # type: ignore[arg-type]
    charge.add_argument("--correct", metavar="N", default="", help=option("charging.charge.correct"))
    charge.add_argument("--take-back", metavar="N", default="", help=option("charging.charge.take_back"))
    charge.add_argument("--why", default="", help=option("shared.why"))
    charge.add_argument("--furnace", default="", help=option("charging.charge.furnace"))
    charge.add_argument("--who", default="shop", help=option("shared.who"))


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
