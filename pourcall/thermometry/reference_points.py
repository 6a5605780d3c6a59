"""Temperatures that are known beforehand. Ice, boiling water, and metals that freeze at a published figure.

Each point carries its figure in degC, how far the shop's own sample may be from it, its source and a mark (`sourced`,
`memory`, `computed`). Fixed points: ITS-90, Table 1 (its-90.com); bismuth and lead: SGTE unary data (544.556 K,
600.612 K). Eutectics from memory unless their line says otherwise; computed neighbours stand beside them.

Not here: finding the arrest in a trace (daemon.calibrate), the correction itself (drivers.calibration).
"""

from math import isfinite, sqrt
from typing import Final, NamedTuple

from pourcall.contract.errors import BadInput, NotFound, OutOfRange
from pourcall.contract.message import NOTHING, Message, tell

STANDARD_HPA: Final = 1013.25


class CalPoint(NamedTuple):
    """One known temperature. half_width_c: the figure itself; sample_c: the sample, by grade; both rectangular.

    latent_over_heat_k: latent heat over the liquid's specific heat, in K; None where no figure was found. It tells how
    long an arrest should last. kind: `arrest` (a metal that freezes or melts) or `bath` (ice, boiling water).
    """

    key: str
    temp_c: float
    kind: str
    half_width_c: float
    source: str
    mark: str
    latent_over_heat_k: float | None = None
    named: Message = NOTHING  # where its key does not tell its name: boiling water, a halt of a sheet
    note: Message = NOTHING  # what to mind about it

    @property
    def name(self) -> Message:
        """What it is called."""
        return self.named or tell(f"point.name.{self.key}")

    def standard_c(self, grade: str = "commercial") -> float:
        """Standard uncertainty (k = 1) of the sample's own temperature, degC: the figure and the sample's grade.

        Limits without further knowledge are a rectangle, a / sqrt(3) (JCGM 100:2008, 4.3.7). Raises BadInput.
        """
        sample_c = 0.0 if self.kind == "bath" or "+" in self.key else grade_half_width_c(grade)
        return sqrt((self.half_width_c**2 + sample_c**2) / 3.0)


# How far a sample of a grade may freeze from the pure metal, degC: "99.9 % within about 1, commercial tin, zinc and
# lead within 1 to 2" (memory). 99.99 %: cryoscopic constants of 0.001 to 0.003 per K, so 0.03 to 0.1 K (memory).
GRADES: Final = {"99.99": 0.15, "99.9": 1.0, "commercial": 2.0}


def grade_half_width_c(grade: str) -> float:
    """Half-width in degC for a grade of metal. Raises BadInput."""
    if grade not in GRADES:
        raise BadInput(tell("point.no_grade", typed=grade), remedy=tell("error.use_one", known=", ".join(GRADES)))
    return GRADES[grade]


