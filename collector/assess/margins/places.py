"""What a person has told of places: height above the sea, class of the air, ratings of feeds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.assess.margins.ashrae import CLASSES, AirClass, upper_limit
from collector.model import Location

STEPS = ("site", "row", "rack", "enclosure", "sled", "slot")


class FeedRating(NamedTuple):
    """A feed and what it may carry for long, W."""

    name: str
    rating: float


class Place(NamedTuple):
    """What holds for everything at a location and below."""

    location: Location
    altitude: float = 0.0
    """m."""
    air_class: str | None = None
    """A1 to A4; None where nobody told."""
    feeds: tuple[FeedRating, ...] = ()
    """Ratings of the feeds that share the load there."""

    @property
    def inlet_limit(self) -> float | None:
        """Highest allowable inlet temperature there, Cel; None without a class, or above its ceiling."""
        known: AirClass | None = CLASSES.get(self.air_class or "")
        return None if known is None else upper_limit(known, self.altitude)


def holds(place: Location, location: Location) -> bool:
    """Whether the one contains the other: every step told of the place is the same."""
    steps = [(getattr(place, step), getattr(location, step)) for step in STEPS]
    return all(wanted is None or wanted == found for wanted, found in steps)


def place_of(places: Sequence[Place], location: Location) -> Place | None:
    """The narrowest place that holds a location."""
    fitting = [place for place in places if holds(place.location, location)]
    return max(
        fitting, key=lambda place: sum(getattr(place.location, step) is not None for step in STEPS), default=None
    )
