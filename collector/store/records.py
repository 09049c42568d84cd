"""Reading the database: connections kept for the next question, rows, and what rows hold as the types of the model."""

from __future__ import annotations

import sqlite3
import threading
import zlib
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from collector.model import Sensor
from collector.store import codec
from collector.store.errors import damaged, translated
from collector.store.schema import DATABASE, Opened, open_for_reading

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

NO_LIMIT = 2**62
"""Of rows: all."""

_IDLE = 4
"""Connections kept open for the next call."""

_LAYOUTS = 64
"""Decoded layouts kept: pages ask for the same few sleds again and again."""


class Records:
    """The records of a state directory, read-only. Safe to share among threads.

    Raises :class:`~collector.store.errors.StoreError` where it can't be read, or something in it can't.
    """

    def __init__(self, state_dir: Path) -> None:
        self.state_dir = state_dir
        self._mutex = threading.Lock()
        self._idle: list[tuple[tuple[int, int], sqlite3.Connection]] = []
        self._layouts: OrderedDict[bytes, tuple[Sensor, ...]] = OrderedDict()

    def close(self) -> None:
        """Close idle connections; more may still be asked."""
        with self._mutex:
            idle, self._idle = self._idle, []
        for _, connection in idle:
            connection.close()

    @contextmanager
    def connection(self) -> Iterator[sqlite3.Connection]:
        """A connection of the pool, in one read transaction."""
        with translated(self.state_dir):
            mark = self._mark()
            connection, lasting = self._borrow(mark)
            try:
                connection.execute("BEGIN")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                connection.close()
                raise
            with self._mutex:
                if lasting and len(self._idle) < _IDLE:
                    self._idle.append((mark, connection))
                    return
            connection.close()

    def _borrow(self, mark: tuple[int, int]) -> Opened:
        while True:
            with self._mutex:
                if not self._idle:
                    break
                known, connection = self._idle.pop()
            if known == mark:
                return Opened(connection, lasting=True)
            connection.close()  # the directory was made anew meanwhile
        return open_for_reading(self.state_dir)

    def _mark(self) -> tuple[int, int]:
        """Which file the database is; (0, 0) where there is none, which opening it will tell."""
        try:
            stat = (self.state_dir / DATABASE).stat()
        except FileNotFoundError:
            return (0, 0)
        return (stat.st_dev, stat.st_ino)

    def rows(self, statement: str, given: dict[str, Any] | None = None) -> list[Any]:
        """All rows that a statement brings, of one moment of the database."""
        with self.connection() as connection:
            return connection.execute(statement, given or {}).fetchall()

    def record(self, text: str, kind: type[T]) -> T:
        """What a record's JSON holds."""
        try:
            return codec.from_json(text, kind)
        except msgspec.MsgspecError as error:
            raise damaged(self.state_dir, f"a {kind.__name__} in the database can't be read: {error}") from error

    def word(self, text: str, kind: type[E]) -> E:
        """The member of an enumeration that a column names."""
        try:
            return kind(text)
        except ValueError as error:
            raise damaged(self.state_dir, f"{text!r} in the database is no {kind.__name__}") from error

    def layout(self, packed: bytes, remember: bool) -> tuple[Sensor, ...]:
        """A layout's sensors; ``remember``: keep them decoded, as is worth it for single controllers."""
        with self._mutex:
            known = self._layouts.get(packed)
            if known is not None:
                self._layouts.move_to_end(packed)
                return known
        try:
            sensors = codec.unpack_sensors(packed)
        except (zlib.error, msgspec.MsgspecError) as error:
            raise damaged(self.state_dir, f"a layout in the database can't be read: {error}") from error
        if remember:
            with self._mutex:
                self._layouts[packed] = sensors
                if len(self._layouts) > _LAYOUTS:
                    self._layouts.popitem(last=False)
        return sensors
