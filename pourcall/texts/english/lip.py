"""How the temperature at the lip was made up, part by part."""

TEXTS: dict[str, str] = {
    "lip.at_lift": "{figure}, at the lift",
    "lip.at_pour": "{figure}, at the pour",
    "lip.aged": "{figure} was {age_s:0} old: nothing is taken off, its uncertainty has grown",
    "lip.stale": "that figure was {stale_s:0} old: nothing is taken off",
    "lip.way.open": "{open_s:0} in the open",
    "lip.way.open_sooner": "{open_s:0} in the open as planned; marked {taken_s:0} after the lift",
    "lip.way.ladle": "what it takes up",
    "lip.way.stream": "from the pot's lip into the mould",
    "lip.way.u": "uncertainty of all of it: {loss_basis}",
    "lip.way.whole": "lift, walk, ladle and stream",
    "lip.way.stated": "lift, walk, ladle and stream, as stated",
    "lip.way.left": "{left_s:0} of the {planned_s:0} that were left after the reading in the hand",
    "lip.way.behind": "the way before that reading is behind it",
    "lip.waited": "{extra_s:0} beyond the {planned_s:0} it was planned for; pour {order} of this lift",
    "lip.no_longer": "no longer than planned; pour {order} of this lift",
    "lip.rest": "what plan and times do not explain",
    "lip.together": "pot, way and waiting together",
    "lip.as_decided": "as decided at the time",
}
