"""Sealing: full hours that are old enough leave the database and become Parquet files.

One file is written so that a kill between any two steps loses nothing and doubles nothing:

1. written under a temporary name, and synced;
2. renamed to its own name, and the folder synced;
3. recorded, and the frames it stands for deleted, in one transaction.

Until 3 is through, readers see the frames; from then on, the file. What 1 left behind is deleted on the next start;
what 2 left behind is a whole file that says which frames it stands for, and gets its step 3 then.

A file stands for every frame of a range of controllers in one hour, up to the newest frame when the pass began. Frames
of that hour that come later make another file. A controller's newest frame stays in the database, marked as kept, for
those who ask for its latest readings; it is no history there any more.
"""

from __future__ import annotations

import math
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from collector.model import Seconds, Sensor
from collector.store import codec, files, sql
from collector.store.columns import columns
from collector.store.errors import damaged
from collector.store.files import HOUR
from collector.store.schema import open_for_reading

if TYPE_CHECKING:
    from collector.store.parquet import FileBuilder, Sealed

_FILE_SAMPLES = 1_000_000
_FILE_FRAMES = 10_000
"""A file ends with the controller that reaches one of these: its frames are deleted in one transaction."""


class Stopped(Exception):
    """The pass was asked to stop; it left nothing half done."""


class SealingPass:
    """One pass over all that is to be sealed, on any thread; reads with a connection of its own.

    ``record`` does step 3 and returns when it is committed; ``go_on`` is asked between two controllers.
    """

    def __init__(
        self,
        state_dir: Path,
        record: Callable[[Path, Sealed], None],
        go_on: Callable[[], bool],
        hook: Callable[[str], None],
    ) -> None:
        self._state_dir = state_dir
        self._record = record
        self._go_on = go_on
        self._hook = hook

    def run(self, before: Seconds) -> None:
        """Seal every hour that ended by ``before``, oldest first.

        Raises :class:`Stopped`, :class:`~collector.store.errors.StoreError`, and what SQLite and the system raise.
        """
        with closing(open_for_reading(self._state_dir).connection) as connection:
            store = connection.execute(sql.STORE_ID).fetchone()[0]
            last = connection.execute(sql.LAST_FRAME).fetchone()[0]
            sealed = -math.inf
            while True:
                given = {"before": before, "last": last}
                rows = connection.execute(sql.OLDEST_FRAMES, given).fetchall()
                oldest = [(time, name, key) for name, key, time in rows if time is not None]
                if not oldest:
                    return
                hour = int(min(oldest)[0] // HOUR) * HOUR
                if hour <= sealed:
                    raise damaged(self._state_dir, "frames that were sealed are still in the database")
                sealed = hour
                waiting = [(name, key) for time, name, key in oldest if time < hour + HOUR]
                while waiting:
                    waiting = self._seal_file(connection, store, hour, waiting, last)

    def _seal_file(
        self, connection: sqlite3.Connection, store: str, hour: int, waiting: list[tuple[str, int]], last: int
    ) -> list[tuple[str, int]]:
        """Seal the first of the waiting controllers into one file; the others."""
        from collector.store.parquet import FileBuilder, release_memory

        path = files.new_path(self._state_dir, hour)
        builder = FileBuilder(files.temporary(path))
        try:
            done = frames = 0
            for name, key in waiting:
                if not self._go_on():
                    raise Stopped
                frames += self._add_controller(connection, builder, name, key, hour, last)
                done += 1
                if builder.samples >= _FILE_SAMPLES or frames >= _FILE_FRAMES:
                    break
            first, final = waiting[0][0], waiting[done - 1][0]
            sealed = builder.close(store=store, hour=hour, first=first, final=final, last_frame=last)
            self._hook("seal: file written")
        except BaseException:
            # The first error is the one to tell; what is left behind is deleted on the next start.
            with suppress(OSError):
                builder.abandon()
            with suppress(OSError):
                files.temporary(path).unlink(missing_ok=True)
            raise
        files.settle(path, self._hook)
        self._record(path, sealed)
        self._hook("seal: recorded")
        release_memory()
        return waiting[done:]

    def _add_controller(
        self, connection: sqlite3.Connection, builder: FileBuilder, name: str, key: int, hour: int, last: int
    ) -> int:
        """Add a controller's samples of the hour; how many frames they came in."""
        given = {"controller": key, "start": hour, "end": hour + HOUR, "last": last}
        rows = connection.execute(sql.FRAMES_TO_SEAL, given).fetchall()

        def sensors_of(layout: int) -> tuple[Sensor, ...]:
            packed = connection.execute(sql.LAYOUT, (layout,)).fetchone()
            if packed is None:
                raise ValueError(f"layout {layout} is missing")
            return codec.unpack_sensors(packed[0])

        try:
            for column in columns(rows, sensors_of):
                builder.add(name, column)
        except (ValueError, zlib.error, msgspec.MsgspecError) as error:
            raise damaged(self._state_dir, f"readings of controller {name} can't be sealed: {error}") from error
        return len(rows)
