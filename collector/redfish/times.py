"""Times of events and log entries, read leniently: the order of a log matters more than the letter of the standard.

DSP0266 section 'Date-Time values' wants ``YYYY-MM-DDThh:mm:ss[.SSS](Z|±hh:mm)`` (RFC 3339). Taken as well, because
published examples and services have them: no seconds, ``14:44.30`` for ``14:44:30``, any number of decimals, an offset
of one digit or without colon, blanks around, small letters, and no offset at all, which is read as UTC (common
practice, no source).
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

from collector.model import Seconds

_MOMENT = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)(?:[:.](\d\d)(?:[.,](\d+))?)?"
    r"\s*(?:[Zz]|([+-])(\d{1,2})(?::?(\d\d))?)?",
    re.ASCII,
)
MAX_LENGTH = 64
"""Characters of a time that we look at."""
UNSET_CLOCK: Seconds = 946_684_800.0
"""2000-01-01: earlier times come from a clock that was never set and counts from 1970 (common practice, no source)."""


def moment(told: object) -> Seconds | None:
    """Epoch seconds of what a service told as a time; None where it is none."""
    if not isinstance(told, str) or len(told) > MAX_LENGTH:
        return None
    match = _MOMENT.fullmatch(told.strip())
    if match is None:
        return None
    year, month, day, hour, minute, second, decimals, sign, off_hours, off_minutes = match.groups()
    leap = second == "60"  # RFC 3339 5.7 has leap seconds; datetime has none
    whole = 59 if leap else int(second or 0)
    try:
        at = datetime(int(year), int(month), int(day), int(hour), int(minute), whole, tzinfo=UTC)
    except ValueError:
        return None
    offset = 3600 * int(off_hours or 0) + 60 * int(off_minutes or 0)
    if offset > 86_400:
        return None
    fraction = float(f"0.{decimals}") if decimals else 0.0
    return at.timestamp() + leap + fraction + (offset if sign == "-" else -offset)
