"""One sensor over time: frames and sealed files as one, no sample twice, gaps kept."""

from __future__ import annotations

import math
from array import array
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as trying
from hypothesis import strategies as st

from collector.model import History
from collector.store.errors import StoreDamaged
from collector.store.history import downsampled
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.store.invented import HOUR, NAN, NOON, Clock, Kept, done, frame, part, sensor, walk, writer

SLED = part("c1").id


def samples(
    reader: Reader, name: str = "inlet", since: float = 0, until: float = NOON * 2
) -> list[tuple[float, float]]:
    found = reader.history("c1", SLED, name, since, until)
    return list(zip(found.times, found.values, strict=True))


def hourly(state_dir: Path, clock: Clock) -> Writer:
    return writer(state_dir, "c1", now=clock, settings=Kept(hot_hours=1))


async def rounds(opened: Writer, *times: float) -> None:
    for time in times:
        await opened.put(done("c1", time, time - NOON))
    await opened.flush()


async def test_hot_and_sealed_samples_join_without_a_seam(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR + 1)
    times = [NOON + step * 600.25 for step in range(18)]
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON - 1))
        await rounds(opened, *times)
        with Reader(tmp_path) as reader:
            before = samples(reader)
            await opened.seal()
            assert opened.statistics().sealed_files == 3  # the walk's, and the two hours before the last full one
            assert samples(reader) == before
            assert before[1:] == [(time, time - NOON) for time in times]
            assert samples(reader, since=times[3], until=times[9]) == before[4:11]  # both ends included
            assert samples(reader, since=times[3] + 0.01, until=times[9] - 0.01) == before[5:10]
            assert samples(reader, since=times[17] + 1) == samples(reader, until=NOON - 2) == []
            assert samples(reader, "outlet") == []
            assert list(reader.history("c9", SLED, "inlet", 0, NOON * 2).times) == []


async def test_a_sample_has_one_time_before_and_after_sealing(tmp_path: Path) -> None:
    """Parquet keeps whole microseconds; a float64 of this century has finer steps."""
    clock = Clock(NOON + 3 * HOUR)
    odd = math.nextafter(NOON + 1.1234565, math.inf)
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", odd))
        await opened.flush()
        with Reader(tmp_path) as reader:
            before = samples(reader)
            await opened.seal()
            assert samples(reader) == before
            assert before[0][0] == round(odd * 1e6) / 1e6


async def test_frames_that_come_late_make_another_file(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON))
        await rounds(opened, NOON + 60, NOON + 2 * HOUR)
        await opened.seal()
        await rounds(opened, NOON + 30, NOON + 90)
        with Reader(tmp_path) as reader:
            wanted = [(NOON + at, float(at)) for at in (0, 30, 60, 90, 2 * HOUR)]
            assert samples(reader) == wanted
            await opened.seal()
            assert samples(reader) == wanted
            assert opened.statistics().sealed_files == 2


async def test_the_newest_reading_stays_when_its_hour_is_sealed(tmp_path: Path) -> None:
    """A controller that has been away for hours still shows what it said last."""
    clock = Clock(NOON + 9 * HOUR)
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON))
        await rounds(opened, NOON + 60)
        await opened.seal()
        with Reader(tmp_path) as reader:
            assert [(each.value, each.time) for each in reader.readings("c1")] == [(60.0, NOON + 60)]
            assert samples(reader) == [(NOON, 0.0), (NOON + 60, 60.0)]
            await rounds(opened, NOON + 9 * HOUR)
            await opened.seal()
            assert reader.readings("c1")[0].time == NOON + 9 * HOUR
            assert len(samples(reader)) == 3
        count = opened._connection.execute("SELECT count(*) FROM frames").fetchone()
        assert count == (1,)


async def test_a_sensor_keeps_its_history_when_the_layout_changes(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    first, second = sensor("c1", "inlet"), sensor("c1", "outlet", source="/new#/Reading")
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON, first))
        await opened.put(done("c1", NOON + 1, 1.0))
        await opened.put(walk("c1", NOON + 2, second, first))
        await opened.put(done("c1", NOON + 3, 30.0, 3.0))
        await opened.put(walk("c1", NOON + 4, first))
        await opened.put(done("c1", NOON + 5, 5.0))
        await opened.flush()
        with Reader(tmp_path) as reader:
            for _ in range(2):
                assert samples(reader) == [(NOON + at, v) for at, v in enumerate((0.0, 1.0, 0.0, 3.0, 0.0, 5.0))]
                assert samples(reader, "outlet") == [(NOON + 2, 0.0), (NOON + 3, 30.0)]
                await opened.seal()


