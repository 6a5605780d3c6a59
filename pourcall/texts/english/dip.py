"""Dips: what one is worth, and what the hand on the probe is to do."""

TEXTS: dict[str, str] = {
    "dip.too_short": "too short: {held_s}; hold it in for about {least_s}",
    "dip.hot_gas": "it warmed far more slowly than in metal: only the tip was in, or it hung in hot gas. Hold it in deeper",
    "dip.wandered": "the figure wandered by {by_difference_c} while it was in: stir first, then hold it still, deep, in the middle of the metal",
    "dip.unsettled": "still settling after {held_s}: where it was heading is known to {known_difference_c} only. Hold it in about {longer_s} longer, and still",
    "dip.solid": "it read {temp_c}, at or below the liquidus, and even below the solidus: the metal there is solid, or the tip was not in it",
    "dip.shell": "it read {temp_c}, at or below the liquidus: metal froze on the cold sheath, since dip {number} found the pot liquid. Warm the sheath over the pot, dip again and hold it in longer",
    "dip.mushy": "it read {temp_c}, at or below the liquidus: the pot is not fully liquid. It read so for {held_s}, longer than a frozen shell lasts: go on heating, then stir and dip again",
    "dip.shell_or_mushy": "it read {temp_c}, at or below the liquidus: metal froze on the cold sheath, or the pot is not fully liquid. Warm the sheath over the pot, stir, dip again and hold it in for {shell_s} to know which",
    "dip.shallow": "{depth_mm} is shallower than ten sheath diameters ({wanted_mm}): it may read up to {low_difference_c} low",
    "dip.too_shallow": "too shallow: {how}. Hold it in deeper",
    "dip.hint.power_off": "Power off. {hint}",
    "dip.hint.deeper": "Deeper, or it reads low: {wanted_mm}",
    "dip.hint.middle": "Hold still, in the middle of the metal",
    "dip.hint.gas": "Deeper: it warms as slowly as in hot gas",
    "dip.hint.out_mushy": "Take it out: the pot is not fully liquid, {temp_c}",
    "dip.hint.hold_on": "Hold on: metal froze on the cold sheath, or the pot is not fully liquid",
    "dip.hint.out": "Take it out: {temp_c} ± {known_u_c}",
    "dip.hint.hold": "Hold still",
    "dip.hint.out_unsettled": "Take it out: it does not settle. Stir, then dip again, deeper and still",
}
