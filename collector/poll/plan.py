"""The fewest GETs that bring every reading, state and indicator of an inventory.

An expanded collection is one GET; it is used where the walk was served one, so what a service promises and does not
keep never gets into a plan. What part statuses need is fetched in any case. For the sensors that this does not bring,
the GET that brings most of them is taken next, until none is left: so a collection of Sensors comes before the
resources that repeat them, those before Sensors one by one, and the older Thermal and Power only where nothing newer
tells the same. A sensor is read at its own place where a GET brings that, else at one of its ``also_at``.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

from msgspec import Struct

from collector.model import Inventory
from collector.normalise.expanded import expanded_gets
from collector.redfish import links
from collector.redfish.resources import Fetch, Walked


class _Choice(Struct, eq=False):
    """One GET that could be in the plan."""

    path: str
    brings: list[str]
    expanded: bool
    order: int


def plan(walked: Walked, inventory: Inventory) -> tuple[Fetch, ...]:
    """The GETs of a round, in the order in which the walk found what they bring."""
    places = _places(inventory, walked)
    statuses = {part.uri.partition("#")[0] for part in inventory.parts if part.id in inventory.statuses}
    wanted = statuses | {uri for uris in places for uri in uris}
    choices = _choices(walked, wanted)
    by_resource = {uri: choice for choice in choices for uri in choice.brings}
    taken = {by_resource[uri].path: by_resource[uri] for uri in statuses if uri in by_resource}
    _cover(places, by_resource, taken)
    _drop_needless(places, statuses, taken)
    brings = {uri for choice in taken.values() for uri in choice.brings}
    read = statuses | {next((uri for uri in uris if uri in brings), "") for uris in places}
    ordered = sorted(taken.values(), key=lambda choice: choice.order)
    return tuple(
        Fetch(sys.intern(choice.path), tuple(sys.intern(uri) for uri in choice.brings if uri in read), choice.expanded)
        for choice in ordered
    )


def _places(inventory: Inventory, walked: Walked) -> list[tuple[str, ...]]:
    """For every sensor the resources that tell it, the best first."""
    told = [(sensor.source, *sensor.also_at) for sensor in inventory.layout.sensors]
    return [
        tuple(dict.fromkeys(uri for place in places if (uri := place.partition("#")[0]) in walked.resources))
        for places in told
    ]


def _choices(walked: Walked, wanted: set[str]) -> list[_Choice]:
    """One GET for each wanted resource: the expanded collection that brings it, else its own."""
    expanded = {uri: path for path, uris in expanded_gets(walked.resources).items() for uri in uris}
    choices: dict[str, _Choice] = {}
    for order, (uri, resource) in enumerate(walked.resources.items()):
        if uri in wanted:
            own = resource.fetched_by if links.key(resource.fetched_by) == uri else uri
            path = expanded.get(uri, own)
            choices.setdefault(path, _Choice(path, [], uri in expanded, order)).brings.append(uri)
    return list(choices.values())


def _cover(places: list[tuple[str, ...]], by_resource: Mapping[str, _Choice], taken: dict[str, _Choice]) -> None:
    """Takes in what brings most of the sensors not brought yet, again and again.

    Of two that bring as many, the one that is the proper place of more of them goes first.
    """
    left = [uris for uris in places if uris and not any(by_resource[uri].path in taken for uri in uris)]
    while left:
        gains: dict[str, list[int]] = {}
        for uris in left:
            for path in {by_resource[uri].path for uri in uris}:
                gain = gains.setdefault(path, [0, 0])
                gain[0] += 1
                gain[1] += by_resource[uris[0]].path == path
        choices = {by_resource[uri].path: by_resource[uri] for uris in left for uri in uris}
        best = max(choices.values(), key=lambda choice: (*gains[choice.path], -choice.order))
        taken[best.path] = best
        left = [uris for uris in left if not any(by_resource[uri].path == best.path for uri in uris)]


def _drop_needless(places: list[tuple[str, ...]], statuses: set[str], taken: dict[str, _Choice]) -> None:
    """Drops what turned out not to be needed: all its sensors come with others as well."""
    for choice in sorted(taken.values(), key=lambda choice: len(choice.brings)):
        if any(uri in statuses for uri in choice.brings):
            continue
        rest = {uri for path, other in taken.items() if path != choice.path for uri in other.brings}
        if all(not uris or any(uri in rest for uri in uris) for uris in places if set(uris) & set(choice.brings)):
            del taken[choice.path]
