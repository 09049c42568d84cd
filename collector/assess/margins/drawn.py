"""What blades, sleds, feeds and racks drew lately: peak, percentile, energy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from collector.assess.looking import Seen
from collector.assess.looks.memory import Damaged, Learnt
from collector.assess.margins.electrics import Electrics
from collector.assess.margins.pace import EVERY, Pace
from collector.assess.margins.racks import RackPower, Racks
from collector.assess.margins.spell import Drawn, Spell
from collector.assess.margins.steady import Teller
from collector.assess.margins.wiring import own_power
from collector.assess.words import clip
from collector.model import Figure, FigureKind, Inventory, Kind, Location, Seconds, Sensor

FIRST = 600.0
"""Seconds of power before peaks and percentiles of it are told."""
MOST_WATTS = 1e6
_OF = frozenset({Kind.SLED, Kind.ENCLOSURE, Kind.BLADE, Kind.POWER_FEED, Kind.CIRCUIT})


def figures_of(teller: Teller, part: str, drawn: Drawn, now: Seconds, whose: str) -> list[Figure]:
    """Peak, percentile and energy; none while too little is known. ``whose``: what the power is of, for the basis."""
    if drawn.seconds < FIRST:
        return []
    hours = (now - drawn.since) / 3600.0
    span = f"of the last {hours:.1f} h" if hours < 10.0 else f"of the last {hours:.0f} h"
    summed = (
        f"{drawn.seconds / 3600.0:.1f} h of them read" if drawn.seconds < 0.98 * (now - drawn.since) else "all read"
    )
    told = (
        (FigureKind.PEAK_POWER, drawn.peak, "W", f"{whose}, the highest {span}"),
        (FigureKind.HIGH_POWER, drawn.high, "W", f"{whose}: 95 of 100 values {span} lie below"),
        (FigureKind.ENERGY, drawn.joules, "J", f"{whose}, its sum over time {span}, {summed}"),
    )
    return [teller.figure(part, kind, value, unit, now, basis) for kind, value, unit, basis in told]


_LAST = "last"


def spelt_out(spells: Mapping[str, Spell]) -> dict[str, tuple[float, ...]]:
    """Spells by name, as figures that outlast a restart."""
    found: dict[str, tuple[float, ...]] = {}
    for name, spell in spells.items():
        found |= {f"{place}|{name}": kept for place, kept in enumerate(spell.kept)}
        found[f"{_LAST}|{name}"] = (spell.last,)
    return found


def read(figures: Mapping[str, tuple[float, ...]]) -> dict[str, Spell]:
    """What :func:`spelt_out` told. Raises :class:`Damaged`."""
    by_name: dict[str, dict[str, tuple[float, ...]]] = {}
    for key, kept in figures.items():
        place, _, name = key.partition("|")
        by_name.setdefault(name, {})[place] = kept
    found = {}
    for name, told in by_name.items():
        spell = Spell()
        try:
            (last,) = told.pop(_LAST, ())
            spell.recall([told[str(place)] for place in range(len(told))], last)
        except (ValueError, KeyError) as error:
            raise Damaged(f"what {clip(name) or 'a rack'} drew can't be so: {error}") from error
        found[name] = spell
    return found


class Drawing:
    """One controller's parts."""

    def __init__(self, controller: str) -> None:
        self._teller = Teller(controller)
        self._pace = Pace()
        self._columns: dict[str, tuple[int, str]] = {}
        self._spells: dict[str, Spell] = {}

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what parts drew stays with those that stayed."""
        self._pace.walked(inventory)
        by_part: dict[str, list[tuple[int, Sensor]]] = {}
        for column, sensor in enumerate(inventory.layout.sensors):
            by_part.setdefault(sensor.part, []).append((column, sensor))
        self._columns = {}
        for part in inventory.parts:
            own = own_power(by_part.get(part.id, [])) if part.kind in _OF else None
            if own is not None:
                self._columns[part.id] = (own, clip(inventory.layout.sensors[own].sensor))
        self._spells = {part: self._spells.get(part) or Spell() for part in self._columns}
        self._teller.keep(self._columns.keys())

    kept = "drawn"

    def learnt(self) -> Learnt:
        """What each part drew."""
        return Learnt(figures=spelt_out({part: spell for part, spell in self._spells.items() if spell.drawn}))

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up, of parts that are still there."""
        self._spells |= {part: spell for part, spell in read(learnt.figures).items() if part in self._columns}

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the figures that moved by enough to tell."""
        values = self._pace.values(seen)
        if values is None:
            return ()
        found: list[Figure] = []
        for part, (column, name) in self._columns.items():
            power, spell = values[column], self._spells[part]
            if part in seen.idle or not power < MOST_WATTS:
                continue
            spell.add(seen.time, power)
            if (drawn := spell.drawn) is not None:
                found += figures_of(self._teller, part, drawn, seen.time, name)
        return self._teller.news(found)


class RackDrawing:
    """A rack's, told with the rounds of the controllers in it; comes after their :class:`RackPower` and Electrics.

    Each of these keeps what the whole rack drew over a restart; whoever knows it longest is believed.
    """

    def __init__(self, racks: Racks, power: RackPower, electrics: Electrics) -> None:
        self._racks = racks
        self._power = power
        self._electrics = electrics
        self._last: Seconds = float("-inf")

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk: nothing of it is kept here."""

    kept = "rack drew"

    def learnt(self) -> Learnt:
        """What the rack drew."""
        where = self._power.location
        spell = None if where is None else self._racks.spell(where)
        return Learnt() if spell is None else Learnt(figures=spelt_out({"": spell}))

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up."""
        where, told = self._power.location, read(learnt.figures)
        if where is not None and "" in told:
            self._racks.recall(where, told[""])

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the figures of the rack that moved by enough to tell."""
        where = self._power.location
        if where is None or 0.0 <= seen.time - self._last < EVERY:
            return ()
        self._last = seen.time
        if self._electrics.current is not None:
            self._racks.carry(self._electrics.controller, where, seen.time, self._electrics.current)
        told = self._racks.figures(where, seen.time)
        if told is None:
            return ()
        rack = Location(site=where.site, row=where.row, rack=where.rack).text
        whose = f"the sum of {told.counted} controllers"
        whose += f", {told.silent} silent ones not counted" if told.silent else ""
        found = figures_of(self._racks.teller, rack, told.drawn, seen.time, whose)
        if told.amperes is not None:
            basis = f"the sum of what {told.carried} sleds take"
            current = FigureKind.BUSBAR_CURRENT
            found.append(self._racks.teller.figure(rack, current, told.amperes, "A", seen.time, basis))
        return self._racks.teller.news(found)
