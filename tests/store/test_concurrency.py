"""Readers beside a writer, and queries that stay cheap as the fleet grows."""

from __future__ import annotations

import asyncio
import re
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from collector.store import sql
from collector.store.errors import StoreError
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from tests.store.invented import HOUR, NOON, Clock, Kept, assessed, condition, done, part, walk, writer


async def test_readers_beside_a_writer_see_whole_states(tmp_path: Path) -> None:
    """Each round closes one condition and opens another: exactly one is open at any moment, and history only grows."""
    clock = Clock(NOON)
    rounds = 150
    problems: list[object] = []
    looks = [0, 0, 0]
    stop = threading.Event()
    async with writer(tmp_path, "c1", now=clock, settings=Kept(hot_hours=1), batch_seconds=0.001) as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(assessed("c1", opened=(condition("c1", "0"),)))
        await opened.flush()
        reader = Reader(tmp_path)

        def look(index: int) -> None:
            before = 0
            try:
                while not stop.is_set():
                    if len(reader.conditions()) != 1:
                        problems.append("conditions")
                    found = reader.history("c1", part("c1").id, "inlet", 0, NOON * 2)
                    if len(found.times) < before or list(found.values) != [float(n) for n in range(len(found.times))]:
                        problems.append((before, list(found.values)))
                    before = len(found.times)
                    if len(reader.readings("c1")) != 1:
                        problems.append("readings")
                    looks[index] += 1
            except StoreError as error:
                problems.append(error)

        threads = [threading.Thread(target=look, args=(index,)) for index in range(len(looks))]
        for thread in threads:
            thread.start()
        for step in range(1, rounds):
            clock.time = NOON + step * 300
            await opened.put(done("c1", clock.time, float(step)))
            closed = condition("c1", str(step - 1), closed=clock.time)
            await opened.put(assessed("c1", closed=(closed,), opened=(condition("c1", str(step)),)))
            await opened.flush()
            if step % 12 == 0:
                await opened.seal()
        while min(looks) < 5 and not problems:
            await asyncio.sleep(0.01)
        stop.set()
        for thread in threads:
            thread.join()
        assert opened.statistics().sealed_files > 5
        reader.close()
    assert problems == []


async def test_a_reader_sees_a_directory_made_anew(tmp_path: Path) -> None:
    state = tmp_path / "state"
    async with writer(state, "c1") as opened:
        await opened.put(walk("c1", NOON))
    reader = Reader(state)
    assert len(reader.parts()) == 1
    state.rename(tmp_path / "old")
    with pytest.raises(StoreError, match="no collector state"):
        reader.parts()
    async with writer(state, "c2"):
        assert [each.controller for each in reader.controllers()] == ["c2"]
        assert reader.parts() == []
    reader.close()


async def test_a_reader_does_not_disturb_the_stop_of_a_writer(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON))
        await opened.flush()
        reader = Reader(tmp_path)
        assert len(reader.parts()) == 1
    assert (tmp_path / f"{DATABASE}-wal").stat().st_size == 0  # all of it is in the database file
    assert len(reader.parts()) == 1
    reader.close()


ONE_CONTROLLER = {
    **{name: getattr(sql, name).format(sql.ONE) for name in ("PARTS", "LINKS", "LAYOUTS", "LATEST")},
    **{name: getattr(sql, name).format(sql.ONE) for name in ("STATUSES", "LAMPS", "ROLLED", "DEFECTS")},
    "OPEN_CONDITIONS": sql.OPEN_CONDITIONS.format(sql.ONE) + sql.CONDITION_ORDER,
    "CONDITIONS": sql.CONDITIONS.format(sql.ONE) + sql.CONDITION_ORDER,
    "EVENTS_OF": sql.EVENTS_OF,
    "HOT": sql.HOT,
    "FRAMES_TO_SEAL": sql.FRAMES_TO_SEAL,
    "FORGET_FRAMES": sql.FORGET_FRAMES,
    "KEEP_FRAME": sql.KEEP_FRAME,
}
NAMES = ("controller", "since", "until", "limit", "start", "end", "last", "newest")


def plan(connection: sqlite3.Connection, statement: str) -> list[str]:
    given = dict.fromkeys(NAMES, 1)
    used = {name: given[name] for name in NAMES if re.search(rf":{name}\b", statement)}
    return [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {statement}", used)]


@pytest.mark.parametrize("name", ONE_CONTROLLER)
async def test_no_query_for_one_controller_looks_at_all(tmp_path: Path, name: str) -> None:
    """https://sqlite.org/eqp.html: SEARCH goes through an index, SCAN through everything."""
    async with writer(tmp_path, "c1"):
        pass
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        steps = plan(connection, ONE_CONTROLLER[name])
    assert steps
    assert not [step for step in steps if step.startswith("SCAN")], steps


async def test_the_fleet_s_worst_conditions_come_without_sorting_all(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1"):
        pass
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        for statement in (sql.OPEN_CONDITIONS.format(sql.ALL) + sql.CONDITION_ORDER, sql.EVENTS):
            steps = plan(connection, statement)
            assert not [step for step in steps if step == "USE TEMP B-TREE FOR ORDER BY"], steps


async def test_history_of_one_sensor_opens_only_its_controllers_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.store.sealing._FILE_SAMPLES", 1)
    names = [f"c{n}" for n in range(6)]
    async with writer(tmp_path, *names, now=Clock(NOON + 5 * HOUR), settings=Kept(hot_hours=1)) as opened:
        for name in names:
            await opened.put(walk(name, NOON))
        await opened.seal()
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        given = {"controller": "c3", "since": 0, "until": NOON * 2}
        assert len(connection.execute(sql.SEALED, given).fetchall()) == 1
