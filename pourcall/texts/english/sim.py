"""The simulated shop: what it does not have, and a script it cannot follow."""

TEXTS: dict[str, str] = {
    "sim.unknown": "'{typed}' is no {simulated}",
    "sim.no_max31855": "there is no MAX31855 for type {tc_type}",
    "sim.not_carried": "lines of format {format} cannot carry {chips}",
    "sim.not_carried.remedy": "Choose another format, or probes on another chip",
    "sim.condition.remedy": "Write `metal >= 520` or `after 20`",
    "sim.no_script": "the script cannot be read: {error}",
    "sim.no_script.remedy": "Write [[step]] tables, as in the scripts that ship",
}
