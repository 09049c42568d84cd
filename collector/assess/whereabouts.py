"""Where every part of the fleet is, as far as anyone told: what lets a part be followed from controller to controller.

One for the fleet. Walks are given to it one after the other; each costs by the parts of its own controller, however
large the fleet is.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Iterable, Mapping

from msgspec import Struct

from collector.assess import telling
from collector.assess.changes import compare
from collector.assess.identity import positions
from collector.assess.tree import Tree
from collector.assess.turns import Change, Key, Known, Look, Sighting, key_of
from collector.model import DefectKind, Event, Inventory, Kind, Part, Seconds, State, Stay, Turn

MOST_GONE = 50_000
"""Parts of the whole fleet that are remembered after they were seen last."""
MOST_EMPTY = 1_000
"""Positions of one controller that are remembered though nothing stands there."""
MOST_SHARED = 4
"""Positions that tell one serial number, from which on it identifies nothing."""
NOT_READ = frozenset({DefectKind.HTTP_ERROR, DefectKind.NOT_JSON, DefectKind.TOO_BIG, DefectKind.TOO_DEEP})
"""Defects that say that a resource was offered and not read."""
LISTED_WHEN_OFF = frozenset({Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.FAN, Kind.POWER_SUPPLY, Kind.BATTERY, Kind.PUMP})
"""Kinds that a service lists whatever is off; processors or drives of a host may vanish with its power."""


class Walked(Struct, frozen=True, kw_only=True):
    """What a walk meant for the whereabouts of parts."""

    changes: tuple[Change, ...] = ()
    events: tuple[Event, ...] = ()
    stays: tuple[Stay, ...] = ()
    """To be kept."""

    @property
    def missing(self) -> tuple[Stay, ...]:
        """The stays that ended because a part is no longer listed."""
        return tuple(
            change.before for change in self.changes if change.turn is Turn.MISSING and change.before is not None
        )


class Whereabouts:
    """``stays``: all that an earlier run left, in the order in which they began. ``controllers``: those that are
    polled; of others nothing lasts. None: all that there are. Not thread-safe.
    """

    def __init__(self, stays: Iterable[Stay] = (), controllers: Collection[str] | None = None) -> None:
        self._polled = controllers
        self._known: dict[str, dict[str, Known]] = {}
        self._silent: set[str] = set()
        self._present: dict[Key, dict[tuple[str, str], Known]] = {}
        self._gone: OrderedDict[Key, Stay] = OrderedDict()
        """Newest stay that ended, of parts by serial number; the one that ended last is last."""
        for stay in stays:
            self._remember(stay, told=-float("inf"), unread=frozenset())

    def walked(self, inventory: Inventory, now: Seconds) -> Walked:
        """Take a walk of one controller."""
        controller = inventory.controller
        known = self._known.get(controller, {})
        tree = Tree(inventory.parts, inventory.links)
        told = _told(inventory, tree)
        if self._tells_nothing(known, told):
            if controller in self._silent:
                return Walked()
            self._silent.add(controller)
            count = sum(each.present for each in known.values())
            return Walked(events=(telling.nothing_told(controller, count, now),))
        self._silent.discard(controller)
        unread = frozenset(defect.resource for defect in inventory.defects if defect.kind in NOT_READ)
        homes = _Homes(inventory, tree, told, known)
        look = Look(
            controller=controller,
            time=now,
            told=told,
            first=not known,
            unread=unread,
            home_is_off=homes.off,
        )
        compared = compare(known, look, lambda key: self._sightings(controller, key))
        for stay in compared.stays:
            self._remember(stay, told=now, unread=unread)
        known = self._known.setdefault(controller, {})
        for position in told:
            if (each := known.get(position)) is not None:
                each.told, each.unread = now, unread
        self._prune(known)
        events = telling.events(controller, compared.changes, lambda part: self._home_of(part, homes.parents), now)
        return Walked(changes=compared.changes, events=tuple(events), stays=compared.stays)

    @staticmethod
    def _tells_nothing(known: dict[str, Known], told: dict[str, Part]) -> bool:
        """A service that is starting up may list nothing at all, without an error."""
        return not told and sum(each.present for each in known.values()) > 1

    def _home_of(self, part: str, here: Mapping[str, str | None]) -> str | None:
        """What contains a part, of this walk's controller or of another."""
        if part in here:
            return here[part]
        known = self._known.get(part.partition(":")[0], {}).get(part)
        return None if known is None else known.stay.parent

    def _sightings(self, controller: str, key: Key) -> list[Sighting]:
        present = self._present.get(key, {})
        if len(present) >= MOST_SHARED:
            return []
        found = [Sighting(self._gone[key], lasts=False)] if key in self._gone else []
        for (name, _), known in present.items():
            if name != controller:
                found.append(Sighting(known.stay, lasts=self._polled is None or name in self._polled))
        return found

    def _remember(self, stay: Stay, told: Seconds, unread: frozenset[str]) -> None:
        known = self._known.setdefault(stay.controller, {})
        each = known.get(stay.position)
        if each is None:
            known[stay.position] = each = Known(stay, told, unread)
        else:
            self._forget(each)
            if stay.since >= each.stay.since:
                each.stay = stay
        key = key_of(stay.kind, stay)
        if key is not None and stay.until is not None:
            last = self._gone.get(key)
            if last is None or (last.until or 0.0) <= stay.until:
                self._gone[key] = stay
                self._gone.move_to_end(key)
                if len(self._gone) > MOST_GONE:
                    self._gone.popitem(last=False)
        if each.present and (key := key_of(each.stay.kind, each.stay)) is not None:
            self._gone.pop(key, None)
            self._present.setdefault(key, {})[stay.controller, stay.position] = each

    def _forget(self, each: Known) -> None:
        """Take a position out of the index of what is present."""
        key = key_of(each.stay.kind, each.stay)
        if key is None or (there := self._present.get(key)) is None:
            return
        there.pop((each.stay.controller, each.stay.position), None)
        if not there:
            del self._present[key]

    @staticmethod
    def _prune(known: dict[str, Known]) -> None:
        empty = [(each.stay.until or 0.0, position) for position, each in known.items() if not each.present]
        for _, position in sorted(empty)[: max(0, len(empty) - MOST_EMPTY)]:
            del known[position]


def _told(inventory: Inventory, tree: Tree) -> dict[str, Part]:
    """The parts that are there, by position: a place that is listed as empty, and all in it, is not."""
    absent: set[int] = set()
    for at in tree.order:
        status = inventory.statuses.get(tree.parts[at].id)
        if tree.parent[at] in absent or (status is not None and status.state is State.ABSENT):
            absent.add(at)
    return positions(part for at, part in enumerate(tree.parts) if at not in absent)


class _Homes:
    """What contains the parts of a walk and those that went before it."""

    def __init__(self, inventory: Inventory, tree: Tree, told: dict[str, Part], known: dict[str, Known]) -> None:
        self._tree = tree
        self._idle = tree.idle(inventory.statuses)
        self._here = {part.id for part in told.values()}
        self.parents: dict[str, str | None] = {each.stay.part: each.stay.parent for each in known.values()}
        self.parents |= {part.id: part.parent for part in told.values()}

    def off(self, stay: Stay) -> bool:
        """Whether the nearest part around it that is still there is off, and it a part that may vanish with power."""
        if stay.kind in LISTED_WHEN_OFF:
            return False
        outer, steps = stay.parent, 0
        while outer is not None and steps <= len(self.parents):
            if outer in self._here:
                return bool(self._idle[self._tree.at[outer]])
            outer, steps = self.parents.get(outer), steps + 1
        return False
