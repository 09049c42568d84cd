"""The tables, their version, and how a database is opened.

The version stands in SQLite's ``user_version``; :data:`MIGRATIONS` holds one script a step, so a database of version
``n`` needs the scripts from ``n`` on. Each step runs in a transaction of its own, with the new version set inside it:
a kill leaves either the old version or the new one.

WAL with ``synchronous=NORMAL`` (https://sqlite.org/pragma.html#pragma_synchronous): a killed process loses nothing
that was committed. A power cut may lose the transactions since the last checkpoint (about the last 8 MB written),
never the database's consistency; sealed files are synced before their rows go, so they are not at risk.

Times are REAL epoch seconds. Whole records that nothing searches are JSON (RFC 8259) in ``record``; what a query
filters or sorts by is a column. Frames keep columns of float64 in the machine's byte order.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from collector.store import answers, fronts
from collector.store.errors import StoreMissing, StoreNewer, StoreOlder, damaged, from_os, from_sqlite

DATABASE = "sledkeeper.db"

_STATE = """
CREATE TABLE store (id TEXT NOT NULL);
CREATE TABLE collector (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    pid INTEGER NOT NULL, version TEXT NOT NULL, started REAL NOT NULL, heartbeat REAL NOT NULL, stopped REAL,
    poll_interval REAL NOT NULL, listen TEXT NOT NULL
);
CREATE TABLE controllers (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE, url TEXT NOT NULL, location TEXT NOT NULL, insecure INTEGER NOT NULL,
    retired REAL,
    product TEXT, redfish_version TEXT,
    layout INTEGER, digest BLOB
);
CREATE TABLE rounds (
    controller INTEGER PRIMARY KEY REFERENCES controllers (id),
    outcome TEXT, error TEXT NOT NULL, last_round REAL, last_good REAL, seconds REAL,
    rounds INTEGER NOT NULL, failed INTEGER NOT NULL, late INTEGER NOT NULL,
    requests INTEGER NOT NULL, bytes INTEGER NOT NULL,
    frame INTEGER
);
CREATE TABLE parts (
    controller INTEGER NOT NULL REFERENCES controllers (id), position INTEGER NOT NULL,
    id TEXT NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, position)
);
CREATE TABLE links (
    controller INTEGER NOT NULL REFERENCES controllers (id), position INTEGER NOT NULL,
    part TEXT NOT NULL, needs TEXT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (controller, position)
);
CREATE TABLE statuses (
    controller INTEGER NOT NULL REFERENCES controllers (id), part TEXT NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, part)
);
CREATE TABLE lamps (
    controller INTEGER NOT NULL REFERENCES controllers (id), part TEXT NOT NULL,
    blue TEXT NOT NULL, amber TEXT NOT NULL,
    PRIMARY KEY (controller, part)
);
CREATE TABLE rolled (
    controller INTEGER NOT NULL REFERENCES controllers (id), part TEXT NOT NULL,
    own INTEGER NOT NULL, worst INTEGER NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, part)
);
CREATE TABLE conditions (
    id TEXT NOT NULL, opened REAL NOT NULL,
    controller INTEGER NOT NULL REFERENCES controllers (id), part TEXT,
    severity INTEGER NOT NULL, closed REAL, record TEXT NOT NULL,
    PRIMARY KEY (id, opened)
);
CREATE INDEX conditions_open ON conditions (severity DESC, opened) WHERE closed IS NULL;
CREATE INDEX conditions_all ON conditions (severity DESC, opened);
CREATE INDEX conditions_of ON conditions (controller, closed);
CREATE INDEX conditions_closed ON conditions (closed) WHERE closed IS NOT NULL;
CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    time REAL NOT NULL, controller INTEGER NOT NULL REFERENCES controllers (id), part TEXT,
    subject TEXT NOT NULL, severity INTEGER NOT NULL, text TEXT NOT NULL
);
CREATE INDEX events_by_time ON events (time, id);
CREATE INDEX events_of ON events (controller, time, id);
CREATE TABLE defects (
    controller INTEGER NOT NULL REFERENCES controllers (id),
    resource TEXT NOT NULL, property TEXT NOT NULL, kind TEXT NOT NULL, detail TEXT NOT NULL,
    PRIMARY KEY (controller, resource, property, kind)
);
CREATE TABLE layouts (
    id INTEGER PRIMARY KEY,
    controller INTEGER NOT NULL REFERENCES controllers (id), digest BLOB NOT NULL,
    size INTEGER NOT NULL, sensors BLOB NOT NULL
);
CREATE INDEX layouts_of ON layouts (controller, digest);
CREATE TABLE frames (
    id INTEGER PRIMARY KEY,
    controller INTEGER NOT NULL, layout INTEGER NOT NULL,
    time REAL NOT NULL, earliest REAL NOT NULL, latest REAL NOT NULL,
    kept INTEGER NOT NULL DEFAULT 0,
    readings BLOB NOT NULL, healths BLOB NOT NULL, times BLOB
);
CREATE INDEX frames_of ON frames (controller, time);
CREATE INDEX frames_kept ON frames (controller) WHERE kept = 1;
CREATE TABLE sealed (
    id INTEGER PRIMARY KEY,
    path TEXT NOT NULL UNIQUE, hour INTEGER NOT NULL,
    first_controller TEXT NOT NULL, last_controller TEXT NOT NULL,
    earliest REAL NOT NULL, latest REAL NOT NULL,
    last_frame INTEGER NOT NULL, samples INTEGER NOT NULL, bytes INTEGER NOT NULL
);
CREATE INDEX sealed_by_time ON sealed (latest);
"""

_HEARD = """
CREATE TABLE heard (
    controller INTEGER PRIMARY KEY REFERENCES controllers (id), record BLOB NOT NULL
);
"""

_STAYS = """
CREATE TABLE stays (
    controller INTEGER NOT NULL REFERENCES controllers (id),
    position TEXT NOT NULL, since REAL NOT NULL, until REAL,
    part TEXT NOT NULL, serial TEXT, place TEXT NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, position, since)
);
CREATE INDEX stays_of_part ON stays (part);
CREATE INDEX stays_of_serial ON stays (serial) WHERE serial IS NOT NULL;
CREATE INDEX stays_ended ON stays (until) WHERE until IS NOT NULL;
"""
"""``serial`` as searched for: without blanks around it, in one case. ``place``: the location as text."""

_CARE = """
CREATE TABLE requests (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    asked_at REAL NOT NULL, who TEXT NOT NULL, verb TEXT NOT NULL, target TEXT NOT NULL, arguments TEXT NOT NULL,
    why TEXT NOT NULL, expires REAL NOT NULL, state TEXT NOT NULL, result TEXT NOT NULL, done_at REAL
);
CREATE INDEX requests_asked ON requests (id) WHERE state = 'asked';
CREATE INDEX requests_done ON requests (done_at) WHERE done_at IS NOT NULL;
CREATE TABLE care (
    id INTEGER PRIMARY KEY, until REAL, record TEXT NOT NULL
);
"""
"""What people ask for: the one table that others than the collector write, by adding rows that it carries out; and what
of it still holds. ``care.id`` is the request's."""

