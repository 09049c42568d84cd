"""A person at a sled's front in a drill: lights every lamp, looks, puts it out, looks again, and says what they saw.

They do what the lamp reader would tell them to do, and don't know which lamp is at fault, if any is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.assess.lamp_reader import agreement
from collector.assess.lamps import Agreement
from collector.model import Lamps, LampState, LedState, Request, Status, Verb
from simulators.report import has_lamp

if TYPE_CHECKING:
    from collector.cli.drilling.stage import Stage, Station

_WHO = "the drill"


async def look_at(stage: Stage, sled: str) -> None:
    """Go through all the lamps of a sled, once on and once off. What was seen to differ is not looked at again."""
    station = stage.stations[sled]
    lamps = _lamps(stage, station)
    differing: set[str] = set()
    for on in (True, False):
        for part, path in lamps.items():
            if "#" not in part:  # a row of a legacy resource has a lamp, and nothing to switch it by
                stage.world.set_locate(path, on)
        await stage.look(sled)
        for part, path in lamps.items():
            if part not in differing and not (on and "#" in part) and _differs(stage, station, part, path, on):
                differing.add(part)
        await stage.round()  # what was seen is weighed with what is told next, so nothing is switched before


def _lamps(stage: Stage, station: Station) -> dict[str, str]:
    """By part id, the paths on the simulated site of the parts with lamps that their controller tells of."""
    around = station.service.tree.around
    if around is None:
        return {}
    found: dict[str, str] = {}
    for path, part in station.unit.parts.items():
        uri = around.telling.parts.get(path.partition("/")[2])
        if uri is not None and has_lamp(station.unit, part):
            told = f"{station.unit.name}:{uri}"
            if told in station.ward.watch.tree.at:
                found.setdefault(told, path)
    return found


def _differs(stage: Stage, station: Station, part: str, path: str, on: bool) -> bool:
    """Say what is seen of one lamp, and whether it followed; whether either is wrong."""
    watch = station.ward.watch
    told, status = watch.lamps.get(part), watch.statuses.get(part)
    request = Request(
        id=stage.asked(),
        asked_at=stage.world.time,
        who=_WHO,
        verb=Verb.LOCATE,
        target=part,
        arguments={"on": on},
        expires=stage.world.time + 60.0,
    )
    if (lit := _lit(status)) is not None and lit is not on:
        stage.sightings.followed(request, watch.tree, told, on, good=False)
        return True
    shown = stage.world.lamps_seen(path)
    seen = Lamps(LampState(shown.blue), LampState(shown.amber))
    arguments: dict[str, str | float | int | bool | None] = {"blue": shown.blue, "amber": shown.amber}
    stage.sightings.take(
        Request(
            id=stage.asked(),
            asked_at=stage.world.time,
            who=_WHO,
            verb=Verb.OBSERVE,
            target=part,
            arguments=arguments,
            expires=stage.world.time + 60.0,
        ),
        watch.tree,
        told,
    )
    return told is not None and agreement(seen, told) is Agreement.DISAGREES


def _lit(status: Status | None) -> bool | None:
    if status is None or (status.locate is None and status.led is None):
        return None
    return status.locate if status.locate is not None else status.led is not LedState.OFF
