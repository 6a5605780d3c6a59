"""Melts as lists and pages of the command line show them."""

TEXTS: dict[str, str] = {
    "melt_list.none_yet": "No melt is on the record yet",
    "melt_list.none_like_that": "No melt on the record is like that",
    "melt_list.nothing_has": "Nothing on the record has {words}",
    "melt_list.running": "running",
    "melt_list.no_melt": "no melt",
    "melt_list.melt": "Melt {melt}: {alloy}, {charge_kg}, furnace {furnace}",
    "melt_list.began": "began {began}; running",
    "melt_list.ended": "began {began}; ended {ended}, {ending}",
    "melt_list.tags": "tags: {tags}",
    "melt_list.charge": "charge {number}: {what}",
    "melt_list.at": "at {at}",
    "melt_list.corrected": "corrected",
    "melt_list.corrected_why": "corrected: {why}",
    "melt_list.left": "left: {what}",
    "melt_list.window": "window {low_c} to {high_c}",
    "melt_list.pour": "pour {pour} {mould}: {lip_c} at the lip, {window}",
    "melt_list.pour_unknown": "pour {pour} {mould}: no temperature at the lip, {window}",
    "melt_list.temperature": "{temp_c}",
    "melt_list.dip": "dip {number}: {figure} {how}",
    "melt_list.gap": "no readings from {at}: {reason}",
}
