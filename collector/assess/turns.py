"""The words in which changes of parts are worked out: what is known, what a walk tells, what it came to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct

from collector.assess.identity import serial_of
from collector.model import Kind, Part, Seconds, Stay, Turn

Key = tuple[Kind, str]
"""Kind and serial number: what one kind's maker counts is not what another's does."""


class Known(Struct):
    """What is known of one position: the stay that lasts there, or the last one that did."""

    stay: Stay
    told: Seconds
    """Time of the newest walk that told it; minus infinity where none has since the collector started."""
    unread: frozenset[str] = frozenset()
    """Resources that this walk could not read."""

    @property
    def present(self) -> bool:
        """Whether the stay lasts."""
        return self.stay.until is None


class Sighting(Struct, frozen=True):
    """A part of some serial number in the rest of the fleet."""

    stay: Stay
    lasts: bool
    """Whether its controller still tells it there."""


class Look(Struct, frozen=True, kw_only=True):
    """A walk to be compared."""

    controller: str
    time: Seconds
    told: Mapping[str, Part]
    """By position: parts that are there, without those that are listed as absent."""
    first: bool
    """Whether nothing was known of the controller before."""
    unread: frozenset[str] = frozenset()
    """Resources that could not be read."""
    home_is_off: Callable[[Stay], bool] = lambda stay: False
    """Whether a part may be unlisted only because what it belongs to is off."""


class Change(Struct, frozen=True, kw_only=True):
    """One thing that happened to one part."""

    turn: Turn
    before: Stay | None = None
    """The stay that ended."""
    after: Stay | None = None
    """The stay that began."""
    displaced: Stay | None = None
    """What stood at the new position before, where that is another part than ``before``."""
    also: Stay | None = None
    """Where else the same serial number is told just now."""


class Compared(Struct, frozen=True, kw_only=True):
    """The outcome: what happened, and the stays to be remembered."""

    changes: tuple[Change, ...]
    stays: tuple[Stay, ...]
    """Ended, begun, or of which more is known; in an order in which they may be written over each other."""


Find = Callable[[Key], Sequence[Sighting]]
"""Sightings of a serial number in the rest of the fleet, and of this controller's parts that left it. The last is the
newest."""


def key_of(kind: Kind, stay_or_part: Stay | Part) -> Key | None:
    """What finds a part again; None where its serial number identifies nothing."""
    serial = serial_of(stay_or_part.identity)
    return None if serial is None else (kind, serial)
