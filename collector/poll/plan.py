"""The fewest GETs that bring every reading, state and indicator of an inventory.

An expanded collection is one GET; it is used where the walk was served one, so what a service promises and does not
keep never gets into a plan. What part statuses need is fetched in any case. For the sensors that this does not bring,
the GET that brings most of them is taken next, until none is left: so a collection of Sensors comes before the
resources that repeat them, those before Sensors one by one, and the older Thermal and Power only where nothing newer
tells the same. A sensor is read at its own place where a GET brings that, else at one of its ``also_at``.

Where metric reports that can be relied on (``normalise.reports``) make that fewer GETs, they are fetched instead. What
a report leaves out is the sensors' own Status: their health is unknown then, and judged by their thresholds alone.
Expanded Sensors are asked for with ``$select`` where the walk has found that to work: thresholds stay at home then.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from heapq import heapify, heappop, heappush

from msgspec import Struct

from collector.model import Inventory
from collector.normalise.expanded import expanded_gets
from collector.normalise.inventory import Normalised
from collector.normalise.reports import Report
from collector.redfish import links
from collector.redfish.follow import type_name
from collector.redfish.resources import SELECT, Fetch, Walked


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
    always = {by_resource[uri].path: by_resource[uri] for uri in statuses if uri in by_resource}
    taken = dict(always)
    _cover(places, by_resource, taken)
    _drop_needless(places, statuses, taken)
    reports = _reports(inventory, places, always, order=len(walked.resources))
    if reports:
        told = {metric.column for report, _ in reports for metric in report.metrics}
        rest = [() if column in told else uris for column, uris in enumerate(places)]
        cheaper = dict(always)
        _cover(rest, by_resource, cheaper)
        _drop_needless(rest, statuses, cheaper)
        cheaper |= {choice.path: choice for _, choice in reports}
        # As many GETs are cheaper too where a report brings all: it is the smallest body that can.
        if len(cheaper) < len(taken) or (len(cheaper) == len(taken) == len(always) + 1):
            taken, places = cheaper, rest
    brings = {uri for choice in taken.values() for uri in choice.brings}
    read = statuses | {next((uri for uri in uris if uri in brings), "") for uris in places}
    read |= {choice.path for _, choice in reports}
    ordered = sorted(taken.values(), key=lambda choice: choice.order)
    fetches = (
        Fetch(sys.intern(choice.path), tuple(sys.intern(uri) for uri in choice.brings if uri in read), choice.expanded)
        for choice in ordered
    )
    return tuple(_selecting(fetch, walked, inventory) for fetch in fetches)


def _selecting(fetch: Fetch, walked: Walked, inventory: Inventory) -> Fetch:
    """A GET of many Sensors asks for what is read of them only, where the walk has tried that."""
    if not (fetch.expanded and walked.features.select_members and isinstance(inventory, Normalised)):
        return fetch
    collection = walked.resources.get(links.key(fetch.path))
    members = [walked.resources.get(uri) for uri in fetch.brings]
    # Of several pages each has a path of its own, which is the service's and not ours to change.
    paged = collection is None or any("nextLink" in key for key in collection.body) or "skip" in fetch.path
    if paged or not all(one is not None and type_name(one.body) == "Sensor" for one in members):
        return fetch
    brings = set(fetch.brings)
    keys = {reader.key for readers in inventory.recipe.readers for reader in readers if reader.uri in brings}
    names = ["Reading", "Status", "ReadingTime", *sorted(keys - {"Reading"})]
    return Fetch(sys.intern(f"{fetch.path}{SELECT}{','.join(names)}"), fetch.brings, fetch.expanded)


def _reports(
    inventory: Inventory, places: list[tuple[str, ...]], always: Mapping[str, _Choice], order: int
) -> list[tuple[Report, _Choice]]:
    """The metric reports to read, those first that bring most of what is not brought in any case."""
    if not isinstance(inventory, Normalised):
        return []
    brought = {uri for choice in always.values() for uri in choice.brings}
    left = {column for column, uris in enumerate(places) if uris and brought.isdisjoint(uris)}
    waiting, found = list(inventory.recipe.reports), []
    while waiting and left:
        best = max(waiting, key=lambda report: len(left & {metric.column for metric in report.metrics}))
        gained = left & {metric.column for metric in best.metrics}
        if not gained:
            break
        waiting.remove(best)
        left -= gained
        found.append((best, _Choice(best.uri, [best.uri], False, order)))
    return found


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
