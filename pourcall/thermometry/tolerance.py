"""How far a new thermocouple wire may be from its reference function, by class. Numbers and one look-up.

Classes 1 to 3 of IEC 60584-1:2013 and special and standard limits of ASTM E230. The standards themselves were not
read; sources, all of which agree in what is used here unless a line says otherwise:
  IEC: the tables of three makers for type K (BS EN 60584-1:2013, DIN EN 60584, IEC 584-2:1982), and for the other
       types two makers' tables of 60584-2/60584-1:2013, one of which prints the identical JIS C 1602.
  ASTM: a one-page table "according to ASTM E230/E230M-12" and a wire maker's table of E230 / MC96.1.
Below 0 degC sources of E230 disagree for type K (1 % or 2 %): the wider is taken.

A tolerance is for unused, homogeneous wire within its range and says nothing of drift: base metal wire changes in use.
"""

from enum import StrEnum
from typing import Final, NamedTuple

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.thermometry.thermocouple import temp_range_c


class WireClass(StrEnum):
    """The class a couple was bought as; `unknown` is judged as the widest class of its type."""

    IEC_1 = "iec_1"
    IEC_2 = "iec_2"
    IEC_3 = "iec_3"
    ASTM_SPECIAL = "astm_special"
    ASTM_STANDARD = "astm_standard"
    UNKNOWN = "unknown"


class Band(NamedTuple):
    """From low_c to high_c the tolerance is the greater of floor_c and share * abs(t - from_c) + floor_at_from_c."""

    low_c: float
    high_c: float
    floor_c: float
    share: float
    from_c: float = 0.0
    floor_at_from_c: float = 0.0


class Tolerance(NamedTuple):
    """Plus or minus half_width_c. covered: within the range of the class; where not, the figure is widened."""

    half_width_c: float
    covered: bool
    class_low_c: float
    class_high_c: float


_KN_SPECIAL, _KN_STANDARD = Band(0, 1260, 1.1, 0.004), Band(0, 1260, 2.2, 0.0075)
_RS_CLASS_1 = Band(0, 1600, 1.0, 0.003, 1100.0, 1.0)  # 1 degC to 1100 degC, then 1 + 0.003 * (t - 1100)
_RS_CLASS_2 = Band(0, 1600, 1.5, 0.0025)
_RS_SPECIAL, _RS_STANDARD = Band(0, 1480, 0.6, 0.001), Band(0, 1480, 1.5, 0.0025)