# Cu-Cu2O eutectic: 1066 degC at 1.7 at.% O (J. P. Neumann, T. Zhong, Y. A. Chang, The Cu-O system, Bull. Alloy Phase
# Diagrams 5 (1984) 136-140); trade handbooks print 1065.
_CU_O = "Cu-Cu2O eutectic, Neumann, Zhong and Chang 1984"
_ITS90, _SGTE, _MEM = "ITS-90, Table 1", "SGTE unary data", "memory"
# Silver in air: lowered by R T^2 x / L (dilute solution, no oxygen in the solid) with T 1234.93 K (ITS-90),
# L 11.3 kJ/mol (SGTE) and x 0.009 of oxygen dissolved under 0.21 bar (0.3 % by mass under 1 bar, memory): 10 K.
# latent_over_heat_k: zinc, aluminium, copper, lead, tin computed from SGTE; silver 11.3 kJ/mol over 33.5 J/(mol K)
# (memory), rounded down; bismuth and eutectics not known.
# fmt: off
_POINTS: Final = (
    CalPoint("ice", 0.0, "bath", 0.05, "definition of the ice point", "sourced"),
    CalPoint("bismuth+tin", 138.5, "arrest", 0.7, _MEM, "memory"),
    CalPoint("tin+lead", 183.0, "arrest", 0.6, _MEM, "memory"),
    CalPoint("tin", 231.928, "arrest", 0.0, _ITS90, "sourced", 241.0),
    CalPoint("bismuth", 271.406, "arrest", 0.0, _SGTE, "sourced"),
    CalPoint("lead", 327.462, "arrest", 0.0, _SGTE, "sourced", 157.0),
    CalPoint("zinc+aluminium", 381.0, "arrest", 0.8, "trade solidus 381; computed 380.9", "sourced"),
    CalPoint("zinc", 419.527, "arrest", 0.0, _ITS90, "sourced", 225.0),
    CalPoint("aluminium+copper", 548.0, "arrest", 0.8, _MEM, "memory"),
    CalPoint("aluminium+silicon", 577.0, "arrest", 1.0, "computed 577.0 at 12.5 % Si", "computed"),
    CalPoint("aluminium", 660.323, "arrest", 0.0, _ITS90, "sourced", 337.0),
    CalPoint("silver+copper", 779.0, "arrest", 0.8, _MEM, "memory"),
    CalPoint("silver_air", 951.8, "arrest", 3.0, "ITS-90, less oxygen", "computed", 330.0),
    CalPoint("silver", 961.78, "arrest", 0.0, _ITS90, "sourced", 330.0),
    CalPoint("copper_air", 1066.0, "arrest", 1.5, _CU_O, "sourced", 422.0),
    CalPoint("copper", 1084.62, "arrest", 0.0, _ITS90, "sourced", 422.0),
)
# fmt: on
# What to mind about each, beside its figure.
_NOTES: Final = {
    "ice": tell("point.note.ice", tap_difference_c=0.05),
    "tin+lead": tell("point.note.tin+lead", computed_c=181.4),
    "tin": tell("point.note.tin", under_difference_c=20.0),
    "zinc": tell("point.note.zinc"),
    "aluminium+silicon": tell("point.note.aluminium+silicon", least_difference_c=5.0, most_difference_c=12.0),
    "aluminium": tell("point.note.aluminium"),
    "silver_air": tell("point.note.silver_air"),
    "silver": tell("point.note.silver", lower_difference_c=10.0),
    "copper_air": tell("point.note.copper_air"),
    "copper": tell("point.note.copper", air_c=1066.0),
}
POINTS: Final = {point.key: point._replace(note=_NOTES.get(point.key, NOTHING)) for point in _POINTS}
BOILING: Final = "boiling"
_OTHER_NAMES: Final = {
    "aluminum": "aluminium",
    "sn": "tin",
    "zn": "zinc",
    "al": "aluminium",
    "ag": "silver",
    "cu": "copper",
    "pb": "lead",
    "bi": "bismuth",
    "water": BOILING,
    "steam": BOILING,
    "lead+tin": "tin+lead",
    "sn+pb": "tin+lead",
    "pb+sn": "tin+lead",
    "tin+bismuth": "bismuth+tin",
    "bi+sn": "bismuth+tin",
    "zn+al": "zinc+aluminium",
    "al+si": "aluminium+silicon",
    "al+cu": "aluminium+copper",
    "ag+cu": "silver+copper",
}
POINT_NAMES: Final = (*POINTS, BOILING)


def cal_point(
    key: str,
    *,
    altitude_m: float | None = None,
    pressure_hpa: float | None = None,
    sea_level_hpa: float | None = None,
) -> CalPoint:
    """A point by its key or another of its names. Water boils by `boiling_point`, which takes the other arguments.

    Raises NotFound for an unknown point, BadInput for air pressure told of a metal, and as `boiling_point`.
    """
    word = key.strip().lower().replace("-", "+").replace(" ", "_")
    word = _OTHER_NAMES.get(word, word)
    if word == BOILING:
        return boiling_point(altitude_m=altitude_m, pressure_hpa=pressure_hpa, sea_level_hpa=sea_level_hpa)
    if word not in POINTS:
        raise NotFound(tell("point.unknown", typed=key), remedy=tell("error.use_one", known=", ".join(POINT_NAMES)))
    if altitude_m is not None or pressure_hpa is not None or sea_level_hpa is not None:
        raise BadInput(tell("point.no_water"), where=word, remedy=tell("point.no_water.remedy"))
    return POINTS[word]


# -- water ----------------------------------------------------------------------------------------------------------

