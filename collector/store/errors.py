"""What can go wrong with a state directory, and the border at which foreign errors become ours.

::

    StoreError              nothing else leaves the store because of the world
    ├── StoreMissing        there is no state here
    ├── StoreOlder          written by an older version; a collector brings it up to date
    ├── StoreNewer          written by a newer version
    ├── StoreLocked         another process holds it
    ├── StoreFull           no space left
    ├── StoreDenied         this user may not read or write it
    └── StoreDamaged        a file in it can't be read as what it should be

Every message is one line: the state directory, what is wrong, what to do next. Misuse by the caller (an unknown
controller, a frame that does not fit its layout) is a ``ValueError`` instead.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class StoreError(Exception):
    """A state directory can't be used as asked."""

    def __init__(self, state_dir: Path, problem: str, advice: str) -> None:
        self.state_dir = state_dir
        self.problem = problem
        self.advice = advice
        super().__init__(f"{_one_line(str(state_dir))}: {_one_line(problem)}; {_one_line(advice)}")


class StoreMissing(StoreError):
    """There is no state in the directory."""


class StoreOlder(StoreError):
    """The state was written by an older version and this reader can't migrate it."""


class StoreNewer(StoreError):
    """The state was written by a newer version."""


class StoreLocked(StoreError):
    """Another process holds the state directory or its database."""


class StoreFull(StoreError):
    """No space is left for the state."""


class StoreDenied(StoreError):
    """This user may not read or write the state."""


class StoreDamaged(StoreError):
    """A file of the state can't be read as what it should be."""


_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_DENIED = {errno.EACCES, errno.EPERM, errno.EROFS}


def from_sqlite(state_dir: Path, error: sqlite3.Error) -> StoreError:
    """Our error for SQLite's (result codes: https://sqlite.org/rescode.html)."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = -1 if code is None else code & 0xFF
    if primary == sqlite3.SQLITE_FULL:
        return StoreFull(state_dir, "the database can't grow: no space left", "free some space on its disk")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreLocked(
            state_dir, "another process holds the database", "close whatever else has sledkeeper.db open for writing"
        )
    if primary in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return StoreDenied(
            state_dir, f"the database can't be opened or written: {error}", "check owner and mode of the directory"
        )
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or isinstance(error, sqlite3.DatabaseError):
        return damaged(state_dir, f"the database can't be used: {error}")
    return StoreError(state_dir, f"the database failed: {error}", "look at the cause and start again")


def is_worldly(error: Exception) -> bool:
    """Whether the state of disk and files is to blame, so that the same write may succeed later.

    Python gives what an application got wrong (a value out of range, a broken constraint) other classes.
    """
    return isinstance(error, sqlite3.OperationalError) or type(error) is sqlite3.DatabaseError


def from_os(state_dir: Path, error: OSError) -> StoreError:
    """Our error for the operating system's."""
    reason = error.strerror or str(error)
    where = f"{error.filename}: " if error.filename and str(error.filename) != str(state_dir) else ""
    if error.errno in _FULL:
        return StoreFull(state_dir, f"{where}{reason}", "free some space on its disk")
    if error.errno in _DENIED:
        return StoreDenied(state_dir, f"{where}{reason}", "check owner and mode of the directory")
    return StoreError(state_dir, f"{where}{reason}", "check that it is a directory on a working disk")


def damaged(state_dir: Path, problem: str) -> StoreDamaged:
    """Damage, with the advice that holds for every kind of it."""
    return StoreDamaged(
        state_dir, problem, "move the directory aside (or restore a copy) and start the collector on a fresh one"
    )


@contextmanager
def translated(state_dir: Path) -> Iterator[None]:
    """Turn what SQLite and the operating system raise inside into a :class:`StoreError` with its cause."""
    try:
        yield
    except sqlite3.Error as error:
        raise from_sqlite(state_dir, error) from error
    except OSError as error:
        raise from_os(state_dir, error) from error


def _one_line(text: str) -> str:
    return " ".join(text.split())
