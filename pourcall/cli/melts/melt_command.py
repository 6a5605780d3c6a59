"""`pourcall melt`. Starts, changes and ends a melt through the daemon; lists and shows from the record.

Not here: what it was charged with (charging.py), how it ended (ending.py).
"""

import argparse
import sys
from typing import TYPE_CHECKING

import msgspec

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import (
    add_json,
    add_unit,
    asked_unit,
    local_time,
    our_paths,
    print_json,
    print_listing,
    unit_of,
)
from pourcall.cli.invented import say_invented
from pourcall.cli.melts import charging, ending
from pourcall.cli.parser import option
from pourcall.cli.periods import add_period, period_of
from pourcall.cli.pours.entering import enter, melt_meant
from pourcall.contract.api import ChangeRequest, StartRequest
from pourcall.contract.entries import EndingRequest, MeltNote
from pourcall.contract.errors import BadInput, Refused
from pourcall.contract.inputs import EndMelt, MarkAddition, MarkPower, MarkSkim, Note, PowerLevel
from pourcall.contract.message import Message, Told, as_message, tell
from pourcall.contract.plan import MouldRequest
from pourcall.contract.quantities import difference_c, key_values, kilograms, millimetres, seconds, temperature_c
from pourcall.contract.units import Unit, format_mass, format_temperature, in_unit
from pourcall.texts import say, sentence, word

if TYPE_CHECKING:
    from pourcall.records.read.views import MeltFilter, MeltRow


