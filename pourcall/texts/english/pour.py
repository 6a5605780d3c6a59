"""Pours: what the temperature of one rests on."""

TEXTS: dict[str, str] = {
    "pour.basis.at_lift": "{pot_c} in the pot at the lift ({how}), less {way_difference_c:below pot_c} on the way",
    "pour.basis.at_pour": "{pot_c} in the pot at the pour ({how}), less {way_difference_c:below pot_c} on the way",
    "pour.basis.other_mould": "{pot_c} in the pot as marked first, less {way_difference_c:below pot_c} on the way to {mould}",
    "pour.basis.stale": "{basis}; that figure was {stale_s:0} old",
    "pour.basis.unknown": "no temperature of the metal was known",
}
