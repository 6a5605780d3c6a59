"""A moment as a person types it: `14:32`, `14:32:10`, `2026-09-14 14:32`; or `+20s`, `-15s` from the record."""

import re
from datetime import datetime, timedelta

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell
from pourcall.contract.quantities import seconds

_CLOCK = re.compile(r"(?:(\d{4})-(\d{1,2})-(\d{1,2})[ T])?(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")


def moment(text: str, near_utc_s: float) -> float:
    """UTC seconds of a time of day here, on the day that brings it nearest to `near_utc_s`. Raises BadInput."""
    told = text.strip()
    if told[:1] in "+-" and told:
        return near_utc_s + (1.0 if told[0] == "+" else -1.0) * seconds(told[1:])
    found = _CLOCK.fullmatch(told)
    if found is None:
        raise BadInput(tell("usage.time", word=told), remedy=tell("usage.time.remedy"))
    year, month, day, hour, minute, second = found.groups()
    near = datetime.fromtimestamp(near_utc_s)  # noqa: DTZ006  (the clock on the wall here)
    try:
        whole = float(second or 0.0)
        on_day = near.replace(hour=int(hour), minute=int(minute), second=int(whole), microsecond=0)
        if year is not None:
            on_day = on_day.replace(year=int(year), month=int(month), day=int(day))
        else:
            apart = on_day - near
            if apart > timedelta(hours=12):
                on_day -= timedelta(days=1)
            elif apart < -timedelta(hours=12):
                on_day += timedelta(days=1)
        return on_day.timestamp() + whole % 1.0
    except ValueError as err:
        raise BadInput(tell("usage.time", word=told), remedy=tell("usage.time.remedy")) from err
