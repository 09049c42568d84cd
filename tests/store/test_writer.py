"""The writer: batches, back-pressure, disks that can't take it."""

from __future__ import annotations

import asyncio
import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.settings import StoreSettings
from collector.store.errors import StoreFull, StoreLocked
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.store.invented import NOON, Clock, assessed, condition, done, event, frame, part, sensor, walk, writer


async def until(true: Callable[[], bool]) -> None:
    """Wait for a fact; the test's own time limit is the runner's."""
    while not true():
        await asyncio.sleep(0.005)


class Gate:
    """A hook that holds the writer's thread at a step while it is shut."""

    def __init__(self, step: str) -> None:
        self._step = step
        self.open = threading.Event()
        self.open.set()

    def __call__(self, step: str) -> None:
        if step == self._step:
            self.open.wait()


async def test_updates_gather_into_one_batch(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1", batch_seconds=3600) as opened:
        for step in range(10):
            await opened.put(walk("c1", NOON) if step == 0 else done("c1", NOON + step, 1.0))
        assert opened.statistics().kept == 0
        await opened.flush()
        statistics = opened.statistics()
    assert (statistics.accepted, statistics.kept, statistics.batches, statistics.queued) == (10, 10, 1, 0)
    assert statistics.last_error is None


async def test_a_full_batch_is_written_without_waiting(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1", batch_seconds=3600, batch_updates=4) as opened:
        for step in range(4):
            await opened.put(assessed("c1", events=(event("c1", NOON + step),)))
        await until(lambda: opened.statistics().kept == 4)


async def test_what_gathers_is_written_after_the_batch_time(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1", batch_seconds=0.01) as opened:
        await opened.put(walk("c1", NOON))
        await until(lambda: opened.statistics().kept == 1)


async def test_put_waits_while_the_queue_is_full_and_loses_nothing(tmp_path: Path) -> None:
    gate = Gate("batch: begun")
    opened = writer(tmp_path, "c1", queue_size=3, batch_updates=2, hook=gate)
    gate.open.clear()
    try:
        assert all(opened.offer(assessed("c1", events=(event("c1", NOON + step),))) for step in range(3))
        assert not opened.offer(assessed("c1", events=(event("c1", NOON + 3),)))
        putting = [
            asyncio.create_task(opened.put(assessed("c1", events=(event("c1", NOON + step),)))) for step in (3, 4)
        ]
        await until(lambda: opened.statistics().waiting == 2)
        putting[1].cancel()
        await asyncio.wait(putting[1:])
        assert not putting[0].done()
        gate.open.set()
        await putting[0]
        await opened.flush()
        assert opened.statistics().waits >= 2
    finally:
        gate.open.set()
        await opened.aclose()
    with Reader(tmp_path) as reader:
        assert [told.time - NOON for told in reader.events()] == [3, 2, 1, 0]


async def test_flush_of_nothing_returns(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await opened.flush()
        await opened.flush()


async def test_closing_writes_what_is_left_and_may_be_done_twice(tmp_path: Path) -> None:
    opened = writer(tmp_path, "c1", batch_seconds=3600)
    await opened.put(walk("c1", NOON))
    await opened.aclose()
    await opened.aclose()
    with Reader(tmp_path) as reader:
        assert len(reader.readings()) == 1
    for use in (opened.put(walk("c1", NOON)), opened.flush()):
        with pytest.raises(ValueError, match="closed"):
            await use
    with pytest.raises(ValueError, match="closed"):
        opened.controllers([])


async def test_a_clean_stop_leaves_one_database_file(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["collector.lock", DATABASE]


async def test_misuse_is_told_at_once(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        with pytest.raises(ValueError, match="c9"):
            await opened.put(walk("c9", NOON))
        with pytest.raises(ValueError, match="before any inventory"):
            await opened.put(done("c1", NOON, 1.0))
        await opened.put(walk("c1", NOON, sensor("c1", "a"), sensor("c1", "b")))
        with pytest.raises(ValueError, match="1 values, its layout has 2"):
            await opened.put(done("c1", NOON, 1.0))
        with pytest.raises(ValueError, match="no time"):
            await opened.put(done("c1", NOON, 1.0, frame=frame(float("nan"), 1.0, 2.0)))
        assert opened.statistics().accepted == 1


async def test_a_layout_known_from_an_earlier_run_is_enough_for_a_round(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON))
    async with writer(tmp_path, "c1") as opened:
        await opened.put(done("c1", NOON + 30, 5.0))
    with Reader(tmp_path) as reader:
        assert reader.readings()[0].value == 5.0


async def test_an_idle_writer_still_shows_life(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.store.intake.HEARTBEAT", 0.01)
    clock = Clock()
    async with writer(tmp_path, now=clock):
        with Reader(tmp_path) as reader:
            clock.time = NOON + 77

            def beat() -> bool:
                mark = reader.collector()
                return mark is not None and mark.heartbeat == NOON + 77

            await until(beat)


async def test_a_full_disk_is_told_and_nothing_is_lost(tmp_path: Path) -> None:
    opened = writer(tmp_path, "c1")
    await opened.put(walk("c1", NOON))
    await opened.flush()
    await asyncio.wrap_future(opened._intake.submit(lambda: limit_pages(opened._connection, 0)))
    text = "x" * 100_000
    await opened.put(assessed("c1", events=(event("c1", NOON, text),)))
    with pytest.raises(StoreFull, match="no space left") as caught:
        await opened.flush()
    assert str(tmp_path) in str(caught.value)
    assert isinstance(caught.value.__cause__, sqlite3.OperationalError)
    await opened.put(done("c1", NOON + 30, 3.0))
    statistics = opened.statistics()
    assert (statistics.kept, statistics.queued) == (1, 2)
    assert statistics.retries >= 1
    assert "no space left" in (statistics.last_error or "")
    with Reader(tmp_path) as reader:
        assert reader.readings()[0].value == 0.0  # what was kept can still be read
        await asyncio.wrap_future(opened._intake.submit(lambda: limit_pages(opened._connection, 2**30)))
        await opened.flush()
        assert opened.statistics().last_error is None
        assert [told.text for told in reader.events()] == [text]
        assert reader.readings()[0].value == 3.0
        assert reader.controllers()[0].rounds == 1  # counted once, however often it was tried
    await opened.aclose()


def limit_pages(connection: sqlite3.Connection, most: int) -> None:
    """https://sqlite.org/pragma.html#pragma_max_page_count: never below what the database has."""
    connection.execute(f"PRAGMA max_page_count = {max(most, 1)}")


async def test_closing_on_a_full_disk_says_what_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.store.intake._CLOSING", 0.0)
    opened = writer(tmp_path, "c1", batch_seconds=3600)
    await opened.flush()
    await asyncio.wrap_future(opened._intake.submit(lambda: limit_pages(opened._connection, 0)))
    await opened.put(assessed("c1", events=(event("c1", NOON, "x" * 100_000),)))
    with pytest.raises(StoreFull, match="the last 1 updates are lost"):
        await opened.aclose()
    async with writer(tmp_path, "c1"):  # the directory is free again
        pass


async def test_a_database_held_by_another_program_is_waited_for(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await asyncio.wrap_future(opened._intake.submit(lambda: None))  # the thread is past its start
        opened._connection.execute("PRAGMA busy_timeout = 1")
        other = sqlite3.connect(tmp_path / DATABASE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        await opened.put(walk("c1", NOON))
        with pytest.raises(StoreLocked, match="another process holds the database"):
            await opened.flush()
        other.execute("ROLLBACK")
        other.close()
        await opened.flush()
        assert opened.statistics().kept == 1


async def test_an_update_that_cannot_be_kept_does_not_hold_up_the_others(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1", batch_seconds=3600) as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(assessed("c1", events=(event("c1", 2**70),)))  # more than an SQL integer takes
        await opened.put(done("c1", NOON + 60, 2.0))
        await opened.flush()
        statistics = opened.statistics()
        assert (statistics.kept, statistics.refused, statistics.queued) == (2, 1, 0)
        assert "controller c1 was refused" in (statistics.last_error or "")
        with Reader(tmp_path) as reader:
            assert reader.readings()[0].value == 2.0
            assert reader.controllers()[0].rounds == 1


def test_a_second_collector_is_refused_naming_the_first(tmp_path: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert holder.stdin is not None
    assert holder.stdout is not None
    try:
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(StoreLocked, match=f"process {holder.pid}") as caught:
            Writer(tmp_path, StoreSettings(), now=Clock())
        assert str(tmp_path) in str(caught.value)
        assert "\n" not in str(caught.value)
    finally:
        holder.stdin.close()
        holder.kill()  # a lock must not outlive a killed collector
        holder.wait()
        holder.stdout.close()
    opened = Writer(tmp_path, StoreSettings(), now=Clock())
    asyncio.run(opened.aclose())


_HOLD = """
import sys, time
from pathlib import Path
from collector.settings import StoreSettings
from collector.store.writer import Writer
Writer(Path(sys.argv[1]), StoreSettings(), now=time.time)
print("open", flush=True)
sys.stdin.read()
"""


async def test_the_same_walk_twice_writes_no_part_and_no_layout_again(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(walk("c1", NOON + 900))
        await opened.put(walk("c1", NOON + 1800, sensor("c1", "other"), parts=(part("c1"), part("c1", "New"))))
        await opened.put(walk("c1", NOON + 2700))
        await opened.flush()
        with Reader(tmp_path) as reader:
            assert [each.sensor for each in reader.sensors("c1")] == ["inlet"]
            assert len(reader.parts("c1")) == 1
        count = opened._connection.execute("SELECT count(*) FROM layouts").fetchone()
        assert count == (2,)


async def test_a_write_that_fails_forgets_what_it_had_counted(tmp_path: Path) -> None:
    """A batch in which the last statement fails leaves neither rows nor counters behind."""
    failing = True

    def hook(step: str) -> None:
        if failing and step == "batch: written":
            raise sqlite3.OperationalError("disk I/O error")

    failing = False
    async with writer(tmp_path, "c1", hook=hook) as opened:
        await opened.put(walk("c1", NOON))
        await opened.flush()
        failing = True
        await opened.put(done("c1", NOON + 30, 1.0))
        await opened.put(assessed("c1", opened=(condition("c1"),)))
        with pytest.raises(Exception, match="disk I/O error"):
            await opened.flush()
        with Reader(tmp_path) as reader:
            assert reader.conditions() == []
            failing = False
            await opened.flush()
            assert reader.conditions() == [condition("c1")]
            assert reader.controllers()[0].rounds == 1
            assert len(reader.history("c1", part("c1").id, "inlet", NOON, NOON + 99).times) == 2


def test_the_writer_thread_dies_with_its_process(tmp_path: Path) -> None:
    """A collector that is not closed (an error on the way up) must not hang."""
    program = _HOLD.replace("sys.stdin.read()", "")
    finished = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, env=os.environ, check=False
    )
    assert (finished.returncode, finished.stdout) == (0, "open\n")
