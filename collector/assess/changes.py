"""What changed between what is known of a controller's positions and a new walk of it. Pure: no clock, no memory.

Everything is compared position by position first; what left its position and what came to one are then matched, by
serial number within the controller, by serial number in the rest of the fleet, and, where parts tell no serial number,
by kind and name. What is left over is missing, or new.

Silence is no change: a serial number that is not told this time was not taken away. What a walk did not read, or what
a service lists only while its host runs, is not missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from msgspec import structs

from collector.assess.identity import (
    another,
    array_of,
    compatible,
    differ,
    elsewhere,
    fuller,
    fuller_location,
    shape,
)
from collector.assess.turns import Change, Compared, Find, Key, Known, Look, key_of
from collector.model import Kind, Part, Seconds, Stay, Turn

_RENAMED = 3
"""Parts of one kind, all of them at other places than any known before, from which on that is a renaming."""
_WHOLESALE = 0.9
"""Part of the known positions that no longer exist, from which on the tree as a whole was renamed."""
_LEAST_STEP = 0.001
"""Seconds that a stay lasts at least, so that a clock that steps back can't put stays on top of each other."""


def compare(known: Mapping[str, Known], look: Look, find: Find = lambda key: ()) -> Compared:
    """Compare what is known of a controller, by position, with a walk of it."""
    return _Comparison(known, look, find).run()


