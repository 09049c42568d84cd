"""The one writer: updates in, batched transactions out, on a thread of its own.

The event loop hands updates over and goes on; the thread takes what has gathered every half second (or as soon as a
batch is full) and writes it in one transaction. When the disk can't take it, the batch stays here and is tried again,
with a growing pause; when the queue is full, ``put`` waits. Nothing is dropped silently.
"""

from __future__ import annotations

import asyncio
import math
import os
import sqlite3
import threading
import time
import uuid
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self, TypeVar

from collector.model import Care, Frame, Held, Permits, Request, Seconds, Update
from collector.store import codec, sql
from collector.store.archive import Archive
from collector.store.book import Book, Registered
from collector.store.errors import StoreError, from_os, from_sqlite, is_worldly, translated
from collector.store.intake import Intake
from collector.store.lock import DirectoryLock
from collector.store.recovery import recover
from collector.store.requests import settle
from collector.store.schema import open_for_writing
from collector.store.upkeep import DAY, Keeping, Upkeep

T = TypeVar("T")


NOTHING = Permits()


class WriterStatistics(NamedTuple):
    """How the writer does. Counts are since it was opened."""

    queued: int
    """Updates accepted and not yet written."""
    waiting: int
    """Calls of ``put`` that wait for room now."""
    accepted: int
    kept: int
    """Updates that are in the database."""
    refused: int
    """Updates that the database would not take whatever its state; the newest is named in ``last_error``."""
    waits: int
    """Times that ``put`` had to wait for room."""
    batches: int
    retries: int
    """Attempts to write that failed."""
    batch_seconds: float
    """Seconds that the newest batch took."""
    last_error: str | None
    """Why the newest attempt failed; None when it went well."""
    sealed_files: int
    sealed_samples: int
    forgotten_files: int
    """Sealed files deleted for their age."""
    upkeep_error: str | None
    """Why the newest pass of sealing and retention failed; None when it went well."""
    notes: tuple[str, ...]
    """What a person should know of what was found on opening."""


def _nothing(step: str) -> None:
    """The hook that does nothing."""


