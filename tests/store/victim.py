"""A collector's store at work in a process of its own, to be killed: ``python -m tests.store.victim DIR FROM COUNT
[STEP NUMBER]``.

Round ``k`` of every controller is at ``NOON + k * 1200`` and its first value is ``k + 1``; a walk's is 0. After a flush
that held round ``k``, ``k`` stands on a line of the output. With STEP the process kills itself when it comes to that
step for the NUMBERth time; without, it writes every step's name as ``step: …`` once.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

from collector.store.writer import Writer
from tests.store.invented import NOON, Clock, Kept, assessed, done, event, sensor, settings, walk

CONTROLLERS = ("c1", "c2", "c3")
SENSORS = 4
EVERY = 1200
"""Seconds of the victim's clock between two rounds: three rounds an hour."""
RETENTION = 1.0
"""Days."""


def time_of(k: int) -> float:
    return float(NOON + k * EVERY)


class Death:
    """A hook that kills the process at a step, as the system does: no handler, no flush, no farewell."""

    def __init__(self, step: str | None, number: int) -> None:
        self._step = step
        self._left = number
        self._seen: set[str] = set()

    def __call__(self, step: str) -> None:
        if self._step is None and step not in self._seen:
            self._seen.add(step)
            say(f"step: {step}")
        if step == self._step:
            self._left -= 1
            if self._left == 0:
                os.kill(os.getpid(), signal.SIGKILL)


def say(line: str) -> None:
    os.write(1, f"{line}\n".encode())


async def live(state_dir: Path, first: int, count: int, death: Death) -> None:
    clock = Clock(time_of(first))
    writer = Writer(state_dir, Kept(hot_hours=1, retention_days=RETENTION), now=clock, hook=death, batch_updates=2)
    writer.controllers(settings(*CONTROLLERS))
    for name in CONTROLLERS:
        await writer.put(walk(name, time_of(first) - 600, *(sensor(name, f"t{at}") for at in range(SENSORS))))
    for k in range(first, first + count):
        clock.time = time_of(k)
        for name in CONTROLLERS:
            await writer.put(done(name, time_of(k), k + 1, *range(1, SENSORS)))
            await writer.put(assessed(name, events=(event(name, time_of(k), str(k)),)))
        await writer.flush()
        say(str(k))
        if k % 3 == 2:
            await writer.seal()
    await writer.aclose()


if __name__ == "__main__":
    folder, begin, many, *rest = sys.argv[1:]
    death = Death(rest[0], int(rest[1])) if rest else Death(None, 0)
    asyncio.run(live(Path(folder), int(begin), int(many), death))
