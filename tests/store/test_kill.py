"""A kill at any moment loses at most the batch in flight, never a sealed sample, and doubles nothing.

The kills are real (SIGKILL). A power cut is not tried here: see ``collector.store.schema`` for what that may lose.
"""

from __future__ import annotations

import asyncio
import random
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from collector.store import codec
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from collector.store.writer import Writer
from tests.conftest import ROOT
from tests.store.invented import Clock, Kept, part, settings
from tests.store.victim import CONTROLLERS, RETENTION, SENSORS, time_of

Sample = tuple[str, str, int]
"""Controller, sensor, microseconds."""

STEPS = (
    "batch: begun",
    "batch: written",
    "batch: committed",
    "seal: file written",
    "seal: file synced",
    "seal: renamed",
    "seal: folder synced",
    "seal: recorded",
    "forget: records gone",
)
"""Every step that the writer names; a test below fails when one is missing."""

ROUNDS = 90
"""30 hours of the victim's clock: sealing from the second, forgetting from the 25th on."""


@contextmanager
def victim(state_dir: Path, first: int, *death: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.store.victim", str(state_dir), str(first), str(ROUNDS), *death],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def acknowledged(lines: Iterator[str], first: int) -> int:
    """The last round that a flush told to be kept; ``first - 1`` for none."""
    return max((int(line) for line in lines if line.strip().isdigit()), default=first - 1)


def raw_samples(state_dir: Path) -> Counter[Sample]:
    """Every sample on record, read past the store's own reader."""
    found: Counter[Sample] = Counter()
    with closing(sqlite3.connect(state_dir / DATABASE)) as connection:
        query = """
            SELECT c.name, f.time, l.sensors FROM frames f
            JOIN controllers c ON c.id = f.controller JOIN layouts l ON l.id = f.layout WHERE f.kept = 0
        """
        for name, at, packed in connection.execute(query):
            found.update((name, each.sensor, round(at * 1e6)) for each in codec.unpack_sensors(packed))
        paths = [row[0] for row in connection.execute("SELECT path FROM sealed")]
    for path in paths:
        table = pq.read_table(state_dir / path, columns=["controller", "sensor", "time"])
        times = table["time"].cast("int64").to_pylist()
        found.update(zip(table["controller"].to_pylist(), table["sensor"].to_pylist(), times, strict=True))
    return found


def check(state_dir: Path, first: int, last: int, clock: float) -> tuple[int, set[Sample]]:
    """Everything acknowledged and not too old is there once, and at most one batch more.

    The last round that any controller has, and every sample on record.
    """
    raw = raw_samples(state_dir)
    assert max(raw.values(), default=1) == 1, raw.most_common(3)
    wanted = {time_of(k) for k in range(first, last + 1) if time_of(k) > oldest(clock)}
    newest = last
    with Reader(state_dir) as reader:
        for name in CONTROLLERS:
            for at in range(SENSORS):
                found = reader.history(name, part(name).id, f"t{at}", 0, 1e11)
                assert wanted <= set(found.times), (name, at)
                assert {(name, f"t{at}", round(time * 1e6)) for time in found.times} <= raw.keys()
            values = reader.history(name, part(name).id, "t0", 0, 1e11)
            rounds = [(when, int(value) - 1) for when, value in zip(values.times, values.values, strict=True) if value]
            assert all(when == time_of(k) for when, k in rounds)
            newest = max(newest, *(k for _, k in rounds), -1)
            events = [told.time for told in reader.events(name, limit=10_000)]
            assert len(events) == len(set(events))
            assert wanted <= set(events)
    assert newest <= last + 1
    return newest, set(raw)


def oldest(clock: float) -> float:
    """From here on everything must be there still."""
    return clock - RETENTION * 86400 + 3600


def reopen(state_dir: Path, clock: float) -> None:
    """Open as the next collector does, seal, and close."""

    async def run() -> None:
        kept = Kept(hot_hours=1, retention_days=RETENTION)
        async with Writer(state_dir, kept, now=Clock(clock)) as opened:
            opened.controllers(settings(*CONTROLLERS))
            assert opened.statistics().notes == ()
            await opened.seal()

    asyncio.run(run())


def tidy(state_dir: Path) -> None:
    """Nothing half done is left: every file is on record, every record has its file."""
    with closing(sqlite3.connect(state_dir / DATABASE)) as connection:
        recorded = {row[0] for row in connection.execute("SELECT path FROM sealed")}
    present = {path.relative_to(state_dir).as_posix() for path in state_dir.glob("history/*/*")}
    assert present == recorded


def test_every_step_is_in_the_list(tmp_path: Path) -> None:
    with victim(tmp_path, 0) as process:
        assert process.stdout is not None
        lines = process.stdout.read().splitlines()
        assert process.wait() == 0
    assert {line.removeprefix("step: ") for line in lines if line.startswith("step: ")} == set(STEPS)
    last = acknowledged(iter(lines), 0)
    assert last == ROUNDS - 1
    assert check(tmp_path, 0, last, time_of(last))[0] == last
    tidy(tmp_path)


@pytest.mark.parametrize(("step", "number"), [(step, 1 if step.startswith("forget") else 5) for step in STEPS])
def test_killed_at_a_step(tmp_path: Path, step: str, number: int) -> None:
    if step.startswith("forget"):
        number = ROUNDS // 3  # the last pass, which has something to forget
    with victim(tmp_path, 0, step, str(number)) as process:
        assert process.stdout is not None
        last = acknowledged(process.stdout, 0)
        assert process.wait() == -9
    clock = time_of(last + 1)
    _, before = check(tmp_path, 0, last, clock)  # a reader needs no recovery to be right
    recovers(tmp_path, clock, before)


def recovers(state_dir: Path, clock: float, before: set[Sample]) -> None:
    """The next collector has all that was there, less what is too old by now."""
    reopen(state_dir, clock)
    raw = raw_samples(state_dir)
    assert max(raw.values()) == 1
    assert {key for key in before if key[2] > oldest(clock) * 1e6} <= raw.keys() <= before
    tidy(state_dir)


def killed_at_random(state_dir: Path, seed: int, kills: int) -> None:
    chance = random.Random(seed)
    first = 0
    for _ in range(kills):
        with victim(state_dir, first) as process:
            assert process.stdout is not None
            acks = chance.randrange(1, 40)
            last = first - 1
            for line in process.stdout:
                if line.strip().isdigit():
                    last = int(line)
                    acks -= 1
                if acks == 0:
                    break
            time.sleep(chance.random() * 0.02)
            process.kill()
            process.wait()
            last = max(last, acknowledged(process.stdout, first))
        newest, before = check(state_dir, first, last, time_of(last + 1))
        first = newest + 1
    recovers(state_dir, time_of(first), before)


def test_killed_at_random_moments(tmp_path: Path) -> None:
    killed_at_random(tmp_path, seed=2, kills=3)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 106))
def test_killed_at_many_random_moments(tmp_path: Path, seed: int) -> None:
    killed_at_random(tmp_path, seed, kills=12)
