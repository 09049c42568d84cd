"""What a controller tells itself, as signs: open conditions and statuses, no judgement added.

Looks that judge by themselves (air, power, peers…) may see the same; isolation takes the surest word on each sign.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from msgspec import structs

from collector.assess.book import missing_part
from collector.assess.looking import Seen
from collector.assess.looks.impossible import nonsense
from collector.assess.looks.memory import Learnt
from collector.assess.words import clip
from collector.model import (
    Assessment,
    Condition,
    Evidence,
    Health,
    Inventory,
    Kind,
    Observation,
    Part,
    PowerState,
    Quantity,
    Seconds,
    Sensor,
    Sign,
    SignKey,
    State,
    Status,
    Subject,
    Visible,
)

_HOLDERS = frozenset({Kind.RACK, Kind.ENCLOSURE, Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.HOST, Kind.OTHER})
"""Kinds whose Health may mean anything inside them: that it is OK says nothing, for many services never change it."""
_TURNING = frozenset({Kind.FAN, Kind.PUMP})
_FEEDING = frozenset({Kind.OUTLET, Kind.CIRCUIT, Kind.POWER_FEED})
_STANDSTILL = 0.1
"""Share of the limit below which what turns too slowly stands: no sensor of a turning fan reads that low."""
_DEAD = 0.5
"""Share of the limit below which a voltage is none: between a sag and a loss. Common practice, no source."""
_CAN_GO = frozenset({Kind.BLADE, Kind.MODULE, Kind.FAN, Kind.POWER_SUPPLY, Kind.DRIVE, Kind.BATTERY, Kind.PUMP})
_INTAKE = ("Intake", "Room")
_LOAD = (Quantity.POWER, Quantity.APPARENT_POWER, Quantity.CURRENT, Quantity.LOAD_RATIO)
_SPEED = (Quantity.ROTATION, Quantity.SPEED_RATIO, Quantity.FREQUENCY)
_SURELY, _ONLY_REPORTED, _MANY = 1.0, 0.9, 0.8


class Told:
    """A :class:`~collector.assess.looking.Look` that is also given what the controller's watch found.

    Order in a round: the watch first, then :meth:`assessed` with what it says, then :meth:`round`. ``conditions``:
    those that were open when an earlier run ended.
    """

    def __init__(self, controller: str, conditions: Iterable[Condition] = ()) -> None:
        self.controller = controller
        self._open = {condition.id: condition for condition in conditions if condition.closed is None}
        self._parts: dict[str, Part] = {}
        self._sensors: dict[tuple[str, str], Sensor] = {}
        self._columns: dict[tuple[str, str], int] = {}
        self._values: Sequence[float] = ()
        self._gauged: dict[str, frozenset[Sign]] = {}
        self._had_link: set[str] = set()
        self._was_on: set[str] = set()
        self._since: dict[SignKey, Seconds] = {}
        self._statuses: dict[str, Status] = {}
        self._idle: frozenset[str] = frozenset()
        self._visible: dict[str, frozenset[Sign]] = {}
        self._present: dict[SignKey, Observation] = {}

    kept = "told"

    def learnt(self) -> Learnt:
        """What had a link, and what was on."""
        return Learnt(words={"link": tuple(sorted(self._had_link)), "on": tuple(sorted(self._was_on))})

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up: what was lost while nobody looked is lost all the same."""
        self._had_link |= self._parts.keys() & set(learnt.words.get("link", ()))
        self._was_on |= self._parts.keys() & set(learnt.words.get("on", ()))
        self._take(self._statuses, self._idle, now)

    @property
    def visible(self) -> Visible:
        """By part, what would be told of it."""
        return self._visible

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What is told now."""
        return self._present

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._parts = {part.id: part for part in inventory.parts}
        self._sensors = {(sensor.part, sensor.sensor): sensor for sensor in inventory.layout.sensors}
        self._columns = {key: column for column, key in enumerate(self._sensors)}
        self._values = inventory.frame.values
        gauged: dict[str, set[Sign]] = {}
        for sensor in inventory.layout.sensors:
            gauged.setdefault(sensor.part, set()).update(self._signs_of(sensor))
        self._gauged = {part: frozenset(signs) for part, signs in gauged.items()}
        self._had_link = (self._had_link | {told.part for told in inventory.neighbours}) & self._parts.keys()
        self._was_on &= self._parts.keys()
        self._take(inventory.statuses, self._idle, now)

    def assessed(self, assessment: Assessment) -> None:
        """Take what the watch says of a walk or round; it counts from the next :meth:`round` or walk on."""
        for condition in (*assessment.opened, *assessment.changed):
            self._open[condition.id] = condition
        for condition in assessment.closed:
            self._open.pop(condition.id, None)

    def round(self, seen: Seen) -> bool:
        """Take a finished round; says whether anything told of changed."""
        if seen.frame is None and not seen.statuses:
            return False
        if seen.frame is not None:
            self._values = seen.frame.values
        return self._take(seen.statuses, seen.idle, seen.time)

    def _take(self, statuses: Mapping[str, Status], idle: frozenset[str], now: Seconds) -> bool:
        self._statuses, self._idle = dict(statuses), idle
        for part, status in statuses.items():
            if status.link:
                self._had_link.add(part)
            if status.power is PowerState.ON:
                self._was_on.add(part)
        found: dict[SignKey, Observation] = {}
        for each in (*self._of_conditions(), *self._of_statuses(now)):
            before = found.get(each.key)
            if before is None or each.weight > before.weight:
                found[each.key] = each
        changed = found != self._present
        self._present = found
        self._since = {key: each.since for key, each in found.items()}
        self._visible = self._could_see()
        return changed

    # From conditions

    def _of_conditions(self) -> Iterable[Observation]:
        for condition in self._open.values():
            match condition.subject:
                case Subject.THRESHOLD:
                    yield from self._beyond(condition)
                case Subject.STATUS if condition.part is not None:
                    yield self._reported(condition, condition.part)
                case Subject.FAILURE_PREDICTED if condition.part is not None:
                    yield self._observed(condition, condition.part, Sign.PREDICTED)
                case Subject.STALE if condition.part is not None:
                    weight = _SURELY if condition.sensor is not None else _MANY
                    yield self._observed(condition, condition.part, Sign.READING_GONE, weight, condition.sensor)
                case Subject.MISSING:
                    part = missing_part(condition) or condition.part
                    if part is not None:
                        yield self._observed(condition, part, Sign.ABSENT)

    def _beyond(self, condition: Condition) -> Iterable[Observation]:
        sensor = self._sensors.get((condition.part or "", condition.sensor or ""))
        if sensor is None or condition.part is None:
            return
        reading = next((each for each in reversed(condition.evidence) if each.threshold is not None), None)
        why = None if reading is None or reading.value is None else nonsense(sensor.quantity, reading.value)
        if why is not None:  # it says nothing of what it measures
            seen = self._observed(condition, condition.part, Sign.READING_IMPOSSIBLE, _ONLY_REPORTED, condition.sensor)
            yield structs.replace(seen, text=clip(f"{condition.text}: {why}"))
            return
        upper = "above" in condition.text if reading is None else (reading.threshold or "").startswith("upper")
        sign = _sign(sensor, upper, _share(reading, self._now(sensor)))
        yield self._observed(condition, condition.part, sign, _SURELY, condition.sensor)
        status = self._statuses.get(condition.part)
        if status is not None and status.health >= Health.WARNING and sensor.kind not in _HOLDERS:
            yield self._observed(condition, condition.part, Sign.FAULTY, _ONLY_REPORTED)

    def _now(self, sensor: Sensor) -> float:
        """What it reads now; NaN for nothing."""
        column = self._columns[sensor.part, sensor.sensor]
        return self._values[column] if column < len(self._values) else math.nan

    def _reported(self, condition: Condition, part: str) -> Observation:
        sensor = self._sensors.get((part, condition.sensor or ""))
        if sensor is not None and sensor.quantity is Quantity.TEMPERATURE:
            sign = Sign.WARM_AIR if sensor.context in _INTAKE else Sign.HOT
            return self._observed(condition, part, sign, _ONLY_REPORTED, condition.sensor)
        known = self._parts.get(part)
        sign = Sign.LEAKING if known is not None and known.kind is Kind.LEAK_DETECTOR else Sign.FAULTY
        return self._observed(condition, part, sign)

    def _observed(
        self, condition: Condition, part: str, sign: Sign, weight: float = _SURELY, sensor: str | None = None
    ) -> Observation:
        return Observation(
            controller=self.controller,
            part=part,
            sign=sign,
            sensor=sensor,
            since=condition.opened,
            weight=weight,
            text=clip(condition.text),
            condition=condition.id,
        )

    # From statuses

    def _of_statuses(self, now: Seconds) -> Iterable[Observation]:
        for id, status in self._statuses.items():
            part = self._parts.get(id)
            if part is None:
                continue
            if status.link is False and id in self._had_link and part.parent not in self._idle:
                yield self._shown(part, Sign.LINK_DOWN, now, "has no link")
            if status.power is PowerState.OFF and id in self._was_on and status.state is not State.ABSENT:
                sign = Sign.NO_POWER if part.kind in _FEEDING else Sign.OFF
                yield self._shown(part, sign, now, "is told to be off")

    def _shown(self, part: Part, sign: Sign, now: Seconds, words: str) -> Observation:
        key = (part.id, sign, None)
        return Observation(
            controller=self.controller,
            part=part.id,
            sign=sign,
            since=self._since.get(key, now),
            text=f"{clip(part.name)} {words}",
        )

    # What would be told

    def _signs_of(self, sensor: Sensor) -> Iterable[Sign]:
        yield Sign.READING_GONE
        limits = sensor.thresholds
        for upper, names in (
            (True, ("upper_caution", "upper_critical", "upper_fatal")),
            (False, ("lower_caution", "lower_critical", "lower_fatal")),
        ):
            limit = next((each for name in names if (each := getattr(limits, name)) is not None), None)
            if limit is None:
                continue
            yield _sign(sensor, upper, 1.0)
            if not upper and sensor.quantity in _SPEED and sensor.kind in _TURNING:
                yield Sign.STANDS
            if not upper and sensor.quantity is Quantity.VOLTAGE:
                yield Sign.NO_POWER

    def _could_see(self) -> dict[str, frozenset[Sign]]:
        visible: dict[str, frozenset[Sign]] = {}
        for id, part in self._parts.items():
            status = self._statuses.get(id)
            signs = set() if id in self._idle else set(self._gauged.get(id, ()))
            if status is not None:
                signs.update(self._status_signs(part, status))
            if signs:
                visible[id] = frozenset(signs)
        return visible

    def _status_signs(self, part: Part, status: Status) -> Iterable[Sign]:
        if status.health is not Health.UNKNOWN and part.kind not in _HOLDERS:
            yield Sign.LEAKING if part.kind is Kind.LEAK_DETECTOR else Sign.FAULTY
        if part.kind in _CAN_GO and status.state is not State.UNKNOWN:
            yield Sign.ABSENT
        if status.failure_predicted is not None:
            yield Sign.PREDICTED
        if status.link is not None and part.id in self._had_link:
            yield Sign.LINK_DOWN
        if status.power is not PowerState.UNKNOWN and part.id in self._was_on:
            yield Sign.NO_POWER if part.kind in _FEEDING else Sign.OFF


def _sign(sensor: Sensor, upper: bool, low: float) -> Sign:
    """What a reading beyond a threshold shows of the part that it is of; ``low``: as a share of the limit."""
    match sensor.quantity:
        case Quantity.TEMPERATURE if upper:
            return Sign.WARM_AIR if sensor.context in _INTAKE else Sign.HOT
        case quantity if quantity in _SPEED and sensor.kind in _TURNING and not upper:
            return Sign.STANDS if low < _STANDSTILL else Sign.TURNS_SLOWLY
        case Quantity.VOLTAGE if upper:
            return Sign.HIGH_VOLTAGE
        case Quantity.VOLTAGE:
            return Sign.NO_POWER if low < _DEAD else Sign.LOW_VOLTAGE
        case Quantity.AIR_FLOW if not upper:
            return Sign.SHORT_OF_AIR
        case Quantity.LIQUID_FLOW if not upper:
            return Sign.LITTLE_FLOW
        case quantity if quantity in _LOAD and upper:
            return Sign.OVERLOADED
        case _:
            return Sign.BEYOND


def _share(reading: Evidence | None, now: float) -> float:
    """The reading as a share of its limit; 1 where that can't be said.

    ``now``: the newest value. A condition keeps for a while the evidence that it was opened with: of a fan that runs
    down, a speed at which it still turned.
    """
    if reading is None or reading.value is None or not reading.limit or not math.isfinite(reading.value):
        return 1.0
    return min(reading.value, now if math.isfinite(now) else reading.value) / reading.limit
