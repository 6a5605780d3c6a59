"""The one instruction, or how things stand where nothing is to be done."""

TEXTS: dict[str, str] = {
    "instruction.start": "No melt runs. Start one before you charge the pot",
    "instruction.mark_pour": "Pour {mould} ({number} of {of}) and mark it",
    "instruction.empty": "Every mould is poured. Empty the pot, then end the melt",
    "instruction.solid": "Heating: {to_go_difference_c} to the pour window",
    "instruction.melting": "Melting: the reading may hang for several minutes. {to_go_difference_c} to the pour window",
    "instruction.freezing": "The metal is freezing. {to_go_difference_c} to the pour window",
    "instruction.liquid": "Liquid, not hot enough: {to_go_difference_c} to the pour window",
    "instruction.above": "Too hot by {over_difference_c}: let it cool with the power off",
    "instruction.not_now": "In the window at {metal_c}; you said not now",
    "instruction.in_window": "In the pour window",
    "instruction.hotter_is_surer": "Just inside the window, too cold {cold_share}: a little hotter is surer",
    "instruction.cooler_is_surer": "Just inside the window, too hot {hot_share}: a little cooler is surer",
    "instruction.no_temperature": "No temperature from {probe}: {reason}",
    "instruction.warming": "Waiting for the charge to warm the probe",
    "instruction.unknown": "{how:cap}",
}
