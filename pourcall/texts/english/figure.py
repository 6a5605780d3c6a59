"""The temperature of the metal: how it is known, or why it is not."""

TEXTS: dict[str, str] = {
    "figure.probe": "probe in the metal",
    "figure.last_good": "last good figure",
    "figure.lag": "{how}, {lag_difference_c:1} of lag allowed for",
    "figure.dip_on": "dip going on",
    "figure.dip_new": "dip {number}",
    "figure.dip": "dip {number}, {age_s} ago",
    "figure.higher": "{how}, the higher of two that disagree",
    "figure.typed_new": "{instrument}",
    "figure.typed": "{instrument}, typed {age_s} ago",
    # why not
    "figure.none": "no figure",
    "figure.no_reading": "no reading yet",
    "figure.no_probe": "no probe in the metal",
    "figure.chamber_only": "a chamber probe only: it takes a dip to know the metal",
    "figure.no_word": "no word from {probe}",
    "figure.no_temperature": "{probe} gives no temperature",
    "figure.unproven": "{probe} has to prove itself first: {wait_s} of quiet still to go",
    "figure.distrusted": "{probe} is not to be trusted: look at it, then acknowledge its alarm",
    "figure.below_liquidus": "at or below the liquidus: the metal is still part solid, or a shell of it froze on the tip",
    "figure.dip_to_know": "it takes a dip to know the metal",
    "figure.frozen_in": "probe frozen in",
    "figure.out": "probe is out of the metal",
    "figure.settling": "probe is settling",
    "figure.power_after_dip": "power came on after the dip: it no longer counts",
    "figure.dip_with_power": "a dip counts with the power off only",
}