class Writer:
    """Opens (creates, migrates, locks) the state directory and keeps what it is given.

    Raises a :class:`~collector.store.errors.StoreError` when the directory can't be used. ``now`` gives epoch seconds.
    ``hook`` is called with the name of each step that a kill could separate from the next; tests kill there.

    Updates handed over must not be changed afterwards. All but :meth:`statistics` are for one event loop.
    """

    def __init__(
        self,
        state_dir: Path,
        settings: Keeping,
        *,
        now: Callable[[], Seconds],
        queue_size: int = 8192,
        batch_seconds: float = 0.5,
        batch_updates: int = 1024,
        hook: Callable[[str], None] = _nothing,
    ) -> None:
        self._state_dir = state_dir
        self._now = now
        self._hook = hook
        self._intake = Intake(queue_size, batch_seconds, batch_updates)
        self._closed: Future[None] = Future()
        self._kept = self._refused = self._batches = self._retries = 0
        self._batch_seconds = 0.0
        self._error: StoreError | None = None
        self._refusal: str | None = None

        try:
            state_dir.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise from_os(state_dir, error) from error
        self._lock = DirectoryLock(state_dir)
        try:
            self._connection = open_for_writing(state_dir)
            try:
                with translated(state_dir):
                    self._open(state_dir, settings)
                self._upkeep = Upkeep(state_dir, settings, now, self._archive, self._intake.submit, hook)
            except BaseException:
                self._connection.close()
                raise
        except BaseException:
            self._lock.release()
            raise
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()
        self._upkeep.start()

    def _open(self, state_dir: Path, settings: Keeping) -> None:
        if self._connection.execute(sql.STORE_ID).fetchone() is None:
            self._connection.execute(sql.SET_STORE_ID, (uuid.uuid4().hex,))
        self._book = Book(self._connection)
        self._book.summarise()
        self._archive = Archive(self._connection, self._book)
        self._started = self._now()
        limit = self._started - settings.retention_days * DAY
        self._notes = tuple(recover(state_dir, self._book, self._archive, limit))
        self._sizes = self._book.sizes()
        self._mark(version="", poll_interval=0.0, listen="")

    def _mark(self, *, version: str, poll_interval: float, listen: str, permits: Permits = NOTHING) -> None:
        self._connection.execute(
            sql.START,
            {
                "pid": os.getpid(),
                "version": version,
                "started": self._started,
                "heartbeat": self._now(),
                "poll_interval": poll_interval,
                "listen": listen,
                "permits": codec.to_json(permits),
            },
        )

    # --- what the collector calls -----------------------------------------------------------------------------------

    def announce(self, *, version: str, poll_interval: float, listen: str, permits: Permits = NOTHING) -> None:
        """Say in the store who collects; call it again when the address of ``listen`` is known. Blocks for a write."""

        def mark() -> None:
            self._mark(version=version, poll_interval=poll_interval, listen=listen, permits=permits)

        self._intake.submit(mark).result()

    def controllers(self, controllers: Iterable[Registered]) -> None:
        """These are the controllers from now on; earlier ones are retired and no longer shown as current.

        Call it before the first update. Blocks for a write.
        """
        registered = tuple(controllers)

        def register() -> dict[str, int | None]:
            self._book.register(registered, self._now())
            return self._book.sizes()

        self._sizes = self._intake.submit(register).result()

    def offer(self, update: Update) -> bool:
        """Hand an update over if there is room; says whether it was taken. Never blocks.

        Raises ``ValueError`` where the update does not fit what the store knows: an unknown controller, a frame that
        is not as long as its layout.
        """
        size = self._checked_size(update)
        if not self._intake.offer(update):
            return False
        self._sizes[update.controller] = size
        return True

    async def put(self, update: Update) -> None:
        """Hand an update over, waiting while the queue is full. ``ValueError`` as in :meth:`offer`."""
        while not self.offer(update):
            await asyncio.wrap_future(self._intake.room())

    async def settle(
        self,
        requests: Iterable[Request],
        begun: Iterable[Care] = (),
        ended: Iterable[int] = (),
        held: Iterable[Held] = (),
        dropped: Iterable[tuple[type[Held], str]] = (),
    ) -> None:
        """Keep what came of people's requests, what holds from now on, and what (by id) no longer does: all or nothing.

        ``held``: lit lamps, sightings, orders in hand; ``dropped``: those that no longer hold, by kind and part. A
        request that is settled already stays as it is. Raises a :class:`~collector.store.errors.StoreError`.
        """
        given = tuple(requests), tuple(begun), tuple(ended), tuple(held), tuple(dropped)
        await asyncio.wrap_future(self._intake.submit(lambda: settle(self._connection, *given)))

    async def flush(self) -> None:
        """Return when all that was accepted before is in the database.

        Raises the :class:`~collector.store.errors.StoreError` of an attempt that failed meanwhile; the updates stay
        here and are tried again.
        """
        await asyncio.wrap_future(self._intake.flush())

    async def seal(self) -> None:
        """Flush, seal the hours that are due and forget what is too old, now instead of within the next minute.

        Raises the :class:`~collector.store.errors.StoreError` that stopped it.
        """
        await self.flush()
        await asyncio.to_thread(self._upkeep.run_once)

    async def aclose(self) -> None:
        """Write what is left, mark a clean stop, let go of the directory. Closing twice is harmless.

        Raises a :class:`~collector.store.errors.StoreError` when updates could not be kept.
        """
        self._intake.stop_giving()
        await asyncio.to_thread(self._upkeep.stop)
        self._intake.close()
        await asyncio.shield(asyncio.wrap_future(self._closed))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.aclose()

    def statistics(self) -> WriterStatistics:
        """A snapshot of how it does."""
        upkeep = self._upkeep.statistics()
        return WriterStatistics(
            queued=self._intake.queued,
            waiting=self._intake.waiting,
            accepted=self._intake.accepted,
            kept=self._kept,
            refused=self._refused,
            waits=self._intake.waits,
            batches=self._batches,
            retries=self._retries,
            batch_seconds=self._batch_seconds,
            last_error=self._refusal if self._error is None else str(self._error),
            sealed_files=upkeep.files,
            sealed_samples=upkeep.samples,
            forgotten_files=upkeep.forgotten,
            upkeep_error=upkeep.error,
            notes=self._notes,
        )

    def _checked_size(self, update: Update) -> int | None:
        """Sensors in the controller's layout once this update is taken."""
        name = update.controller
        if name not in self._sizes:
            raise ValueError(f"controller {name!r} is not registered with the store; call controllers() first")
        size = self._sizes[name]
        if update.inventory is not None:
            size = len(update.inventory.layout.sensors)
            _check_frame(name, update.inventory.frame, size)
        if update.round is not None and update.round.frame is not None:
            _check_frame(name, update.round.frame, size)
        return size

    # --- the thread -------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while (work := self._intake.take()) is not None:
                for job in work.jobs:
                    self._do(job.work, job.future)
                if work.write:
                    self._write(work.batch)
            self._finish()
        except BaseException as error:  # noqa: BLE001 - whatever ends the thread must reach the one who closes it
            self._end(error)
        else:
            self._end(None)

    def _write(self, batch: list[Update]) -> None:
        """One attempt to write a batch and the heartbeat."""
        began = time.monotonic()
        try:
            try:
                self._keep(batch)
            except Exception as error:
                if is_worldly(error) or len(batch) == 0:
                    raise
                self._keep_each(batch)
        except sqlite3.Error as error:
            self._error = from_sqlite(self._state_dir, error)
            self._error.__cause__ = error
            self._retries += 1
            self._intake.failed(self._error)
        else:
            self._error = None
            self._batches += bool(batch)
            self._batch_seconds = time.monotonic() - began
            self._intake.wrote()

    def _keep(self, batch: list[Update]) -> None:
        with self._book.transaction():
            self._hook("batch: begun")
            self._book.keep(batch)
            self._connection.execute(sql.HEARTBEAT, (self._now(),))
            self._hook("batch: written")
        self._hook("batch: committed")
        self._kept += len(batch)
        self._intake.took(len(batch))

    def _keep_each(self, batch: list[Update]) -> None:
        """Something in the batch can't be kept however often it is tried: keep the others, and say what it was."""
        for update in batch:
            try:
                self._keep([update])
            except Exception as error:
                if is_worldly(error):
                    raise
                self._refusal = f"an update of controller {update.controller} was refused: {error!r}"
                self._refused += 1
                self._intake.took(1)

    def _do(self, work: Callable[[], T], future: Future[T]) -> None:
        try:
            with translated(self._state_dir), self._book.transaction():
                result = work()
        except Exception as error:  # noqa: BLE001 - goes to the caller, who waits for it
            future.set_exception(error)
        else:
            future.set_result(result)

    def _finish(self) -> None:
        """The last write: a clean stop, everything in the database file itself."""
        left = self._intake.queued
        if left:
            error = self._error or StoreError(self._state_dir, "the writer stopped early", "start the collector again")
            problem = f"the last {left} updates are lost, they could not be written: {error.problem}"
            raise type(error)(self._state_dir, problem, error.advice)
        with translated(self._state_dir):
            now = self._now()
            self._connection.execute(sql.STOP, (now, now))
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def _end(self, error: BaseException | None) -> None:
        self._intake.end(error)
        self._connection.close()
        self._lock.release()
        if error is None:
            self._closed.set_result(None)
        else:
            self._closed.set_exception(error)


def _check_frame(controller: str, frame: Frame, size: int | None) -> None:
    if size is None:
        raise ValueError(f"controller {controller!r}: a frame came before any inventory")
    if len(frame.values) != size or len(frame.healths) != size or (frame.times and len(frame.times) != size):
        raise ValueError(f"controller {controller!r}: a frame of {len(frame.values)} values, its layout has {size}")
    if not math.isfinite(frame.time):
        raise ValueError(f"controller {controller!r}: a frame at no time ({frame.time})")
