"""Power of racks: sums over controllers against the feeds that people told of, with peaks, percentiles and energy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from collector.assess.looking import Seen
from collector.assess.looks.kin import Kin
from collector.assess.margins.pace import Pace
from collector.assess.margins.places import Place, holds
from collector.assess.margins.power import left
from collector.assess.margins.spell import Drawn, Spell
from collector.assess.margins.steady import Teller
from collector.assess.margins.tracker import WATTS_RATIO
from collector.model import Inventory, Kind, Location, Margin, MarginKind, Quantity, Seconds

FRESH = 600.0
"""Seconds after which a controller's power is too old to be added."""
DAY = 86_400.0


class Figures(NamedTuple):
    """What a rack has drawn."""

    power: float
    """W, of those heard of lately."""
    counted: int
    silent: int
    """Controllers of the rack that told nothing lately: the sum is too low by theirs."""
    drawn: Drawn
    """Peak, percentile and energy of the last day at most."""
    amperes: float | None
    """On its busbars, of those that tell theirs; None where none does."""
    carried: int
    """How many those are."""


class Racks:
    """Sums by place; a controller's power changes one sum only. One for the fleet.

    Shelves and what they feed must not both be told: give each watt once.
    """

    def __init__(self, places: Sequence[Place] = ()) -> None:
        self._places = [place for place in places if place.feeds]
        self._heard: dict[str, dict[str, tuple[Seconds, float]]] = {}
        self._spells: dict[str, Spell] = {}
        self._amperes: dict[str, dict[str, tuple[Seconds, float]]] = {}
        self._told: dict[tuple[str, MarginKind], Margin] = {}
        self.teller = Teller()
        """What was told of racks' figures."""

    def tell(self, controller: str, location: Location, time: Seconds, power: float) -> Sequence[Margin]:
        """Take what a controller's sled draws, W; the margins of its rack that changed by enough to tell."""
        rack = Location(site=location.site, row=location.row, rack=location.rack)
        if rack.rack is None or not power >= 0.0:
            return ()
        name = rack.text
        heard = self._heard.setdefault(name, {})
        heard[controller] = (time, power)
        total = sum(watts for when, watts in heard.values() if abs(time - when) <= FRESH)
        self._spells.setdefault(name, Spell()).add(time, total)
        place = next((place for place in self._places if holds(place.location, rack)), None)
        if place is None or place.location.rack is None:
            return ()
        loads = [total / len(place.feeds)] * len(place.feeds)
        spare = left(loads, [feed.rating for feed in place.feeds])
        if spare is None:
            return ()
        silent = sum(abs(time - when) > FRESH for when, _ in heard.values())
        basis = f"{len(place.feeds)} feeds, sum of {len(heard) - silent} controllers"
        basis += f"; {silent} silent ones not counted" if silent else ""
        news = [self._margin(name, MarginKind.POWER, time, total, spare.rating, basis)]
        if spare.after_loss is not None:
            largest = max(feed.rating for feed in place.feeds)
            lost = f"{basis}; the largest feed lost"
            news.append(self._margin(name, MarginKind.REDUNDANCY, time, total, spare.rating - largest, lost))
        return [margin for margin in news if self._moved(margin)]

    def carry(self, controller: str, location: Location, time: Seconds, amperes: float) -> None:
        """Take what a controller's sled takes from its busbar, A; counts once its power is told."""
        name = _rack(location)
        if name in self._heard and amperes >= 0.0:
            self._amperes.setdefault(name, {})[controller] = (time, amperes)

    def spell(self, location: Location) -> Spell | None:
        """What is known of a rack's power; None for one never heard of."""
        return self._spells.get(_rack(location))

    def recall(self, location: Location, spell: Spell) -> None:
        """What a rack drew before a restart: counts where nothing that began earlier is known of it."""
        known, told = self._spells.get(_rack(location)), spell.drawn
        before = None if known is None else known.drawn
        if told is not None and (before is None or told.since < before.since):
            self._spells[_rack(location)] = spell

    def figures(self, location: Location, now: Seconds) -> Figures | None:
        """What is known of a rack; None for one never heard of."""
        name = _rack(location)
        heard = self._heard.get(name)
        if not heard:
            return None
        drawn = self._spells[name].drawn
        if drawn is None:
            return None
        lately = [watts for when, watts in heard.values() if abs(now - when) <= FRESH]
        currents = [amperes for when, amperes in self._amperes.get(name, {}).values() if abs(now - when) <= FRESH]
        amperes = sum(currents) if currents else None
        return Figures(sum(lately), len(lately), len(heard) - len(lately), drawn, amperes, len(currents))

    def _margin(self, name: str, kind: MarginKind, time: Seconds, value: float, limit: float, basis: str) -> Margin:
        return Margin(
            controller=None,
            part=name,
            kind=kind,
            time=time,
            value=value,
            limit=limit,
            left=limit - value,
            unit="W",
            watts=max(0.0, limit - value),
            basis=basis,
        )

    def _moved(self, margin: Margin) -> bool:
        told = self._told.get((margin.part, margin.kind))
        if (
            told is not None
            and told.limit == margin.limit
            and abs(told.value - margin.value) < WATTS_RATIO * margin.limit
            and (told.left < 0.0) is (margin.left < 0.0)
        ):
            return False
        self._told[margin.part, margin.kind] = margin
        return True


def _rack(location: Location) -> str:
    return Location(site=location.site, row=location.row, rack=location.rack).text


class RackPower:
    """What one controller draws, told to its rack: what holds hosts counts, what only feeds others does not."""

    def __init__(self, controller: str, racks: Racks, location: Location | None = None) -> None:
        """``location``: where the controller is as the fleet file says."""
        self._controller = controller
        self._racks = racks
        self._outer = location if location is not None else Location()
        self._location = self._outer
        self._columns: tuple[int, ...] = ()
        self._pace = Pace()

    @property
    def location(self) -> Location | None:
        """The rack to whose sum it counts; None where it counts to none."""
        return self._location if self._columns and self._location.rack is not None else None

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk: the whole's own power, else its blades'."""
        self._pace.walked(inventory)
        self._columns = ()
        top = next((part for part in inventory.parts if part.parent is None), None)
        told = Location() if top is None else top.location
        outer = self._outer
        self._location = Location(site=told.site or outer.site, row=told.row or outer.row, rack=told.rack or outer.rack)
        if top is None or not any(part.kind in (Kind.BLADE, Kind.HOST) for part in inventory.parts):
            return
        kin = Kin(inventory, {Quantity.POWER})
        whole = [column for owner, column in kin.power_of.items() if kin.parts[owner].parent is None]
        blades = [column for owner, column in kin.power_of.items() if kin.kind(owner) is Kind.BLADE]
        self._columns = tuple(int(kin.columns[column]) for column in (whole[:1] or blades))

    def round(self, seen: Seen) -> Sequence[Margin]:
        """Take a finished round; the margins of the rack that changed by enough to tell."""
        if not self._columns or (values := self._pace.values(seen)) is None:
            return ()
        drawn = np.frombuffer(values)[list(self._columns)]
        told = drawn[drawn >= 0.0]
        return self._racks.tell(self._controller, self._location, seen.time, float(told.sum())) if len(told) else ()
