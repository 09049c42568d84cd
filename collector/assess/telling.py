"""Changes of parts as events for people: what is inside what changed is counted, not told one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from collector.assess.identity import differ, said
from collector.assess.turns import Change
from collector.assess.words import clip
from collector.model import Event, Health, Identity, Seconds, Stay, Turn

MOST_TOLD = 100
"""Events of one walk; what is beyond is counted in a last one."""
NOT_TOLD = "parts not told"
"""Subject of the event that a service tells none of its parts."""
LEFT_OUT = "part changes left out"

SUBJECTS: Mapping[Turn, str] = {
    Turn.APPEARED: "part appeared",
    Turn.RETURNED: "part returned",
    Turn.SWAPPED: "part swapped",
    Turn.MOVED: "part moved",
    Turn.MISSING: "part missing",
    Turn.FIRMWARE: "firmware changed",
    Turn.IDENTITY: "identity changed",
    Turn.LOCATION: "location changed",
    Turn.ADDRESS: "addresses changed",
}
"""Of events; what is first seen is none."""

HomeOf = Callable[[str], str | None]
"""By part id: what contains a part, now or, where it is gone, before."""

_DEEPEST = 64
"""Parts that contain each other that are looked through."""
_COMPARED = (("serial", "serial"), ("part_number", "part number"), ("model", "model"), ("firmware", "firmware"))
_WORD = 80
"""Characters of one told word in a text."""
_CAME = {Turn.APPEARED, Turn.RETURNED, Turn.SWAPPED, Turn.MOVED}
_INSIDE: Mapping[Turn, frozenset[Turn]] = {
    Turn.APPEARED: frozenset(_CAME),
    Turn.RETURNED: frozenset(_CAME),
    Turn.SWAPPED: frozenset(_CAME),
    Turn.MOVED: frozenset({Turn.MOVED}),
    Turn.LOCATION: frozenset({Turn.LOCATION, Turn.MOVED}),
}
"""By turn: those of an outer part that explain it."""


def events(controller: str, changes: Iterable[Change], home_of: HomeOf, now: Seconds) -> list[Event]:
    """What to tell of the changes of one walk."""
    told = [change for change in changes if change.turn in SUBJECTS]
    renamed = [change for change in told if change.turn is Turn.ADDRESS]
    single = [change for change in told if change.turn is not Turn.ADDRESS]
    inside = _inside(single, home_of)
    found = [_event(controller, change, inside.get(at, 0), now) for at, change in enumerate(single) if at in inside]
    if renamed:
        found.append(_renaming(controller, renamed, now))
    if (more := len(found) - MOST_TOLD) > 0:
        text = f"{more} more changes of parts were seen in the same walk; the history of parts has them all"
        found = [*found[:MOST_TOLD], _plain(controller, LEFT_OUT, Health.WARNING, text, now)]
    return found


def nothing_told(controller: str, known: int, now: Seconds) -> Event:
    """The event of a service that lists no part at all where it listed some."""
    text = f"the service lists none of its {known} parts; none is taken for missing until it lists some again"
    return _plain(controller, NOT_TOLD, Health.WARNING, text, now)


def _inside(changes: list[Change], home_of: HomeOf) -> dict[int, int]:
    """The changes to be told, by their place among ``changes``, with how many others each stands for."""
    came = {change.after.part: at for at, change in enumerate(changes) if change.after is not None}
    went = {
        change.before.part: at
        for at, change in enumerate(changes)
        if change.before is not None and change.turn in (Turn.MISSING, Turn.SWAPPED)
    }
    counts: dict[int, int] = {}
    for at, change in enumerate(changes):
        outermost = _explained_by(at, change, changes, came if change.after is not None else went, home_of)
        if outermost == at:
            counts.setdefault(at, 0)
        else:
            counts[outermost] = counts.get(outermost, 0) + 1
    return counts


def _explained_by(at: int, change: Change, changes: list[Change], by_part: Mapping[str, int], home_of: HomeOf) -> int:
    """The outermost change around one that brought it about; itself where none did."""
    stay = change.after or change.before
    explained, turn = at, change.turn
    for outer in _homes(stay, home_of):
        other = by_part.get(outer)
        if other is not None and _explains(changes[other], changes[explained], turn, home_of):
            explained, turn = other, changes[other].turn
    return explained


def _explains(outer: Change, inner: Change, turn: Turn, home_of: HomeOf) -> bool:
    if turn is Turn.MISSING:
        return outer.turn in (Turn.MISSING, Turn.SWAPPED)
    if outer.turn not in _INSIDE.get(turn, frozenset()):
        return False
    if turn is Turn.MOVED:  # only what came along
        return outer.before is not None and outer.before.part in _homes(inner.before, home_of)
    return True


def _homes(stay: Stay | None, home_of: HomeOf) -> Iterator[str]:
    """What contains a part, nearest first."""
    outer = None if stay is None else stay.parent
    for _ in range(_DEEPEST):
        if outer is None:
            return
        yield outer
        outer = home_of(outer)


def _event(controller: str, change: Change, inside: int, now: Seconds) -> Event:
    stay = change.after or change.before
    assert stay is not None  # a change has one end at least
    missing = change.turn is Turn.MISSING
    return Event(
        time=now,
        controller=controller,
        part=stay.part if stay.controller == controller else change.before.part if change.before else None,
        subject=SUBJECTS[change.turn],
        severity=Health.WARNING if missing else Health.OK,
        text=_text(change, inside),
    )


def _text(change: Change, inside: int) -> str:
    before, after, turn = change.before, change.after, change.turn
    clauses: list[str] = []
    if turn is Turn.MISSING and before is not None:
        head = f"{_named(before)} is no longer listed {_at(before)}"
    elif turn is Turn.MOVED and before is not None and after is not None:
        head = f"{_named(after)} is now {_at(after, before)}, was {_at(before, after)}"
    elif turn is Turn.SWAPPED and before is not None and after is not None:
        head = f"{_name(after)} {_at(after)} was swapped: {_differences(before.identity, after.identity)}"
    elif turn is Turn.LOCATION and before is not None and after is not None:
        head = f"{_named(after)} is told {_at(after, before)}, before {_at(before, after)}"
    elif turn in (Turn.FIRMWARE, Turn.IDENTITY) and before is not None and after is not None:
        head = f"{_named(after)} {_at(after)}: {_differences(before.identity, after.identity)}"
    elif turn is Turn.RETURNED and after is not None:
        head = f"{_named(after)} is back {_at(after)}"
    elif after is not None:
        head = f"{_named(after)} is new {_at(after)}"
    else:
        head = "a part changed"
    if change.displaced is not None:
        clauses.append(f"in place of {_named(change.displaced)}")
    if inside:
        clauses.append(f"with {inside} {'part' if inside == 1 else 'parts'} in it")
    if change.also is not None:
        clauses.append(f"the same serial number is told {_at(change.also)} as well")
    return "; ".join([head, *clauses])


def _renaming(controller: str, changes: list[Change], now: Seconds) -> Event:
    known = [(change.before, change.after) for change in changes if change.before is not None and change.after]
    text = f"{len(changes)} {'part is' if len(changes) == 1 else 'parts are'} told under other addresses"
    if known:
        before, after = known[0]
        address, was = after.position, before.position
        text += f", the first, {_named(after)}, under {clip(address)}, before under {clip(was)}"
    return _plain(controller, SUBJECTS[Turn.ADDRESS], Health.OK, f"{text}; no part was swapped or moved by that", now)


def _plain(controller: str, subject: str, severity: Health, text: str, now: Seconds) -> Event:
    return Event(time=now, controller=controller, part=None, subject=subject, severity=severity, text=text)


def _name(stay: Stay) -> str:
    name = _short(stay.name)
    return name if name and stay.kind.value.casefold() in name.casefold() else f"{stay.kind.value} {name}".strip()


def _named(stay: Stay) -> str:
    """``drive Drive 2 (serial X, part number Y)``, as far as it is told."""
    told = [
        f"{word} {_short(value)}"
        for field, word in _COMPARED[:2]
        if said(value := getattr(stay.identity, field)) is not None
    ]
    return f"{_name(stay)} ({', '.join(told)})" if told else _name(stay)


def _at(stay: Stay, other: Stay | None = None) -> str:
    """Where it is, as written on the labels; by its address where those say nothing or the same as of the other."""
    place = stay.location.text
    if not place or (other is not None and other.location.text == place):
        return f"at {clip(stay.position)}"
    return f"at {clip(place)}"


def _differences(was: Identity, now: Identity) -> str:
    told = []
    for field, word in _COMPARED:
        before, after = getattr(was, field), getattr(now, field)
        if differ(before, after):
            told.append(f"{word} {_short(after)}, was {_short(before)}")
        elif field == "serial" and said(after) is not None and said(before) is None:
            told.append(f"{word} {_short(after)}")
    return "; ".join(told)


def _short(text: str) -> str:
    text = text.strip()
    return text if len(text) <= _WORD else text[: _WORD - 1] + "…"
