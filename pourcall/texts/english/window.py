"""The pour window of a mould, and how it came about."""

TEXTS: dict[str, str] = {
    "window.why": "{parts:; }",
    "window.sheet": "{alloy} sheet {lowest_c} to {highest_c} ({mark})",
    "window.section": "for {thinnest_mm} {lowest_c} to {highest_c}",
    "window.material": "{material} {lowest_c} to {highest_c}",
    "window.learned": "window {lowest_c} to {highest_c}, learned in this shop",
    "window.stated": "window {lowest_c} to {highest_c}, as stated",
    "window.filling": "filling needs {lowest_c}",
    "window.floor": "not below liquidus + {margin_difference_c} = {lowest_c}",
    "window.alloy_limit": "not above the alloy's limit in the pot, {highest_c}",
    "window.reach": "the {whose} limit of {highest_c} in the pot leaves at most {lip_highest_c}",
    "window.reach.kept_off": "kept {keep_difference_c:0} below 0.8 of zinc's boiling pressure ({highest_c}), which is then passed with a chance of {most_share}: at most {lip_highest_c}",
    "window.thin": "{thinnest_mm} is thinner than the usual least of {usual_mm}: may not fill",
    "window.closes": "the window closes: {lowest_c} is needed and {highest_c} allowed; expect misruns",
    "window.colder": "colder than this section wants ({lowest_c}): it may not fill",
}
