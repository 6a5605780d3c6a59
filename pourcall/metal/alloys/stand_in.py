"""What stands in for a value that an alloy sheet lacks, so that a plan is still made and says what is a guess.

Only for planning: the engine never follows a melt by a stand-in. Figures are those of one well-known alloy of the
family (ZA-12, A356, C90300, pewter) as its own sheet has them; for another alloy they are good to some 20 %.
"""

import msgspec

from pourcall.metal.alloys.sheet import AlloySheet, Value

# key -> (unit, what rests on it, value by family)
_STAND_INS: dict[str, tuple[str, str, dict[str, float]]] = {
    "density_solid": (
        "kg/m3",
        "masses from volumes and patterns",
        {"zinc": 6030.0, "aluminium": 2685.0, "copper": 8800.0, "other": 7280.0},
    ),
    "density_liquid": (
        "kg/m3",
        "what the pot holds, choke and flow",
        {"zinc": 5490.0, "aluminium": 2380.0, "copper": 7680.0, "other": 6930.0},
    ),
    "cp_solid": ("J/(kg K)", "energy and time", {"zinc": 448.0, "aluminium": 963.0, "copper": 377.0, "other": 226.0}),
    "cp_liquid": (
        "J/(kg K)",
        "energy, loss on the way, flow",
        {"zinc": 548.0, "aluminium": 1160.0, "copper": 478.0, "other": 250.0},
    ),
    "latent": ("kJ/kg", "energy, flow", {"zinc": 120.0, "aluminium": 389.0, "copper": 190.0, "other": 62.0}),
}
_LIKE = {"zinc": "ZA-12", "aluminium": "A356", "copper": "C90300", "other": "pewter"}


def with_stand_ins(sheet: AlloySheet) -> tuple[AlloySheet, tuple[str, ...]]:
    """The sheet with what it lacks for a plan, and a sentence for each value that is not its own."""
    given: dict[str, Value] = {}
    said = []
    for key, (unit, rests, by_family) in _STAND_INS.items():
        if getattr(sheet, key) is None:
            value, like = by_family[sheet.family], _LIKE[sheet.family]
            given[key] = Value(value=value, unit=unit, source=like, mark="computed", note="stands in")
            said.append(
                f"the sheet of {sheet.name} has no {key}: {value:g} {unit}, that of {like}, stands in; {rests} "
                "are good to 20 % at best"
            )
    return (msgspec.structs.replace(sheet, **given) if given else sheet), tuple(said)
