"""A profile at work: why it was not begun or moved on. Why one of its calls is over: `call.ended`."""

TEXTS: dict[str, str] = {
    "guidance.other_alloy": "that profile was made for {profile_alloy}, this melt is {alloy}",
    "guidance.other_alloy.remedy": "Run it again for this melt",
    "guidance.alloy_changed": "its temperatures were for another alloy than {alloy}; the power stays as you have it",
    "guidance.above_limit": "that profile goes to {to_c}, above the limit of the {whose}, {limit_c:highest}",
    "guidance.above_limit.remedy": "Run another",
    "guidance.none_runs": "no profile runs",
    "guidance.none_runs.remedy": "Begin one with `pourcall profile run`",
    "guidance.ramp": "this segment is a ramp: it is over when the metal is there",
    "guidance.ramp.remedy": "Wait, or stop the profile",
    "guidance.power_stays": "the power stays as it is",
}
