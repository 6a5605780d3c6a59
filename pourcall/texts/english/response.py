"""A furnace that does not do what it is set to: the evidence behind the alarms `flame_out` and `not_responding`."""

TEXTS: dict[str, str] = {
    "response.chamber_fell": "The chamber fell {fell_difference_c} in {fell_s} with the burner marked {level}",
    "response.metal_fell": "The metal fell {fell_difference_c} in {fell_s} with the burner marked {level}",
    "response.no_heat": "Full power for {for_min}, and the metal gained hardly any heat ({then_c} then, {now_c} now): melting does not explain it",
}
