"""The numbers of melts, counted anew each year: `2026-014`. Pure."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime

_NUMBER = re.compile(r"(\d{4})-(\d+)")


def melt_number(melt: str) -> tuple[int, int]:
    """Year and number; (0, 0) for an id of another making."""
    found = _NUMBER.fullmatch(melt)
    return (int(found[1]), int(found[2])) if found else (0, 0)


def next_melt(utc_s: float, last: Mapping[int, int]) -> str:
    """The id after the last of the year (UTC). `last`: year -> highest number given so far."""
    year = datetime.fromtimestamp(utc_s, UTC).year
    return f"{year}-{last.get(year, 0) + 1:03d}"
