"""The hand-over between the event loop and the writer's thread: a bounded queue, jobs, and when to write.

What is handed over gathers for ``batch_seconds``, or until a batch is full. A batch that can't be written is held and
tried again with a growing pause; meanwhile the queue fills, and when it is full the givers wait.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, Generic, NamedTuple, TypeVar

from collector.model import Update

T = TypeVar("T")

HEARTBEAT = 4.0
"""Seconds between two writes of an idle writer: five are promised, one is for a slow disk."""

_FIRST_PAUSE, _LONGEST_PAUSE = 0.5, 30.0
"""Seconds between two attempts of a batch that can't be written."""

_CLOSING = 5.0
"""Seconds that a closing writer keeps trying."""


_CLOSED = "the store's writer is closed"


class Job(Generic[T]):
    """Something to be done on the thread between two batches, and the future of its result."""

    def __init__(self, work: Callable[[], T]) -> None:
        self.work = work
        self.future: Future[T] = Future()


class Work(NamedTuple):
    """What the thread is to do next."""

    jobs: list[Job[Any]]
    batch: list[Update]
    """Stays the intake's until :meth:`Intake.took` says that it is kept or refused."""
    write: bool
    """Whether it is time to write, be it only the heartbeat."""


class Intake:
    """The queue between any thread that gives and the one that takes."""

    def __init__(self, queue_size: int, batch_seconds: float, batch_updates: int) -> None:
        self._size = queue_size
        self._batch_seconds = batch_seconds
        self._batch_updates = batch_updates
        self._mutex = threading.Lock()
        self._work = threading.Condition(self._mutex)
        self._queue: deque[Update] = deque()
        self._held: deque[Update] = deque()
        self._jobs: list[Job[Any]] = []
        self._room: deque[Future[None]] = deque()
        self._flushes: list[tuple[int, Future[None]]] = []
        self._due = self._beat_due = time.monotonic()
        self._pause = _FIRST_PAUSE
        self._failing = False
        self._giving = True
        self._closing_until: float | None = None
        self._ended = False
        self._cause: BaseException | None = None
        self.accepted = 0
        self.settled = 0
        """Accepted updates that were kept or refused."""
        self.waits = 0

    @property
    def queued(self) -> int:
        """Updates accepted and not settled."""
        return len(self._queue) + len(self._held)

    @property
    def waiting(self) -> int:
        """Givers that wait for room."""
        return len(self._room)

    # --- giving -----------------------------------------------------------------------------------------------------

    def offer(self, update: Update) -> bool:
        """Queue the update if there is room."""
        with self._mutex:
            self._refuse_closed()
            if self.queued >= self._size:
                return False
            self._queue.append(update)
            self.accepted += 1
            gathered = len(self._queue)
            if gathered == 1 and not self._held:
                self._due = time.monotonic() + self._batch_seconds
                self._work.notify()
            elif gathered == self._batch_updates:
                self._work.notify()
            return True

    def room(self) -> Future[None]:
        """Done when there may be room again."""
        future: Future[None] = Future()
        with self._mutex:
            self._refuse_closed()
            if self.queued < self._size:
                future.set_result(None)
            else:
                self._room.append(future)
                self.waits += 1
        return future

    def flush(self) -> Future[None]:
        """Done when all that was accepted so far is settled; fails with the next attempt that fails."""
        future: Future[None] = Future()
        with self._mutex:
            self._refuse_closed()
            self._flushes.append((self.accepted, future))
            self._work.notify()
        return future

    def submit(self, work: Callable[[], T]) -> Future[T]:
        """Have the thread do something; possible until the thread has ended."""
        job = Job(work)
        with self._mutex:
            if self._ended:
                raise ValueError(_CLOSED) from self._cause
            self._jobs.append(job)
            self._work.notify()
        return job.future

    def stop_giving(self) -> None:
        """Refuse further updates."""
        with self._mutex:
            self._giving = False

    def close(self) -> None:
        """Let the thread settle what is left and end."""
        with self._mutex:
            self._giving = False
            if self._closing_until is None:
                self._closing_until = time.monotonic() + _CLOSING
            self._work.notify()

    def _refuse_closed(self) -> None:
        if not self._giving:
            raise ValueError(_CLOSED) from self._cause

    # --- taking: the thread alone calls these -----------------------------------------------------------------------

    def take(self) -> Work | None:
        """Wait for something to do; None when it is time to end."""
        with self._mutex:
            while not self._ready():
                self._work.wait(timeout=max(0.0, self._next_due() - time.monotonic()))
            if self._closing_until is not None and not self._jobs and not self._flushes:
                given_up = self._failing and time.monotonic() >= self._closing_until
                if given_up or not self.queued:
                    return None
            jobs, self._jobs = self._jobs, []
            write = self._time_to_write()
            if write and not self._held:
                count = min(len(self._queue), self._batch_updates)
                self._held.extend(self._queue.popleft() for _ in range(count))
            return Work(jobs, list(self._held) if write else [], write)

    def _ready(self) -> bool:
        closing = self._closing_until is not None
        return bool(self._jobs) or self._time_to_write() or (closing and not self.queued)

    def _time_to_write(self) -> bool:
        if self._flushes or time.monotonic() >= self._next_due():
            return True
        hurry = self._closing_until is not None or len(self._queue) >= self._batch_updates
        return hurry and not self._failing

    def _next_due(self) -> float:
        # A failing disk is not asked more often than the pause says, not even for the heartbeat.
        return self._due if self._failing or self.queued else self._beat_due

    def took(self, count: int) -> None:
        """The first ``count`` updates of the batch are settled."""
        with self._mutex:
            for _ in range(count):
                self._held.popleft()
            self.settled += count

    def wrote(self) -> None:
        """An attempt went well."""
        with self._mutex:
            ended = time.monotonic()
            self._failing = False
            self._pause = _FIRST_PAUSE
            self._due = ended + self._batch_seconds
            self._beat_due = ended + HEARTBEAT
            done = [future for ticket, future in self._flushes if ticket <= self.settled]
            self._flushes = [(ticket, future) for ticket, future in self._flushes if ticket > self.settled]
            free = max(0, self._size - self.queued)
            self._room = deque(future for future in self._room if not future.cancelled())
            done += [self._room.popleft() for _ in range(min(free, len(self._room)))]
        for future in done:
            if future.set_running_or_notify_cancel():
                future.set_result(None)

    def failed(self, error: BaseException) -> None:
        """An attempt failed; what was not settled stays."""
        with self._mutex:
            self._failing = True
            self._due = time.monotonic() + self._pause
            self._pause = min(self._pause * 2, _LONGEST_PAUSE)
            flushes, self._flushes = self._flushes, []
        _fail([future for _, future in flushes], error)

    def end(self, cause: BaseException | None) -> None:
        """The thread ends: nobody is left waiting."""
        with self._mutex:
            self._cause = cause
            self._giving = False
            self._ended = True
            left = [job.future for job in self._jobs]
            left += [future for _, future in self._flushes]
            left += self._room
            self._jobs, self._flushes = [], []
            self._room.clear()
        _fail(left, cause or ValueError(_CLOSED))


def _fail(futures: list[Future[Any]], error: BaseException) -> None:
    for future in futures:
        if future.set_running_or_notify_cancel():
            future.set_exception(error)
