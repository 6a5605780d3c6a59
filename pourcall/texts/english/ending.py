"""How a melt ended, and what metal was left of it."""

TEXTS: dict[str, str] = {
    "ending.done": "melt {melt}: {said}; on record, what was told before is kept",
    "ending.how": "{ending}",
    "ending.why": "{how} ({detail})",
    "ending.left": "{parts}",
    "ending.ingot": "ingot {ingot} {mass_kg}",
    "ending.no_ingots": "no ingots",
    "ending.heel": "heel {mass_kg}",
    "ending.no_heel": "no heel",
    "ending.not_ended": "melt {melt} has not ended",
    "ending.not_ended.remedy": "End it with `pourcall melt end`, with --ingots and --heel",
    "ending.nothing": "nothing is given of the end",
    "ending.nothing.remedy": "Give an ending, --ingots or --heel",
    "ending.ingots_outside": "{count} ingots of one melt cannot be right",
    "ending.more_than_in": "{out_kg} came out, moulds included, of {in_kg} that went in",
    "ending.more_than_weighed": "{out_kg} came out, moulds included; {in_kg} was weighed in, and an addition was not weighed",
    "ending.more_than_in.remedy": "Check the masses; if more went in, say that first (`pourcall melt charge {melt} --new 0.4kg`)",
}
