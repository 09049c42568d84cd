"""The store's hot path against a row a sample, in the same run: samples a second, CPU, bytes. Prints; asserts nothing.

The fleet's readings are random walks as sensors tell them: most in steps (0.1 or 0.5 Cel, 1 W, 10 rpm), an eighth as
full doubles.
"""

from __future__ import annotations

import asyncio
import random
import sqlite3
import tempfile
import time
from array import array
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

from collector.model import Frame, Health, Outcome, Round, Update
from collector.settings import ControllerSettings, StoreSettings
from collector.store.feed import Feed
from collector.store.live import Live
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.store.invented import HOUR, NOON, Clock, sensor, walk

CONTROLLERS = 200
SENSORS = 160
EVERY = 60.0
ROUNDS = 60
"""An hour of a round a minute: 1.92 million samples."""

STEPS = (0.1, 0.5, 1.0, 10.0, 0.1, 0.5, 1.0, 0.0)
"""Resolution of a sensor; 0 for a full double."""


class Cost(NamedTuple):
    """Of some piece of work, in seconds: by the wall's clock, and on the CPU (all threads)."""

    wall: float
    cpu: float


@contextmanager
def costing(into: list[Cost]) -> Iterator[None]:
    wall, cpu = time.perf_counter(), time.process_time()
    yield
    into.append(Cost(time.perf_counter() - wall, time.process_time() - cpu))


def updates() -> list[list[Update]]:
    """The rounds of the hour, each a list of one update a controller."""
    chance = random.Random(5)
    now = [[chance.uniform(20, 90) for _ in range(SENSORS)] for _ in range(CONTROLLERS)]
    healths = bytes([Health.OK]) * SENSORS
    rounds = []
    for step in range(ROUNDS):
        finished = []
        for index, values in enumerate(now):
            told = array("d")
            for at, value in enumerate(values):
                values[at] = value = value + chance.gauss(0, 0.3)
                grain = STEPS[at % len(STEPS)]
                told.append(round(value / grain) * grain if grain else value)
            when = NOON + step * EVERY + index * EVERY / CONTROLLERS
            frame = Frame(when, told, healths)
            finished.append(
                Update(
                    controller=name(index),
                    round=Round(
                        controller=name(index), started=when - 1, finished=when, outcome=Outcome.OK, frame=frame
                    ),
                )
            )
        rounds.append(finished)
    return rounds


def name(index: int) -> str:
    return f"n{index:04d}"


def walks() -> list[Update]:
    return [
        walk(name(index), NOON - 10, *(sensor(name(index), f"t{at}") for at in range(SENSORS)))
        for index in range(CONTROLLERS)
    ]


def rows_a_sample(folder: Path, rounds: list[list[Update]], table: str) -> tuple[Cost, float]:
    """Seconds, and bytes a sample, of the same samples as a row each; a transaction a round of the fleet."""
    path = folder / "rows.db"
    cost: list[Cost] = []
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(table)
        with costing(cost):
            for finished in rounds:
                connection.execute("BEGIN")
                for index, update in enumerate(finished):
                    assert update.round is not None
                    assert update.round.frame is not None
                    frame = update.round.frame
                    first = index * SENSORS
                    connection.executemany(
                        "INSERT INTO samples VALUES (?, ?, ?, ?)",
                        [
                            (first + at, frame.time, value, health)
                            for at, (value, health) in enumerate(zip(frame.values, frame.healths, strict=True))
                        ],
                    )
                connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = path.stat().st_size
    path.unlink()
    return cost[0], size / samples(rounds)


def samples(rounds: list[list[Update]]) -> int:
    return sum(len(finished) for finished in rounds) * SENSORS


class Ours(NamedTuple):
    writing: Cost
    hot_bytes: float
    sealing: Cost
    longest_batch: float
    sealed_bytes: float
    readings: float
    hot_history: float
    sealed_history: float


