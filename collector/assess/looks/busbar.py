"""The busbar look: what a joint between a rack's power shelf and its sleds loses.

A shelf holds its busbar's voltage; a sled sees that less what the joints on the way lose, which goes with the current
(Ohm's law). Each sled's drop per ampere is learnt; a joint that gets worse drops more, for all sleds behind it. A
meter of the shelf that drifts looks the same to all sleds of the rack and is no joint; one of a sled, to that sled
alone. :class:`Bars` keeps what a rack's controllers tell one another: a few numbers each, of the racks there are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import median

from msgspec import Struct

from collector.assess.looking import Seen
from collector.assess.looks.latch import Signs
from collector.assess.looks.memory import Learnt
from collector.assess.looks.usual import Usual
from collector.assess.margins.wiring import own_power
from collector.model import Inventory, Kind, Observation, Part, Quantity, Seconds, Sensor, Sign, SignKey, Visible

LEAST, MOST = 20.0, 90.0
"""V between which a direct-current busbar of a rack lies (48 V class: common practice, no source)."""
FRESH = 900.0
"""Seconds after which what another told says nothing any more."""
KEPT = 64
"""Sleds of a rack that are remembered."""
MORE, TIMES = 0.4, 0.6
"""V, and part of the usual drop, by which a drop must exceed the usual one at that current."""
HELD = 0.6
"""Part of that at which it still holds."""
LIVE = 2.0
"""A below which a drop says nothing."""


class _Drop(Struct):
    time: Seconds
    joint: str
    current: float
    excess: float
    """V beyond the usual drop; NaN until that is known."""


class Bars:
    """The busbars of all racks."""

    def __init__(self) -> None:
        self._shelves: dict[str, dict[str, tuple[Seconds, float]]] = {}
        self._drops: dict[str, dict[str, _Drop]] = {}

    def tell_shelf(self, rack: str, controller: str, now: Seconds, volts: float) -> None:
        """A shelf's own voltage, V."""
        self._shelves.setdefault(rack, {})[controller] = (now, volts)

    def shelf(self, rack: str, now: Seconds) -> float | None:
        """The voltage at the shelf, V; None where none tells it, or where several do."""
        told = [volts for time, volts in self._shelves.get(rack, {}).values() if abs(now - time) <= FRESH]
        return told[0] if len(told) == 1 else None

    def tell(self, rack: str, controller: str, drop: _Drop) -> None:
        """What a sled sees."""
        drops = self._drops.setdefault(rack, {})
        if controller in drops or len(drops) < KEPT:
            drops[controller] = drop

    def current(self, rack: str, joint: str, controller: str, now: Seconds) -> float:
        """A through a joint, but for what one of its sleds takes."""
        return math.fsum(
            drop.current
            for name, drop in self._drops.get(rack, {}).items()
            if name != controller and drop.joint == joint and abs(now - drop.time) <= FRESH
        )

    def excess(self, rack: str, controller: str, joint: str, now: Seconds) -> tuple[list[float], list[float]]:
        """V beyond the usual: of others behind the same joint, and of those behind others."""
        same: list[float] = []
        other: list[float] = []
        for name, drop in self._drops.get(rack, {}).items():
            if name != controller and drop.excess == drop.excess and abs(now - drop.time) <= FRESH:
                (same if drop.joint == joint else other).append(drop.excess)
        return same, other


class BusbarLook:
    """One controller's end of the busbar."""

    def __init__(self, controller: str, bars: Bars | None = None) -> None:
        """``bars``: shared with the looks of other controllers, where there are any."""
        self._controller = controller
        self._bars = Bars() if bars is None else bars
        self._signs = Signs(controller)
        self._usual = Usual(pace=0.02, reach=0.5)
        self._rack: str | None = None
        self._joint = ""
        self._is_shelf = False
        self._part: Part | None = None
        self._volts = self._power = 0
        self._size = 0

    kept = "busbar"

    def learnt(self) -> Learnt:
        """The usual drop at its place."""
        return Learnt(figures={self._place: self._usual.kept} if self._usual.known else {})

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up, where it still has that place."""
        self._usual.recall(learnt.figures.get(self._place, ()))

    @property
    def _place(self) -> str:
        return f"{self._rack}|{self._joint}|{'' if self._part is None else self._part.id}"

    @property
    def visible(self) -> Visible:
        """Voltage, of a sled whose drop is known."""
        known = self._part is not None and not self._is_shelf and self._usual.known
        return {self._part.id: frozenset({Sign.LOW_VOLTAGE})} if known and self._part is not None else {}

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._signs.present

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._signs.drop(frozenset(part.id for part in inventory.parts))
        sensors = inventory.layout.sensors
        self._size = len(sensors)
        self._is_shelf = any(part.kind is Kind.OUTLET for part in inventory.parts)
        self._part, self._rack = None, None
        for part in inventory.parts:
            place = part.location
            if part.kind in (Kind.POWER_SUPPLY, Kind.BLADE, Kind.MODULE, Kind.CIRCUIT) or place.rack is None:
                continue
            own = [(column, sensor) for column, sensor in enumerate(sensors) if sensor.part == part.id]
            volts = next((column for column, sensor in own if _is_busbar(sensor)), None)
            power = own_power(own)
            if volts is None or (power is None and not self._is_shelf):
                continue
            self._part, self._volts, self._power = part, volts, -1 if power is None else power
            self._rack = f"{place.site}|{place.row}|{place.rack}"
            self._joint = self._controller if place.enclosure is None else place.enclosure
            return

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        part, rack = self._part, self._rack
        if seen.frame is None or part is None or rack is None or len(seen.frame.values) != self._size:
            return False
        volts = seen.frame.values[self._volts]
        if self._is_shelf:
            if LEAST < volts < MOST:
                self._bars.tell_shelf(rack, self._controller, seen.time, volts)
            return False
        shelf = self._bars.shelf(rack, seen.time)
        self._signs.begin()
        power = seen.frame.values[self._power]
        if shelf is None or not LEAST < volts < MOST or not power > LIVE * volts:
            self._signs.keep(part.id, Sign.LOW_VOLTAGE)
        else:
            self._judge(part, rack, shelf - volts, power / volts, seen.time)
        return self._signs.end()

    def _judge(self, part: Part, rack: str, drop: float, own: float, now: Seconds) -> None:
        through = own + self._bars.current(rack, self._joint, self._controller, now)
        expected = self._usual.value * through  # NaN until it is known
        excess = drop - expected
        self._bars.tell(rack, self._controller, _Drop(now, self._joint, own, excess))
        if not self._usual.known:
            self._usual.learn(now, drop / through)
            return
        same, other = self._bars.excess(rack, self._controller, self._joint, now)
        beyond = excess - (median(other) if other else 0.0)
        shown = (part.id, Sign.LOW_VOLTAGE, None) in self.present
        limit = max(MORE, TIMES * abs(expected)) * (HELD if shown else 1.0)
        if beyond > limit:
            agree = bool(other) and (not same or median(same) - median(other) > 0.5 * limit)
            text = f"{part.name}: {drop:.2f} V less than at the shelf, where {expected:.2f} V is usual at that current"
            self._signs.see(part.id, Sign.LOW_VOLTAGE, text, now, 0.9 if agree else 0.4)
        elif beyond < 0.5 * limit:
            self._usual.learn(now, drop / through)


def _is_busbar(sensor: Sensor) -> bool:
    return (
        sensor.quantity is Quantity.VOLTAGE
        and "rail" not in sensor.sensor.lower()
        and ("bus" in sensor.sensor.lower() or sensor.context in ("DCBus", "PowerSubsystem"))
    )
