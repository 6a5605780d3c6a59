"""What differs between pours, and whether more than the temperature changed."""

TEXTS: dict[str, str] = {
    "comparison.title": "Pours {pours}",
    "comparison.note": "NOTE: {warning}.",
    "comparison.box": "Note",
    "comparison.poured": "poured",
    "comparison.differs": "What differs",
    "comparison.over": "Over each other",
    "comparison.alike_title": "The same",
    "comparison.same": "The same: {alike}",
    "comparison.not_known": "not known",
    "comparison.more_changed": "More than the temperature changed: {what}. The result cannot be put down to the temperature alone",
    "comparison.unsure": "Not known of every pour: {what}. It may have changed too",
    "comparison.some_invented": "{pours} never was: invented, of a simulated furnace. The rest is real",
    "comparison.all_invented": "Invented: these are of a simulated furnace, and nothing of them was poured",
    "comparison.lip_unknown": "The temperature at the lip is not known of every pour",
    "comparison.waiting": "Not inspected yet: {pours}",
    "comparison.alike": "{low_c} and {high_c} are {apart_difference_c} apart, less than their uncertainty together ({together_u_c}): as to temperature these may be the same pour",
    "comparison.written": "written: {file}",
}
