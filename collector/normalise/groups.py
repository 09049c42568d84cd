"""A sensor while it is put together: its places, what it measures and of which part."""

from __future__ import annotations

from collector.model import Kind, Quantity
from collector.normalise.parts import Draft, Parts
from collector.normalise.places import Found, Rank
from collector.normalise.units import Measure, Trouble, measure_of, of_code, refined


class Group:
    """One sensor while it is put together."""

    __slots__ = ("chassis", "companions", "lister", "main", "measure", "part", "places", "troubles")

    def __init__(self, place: Found, lister: Draft | None, chassis: Draft | None) -> None:
        self.places = [place]
        self.lister = lister
        """The part that tells of the resource it stands in."""
        self.chassis = chassis
        """The chassis that lists it."""
        self.measure = Measure(Quantity.OTHER, "")
        self.troubles: tuple[Trouble, ...] = ()
        self.part: Draft | None = None
        self.main: Group | None = None
        """The sensor that this one is another number of."""
        self.companions: dict[str, Group] = {}
        """Its other numbers, by property."""

    @property
    def first(self) -> Found:
        """The place that outranks the others."""
        return self.places[0]


def uri_of(part: Draft | None) -> str:
    """A part's uri, or "" for none."""
    return part.uri if part is not None else ""


def measured(group: Group, parts: Parts) -> tuple[Measure, tuple[Trouble, ...]]:
    """What a sensor measures by all its places, and what is wrong with how it says so."""
    place = group.first
    if place.of is not None:
        if place.implied is None:  # in the unit of the reading beside it
            return (group.main.measure if group.main is not None else Measure(Quantity.OTHER, "")), ()
        return of_code(*place.implied), ()
    implied = next((one.implied for one in group.places if one.implied is not None), None)
    if place.rank is not Rank.SENSOR:
        return (of_code(*implied) if implied is not None else Measure(Quantity.OTHER, "")), ()
    body = place.holder
    delta = body.get("ReadingBasis") in ("Delta", "Headroom")
    measure, troubles = measure_of(body.get("ReadingType"), body.get("ReadingUnits"), implied, delta=delta)
    if implied is not None:
        measure = refined(measure, implied[0])
    if _turns(place, parts):
        measure = refined(measure, Quantity.SPEED_RATIO)
    return measure, troubles


def _turns(place: Found, parts: Parts) -> bool:
    """Whether a percentage is that of a fan's or pump's speed: DSP8010 wants those as Percent, with SpeedRPM."""
    if place.context in ("Fan", "Pump") or "SpeedRPM" in place.holder:
        return True
    related = [parts.find(one) for one in place.related]
    return len(related) == 1 and related[0] is not None and related[0].kind in (Kind.FAN, Kind.PUMP)
