"""One sensor's samples over time: frames that are still in the database, merged with sealed files."""

from __future__ import annotations

import math
import sqlite3
from array import array
from pathlib import Path

from collector.model import History, Seconds
from collector.store import codec, sql
from collector.store.errors import StoreDamaged
from collector.store.records import Records


class _FileGone(Exception):
    """A sealed file on record is not there: retention was faster, or somebody deleted it."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(name)


def history_of(records: Records, key: tuple[str, str, str], since: Seconds, until: Seconds) -> History:
    """The samples of (controller, part, sensor) in a time range, both ends included, oldest first, each once."""
    gone: str | None = None
    while True:
        try:
            with records.connection() as connection:
                return _read(records.state_dir, connection, key, since, until)
        except _FileGone as error:
            # Retention takes a file off the record before it deletes it: the next look won't name it any more.
            if error.name == gone:
                raise StoreDamaged(
                    records.state_dir,
                    f"the sealed file {error.name} is missing",
                    "put it back, or start the collector again: it then goes on without",
                ) from error
            gone = error.name


def _read(
    state_dir: Path, connection: sqlite3.Connection, key: tuple[str, str, str], since: Seconds, until: Seconds
) -> History:
    """The same, in one transaction: a sample is either in a frame or in a sealed file at one moment.

    Raises :class:`_FileGone`, ``StoreDamaged``, and what SQLite and the system raise.
    """
    key = (codec.clean(key[0]), codec.clean(key[1]), codec.clean(key[2]))
    samples = _sealed(state_dir, connection, key, since, until)
    samples.update(_hot(connection, key, since, until))
    times = sorted(samples)
    return History(times=array("d", times), values=array("d", [samples[time] for time in times]))


def _sealed(
    state_dir: Path, connection: sqlite3.Connection, key: tuple[str, str, str], since: Seconds, until: Seconds
) -> dict[Seconds, float]:
    given = {"controller": key[0], "since": since, "until": until}
    names = [row[0] for row in connection.execute(sql.SEALED, given)]
    samples: dict[Seconds, float] = {}
    if names:
        from collector.store.parquet import samples_of  # heavy, and not needed for recent hours

        for name in names:
            try:
                samples.update(samples_of(state_dir, state_dir / name, key, since, until))
            except FileNotFoundError as error:
                raise _FileGone(name) from error
    return samples


def _hot(
    connection: sqlite3.Connection, key: tuple[str, str, str], since: Seconds, until: Seconds
) -> dict[Seconds, float]:
    controller, part, sensor = key
    positions: dict[int, int | None] = {}
    samples: dict[Seconds, float] = {}
    given = {"controller": controller, "since": since, "until": until}
    for layout, time, values, times in connection.execute(sql.HOT, given):
        if layout not in positions:
            packed = connection.execute(sql.LAYOUT, (layout,)).fetchone()[0]
            sensors = codec.unpack_sensors(packed)
            places = (at for at, known in enumerate(sensors) if known.part == part and known.sensor == sensor)
            positions[layout] = next(places, None)
        position = positions[layout]
        if position is None:
            continue
        at = codec.whole_microseconds(codec.floats(times)[position] if times else time)
        if since <= at <= until:
            samples[at] = codec.floats(values)[position]
    return samples


def downsampled(history: History, since: Seconds, until: Seconds, max_points: int) -> History:
    """At most ``max_points`` of the samples: lowest and highest of each of equal stretches of time.

    A stretch in which no sample has a value keeps one without, so that a gap stays a gap.
    """
    if len(history.times) <= max_points:
        return history
    stretches = max(1, max_points // 2)
    width = (until - since) / stretches
    kept: list[int] = []
    low: int | None = None
    high: int | None = None
    gap: int | None = None
    current = -1
    for index, (time, value) in enumerate(zip(history.times, history.values, strict=True)):
        stretch = min(stretches - 1, int((time - since) / width)) if width > 0 else 0
        if stretch != current:
            kept += _chosen(low, high, gap)
            low = high = gap = None
            current = stretch
        if math.isnan(value):
            gap = index if gap is None else gap
        elif low is None or high is None:
            low = high = index
        elif value < history.values[low]:
            low = index
        elif value > history.values[high]:
            high = index
    kept += _chosen(low, high, gap)
    kept = kept[:max_points]
    return History(
        times=array("d", [history.times[index] for index in kept]),
        values=array("d", [history.values[index] for index in kept]),
    )


def _chosen(low: int | None, high: int | None, gap: int | None) -> list[int]:
    if low is None or high is None:
        return [] if gap is None else [gap]
    return sorted({low, high})
