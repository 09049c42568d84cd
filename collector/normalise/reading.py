"""Taking one number out of one decoded body: the careful way, used by walks and where the quick way failed.

``Reader`` is how to take it: everything that a walk learnt about one place, so that a round needs no more thought.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable

from msgspec import Struct

from collector.model import NO_VALUE, DefectKind, Frame, Health, Seconds
from collector.normalise.bodies import Body, at, finite, pointer, record, shortest
from collector.normalise.findings import Findings, shown
from collector.normalise.places import state_of
from collector.normalise.statuses import NO_READING_STATES
from collector.normalise.times import duration, plausible, seconds
from collector.normalise.units import FARTHEST


class Reader(Struct, frozen=True, kw_only=True):
    """One place of one sensor and how to read it."""

    uri: str
    """The resource it stands in."""
    steps: tuple[str | int, ...] = ()
    """From the body to the object that holds the number."""
    key: str = "Reading"
    scale: float = 1.0
    offset: float = 0.0
    low: float = -FARTHEST
    """Lowest and highest value that the sensor can tell, in its canonical unit; beyond them it tells an error."""
    high: float = FARTHEST
    sensor: bool = False
    """Whether it is a Sensor resource: only those tell acquisition times."""
    index: int | None = None
    """In the array that the property is."""
    duration: bool = False
    """Whether it is told as an ISO 8601 duration, in a string."""
    judged: bool = True
    """Whether a Status beside it says how healthy this number is; beside several numbers it says so of one."""

    @property
    def pointer(self) -> str:
        """JSON pointer to the number."""
        return pointer(*self.steps, self.key, *(() if self.index is None else (self.index,)))

    @property
    def plain(self) -> bool:
        """Whether the property is the number, and nothing need be turned about but its unit."""
        return self.index is None and not self.duration and self.judged


class Columns:
    """The columns of a frame while they are filled."""

    __slots__ = ("filled", "healths", "timed", "times", "values")

    def __init__(self, width: int) -> None:
        self.values = array("d", [NO_VALUE]) * width
        self.healths = bytearray(width)
        self.times = array("d", [0.0]) * width
        self.timed = False
        """Whether any acquisition time was told."""
        self.filled = False
        """Whether any body that tells readings came."""

    def frame(self, time: Seconds, received: Iterable[Seconds] | None = None) -> Frame:
        """The frame at ``time``; ``received``: when each column's body came, where that was not at ``time``."""
        times = None
        if self.timed:
            times = self.times
            for column, told in enumerate(received if received is not None else [time] * len(times)):
                if not times[column]:
                    times[column] = told or time
        return Frame(time, self.values, bytes(self.healths), times)


def read(reader: Reader, body: Body, column: int, columns: Columns, received: Seconds, findings: Findings) -> None:
    """Takes a reading into its column. What is no reading leaves no value, and is a defect unless it is just absent."""
    holder = at(body, reader.steps)
    if not isinstance(holder, dict):
        return
    if reader.judged:
        columns.healths[column] = Health.from_word(record(holder.get("Status")).get("Health"))
    state = state_of(holder, body)
    if isinstance(state, str) and state in NO_READING_STATES:
        return
    if not take(reader, holder.get(reader.key), column, columns, findings):
        return
    if reader.sensor and holder.get("ReadingTime") is not None:
        taken = acquired(holder["ReadingTime"], received)
        if taken is None:
            blame_time(reader, holder["ReadingTime"], received, findings)
        else:
            columns.times[column] = taken
            columns.timed = True


def take(reader: Reader, told: object, column: int, columns: Columns, findings: Findings) -> bool:
    """Takes what stands at a place into its column; whether that was a reading."""
    if reader.index is not None:
        if told is not None and not isinstance(told, list):
            detail = f"{reader.key} is {shown(told)}, not an array of numbers"
            findings.add(reader.uri, pointer(*reader.steps, reader.key), DefectKind.WRONG_TYPE, detail)
            return False
        told = told[reader.index] if told is not None and reader.index < len(told) else None
    if told is None:
        return False
    number = span(told) if reader.duration else finite(told)
    if number is None:
        blame_value(reader, told, findings)
        return False
    value = number * reader.scale + reader.offset
    if not reader.low <= value <= reader.high:
        blame_range(reader, number, findings)
        return False
    columns.values[column] = value
    return True


def span(told: object) -> float | None:
    """Seconds of a told duration; None for anything else."""
    return duration(told) if isinstance(told, str) else None


def acquired(told: object, received: Seconds) -> Seconds | None:
    """When a Sensor says that its reading was taken; None where that can't be read, or can't be."""
    taken = seconds(told) if isinstance(told, str) else None
    return taken if taken is not None and plausible(taken, received) else None


def blame_time(reader: Reader, told: object, received: Seconds, findings: Findings) -> None:
    """Notes why an acquisition time is not taken."""
    taken = seconds(told) if isinstance(told, str) else None
    if taken is None:
        what = "is no date and time with an offset; the time of receipt is taken"
    else:
        gap = taken - received
        days = abs(gap) / 86_400.0
        size = f"{days:.0f} days" if days >= 2 else f"{abs(gap):.0f} s"
        what = f"is {size} {'after' if gap > 0 else 'before'} the time of receipt, which is taken"
    findings.add(reader.uri, "/ReadingTime", DefectKind.BAD_TIME, f"ReadingTime {shown(told)} {what}")


def blame_value(reader: Reader, told: object, findings: Findings) -> None:
    """Notes that something else stands where a number belongs."""
    if reader.duration:
        detail, kind = f"{reader.key} is {shown(told)}, no duration", DefectKind.BAD_TIME
    elif isinstance(told, int | float) and not isinstance(told, bool):
        detail, kind = f"{reader.key} is {shown(told)}, which is no number to reckon with", DefectKind.NOT_A_NUMBER
    else:
        detail, kind = f"{reader.key} is {shown(told)}, not a number", DefectKind.WRONG_TYPE
    findings.add(reader.uri, reader.pointer, kind, detail)


def blame_range(reader: Reader, told: float, findings: Findings) -> None:
    """Notes that a reading lies outside what its sensor can measure."""
    value = reader.scale * told + reader.offset
    detail = f"reads {value:g}, outside its own range {shortest(reader.low)} to {shortest(reader.high)}"
    if abs(value) > FARTHEST:
        detail = f"{reader.key} is {shown(told)}, too large a number for its unit"
    findings.add(reader.uri, reader.pointer, DefectKind.OUT_OF_RANGE, detail)
