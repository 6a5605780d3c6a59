"""Every alarm there is. What it means and what to do, in the words a person reads beside the furnace.

Rows of the fault catalogue are named in the comment. Delays: temperature alarms wait 2 s to come and 5 s to go
(one bad sample is no alarm); faults that a chip or the link reports wait as their row says.
`{subject}` is the probe, board or furnace, `{detail}` what the rule found.
"""

from dataclasses import dataclass

from pourcall.contract.events import Priority

TRIP, ALARM, WARNING, CAUTION = Priority.TRIP, Priority.ALARM, Priority.WARNING, Priority.CAUTION


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """One kind of alarm. Delays in seconds."""

    name: str
    priority: Priority
    what: str
    remedy: str
    on_delay_s: float = 0.0
    off_delay_s: float = 5.0
    latching: bool = False

    def texts(self, subject: str, detail: str) -> tuple[str, str]:
        """What it means and what to do, filled in."""
        said = {"subject": subject.replace("_", " "), "detail": detail}
        return self.what.format(**said).strip(), self.remedy.format(**said).strip()


_ALL = (
    # -- the metal ----------------------------------------------------------------------------------------------------
    AlarmKind(
        "overshoot",
        WARNING,
        "The melt is above its pour window and still rising. {detail}",
        "Cut the power now; leave the lid off if the sheet allows it",
        on_delay_s=5.0,
    ),
    AlarmKind(
        "above_window",
        CAUTION,
        "The melt stays above its pour window. {detail}",
        "Let it cool with the power off; skim only when ready to pour",
        on_delay_s=60.0,
    ),
    AlarmKind(
        "alloy_limit",
        ALARM,
        "The metal is hotter than this alloy should ever be. {detail}",
        "Cut the power; stay upwind; do not lean over the pot",
        on_delay_s=2.0,
    ),
    AlarmKind(
        "pot_limit",
        ALARM,
        "The pot is hotter than its rating. {detail}",
        "Cut the power; do not lift this pot full",
        on_delay_s=2.0,
    ),
    AlarmKind(
        "furnace_rating",
        ALARM,
        "The furnace is hotter than its rating. {detail}",
        "Cut the power and let it cool",
        on_delay_s=2.0,
    ),
    AlarmKind(
        "probe_rating",
        WARNING,
        "{subject} is hotter than it is rated for. {detail}",
        "Take the probe out of the heat; expect it to read low from now on",
        on_delay_s=2.0,
    ),
    AlarmKind(
        "flame_out",
        ALARM,
        "The flame may be out. {detail}",
        "Close the gas first, ventilate, then look. Do not relight until the smell of gas is gone",
    ),
    AlarmKind(
        "not_responding",
        WARNING,
        "Power is on and hardly any heat arrives in the metal. {detail}",
        "Look at element, fuse, contactor or burner; is the probe really in the metal?",
    ),
    AlarmKind(
        "fume",
        ALARM,
        "Zinc fume far above the limits for air at work, to a factor of ten. {detail}",
        "Cut the power, leave the bath alone, go upwind; no visible fume does not mean safe",
        on_delay_s=10.0,
    ),
    AlarmKind(
        "wrong_alloy",
        WARNING,
        "The metal in the pot may not be the alloy of this melt. {detail}",
        "Do not pour by this window: look at what was charged and pour a small sample cup; `melt change` names the "
        "right alloy, or cast ingots and start again",
    ),
    # -- a probe ------------------------------------------------------------------------------------------------------
    AlarmKind(  # T1
        "sensor_open",
        ALARM,
        "Thermocouple {subject} is broken or unplugged: it gives no temperature.",
        "Look at the plug and the cable; do not pour on the last figure",
    ),
    AlarmKind(  # T2
        "sensor_short",
        ALARM,
        "Thermocouple {subject} touches ground or supply: it gives no temperature. {detail}",
        "Look for a bare wire or a grounded tip at the amplifier",
    ),
    AlarmKind(
        "no_value",
        ALARM,
        "{subject} sends no number. {detail}",
        "Look at the instrument or the file it comes from",
    ),
    AlarmKind(  # T7
        "implausible",
        ALARM,
        "{subject} jumped as metal cannot. {detail}",
        "Do not trust it: check with a second probe, then acknowledge",
        off_delay_s=60.0,
    ),
    AlarmKind(  # T11
        "over_range",
        ALARM,
        "{subject} is beyond what its type can read. {detail}",
        "Cut the power; check type and polarity of the probe",
    ),
    AlarmKind(  # T12
        "intermittent",
        ALARM,
        "The contact of {subject} comes and goes. {detail}",
        "Tighten or replace the probe; acknowledge when it is mended",
        off_delay_s=60.0,
    ),
    # -- an amplifier -------------------------------------------------------------------------------------------------
    AlarmKind(  # A1, A2
        "dead_bus",
        ALARM,
        "The amplifier of {subject} does not answer: its words are empty. {detail}",
        "Look at the wires between amplifier chip and board",
    ),
    AlarmKind(  # A3
        "cold_junction",
        WARNING,
        "The amplifier of {subject} is too hot or too cold to be trusted. {detail}",
        "Move it away from the furnace and out of the draught",
    ),
    # -- a link -------------------------------------------------------------------------------------------------------
    AlarmKind(  # S1, S2
        "link_lost",
        ALARM,
        "No data from board {subject}. {detail}",
        "Look at the cable and the board; it is taken up again by itself",
    ),
    AlarmKind(  # S3, S4, S11
        "link_noisy",
        WARNING,
        "Board {subject} sends broken lines. {detail}",
        "Keep the cable away from the furnace wiring; look at plug and ground",
        off_delay_s=10.0,
    ),
    AlarmKind(  # S6
        "link_wrong_speed",
        ALARM,
        "Board {subject} seems to speak at another speed. {detail}",
        "Correct `baud` in the settings and start again",
    ),
    AlarmKind(  # S7
        "identity_mismatch",
        ALARM,
        "Board {subject} is not the board it was. {detail}",
        "Put the right board on this port, or correct `serial` in the settings",
    ),
    AlarmKind(  # S8
        "port_shared",
        ALARM,
        "A second program reads the port of board {subject}. {detail}",
        "Close the other program",
    ),
    AlarmKind(  # S10
        "late_data",
        WARNING,
        "Board {subject} delivers old readings. {detail}",
        "Wait until it has caught up; the figures shown are not used to call",
        off_delay_s=3.0,
    ),
    AlarmKind(  # S12
        "port_unavailable",
        ALARM,
        "The port of board {subject} cannot be opened. {detail}",
        "When that is mended it is taken up by itself",
    ),
    # -- the record and the daemon ------------------------------------------------------------------------------------
    AlarmKind("store_full", ALARM, "The disk is full: readings wait in memory. {detail}", "Make room on the disk"),
    AlarmKind("store_failing", ALARM, "The disk refuses to write. {detail}", "Look at the disk; nothing is lost yet"),
    AlarmKind("store_locked", WARNING, "Another program holds the record open. {detail}", "Close that program"),
    AlarmKind("store_readonly", ALARM, "The record may not be written. {detail}", "Correct the permissions"),
    AlarmKind("store_gone", ALARM, "The record file was moved or deleted. {detail}", "Put it back or restart"),
    AlarmKind("store_damaged", ALARM, "The record file was damaged and set aside. {detail}", "Restore a backup"),
    AlarmKind(
        "broker_down",
        CAUTION,
        "The MQTT broker does not answer. {detail}",
        "Nothing is lost; look at it later",
        on_delay_s=60.0,
    ),
    AlarmKind("broker_refused", WARNING, "The MQTT broker refuses us. {detail}", "Correct user and password"),
    AlarmKind("client_id_clash", WARNING, "Another MQTT client uses our name. {detail}", "Stop the other client"),
    AlarmKind(  # C5
        "paused",
        ALARM,
        "The daemon stood still, nobody watched the metal. {detail}",
        "Look at the furnace before you trust the screen; keep this computer from sleeping",
    ),
    AlarmKind("loop_slow", WARNING, "The daemon was held up. {detail}", "Close other programs on this computer"),
    AlarmKind(
        "task_failed",
        ALARM,
        "A part of the daemon failed and was started again. {detail}",
        "Finish this melt by hand if in doubt; send the log",
    ),
    AlarmKind("command_rejected", WARNING, "A command was refused. {detail}", "Look at where it came from"),
    AlarmKind(
        "unclean_stop",
        WARNING,
        "The daemon did not stop in order last time. {detail}",
        "Check what the record holds of that melt",
    ),
    AlarmKind("secret_exposed", WARNING, "A secret is readable by others. {detail}", "Correct the permissions"),
    AlarmKind("test", CAUTION, "This is a test of the alarm path. {detail}", "Acknowledge it"),
)

CATALOGUE: dict[str, AlarmKind] = {kind.name: kind for kind in _ALL}

PARENTS: dict[str, tuple[str, ...]] = {
    # A stronger alarm explains these: one situation shows one alarm.
    "link_lost": ("link_noisy", "late_data", "no_value"),
    "link_wrong_speed": ("link_noisy", "link_lost", "no_value"),
    "port_unavailable": ("link_lost", "link_noisy", "link_wrong_speed", "no_value"),
    "identity_mismatch": ("link_lost", "no_value"),
    "alloy_limit": ("overshoot", "above_window", "pot_limit", "fume"),
    "pot_limit": ("overshoot", "above_window"),
    "overshoot": ("above_window",),
    "implausible": ("intermittent",),
    "flame_out": ("not_responding",),
    "dead_bus": ("cold_junction", "no_value"),
}
