"""State directories that can't be used: each gets one clear line, no foreign exception."""

from __future__ import annotations

import asyncio
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.settings import StoreSettings
from collector.store import schema
from collector.store.errors import (
    StoreDamaged,
    StoreDenied,
    StoreError,
    StoreLocked,
    StoreMissing,
    StoreNewer,
    StoreOlder,
)
from collector.store.reader import Reader
from collector.store.schema import DATABASE, MIGRATIONS, VERSION, open_for_reading, open_for_writing
from collector.store.writer import Writer
from tests.store.invented import NOON, Clock, walk, writer


async def made(state_dir: Path) -> None:
    async with writer(state_dir, "c1") as opened:
        await opened.put(walk("c1", NOON))


def refuse(state_dir: Path, kind: type[StoreError], *words: str) -> None:
    """Both writer and reader refuse, in one line that names the directory."""
    refuse_reading(state_dir, kind, *words)
    with pytest.raises(kind) as caught:
        Writer(state_dir, StoreSettings(), now=Clock())
    tells(caught.value, state_dir, *words)


def refuse_reading(state_dir: Path, kind: type[StoreError], *words: str) -> None:
    with pytest.raises(kind) as caught:
        Reader(state_dir)
    tells(caught.value, state_dir, *words)


def tells(error: StoreError, state_dir: Path, *words: str) -> None:
    text = str(error)
    assert text.startswith(f"{state_dir}: ")
    assert "; " in text  # what to do next
    assert "\n" not in text
    assert all(word in text for word in words), text


def change(state_dir: Path, statement: str) -> None:
    connection = sqlite3.connect(state_dir / DATABASE)
    connection.execute(statement)
    connection.commit()
    connection.close()


def test_nothing_there(tmp_path: Path) -> None:
    refuse_reading(tmp_path / "none", StoreMissing, "no collector state")
    refuse_reading(tmp_path, StoreMissing, "start a collector")
    (tmp_path / DATABASE).touch()
    refuse_reading(tmp_path, StoreMissing)
    assert not (tmp_path / "none").exists()  # a reader makes nothing


async def test_a_newer_version(tmp_path: Path) -> None:
    await made(tmp_path)
    change(tmp_path, f"PRAGMA user_version = {VERSION + 1}")
    refuse(tmp_path, StoreNewer, f"version {VERSION + 1}", "newer sledkeeper")


async def test_an_older_version_is_told_by_readers_and_migrated_by_the_writer(tmp_path: Path) -> None:
    await made(tmp_path)
    later = (*MIGRATIONS, "ALTER TABLE parts ADD COLUMN seen REAL; UPDATE parts SET seen = 5")
    with pytest.raises(StoreOlder) as caught:
        open_for_reading(tmp_path, len(later))
    tells(caught.value, tmp_path, f"version {VERSION}", "start the collector on it once")
    connection = open_for_writing(tmp_path, later)
    try:
        assert connection.execute("SELECT id, seen FROM parts").fetchall() == [("c1:/redfish/v1/Chassis/Sled", 5.0)]
        assert connection.execute("PRAGMA user_version").fetchone() == (VERSION + 1,)
    finally:
        connection.close()
    refuse(tmp_path, StoreNewer)


def test_every_version_on_the_way_leads_to_the_same_tables(tmp_path: Path) -> None:
    def tables(connection: sqlite3.Connection) -> list[tuple[str, str]]:
        return connection.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()

    extra = "CREATE TABLE later (id INTEGER PRIMARY KEY); CREATE INDEX later_at ON later (id)"
    every = (*MIGRATIONS, extra)
    found = []
    for version in range(len(every) + 1):
        folder = tmp_path / str(version)
        folder.mkdir()
        open_for_writing(folder, every[:version]).close()
        connection = open_for_writing(folder, every)
        found.append(tables(connection))
        connection.close()
    assert found[1:] == found[:-1]
    assert any(name == "later" for name, _ in found[0])


async def test_a_migration_that_fails_leaves_the_version_it_came_from(tmp_path: Path) -> None:
    await made(tmp_path)
    broken = (*MIGRATIONS, "CREATE TABLE half (id INTEGER); INSERT INTO nowhere VALUES (1)")
    with pytest.raises(StoreError) as caught:
        open_for_writing(tmp_path, broken)
    assert isinstance(caught.value.__cause__, sqlite3.OperationalError)
    with Reader(tmp_path) as reader:
        assert len(reader.parts()) == 1
    connection = open_for_writing(tmp_path)
    assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'half'").fetchone() == (0,)
    connection.close()


def test_a_file_that_is_no_database(tmp_path: Path) -> None:
    text = b"not a database at all, but long enough to be read as one" * 20
    (tmp_path / DATABASE).write_bytes(text)
    refuse(tmp_path, StoreDamaged, "move the directory aside")
    assert (tmp_path / DATABASE).read_bytes() == text  # nobody's file is overwritten


def test_somebody_elses_database(tmp_path: Path) -> None:
    change(tmp_path, "CREATE TABLE theirs (a)")
    with pytest.raises(StoreDamaged, match="not sledkeeper's"):
        Writer(tmp_path, StoreSettings(), now=Clock())


