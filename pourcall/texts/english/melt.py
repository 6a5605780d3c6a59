"""What happened in a melt, for the record, and why it stands where it does."""

TEXTS: dict[str, str] = {
    "melt.lift_withdrawn": "the probe is back in the metal: the pot was not lifted",
    "melt.pour_moved": "pour {number} went into {mould}",
    "melt.pour_struck": "pour {number} struck out (marked by mistake)",
    "melt.pour_too_cold": "pour {number} by estimate at {lip_c}, where this alloy is solid below {solidus_c}: was it poured then?",
    "melt.skimmed": "skimmed",
    "melt.added": "metal added",
    "melt.added_of": "metal added ({source})",
    "melt.added_kg": "{mass_kg} added",
    "melt.added_kg_of": "{mass_kg} added ({source})",
    "melt.read_off": "{temp_c} read off {source}",
    "melt.none": "no melt runs",
    "melt.unknown_channel": "board {board} sends channel {channel}: no probe is set up for it",
    "melt.board_restarted": "board {board} says that it restarted",
    "melt.arrest_over": "its melting arrest is over",
    "melt.band.cold": "below the solidus",
    "melt.band.mushy": "between solidus and fully liquid",
    "melt.band.mushy_rising": "between solidus and fully liquid, rising",
    "melt.band.fluid": "liquid, below the pour window",
    "melt.band.window": "inside the pour window",
    "melt.band.over": "above the pour window",
}
