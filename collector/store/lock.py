"""One collector a state directory: an advisory lock that the operating system gives back when the process ends."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from collector.store.errors import StoreLocked, from_os

LOCK = "collector.lock"


class DirectoryLock:
    """Holds the directory from construction to :meth:`release`; raises ``StoreLocked`` naming the other's pid."""

    def __init__(self, state_dir: Path) -> None:
        try:
            self._file = os.open(state_dir / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise from_os(state_dir, error) from error
        try:
            self._take(state_dir)
        except BaseException:
            os.close(self._file)
            raise

    def _take(self, state_dir: Path) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            pid = os.pread(self._file, 32, 0).decode("ascii", "replace").strip() or "unknown"
            raise StoreLocked(
                state_dir,
                f"another collector (process {pid}) uses this directory",
                "stop it, or give this one another --state",
            ) from error
        except OSError as error:
            raise from_os(state_dir, error) from error
        try:
            os.ftruncate(self._file, 0)
            os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)
        except OSError as error:
            raise from_os(state_dir, error) from error

    def release(self) -> None:
        """Give it back; harmless when done twice."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