async def test_a_damaged_page(tmp_path: Path) -> None:
    await made(tmp_path)
    size = (tmp_path / DATABASE).stat().st_size
    with (tmp_path / DATABASE).open("r+b") as file:
        file.seek(4096)
        file.write(os.urandom(size - 4096))
    with Reader(tmp_path) as reader, pytest.raises(StoreDamaged) as caught:
        reader.parts()
    tells(caught.value, tmp_path, "move the directory aside")


@pytest.mark.parametrize(
    ("statement", "call"),
    [
        ("UPDATE parts SET record = '{\"id\": 1}'", "parts"),
        ("UPDATE statuses SET record = 'x'", "statuses"),
        ("UPDATE layouts SET sensors = x'00'", "sensors"),
        ("UPDATE layouts SET sensors = x'00'", "readings"),
        ("UPDATE rounds SET outcome = 'splendid'", "controllers"),
        ("UPDATE controllers SET location = '[]'", "controllers"),
    ],
)
async def test_a_record_that_cannot_be_read(tmp_path: Path, statement: str, call: str) -> None:
    await made(tmp_path)
    change(tmp_path, statement)
    with Reader(tmp_path) as reader, pytest.raises(StoreDamaged) as caught:
        getattr(reader, call)()
    tells(caught.value, tmp_path, "can't be read" if call != "controllers" else "")


def test_a_file_where_the_directory_should_be(tmp_path: Path) -> None:
    path = tmp_path / "state"
    path.write_text("")
    refuse_reading(path, StoreError)
    with pytest.raises(StoreError) as caught:
        Writer(path, StoreSettings(), now=Clock())
    tells(caught.value, path)


async def test_a_lock_held_in_the_same_process(tmp_path: Path) -> None:
    async with writer(tmp_path):
        with pytest.raises(StoreLocked, match=f"process {os.getpid()}"):
            Writer(tmp_path, StoreSettings(), now=Clock())


async def test_a_database_locked_while_opening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    await made(tmp_path)
    other = sqlite3.connect(tmp_path / DATABASE, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    monkeypatch.setattr(schema, "BUSY_SECONDS", 0.01)
    with pytest.raises(StoreLocked) as caught:
        Writer(tmp_path, StoreSettings(), now=Clock())
    tells(caught.value, tmp_path, DATABASE)
    other.close()
    async with writer(tmp_path):  # nothing is left locked by the failure
        pass


# --- a directory of somebody else ---------------------------------------------------------------------------------


@pytest.fixture
def open_path() -> Iterator[Path]:
    """A folder that everybody may enter; pytest's own are closed to others."""
    with tempfile.TemporaryDirectory(prefix="store-") as folder:
        path = Path(folder)
        path.chmod(0o755)
        yield path


async def test_a_directory_that_may_only_be_read(open_path: Path) -> None:
    state = open_path / "state"
    await made(state)
    answers = as_somebody_else(state, 0o555)
    assert answers["reader"] == "1 parts"
    assert answers["writer"].startswith(f"StoreDenied: {state}: ")
    assert "Permission denied" in answers["writer"]


async def test_a_directory_that_may_not_be_read(open_path: Path) -> None:
    state = open_path / "state"
    await made(state)
    answers = as_somebody_else(state, 0o000)
    for who in ("reader", "writer"):
        assert answers[who].startswith(f"StoreDenied: {state}: ")


async def test_a_directory_left_by_a_kill_that_may_only_be_read(open_path: Path) -> None:
    """A log that was not taken into the database can't be left out: that would show an older state as the current."""
    state, copy = open_path / "state", open_path / "copy"
    async with writer(state, "c1") as opened:
        await opened.put(walk("c1", NOON))
        await opened.flush()
        shutil.copytree(state, copy, ignore=shutil.ignore_patterns("*-shm"))
    answers = as_somebody_else(copy, 0o555)
    assert answers["reader"].startswith("StoreDenied")


def as_somebody_else(state: Path, mode: int) -> dict[str, str]:
    """What a user without rights sees: a process that gave up root's, or plain modes where we are not root."""
    inside = [path for path in state.rglob("*") if path.is_file()]
    for path in (*inside, state):
        path.chmod(mode)
    try:
        finished = subprocess.run(
            [sys.executable, "-c", _SOMEBODY, str(state)], capture_output=True, text=True, check=False
        )
    finally:
        state.chmod(0o755)
    assert finished.returncode == 0, finished.stderr
    return dict(line.split("=", 1) for line in finished.stdout.splitlines())


_SOMEBODY = """
import os, sys, time
from pathlib import Path
from collector.store.errors import StoreError
from collector.store.reader import Reader
from collector.store.writer import Writer
from collector.settings import StoreSettings
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
state = Path(sys.argv[1])
try:
    print(f"reader={len(Reader(state).parts())} parts")
except StoreError as error:
    print(f"reader={type(error).__name__}: {error}")
try:
    Writer(state, StoreSettings(), now=time.time)
    print("writer=open")
except StoreError as error:
    print(f"writer={type(error).__name__}: {error}")
"""


def test_denied_is_an_error_of_the_store() -> None:
    assert issubclass(StoreDenied, StoreError)


def test_closing_does_not_need_the_loop_that_opened(tmp_path: Path) -> None:
    opened = Writer(tmp_path, StoreSettings(), now=Clock())
    asyncio.run(opened.aclose())