# IAPWS-IF97 (Revised Release 2007), Table 34: saturation line. Range 611.213 Pa to 22.064 MPa.
_N: Final = (
    0.0,
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
WEATHER_HALF_HPA: Final = 25.0  # sea-level pressure swings so much with the weather: judgement
BAROMETER_HALF_HPA: Final = 2.0  # a phone's or house barometer read on the spot: judgement
WATER_HALF_C: Final = 0.15  # tap water, the depth of the probe, bumping: judgement


def saturation_c(pressure_hpa: float) -> float:
    """Temperature at which pure water boils under an absolute pressure in hPa, degC on ITS-90.

    Source: IAPWS-IF97, equation 31, coefficients of Table 34. Raises OutOfRange beyond 6.12 to 220640 hPa.
    """
    if not (isfinite(pressure_hpa) and 6.11213 <= pressure_hpa <= 220640.0):
        told = tell("point.pressure_outside", pressure_hpa=pressure_hpa, least_hpa=6.12, most_hpa=220640)
        raise OutOfRange(told, remedy=tell("error.figure.remedy"))
    beta = (pressure_hpa * 1e-4) ** 0.25
    e = beta * beta + _N[3] * beta + _N[6]
    f = _N[1] * beta * beta + _N[4] * beta + _N[7]
    g = _N[2] * beta * beta + _N[5] * beta + _N[8]
    d = 2.0 * g / (-f - sqrt(f * f - 4.0 * e * g))
    kelvin: float = 0.5 * (_N[10] + d - sqrt((_N[10] + d) ** 2 - 4.0 * (_N[9] + _N[10] * d)))
    return kelvin - 273.15


def air_pressure_hpa(altitude_m: float, sea_level_hpa: float = STANDARD_HPA) -> float:
    """Air pressure at an altitude, hPa, from that at sea level (what weather reports print, whatever the altitude).

    Source: ICAO Standard Atmosphere (ISO 2533:1975), p = p0 (1 - 0.0065 h / 288.15)^5.2559, troposphere. Raises
    OutOfRange outside -500 to 6000 m or 900 to 1090 hPa at sea level.
    """
    if not (isfinite(altitude_m) and -500.0 <= altitude_m <= 6000.0):
        raise OutOfRange(tell("point.altitude", altitude_m=altitude_m), remedy=tell("point.altitude.remedy"))
    if not (isfinite(sea_level_hpa) and 900.0 <= sea_level_hpa <= 1090.0):
        raise OutOfRange(tell("point.sea_level", pressure_hpa=sea_level_hpa), remedy=tell("point.sea_level.remedy"))
    share: float = (1.0 - 0.0065 * altitude_m / 288.15) ** 5.2559
    return sea_level_hpa * share


def boiling_point(
    *, altitude_m: float | None = None, pressure_hpa: float | None = None, sea_level_hpa: float | None = None
) -> CalPoint:
    """Boiling water here. pressure_hpa: absolute, read on the spot. altitude_m: with the weather's swing of +-25 hPa,
    or +-2 hPa with sea_level_hpa (from a weather report). Raises BadInput where neither or both are told, OutOfRange.
    """
    if (altitude_m is None) == (pressure_hpa is None):
        raise BadInput(tell("point.which_pressure"), remedy=tell("point.which_pressure.remedy"))
    if altitude_m is not None:
        here_hpa = air_pressure_hpa(altitude_m, STANDARD_HPA if sea_level_hpa is None else sea_level_hpa)
        half_hpa = WEATHER_HALF_HPA if sea_level_hpa is None else BAROMETER_HALF_HPA
        how = tell("point.boiling.altitude", altitude_m=altitude_m)
        if sea_level_hpa is not None:
            how = tell("point.boiling.weather", altitude_m=altitude_m, pressure_hpa=sea_level_hpa)
    else:
        assert pressure_hpa is not None
        if sea_level_hpa is not None:
            raise BadInput(tell("point.weather"), remedy=tell("point.weather.remedy"))
        if not 470.0 <= pressure_hpa <= 1100.0:
            told = tell("point.pressure_outside", pressure_hpa=pressure_hpa, least_hpa=470, most_hpa=1100)
            raise OutOfRange(told, remedy=tell("point.absolute.remedy"))
        here_hpa, half_hpa = pressure_hpa, BAROMETER_HALF_HPA
        how = tell("point.boiling.pressure", pressure_hpa=pressure_hpa)
    temp_c = saturation_c(here_hpa)
    weather_c = 0.5 * (saturation_c(here_hpa + half_hpa) - saturation_c(here_hpa - half_hpa))
    return CalPoint(
        BOILING,
        temp_c,
        "bath",
        sqrt(weather_c**2 + WATER_HALF_C**2),
        "IAPWS-IF97; ICAO Standard Atmosphere",
        "computed",
        named=tell("point.boiling", how=how),
        note=tell("point.boiling.note", here_hpa=round(here_hpa), half_hpa=half_hpa),
    )
