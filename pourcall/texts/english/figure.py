"""Where a figure of the metal comes from."""

TEXTS: dict[str, str] = {
    "figure.no_reading": "no reading yet",
    "figure.dip": "dip {number}",
}
