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
from heapq import heapify, heappop, heappush

from msgspec import Struct

from collector.model import Inventory
from collector.normalise.expanded import expanded_gets
from collector.normalise.inventory import Normalised
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
    """For every sensor the resources that it may be read from, the best first."""
    told: list[tuple[str, ...]]
    if isinstance(inventory, Normalised):
        told = [tuple(reader.uri for reader in readers) for readers in inventory.recipe.readers]
    else:
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
    choices = {choice.path: choice for choice in by_resource.values()}
    ways = [tuple(dict.fromkeys(by_resource[uri].path for uri in uris)) for uris in places if uris]
    taken |= {paths[0]: choices[paths[0]] for paths in ways if len(paths) == 1}
    left: dict[str, set[int]] = {}  # of each GET the sensors that it would bring and none taken so far does
    for sensor, paths in enumerate(ways):
        if not any(path in taken for path in paths):
            for path in paths:
                left.setdefault(path, set()).add(sensor)

    def gain(path: str) -> tuple[int, int, int]:
        """What a GET would bring, smallest first for the best: the heap's order."""
        proper = sum(ways[sensor][0] == path for sensor in left[path])
        return -len(left[path]), -proper, choices[path].order

    heap = [(gain(path), path) for path in left]
    heapify(heap)
    while heap:
        told, path = heappop(heap)
        if not left[path]:
            continue
        now = gain(path)
        if now != told:
            heappush(heap, (now, path))  # others have been taken meanwhile that bring some of the same
            continue
        taken[path] = choices[path]
        for sensor in tuple(left[path]):
            for other in ways[sensor]:
                left[other].discard(sensor)


def _drop_needless(places: list[tuple[str, ...]], statuses: set[str], taken: dict[str, _Choice]) -> None:
    """Drops what turned out not to be needed: all its sensors come with others as well."""
    path_of = {uri: path for path, choice in taken.items() for uri in choice.brings}
    ways = [{path_of[uri] for uri in uris if uri in path_of} for uris in places]
    of_path: dict[str, list[set[str]]] = {}
    for paths in ways:
        for path in paths:
            of_path.setdefault(path, []).append(paths)
    for choice in sorted(taken.values(), key=lambda choice: len(choice.brings)):
        if any(uri in statuses for uri in choice.brings):
            continue
        if all(len(paths) > 1 for paths in of_path.get(choice.path, [])):
            for paths in of_path.get(choice.path, []):
                paths.discard(choice.path)
            del taken[choice.path]
