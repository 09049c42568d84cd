"""What is said of open conditions besides themselves: from which other they follow, and what people did about them.

Done only when a condition opened, changed or closed, somebody asked for something, the rack's feeds changed, or a time
has come; a round in which nothing of that is so costs one look at each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from msgspec import structs

from collector.assess.book import Book
from collector.assess.care import Cares
from collector.assess.consequences import Cause, Shows, causes_of, leads_to, shows_of
from collector.assess.outages import Lost, Outages, Rack, rack_of
from collector.assess.tree import Tree
from collector.model import Condition, Kind, Location, Quantity, Seconds, State, Status

LINGERS = 5
"""Poll intervals for which a consequence stays one when its cause is over: what recovers, recovers step by step."""
_STEPS = Location.__struct_fields__


class Attending:
    """One controller's; ``cares`` and ``outages`` are the fleet's. ``location``: where the fleet file says it is."""

    def __init__(
        self, controller: str, interval: Seconds, cares: Cares, outages: Outages, location: Location = Location()
    ) -> None:
        self._controller = controller
        self._interval = interval
        self._cares = cares
        self._outages = outages
        self._location = location
        self._rack: Rack | None = rack_of(location)
        self._feeds: tuple[int, ...] = ()
        self._tree: Tree | None = None
        self._seen: tuple[int, int] | None = None
        self._next: Seconds = math.inf
        self._orphans: dict[str, Seconds] = {}
        """Consequences whose cause is over: since when."""

    def due(self, now: Seconds) -> bool:
        """Whether marks or causes may have changed though no condition did."""
        return now >= self._next or self._seen != (self._cares.version, self._outages.version(self._rack))

    def attend(
        self,
        book: Book,
        tree: Tree,
        statuses: Mapping[str, Status],
        quantities: Mapping[tuple[str, str], Quantity],
        now: Seconds,
    ) -> None:
        """Say it anew of every open condition."""
        if tree is not self._tree:
            self._take_tree(tree)
        conditions = book.all()
        self._tell_outages(conditions, tree, statuses, quantities)
        self._next = self._cares.next_change(now)
        outages = self._outages.of(self._rack)
        found = causes_of(conditions, tree, statuses, quantities, self._interval, outages) if conditions else {}
        self._let_linger(conditions, found, now)
        for condition in conditions:
            cause = found.get(condition.id)
            at = tree.at.get(condition.part or "")
            holders = [] if at is None else [tree.parts[each].id for each in (at, *tree.ancestors(at))]
            marks = self._cares.marks(condition, self._place(at, tree), holders, now)
            book.put(
                structs.replace(
                    condition,
                    cause=None if cause is None else cause.id,
                    inherited=cause is not None and cause.inherited,
                    acknowledged=marks.acknowledged,
                    shelved=marks.shelved,
                    maintenance=marks.maintenance,
                )
            )
        self._seen = (self._cares.version, self._outages.version(self._rack))

    def maintained(self, tree: Tree, now: Seconds) -> frozenset[str]:
        """Ids of the parts that hands are at work on now, by what people declared."""
        if not self._cares.maintains:
            return frozenset()
        return frozenset(
            part.id
            for at, part in enumerate(tree.parts)
            if self._cares.at_work(
                self._controller,
                [tree.parts[each].id for each in (at, *tree.ancestors(at))],
                self._place(at, tree),
                now,
            )
        )

    def closed(self, condition: Condition) -> None:
        """Take it that a condition closed."""
        self._orphans.pop(condition.id, None)
        self._cares.closed(condition)

    def _let_linger(self, conditions: list[Condition], found: dict[str, Cause], now: Seconds) -> None:
        lingers = LINGERS * self._interval
        for condition in conditions:
            if condition.cause is None or condition.id in found:
                self._orphans.pop(condition.id, None)
                continue
            since = self._orphans.setdefault(condition.id, now)
            if 0 <= now - since < lingers and not leads_to(found, condition.cause, condition.id):
                found[condition.id] = Cause(condition.cause, condition.inherited)
                self._next = min(self._next, since + lingers)

    def _take_tree(self, tree: Tree) -> None:
        self._tree = tree
        told = (rack_of(tree.parts[root].location) for root in tree.roots)
        self._rack = next((rack for rack in told if rack is not None), rack_of(self._location))
        self._feeds = tuple(
            at
            for at, part in enumerate(tree.parts)
            if part.kind is Kind.POWER_FEED and not any(tree.parts[up].kind is Kind.SLED for up in tree.ancestors(at))
        )

    def _tell_outages(
        self,
        conditions: list[Condition],
        tree: Tree,
        statuses: Mapping[str, Status],
        quantities: Mapping[tuple[str, str], Quantity],
    ) -> None:
        if not self._feeds or self._rack is None:
            return
        feeds = {tree.parts[at].id: tree.parts[at] for at in self._feeds}
        lost: dict[str, Lost] = {}
        for each in conditions:
            if each.part is None or (feed := feeds.get(each.part)) is None or each.part in lost:
                continue
            shows = shows_of(each, feed, statuses, quantities.get((each.part, each.sensor or "")))
            if shows in (Shows.NO_POWER, Shows.GONE):
                lost[each.part] = Lost(each.id, each.part, each.opened)
        absent = {feed for feed in feeds if (status := statuses.get(feed)) is not None and status.state is State.ABSENT}
        self._outages.tell(self._controller, self._rack, lost.values(), len(feeds.keys() - lost.keys() - absent))

    def _place(self, at: int | None, tree: Tree) -> Location:
        """Where a part is; what its own label leaves out as the parts around it have it, and then the fleet file."""
        around = [] if at is None else [tree.parts[each].location for each in (at, *tree.ancestors(at))]
        if at is None and tree.roots:
            around = [tree.parts[root].location for root in tree.roots]
        told: dict[str, object] = {}
        for place in (*around, self._location):
            for step in _STEPS:
                if told.get(step) is None:
                    told[step] = getattr(place, step)
        return structs.replace(Location(), **told)
