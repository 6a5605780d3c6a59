"""`pourcall melt end`. What became of the metal: poured, ingots, a heel, abandoned; several at once."""

import argparse
from collections.abc import Sequence

from pourcall.cli.parser import option
from pourcall.contract.entries import EndingRequest
from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import EndMelt, MeltEnding
from pourcall.contract.message import tell
from pourcall.contract.quantities import kilograms

NONE = "none"


def unsaid(args: argparse.Namespace) -> bool:
    """Nothing was said of what became of the metal."""
    return not (args.ending or args.poured or args.abandoned or args.ingots or args.heel)


def refuse_unsaid(left: Sequence[str]) -> None:
    """Poured is meant where nothing is said; not while moulds wait for metal. Raises BadInput."""
    if left:
        raise BadInput(tell("cli.melt.end_unsaid", moulds=", ".join(left)), remedy=tell("cli.melt.end_unsaid.remedy"))


def add_arguments(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> argparse.ArgumentParser:
    """The sub-command of `melt`."""
    end = subs.add_parser("end", help=option("ending.end"), description=option("ending.end.about"))
    end.add_argument("ending", nargs="?", default="", choices=["", *(ending.value for ending in MeltEnding)])
    end.add_argument("--poured", action="store_true", help=option("ending.end.poured"))
    end.add_argument("--ingots", metavar="MASS", action="append", default=[], help=option("ending.end.ingots"))
    end.add_argument("--heel", metavar="MASS", default="", help=option("ending.end.heel"))
    end.add_argument("--abandoned", metavar="WHY", default="", help=option("ending.end.abandoned"))
    end.add_argument("--melt", default="", help=option("ending.end.melt"))
    end.add_argument("--why", default="", help=option("shared.why"))
    return end


def request_of(args: argparse.Namespace) -> EndMelt | EndingRequest:
    """What was typed: for the running melt, or with --melt for one that is over. Raises BadInput."""
    masses = [None if word.strip().casefold() == NONE else kilograms(word) for word in args.ingots]
    if None in masses and len(masses) > 1:
        raise BadInput(
            tell("usage.contradict", first="--ingots MASS", second="--ingots none"),
            remedy=tell("usage.contradict.remedy"),
        )
    ingots = tuple(mass for mass in masses if mass is not None)
    no_heel = args.heel.strip().casefold() == NONE
    heel_kg = 0.0 if no_heel or not args.heel else kilograms(args.heel)
    words = {args.ending} - {""}
    words |= {"poured"} if args.poured else set()
    words |= {"abandoned"} if args.abandoned.strip() else set()
    if {"poured", "abandoned"} <= words:
        raise BadInput(
            tell("usage.contradict", first="--poured", second="--abandoned"), remedy=tell("usage.contradict.remedy")
        )
    if args.abandoned and not args.abandoned.strip():
        raise BadInput(tell("usage.no_reason"), where="--abandoned", remedy=tell("usage.no_reason.remedy"))
    if args.melt:
        return EndingRequest(
            melt=args.melt,
            ending=_ending(words) if words else None,
            ingots_kg=ingots if args.ingots else None,
            heel_kg=heel_kg if args.heel else None,
            detail=args.abandoned,
            why=args.why,
            who=args.who,
        )
    if args.why:
        raise BadInput(tell("usage.only_with", option="--why", other="--melt"), remedy=tell("usage.end.melt"))
    if not words:
        words = {"ingots"} if ingots else {"heel"} if heel_kg else {"poured"}
    return EndMelt(
        ending=_ending(words),
        ingots_kg=ingots,
        heel_kg=heel_kg,
        why=args.abandoned.strip(),
        who=args.who,
        sure=args.sure,
    )


def _ending(words: set[str]) -> MeltEnding:
    """The one word for lists: poured before what was left over, abandoned before all."""
    for word in ("abandoned", "poured", "unpoured", "ingots", "heel"):
        if word in words:
            return MeltEnding(word)
    return MeltEnding.POURED