MOULD_KEYS = ("kg", "mm", "material", "setup", "min", "max", "loss")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Sub-commands."""
    subs = parser.add_subparsers(dest="what", required=True, metavar="start|charge|change|end|mark|note|list|find|show")
    start = subs.add_parser("start", help=option("melt.start"))
    start.add_argument("alloy", help=option("melt.start.alloy"))
    start.add_argument("--charge", help=option("melt.start.charge"))
    start.add_argument("--later", help=option("melt.start.later"))
    start.add_argument("--profile", nargs="?", const="default", default="", help=option("melt.start.profile"))
    start.add_argument("--mould", action="append", default=[], help=option("melt.mould"))
    change = subs.add_parser("change", help=option("melt.change"))
    change.add_argument("--alloy")
    change.add_argument("--charge")
    change.add_argument("--mould", action="append", default=[], help=option("melt.moulds"))
    change.add_argument("--why", default="", help=option("shared.why_2"))
    charging.add_arguments(subs)
    end = ending.add_arguments(subs)
    add_sure(end)
    mark = subs.add_parser("mark", help=option("melt.mark"))
    mark.add_argument("mark", choices=["off", "low", "high", "skim", "add"], help=option("melt.mark.mark"))
    mark.add_argument("--mass", help=option("melt.mark.mass"))
    mark.add_argument("--source", default="", help=option("melt.mark.source"))
    mark.add_argument("--ago", default="", help=option("melt.mark.ago"))
    note = subs.add_parser("note", help=option("melt.note"))
    note.add_argument("text", nargs="?", default="")
    note.add_argument("--melt", default="", help=option("melt.note.melt"))
    note.add_argument("--tag", action="append", default=[], help=option("melt.note.tag"))
    for sub in (start, change, end, mark, note):
        sub.add_argument("--furnace", default="")
        sub.add_argument("--who", default="shop", help=option("shared.who"))
    listing = subs.add_parser("list", help=option("melt.list"))
    listing.add_argument("--furnace", default="")
    listing.add_argument("--alloy", default=None, help=option("melt.listing.alloy"))
    add_period(listing)
    listing.add_argument("--limit", type=int, default=20)
    finding = subs.add_parser("find", help=option("melt.find"))
    finding.add_argument("words", nargs="+", metavar="WORD", help=option("melt.finding.words"))
    finding.add_argument("--limit", type=int, default=20, help=option("melt.finding.limit", most=20))
    show = subs.add_parser("show", help=option("melt.show"))
    show.add_argument("melt", nargs="?", default="", help=option("melt.show.melt"))
    for sub in (start, change):
        add_unit(sub)
    for sub in (listing, show, finding):
        add_json(sub)
        add_unit(sub)


def run(args: argparse.Namespace) -> int:
    """The sub-command."""
    return {"list": _list, "show": _show, "find": _find, "charge": charging.run}.get(args.what, _command)(args)


def mould_request(text: str, bare: Unit | None = None) -> MouldRequest:
    """`cleat 1,kg=0.6,mm=6` as a request. Raises BadInput naming what is wrong in it.

    bare: of a window or a loss without a unit; None: it is refused.
    """
    name, _, rest = (part.strip() for part in text.partition(","))
    if not name:
        raise BadInput(tell("usage.mould.no_name", given=text), remedy=tell("usage.mould.remedy"))
    where = f"--mould {name!r}"
    fields: dict[str, object] = {"name": name}
    for key, value in key_values(rest, where=where) if rest else []:
        at = f"{where}, {key}"
        match key:
            case "kg":
                fields["mass_kg"] = kilograms(value, bare=True, where=at)
            case "mm":
                fields["thinnest_mm"] = millimetres(value, bare=True, where=at)
            case "material" | "setup":
                fields[key] = value.strip("\"'")
            case "min" | "max":
                fields[f"lip_{key}_c"] = temperature_c(value, bare, where=at)
            case "loss":
                fields["loss_c"] = difference_c(value, bare, where=at)
            case _:
                raise BadInput(
                    tell("cli.unknown", word=key),
                    where=where,
                    remedy=tell("cli.unknown.remedy", known=", ".join(MOULD_KEYS)),
                )
    return MouldRequest(**fields)  # type: ignore[arg-type]


def _command(args: argparse.Namespace) -> int:
    ago_s = seconds(args.ago) if getattr(args, "ago", "") else 0.0
    request: StartRequest | ChangeRequest | EndMelt | EndingRequest | MarkPower | MarkSkim | MarkAddition | Note
    if args.what == "start":
        request = StartRequest(
            alloy=args.alloy,
            charge_kg=kilograms(args.charge) if args.charge else 0.0,
            who=args.who,
            later_kg=kilograms(args.later) if args.later else 0.0,
            profile=args.profile,
            moulds=tuple(mould_request(text, asked_unit(args)) for text in args.mould),
        )
    elif args.what == "change":
        if not (args.alloy or args.charge or args.mould):
            raise BadInput(tell("usage.melt.no_change"), remedy=tell("usage.melt.no_change.remedy"))
        request = ChangeRequest(
            alloy=args.alloy,
            charge_kg=kilograms(args.charge) if args.charge else None,
            why=args.why,
            who=args.who,
            moulds=tuple(mould_request(text, asked_unit(args)) for text in args.mould) if args.mould else None,
        )
    elif args.what == "end":
        request = ending.request_of(args)
        if isinstance(request, EndingRequest):
            return enter(request)
    elif args.what == "note":
        if args.melt or args.tag:
            melt = melt_meant(args.melt, args.furnace)
            return enter(MeltNote(melt=melt, note=args.text, tags=tuple(args.tag), who=args.who))
        if not args.text.strip():
            raise BadInput(tell("melt.note_empty"), remedy=tell("melt.note_empty.remedy"))
        request = Note(text=args.text, who=args.who)
    elif args.mark != "add" and (args.mass or args.source):
        option = "--mass" if args.mass else "--source"
        raise BadInput(
            tell("usage.only_with", option=option, other="`melt mark add`"),
            remedy=tell("usage.leave_out", option=option),
        )
    elif args.mark == "skim":
        request = MarkSkim(ago_s=ago_s, who=args.who)
    elif args.mark == "add":
        mass_kg = kilograms(args.mass) if args.mass else None
        request = MarkAddition(mass_kg=mass_kg, source=args.source, ago_s=ago_s, who=args.who)
    else:
        request = MarkPower(level=PowerLevel(args.mark), ago_s=ago_s, who=args.who)
    client = DaemonClient()
    furnace = client.furnace(args.furnace)
    if args.what == "end" and ending.unsaid(args):
        ending.refuse_unsaid(next(shot.moulds_left for shot in client.furnaces() if shot.furnace == furnace))
    print_result(client, furnace, request, unit_of(args))
    return 0


def print_result(client: DaemonClient, furnace: str, request: object, unit: Unit | None = None) -> None:
    """Send a command and say what became of it, in `unit` or that of the settings.

    What is doubtful about it is asked where somebody can answer; elsewhere it is refused, with the word to add.
    """
    unit = unit_of(argparse.Namespace()) if unit is None else unit
    result = client.command(furnace, request)  # type: ignore[arg-type]
    if result.doubt is not None:
        if not sys.stdin.isatty():
            raise Refused(as_message(result.what), remedy=as_message(result.remedy))
        if not _yes(result.what, unit):
            raise Refused(tell("question.not_done"))
        result = client.command(furnace, msgspec.structs.replace(request, sure=True))  # type: ignore[type-var, arg-type]
    told = result.what
    if result.melt and not (isinstance(told, Message) and "melt" in told.facts):
        told = tell("cli.of_melt", what=told, melt=result.melt)
    print(sentence(told, unit))


def add_sure(parser: argparse.ArgumentParser) -> None:
    """`--sure`: it was so, however doubtful it looks; nothing is asked."""
    parser.add_argument("--sure", action="store_true", help=option("melt.sure"))


def _yes(asked: Told, unit: Unit) -> bool:
    """A question on the terminal; anything but a yes is a no."""
    try:
        return input(say(tell("question.yes_no", question=asked), unit)).strip().casefold() in ("y", "yes")
    except EOFError:
        return False


def _list(args: argparse.Namespace) -> int:
    from pourcall.records.read.store import Store

    since_s, until_s = period_of(args)
    only: MeltFilter = {
        "furnace": args.furnace or None,
        "alloy": args.alloy,
        "since_utc_s": since_s,
        "until_utc_s": until_s,
    }
    with Store.read(our_paths().database) as store:
        rows = store.melts(limit=args.limit, **only)
    print_listing(
        args,
        rows,
        {
            "melt": lambda row: row.melt,
            "began": lambda row: local_time(row.began_utc_s),
            "furnace": lambda row: row.furnace,
            "alloy": lambda row: row.alloy_name,
            "charge": lambda row: format_mass(row.charge_kg),
            "moulds": lambda row: f"{row.moulds_poured}/{row.moulds}",
            "pours": lambda row: str(row.pours),
            "dips": lambda row: str(row.dips),
            "ended": _ended,
        },
        right=("charge", "moulds", "pours", "dips"),
        none=tell("melt_list.none_like_that" if any(only.values()) else "melt_list.none_yet"),
    )
    if not args.json:
        say_invented(row.melt for row in rows)
    return 0


def _ended(row: "MeltRow") -> str:
    """`poured, ingots 0.75 kg, heel 0.3 kg`."""
    left = (("ingots", row.ingots_kg), ("heel", row.heel_kg))
    parts = [f"{word('ending', kind)} {format_mass(kg)}" for kind, kg in left if kg]
    plain = row.outcome if row.outcome not in ("ingots", "heel") or not parts else ""
    return ", ".join([*([word("ending", plain)] if plain else []), *parts]) or say(tell("melt_list.running"))


def _find(args: argparse.Namespace) -> int:
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        hits = store.find(args.words, limit=args.limit)
    unit = unit_of(args)
    print_listing(
        args,
        hits,
        {
            "found_in": lambda hit: hit.pour or hit.melt,
            "found_as": lambda hit: hit.what,
            "text": lambda hit: " ".join(in_unit(hit.text, unit).split()),
        },
        none=tell("melt_list.nothing_has", words=" + ".join(args.words)),
    )
    return 0


def _show(args: argparse.Namespace) -> int:
    unit = unit_of(args)
    if not args.melt:
        from pourcall.tui.screen.words import within_words

        snapshots = DaemonClient().furnaces()
        if args.json:
            print_json(snapshots)
            return 0
        for shot in snapshots:
            metal = format_temperature(shot.metal.temp_c, unit)
            if shot.metal.temp_c is not None and shot.metal.u_c is not None:
                metal += f" ± {within_words(shot.metal.u_c, unit)}"  # as the dashboard rounds it: up
            melt = shot.melt or say(tell("melt_list.no_melt"))
            print(f"{shot.furnace}: {melt}, {word('melt_state', shot.melt_state.value)}, {metal}")
            print(f"  {say(shot.instruction.text, unit)}")
            for alarm in shot.alarms:
                what = say(alarm.what, unit)
                if alarm.active:  # of one that is over nothing is to be done but to acknowledge it
                    what += f" {say(alarm.remedy, unit)}"
                state = word("alarm_state", alarm.state)
                print(f"  {word('priority', alarm.priority.name.lower())}, {state}: {what}")
        return 0
    from pourcall.cli.melts.melt_show import melt_lines
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        detail = store.melt(args.melt)
    if args.json:
        print_json(detail)
        return 0
    for line in melt_lines(detail, unit):
        print(line)
    say_invented([detail.row.melt])
    return 0
