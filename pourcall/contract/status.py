"""Status of a reading and the reasons for it: which reason makes a figure good, uncertain or bad.

Words after OPC UA Part 8 (status codes) and NAMUR NE 107; the reasons are ours.
"""

from enum import StrEnum


class Status(StrEnum):
    """GOOD: use it. UNCERTAIN: use it knowing the reason. BAD: there is no number."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class Reason(StrEnum):
    """Why a reading has the status it has. One reason, the most severe that holds."""

    OK = "ok"
    OVERRIDE = "override"  # a person typed it
    LAST_KNOWN = "last_known"  # held over a short gap
    LATE = "late"  # delivered in a burst of old bytes: recorded, not used for control
    OFF_SPEC = "off_spec"  # outside the sensor's class or calibration
    SPIKE = "spike"  # one sample that physics does not explain; kept, not followed
    COLD_JUNCTION = "cold_junction"  # outside -10 to 60 degC
    DISAGREE = "disagree"  # two probes differ beyond their tolerance
    MOVING = "moving"  # entering, settling or leaving: a true reading, but not yet of the metal
    UNPROVEN = "unproven"  # it was lost or lied, and has not yet proved itself: shown, and counts for nothing
    UNEXPLAINED = "unexplained"  # the furnace cannot have brought the metal there
    OUT_OF_METAL = "out_of_metal"  # a probe that should be in the metal is not
    WAITING = "waiting"  # no reading yet since start
    NO_VALUE = "no_value"  # the source sends no number, or text where a number should be
    OVER_RANGE = "over_range"  # beyond the thermocouple type's table, or the chip's
    SENSOR_OPEN = "sensor_open"
    SENSOR_SHORT = "sensor_short"
    INTERMITTENT = "intermittent"  # contact comes and goes
    UNCHANGING = "unchanging"
    IMPLAUSIBLE = "implausible"
    DEAD_BUS = "dead_bus"
    LINK_LOST = "link_lost"
    CONFIG = "config"


STATUS_OF: dict[Reason, Status] = {
    Reason.OK: Status.GOOD,
    Reason.OVERRIDE: Status.GOOD,
    Reason.LAST_KNOWN: Status.UNCERTAIN,
    Reason.LATE: Status.UNCERTAIN,
    Reason.OFF_SPEC: Status.UNCERTAIN,
    Reason.COLD_JUNCTION: Status.UNCERTAIN,
    Reason.DISAGREE: Status.UNCERTAIN,
    Reason.MOVING: Status.UNCERTAIN,
    Reason.OUT_OF_METAL: Status.UNCERTAIN,
    Reason.UNPROVEN: Status.UNCERTAIN,
    Reason.UNEXPLAINED: Status.UNCERTAIN,
    Reason.SPIKE: Status.BAD,
    Reason.WAITING: Status.BAD,
    Reason.NO_VALUE: Status.BAD,
    Reason.OVER_RANGE: Status.BAD,
    Reason.SENSOR_OPEN: Status.BAD,
    Reason.SENSOR_SHORT: Status.BAD,
    Reason.INTERMITTENT: Status.BAD,
    Reason.UNCHANGING: Status.BAD,
    Reason.IMPLAUSIBLE: Status.BAD,
    Reason.DEAD_BUS: Status.BAD,
    Reason.LINK_LOST: Status.BAD,
    Reason.CONFIG: Status.BAD,
}