_CONTACTS = """
CREATE TABLE contacts (
    controller INTEGER PRIMARY KEY REFERENCES controllers (id), record TEXT NOT NULL
);
"""
"""How the contact with each controller stands."""

_HELD = """
ALTER TABLE collector ADD COLUMN permits TEXT NOT NULL DEFAULT '{}';
CREATE TABLE held (
    kind TEXT NOT NULL, part TEXT NOT NULL, until REAL, record TEXT NOT NULL,
    PRIMARY KEY (kind, part)
);
CREATE INDEX requests_taken_up ON requests (id) WHERE state = 'taken up';
"""
"""What holds of what people did: lit lamps, sightings, who has which work order, each by its part."""

_SETTINGS = """
CREATE TABLE settings (
    controller INTEGER NOT NULL REFERENCES controllers (id), position INTEGER NOT NULL, record TEXT NOT NULL,
    PRIMARY KEY (controller, position)
);
"""
"""What parts are told to keep to, in the order in which the walk found it."""

_LEARNT = """
CREATE TABLE learnt (
    controller INTEGER PRIMARY KEY REFERENCES controllers (id), record BLOB NOT NULL
);
"""
"""What assessing has learnt of each controller, at most :data:`collector.store.book.MOST_LEARNT` bytes."""

MIGRATIONS: tuple[str, ...] = (
    _STATE,
    _HEARD,
    _STAYS,
    _CARE,
    answers.TABLES,
    _CONTACTS,
    answers.FITTING,
    fronts.TABLES,
    _HELD,
    _SETTINGS,
    answers.FIGURES_KEPT,
    _LEARNT,
)
"""Script ``n`` brings a database from version ``n`` to ``n + 1``. Never change one that was released."""

VERSION = len(MIGRATIONS)

BUSY_SECONDS = 2.0
"""Seconds that a statement of the writer waits for a lock of another program's."""


def open_for_asking(state_dir: Path, version: int = VERSION) -> sqlite3.Connection:
    """Open the database to add requests of people to it, beside a running collector or without one; makes nothing.

    Raises :class:`~collector.store.errors.StoreMissing`, ``StoreOlder``, ``StoreNewer`` and the others.
    """
    path = state_dir / DATABASE
    try:
        if not path.is_file():
            raise _missing(state_dir)
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=BUSY_SECONDS
        )
    except sqlite3.Error as error:
        raise from_sqlite(state_dir, error) from error
    except OSError as error:
        raise from_os(state_dir, error) from error
    try:
        _check_version(state_dir, _version(connection), version)
        connection.execute("PRAGMA synchronous = NORMAL")
    except sqlite3.Error as error:
        connection.close()
        raise from_sqlite(state_dir, error) from error
    except BaseException:
        connection.close()
        raise
    return connection