# fmt: off
BANDS: Final[dict[tuple[str, WireClass], tuple[Band, ...]]] = {
    ("K", WireClass.IEC_1): (Band(-40, 1000, 1.5, 0.004),),
    ("K", WireClass.IEC_2): (Band(-40, 1200, 2.5, 0.0075),),
    ("K", WireClass.IEC_3): (Band(-200, 40, 2.5, 0.015),),
    ("K", WireClass.ASTM_SPECIAL): (_KN_SPECIAL,),
    ("K", WireClass.ASTM_STANDARD): (Band(-200, 0, 2.2, 0.02), _KN_STANDARD),
    ("N", WireClass.IEC_1): (Band(-40, 1000, 1.5, 0.004),),
    ("N", WireClass.IEC_2): (Band(-40, 1200, 2.5, 0.0075),),
    ("N", WireClass.IEC_3): (Band(-200, 40, 2.5, 0.015),),
    ("N", WireClass.ASTM_SPECIAL): (_KN_SPECIAL,),
    ("N", WireClass.ASTM_STANDARD): (_KN_STANDARD,),
    ("E", WireClass.IEC_1): (Band(-40, 800, 1.5, 0.004),),
    ("E", WireClass.IEC_2): (Band(-40, 900, 2.5, 0.0075),),
    ("E", WireClass.IEC_3): (Band(-200, 40, 2.5, 0.015),),
    ("E", WireClass.ASTM_SPECIAL): (Band(0, 870, 1.0, 0.004),),
    ("E", WireClass.ASTM_STANDARD): (Band(-200, 0, 1.7, 0.01), Band(0, 870, 1.7, 0.005)),
    ("J", WireClass.IEC_1): (Band(-40, 750, 1.5, 0.004),),
    ("J", WireClass.IEC_2): (Band(-40, 750, 2.5, 0.0075),),
    ("J", WireClass.ASTM_SPECIAL): (Band(0, 760, 1.1, 0.004),),
    ("J", WireClass.ASTM_STANDARD): (Band(0, 760, 2.2, 0.0075),),
    ("T", WireClass.IEC_1): (Band(-40, 350, 0.5, 0.004),),
    ("T", WireClass.IEC_2): (Band(-40, 350, 1.0, 0.0075),),
    ("T", WireClass.IEC_3): (Band(-200, 40, 1.0, 0.015),),
    ("T", WireClass.ASTM_SPECIAL): (Band(0, 370, 0.5, 0.004),),
    ("T", WireClass.ASTM_STANDARD): (Band(-200, 0, 1.0, 0.015), Band(0, 370, 1.0, 0.0075)),
    ("R", WireClass.IEC_1): (_RS_CLASS_1,),
    ("R", WireClass.IEC_2): (_RS_CLASS_2,),
    ("R", WireClass.ASTM_SPECIAL): (_RS_SPECIAL,),
    ("R", WireClass.ASTM_STANDARD): (_RS_STANDARD,),
    ("S", WireClass.IEC_1): (_RS_CLASS_1,),
    ("S", WireClass.IEC_2): (_RS_CLASS_2,),
    ("S", WireClass.ASTM_SPECIAL): (_RS_SPECIAL,),
    ("S", WireClass.ASTM_STANDARD): (_RS_STANDARD,),
    ("B", WireClass.IEC_2): (Band(600, 1700, 1.5, 0.0025),),
    ("B", WireClass.IEC_3): (Band(600, 1700, 4.0, 0.005),),
    ("B", WireClass.ASTM_SPECIAL): (Band(870, 1700, 0.0, 0.0025),),
    ("B", WireClass.ASTM_STANDARD): (Band(870, 1700, 0.0, 0.005),),
}
# fmt: on
_WIDEST: Final = {"B": WireClass.IEC_3}  # for every other type class 2 is the widest sold for a furnace

# Beyond its class a couple is held to nothing. What it would be held to if the class went on is doubled: common
# practice, no source. The reading stays usable and is told as off_spec.
BEYOND_CLASS: Final = 2.0


def _bands(tc_type: str, wire_class: WireClass) -> tuple[Band, ...]:
    asked = _WIDEST.get(tc_type, WireClass.IEC_2) if wire_class is WireClass.UNKNOWN else wire_class
    bands = BANDS.get((tc_type, asked))
    if bands is None:
        temp_range_c(tc_type)  # says so where the type itself is unknown
        known = ", ".join(each.value for (type_, each) in BANDS if type_ == tc_type)
        told = tell("error.no_class", tc_type=tc_type, wire_class=wire_class.value)
        raise BadInput(told, remedy=tell("error.no_class.remedy", known=known))
    return bands


def class_range_c(tc_type: str, wire_class: WireClass) -> tuple[float, float]:
    """Lowest and highest degC for which the class promises anything: beyond it a reading is off_spec.

    Raises BadInput for an unknown type or a class that the standard does not define for the type.
    """
    bands = _bands(tc_type, wire_class)
    return bands[0].low_c, bands[-1].high_c


def tolerance(tc_type: str, wire_class: WireClass, temp_c: float) -> Tolerance:
    """Tolerance of new wire at temp_c, in degC. Beyond the class's range doubled and `covered` false.

    Raises BadInput as `class_range_c`.
    """
    bands = _bands(tc_type, wire_class)
    low_c, high_c = bands[0].low_c, bands[-1].high_c
    for band in bands:
        if band.low_c <= temp_c <= band.high_c:
            return Tolerance(_half_width_c(band, temp_c), True, low_c, high_c)
    nearest, end_c = (bands[0], low_c) if temp_c < low_c else (bands[-1], high_c)
    continued_c = max(_half_width_c(nearest, temp_c), _half_width_c(nearest, end_c))  # never better than at the end
    return Tolerance(BEYOND_CLASS * continued_c, False, low_c, high_c)


def _half_width_c(band: Band, temp_c: float) -> float:
    if band.from_c:
        return max(band.floor_c, band.floor_at_from_c + band.share * (temp_c - band.from_c))
    return max(band.floor_c, band.share * abs(temp_c))
