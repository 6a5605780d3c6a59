"""`pourcall profile`. Profiles there are, what one says for an alloy, its faults; to be guided by one."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import add_json, add_unit, our_paths, print_json, print_table, settings_or_none, unit_of
from pourcall.cli.parser import option
from pourcall.contract.api import Asked, ProfileRequest
from pourcall.contract.errors import BadInput, BadSheet, DaemonError
from pourcall.contract.inputs import NextSegment, StopProfile
from pourcall.contract.message import NOTHING, tell
from pourcall.contract.plan import PotLimit
from pourcall.contract.units import Unit
from pourcall.texts import say, sentence

if TYPE_CHECKING:
    from pourcall.contract.plan import AlloyFacts
    from pourcall.contract.profile_plan import ProfilePlan
    from pourcall.profiles.library import ProfileLibrary


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="list|show|check|run|next|stop")
    listing = subs.add_parser("list", help=option("profile.list"))
    show = subs.add_parser("show", help=option("profile.show"))
    show.add_argument("profile", nargs="?", default="", help=option("profile.show.profile"))
    check = subs.add_parser("check", help=option("profile.check"))
    check.add_argument("file", nargs="?", type=Path, default=None)
    begin = subs.add_parser("run", help=option("profile.run"))
    begin.add_argument("profile", nargs="?", default="", help=option("profile.show.profile"))
    on = subs.add_parser("next", help=option("profile.next"))
    stop = subs.add_parser("stop", help=option("profile.stop"))
    for sub in (begin, on, stop):
        sub.add_argument("--furnace", default="")
        sub.add_argument("--who", default="shop", help=option("shared.who"))
        add_unit(sub)
    for sub in (show, check):
        sub.add_argument("--alloy", default="", help=option("shared.alloy"))
        sub.add_argument("--furnace", default="", help=option("profile.furnace"))
    for sub in (listing, show, check):
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    if args.what in ("run", "next", "stop"):
        return _guide(args)
    from pourcall.profiles.library import ProfileLibrary

    library = ProfileLibrary(our_paths().profiles)
    return {"list": _list, "show": _show, "check": _check}[args.what](args, library)


def _guide(args: argparse.Namespace) -> int:
    """Ask the daemon, and say where the melt stands in the profile then."""
    client = DaemonClient()
    furnace = client.furnace(args.furnace)
    unit = unit_of(args)
    requests: dict[str, Asked] = {
        "run": ProfileRequest(profile=getattr(args, "profile", ""), who=args.who),
        "next": NextSegment(who=args.who),
        "stop": StopProfile(who=args.who),
    }
    client.command(furnace, requests[args.what])
    view = next(shot for shot in client.furnaces() if shot.furnace == furnace).profile
    if view is None:
        raise DaemonError(tell("profile.melt_ended"), remedy=tell("profile.melt_ended.remedy"))
    if view.stopped:
        print(sentence(tell("profile.guides_no_more", profile=view.name)))
        return 0
    print(sentence(tell("profile.guides", profile=view.name, segment=view.segment, of=view.of)))
    for number, words in enumerate(view.segments, 1):
        print(f"{'>' if number == view.segment else ' '} {number}. {say(words, unit)}")
    return 0


def _list(args: argparse.Namespace, library: "ProfileLibrary") -> int:
    sound, refused = library.all()
    if args.json:
        print_json({"profiles": sound, "refused": [say(err.what) for err in refused]})
        return 0
    print_table(
        ("profile", "meant_for", "segments", "hash", "about"),
        [
            (one.key, ", ".join((*one.alloys, *one.families)) or "-", str(len(one.segments)), one.hash, one.about)
            for one in sound
        ],
        right=("segments",),
    )
    unit = unit_of(args)
    for err in refused:
        print(say(tell("profile.refused_file", what=err.said(lambda told: say(told, unit)))))
    return 0


def _show(args: argparse.Namespace, library: "ProfileLibrary") -> int:
    from pourcall.profiles.resolve import resolve

    unit = unit_of(args)
    if not args.alloy:
        if not args.profile:
            raise BadInput(tell("profile.none_named"), remedy=tell("profile.none_named.remedy"))
        profile = library.get(args.profile)
        if args.json:
            print_json(profile)
        else:
            print(profile.text, end="")
        return 0
    facts, tap_c, limits = _for_alloy(args)
    profile = library.get(args.profile) if args.profile else library.default_for(facts.key, facts.family)
    plan = resolve(profile, facts, tap_c, limits)
    if args.json:
        print_json(plan)
    else:
        _tell(plan, facts, unit)
    return 0


def _tell(plan: "ProfilePlan", facts: "AlloyFacts", unit: Unit) -> None:
    from pourcall.engine.guidance.forecast_view import segment_words

    print(say(tell("profile.show.head", profile=plan.name, hash=plan.hash, alloy=facts.name, about=plan.about)))
    print(say(tell("profile.show.limit", limit_c=plan.limit_c, whose=plan.limit_whose), unit))
    for number, one in enumerate(plan.segments, 1):
        asked = tell("profile.show.asked", asked=one.asked) if one.asked else NOTHING
        late = NOTHING if one.limit_s is None else tell("profile.show.late", late_min=one.limit_s / 60.0)
        told = tell(
            "profile.show.segment",
            number=number,
            segment=segment_words(one),
            asked=asked,
            within_difference_c=one.wait_within_c,
            late=late,
        )
        print(say(told, unit))
        if one.note:
            print(f"   {one.note}")


def _check(args: argparse.Namespace, library: "ProfileLibrary") -> int:
    from pourcall.profiles.profile import parse_profile
    from pourcall.profiles.resolve import resolve

    unit = unit_of(args)
    faults: list[str] = []
    checked = 0
    keys = [None] if args.file is not None else list(library.keys())
    for key in keys:
        try:
            if key is None:
                try:
                    text = args.file.read_text("utf-8")
                except (OSError, UnicodeDecodeError) as err:
                    raise BadInput(
                        tell("toml.unreadable", error=str(err)),
                        where=str(args.file),
                        remedy=tell("profile.unreadable.remedy"),
                    ) from err
                profile = parse_profile(text, key=args.file.stem, file=str(args.file))
            else:
                profile = library.get(key)
            checked += 1
            if args.alloy:
                facts, tap_c, limits = _for_alloy(args)
                if key is None or facts.key in profile.alloys or facts.family in profile.families:
                    resolve(profile, facts, tap_c, limits)
        except BadSheet as err:
            faults.append(say(err.what, unit))
    if args.json:
        print_json(faults)
    else:
        for fault in faults:
            print(fault)
        if not faults:
            print(say(tell("profile.sound", count=checked, folder=str(our_paths().profiles))))
    return 2 if faults else 0


def _for_alloy(args: argparse.Namespace) -> "tuple[AlloyFacts, tuple[float, float], list[PotLimit]]":
    """Facts, a tap window as wide as the sheet's (with the usual loss), and the limits of alloy, furnace,
    pot, probes.
    """
    from pourcall.metal.alloys.sheet import load_sheets

    facts = load_sheets(our_paths().alloys).get(args.alloy).facts()
    limits = [PotLimit(limit_c=facts.alloy_max_c, whose="alloy", why=tell("profile.limit.sheet"))]
    settings = settings_or_none()
    loss_c = 20.0
    if settings is not None and settings.furnace:
        name = args.furnace or (next(iter(settings.furnace)) if len(settings.furnace) == 1 else "")
        if name and name not in settings.furnace:
            raise BadInput(
                tell("daemon.no_furnace", furnace=name),
                remedy=tell("daemon.no_furnace.remedy", furnaces=", ".join(settings.furnace)),
            )
        if name:
            own = settings.furnace[name]
            limits.append(PotLimit(limit_c=own.rating_c, whose="furnace", why=tell("profile.limit.rating")))
            limits.append(PotLimit(limit_c=own.pot.rating_c, whose="pot", why=tell("profile.limit.rating")))
            limits += [
                PotLimit(limit_c=probe.rating_c, whose=f"probe {key}", why=tell("profile.limit.rating"))
                for key, probe in settings.probe.items()
                if probe.furnace == name
            ]
            loss_c = own.transfer_loss_c if own.transfer_loss_c is not None else loss_c
    high_c = min(facts.pour_max_c + loss_c, min(limit.limit_c for limit in limits))
    return facts, (min(facts.pour_min_c + loss_c, high_c), high_c), limits
