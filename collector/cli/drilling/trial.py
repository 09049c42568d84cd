"""One trial: put faults into a calm fleet, wait for their names, take them out, wait for calm."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from typing import NamedTuple

from collector.cli.drilling.front import look_at
from collector.cli.drilling.hiding import hides
from collector.cli.drilling.stage import Stage
from collector.cli.drilling.truth import names
from collector.model import Suspect
from simulators.faults import CATALOGUE, Argument, Fault
from simulators.faults.fault import OVER
from simulators.site import Part, Site
from simulators.world import World

PATIENCE = 36
"""Rounds, after a fault is fully there, in which it must be named: a walk, which alone tells of boards and firmware,
comes once in thirty."""
WORN_OUT = 9.0
"""Per cent of its life left at which a wearing drive has to be named."""
SURE = 5
"""Rounds in a row for which the name has to stand; then a trial ends early."""
REST = 160
"""Rounds at most that a fleet gets to become calm again: what came and went is said for an hour after."""
FAR = 200
"""Draws in vain after which a second fault may be in any rack: a lost management switch hides all of its own."""
NO_FAULTS = frozenset({"part-swapped", "part-pulled"})
"""What is in the catalogue and no fault: people do it."""
UNSEEN = frozenset({"lamp-stuck", "lamp-lying"})
"""What no controller can tell: it takes a person at the front."""


STILL = frozenset({"sensor-stuck"})
"""What can't show while the thing that is measured stays as it is: a stuck sensor tells the truth until then. In these
trials loads come and go and the room warms a little, as they do in any day, and there is longer to wait."""
STIRRED = 300
"""Rounds more that such a trial may take."""
STIRRED_EVERY = 12
STIRRED_LOADS = (0.25, 0.8)
STIRRED_WARMTH, STIRRED_SECONDS = 5.0, 5400.0
"""K that the room gets warmer, and cooler again, and in how many seconds."""


class Planted(NamedTuple):
    """A fault drawn by chance."""

    fault: Fault
    part: Part
    arguments: dict[str, Argument]

    @property
    def fru(self) -> str:
        """Path of what a technician must replace or mend."""
        return self.fault.fru(self.part, self.arguments)

    @property
    def over(self) -> float:
        """Seconds until it is fully there."""
        over = self.arguments.get(OVER, self.fault.arguments.get(OVER, 0.0))
        if self.fault.name == "drive-wearing":
            left, per_day = float(self.arguments["left"]), float(self.arguments["per_day"])
            return 86_400.0 * (left - WORN_OUT) / per_day
        return float(over) if isinstance(over, float | int) else 0.0


class Row(NamedTuple):
    """What one fault of a trial came to."""

    fault: str
    part: str
    arguments: dict[str, Argument]
    fru: str
    hard: bool
    first_place: bool
    in_first_three: bool
    in_group: bool
    group: int
    """Size of the ambiguity group that was told; 0 where nothing was."""
    rounds: int | None
    """Poll rounds from onset until it stood at first place; None: never."""
    told: tuple[str, ...]
    """The first three suspects, in words."""
    troubles: int
    """Open at the end."""


def draw(site: Site, rng: random.Random, near: Planted | None = None, *, of_lamps: bool = False) -> Planted:
    """A fault by chance, each kind equally likely; ``near``: in the same rack, as often as not in the same sled, and
    such that neither hides the other; in another rack where it hides all of its own. ValueError where there is none.

    ``of_lamps``: only of what takes a person at the front; else nothing of that.
    """
    kinds = [
        fault for fault in CATALOGUE.values() if fault.name not in NO_FAULTS and (fault.name in UNSEEN) is of_lamps
    ]
    for tried in range(10 * FAR):
        fault = kinds[int(rng.random() * len(kinds))]
        targets = fault.targets(site)
        if near is not None:
            around = _unit(near.part) if rng.random() < 0.5 else _unit(near.part).partition("-")[0]
            around = around if tried < FAR else ""
            targets = [part for part in targets if _unit(part).startswith(around) and part.path != near.part.path]
        if targets:
            part = targets[int(rng.random() * len(targets))]
            arguments = fault.draw(rng)
            if near is not None and (
                hides(site, fault.name, part, near.part) or hides(site, near.fault.name, near.part, part)
            ):
                continue
            return Planted(fault, part, arguments)
    beside = "" if near is None else f" beside {near.fault.name} at {near.part.path}"
    raise ValueError(f"site {site.name!r} is too small: no fault on it can be seen{beside}")


def _unit(part: Part) -> str:
    """The sled, shelf or switch that a part is in or at: of a cable, what its near end is on."""
    return part.path.removeprefix("~").partition("/")[0]


async def trial(stage: Stage, planted: Sequence[Planted]) -> list[Row]:
    """Put faults in, see what is said of them, take them out and wait for calm; a row a fault."""
    stage.forget()
    for each in planted:
        stage.world.inject(each.fault.name, each.part.path, **each.arguments)
    for sled in {each.part.path.partition("/")[0] for each in planted if each.fault.name in UNSEEN}:
        await look_at(stage, sled)
    longest = math.ceil(max(each.over for each in planted) / stage.interval) + PATIENCE
    still = [each.part for each in planted if each.fault.name in STILL]
    stirred = list(dict.fromkeys(sled for part in still for sled in _around(stage.world, part)))
    if stirred:
        longest += STIRRED
        stage.world.warm_room(STIRRED_WARMTH, STIRRED_SECONDS)
    chance = random.Random(planted[0].part.path)
    named: dict[int, int] = {}
    passed: dict[int, Row] = {}
    held = 0
    for count in range(1, longest + 1):
        if stirred and count % STIRRED_EVERY == 0:
            low, high = STIRRED_LOADS
            stage.world.set_load(chance.choice(stirred), low + (high - low) * chance.random())
        await stage.round()
        there = [_stands(stage, each, len(planted)) for each in planted]
        for at, stands in enumerate(there):
            if stands:
                named.setdefault(at, count)
                if planted[at].fault.lasts:
                    # what ends by itself is not said for ever
                    passed.setdefault(at, _row(stage, planted[at], count, len(planted)))
            else:
                named.pop(at, None)
        held = held + 1 if all(stands or at in passed for at, stands in enumerate(there)) else 0
        if held >= (1 if planted[0].fault.lasts else SURE):
            break
    rows = [
        passed[at] if at in passed else _row(stage, each, named.get(at), len(planted))
        for at, each in enumerate(planted)
    ]
    for each in planted:
        stage.world.clear(each.fault.name, each.part.path)
    for sled in stirred:
        stage.world.set_load(sled, None)
    for sled in {each.part.path.partition("/")[0] for each in planted if each.fault.name in UNSEEN}:
        await look_at(stage, sled)  # and again, after it was mended
    await rest(stage)
    return rows


def _around(world: World, part: Part) -> list[str]:
    """The sled that a part is in; of what feeds a rack, all sleds of that rack."""
    name = _unit(part)
    sleds = [sled.name for sled in world.site.sleds]
    return [name] if name in sleds else [sled for sled in sleds if sled.startswith(name.partition("-")[0])]


async def rest(stage: Stage) -> bool:
    """Rounds until nothing is open any more; says whether that came about."""
    calm = 0
    for _ in range(REST):
        await stage.round()
        calm = 0 if stage.troubles else calm + 1
        if calm >= SURE:
            return True
    return False


def ranked(stage: Stage) -> list[Suspect]:
    """All suspects of all open troubles: those at first place before the others, the likeliest first."""
    found: list[tuple[int, float, Suspect]] = []
    for trouble in stage.troubles.values():
        for rank, suspect in enumerate(trouble.suspects):
            place = 0 if rank == 0 or suspect.part in trouble.also else rank
            found.append((place, -suspect.probability, suspect))
    return [suspect for _, _, suspect in sorted(found, key=lambda each: each[:2])]


def _stands(stage: Stage, planted: Planted, of: int) -> bool:
    return any(names(stage, suspect, planted.fru) for suspect in ranked(stage)[:of])


def _row(stage: Stage, planted: Planted, rounds: int | None, of: int) -> Row:
    order = ranked(stage)
    hits = [at for at, suspect in enumerate(order) if names(stage, suspect, planted.fru)]
    group, inside = 0, False
    for trouble in stage.troubles.values():
        members = [suspect for suspect in trouble.suspects if suspect.part in trouble.group]
        if any(names(stage, suspect, planted.fru) for suspect in members):
            group, inside = len(trouble.group), True
            break
        group = max(group, len(trouble.group))
    return Row(
        fault=planted.fault.name,
        part=planted.part.path,
        arguments=planted.arguments,
        fru=planted.fru,
        hard=planted.fault.hard,
        first_place=bool(hits) and hits[0] < of,
        in_first_three=bool(hits) and hits[0] < 3,
        in_group=inside,
        group=group,
        rounds=rounds,
        told=tuple(f"{each.name}: {each.fault} {each.probability:.3f} [{each.part}]" for each in order[:3]),
        troubles=len(stage.troubles),
    )