async def test_samples_keep_the_times_that_the_service_tells(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    told = [NOON - 5, NAN, NOON + 1e18]
    again = [NOON - 5, NOON + 29, NOON + 30]
    sensors = [sensor("c1", name) for name in ("a", "b", "c")]
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON, *sensors, frame=frame(NOON, 1.0, 2.0, NAN, times=told)))
        await opened.put(done("c1", NOON + 30, frame=frame(NOON + 30, 1.5, 5.0, 6.0, times=again)))
        await opened.put(done("c1", NOON + 60, 7.0, 8.0, 9.0))
        await opened.flush()
        with Reader(tmp_path) as reader:
            for _ in range(2):
                # "a" has not measured again by the second round: one sample, as it was told last.
                assert samples(reader, "a") == [(NOON - 5, 1.5), (NOON + 60, 7.0)]
                assert samples(reader, "b") == [(NOON, 2.0), (NOON + 29, 5.0), (NOON + 60, 8.0)]
                times, values = zip(*samples(reader, "c"), strict=True)
                assert times == (NOON, NOON + 30, NOON + 60)
                assert math.isnan(values[0])
                assert values[1:] == (6.0, 9.0)
                assert samples(reader, "a", since=NOON - 6, until=NOON - 4) == [(NOON - 5, 1.5)]
                await opened.seal()


async def test_a_missing_file_is_named(tmp_path: Path) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON))
        await opened.seal()
    (path,) = tmp_path.glob("history/*/*.parquet")
    text = path.read_bytes()
    with Reader(tmp_path) as reader:
        path.unlink()
        with pytest.raises(StoreDamaged, match=path.name):
            samples(reader)
        for broken in (b"", text[:-9], text[:60] + bytes(200) + text[260:]):
            path.write_bytes(broken)
            with pytest.raises(StoreDamaged, match=path.name):
                samples(reader)
        path.write_bytes(text)
        assert len(samples(reader)) == 1


async def test_a_file_that_retention_takes_away_meanwhile_is_no_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock(NOON + 3 * HOUR)
    async with hourly(tmp_path, clock) as opened:
        await opened.put(walk("c1", NOON))
        await rounds(opened, NOON + 3 * HOUR)
        await opened.seal()
        from collector.store import parquet

        real = parquet.samples_of

        def late(state_dir: Path, path: Path, *rest: object) -> object:
            opened._connection.execute("DELETE FROM sealed")
            path.unlink()
            return real(state_dir, path, *rest)  # type: ignore[arg-type]

        monkeypatch.setattr(parquet, "samples_of", late)
        with Reader(tmp_path) as reader:
            assert samples(reader) == [(NOON + 3 * HOUR, 3.0 * HOUR)]


series = st.lists(
    st.tuples(st.integers(0, 10_000), st.floats(-1e6, 1e6) | st.just(NAN)), unique_by=lambda pair: pair[0]
).map(sorted)


@trying(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # not by the wall's clock
@given(series, st.integers(2, 50))
def test_downsampling_keeps_extremes_order_and_its_promise(pairs: list[tuple[int, float]], most: int) -> None:
    history = History(times=array("d", [at for at, _ in pairs]), values=array("d", [value for _, value in pairs]))
    found = downsampled(history, 0, 10_000, most)
    assert len(found.times) <= max(most, 0)
    assert list(found.times) == sorted(set(found.times))
    kept = dict(zip(found.times, found.values, strict=True))
    whole = dict(pairs)
    assert all(kept[at] == whole[at] or math.isnan(whole[at]) for at in kept)
    real = [value for value in whole.values() if not math.isnan(value)]
    seen = [value for value in kept.values() if not math.isnan(value)]
    if real:
        assert (min(seen), max(seen)) == (min(real), max(real))
    if len(pairs) <= most:
        assert len(found.times) == len(pairs)


def test_downsampling_keeps_a_gap() -> None:
    values = [1.0] * 40 + [NAN] * 40 + [2.0] * 40
    history = History(times=array("d", range(120)), values=array("d", values))
    found = downsampled(history, 0, 119, 12)
    assert any(math.isnan(value) for value in found.values)


@pytest.mark.parametrize("most", [0, 1])
def test_downsampling_to_next_to_nothing(most: int) -> None:
    history = History(times=array("d", [1, 2, 3]), values=array("d", [1, 2, 3]))
    assert len(downsampled(history, 0, 9, most).times) == most
