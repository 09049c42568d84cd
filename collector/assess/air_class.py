"""Inlet air outside what the class of its place allows: too warm for its altitude, too cold, too humid or dry, changing
too fast.

It is judged where air enters from the room, once for each controller's outermost inlet, and not where a limit of the
sensor itself lies at or inside the class's: then that one is told. It is trouble of the room, and no part is ill by it.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Collection, Iterable, Sequence
from statistics import median

from msgspec import Struct

from collector.assess.book import Finding
from collector.assess.delays import HABITS, Habit
from collector.assess.margins.ashrae import CLASSES, DEW_LOW, HUMIDITY_LOW, AirClass, Rates, upper_limit
from collector.assess.margins.moist_air import dew_point
from collector.assess.margins.places import Place, place_of
from collector.assess.margins.wiring import is_inlet
from collector.assess.words import about, condition_id
from collector.model import Condition, Evidence, Health, Inventory, Location, Part, Quantity, Seconds, Sensor, Subject

HALF_A_KELVIN = 0.5
"""K back inside that clears it: the step of usual sensors. Common practice, no source."""
SIDES = (
    *("upper_allowable", "lower_allowable", "change_allowable"),
    *("upper_humidity", "lower_humidity", "upper_dew_point", "lower_dew_point"),
)
"""What limits are called in the evidence."""
_LEAST, _MOST = -60.0, 80.0


class _Breach(Struct, frozen=True):
    """One limit that is passed, or nearly."""

    side: str
    value: float
    limit: float
    unit: str
    words: str
    over: float
    """By how much it is passed, in the unit; negative: what is left."""


class _Latch:
    """Opens when it was so for long enough, closes when it was not for long enough."""

    def __init__(self, opened: Seconds | None = None) -> None:
        self.active = opened is not None
        self.first: Seconds = 0.0 if opened is None else opened
        self._since: Seconds | None = None

    def take(self, over: float, back: float, now: Seconds, habit: Habit) -> bool:
        """``over``: above nothing it is passed; ``back``: how far inside clears it."""
        other = over <= -back if self.active else over > 0.0
        if not other:
            self._since = None
            return self.active
        if self._since is None or now < self._since:
            self._since = now
        if now - self._since >= (habit.off_delay if self.active else habit.on_delay):
            if not self.active:
                self.first = self._since
            self.active, self._since = not self.active, None
        return self.active


class ClassOfAir:
    """One controller's. ``location``: where the controller is as the fleet file says; ``habit``: delays."""

    def __init__(
        self,
        controller: str,
        places: Sequence[Place],
        location: Location | None = None,
        habit: Habit = HABITS[Quantity.TEMPERATURE],
    ) -> None:
        self._controller = controller
        self._places = tuple(places)
        self._outer = location if location is not None else Location()
        self._habit = habit
        self._part: Part | None = None
        self._sensor: Sensor | None = None
        self._column = -1
        self._damp: int | None = None
        self._size = 0
        self._class: AirClass | None = None
        self._altitude = 0.0
        self._rates = Rates()
        self._last: deque[float] = deque(maxlen=3)
        self._latches: dict[str, _Latch] = {}
        self._before: dict[str, Seconds] = {}
        self.findings: tuple[Finding, ...] = ()
        """What is so now."""

    def restore(self, conditions: Iterable[Condition]) -> None:
        """Take up what was open when an earlier run ended."""
        self._before = {each.id: each.opened for each in conditions if each.subject is Subject.AIR}

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what was seen stays with an inlet that stayed."""
        parts = {part.id: part for part in inventory.parts}
        sensors = inventory.layout.sensors
        self._size = len(sensors)
        inlets = {sensor.part for sensor in sensors if is_inlet(sensor)}
        outermost = next(
            (each for each in inventory.parts if each.id in inlets and not _within(each, inlets, parts)), None
        )
        before, self._sensor, self._part = self._sensor, None, outermost
        for column, sensor in enumerate(sensors):
            if outermost is not None and sensor.part == outermost.id and is_inlet(sensor):
                self._sensor, self._column = sensor, column
                break
        if before is None or self._sensor is None or before.key != self._sensor.key:
            self._rates, self._latches = Rates(), {}
            self._last.clear()
            self.findings = ()
            if self._sensor is not None:
                self._resume(self._sensor)
        self._damp = next((c for c, sensor in enumerate(sensors) if sensor.quantity is Quantity.HUMIDITY), None)
        self._class = None
        if outermost is not None:
            told, outer = outermost.location, self._outer
            where = Location(site=told.site or outer.site, row=told.row or outer.row, rack=told.rack or outer.rack)
            place = place_of(self._places, where)
            if place is not None:
                self._class, self._altitude = CLASSES.get(place.air_class or ""), place.altitude

    def _resume(self, sensor: Sensor) -> None:
        for side in SIDES:
            opened = self._before.pop(self._id(sensor, side), None)
            if opened is not None:
                self._latches[side] = _Latch(opened)

    def round(self, values: Sequence[float], idle: Collection[str], now: Seconds) -> None:
        """Take a round's values."""
        sensor, part = self._sensor, self._part
        if self._class is None or sensor is None or part is None or len(values) != self._size or part.id in idle:
            return
        value = values[self._column]
        if not _LEAST < value < _MOST:
            return
        self._last.append(value)
        inlet = median(self._last)  # one reading that is off is no weather
        humidity = math.nan if self._damp is None else values[self._damp] / 100.0
        found = []
        for breach in self._breaches(self._class, sensor, inlet, humidity, now):
            latch = self._latches.setdefault(breach.side, _Latch())
            back = HALF_A_KELVIN if breach.unit == "Cel" else 0.0
            if latch.take(breach.over, back, now, self._habit):
                found.append(self._finding(part, sensor, breach, latch.first, now))
        self.findings = tuple(found)

    def _breaches(self, of: AirClass, sensor: Sensor, inlet: float, humidity: float, now: Seconds) -> list[_Breach]:
        name = f"class {of.name}"
        found = []
        high = upper_limit(of, self._altitude)
        if high is not None and not _told(sensor, "upper", lambda own: own <= high):
            words = f"{inlet:.1f} °C, above the {high:.1f} °C of {name} at {self._altitude:g} m"
            found.append(_Breach("upper_allowable", inlet, high, "Cel", words, inlet - high))
        if not _told(sensor, "lower", lambda own: own >= of.low):
            words = f"{inlet:.1f} °C, below the {of.low:g} °C of {name}"
            found.append(_Breach("lower_allowable", inlet, of.low, "Cel", words, of.low - inlet))
        window, limit, change = self._rates.nearest(now, inlet)
        words = f"changed by {change:.1f} K within {window / 60:g} min, {name} allows {limit:g} K"
        found.append(_Breach("change_allowable", change, limit, "K", words, change - limit))
        if 0.0 < humidity <= 1.0:
            found += self._damp_breaches(of, name, inlet, humidity)
        return found

    @staticmethod
    def _damp_breaches(of: AirClass, name: str, inlet: float, humidity: float) -> list[_Breach]:
        most = 100.0 * of.humidity_high
        least = 100.0 * HUMIDITY_LOW
        told = 100.0 * humidity
        try:
            dew = dew_point(inlet, humidity)
        except ValueError:  # drier than the formulas go
            dew = DEW_LOW - 1.0
        return [
            _Breach(
                "upper_humidity",
                told,
                most,
                "%",
                f"{told:.0f} % humidity, above the {most:.0f} % of {name}",
                told - most,
            ),
            _Breach("lower_humidity", told, least, "%", f"{told:.0f} % humidity, below {least:.0f} %", least - told),
            _Breach(
                "upper_dew_point",
                dew,
                of.dew_high,
                "Cel",
                f"dew point {dew:.1f} °C, above the {of.dew_high:g} °C of {name}",
                dew - of.dew_high,
            ),
            _Breach(
                "lower_dew_point", dew, DEW_LOW, "Cel", f"dew point {dew:.1f} °C, below {DEW_LOW:g} °C", DEW_LOW - dew
            ),
        ]

    def _id(self, sensor: Sensor, side: str) -> str:
        return condition_id(self._controller, Subject.AIR, sensor.part, sensor.sensor, side)

    def _finding(self, part: Part, sensor: Sensor, breach: _Breach, since: Seconds, now: Seconds) -> Finding:
        text = f"{about(part)}: inlet air {breach.words} (ASHRAE TC 9.9)"
        return Finding(
            id=self._id(sensor, breach.side),
            part=part.id,
            sensor=sensor.sensor,
            subject=Subject.AIR,
            severity=Health.WARNING,
            text=text,
            since=since,
            reading=Evidence(
                time=now,
                text=text,
                source=sensor.source,
                value=round(breach.value, 2),
                unit=breach.unit,
                limit=round(breach.limit, 2),
                threshold=breach.side,
            ),
        )


def _within(part: Part, inlets: Collection[str], parts: dict[str, Part]) -> bool:
    """Whether something that contains a part has an inlet of its own."""
    at, steps = part.parent, 0
    while at is not None and steps < 32:
        if at in inlets:
            return True
        above = parts.get(at)
        at, steps = (None if above is None else above.parent), steps + 1
    return False


def _told(sensor: Sensor, side: str, inside: Callable[[float], bool]) -> bool:
    """Whether the sensor has a limit of its own on that side, at or inside the class's."""
    limits = (getattr(sensor.thresholds, f"{side}_{name}") for name in ("caution", "critical", "fatal"))
    return any(limit is not None and inside(limit.value) for limit in limits)
