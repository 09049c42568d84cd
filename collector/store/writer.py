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
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Protocol, Self, TypeVar

from collector.model import Frame, Seconds, Update
from collector.store import sql
from collector.store.book import Book, Registered
from collector.store.errors import StoreError, from_os, from_sqlite
from collector.store.lock import DirectoryLock
from collector.store.schema import open_for_writing

T = TypeVar("T")

HEARTBEAT = 5.0
"""Seconds between two marks of life of an idle writer."""

_FIRST_PAUSE, _LONGEST_PAUSE = 0.5, 30.0
"""Seconds between two attempts of a batch that can't be written."""

_CLOSING = 5.0
"""Seconds that a closing writer keeps trying."""


class Keeping(Protocol):
    """What is kept for how long; ``collector.settings.StoreSettings`` is one."""

    @property
    def hot_hours(self) -> int:
        """Full hours kept in the database besides the current one."""

    @property
    def retention_days(self) -> float:
        """Days that sealed hours, closed conditions and events are kept."""


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
    """Updates that the database would not take by themselves, whatever its state; named in ``last_error``."""
    waits: int
    """Calls of ``put`` that had to wait for room."""
    batches: int
    retries: int
    """Attempts of a batch that failed."""
    batch_seconds: float
    """Seconds that the newest batch took."""
    last_error: str | None
    """Why the newest attempt failed; None when it went well."""


def _nothing(step: str) -> None:
    """The hook that does nothing."""


