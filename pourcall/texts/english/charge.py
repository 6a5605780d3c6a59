"""What a melt was charged with."""

TEXTS: dict[str, str] = {
    "charge.on_record": "melt {melt}: {entries:; }; on record",
    "charge.taken_back": "melt {melt}: entry {number} is taken back; it is kept on record",
    "charge.corrected": "melt {melt}: entry {number} is {entry}; the first entry is kept",
    "charge.entry": "{parts}",
    "charge.unknown_source": "metal of unknown source",
    "charge.metal": "{mass} {source}",
    "charge.metal_of": "{mass} {source} of {origin}",
    "charge.mass": "{mass_kg}",
    "charge.unknown_mass": "an unknown mass of",
    "charge.never_molten": "never molten before",
    "charge.molten": "molten {often} before",
    "charge.molten_at_least": "molten at least {often} before",
    "charge.often.1": "once",
    "charge.often.2": "twice",
    "charge.often.3": "{remelts} times",
    "charge.detail": "{detail}",
}
