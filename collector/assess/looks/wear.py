"""The wear look: drive life left, corrected and uncorrected errors, failures that a part expects itself.

Per counter or life sensor 8 bytes; only those that ever moved keep a thinned history: 48 points of life at most, two
days of hours for errors.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from collector.assess.looking import Seen
from collector.assess.looks.memory import Learnt
from collector.assess.margins.outlook import Life, day
from collector.assess.statistics.poisson import poisson_limits
from collector.assess.statistics.trend import Crossing, crossing
from collector.model import Inventory, Observation, Quantity, Seconds, Sensor, Sign, SignKey, Visible

LIFE_LOW = 10.0
"""Percent of life left at which a drive is worn (common practice, no source)."""
FAST = 5.0
"""Points of life lost within a day that are too many (common practice, no source)."""
AHEAD = 60 * 86_400.0
"""Seconds ahead within which the end of life is worth telling."""
FURTHEST = 30.0
"""Times the observed span that a forecast of wear looks ahead: unlike a temperature, life only ever falls."""
POINTS = 48
BUCKET, BUCKETS = 3600.0, 48
HOURLY, DAILY = 6.0, 48.0
"""Corrected errors an hour, and a day, above which there are many (common practice, no source)."""
ROUNDS_WITH_ERRORS = 2
"""Rounds that must have brought errors, unless they are very many: one burst may be one event."""
VERY_MANY = 3.0
"""Times the limit."""
CONFIDENCE = 0.99
HELD = 3600.0
"""Seconds without another one until errors are let go."""

_LEFT = ("predicted media life left", "available spare", "remaining spare block")
_USED = ("life used",)
_FATAL = ("uncorrectable", "fatal error", "media and data integrity")
_CORRECTED = ("correctable", "rx errors", "tx errors", "fcs errors")


def kind_of(sensor: Sensor) -> str | None:
    """``left``, ``used``, ``uncorrectable`` or ``correctable``; None for a sensor that tells of no wear."""
    name = sensor.sensor.lower()
    if sensor.quantity is Quantity.PERCENT:
        if any(word in name for word in _LEFT):
            return "left"
        return "used" if any(word in name for word in _USED) else None
    if sensor.quantity is not Quantity.COUNT:
        return None
    if any(word in name for word in _FATAL) and "non fatal" not in name:
        return "uncorrectable"
    return "correctable" if any(word in name for word in _CORRECTED) else None


class _Errors:
    """How often one counter moved: events by hour."""

    __slots__ = ("hours", "last", "rounds", "since")

    def __init__(self, now: Seconds) -> None:
        self.hours: deque[tuple[float, float, int]] = deque(maxlen=BUCKETS)
        """(hour, errors, rounds that brought some)."""
        self.since = self.last = now
        self.rounds = 0

    @property
    def kept(self) -> tuple[float, ...]:
        return (self.since, self.last, float(self.rounds), *(each for hour in self.hours for each in hour))

    @classmethod
    def recalled(cls, kept: tuple[float, ...]) -> _Errors:
        made = cls(kept[0])
        made.last, made.rounds, rest = kept[1], int(kept[2]), kept[3:]
        for at in range(0, len(rest) - 2, 3):
            made.hours.append((rest[at], rest[at + 1], int(rest[at + 2])))
        return made

    def take(self, now: Seconds, count: float) -> None:
        hour = math.floor(now / BUCKET)
        if self.hours and self.hours[-1][0] == hour:
            _, errors, rounds = self.hours[-1]
            self.hours[-1] = (hour, errors + count, rounds + 1)
        else:
            self.hours.append((hour, count, 1))
        self.last = now
        self.rounds += 1

    def within(self, now: Seconds, seconds: float) -> tuple[float, int]:
        """(errors, rounds that brought some) of the hours that reach into so many seconds back."""
        first = math.floor((now - seconds) / BUCKET)
        told = [(errors, rounds) for hour, errors, rounds in self.hours if first <= hour <= now / BUCKET]
        return sum(errors for errors, _ in told), sum(rounds for _, rounds in told)


class WearLook:
    """One controller's counters and lives."""

    def __init__(self, controller: str) -> None:
        self._controller = controller
        self._on: dict[SignKey, Observation] = {}
        self._sensors: tuple[Sensor, ...] = ()
        self._kinds: list[str] = []
        self._at: NDArray[np.intp] = np.zeros(0, dtype=np.intp)
        self._last: NDArray[np.float64] = np.zeros(0)
        self._size = 0
        self._lives: dict[tuple[str, str], list[tuple[Seconds, float]]] = {}
        self._ends: dict[tuple[str, str], Crossing | None] = {}
        self._errors: dict[tuple[str, str], _Errors] = {}
        self._predicts: frozenset[str] = frozenset()
        self._serials: dict[str, str] = {}
        """Of each part the serial number that it told last: what another has lost or counted says nothing of it."""

    @property
    def visible(self) -> Visible:
        """What the counters, lives and statuses of each part can show."""
        seen: dict[str, frozenset[Sign]] = {part: frozenset({Sign.PREDICTED}) for part in self._predicts}
        signs = {"left": Sign.WORN, "used": Sign.WORN, "uncorrectable": Sign.UNCORRECTABLE}
        for sensor, kind in zip(self._sensors, self._kinds, strict=True):
            seen[sensor.part] = seen.get(sensor.part, frozenset()) | {signs.get(kind, Sign.CORRECTABLE)}
        return seen

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._on

    kept = "wear"

    def learnt(self) -> Learnt:
        """Counters, lives and errors so far."""
        figures: dict[str, tuple[float, ...]] = {}
        for sensor, value in zip(self._sensors, self._last.tolist(), strict=True):
            figures[f"last|{sensor.part}|{sensor.sensor}"] = (value,)
        for (part, name), points in self._lives.items():
            figures[f"life|{part}|{name}"] = tuple(each for point in points for each in point)
        for (part, name), errors in self._errors.items():
            figures[f"errors|{part}|{name}"] = errors.kept
        return Learnt(figures=figures, words={part: (serial,) for part, serial in self._serials.items()})

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take them up. Corrected errors that came meanwhile count only where that was short: nobody knows when."""
        told, short = learnt.figures, 0.0 <= now - then <= BUCKET
        for index, (sensor, kind) in enumerate(zip(self._sensors, self._kinds, strict=True)):
            key, name = (sensor.part, sensor.sensor), f"{sensor.part}|{sensor.sensor}"
            was, serial = learnt.words.get(sensor.part), self._serials.get(sensor.part)
            if was and serial is not None and was != (serial,):
                continue  # exchanged meanwhile
            if (last := told.get(f"last|{name}")) and (short or kind != "correctable"):
                self._last[index] = last[0]
            life = told.get(f"life|{name}", ())
            if life and len(life) % 2 == 0 and len(life) <= 2 * POINTS and life[-2] <= now:
                self._lives[key] = list(zip(life[::2], life[1::2], strict=True))
                self._ends[key] = self._end(self._lives[key])
            errors = told.get(f"errors|{name}", ())
            if len(errors) >= 3 and errors[1] <= now:
                self._errors[key] = _Errors.recalled(errors)

    def lives(self) -> Iterator[Life]:
        """Each life that is told of, and when nothing of it will be left."""
        for sensor, kind, told in zip(self._sensors, self._kinds, self._last.tolist(), strict=True):
            if kind in ("left", "used") and told == told:
                yield Life(sensor, self._ends.get((sensor.part, sensor.sensor)))

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what was known of a sensor stays with its part and name, while that is the same one."""
        others = self._exchanged(inventory)
        before = {
            (sensor.part, sensor.sensor): float(value)
            for sensor, value in zip(self._sensors, self._last, strict=True)
            if sensor.part not in others
        }
        chosen = [
            (column, sensor, kind)
            for column, sensor in enumerate(inventory.layout.sensors)
            if (kind := kind_of(sensor)) is not None
        ]
        self._size = len(inventory.layout.sensors)
        self._sensors = tuple(sensor for _, sensor, _ in chosen)
        self._kinds = [kind for _, _, kind in chosen]
        self._at = np.asarray([column for column, _, _ in chosen], dtype=np.intp)
        self._last = np.asarray([before.get((s.part, s.sensor), math.nan) for s in self._sensors], dtype=np.float64)
        self._predicts = frozenset(
            part for part, status in inventory.statuses.items() if status.failure_predicted is not None
        )
        known = {(sensor.part, sensor.sensor) for sensor in self._sensors if sensor.part not in others}
        self._lives = {key: told for key, told in self._lives.items() if key in known}
        self._ends = {key: end for key, end in self._ends.items() if key in known}
        self._errors = {key: told for key, told in self._errors.items() if key in known}
        parts = {part.id for part in inventory.parts} - others
        self._on = {key: told for key, told in self._on.items() if key[0] in parts}

    def _exchanged(self, inventory: Inventory) -> set[str]:
        """Parts in whose place another one stands since the walk before."""
        wears = {sensor.part for sensor in inventory.layout.sensors if kind_of(sensor) is not None}
        serials = {part.id: part.identity.serial for part in inventory.parts if part.id in wears}
        told = {part: serial for part, serial in serials.items() if serial}
        others = {part for part, serial in told.items() if self._serials.get(part, serial) != serial}
        self._serials = {part: serial for part, serial in self._serials.items() if part in serials} | told
        return others

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        before = dict(self._on)
        if seen.frame is not None:
            self._look_at_predictions(seen)
            values = np.frombuffer(seen.frame.values)
            if len(self._at) and len(values) == self._size:
                told = values[self._at]
                moved = np.nonzero((told != self._last) & (told == told))[0]
                for index in moved.tolist():
                    self._moved(index, float(self._last[index]), float(told[index]), seen.time)
                    self._last[index] = told[index]
        if self._errors:
            self._count(seen.time)
        return before != self._on

    def _look_at_predictions(self, seen: Seen) -> None:
        for part in self._predicts:
            status = seen.statuses.get(part)
            if status is None:
                continue
            if status.failure_predicted:
                self._show(part, Sign.PREDICTED, None, "it predicts its own failure", seen.time, 1.0)
            elif status.failure_predicted is False:
                self._hide(part, Sign.PREDICTED, None)

    def _moved(self, index: int, old: float, new: float, now: Seconds) -> None:
        sensor, kind = self._sensors[index], self._kinds[index]
        key = (sensor.part, sensor.sensor)
        if kind in ("left", "used"):
            self._look_at_life(sensor, new if kind == "left" else 100.0 - new, now)
            return
        sign = Sign.UNCORRECTABLE if kind == "uncorrectable" else Sign.CORRECTABLE
        if old != old:
            if kind == "uncorrectable" and new > 0.0 and "current period" in sensor.sensor:
                self._errors.setdefault(key, _Errors(now)).take(now, new)
                self._show(*key[:1], sign, sensor.sensor, f"{new:.0f} uncorrectable errors in this period", now, 0.8)
            return
        if new < old:  # a new part, a new period or a reset: what it tells now has come since
            self._errors.pop(key, None)
            self._hide(sensor.part, sign, sensor.sensor)
            if "current period" not in sensor.sensor:
                return
            old = 0.0
        if new - old <= 0.0:
            return
        errors = self._errors.setdefault(key, _Errors(now))
        errors.take(now, new - old)
        if kind == "uncorrectable":
            text = f"{sensor.sensor} rose by {new - old:.0f} to {new:.0f}"
            self._show(sensor.part, sign, sensor.sensor, text, now, 1.0)

    def _count(self, now: Seconds) -> None:
        """Which counters count too fast, and which have been quiet for long."""
        kinds = {(s.part, s.sensor): kind for s, kind in zip(self._sensors, self._kinds, strict=True)}
        for key, errors in list(self._errors.items()):
            part, name = key
            if not 0.0 <= now - errors.last <= HELD:
                del self._errors[key]
                self._hide(part, Sign.UNCORRECTABLE, name)
                self._hide(part, Sign.CORRECTABLE, name)
                continue
            if kinds[key] != "correctable" or errors.last != now or (part, Sign.CORRECTABLE, name) in self._on:
                continue
            for span, limit in ((3600.0, HOURLY), (86_400.0, DAILY)):
                count, rounds = errors.within(now, span)
                low = poisson_limits(min(int(count), 100_000), CONFIDENCE).low
                if low > limit and (rounds >= ROUNDS_WITH_ERRORS or low > VERY_MANY * limit):
                    hours = span / 3600.0
                    text = f"{count:.0f} more of {name} within {hours:.0f} h, at least {low / hours:.2g} an hour"
                    weight = 0.95 if rounds >= ROUNDS_WITH_ERRORS else 0.8
                    self._show(part, Sign.CORRECTABLE, name, text, errors.since, weight)
                    break

    def _look_at_life(self, sensor: Sensor, left: float, now: Seconds) -> None:
        key = (sensor.part, sensor.sensor)
        points = self._lives.setdefault(key, [])
        if points and (left > points[-1][1] + 1.0 or now <= points[-1][0]):
            points.clear()  # a new drive, or a clock that was set back
            self._hide(sensor.part, Sign.WORN, sensor.sensor)
        points.append((now, left))
        if len(points) > POINTS:
            del points[1:-1:2]
        self._ends[key] = end = self._end(points)
        if left <= LIFE_LOW:
            text = f"{left:.0f} % of its life is left" + ("" if end is None else f": {_dates(end)}")
            self._show(sensor.part, Sign.WORN, sensor.sensor, text, now, 0.95)
        elif (fell := _fell(points, now)) >= FAST:
            text = f"{left:.0f} % of its life is left, {fell:.0f} points less than a day ago"
            self._show(sensor.part, Sign.WORN, sensor.sensor, text, now, 0.85)
        elif end is not None and end.at - now <= AHEAD:
            text = f"{left:.0f} % of its life is left, {_dates(end)}"
            self._show(sensor.part, Sign.WORN, sensor.sensor, text, now, 0.8)

    @staticmethod
    def _end(points: list[tuple[Seconds, float]]) -> Crossing | None:
        # the first value stood for an unknown time before it was first seen: only changes are dated
        dated = points[1:]
        if len(dated) < 6:
            return None
        return crossing([time for time, _ in dated], [left for _, left in dated], 0.0, furthest=FURTHEST)

    def _hide(self, part: str, sign: Sign, sensor: str | None) -> None:
        self._on.pop((part, sign, sensor), None)

    def _show(self, part: str, sign: Sign, sensor: str | None, text: str, now: Seconds, weight: float) -> None:
        key = (part, sign, sensor)
        known = self._on.get(key)
        if known is not None and known.weight >= weight:
            return
        self._on[key] = Observation(
            controller=self._controller,
            part=part,
            sign=sign,
            sensor=sensor,
            since=now if known is None else known.since,
            weight=weight,
            text=text,
        )


def _fell(points: list[tuple[Seconds, float]], now: Seconds) -> float:
    """Points of life lost within the last day."""
    before = [left for time, left in points if now - time <= 86_400.0]
    # the value that stood when the day began is the last one told before it
    earlier = [left for time, left in points if now - time > 86_400.0]
    return max(earlier[-1:] + before) - points[-1][1]


def _dates(end: Crossing) -> str:
    latest = "no end in sight" if math.isinf(end.latest) else day(end.latest)
    return f"used up about {day(end.at)} (95 %: {day(end.earliest)} to {latest})"
