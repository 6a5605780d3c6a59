"""What an alloy sheet says, and what stands in for what it does not."""

TEXTS: dict[str, str] = {
    "alloy.limit.boiling": "zinc pressure reaches 0.8 of an atmosphere at {highest_c} (computed, ±{known_difference_c})",
    "alloy.limit.note": "{alloy}: {note} ({mark})",
    "alloy.limit.sheet": "{alloy} sheet ({mark})",
    "alloy.limit.above_pour": "{alloy}: {above_difference_c} above the highest pour",
    "alloy.stand_in": "the {alloy} sheet has no {key}: {figure} {unit}, that of {like}, stands in; {rests} are good to 20 % at best",
    "alloy.rests_on.density_solid": "masses from volumes and patterns",
    "alloy.rests_on.density_liquid": "what the pot holds, choke and flow",
    "alloy.rests_on.cp_solid": "energy and time",
    "alloy.rests_on.cp_liquid": "energy, loss on the way and flow",
    "alloy.rests_on.latent": "energy and flow",
    "alloy.hydrogen": "At {temp_c} aluminium can hold {times:1} times the hydrogen it can at {beside_c} and about {over:0} times what it keeps when solid (±50 %): no hotter and no longer than needed, dry charge and tools",
    "alloy.tube": "Probe: {works}. Not: {fails} ({source}, {mark})",
    "alloy.source": "{quantity} {figure}, {source}, {mark}",
    "alloy.figure.temperature": "{value_c}",
    "alloy.figure.difference": "{value_difference_c}",
    "alloy.figure.plain": "{value}",
    "alloy.figure.unit": "{value} {unit}",
}
