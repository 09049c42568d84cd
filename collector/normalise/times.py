"""Dates and durations as controllers write them: ISO 8601 with the usual slips (see the published examples).

Sources: DSP0266 1.20 sections 'Date-Time values' and 'Duration values'; ISO 8601-1:2019.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache

from collector.model import Seconds

OLDEST_READING: Seconds = 86_400.0
"""How far before its receipt a reading may claim to have been taken; further off, its clock is taken to be wrong."""
NEWEST_READING: Seconds = 300.0
"""The same ahead of its receipt: as far as two clocks that nobody sets may stand apart."""

_TIME = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)(?::(\d\d)(?:[.,](\d+))?)?\s*(?:([Zz])|([+-])(\d{1,2}):?(\d\d))"
)
_DURATION = re.compile(
    r"P(?:(\d+)D)?(?:T(?:(\d+(?:\.\d+)?)H)?(?:(\d+(?:\.\d+)?)M)?(?:(\d+(?:\.\d*)?|\.\d+)S)?)?", re.IGNORECASE
)
_WEEKS = re.compile(r"P(\d+)W", re.IGNORECASE)


@lru_cache(maxsize=4096)
def seconds(told: str) -> Seconds | None:
    """Epoch seconds of a date and time; None where it can't be read without guessing.

    Taken although DSP0266 wants them otherwise: blanks around, no seconds, more than six decimals, an offset of one
    digit, small letters. Not taken: no offset at all, since then nobody knows which hour is meant.
    """
    match = _TIME.fullmatch(told.strip())
    if match is None:
        return None
    year, month, day, hour, minute, second, decimals, zulu, sign, off_hours, off_minutes = match.groups()
    try:
        zone: timezone = UTC
        if not zulu:
            offset = timedelta(hours=int(off_hours), minutes=int(off_minutes))
            zone = timezone(-offset if sign == "-" else offset)
        leap = second == "60"
        moment = datetime(
            int(year), int(month), int(day), int(hour), int(minute), 59 if leap else int(second or 0), tzinfo=zone
        )
    except ValueError:
        return None
    fraction = float(f"0.{decimals}") if decimals else 0.0
    return moment.timestamp() + (1.0 if leap else 0.0) + fraction


def plausible(told: Seconds, received: Seconds) -> bool:
    """Whether a reading received at one time can have been taken at the other."""
    return received - OLDEST_READING <= told <= received + NEWEST_READING


@lru_cache(maxsize=1024)
def duration(told: str) -> Seconds | None:
    """Seconds of a duration: ``PT1H30M``, ``P3D``, also ``PT.001S``. None for years, months and what is no duration."""
    trimmed = told.strip()
    weeks = _WEEKS.fullmatch(trimmed)
    if weeks is not None:
        return _finite(float(weeks[1]) * 604_800.0)
    match = _DURATION.fullmatch(trimmed)
    if match is None or not any(match.groups()):
        return None
    days, hours, minutes, rest = (float(group or 0.0) for group in match.groups())
    return _finite(days * 86_400.0 + hours * 3_600.0 + minutes * 60.0 + rest)


def _finite(span: Seconds) -> Seconds | None:
    return span if math.isfinite(span) else None
