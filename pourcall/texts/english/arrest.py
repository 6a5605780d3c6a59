"""Arrests: what a halt in the trace says of metal, alloy and probe."""

TEXTS: dict[str, str] = {
    # while it lasts, and once it is over
    "arrest.melting_range": "Still melting: the reading can hang until {liquidus_c}",
    "arrest.melting_at": "Still melting: the reading hangs near {halt_c}",
    "arrest.freezing_at": "Freezing: the reading hangs near {halt_c}",
    "arrest.melted": "All melted at {free_c} ({alloy}: {sheet_c})",
    "arrest.melting_agrees": "Melted near {reads_c}, as it should ({alloy} sheet)",
    "arrest.melting_off": "Melted near {reads_c} ({alloy} sheet: {sheet_c}); the probe may read {off_difference_c} {side}, to {u_c}",
    "arrest.melting_far": "Melted near {reads_c} ({alloy} sheet: {sheet_c}); the probe may read {off_difference_c} {side}, to {u_c}, or it is another alloy",
    "arrest.unseen": "No arrest seen between {solidus_c} and {liquidus_c}: the probe may lag too much, it heats too fast, or this alloy shows little",
    "arrest.like_another": "This melts like {like}, not like {alloy}: it hangs near {halt_c}, and nothing held it back {where}",
    "arrest.like_couple": "It hangs near {halt_c}, where {alloy} would with a type {types} couple; it is read as type {set_type}",
    # why nothing may be poured yet
    "arrest.held.melting": "still melting: an arrest goes on",
    "arrest.held.freezing": "freezing: an arrest goes on",
    "arrest.held.awaited": "not seen to melt yet: it may still be solid",
    "arrest.held.like_another": "it melts like another alloy: wait until that is over, and look at what was charged",
    "arrest.held.like_couple": "it reads like a type {types} couple: look at the probe and at its type in the settings",
    # another couple than it should be
    "arrest.wrong_couple": "Read as type {set_type} the metal melted at {reads_c}, and nothing held it back {where}, where {alloy} melts: with a type {types} couple it would fit.",
    "arrest.wrong_couple_or_alloy": "Read as type {set_type} the metal melted at {reads_c}, and nothing held it back {where}, where {alloy} melts: with a type {types} couple it would fit; if type {set_type} is right, it melted like {like}.",
    # another alloy than it should be
    "arrest.wrong": "It melted near {reads_c}. {alloy} should have done so {where}, and nothing held it back there.",
    "arrest.wrong_like": "It melted near {reads_c}, as {like} would. {alloy} should have done so {where}, and nothing held it back there.",
    "arrest.at": "at {at_c}",
    "arrest.between": "between {low_c} and {high_c}",
    "arrest.one_of": "{some} or {last}",
    # a halt on cooling, against the sheets
    "arrest.stood": "It stood still near {reads_c} for {lasted_s}: it melts there",
    "arrest.agrees": "Agrees with the {halt} of {alloy} at {published_c}: reads {reads_c}",
    "arrest.lowered": "Reads {reads_c} at the {halt} of {alloy}, published {published_c}: either the probe is low, or the metal is modified with sodium or strontium, which lowers it so far",
    "arrest.probe_off": "The probe reads {off_difference_c} {side} at {published_c} ({halt} of {alloy}), to {u_c}, if the metal is what it should be",
    "arrest.other_alloy": "That is not {alloy}. It halts at {reads_c}, as {like} would",
    "arrest.like": "It halts at {reads_c}, as {like} would",
    "arrest.none_of": "It halts at {reads_c}, which is none of {alloy}, nor of any sheet here: look at metal and probe",
    "arrest.none": "It halts at {reads_c}, as nothing of the sheets here does: look at metal and probe",
    "arrest.not_named": "It halts at {reads_c}; the sheet of {alloy} names no such halt",
    "arrest.not_named_like": "It halts at {reads_c}; the sheet of {alloy} names no such halt, {like} would halt there",
    "arrest.halt": "{halt_c:1}",
    "arrest.missing": "Not seen: {alloy} should halt at {halts: and }. Cooled too fast, less than 150 g, the probe not in the middle, or another metal",
}
