"""`pourcall thermocouple`. Emf and temperature at the bench, with cold junction and tolerance."""

import argparse

from pourcall.cli.common import add_json, add_unit, asked_unit, print_json, unit_of
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import is_measure, measured, temperature_c
from pourcall.texts import say

WIRE_CLASSES = ("iec_1", "iec_2", "iec_3", "astm_special", "astm_standard", "unknown")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Type and value."""
    parser.add_argument("type", help=option("thermocouple.type"))
    parser.add_argument("value", help=option("thermocouple.value"))
    parser.add_argument("--cold", default="0C", metavar="TEMP", help=option("thermocouple.cold"))
    parser.add_argument(
        "--class", dest="wire_class", default="iec_2", choices=WIRE_CLASSES, help=option("thermocouple.class")
    )
    add_unit(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Both directions."""
    from pourcall.contract.frames import RawKind
    from pourcall.thermometry.compensation import cold_emf_uv, to_temperature
    from pourcall.thermometry.thermocouple import TYPES, emf_uv, seebeck_uv_per_c
    from pourcall.thermometry.tolerance import WireClass, tolerance

    tc_type, unit = args.type.upper(), unit_of(args)
    if tc_type not in TYPES:
        raise BadInput(tell("error.no_type", tc_type=args.type), remedy=tell("error.use_one", known=", ".join(TYPES)))
    cold_c = temperature_c(args.cold, asked_unit(args), where="--cold")
    cold_uv = cold_emf_uv(tc_type, cold_c)
    if cold_uv is None:
        raise BadInput(tell("error.terminals", terminals_c=cold_c, tc_type=tc_type), remedy=tell("error.figure.remedy"))
    if is_measure(args.value, "emf"):
        terminal_uv = measured(args.value, "emf")
        hot_c, reason = to_temperature(RawKind.EMF_UV, terminal_uv, cold_c, tc_type)
        if hot_c is None:
            raise BadInput(
                tell("error.emf_beyond_type", figure=args.value, tc_type=tc_type, reason=reason.value),
                remedy=tell("error.emf_beyond_type.remedy"),
            )
    else:
        hot_c = temperature_c(args.value, asked_unit(args))
        terminal_uv = emf_uv(tc_type, hot_c) - cold_uv
    limits = tolerance(tc_type, WireClass(args.wire_class), hot_c)
    slope = seebeck_uv_per_c(tc_type, hot_c)
    if args.json:
        print_json(
            {
                "type": tc_type,
                "temp_c": hot_c,
                "terminal_emf_uv": terminal_uv,
                "cold_junction_c": cold_c,
                "emf_0c_uv": terminal_uv + cold_uv,
                "seebeck_uv_per_c": slope,
                "tolerance_c": limits.half_width_c,
                "tolerance_covered": limits.covered,
            }
        )
        return 0
    bench = tell(
        "uncertainty.bench.pair", tc_type=tc_type, hot_c=hot_c, emf=f"{terminal_uv / 1000:.4f} mV", terminals_c=cold_c
    )
    print(say(bench, unit))
    referred = f"{(terminal_uv + cold_uv) / 1000:.4f} mV"
    print(say(tell("uncertainty.bench.referred", emf=referred, slope=f"{slope:.2f} µV/°C")))
    wire = tell(
        "uncertainty.bench.new_wire" if limits.covered else "uncertainty.bench.new_wire_beyond",
        wire_class=args.wire_class,
        half_difference_c=limits.half_width_c,
    )
    print(say(wire, unit))
    return 0
