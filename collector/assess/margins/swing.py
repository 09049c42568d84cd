"""How fast the inlet air may change, and what is left of that: highest less lowest within a window, not a slope."""

from __future__ import annotations

from collections.abc import Sequence

from collector.assess.looking import Seen
from collector.assess.margins.ashrae import Rates
from collector.assess.margins.places import Place, place_of
from collector.assess.margins.wiring import is_inlet
from collector.model import Inventory, Location, Margin, MarginKind, Quantity, Seconds

TELLS = 0.5
"""K by which it must have changed to be told again."""


class AirSwing:
    """The inlets of one controller, where a person told the class of the air (ASHRAE TC 9.9)."""

    def __init__(self, controller: str, places: Sequence[Place] = (), location: Location | None = None) -> None:
        """``location``: where the controller is as the fleet file says."""
        self._controller = controller
        self._places = tuple(places)
        self._outer = location if location is not None else Location()
        self._inlets: dict[str, tuple[int, str]] = {}
        self._rates: dict[str, Rates] = {}
        self._told: dict[str, Margin] = {}
        self._size = 0

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk: one inlet of each part counts."""
        self._size = len(inventory.layout.sensors)
        self._inlets = {}
        parts = {part.id: part for part in inventory.parts}
        for column, sensor in enumerate(inventory.layout.sensors):
            if sensor.quantity is not Quantity.TEMPERATURE or not is_inlet(sensor) or sensor.part in self._inlets:
                continue
            told, outer = parts[sensor.part].location if sensor.part in parts else Location(), self._outer
            where = Location(site=told.site or outer.site, row=told.row or outer.row, rack=told.rack or outer.rack)
            place = place_of(self._places, where)
            if place is not None and place.air_class is not None:
                self._inlets[sensor.part] = (column, sensor.sensor)
        self._rates = {part: self._rates.get(part) or Rates() for part in self._inlets}
        self._told = {part: margin for part, margin in self._told.items() if part in self._inlets}

    def round(self, seen: Seen) -> Sequence[Margin]:
        """Take a finished round; the margins that changed by enough to tell."""
        if seen.frame is None or len(seen.frame.values) != self._size:
            return ()
        news = []
        for part, (column, name) in self._inlets.items():
            value = seen.frame.values[column]
            if not -60.0 < value < 80.0:
                continue
            window, limit, change = self._rates[part].nearest(seen.time, value)
            before = self._told.get(part)
            if before is not None and before.limit == limit and abs(before.value - change) < TELLS:
                continue
            self._told[part] = margin = Margin(
                controller=self._controller,
                part=part,
                kind=MarginKind.SWING,
                time=seen.time,
                value=round(change, 2),
                limit=limit,
                left=round(limit - change, 2),
                unit="Cel",
                sensor=name,
                basis=f"{limit:g} K within {window / 60:g} min at most (ASHRAE TC 9.9, equipment without tape)",
            )
            news.append(margin)
        return news
