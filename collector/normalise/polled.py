"""Decodes what the GETs of a round bring, round after round. The hot path: know the cost of every line.

Bodies are decoded into types that have only what is read (``shapes.py``). A body that does not fit its type is read
the careful way instead (``careful.py``), which keeps every good reading and names every bad one. For a body that fits
both give the same; ``tests/normalise/test_polled.py`` holds them against each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from operator import attrgetter
from typing import Any, NamedTuple

import msgspec

from collector.model import Defect, Frame, Health, Inventory, Seconds, Status
from collector.normalise import careful, reading
from collector.normalise.bodies import Body
from collector.normalise.compiled import Number, PartSlot, Plan, Row, Wanted, compile_plans
from collector.normalise.inventory import Normalised
from collector.normalise.reading import Reader
from collector.normalise.reported import Reported, salvaged
from collector.normalise.rounds import Round
from collector.normalise.shapes import (
    BOOT,
    STATUS,
    UNFIT,
    ToldSensor,
    ToldSensors,
    attribute,
    decode_report,
    decoder,
    sensor_decoders,
)
from collector.normalise.statuses import HEALTH_WORDS, NO_READING_STATES, TELLING
from collector.redfish.resources import Fetch

_HEALTH: dict[str | None, int] = {None: int(Health.UNKNOWN), **{word: int(one) for word, one in HEALTH_WORDS.items()}}
_NAME, _MEMBERS, _STATUS = attribute("@odata.id"), attribute("Members"), attribute("Status")
_READING_TIME = attribute("ReadingTime")
_PART = tuple(TELLING)
_told_of_part = attrgetter(*(attribute(name) for name in _PART))
_OBJECTS = {name for name, leaf in TELLING.items() if leaf in (STATUS, BOOT)}
_NO_SENSOR = ToldSensor()
_Kept = tuple[float, int, Seconds]
"""Value, health and time of one sensor."""


class Decoded(NamedTuple):
    """What one round brought."""

    frame: Frame | None
    """None when no body came that tells readings."""
    statuses: dict[str, Status]
    """By part id; only those that differ from the last round's or the walk's."""
    defects: tuple[Defect, ...]
    """Only those not seen since the walk."""
    shape_changed: bool
    """Whether a body no longer has the walked shape: rows or members moved, came or went. Asks for a new walk."""


class Decoder:
    """Decodes the rounds of one controller between two walks.

    A round is ``begin()``, one ``take()`` for each GET that brought a body, in any order, and ``finish()``. The
    sensors of a GET that brought none have no value in that round; the statuses it would have told stay as they were.
    A GET that the round leaves out, since what it brings seldom changes, is a ``keep()`` instead.
    """

    def __init__(self, inventory: Inventory, fetches: Sequence[Fetch]) -> None:
        if not isinstance(inventory, Normalised):
            raise TypeError("a decoder needs the inventory as normalise.inventory.build made it")
        self._walked = inventory
        self._round = Round(inventory)
        self._plans = compile_plans(inventory.recipe, tuple(fetches))
        self._takers = [self._taker(plan) for plan in self._plans]
        self._received = [0.0] * len(self._plans)
        self._kept: dict[int, list[_Kept]] = {}
        """What was read last from each GET that rounds may leave out."""
        self._standing = 0
        """Sensors that the round under way leaves as they were."""

    def remember(self, indexes: Iterable[int]) -> None:
        """Says which fetches rounds may leave out: what they bring is remembered from now on."""
        frame = self._walked.frame
        for index in indexes:
            if self._plans[index].columns:
                self._kept[index] = [
                    (frame.values[column], frame.healths[column], frame.times[column] if frame.times else frame.time)
                    for column in self._plans[index].columns
                ]

    def begin(self) -> None:
        """Starts a round."""
        self._round.begin()
        self._standing = 0
        self._received = [0.0] * len(self._plans)

    def take(self, index: int, body: bytes, received: Seconds) -> None:
        """Decodes what fetch number ``index`` brought at a time. Never raises for what a body holds."""
        self._received[index] = received
        self._takers[index](body, received)
        if index in self._kept:
            columns = self._round.columns
            self._kept[index] = [
                (columns.values[column], columns.healths[column], columns.times[column] or received)
                for column in self._plans[index].columns
            ]

    def keep(self, index: int) -> None:
        """Leaves fetch number ``index`` out: its sensors stay as they were read last, with the time of that."""
        columns = self._round.columns
        for column, (value, health, time) in zip(self._plans[index].columns, self._kept.get(index, ()), strict=False):
            columns.values[column], columns.healths[column], columns.times[column] = value, health, time
            columns.timed = True
            self._standing += 1
        if self._standing == len(columns.values):
            columns.filled = True  # there is nothing else to read in this round

    def status(self, part: str) -> Status | None:
        """The newest status of a part, by its id, as far as the round has come; None where none is told."""
        return self._round.statuses.get(part)

    def finish(self, time: Seconds) -> Decoded:
        """Ends the round at ``time``."""
        here = self._round
        frame = here.columns.frame(time, self._receipts()) if here.columns.filled else None
        return Decoded(frame, here.changed, here.findings.take(), here.shape_changed)

    def _receipts(self) -> list[Seconds]:
        """When each column's body came; 0 where none did."""
        receipts = [0.0] * len(self._round.columns.values)
        if self._round.columns.timed:
            for plan, received in zip(self._plans, self._received, strict=True):
                for column in plan.columns:
                    receipts[column] = received
        return receipts

    def _taker(self, plan: Plan) -> Callable[[bytes, Seconds], None]:
        """How the bodies of one GET are taken."""
        if plan.report is not None:
            values = [self._walked.frame.values[metric.column] for metric in plan.metrics]
            reported = Reported(plan.report, plan.metrics, values, self._walked.time)
            return lambda body, received: self._take_report(plan, reported, body, received)
        if plan.shape is None:
            return lambda body, received: careful.take(plan, body, received, self._round)
        if not plan.numbers:
            decode = decoder(plan.shape)
            return lambda body, received: self._take_resources(plan, decode, body, received)
        one, many = sensor_decoders(tuple(sorted({number[-1].key for _, number in plan.beside})))
        if plan.fetch.expanded:
            return lambda body, received: self._take_sensors(plan, many, body, received)
        return lambda body, received: self._take_sensor(plan, one, body, received)

    def _take_report(self, plan: Plan, reported: Reported, body: bytes, received: Seconds) -> None:
        try:
            told = decode_report(body)
        except UNFIT:
            parsed = careful.parse(plan, body, self._round)
            if parsed is None:
                return
            told = salvaged(parsed, plan.fetch.path, self._round)
        reported.take(told, received, self._round)

    # Sensor resources

    def _take_sensors(self, plan: Plan, decode: Callable[[bytes], ToldSensors], body: bytes, received: Seconds) -> None:
        try:
            members = decode(body).Members
        except UNFIT:
            careful.take(plan, body, received, self._round)
            return
        if [member.id for member in members] != plan.names:
            found = self._round.match(plan, [member.id for member in members])
            members = [_NO_SENSOR if index is None else members[index] for index in found]
        if all(member.Status is None and member.Reading is None for member in members):
            careful.take(plan, body, received, self._round)  # it will tell links from sensors without a reading
            return
        self._read_sensors(members, plan.numbers, received)
        if plan.beside:
            self._read_beside(members, plan.beside, received)

    def _take_sensor(self, plan: Plan, decode: Callable[[bytes], ToldSensor], body: bytes, received: Seconds) -> None:
        try:
            member = decode(body)
        except UNFIT:
            careful.take(plan, body, received, self._round)
            return
        if member.Status is None and member.Reading is None:
            careful.take(plan, body, received, self._round)
            return
        self._read_sensors([member], plan.numbers, received)
        if plan.beside:
            self._read_beside([member], plan.beside, received)

    def _read_sensors(self, members: list[ToldSensor], numbers: list[Number | None], received: Seconds) -> None:
        here, columns = self._round, self._round.columns
        columns.filled = True
        values, healths, times = columns.values, columns.healths, columns.times
        last: str | None = None
        taken: Seconds | None = None
        for member, number in zip(members, numbers, strict=True):
            if number is None:
                continue
            _, column, scale, offset, low, high, reader = number
            status = member.Status
            if status is not None:
                healths[column] = _HEALTH.get(status.Health, 0)
                if status.State in NO_READING_STATES:
                    continue
            told = member.Reading
            if told is None:
                continue
            value = told * scale + offset
            if not low <= value <= high:
                reading.blame_range(reader, told, here.findings)
                continue
            values[column] = value
            when = member.ReadingTime
            if when is not None:
                if when != last:  # mostly one text for all of them
                    last, taken = when, reading.acquired(when, received)
                if taken is not None:
                    times[column] = taken
                    columns.timed = True
                else:
                    self._blame_time(column, when, reader, received)

    def _read_beside(self, members: list[ToldSensor], beside: list[tuple[int, Number]], received: Seconds) -> None:
        """The other numbers of Sensors that have some; their health is that of the reading, told with it."""
        columns = self._round.columns
        for index, (name, column, _, _, _, _, reader) in beside:
            member = members[index]
            if member.Status is not None and member.Status.State in NO_READING_STATES:
                continue
            told = getattr(member, name, None)  # a member that is gone has none
            if told is not None and reading.take(reader, told, column, columns, self._round.findings):
                self._read_time(column, member.ReadingTime, reader, received)

    # All other resources

    def _take_resources(self, plan: Plan, decode: Callable[[bytes], Any], body: bytes, received: Seconds) -> None:
        try:
            told = decode(body)
        except UNFIT:
            careful.take(plan, body, received, self._round)
            return
        if not plan.fetch.expanded:
            members = [told]
        else:
            members = [member for member in getattr(told, _MEMBERS) or () if member is not None]
            names = [getattr(member, _NAME) for member in members]
            if names != plan.names:
                found = self._round.match(plan, names)
                members = [None if index is None else members[index] for index in found]
        asked = zip(members, plan.wanted, strict=True)
        if any(member is not None and wanted.anything and _is_bare(member) for member, wanted in asked):
            careful.take(plan, body, received, self._round)
            return
        if plan.columns:
            self._round.columns.filled = True
        for member, root, wanted in zip(members, plan.roots, plan.wanted, strict=True):
            if member is not None:
                self._read_row(root, wanted, member, None, received)

    def _read_row(self, row: Row, wanted: Wanted, told: Any, outer: str | None, received: Seconds) -> None:
        """Reads an object and what is below it; ``outer``: the State of the resource that it stands in."""
        if row.identity_of is not None and row.identity_of(told) != row.identity:
            self._round.shape_changed = True
            return
        state, health = outer, 0
        if row.stated:
            status = getattr(told, _STATUS)
            if status is not None:
                health = _HEALTH.get(status.Health, 0)
                if status.State is not None:
                    state = status.State
        if row.numbers:
            columns = self._round.columns
            for name, column, scale, offset, low, high, reader in row.numbers:
                columns.healths[column] = health
                value = None if state in NO_READING_STATES else getattr(told, name)
                if value is not None:
                    if low <= value * scale + offset <= high:
                        columns.values[column] = value * scale + offset
                        if row.timed:
                            self._read_time(column, getattr(told, _READING_TIME), reader, received)
                    else:
                        reading.blame_range(reader, value, self._round.findings)
        if row.others and state not in NO_READING_STATES:
            for name, column, reader in row.others:
                taken = reading.take(reader, getattr(told, name), column, self._round.columns, self._round.findings)
                if taken and row.timed and reader.sensor:
                    self._read_time(column, getattr(told, _READING_TIME), reader, received)
        if row.part is not None:
            self._read_part(row.part, wanted, told)
        if row.objects or row.lists:
            self._read_below(row, wanted, told, outer if row.steps else state, received)

    def _read_below(self, row: Row, wanted: Wanted, told: Any, outer: str | None, received: Seconds) -> None:
        for name, child in row.objects:
            below = getattr(told, name)
            if below is not None:
                self._read_row(child, wanted, below, outer, received)
        for name, children in row.lists:
            listed = getattr(told, name) or ()
            if len(listed) != len(children):
                self._round.shape_changed = True
            for child_or_none, below in zip(children, listed, strict=False):
                if child_or_none is None:
                    continue
                if below is None:
                    self._round.shape_changed = True
                else:
                    self._read_row(child_or_none, wanted, below, outer, received)

    def _read_time(self, column: int, told: str | None, reader: Reader, received: Seconds) -> None:
        if told is None:
            return
        taken = reading.acquired(told, received)
        if taken is not None:
            self._round.columns.times[column] = taken
            self._round.columns.timed = True
        else:
            self._blame_time(column, told, reader, received)

    def _blame_time(self, column: int, told: str, reader: Reader, received: Seconds) -> None:
        """Once a sensor: a wrong clock stays wrong, and looking for the words costs more than the reading."""
        if column not in self._round.odd_times:
            self._round.odd_times.add(column)
            reading.blame_time(reader, told, received, self._round.findings)

    def _read_part(self, slot: PartSlot, wanted: Wanted, told: Any) -> None:
        """Takes a part's status, if it is not what it was: most are, most of the time."""
        now = _told_of_part(told)
        if now == self._round.last[slot.position]:
            return
        self._round.last[slot.position] = now
        body: Body = {name: value for name, value in zip(_PART, now, strict=True) if value is not None}
        for name in _OBJECTS & body.keys():
            body[name] = msgspec.to_builtins(body[name])
        self._round.note_status(slot, body, wanted)


def _is_bare(told: Any) -> bool:
    """Whether nothing wanted of a resource is there: perhaps a link, or no such resource at all."""
    return getattr(told, _STATUS, None) is None and all(
        getattr(told, name) is None for name in told.__struct_fields__ if name != _NAME
    )
