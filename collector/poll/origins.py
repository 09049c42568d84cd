"""Which part an event is about: from its OriginOfCondition to a part of the inventory."""

from __future__ import annotations

from collector.model import Inventory


class Origins:
    """Looks up the parts of one inventory; made anew with each walk, and indexed when first asked."""

    def __init__(self, inventory: Inventory) -> None:
        self._inventory = inventory
        self._index: dict[str, str] | None = None

    def part(self, origin: str | None) -> str | None:
        """Id of the part that a resource key (with a JSON pointer behind ``#`` for a place inside) belongs to.

        The part that is that resource, else the one that a sensor there measures, else the one whose resource it is
        under: of ``/redfish/v1/Chassis/Sled/Thermal#/Fans/0`` that is the fan where it is a part, else the sled. None
        where there is no such part: events may come from services, accounts and the like.
        """
        if origin is None:
            return None
        if self._index is None:
            self._index = _indexed(self._inventory)
        resource, _, pointer = origin.partition("#")
        while pointer:
            if (found := self._index.get(f"{resource}#{pointer}")) is not None:
                return found
            pointer = pointer.rpartition("/")[0]
        while resource.count("/") > 3:  # down to /redfish/v1/Chassis/Sled
            if (found := self._index.get(resource)) is not None:
                return found
            resource = resource.rpartition("/")[0]
        return self._index.get(resource)


def _indexed(inventory: Inventory) -> dict[str, str]:
    """By place: the part. A part's own resource outranks what is measured there."""
    index: dict[str, str] = {}
    shared: set[str] = set()
    for sensor in inventory.layout.sensors:
        for source in (sensor.source, *sensor.also_at):
            resource, _, pointer = source.partition("#")
            holder = pointer.rpartition("/")[0]
            places = [resource, f"{resource}#{holder}"] if holder else [resource]
            for place in places:
                if index.setdefault(place, sensor.part) != sensor.part:
                    shared.add(place)  # it tells of several parts: what it lies under is then the better answer
    for place in shared:
        del index[place]
    index.update((part.uri, part.id) for part in inventory.parts)
    return index
