"""Events of simulated controllers through a whole fleet: each by its way, each to its part."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from collector.model import Event, Health, Update
from collector.poll.fleet import Fleet as Collector
from collector.poll.listener import CannotListen
from collector.settings import EventSettings, load
from simulators.serve import Fleet
from simulators.site import scaled_site
from simulators.world import World
from tests.poll.test_events import SUBJECTS, free_port
from tests.poll.test_leaks import spoken

BY = {"modern": "told", "push": "told", "plain": "logged"}
"""By dialect: with a stream, with pushes, with logs only."""


async def test_a_fan_that_fails_and_comes_back_is_told_by_every_way(tmp_path: Path) -> None:
    world = World(spoken(scaled_site(3), *BY), seed=1)
    world.advance(300)
    dialects = {unit.name: str(unit.dialect) for unit in world.site.equipment}
    events: list[Event] = []
    walked: set[str] = set()
    changed = asyncio.Event()

    async def tell(update: Update) -> None:
        events.extend(update.assessment.events if update.assessment is not None else ())
        if update.inventory is not None:
            walked.add(update.controller)
        assert update.round is None or not update.round.defects
        changed.set()

    async def until(severity: Health, subject: str = "") -> None:
        """Until every controller has told of its fan in such words."""
        async with asyncio.timeout(60):
            while True:
                found = {
                    event.controller
                    for event in events
                    if event.part is not None
                    and event.part.endswith("/Fan1")
                    and event.severity is severity
                    and event.subject == (subject or BY[dialects[event.controller]])
                }
                if found == set(dialects):
                    return
                await changed.wait()
                changed.clear()

    async with Fleet(world, tmp_path, poll_interval=0.5, time_factor=5.0, tick=0.2) as fleet:
        port = free_port()
        section = f'[events]\nlisten = "127.0.0.1:{port}"\nadvertise = "http://127.0.0.1:{port}"\n'
        fleet.path.write_text(section + fleet.path.read_text())
        collector = Collector(load(fleet.path), tell)
        task = asyncio.create_task(collector.run())
        try:
            async with asyncio.timeout(60):
                while walked != set(dialects) or not all(
                    keeper._events is not None and keeper._events.way.kind.value != "none"
                    for keeper in collector.keepers
                ):
                    await asyncio.sleep(0.05)
                streams = [service.events for service in fleet.services.values() if service.events is not None]
                while sum(len(each.table) for each in streams) < 2:
                    await asyncio.sleep(0.05)
            for name in dialects:
                fleet.inject(f"fan-seized@{name}/fan1")
            await until(Health.CRITICAL)
            for name in dialects:
                fleet.clear("fan-seized", f"{name}/fan1")
            await until(Health.OK)
            await until(Health.OK, "over")
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
    told = [event for event in events if event.subject in SUBJECTS]
    assert all("%" not in event.text.replace("(%)", "") for event in told), "every text is filled in"
    twice = [(event.controller, event.part, event.text, event.time, event.subject) for event in told]
    assert len(set(twice)) == len(twice)


async def test_a_listener_that_can_not_listen_is_said_before_anything_starts(tmp_path: Path) -> None:
    world = World(spoken(scaled_site(1), "modern"), seed=1)
    taken = await asyncio.start_server(lambda reader, writer: None, "127.0.0.1", 0)
    port = taken.sockets[0].getsockname()[1]

    async def tell(update: Update) -> None:
        raise AssertionError("nothing starts")

    async with Fleet(world, tmp_path, poll_interval=0.5) as fleet:
        section = f'[events]\nlisten = "127.0.0.1:{port}"\nadvertise = "http://127.0.0.1:{port}"\n'
        fleet.path.write_text(section + fleet.path.read_text())
        settings = load(fleet.path)
        assert isinstance(settings.events, EventSettings)
        with pytest.raises(CannotListen, match="in use"):
            await Collector(settings, tell).run()
    taken.close()
