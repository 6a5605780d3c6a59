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
}
