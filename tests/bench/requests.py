"""Requests and bytes of one round, by dialect: the collector's plan against one GET for each resource that tells.

The naive way fetches every Sensor, and every other resource that a reading or a part's state stands in, by a GET of its
own, each once. Both bring the same readings and states of one simulated sled, which nothing befalls; bytes are those
of bodies. The plan's figures are means of several rounds, since what changes seldom is not asked for in every one.
``python -m tests.bench.requests`` prints the rows of the README's table.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from simulators.parts import Shelf
from simulators.service import dialects
from simulators.service.http import Request
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import OLDER_MODEL, Equipment, Sled, demo_site
from simulators.world import World
from tests.simulators.reading import Read, read
from tests.simulators.service_kit import BASIC, NOW, PASSWORD, USER, Sledge


class Cost(NamedTuple):
    """Of one round, on average."""

    requests: float
    bytes: float


class Row(NamedTuple):
    """One dialect of one piece of hardware."""

    name: str
    sensors: int
    planned: Cost
    naive: Cost

    @property
    def text(self) -> str:
        """As a row of a Markdown table."""
        planned, naive = self.planned, self.naive
        return (
            f"| {self.name} | {self.sensors} | {planned.requests:.1f} | {planned.bytes / 1000:.1f} "
            f"| {naive.requests} | {naive.bytes / 1000:.1f} | {naive.requests / planned.requests:.1f} |"
        )


ROUNDS = 12
"""Enough for what is not asked for in every round to have had its turn."""
HEAD = (
    "| dialect | readings | requests | kB | requests, naive | kB, naive | times fewer |",
    "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
)


def run() -> list[str]:
    """The table, a row a dialect of the sled with four blades, then liquid-cooled sled and power shelf."""
    return [*HEAD, *(row.text for row in asyncio.run(measure()))]


async def measure() -> list[Row]:
    """One round of each."""
    site = demo_site()
    world = World(site)
    rows = []
    for name, unit in _units(site.sleds, site.shelves[0]):
        service = Service(unit, dialects.tree(unit), Sledge(world, unit.name), Account(USER, PASSWORD), max_sessions=1)
        got = await read(service, ROUNDS)
        planned = Cost(sum(got.requests) / ROUNDS, sum(got.bytes_received) / ROUNDS)
        rows.append(Row(name, len(got.inventory.layout.sensors), planned, _naive(service, got)))
    return rows


def _units(sleds: tuple[Sled, ...], shelf: Shelf) -> Iterator[tuple[str, Equipment]]:
    newer = [sled for sled in sleds if sled.dialect not in OLDER_MODEL]
    quad, liquid = (next(sled for sled in newer if sled.design.name == name) for name in ("quad", "liquid"))
    for name, speech in dialects.DIALECTS.items():
        if speech.conforming:
            yield name, replace(quad, dialect=name)
    yield "modern, liquid-cooled sled", liquid
    yield "modern, power shelf", shelf


def _naive(service: Service, got: Read) -> Cost:
    """Each resource that a reading or a state stands in, once."""
    wanted = {sensor.source.partition("#")[0] for sensor in got.inventory.layout.sensors}
    wanted |= {part.uri.partition("#")[0] for part in got.inventory.parts if part.id in got.inventory.statuses}
    sizes = []
    for path in sorted(wanted):
        reply = service.respond(Request("GET", path, headers=BASIC, time=NOW, client="127.0.0.1"))
        if reply.status != 200:
            raise RuntimeError(f"{path} answers {reply.status}")
        sizes.append(len(reply.body))
    return Cost(len(sizes), sum(sizes))


if __name__ == "__main__":
    print("\n".join(run()))
