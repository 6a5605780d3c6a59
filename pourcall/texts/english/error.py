"""Errors of thermometry, wire formats and archives."""

TEXTS: dict[str, str] = {
    "error.no_plain_file": "there is something of that name already, and it is no plain file",
    "error.no_plain_file.remedy": "Choose another name",
    "error.nothing_changed": "Nothing was changed here. {remedy}",
    "error.beyond_type": "{temp_c:1} is outside what type {tc_type} can tell, {low_c} to {high_c}",
    "error.beyond_type.remedy": "Check the thermocouple type and the figure",
    "error.terminals": "terminals at {terminals_c:1} are outside type {tc_type}",
    "error.terminals.remedy": "Check the amplifier",
    "error.no_linear": "no linear amplifier reading for type {tc_type} at {temp_c:1} with terminals at {terminals_c:1}",
    "error.no_linear.remedy": "Use one of {types} within its range",
    "error.registers": "{hot_c:2}, cold junction {cold_c:2}, status {status} do not fit in the registers",
    "error.hot_bits": "{hot_c:2} does not fit in the 14 bits of the chip",
    "error.cold_bits": "cold junction {cold_c:2} does not fit in the 12 bits of the chip",
    "error.figure.remedy": "Check the figure and the unit",
    "error.emf_beyond_type": "{figure} is beyond type {tc_type} ({reason})",
    "error.emf_beyond_type.remedy": "Check type and polarity",
}
