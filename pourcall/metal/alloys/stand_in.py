"""What stands in for a value that an alloy sheet lacks, so that a plan is still made and says what is a guess.

Only for planning: the engine never follows a melt by a stand-in. Figures are those of one well-known alloy of the
family (ZA-12, A356, C90300, pewter) as its own sheet has them; for another alloy they are good to some 20 %.
"""

import msgspec

from pourcall.contract.message import Message, tell
from pourcall.metal.alloys.sheet import AlloySheet, Value

# key -> (unit, value by family)
_STAND_INS: dict[str, tuple[str, dict[str, float]]] = {
    "density_solid": ("kg/m3", {"zinc": 6030.0, "aluminium": 2685.0, "copper": 8800.0, "other": 7280.0}),
    "density_liquid": ("kg/m3", {"zinc": 5490.0, "aluminium": 2380.0, "copper": 7680.0, "other": 6930.0}),
    "cp_solid": ("J/(kg K)", {"zinc": 448.0, "aluminium": 963.0, "copper": 377.0, "other": 226.0}),
    "cp_liquid": ("J/(kg K)", {"zinc": 548.0, "aluminium": 1160.0, "copper": 478.0, "other": 250.0}),
    "latent": ("kJ/kg", {"zinc": 120.0, "aluminium": 389.0, "copper": 190.0, "other": 62.0}),
}
_IN_THE_CURVE = ("cp_solid", "cp_liquid", "latent")  # a sheet with an enthalpy curve wants none of these
_LIKE = {"zinc": "ZA-12", "aluminium": "A356", "copper": "C90300", "other": "pewter"}


def with_stand_ins(sheet: AlloySheet) -> tuple[AlloySheet, tuple[Message, ...]]:
    """The sheet with what it lacks for a plan, and a message for each value that is not its own."""
    given: dict[str, Value] = {}
    said = []
    for key, (unit, by_family) in _STAND_INS.items():
        if getattr(sheet, key) is None and not (sheet.heat is not None and key in _IN_THE_CURVE):
            value, like = by_family[sheet.family], _LIKE[sheet.family]
            given[key] = Value(value=value, unit=unit, source=like, mark="computed", note="stands in")
            rests = tell(f"alloy.rests_on.{key}")
            said.append(
                tell("alloy.stand_in", alloy=sheet.name, key=key, figure=value, unit=unit, like=like, rests=rests)
            )
    return (msgspec.structs.replace(sheet, **given) if given else sheet), tuple(said)
