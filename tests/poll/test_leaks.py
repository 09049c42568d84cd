"""Sessions and subscriptions on simulated controllers after many rounds, restarts and kills: never more than one each.

A controller of each way: a stream, a push subscription, logs. What stands on them is counted where it is made, in the
simulator itself, at every moment.
"""

from __future__ import annotations

import asyncio
import signal
import sys
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest

from collector.store.reader import Reader
from simulators.serve import Fleet
from simulators.service.sessions import SessionTable
from simulators.service.subscriptions import Table
from simulators.site import Site, scaled_site
from simulators.world import World
from tests.poll.test_events import free_port

WAYS = {"modern": 1, "push": 1, "plain": 0}
"""By dialect: the subscriptions, streams among them, that are to stand while a collector runs."""
PATIENCE = 120.0
"""Seconds without a word from a collector after which it is taken for dead."""


def spoken(site: Site, *dialects: str) -> Site:
    """The site with its sleds' controllers speaking these dialects in turn."""
    turn = cycle(dialects)

    def rack(one: Any) -> Any:
        enclosures = (
            replace(each, sleds=tuple(replace(sled, dialect=next(turn)) for sled in each.sleds))
            for each in one.enclosures
        )
        return replace(one, enclosures=tuple(enclosures))

    return replace(site, rows=tuple(replace(row, racks=tuple(map(rack, row.racks))) for row in site.rows))


class Watched:
    """A simulated fleet and the most that ever stood on one of its controllers."""

    def __init__(self, fleet: Fleet, most: Counter[str]) -> None:
        self.fleet = fleet
        self.most = most
        self.dialects = {unit.name: str(unit.dialect) for unit in fleet.world.site.equipment}

    @property
    def sessions(self) -> list[int]:
        return [len(service.login.sessions) for service in self.fleet.services.values()]

    @property
    def subscriptions(self) -> dict[str, int]:
        """By dialect."""
        told = {name: service.events for name, service in self.fleet.services.items()}
        return {self.dialects[name]: 0 if events is None else len(events.table) for name, events in told.items()}

    @property
    def steady(self) -> bool:
        return self.sessions == [1, 1, 1] and self.subscriptions == WAYS


@asynccontextmanager
async def watched(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Watched]:
    """Three controllers, one of each way, and a fleet file that lets them push."""
    most: Counter[str] = Counter()

    def counting(table: type, what: str) -> None:
        original: Callable[..., Any] = table.open  # type: ignore[attr-defined]

        def opened(self: Any, *args: Any, **more: Any) -> Any:
            made = original(self, *args, **more)
            most[what] = max(most[what], len(self))
            return made

        monkeypatch.setattr(table, "open", opened)

    counting(SessionTable, "sessions")
    counting(Table, "subscriptions")
    world = World(spoken(scaled_site(3), *WAYS), seed=1)
    async with Fleet(world, folder, poll_interval=0.6, keep_alive=1.0) as fleet:
        port = free_port()
        section = f'[events]\nlisten = "127.0.0.1:{port}"\nadvertise = "http://127.0.0.1:{port}"\n'
        fleet.path.write_text(section + fleet.path.read_text())
        yield Watched(fleet, most)


class Child:
    """A collector's process and what it has said."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process = process
        self.said: Counter[str] = Counter()
        """By kind of update."""
        self.walked: set[str] = set()

    async def until(self, fact: Callable[[], bool]) -> None:
        """Read what it says until a fact holds."""
        assert self.process.stdout is not None
        while not fact():
            async with asyncio.timeout(PATIENCE):
                line = await self.process.stdout.readline()
                assert line, "the collector has ended"
                name, kind = line.decode().split()
                self.said[kind] += 1
                if kind == "walk":
                    self.walked.add(name)

    async def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        await self.process.communicate()
        assert self.process.returncode is not None
        return self.process.returncode


@asynccontextmanager
async def collector(config: Path, state: Path) -> AsyncIterator[Child]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.poll.collecting", config, state, stdout=asyncio.subprocess.PIPE
    )
    try:
        yield Child(process)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


async def campaign(folder: Path, monkeypatch: pytest.MonkeyPatch, *, rounds: int, turns: int) -> None:
    state = folder / "state"
    async with watched(folder / "fleet", monkeypatch) as sim:
        async with collector(sim.fleet.path, state) as child:
            await child.until(lambda: child.said["round"] >= rounds and sim.steady)
            assert await child.end(signal.SIGTERM) == 0
        assert sim.sessions == [0, 0, 0]
        assert set(sim.subscriptions.values()) == {0}
        for turn in range(2 * turns):
            kill = turn % 2 == 1
            async with collector(sim.fleet.path, state) as child:
                await child.until(lambda child=child: len(child.walked) == 3)  # type: ignore[misc]
                if not kill or turn % 4 == 1:  # some are killed while subscribing
                    await child.until(lambda: sim.steady)
                await child.end(signal.SIGKILL if kill else signal.SIGTERM)
            if not kill:
                assert sim.sessions == [0, 0, 0]
                assert set(sim.subscriptions.values()) == {0}
            assert sim.most == {"sessions": 1, "subscriptions": 1}, f"at turn {turn}"
        async with collector(sim.fleet.path, state) as child:
            await child.until(lambda: len(child.walked) == 3 and sim.steady)
            assert await child.end(signal.SIGTERM) == 0
        assert sim.sessions == [0, 0, 0]
        assert set(sim.subscriptions.values()) == {0}
        assert sim.most == {"sessions": 1, "subscriptions": 1}
    with Reader(state) as reader:
        told = [(one.controller, one.part, one.text, one.time) for one in reader.events(limit=100_000)]
        assert set(reader.heard()) == {one.controller for one in reader.controllers()}
    assert len(set(told)) == len(told), "nothing is told twice, whatever the restarts"


async def test_nothing_is_left_after_a_restart_and_a_kill(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    await campaign(tmp_path, monkeypatch, rounds=6, turns=1)


@pytest.mark.slow
async def test_a_thousand_rounds_twenty_restarts_twenty_kills(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The issue's own figures."""
    await campaign(tmp_path, monkeypatch, rounds=1000, turns=20)