class _Comparison:
    def __init__(self, known: Mapping[str, Known], look: Look, find: Find) -> None:
        self._known, self._look, self._find = known, look, find
        self._present = {position: each for position, each in known.items() if each.present}
        told = Counter(key_of(part.kind, part) for part in look.told.values())
        before = Counter(key_of(each.stay.kind, each.stay) for each in self._present.values())
        self._shared = {key for count in (told, before) for key, number in count.items() if number > 1}
        self._came: dict[str, Part] = {}
        """What stands at a position now and did not before."""
        self._left: dict[str, Known] = {}
        """What stood at a position and does not now."""
        self._changes: list[Change] = []
        self._stays: list[Stay] = []
        self._taken: set[str] = set()
        """Positions in ``_left`` whose part has been found again."""
        self._named = {part.id: part for part in look.told.values()}

    def run(self) -> Compared:
        """Everything in turn; see the module."""
        for position, part in self._look.told.items():
            known = self._present.get(position)
            if known is not None and _told_alike(known.stay, part):
                continue  # what most walks find of most parts
            if known is not None and another(part.kind, known.stay.identity, part.identity):
                self._left[position] = known
            elif known is not None:
                self._stayed(known.stay, part)
                continue
            self._came[position] = part
        gone = {position: each for position, each in self._present.items() if position not in self._look.told}
        self._left |= gone
        pairs = self._by_serial()
        pairs |= self._by_kind(pairs)
        self._taken = set(pairs.values())
        # Of the known positions, those that no longer exist though what stood there does: the tree has new names.
        renamed = len(gone) >= _WHOLESALE * len(self._present) and 2 * len(self._taken & gone.keys()) >= len(gone)
        for position, part in self._came.items():
            source = pairs.get(position)
            if source is None:
                self._arrived(position, part, renamed)
            else:
                self._found_again(source, position, part, renamed)
        for position, each in self._left.items():
            if position not in self._taken:
                self._departed(position, each, renamed)
        return Compared(changes=tuple(self._changes), stays=tuple(self._stays))

    # Matching what left with what came

    def _key(self, stay_or_part: Stay | Part) -> Key | None:
        key = key_of(stay_or_part.kind, stay_or_part)
        return None if key in self._shared else key

    def _by_serial(self) -> dict[str, str]:
        """Position now -> position before."""
        left = {key: position for position, each in self._left.items() if (key := self._key(each.stay)) is not None}
        pairs = {}
        for position, part in self._came.items():
            key = self._key(part)
            if key in left and compatible(self._left[left[key]].stay.identity, part.identity):
                pairs[position] = left[key]
        return pairs

    def _by_kind(self, pairs: Mapping[str, str]) -> dict[str, str]:
        """Parts without a serial number, where nothing but their address changed."""
        taken = set(pairs.values())
        came: dict[Kind, list[str]] = {}
        left: dict[Kind, list[str]] = {}
        for position, part in self._came.items():
            if position not in pairs and position not in self._known:
                came.setdefault(part.kind, []).append(position)
        for position, each in self._left.items():
            if position not in taken and position not in self._look.told:
                left.setdefault(each.stay.kind, []).append(position)
        found: dict[str, str] = {}
        for kind in came.keys() & left.keys():
            found |= self._same_name(came[kind], left[kind])
            rest_came = [position for position in came[kind] if position not in found]
            rest_left = [position for position in left[kind] if position not in found.values()]
            whole = not any(part.kind is kind and at not in self._came for at, part in self._look.told.items())
            reshaped = {shape(position) for position in rest_came}.isdisjoint(shape(at) for at in rest_left)
            if len(rest_came) == len(rest_left) and whole and (reshaped or len(rest_came) >= _RENAMED):
                found |= {
                    now: before for now, before in zip(rest_came, rest_left, strict=True) if self._may_be(before, now)
                }
        return found

    def _same_name(self, came: Iterable[str], left: Iterable[str]) -> dict[str, str]:
        def unique(names: Mapping[str, object]) -> dict[object, str]:
            counts = Counter(names.values())
            return {name: position for position, name in names.items() if counts[name] == 1}

        told, known = self._look.told, self._known
        old = unique({at: (known[at].stay.name.casefold(), known[at].stay.location) for at in left})
        new = unique({at: (told[at].name.casefold(), told[at].location) for at in came})
        return {new[name]: old[name] for name in new if name in old and self._may_be(old[name], new[name])}

    def _may_be(self, before: str, now: str) -> bool:
        """Whether what was there may be what is here now, as far as both say."""
        stay, part = self._known[before].stay, self._look.told[now]
        if another(part.kind, stay.identity, part.identity) or not compatible(stay.identity, part.identity):
            return False
        return not differ(stay.identity.model, part.identity.model)

    # What became of each

    def _stayed(self, stay: Stay, part: Part) -> None:
        """The same part where it was: what it tells of itself may have changed."""
        turn = None
        if differ(stay.identity.part_number, part.identity.part_number):
            turn = Turn.IDENTITY
        elif elsewhere(stay.location, part.location):
            turn = Turn.LOCATION
        elif differ(stay.identity.firmware, part.identity.firmware):
            turn = Turn.FIRMWARE
        if turn is not None:
            self._change(turn, stay.position, part, before=stay)
            return
        known_now = structs.replace(
            stay,
            part=part.id,
            parent=part.parent,
            kind=part.kind,
            name=part.name,
            location=fuller_location(stay.location, part.location),
            identity=fuller(stay.identity, part.identity),
        )
        if known_now != stay:
            self._stays.append(known_now)

    def _found_again(self, source: str, position: str, part: Part, renamed: bool) -> None:
        before, displaced = self._left[source].stay, self._left.get(position)
        turn = Turn.ADDRESS if renamed or not self._is_move(before, position, part) else Turn.MOVED
        self._change(turn, position, part, before=before, displaced=None if displaced is None else displaced.stay)

    def _is_move(self, before: Stay, position: str, part: Part) -> bool:
        """Whether a part that is told at another position stands at another place."""
        if elsewhere(before.location, part.location):
            return not self._is_renaming(part.kind)
        if self._labelled(before, self._named_before(before.parent)) and self._labelled(
            part, self._named.get(part.parent or "")
        ):
            return False
        array = array_of(position)
        if array is not None and array == array_of(before.position):
            return self._rows(array, self._look.told) == self._rows(array, self._present)  # else the rows moved up
        return shape(position) == shape(before.position) and not self._is_renaming(part.kind)

    def _is_renaming(self, kind: Kind) -> bool:
        """Whether all parts of a kind are at positions and places that nobody knew before."""
        now = {at: part for at, part in self._look.told.items() if part.kind is kind}
        before = [each.stay for each in self._present.values() if each.stay.kind is kind]
        known = {stay.location for stay in before}
        return (
            min(len(now), len(before)) >= _RENAMED
            and not now.keys() & self._known.keys()
            and all(
                part.location not in known or not self._labelled(part, self._named.get(part.parent or ""))
                for part in now.values()
            )
        )

    @staticmethod
    def _labelled(each: Stay | Part, container: Stay | Part | None) -> bool:
        """Whether a part's location is its own and not only that of what contains it."""
        if container is None:
            return each.location.slot is not None or each.location.slot_index is not None
        return each.location != container.location

    def _named_before(self, part: str | None) -> Stay | None:
        known = self._known.get(part or "")
        return None if known is None else known.stay

    @staticmethod
    def _rows(array: str, positions: Iterable[str]) -> int:
        return sum(position.startswith(array + "/") for position in positions)

    def _arrived(self, position: str, part: Part, renamed: bool) -> None:
        """Not in this controller before: back, from elsewhere, in another's place, or new."""
        left, known = self._left.get(position), self._known.get(position)
        last = None if known is None else known.stay
        key = self._key(part)
        sightings = () if key is None else [each for each in self._find(key) if self._fits(each.stay, position, part)]
        from_there = next((each.stay for each in reversed(sightings) if not each.lasts), None)
        also = next((each.stay for each in sightings if each.lasts), None)
        if left is None and last is not None and self._is_back(last, part, from_there):
            self._change(Turn.RETURNED, position, part, before=last, also=also)
        elif from_there is not None:
            turn = Turn.ADDRESS if self._told_anew(from_there, part) else Turn.MOVED
            self._change(turn, position, part, before=from_there, displaced=None if left is None else left.stay)
        elif left is not None or (last is not None and last.ended is Turn.MISSING):
            self._change(Turn.SWAPPED, position, part, before=last, also=also)
        elif self._look.first:
            self._change(Turn.FIRST_SEEN, position, part)
        elif renamed and key is None:
            self._change(Turn.ADDRESS, position, part)
        else:
            self._change(Turn.APPEARED, position, part, also=also)

    def _told_anew(self, there: Stay, part: Part) -> bool:
        """Whether a part from another controller is where it was: only who tells of it changed.

        By its place, or, where that isn't told, by its address below a controller that is not polled any more.
        """
        if there.controller == self._look.controller or there.location != part.location:
            return False
        renamed = there.until is None and there.part.partition(":")[2] == part.uri
        return renamed or bool(part.location.text)

    @staticmethod
    def _is_back(last: Stay, part: Part, from_there: Stay | None) -> bool:
        """Whether what stands at an empty position now is what stood there last, and was nowhere else meanwhile."""
        if another(part.kind, last.identity, part.identity):
            return False
        if from_there is not None and (from_there.until or 0.0) > (last.until or 0.0):
            return False
        return last.ended is Turn.MISSING or key_of(part.kind, last) == key_of(part.kind, part) is not None

    @staticmethod
    def _fits(stay: Stay, position: str, part: Part) -> bool:
        return stay.position != position and compatible(stay.identity, part.identity)

    def _departed(self, position: str, known: Known, renamed: bool) -> None:
        """Left its position and is not found in this controller."""
        stay = known.stay
        key = self._key(stay)
        sightings = () if key is None else [each.stay for each in self._find(key) if each.lasts]
        sightings = [each for each in sightings if compatible(stay.identity, each.identity)]
        newer = [each for each in sightings if known.told < each.since and each.began is not Turn.FIRST_SEEN]
        if newer and known.told > -float("inf"):
            there = newer[-1]
            arrived = structs.replace(there, began=Turn.MOVED, came_from=stay.position)
            ended = self._ended(stay, Turn.MOVED, there.position)
            self._stays += [ended, arrived]
            self._changes.append(Change(turn=Turn.MOVED, before=ended, after=arrived))
        elif any(change.turn is Turn.SWAPPED and _is(change.before, stay) for change in self._changes):
            return  # told, and ended, with what took its place
        elif any(change.displaced is stay and change.turn is Turn.MOVED for change in self._changes):
            self._end(stay, Turn.SWAPPED)
        elif renamed and key is None:
            self._end(stay, Turn.ADDRESS)
        elif position in self._look.told or self._is_missing(known):
            ended = self._end(stay, Turn.MISSING)
            self._changes.append(Change(turn=Turn.MISSING, before=ended, also=sightings[-1] if sightings else None))

    def _is_missing(self, known: Known) -> bool:
        """Whether a part that is not told is known not to be there."""
        return self._look.unread <= known.unread and not self._look.home_is_off(known.stay)

    # Stays

    def _change(
        self,
        turn: Turn,
        position: str,
        part: Part,
        *,
        before: Stay | None = None,
        displaced: Stay | None = None,
        also: Stay | None = None,
    ) -> None:
        after = self._begun(turn, position, part, before)
        if before is not None and before.until is None:
            before = self._ended(before, turn, after.position if turn in (Turn.MOVED, Turn.ADDRESS) else None)
            self._stays.append(before)
        self._stays.append(after)
        self._changes.append(Change(turn=turn, before=before, after=after, displaced=displaced, also=also))

    def _begun(self, turn: Turn, position: str, part: Part, before: Stay | None) -> Stay:
        last = self._known.get(position)
        same = before is not None and turn is not Turn.SWAPPED
        located = before is not None and turn in (Turn.FIRMWARE, Turn.IDENTITY)
        return Stay(
            controller=self._look.controller,
            position=position,
            part=part.id,
            parent=part.parent,
            kind=part.kind,
            name=part.name,
            location=fuller_location(before.location, part.location) if located and before else part.location,
            identity=fuller(before.identity, part.identity) if same and before else part.identity,
            since=self._look.time if last is None else _moment(last.stay, self._look.time),
            began=turn,
            came_from=before.position if before is not None and before.position != position else None,
        )

    def _end(self, stay: Stay, turn: Turn) -> Stay:
        ended = self._ended(stay, turn, None)
        self._stays.append(ended)
        return ended

    def _ended(self, stay: Stay, turn: Turn, went_to: str | None) -> Stay:
        return structs.replace(stay, until=_moment(stay, self._look.time), ended=turn, went_to=went_to)


def _told_alike(stay: Stay, part: Part) -> bool:
    return (
        stay.identity == part.identity
        and stay.location == part.location
        and (stay.part, stay.parent, stay.kind, stay.name) == (part.id, part.parent, part.kind, part.name)
    )


def _is(one: Stay | None, other: Stay) -> bool:
    return one is not None and (one.position, one.since) == (other.position, other.since)


def _moment(stay: Stay, now: Seconds) -> Seconds:
    """A time after a stay began, and not before it ended."""
    return max(now, stay.since + _LEAST_STEP, stay.until or 0.0)
