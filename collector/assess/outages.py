"""The power of racks, as whoever feeds them tells it: what lets one controller's trouble follow from another's.

A shelf's controller tells of its rack's feeds; the sleds' controllers don't know of them. What they share is the
rack's label, so a lost feed explains, in its rack, supplies that have lost their input and, once no feed of the rack is
left, whatever there went dark at that time. Each watch tells of its own feeds and asks for those of its rack: nothing
is ever computed for the whole fleet.
"""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from collector.model import Location, Seconds

Rack = tuple[str | None, str | None, str]
"""Site, row and rack."""


class Outage(Struct, frozen=True):
    """A feed of a rack that is lost."""

    condition: str
    """Id of the condition that tells of it."""
    part: str
    """Id of the feed."""
    opened: Seconds
    whole: bool
    """Whether no feed of the rack is left."""


class Lost(Struct, frozen=True):
    """A feed that one controller tells to be lost."""

    condition: str
    part: str
    opened: Seconds


class _Told(Struct, frozen=True):
    lost: tuple[Lost, ...]
    well: int


def rack_of(location: Location) -> Rack | None:
    """The rack that a location names; None where it names none."""
    return None if location.rack is None else (location.site, location.row, location.rack)


class Outages:
    """By rack and controller. One for the fleet; not thread-safe."""

    def __init__(self) -> None:
        self._told: dict[Rack, dict[str, _Told]] = {}
        self._versions: dict[Rack, int] = {}

    def version(self, rack: Rack | None) -> int:
        """Moves when what :meth:`of` says of the rack does."""
        return 0 if rack is None else self._versions.get(rack, 0)

    def of(self, rack: Rack | None) -> list[Outage]:
        """The lost feeds of a rack."""
        if rack is None or (told := self._told.get(rack)) is None:
            return []
        whole = not any(each.well for each in told.values())
        return [Outage(lost.condition, lost.part, lost.opened, whole) for each in told.values() for lost in each.lost]

    def tell(self, controller: str, rack: Rack, lost: Iterable[Lost], well: int) -> None:
        """What one controller says of a rack: the feeds that are lost, and how many are not."""
        told = _Told(tuple(lost), well)
        in_rack = self._told.setdefault(rack, {})
        if in_rack.get(controller) == told:
            return
        if told.lost or told.well:
            in_rack[controller] = told
        else:
            in_rack.pop(controller, None)
        self._versions[rack] = self._versions.get(rack, 0) + 1
