"""Healthy time: load swings, hosts switched off by their owners, parts exchanged, hot afternoons, and no fault."""

from __future__ import annotations

import random
from dataclasses import replace

from msgspec import structs

from collector.assess.ward import AFTER_HANDS
from collector.cli.drilling.stage import Stage
from collector.model import Request, RequestState, Verb, WorkOrder
from simulators.site import PartKind, Rack, Site
from simulators.world import World

DAY = 86_400.0
HOUR = 3_600.0
HOT_EVERY = 3
"""Days from one hot afternoon to the next."""
HOT = (5.0, 8.0)
"""How much warmer it gets, K: a warm day, and a day on which a cooler is in repair."""
SWINGS_A_DAY = 24
"""Times that somebody's load comes or goes, in the whole site, for each rack."""
OFF_A_DAY = 2
"""Hosts switched off for a while, for each rack."""
EXCHANGES = 0.2
"""Sound parts exchanged a day, for each rack."""
VISITS = 0.5
"""Times a day that somebody declares maintenance of a sled, for each rack, takes a part out and puts a new one in."""
VISIT = (1200.0, 5400.0)
"""Seconds that the part is out."""
WALK_INTERVAL = 3600.0
"""Seconds between two walks of a controller: most of the cost of long campaigns is in walks."""


def one_rack(site: Site, number: int = 0) -> Site:
    """The same site with one of its racks only."""
    racks = [(row, rack) for row in site.rows for rack in row.racks]
    row, rack = racks[number]
    return replace(site, rows=(replace(row, racks=(rack,)),))


def racks_of(site: Site) -> list[Rack]:
    """All racks, in the site's order."""
    return [rack for row in site.rows for rack in row.racks]


async def calm(site: Site, days: float, interval: float, seed: int) -> tuple[list[WorkOrder], list[str], int]:
    """Let healthy days pass, a round every ``interval`` seconds.

    Work orders that were told (every one of them is false), the troubles that were told, in words, and the rounds of
    single controllers that it took.
    """
    rng = random.Random(seed)
    world = World(site, seed=seed, step=min(interval, 300.0))
    stage = Stage(world, interval, WALK_INTERVAL)
    out: dict[str, float] = {}
    told: dict[str, str] = {}
    rounds = int(days * DAY / interval)
    scale = len(racks_of(site)) * interval / DAY
    try:
        for number in range(rounds):
            _live(world, rng, scale)
            _visit(stage, rng, scale, out)
            if (number * interval) % DAY < interval and int(number * interval / DAY) % HOT_EVERY == HOT_EVERY - 1:
                world.warm_room(HOT[0] + (HOT[1] - HOT[0]) * rng.random(), 9 * HOUR, after=9 * HOUR)
            await stage.round()
            for trouble in stage.troubles.values():
                first = trouble.suspects[0] if trouble.suspects else None
                words = "nobody" if first is None else f"{first.part} {first.fault} {first.probability:.2f}"
                told.setdefault(trouble.id, f"round {number}: {words}; {' | '.join(trouble.signs[:3])}")
    finally:
        await stage.close()
    return list(stage.ever_ordered.values()), list(told.values()), rounds * len(stage.stations)


def _live(world: World, rng: random.Random, scale: float) -> None:
    """What people and their programs do in one round's time. ``scale``: racks times the part of a day that passes."""
    sleds = world.site.sleds
    if rng.random() < SWINGS_A_DAY * scale:
        blade = rng.choice(rng.choice(sleds).blades)
        world.set_load(blade.path, rng.choice((None, 0.02, 0.5, 1.0)))
    if rng.random() < OFF_A_DAY * scale:
        blade = rng.choice(rng.choice(sleds).blades)
        world.set_power(blade.host, on=False, again=(0.2 + 3 * rng.random()) * HOUR)
    if rng.random() < EXCHANGES * scale:
        parts = [
            part
            for sled in sleds
            for part in sled.parts.values()
            if part.kind in (PartKind.FAN, PartKind.DRIVE, PartKind.MEMORY)
        ]
        world.exchange(rng.choice(parts).path)


def _visit(stage: Stage, rng: random.Random, scale: float, out: dict[str, float]) -> None:
    """Declared maintenance: a part is taken out, and later another one is put in; ``out``: until when, by path."""
    world, now = stage.world, stage.world.time
    stage.cares.lapse(now)
    for path in [path for path, until in out.items() if until <= now]:
        del out[path]
        world.clear("part-pulled", path)
        world.exchange(path)
    if rng.random() >= VISITS * scale:
        return
    sled = rng.choice(world.site.sleds)
    parts = [part for part in sled.parts.values() if part.kind in (PartKind.FAN, PartKind.DRIVE, PartKind.BLADE)]
    part = rng.choice(parts)
    if any(path.partition("/")[0] == sled.name for path in out):
        return
    long = VISIT[0] + (VISIT[1] - VISIT[0]) * rng.random()
    request = Request(
        asked_at=now,
        who="a technician",
        verb=Verb.MAINTAIN,
        target=sled.name,
        arguments={"controller": sled.name, "until": now + long + AFTER_HANDS},
        why="a part is exchanged",
        expires=now + 60.0,
    )
    state, text = stage.cares.carry_out(structs.replace(request, id=round(now)), lambda condition: None, now)
    if state is not RequestState.DONE:
        raise ValueError(f"maintenance of {sled.name} was not taken: {text}")
    world.inject("part-pulled", part.path)
    out[part.path] = now + long
