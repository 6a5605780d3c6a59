"""Masses that must add up: no more metal leaves a pot than went in. Plain figures in, a verdict out."""

# Kitchen scales, guessed gates and a mould that took more than its drawing says: common practice, no source.
SCALE_SHARE = 0.10
SCALE_KG = 0.10
# An addition that nobody weighed is hardly more than all that was weighed in before it: common practice, no source.
UNWEIGHED_TIMES = 2.0


def more_than_went_in(in_kg: float, out_kg: float, *, unweighed: bool = False) -> bool:
    """More came out than went in, by more than scales and guesses are wrong. What went in is above 0.

    unweighed: `in_kg` is the least that went in, as an addition was not weighed.
    """
    most_kg = in_kg * UNWEIGHED_TIMES if unweighed else in_kg
    return out_kg > most_kg * (1.0 + SCALE_SHARE) + SCALE_KG
