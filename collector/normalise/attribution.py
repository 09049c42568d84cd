"""Which part a sensor measures: not always the one that lists it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from collector.model import Kind
from collector.normalise.bodies import pointer, whole
from collector.normalise.parts import Draft, Parts
from collector.normalise.places import Found, Rank

_NOT_OWN = frozenset({"FanSpeedsPercent", "Sensor"})
"""Excerpts in which a resource tells what serves it, or what it controls, not what is measured of it."""


def part_of(places: Iterable[Found], listing: Draft | None, parts: Parts) -> Draft | None:
    """The part that is measured; ``listing`` is the chassis that lists the sensor.

    A row of fans or power supplies measures that fan or supply. Otherwise two things may say it: RelatedItem, and the
    excerpts in which a resource tells the reading as its own. Taken together, then each alone, they count where they
    leave exactly one part once all are dropped that contain another one named; a host stands for the chassis it is
    alone in. Else it is the chassis that lists the sensor. Plain numbers are those of the part whose metrics they are.
    """
    told = list(places)
    if told[0].rank is Rank.PLAIN:  # a part's own metrics
        owner = parts.owner(told[0].uri)
        return _physical(owner, parts) if owner is not None else listing
    row = _row_part(told[0], parts)
    if row is not None:
        return row
    related = _related(told, parts)
    owners = [part for part in _owners(told, parts) if part is not listing]
    if listing is not None:
        owners = [part for part in owners if part not in listing.above()]
    return _single([*related, *owners]) or _single(owners) or _single(related) or listing


def strangers(places: Iterable[Found], part: Draft | None, parts: Parts) -> Iterator[tuple[Found, Draft]]:
    """Excerpts in which another device tells as its own what a sensor measures of ``part``, with that device."""
    told = list(places)
    if part is None or told[0].rank is not Rank.SENSOR:
        return
    for place in told[1:]:
        owner = parts.owner(place.uri)
        if place.rank is not Rank.EXCERPT or place.schema_key in _NOT_OWN or owner is None or owner is part:
            continue
        if owner.type != "Chassis" and owner not in part.above() and part not in owner.above():
            yield place, owner


def _row_part(place: Found, parts: Parts) -> Draft | None:
    if place.rank is not Rank.LEGACY or place.steps[0] not in ("Fans", "PowerSupplies"):
        return None
    return parts.find(f"{place.uri}#{pointer(*place.steps)}") or parts.chassis(parts.owner(place.uri))


def _related(places: Iterable[Found], parts: Parts) -> list[Draft]:
    for place in places:
        found = [parts.find(target) or parts.find(whole(target)) for target in place.related]
        known = [_physical(part, parts) for part in found if part is not None]
        if known:
            return known
    return []


def _owners(places: Iterable[Found], parts: Parts) -> list[Draft]:
    found = []
    for place in places:
        if place.rank is Rank.EXCERPT and place.schema_key not in _NOT_OWN:
            owner = parts.owner(place.uri)
            if owner is not None:
                found.append(_physical(owner, parts))
    return found


def _physical(part: Draft, parts: Parts) -> Draft:
    """The chassis in place of the host that it holds alone: a host is no thing that could be warm."""
    home = part.parent
    if part.kind is not Kind.HOST or home is None:
        return part
    return home if len(parts.hosts_in(home)) == 1 else part


def _single(named: list[Draft]) -> Draft | None:
    """The one part that is left once those that contain another are dropped."""
    containers = {holder.uri for part in named for holder in part.above()}
    left = {part.uri: part for part in named if part.uri not in containers}
    return next(iter(left.values())) if len(left) == 1 else None
