"""What people did about conditions, and what follows from what, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from collector.model import CareKind, Mark, Seconds
from dashboard.drawings.ink import Ink, tag
from dashboard.views.words import clock, count

_MOST = 30


def cared(marks: Sequence[tuple[CareKind, Mark]], now: Seconds, zone: tzinfo | None) -> Ink | None:
    """One sentence each, e.g. ``Acknowledged by Ida Brandt: on it.``; None where nobody did anything."""
    if not marks:
        return None
    told = [tag("span", _mark(kind, mark, now, zone), data_care=kind.value) for kind, mark in marks]
    return tag("p", *told, class_="aside small")


def _mark(kind: CareKind, mark: Mark, now: Seconds, zone: tzinfo | None) -> str:
    until = f" until {clock(mark.until, now, zone)}" if mark.until is not None else ""
    why = f": {mark.why.rstrip('.')}" if mark.why else ""
    return f"{kind.value.capitalize()} by {mark.who}{until}{why}. "


def follows(told: Sequence[str], key: str) -> Ink | None:
    """What follows from a condition, to be unfolded; None where nothing does."""
    if not told:
        return None
    more = [tag("li", f"and {len(told) - _MOST} more")] if len(told) > _MOST else []
    return tag(
        "details",
        tag("summary", f"{count(len(told), 'condition')} that {'follows' if len(told) == 1 else 'follow'} from it"),
        tag("ul", *(tag("li", f"{each}.") for each in told[:_MOST]), *more, class_="evidence"),
        id=f"follows-{key}"[:200],
        class_="aside small",
        data_follows=len(told),
    )