async def ours(folder: Path, rounds: list[list[Update]]) -> Ours:
    """The same samples through the writer, then sealed."""
    state = folder / "state"
    clock = Clock(NOON)
    cost: list[Cost] = []
    settings = [ControllerSettings(name=name(index), url=f"https://{name(index)}") for index in range(CONTROLLERS)]
    async with Writer(state, StoreSettings(hot_hours=1), now=clock) as opened:
        opened.controllers(settings)
        for update in walks():
            await opened.put(update)
        await opened.flush()
        checkpoint(state)
        before = (state / DATABASE).stat().st_size
        with costing(cost):
            for finished in rounds:
                for update in finished:
                    await opened.put(update)
                await opened.flush()
        checkpoint(state)
        hot = ((state / DATABASE).stat().st_size - before) / samples(rounds)
        with Reader(state) as reader:
            readings = timed(lambda: reader.readings(name(7)))
            hot_history = timed(lambda: history(reader))
            clock.time = NOON + 2 * HOUR
            sealing = asyncio.create_task(opened.seal())
            longest = 0.0
            with costing(cost):
                while not sealing.done():  # a quiet trickle beside the sealing: how long may a batch take?
                    await asyncio.sleep(0.05)
                    await opened.put(rounds[-1][0])
                    await opened.flush()
                    longest = max(longest, opened.statistics().batch_seconds)
                await sealing
            files = sum(path.stat().st_size for path in state.glob("history/*/*.parquet"))
            return Ours(
                cost[0],
                hot,
                cost[1],
                longest,
                files / opened.statistics().sealed_samples,
                readings,
                hot_history,
                timed(lambda: history(reader)),
            )


def history(reader: Reader) -> None:
    found = reader.history(name(7), sensor(name(7)).part, "t9", NOON, NOON + HOUR)
    assert len(found.times) == ROUNDS


def checkpoint(state: Path) -> None:
    with closing(sqlite3.connect(state / DATABASE, timeout=10)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def timed(work: object, times: int = 20) -> float:
    """Seconds of a call, the middle one of some."""
    assert callable(work)
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return sorted(taken)[times // 2]


def followers(rounds: list[list[Update]]) -> tuple[float, float]:
    """Seconds an update takes the live state, and the feed with one follower that keeps up and one that is away."""
    settings = [ControllerSettings(name=name(index), url=f"https://{name(index)}") for index in range(CONTROLLERS)]
    live, feed = Live(settings), Feed()
    for update in walks():
        live.apply(update)
    quick = feed.subscribe("quick", 64)
    feed.subscribe("away", 64)
    flat = [update for finished in rounds for update in finished]
    began = time.perf_counter()
    for update in flat:
        live.apply(update)
    lived = time.perf_counter()
    for update in flat:
        feed.publish(update)
        quick.get_nowait()
    return (lived - began) / len(flat), (time.perf_counter() - lived) / len(flat)


def run() -> list[str]:
    """Lines of figures."""
    rounds = updates()
    total = samples(rounds)
    with tempfile.TemporaryDirectory(prefix="sledkeeper-bench-") as folder:
        plain, plain_bytes = rows_a_sample(Path(folder), rounds, "CREATE TABLE samples (sensor, time, value, health)")
        keyed, keyed_bytes = rows_a_sample(
            Path(folder),
            rounds,
            "CREATE TABLE samples (sensor, time, value, health, PRIMARY KEY (sensor, time)) WITHOUT ROWID",
        )
        mine = asyncio.run(ours(Path(folder), rounds))
    live, feed = followers(rounds)
    return [
        f"store: {total:,} samples of {CONTROLLERS} controllers with {SENSORS} sensors, an hour of a round a minute",
        f"  a row a sample, no index:    {_rate(total, plain)}, {plain_bytes:.1f} B a sample",
        f"  a row a sample, by its key:  {_rate(total, keyed)}, {keyed_bytes:.1f} B a sample",
        f"  a row a round (ours):        {_rate(total, mine.writing)}, {mine.hot_bytes:.1f} B a sample hot",
        f"  ours to a row a sample:      {plain.wall / mine.writing.wall:.1f} times as fast as without index,"
        f" {keyed.wall / mine.writing.wall:.1f} times as with key;"
        f" CPU {mine.writing.cpu / plain.cpu:.3f} and {mine.writing.cpu / keyed.cpu:.3f} of it",
        f"  CPU for 1.6 million readings a minute, written: {mine.writing.cpu / total * 1.6e6 / 60:.2%} of a core;"
        f" sealed: {mine.sealing.cpu / total * 1.6e6 / 60:.2%}",
        f"  sealing: {_rate(total, mine.sealing)}, {mine.sealed_bytes:.2f} B a sample;"
        f" longest batch meanwhile {mine.longest_batch * 1e3:.0f} ms",
        f"  readings of a controller {mine.readings * 1e3:.2f} ms; an hour of one sensor"
        f" {mine.hot_history * 1e3:.2f} ms hot, {mine.sealed_history * 1e3:.2f} ms sealed",
        f"  an update: live state {live * 1e6:.1f} us, feed with two followers {feed * 1e6:.1f} us",
    ]


def _rate(total: int, cost: Cost) -> str:
    return f"{total / cost.wall:>12,.0f} samples/s, {cost.cpu / total * 1e9:5.0f} ns CPU a sample"


if __name__ == "__main__":
    print("\n".join(run()))
