"""Room: `pourcall dip`. A dip is recognised from its trace; this tells depth and stirring, or types a figure in."""

import argparse

from pourcall.cli.client import DaemonClient
from pourcall.cli.common import add_unit, seconds, temperature, unit_of
from pourcall.cli.melt_command import print_result
from pourcall.contract.errors import BadInput
from pourcall.contract.inputs import EnterTemperature, StartDip
from pourcall.contract.reading import Place


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What is known of the dip."""
    parser.add_argument("--probe", default="", help="which probe (default: the one that dips)")
    parser.add_argument("--depth", type=float, metavar="MM", help="how deep it is held")
    parser.add_argument("--stirred", action="store_true", default=None, help="the metal was stirred")
    parser.add_argument("--read", metavar="TEMP", default="", help="a figure read off another instrument, such as 930F")
    parser.add_argument("--source", default="handheld", help="that instrument: handheld, panel ...")
    parser.add_argument("--ago", default="", help="how long ago it was read, such as 20s")
    parser.add_argument("--furnace", default="")
    add_unit(parser)


def run(args: argparse.Namespace) -> int:
    """Announce, or type in."""
    if args.read and (args.depth is not None or args.stirred or args.probe):
        raise BadInput(
            "--read is a figure of another instrument; --probe, --depth and --stirred belong to a dip of ours",
            remedy="Give one or the other",
        )
    if args.ago and not args.read:
        raise BadInput("a dip is announced as it begins; --ago belongs to --read", remedy="Leave --ago out")
    if args.read:
        temp_c = temperature(args.read, unit_of(args) if args.unit else None)
        ago_s = seconds(args.ago) if args.ago else 0.0
        client = DaemonClient()
        request = EnterTemperature(temp_c=temp_c, source=args.source, ago_s=ago_s)
        print_result(client, client.furnace(args.furnace), request)
        return 0
    client = DaemonClient()
    furnace = client.furnace(args.furnace)
    probe = args.probe or _dipping_probe(client, furnace)
    if args.depth is not None and not 0.0 < args.depth <= 1000.0:
        raise BadInput(f"a depth of {args.depth:g} mm", remedy="Give it in millimetres, such as --depth 60")
    print_result(client, furnace, StartDip(probe=probe, depth_mm=args.depth, stirred=args.stirred))
    return 0


def _dipping_probe(client: DaemonClient, furnace: str) -> str:
    """The probe set up for dipping, or the only one there is."""
    probes = next(shot for shot in client.furnaces() if shot.furnace == furnace).probes
    dipping = [probe.name for probe in probes if probe.place is Place.DIP] or [probe.name for probe in probes]
    if len(dipping) != 1:
        names = ", ".join(dipping) or "none"
        raise BadInput("it is not clear which probe dips", remedy=f"Name it with --probe: {names}")
    return dipping[0]
