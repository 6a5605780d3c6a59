"""Masses that must add up: no more metal leaves a pot than went in. Plain figures in, a verdict out."""

# Kitchen scales, guessed gates and a mould that took more than its drawing says: common practice, no source.
SCALE_SHARE = 0.10
SCALE_KG = 0.10


def more_than_went_in(in_kg: float, out_kg: float) -> bool:
    """More came out than went in, by more than scales and guesses are wrong. What went in is above 0."""
    return out_kg > in_kg * (1.0 + SCALE_SHARE) + SCALE_KG
