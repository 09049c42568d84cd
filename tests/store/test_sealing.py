"""Sealed files, read by others; what is forgotten and when."""

from __future__ import annotations

import asyncio
import sqlite3
from pathlib import Path

import pandas
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from collector.model import Health
from collector.store import sealing
from collector.store.errors import StoreDamaged, StoreFull
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.store.invented import (
    HOUR,
    NAN,
    NOON,
    Clock,
    Kept,
    assessed,
    condition,
    done,
    event,
    frame,
    grid,
    part,
    sensor,
    walk,
    writer,
)

DAY = 86400


def files_of(state_dir: Path) -> list[Path]:
    return sorted(state_dir.glob("history/*/*"))


def sealing_writer(state_dir: Path, *names: str, clock: Clock, days: float = 30.0) -> Writer:
    return writer(state_dir, *(names or ("c1",)), now=clock, settings=Kept(hot_hours=1, retention_days=days))


async def filled(state_dir: Path, clock: Clock, controllers: int = 5, sensors: int = 6, rounds: int = 20) -> Writer:
    """A writer of a small fleet with an hour of rounds."""
    fleet = grid(controllers, sensors)
    opened = sealing_writer(state_dir, *fleet, clock=clock)
    for name, layout in fleet.items():
        await opened.put(walk(name, NOON, *layout))
    for step in range(rounds):
        time = NOON + 30.0 * (step + 1)
        for name, layout in fleet.items():
            values = [NAN if (step + at) % 7 == 0 else step + at / 10 for at in range(len(layout))]
            healths = bytes([(step + at) % 4 for at in range(len(layout))])
            await opened.put(done(name, time, frame=frame(time, *values, healths=healths)))
    await opened.flush()
    return opened


