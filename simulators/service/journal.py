"""What a controller remembers of what happened: a bounded ring of event records, newest last."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from simulators.service.eventwords import fill, words
from simulators.telemetry import Health


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One event."""

    number: int
    """Counts from 1 in its controller, and goes on across restarts and overwritten records."""
    time: float
    """Epoch seconds of the real clock."""
    message: str
    """MessageId."""
    args: tuple[str, ...] = ()
    origin: str | None = None
    """URI of the resource that it is about."""
    part: str = ""
    """Path of the part below its sled; empty for the sled itself."""
    severity: Health = "OK"
    group: int = 0
    """Number of the first record of the same cause."""
    text: str | None = None
    """The message where no registry of ours has it."""
    logged: bool = True
    """Whether logs keep it; test events they don't."""

    @property
    def told(self) -> str:
        """The message with its arguments in it."""
        known = words(self.message)
        return self.text if self.text is not None else fill(known.text, self.args) if known else ""

    @property
    def resolution(self) -> str:
        """What the registry says is to be done."""
        known = words(self.message)
        return known.resolution if known else "None."


class Journal:
    """The newest records, ``capacity`` at most; older ones are overwritten."""

    __slots__ = ("_ring", "last", "on_record")

    def __init__(self, capacity: int) -> None:
        """ValueError for a capacity below 1."""
        if capacity < 1:
            raise ValueError(f"a journal of {capacity} records can't keep any")
        self.last = 0
        """Number of the newest record ever written; 0 before the first."""
        self.on_record: Callable[[], None] | None = None
        """Called after records were written."""
        self._ring: deque[Record] = deque(maxlen=capacity)

    def __len__(self) -> int:
        return len(self._ring)

    def __iter__(self) -> Iterator[Record]:
        return iter(self._ring)

    @property
    def capacity(self) -> int:
        """Records kept at most."""
        assert self._ring.maxlen is not None
        return self._ring.maxlen

    @property
    def first(self) -> int:
        """Number of the oldest record kept; one more than :attr:`last` while none is."""
        return self._ring[0].number if self._ring else self.last + 1

    def write(self, record: Record) -> None:
        """Keep a record, which must carry the next number; ValueError when not."""
        if record.number != self.last + 1:
            raise ValueError(f"record {record.number} can't follow {self.last}")
        self.last = record.number
        self._ring.append(record)

    def after(self, number: int) -> list[Record]:
        """Every record kept with a greater number, oldest first."""
        if number >= self.last:
            return []
        # numbers in the ring are consecutive
        return list(self._ring)[max(0, number + 1 - self.first) :]

    def get(self, number: int) -> Record | None:
        """The record of a number; None where it is not (or no longer) kept."""
        return self._ring[number - self.first] if self._ring and self.first <= number <= self.last else None
