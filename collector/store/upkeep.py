"""What is done beside the writing, once a minute: sealing full hours, and forgetting what is too old.

Both read on a thread of their own and change the database only through short jobs on the writer's thread, so that a
batch never waits long.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from collector.model import Seconds
from collector.store import files
from collector.store.archive import Archive
from collector.store.errors import StoreError, translated
from collector.store.files import HOUR
from collector.store.sealing import SealingPass, Stopped

if TYPE_CHECKING:
    from collector.store.parquet import Sealed

_PAUSE = 60.0
"""Seconds between two passes."""

DAY = 86400.0

_CHUNK = 2000
"""Rows deleted in one transaction."""


class Keeping(Protocol):
    """What is kept for how long; ``collector.settings.StoreSettings`` is one."""

    @property
    def hot_hours(self) -> int:
        """Full hours kept in the database besides the current one."""

    @property
    def retention_days(self) -> float:
        """Days that sealed hours, retired controllers, and what is closed, ended, settled or only told are kept."""


class Submit(Protocol):
    """Runs a job in a transaction on the writer's thread."""

    def __call__(self, work: Callable[[], Any]) -> Future[Any]:
        """Hand it over."""


class UpkeepStatistics(NamedTuple):
    """What was done since the writer was opened."""

    files: int
    samples: int
    forgotten: int
    """Sealed files deleted for their age."""
    error: str | None
    """Why the newest pass failed; None when it went well."""


class Upkeep:
    """The thread and its passes."""

    def __init__(
        self,
        state_dir: Path,
        settings: Keeping,
        now: Callable[[], Seconds],
        archive: Archive,
        submit: Submit,
        hook: Callable[[str], None],
    ) -> None:
        self._state_dir = state_dir
        self._settings = settings
        self._now = now
        self._archive = archive
        self._submit = submit
        self._hook = hook
        self._one_pass = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="store-upkeep", daemon=True)
        self._files = self._samples = self._forgotten = 0
        self._error: StoreError | None = None

    def start(self) -> None:
        """Start the passes, the first one a pause from now: starting has better things to do."""
        self._thread.start()

    def stop(self) -> None:
        """Have a pass that goes on stop, and wait for it. Harmless when done twice."""
        self._stopping.set()
        self._thread.join()

    def statistics(self) -> UpkeepStatistics:
        """A snapshot of what was done."""
        error = None if self._error is None else str(self._error)
        return UpkeepStatistics(self._files, self._samples, self._forgotten, error)

    def _run(self) -> None:
        while not self._stopping.wait(_PAUSE):
            try:
                self.run_once()
            except StoreError:
                continue  # told in the statistics, tried again after the pause

    def run_once(self) -> None:
        """One pass; raises the :class:`~collector.store.errors.StoreError` that stopped it."""
        with self._one_pass:
            try:
                with translated(self._state_dir):
                    self._seal()
                    self._forget()
            except StoreError as error:
                self._error = error
                raise
            except Stopped:
                return
            self._error = None

    def _seal(self) -> None:
        current = self._now() // HOUR
        before = (current - self._settings.hot_hours) * HOUR
        SealingPass(self._state_dir, self._record, lambda: not self._stopping.is_set(), self._hook).run(before)

    def _record(self, path: Path, sealed: Sealed) -> None:
        name, size = files.recorded_name(self._state_dir, path), path.stat().st_size
        self._submit(lambda: self._archive.record(name, size, sealed)).result()
        self._files += 1
        self._samples += sealed.samples

    def _forget(self) -> None:
        limit = self._now() - self._settings.retention_days * DAY
        names = self._submit(lambda: self._archive.forget_sealed(limit - HOUR)).result()
        self._hook("forget: records gone")
        for name in names:
            files.remove(self._state_dir, name)
            self._forgotten += 1
        archive = self._archive
        for forget in (
            archive.forget_events,
            archive.forget_conditions,
            archive.forget_stays,
            archive.forget_requests,
            archive.forget_answers,
        ):
            chunk = partial(forget, limit, _CHUNK)
            while not self._stopping.is_set() and self._submit(chunk).result() == _CHUNK:
                pass
        self._submit(lambda: self._archive.forget_leftovers(limit)).result()
