"""Bytes from a board that are no frame of its format: why."""

TEXTS: dict[str, str] = {
    "frame.no_text": "the line holds bytes that are not ASCII text",
    "frame.endless": "{count} {count:byte|bytes} without a line end",
    "frame.unfinished": "bytes for a second without a whole line",
    # -- our own line
    "frame.no_checksum": "no checksum: the line was cut, or is of another format",
    "frame.checksum": "the line was damaged: its checksum is {found} and should be {wanted}",
    "frame.unknown": "{kind} with {count} {count:field|fields} is no line of this format",
    "frame.channel": "channel {channel} is not 1 to 16 letters, digits, dots, dashes",
    "frame.channels": "the channel list is not up to {most} names of up to 16 letters, digits, dots, dashes",
    "frame.identity": "an identity word is empty, longer than 32, or not of letters, digits, blanks, _ . + -",
    "frame.count": "{field} is {found}, not a count from 0 to {highest}",
    "frame.decimal": "{field} is {found}, not a plain decimal number",
    "frame.no_figure": "{found} cannot be sent as a number",
    "frame.no_value": "neither emf nor chip code, and no flag that says why",
    "frame.code_digits": "a chip code of {count} {count:character|characters} is not 8, 10 or 12 hex digits",
    "frame.other_chip": "a chip code of {count} {count:digit|digits} is not from the {chip} that the board says it has",
    # -- chip registers in hex
    "frame.empty": "an empty line",
    "frame.too_many": "{count} fields in one line; at most {most} channels are read",
    "frame.no_hex": "field {place} is not hex digits",
    "frame.digits": "field {place} has {count} hex {count:digit|digits}, not {wanted}",
    "frame.channel_twice": "channel {channel} stands twice in one line",
    "frame.size": "{count} {count:byte|bytes}, not the {wanted} that the chip sends",
    "frame.no_word": "{word} is not a 32-bit word",
    # -- text in columns
    "frame.no_number": "{cell} is no number",
    "frame.comma": "{cell} has a comma where commas separate columns",
    "frame.no_unit": "{found} is no unit of temperature or voltage",
    "frame.beyond": "{cell} is beyond anything measured here",
    "frame.columns": "{count} {count:column|columns}, and the map reads column {needed}",
    "frame.other_unit": "channel {channel}: the line says {found}, the column map says {wanted}",
    "frame.no_ms": "{cell} is no count of milliseconds",
}