async def test_others_can_read_the_files(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        await opened.seal()
    (path,) = files_of(tmp_path)
    assert path.relative_to(tmp_path).as_posix() == "history/2031-02-27/2031-02-27T12Z-001.parquet"
    table = pandas.read_parquet(path)
    assert list(table.columns) == ["controller", "part", "sensor", "source", "time", "value", "health"]
    assert len(table) == 5 * 6 * 21
    keys = list(zip(table.controller, table.part, table.sensor, table.time, strict=True))
    assert keys == sorted(keys)
    assert len(set(keys)) == len(keys)
    assert str(table.time.dtype) == "datetime64[us, UTC]"
    one = table[(table.controller == "n03") & (table.part == part("n03", "Blade").id) & (table.sensor == "t5")]
    # "t5" of "Blade" stands at position 3 of the grid's layout.
    values = [0.0] + [None if (step + 3) % 7 == 0 else step + 0.3 for step in range(20)]
    assert [None if pandas.isna(value) else value for value in one.value] == pytest.approx(values)
    assert list(one.health) == [int(Health.OK)] + [(step + 3) % 4 for step in range(20)]
    assert [time.timestamp() for time in one.time] == [NOON + 30 * step for step in range(21)]
    assert set(one.source) == {"/redfish/v1/Chassis/Blade/Sensors/t5#/Reading"}


async def test_the_columns_are_what_the_interface_says(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        await opened.seal()
    (path,) = files_of(tmp_path)
    schema = pq.read_schema(path)
    assert schema.field("time").type == pa.timestamp("us", tz="UTC")
    assert (schema.field("value").type, schema.field("health").type) == (pa.float64(), pa.int8())
    metadata = pq.read_metadata(path)
    assert metadata.row_group(0).column(5).compression == "ZSTD"
    table = pq.read_table(path)
    assert table["value"].null_count == sum((s + at) % 7 == 0 for s in range(20) for at in range(6)) * 5
    assert not pandas.isna(table["value"].drop_null().to_pandas()).any()  # no NaN beside the nulls


async def test_a_large_hour_becomes_several_files_and_row_groups(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from collector.store import parquet

    monkeypatch.setattr(sealing, "_FILE_SAMPLES", 200)
    monkeypatch.setattr(parquet, "_GROUP_SAMPLES", 50)
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        with Reader(tmp_path) as reader:
            asked = [(name, each.part, each.sensor) for name, some in grid(5, 6).items() for each in some]
            before = [repr(reader.history(*key, 0, NOON * 2)) for key in asked]
            await opened.seal()
            assert [repr(reader.history(*key, 0, NOON * 2)) for key in asked] == before
    assert [path.name for path in files_of(tmp_path)] == [f"2031-02-27T12Z-00{n}.parquet" for n in (1, 2, 3)]
    assert pq.read_metadata(files_of(tmp_path)[0]).num_row_groups > 2


async def test_only_hours_older_than_the_hot_ones_are_sealed(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR - 1)
    async with writer(tmp_path, "c1", now=clock, settings=Kept(hot_hours=2)) as opened:
        await opened.put(walk("c1", NOON + HOUR - 0.001))
        await opened.seal()
        assert files_of(tmp_path) == []  # the current hour and two full ones are hot
        clock.time += 1
        await opened.seal()
        assert len(files_of(tmp_path)) == 1


async def test_sealing_twice_does_nothing_more(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        await opened.seal()
        files = files_of(tmp_path)
        await asyncio.gather(opened.seal(), opened.seal())
        assert files_of(tmp_path) == files
        assert opened.statistics().sealed_samples == 5 * 6 * 21


async def test_sealed_files_are_forgotten_with_their_age(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with sealing_writer(tmp_path, clock=clock, days=1.0) as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(done("c1", NOON + HOUR, 1.0))
        await opened.put(done("c1", NOON + 20 * HOUR, 2.0))
        await opened.seal()
        assert len(files_of(tmp_path)) == 2
        clock.time = NOON + DAY + HOUR
        await opened.seal()
        with Reader(tmp_path) as reader:
            kept = reader.history("c1", part("c1").id, "inlet", 0, NOON * 2)
            assert list(kept.values) == [1.0, 2.0]
            clock.time = NOON + 40 * DAY
            await opened.seal()
            await opened.seal()
            assert list(reader.history("c1", part("c1").id, "inlet", 0, NOON * 2).values) == []
            assert reader.readings()[0].value == 2.0  # the newest reading has no age
        assert files_of(tmp_path) == []
        assert list(tmp_path.glob("history/*")) == []
        assert opened.statistics().forgotten_files == 3


async def test_closed_conditions_events_and_retired_controllers_are_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.store.upkeep._CHUNK", 3)
    clock = Clock(NOON)
    async with sealing_writer(tmp_path, "c1", "c2", clock=clock, days=1.0) as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(walk("c2", NOON))
        ended = tuple(condition("c1", f"x{n}", NOON, closed=NOON + n) for n in range(10))
        still = condition("c1", "open", NOON)
        told = tuple(event("c1", NOON + n) for n in range(10))
        await opened.put(assessed("c1", opened=(still,), closed=ended, events=told))
    async with sealing_writer(tmp_path, "c1", clock=clock, days=1.0) as opened:
        clock.time = NOON + DAY + 5
        await opened.seal()
        with Reader(tmp_path) as reader:
            left = reader.conditions(open_only=False)
            assert {each.id for each in left} == {"c1/open", *(f"c1/x{n}" for n in range(5, 10))}
            assert len(reader.events()) == 5
        names = [row[0] for row in opened._connection.execute("SELECT name FROM controllers")]
        assert names == ["c1"]
        for table in ("parts", "layouts", "frames", "rounds", "statuses"):
            (count,) = opened._connection.execute(f"SELECT count(DISTINCT controller) FROM {table}").fetchone()
            assert count == 1, table


async def test_layouts_that_nothing_needs_are_forgotten(tmp_path: Path) -> None:
    clock = Clock(NOON)
    async with sealing_writer(tmp_path, clock=clock) as opened:
        await opened.put(walk("c1", NOON, sensor("c1", "old")))
        await opened.put(walk("c1", NOON + 2 * HOUR, sensor("c1", "new")))
        await opened.seal()
        assert opened._connection.execute("SELECT count(*) FROM layouts").fetchone() == (2,)
        clock.time = NOON + 3 * HOUR
        await opened.seal()
        assert opened._connection.execute("SELECT count(*) FROM layouts").fetchone() == (1,)


async def test_a_disk_that_fills_up_while_sealing_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        import errno

        from collector.store import files

        def full(path: Path) -> None:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))

        with monkeypatch.context() as patch:
            patch.setattr(files, "sync", full)
            with pytest.raises(StoreFull):
                await opened.seal()
        assert "No space left" in (opened.statistics().upkeep_error or "")
        with Reader(tmp_path) as reader:
            assert len(reader.history("n00", part("n00").id, "t6", 0, NOON * 2).times) == 21
            await opened.seal()
            assert len(reader.history("n00", part("n00").id, "t6", 0, NOON * 2).times) == 21
        assert opened.statistics().upkeep_error is None


async def test_a_frame_that_fits_no_layout_stops_the_sealing_not_the_collector(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        opened._connection.execute("UPDATE frames SET healths = x'00' WHERE id = 7")
        with pytest.raises(StoreDamaged, match="n01"):
            await opened.seal()
        assert [path for path in files_of(tmp_path) if path.is_file()] == []
        await opened.put(done("n00", NOON + 3 * HOUR, *range(6)))
        await opened.flush()


# --- opening ------------------------------------------------------------------------------------------------------


async def test_files_of_others_are_left_alone_and_told(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    one, two = tmp_path / "one", tmp_path / "two"
    for folder in (one, two):
        async with await filled(folder, clock) as opened:
            await opened.seal()
    (path,) = files_of(one)
    stranger = two / "history" / "2031-02-27" / "2031-02-27T12Z-777.parquet"
    stranger.write_bytes(path.read_bytes())
    table = pa.table({"a": [1]})
    pq.write_table(table, two / "history" / "2031-02-27" / "mine.parquet")
    async with sealing_writer(two, clock=clock) as opened:
        notes = opened.statistics().notes
    assert len(notes) == 2
    assert "another store sealed it" in notes[0]
    assert "left alone" in notes[1]
    assert stranger.exists()


async def test_a_half_written_file_goes_on_opening(tmp_path: Path) -> None:
    half = tmp_path / "history" / "2031-02-27" / "2031-02-27T12Z-001.parquet.part"
    half.parent.mkdir(parents=True)
    half.write_bytes(b"PAR1")
    async with sealing_writer(tmp_path, clock=Clock()) as opened:
        assert opened.statistics().notes == ()
    assert not half.exists()


async def test_a_deleted_file_is_taken_off_the_record_and_told(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with await filled(tmp_path, clock) as opened:
        await opened.seal()
    (path,) = files_of(tmp_path)
    path.unlink()
    async with sealing_writer(tmp_path, *grid(5, 6), clock=clock) as opened:
        (note,) = opened.statistics().notes
        assert path.name in note
        with Reader(tmp_path) as reader:
            assert list(reader.history("n00", part("n00").id, "t6", 0, NOON * 2).times) == []


async def test_a_database_put_back_from_a_copy_finds_its_later_files(tmp_path: Path) -> None:
    """A copy from before the sealing has the frames still; the files have them too: each sample must show once."""
    clock = Clock(NOON + 3 * HOUR)
    state, copy = tmp_path / "state", tmp_path / "copy.db"
    async with await filled(state, clock) as opened:
        source, target = sqlite3.connect(state / DATABASE), sqlite3.connect(copy)
        source.backup(target)
        source.close()
        target.close()
        await opened.put(done("n00", NOON + 1000, *range(6)))
        await opened.seal()
        with Reader(state) as reader:
            before = [repr(reader.history(name, part(name).id, "t6", 0, NOON * 2)) for name in grid(5, 6)]
    copy.rename(state / DATABASE)
    async with sealing_writer(state, *grid(5, 6), clock=clock) as opened:
        with Reader(state) as reader:
            assert [repr(reader.history(name, part(name).id, "t6", 0, NOON * 2)) for name in grid(5, 6)] == before
        await opened.put(done("n00", NOON + 1001, *range(6)))
        await opened.seal()
        with Reader(state) as reader:
            assert len(reader.history("n00", part("n00").id, "t6", 0, NOON * 2).times) == 23
