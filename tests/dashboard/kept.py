"""The invented fleet in a real store, written by the real writer: stopped cleanly, or held by a running one."""

from __future__ import annotations

import asyncio
import math
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from collector.assess.rollup import Rollup
from collector.assess.tree import Tree
from collector.model import (
    Assessment,
    Frame,
    Health,
    Inventory,
    Layout,
    Outcome,
    Permits,
    Quantity,
    Round,
    Stay,
    Turn,
    Update,
)
from collector.store.writer import Writer
from dashboard.views.places import Places
from tests.dashboard.invented import Invented

POLL = 30.0
"""Seconds between two rounds."""


@dataclass
class Keeping:
    """What is kept for how long."""

    hot_hours: int = 2
    retention_days: float = 2.0


def updates(of: Invented, now: float, hours: float = 1.0) -> Iterator[Update]:
    """A walk ``hours`` before now and the rounds since, the newest just before ``now``."""
    if of.outcome is None:
        return
    began = now - hours * 3600.0
    inventory = Inventory(
        controller=of.name,
        time=began,
        parts=tuple(of.parts),
        links=tuple(of.links),
        layout=Layout(of.name, tuple(of.sensors)),
        statuses=of.statuses,
        frame=_frame(of, began, now),
        defects=tuple(of.defects),
        product="Warden 3",
        redfish_version="1.20.0",
    )
    rollup = Rollup(tree := Tree(of.parts, of.links))
    counts = {
        tree.at[part]: (health, sum(1 for each in of.conditions if each.part == part))
        for part, health in of.own.items()
    }
    rollup.update(counts)
    assessment = Assessment(
        controller=of.name,
        time=began,
        opened=tuple(of.conditions),
        rolled=rollup.all(),
        lamps=of.lamps,
        events=tuple(of.events),
        troubles=tuple(of.troubles),
        orders=tuple(of.orders),
        margins=tuple(of.margins),
        figures=tuple(of.figures),
        stays=tuple(of.stays) + _stays(of, began),
        misfits=tuple(of.misfits),
    )
    yield Update(controller=of.name, inventory=inventory, assessment=assessment)
    heard = now - of.silent_for
    for step in range(1, int((heard - began) / POLL) + 1):
        time = began + step * POLL
        yield Update(controller=of.name, round=_round(of, time, now))
    if of.outcome is not Outcome.OK:
        lost = Round(controller=of.name, started=now - 30, finished=now - 6, outcome=of.outcome, error=of.error)
        yield Update(controller=of.name, round=lost)


def _stays(of: Invented, began: float) -> tuple[Stay, ...]:
    """Of the parts of which nothing else is on record: there since the first walk."""
    known = {each.part for each in of.stays}
    places = Places(of.parts)
    return tuple(
        Stay(
            controller=of.name,
            position=part.id,
            part=part.id,
            kind=part.kind,
            name=part.name,
            location=places.location(part),
            identity=part.identity,
            since=began,
            began=Turn.FIRST_SEEN,
        )
        for part in of.parts
        if part.id not in known
    )


def _round(of: Invented, time: float, now: float) -> Round:
    return Round(
        controller=of.name,
        started=time - 0.4,
        finished=time,
        outcome=Outcome.OK,
        frame=_frame(of, time, now),
        requests=9,
        bytes_received=17_000,
    )


def _frame(of: Invented, time: float, now: float) -> Frame:
    """Readings that sway a little; what is in trouble got there over ten minutes."""
    values = array("d")
    for position, level in enumerate(of.levels):
        sway = 1.0 + 0.015 * math.sin(time / 300.0 + position)
        usual = 7200.0 if of.sensors[position].quantity is Quantity.ROTATION and level == 0 else level
        part = min(1.0, max(0.0, (time - (now - 900.0)) / 600.0)) if usual != level else 1.0
        values.append((usual + (level - usual) * part) * sway)
    return Frame(time=time, values=values, healths=bytes([Health.OK]) * len(values))


async def fill(state_dir: Path, found: list[Invented], now: float) -> None:
    """Write a fleet into a store and stop cleanly."""
    async with Writer(state_dir, Keeping(), now=lambda: now) as writer:
        await _write(writer, found, now)


async def _write(writer: Writer, found: list[Invented], now: float) -> None:
    permits = Permits(locate=True, power=True)
    writer.announce(version="0.1.0", poll_interval=POLL, listen="127.0.0.1:9460", permits=permits)
    writer.controllers([each.registered for each in found])
    for each in found:
        for update in updates(each, now):
            await writer.put(update)
    await writer.flush()


Say = Callable[[Update], None]
"""Hands an update to a running invented collector and returns when it is in the store."""


@contextmanager
def collected(state_dir: Path, found: list[Invented], now: float) -> Iterator[Say]:
    """A store with the fleet in it that a running writer holds, heartbeat and all, for the length of the block."""
    written: Future[tuple[asyncio.AbstractEventLoop, Writer]] = Future()
    done = threading.Event()

    async def run() -> None:
        async with Writer(state_dir, Keeping(), now=time.time) as writer:
            await _write(writer, found, now)
            written.set_result((asyncio.get_running_loop(), writer))
            await asyncio.to_thread(done.wait)

    def thread() -> None:
        try:
            asyncio.run(run())
        except Exception as error:
            if written.done():
                raise
            written.set_exception(error)

    collector = threading.Thread(target=thread, name="invented-collector")
    collector.start()
    try:
        loop, writer = written.result(timeout=60)

        def say(update: Update) -> None:
            async def put() -> None:
                await writer.put(update)
                await writer.flush()

            asyncio.run_coroutine_threadsafe(put(), loop).result(timeout=30)

        yield say
    finally:
        done.set()
        collector.join()