def open_for_writing(state_dir: Path, migrations: Sequence[str] = MIGRATIONS) -> sqlite3.Connection:
    """Create or migrate the database and return the writer's connection; transactions are the caller's.

    Raises :class:`~collector.store.errors.StoreError`.
    """
    try:
        connection = sqlite3.connect(
            state_dir / DATABASE,
            isolation_level=None,
            check_same_thread=False,
            timeout=BUSY_SECONDS,
            cached_statements=256,
        )
    except sqlite3.Error as error:
        raise from_sqlite(state_dir, error) from error
    try:
        # Before the first table is made. A round of a hundred sensors and more fills a good part of the usual 4 KiB
        # page and leaves the rest empty: twice the size takes a fifth less room and writes less.
        connection.execute("PRAGMA page_size = 8192")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute("PRAGMA journal_size_limit = 67108864")
        connection.execute("PRAGMA temp_store = MEMORY")
        migrate(state_dir, connection, migrations)
    except sqlite3.Error as error:
        connection.close()
        raise from_sqlite(state_dir, error) from error
    except BaseException:
        connection.close()
        raise
    return connection


def migrate(state_dir: Path, connection: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Bring the tables to the newest version, a transaction a step.

    Raises :class:`~collector.store.errors.StoreNewer`, or what SQLite raises.
    """
    version = _version(connection)
    if version > len(migrations):
        raise _newer(state_dir, version, len(migrations))
    if version == 0 and connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise damaged(state_dir, f"{DATABASE} holds tables that are not sledkeeper's")
    for step in range(version, len(migrations)):
        try:
            connection.executescript(f"BEGIN IMMEDIATE;{migrations[step]};PRAGMA user_version = {step + 1};COMMIT;")
        except BaseException:
            if connection.in_transaction:
                connection.rollback()
            raise


class Opened(NamedTuple):
    """A connection for reading."""

    connection: sqlite3.Connection
    lasting: bool
    """Whether it sees what is written later; if not, use it once."""


def open_for_reading(state_dir: Path, version: int = VERSION) -> Opened:
    """Open the database read-only, beside a writing collector or without one.

    Raises :class:`~collector.store.errors.StoreMissing` and the others.
    """
    path = state_dir / DATABASE
    try:
        present = path.is_file() and path.stat().st_size > 0
    except OSError as error:
        raise from_os(state_dir, error) from error
    if not present:
        raise _missing(state_dir)
    lasting = True
    try:
        try:
            connection = _connect_read_only(path)
        except sqlite3.OperationalError as error:
            # A reader of a WAL database makes the index file beside it. Where it may not (another user's directory)
            # and no writer's log stands there, the file is complete in itself and may be read as it is.
            log = path.with_name(path.name + "-wal")
            may_not = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
            if not may_not or (log.exists() and log.stat().st_size):
                raise
            connection = _connect_read_only(path, "&immutable=1")
            lasting = False
    except sqlite3.Error as error:
        raise from_sqlite(state_dir, error) from error
    except OSError as error:
        raise from_os(state_dir, error) from error
    try:
        found = _version(connection)
    except sqlite3.Error as error:
        connection.close()
        raise from_sqlite(state_dir, error) from error
    try:
        _check_version(state_dir, found, version)
    except BaseException:
        connection.close()
        raise
    return Opened(connection, lasting)


def _check_version(state_dir: Path, found: int, version: int) -> None:
    if found == version:
        return
    if found > version:
        raise _newer(state_dir, found, version)
    if found == 0:  # a collector is about to make its tables, or was killed before it could
        raise _missing(state_dir)
    raise StoreOlder(
        state_dir,
        f"the state has version {found}, this program reads version {version}",
        "start the collector on it once: that brings it up to date",
    )


def _connect_read_only(path: Path, more: str = "") -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro{more}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
        timeout=5.0,
    )
    try:
        _version(connection)  # the file is opened by the first statement, not by connect
    except BaseException:
        connection.close()
        raise
    return connection


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _missing(state_dir: Path) -> StoreMissing:
    return StoreMissing(
        state_dir, "there is no collector state here", "start a collector with this --state, or name another"
    )


def _newer(state_dir: Path, found: int, version: int) -> StoreNewer:
    return StoreNewer(
        state_dir,
        f"the state has version {found}, this program knows versions up to {version}",
        "use the newer sledkeeper that wrote it, or name another --state",
    )