class Writer:
    """Opens (creates, migrates, locks) the state directory and keeps what it is given.

    Raises a :class:`~collector.store.errors.StoreError` when the directory can't be used. ``now`` gives epoch seconds.
    ``hook`` is called with the name of each step that a kill could separate from the next; tests kill there.

    Updates handed over must not be changed afterwards.
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
        self._settings = settings
        self._now = now
        self._queue_size = queue_size
        self._batch_seconds = batch_seconds
        self._batch_updates = batch_updates
        self._hook = hook

        self._mutex = threading.Lock()
        self._work = threading.Condition(self._mutex)
        self._queue: deque[Update] = deque()
        self._held: list[Update] = []
        self._jobs: deque[tuple[Callable[[], None], Callable[[BaseException], None]]] = deque()
        self._room: deque[Future[None]] = deque()
        self._flushes: list[tuple[int, Future[None]]] = []
        self._closing_until: float | None = None
        self._closed: Future[None] = Future()
        self._accepted = self._kept = self._refused = self._waits = self._batches = self._retries = 0
        self._batch_took = 0.0
        self._error: StoreError | None = None
        self._last_refusal: str | None = None
        self._due = self._beat_due = time.monotonic()
        self._pause = _FIRST_PAUSE

        try:
            state_dir.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise from_os(state_dir, error) from error
        self._lock = DirectoryLock(state_dir)
        try:
            self._connection = open_for_writing(state_dir)
            self._open()
        except BaseException:
            self._lock.release()
            raise
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def _open(self) -> None:
        try:
            if self._connection.execute(sql.STORE_ID).fetchone() is None:
                self._connection.execute(sql.SET_STORE_ID, (uuid.uuid4().hex,))
            self._book = Book(self._connection)
            self._sizes = self._book.sizes()
            self._started = self._now()
            self._mark(version="", poll_interval=0.0, listen="")
        except sqlite3.Error as error:
            self._connection.close()
            raise from_sqlite(self._state_dir, error) from error
        except BaseException:
            self._connection.close()
            raise

    def _mark(self, *, version: str, poll_interval: float, listen: str) -> None:
        self._connection.execute(
            sql.START,
            {
                "pid": os.getpid(),
                "version": version,
                "started": self._started,
                "heartbeat": self._now(),
                "poll_interval": poll_interval,
                "listen": listen,
            },
        )

    # --- what the collector calls ---------------------------------------------------------------------------------

    def announce(self, *, version: str, poll_interval: float, listen: str) -> None:
        """Say in the store who collects; call it again when the address of ``listen`` is known. Blocks for a write."""
        self._submit(lambda: self._mark(version=version, poll_interval=poll_interval, listen=listen)).result()

    def controllers(self, controllers: Iterable[Registered]) -> None:
        """These are the controllers from now on; earlier ones are retired and no longer shown as current.

        Call it before the first update. Blocks for a write.
        """
        registered = tuple(controllers)

        def register() -> dict[str, int | None]:
            self._book.register(registered, self._now())
            return self._book.sizes()

        self._sizes = self._submit(register).result()

    def offer(self, update: Update) -> bool:
        """Hand an update over if there is room; says whether it was taken. Never blocks.

        Raises ``ValueError`` where the update does not fit what the store knows: an unknown controller, a frame that
        is not as long as its layout.
        """
        self._check(update)
        with self._mutex:
            return self._take(update)

    async def put(self, update: Update) -> None:
        """Hand an update over, waiting while the queue is full. ``ValueError`` as in :meth:`offer`."""
        self._check(update)
        waited = False
        while True:
            with self._mutex:
                if self._take(update):
                    return
                room: Future[None] = Future()
                self._room.append(room)
                self._waits += not waited
                waited = True
            await asyncio.wrap_future(room)

    async def flush(self) -> None:
        """Return when all that was accepted before is in the database.

        Raises the :class:`~collector.store.errors.StoreError` of an attempt that failed meanwhile; the updates stay
        here and are tried again.
        """
        done: Future[None] = Future()
        with self._mutex:
            self._refuse_closed()
            self._flushes.append((self._accepted, done))
            self._work.notify()
        await asyncio.wrap_future(done)

    async def aclose(self) -> None:
        """Write what is left, mark a clean stop, let go of the directory. Closing twice is harmless.

        Raises a :class:`~collector.store.errors.StoreError` when updates could not be kept.
        """
        with self._mutex:
            if self._closing_until is None:
                self._closing_until = time.monotonic() + _CLOSING
            self._work.notify()
        await asyncio.shield(asyncio.wrap_future(self._closed))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.aclose()

    def statistics(self) -> WriterStatistics:
        """A snapshot of how it does."""
        with self._mutex:
            return WriterStatistics(
                queued=len(self._queue) + len(self._held),
                waiting=len(self._room),
                accepted=self._accepted,
                kept=self._kept,
                refused=self._refused,
                waits=self._waits,
                batches=self._batches,
                retries=self._retries,
                batch_seconds=self._batch_took,
                last_error=str(self._error) if self._error is not None else self._last_refusal,
            )

    # --- handing over -----------------------------------------------------------------------------------------------

    def _check(self, update: Update) -> None:
        name = update.controller
        if name not in self._sizes:
            raise ValueError(f"controller {name!r} is not registered with the store; call controllers() first")
        if update.inventory is not None:
            size = len(update.inventory.layout.sensors)
            _check_frame(name, update.inventory.frame, size)
            self._sizes[name] = size
        if update.round is not None and update.round.frame is not None:
            _check_frame(name, update.round.frame, self._sizes[name])

    def _take(self, update: Update) -> bool:
        """Queue it if there is room; the mutex is held."""
        self._refuse_closed()
        if len(self._queue) + len(self._held) >= self._queue_size:
            return False
        self._queue.append(update)
        self._accepted += 1
        if len(self._queue) == self._batch_updates:
            self._work.notify()
        return True

    def _refuse_closed(self) -> None:
        if self._closing_until is not None:
            raise ValueError("the store's writer is closed")

    def _submit(self, job: Callable[[], T]) -> Future[T]:
        """Have the thread run a job in a transaction of its own between two batches."""
        future: Future[T] = Future()

        def run() -> None:
            future.set_result(job())

        with self._mutex:
            if self._closed.done():
                raise ValueError("the store's writer is closed")
            self._jobs.append((run, future.set_exception))
            self._work.notify()
        return future

    # --- the thread -------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while self._turn():
                pass
        except BaseException as error:  # noqa: BLE001 - whatever ends the thread must reach those who wait for it
            self._end(error)
        else:
            self._end(None)

    def _turn(self) -> bool:
        """Wait for something to do, and do it; whether to go on."""
        with self._mutex:
            self._work.wait_for(self._something_due, timeout=self._until_due())
            jobs = list(self._jobs)
            self._jobs.clear()
            if not self._held:
                count = min(len(self._queue), self._batch_updates)
                self._held = [self._queue.popleft() for _ in range(count)]
        for job, fail in jobs:
            self._do(job, fail)
        if self._held or time.monotonic() >= self._beat_due:
            self._write()
        with self._mutex:
            if self._closing_until is None:
                return True
            left = bool(self._held or self._queue)
            return left and (self._error is None or time.monotonic() < self._closing_until)

    def _something_due(self) -> bool:
        if self._jobs or self._closing_until is not None or self._flushes:
            return True
        if self._error is None and len(self._queue) >= self._batch_updates:
            return True
        return self._until_due() <= 0

    def _until_due(self) -> float:
        return min(self._due, self._beat_due) - time.monotonic()

    def _write(self) -> None:
        """One attempt to write the held batch and the heartbeat."""
        began = time.monotonic()
        try:
            self._attempt(self._held)
        except sqlite3.Error as error:
            self._failed(from_sqlite(self._state_dir, error))
        else:
            self._wrote(began)
        ended = time.monotonic()
        self._beat_due = ended + HEARTBEAT

    def _attempt(self, updates: list[Update]) -> None:
        with self._transaction():
            self._book.keep(updates)
            self._connection.execute(sql.HEARTBEAT, (self._now(),))

    def _transaction(self) -> _Transaction:
        return _Transaction(self._connection, self._book)

    def _wrote(self, began: float) -> None:
        with self._mutex:
            self._batch_took = time.monotonic() - began
            self._batches += bool(self._held)
            self._kept += len(self._held)
            self._held = []
            self._error = None
            self._pause = _FIRST_PAUSE
            self._due = time.monotonic() + self._batch_seconds
            done = [future for ticket, future in self._flushes if ticket <= self._kept]
            self._flushes = [(ticket, future) for ticket, future in self._flushes if ticket > self._kept]
            free = self._queue_size - len(self._queue)
            done += [self._room.popleft() for _ in range(min(free, len(self._room)))]
        for future in done:
            if future.set_running_or_notify_cancel():
                future.set_result(None)

    def _failed(self, error: StoreError) -> None:
        with self._mutex:
            self._error = error
            self._retries += 1
            self._due = time.monotonic() + self._pause
            self._pause = min(self._pause * 2, _LONGEST_PAUSE)
            flushes = [future for _, future in self._flushes]
            self._flushes = []
        for future in flushes:
            if future.set_running_or_notify_cancel():
                future.set_exception(error)

    def _do(self, job: Callable[[], None], fail: Callable[[BaseException], None]) -> None:
        try:
            with self._transaction():
                job()
        except sqlite3.Error as error:
            fail(from_sqlite(self._state_dir, error))
        except Exception as error:  # noqa: BLE001 - goes to the caller, who waits for it
            fail(error)

    def _end(self, error: BaseException | None) -> None:
        self._connection.close()
        self._lock.release()
        if error is not None:
            self._closed.set_exception(error)
        else:
            self._closed.set_result(None)


class _Transaction:
    """A transaction after whose failure tables and book agree again."""

    def __init__(self, connection: sqlite3.Connection, book: Book) -> None:
        self._connection = connection
        self._book = book

    def __enter__(self) -> None:
        self._connection.execute("BEGIN IMMEDIATE")

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            try:
                self._connection.execute("COMMIT")
                return
            except sqlite3.Error:
                self._undo()
                raise
        self._undo()

    def _undo(self) -> None:
        if self._connection.in_transaction:
            self._connection.execute("ROLLBACK")
        self._book.reload()


def _check_frame(controller: str, frame: Frame, size: int | None) -> None:
    if size is None:
        raise ValueError(f"controller {controller!r}: a frame came before any inventory")
    if len(frame.values) != size or len(frame.healths) != size or (frame.times and len(frame.times) != size):
        raise ValueError(f"controller {controller!r}: a frame of {len(frame.values)} values, its layout has {size}")
    if not math.isfinite(frame.time):
        raise ValueError(f"controller {controller!r}: a frame at no time ({frame.time})")
