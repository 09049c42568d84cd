"""The records of sealed files, and forgetting: jobs of the writer's thread, inside a transaction of the caller's."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import TYPE_CHECKING

from collector.model import Seconds
from collector.store import answers, sql
from collector.store.book import Book
from collector.store.files import HOUR

if TYPE_CHECKING:
    from collector.store.parquet import Sealed


class Archive:
    """What the tables say of sealed files and of age. Not thread-safe; raises what SQLite raises."""

    def __init__(self, connection: sqlite3.Connection, book: Book) -> None:
        self._connection = connection
        self._book = book

    def store_id(self) -> str:
        """What tells this store's files from another's."""
        return str(self._connection.execute(sql.STORE_ID).fetchone()[0])

    def names(self) -> set[str]:
        """All sealed files on record."""
        return {row[0] for row in self._connection.execute(sql.SEALED_PATHS)}

    def record(self, name: str, size: int, sealed: Sealed) -> None:
        """From now on the file of ``size`` bytes, and not the frames it stands for, is what is read."""
        self._connection.execute(
            sql.ADD_SEALED,
            (
                name,
                sealed.hour,
                sealed.first_controller,
                sealed.last_controller,
                sealed.earliest,
                sealed.latest,
                sealed.last_frame,
                sealed.samples,
                size,
            ),
        )
        span = {"start": sealed.hour, "end": sealed.hour + HOUR, "last": sealed.last_frame}
        for controller, newest in self._book.newest_frames(sealed.first_controller, sealed.last_controller):
            given = {**span, "controller": controller, "newest": newest or 0}
            self._connection.execute(sql.FORGET_FRAMES, given)
            self._connection.execute(sql.KEEP_FRAME, given)

    def forget_names(self, names: Iterable[str]) -> None:
        """Take files off the record."""
        self._connection.executemany(sql.FORGET_SEALED, [(name,) for name in names])

    def forget_sealed(self, by: Seconds) -> list[str]:
        """Take the files of all hours that began by a time off the record, and name them."""
        names = [row[0] for row in self._connection.execute(sql.OLD_SEALED, (by,))]
        self.forget_names(names)
        return names

    def forget_events(self, before: Seconds, most: int) -> int:
        """Delete events older than a time; how many."""
        return self._connection.execute(sql.OLD_EVENTS, (before, most)).rowcount

    def forget_conditions(self, before: Seconds, most: int) -> int:
        """Delete conditions closed before a time; how many."""
        return self._connection.execute(sql.OLD_CONDITIONS, (before, most)).rowcount

    def forget_answers(self, before: Seconds, most: int) -> int:
        """Delete troubles and work orders that closed before a time; the most of either kind."""
        return max(self._connection.execute(old, (before, most)).rowcount for old in answers.OLD)

    def forget_stays(self, before: Seconds, most: int) -> int:
        """Delete stays of parts that ended before a time; how many."""
        return self._connection.execute(sql.OLD_STAYS, (before, most)).rowcount

    def forget_requests(self, before: Seconds, most: int) -> int:
        """Delete requests settled before a time of which nothing holds any more; how many."""
        return self._connection.execute(sql.OLD_REQUESTS, (before, most)).rowcount

    def forget_leftovers(self, before: Seconds) -> None:
        """Delete what nothing refers to any more, and controllers that were retired before a time."""
        self._connection.execute(sql.FORGET_KEPT)
        self._connection.execute(sql.OLD_LAYOUTS)
        retired = self._connection.execute(sql.RETIRED, (before,)).fetchall()
        for statement in sql.FORGET_CONTROLLER:
            self._connection.executemany(statement, retired)
        if retired:
            self._book.reload()
