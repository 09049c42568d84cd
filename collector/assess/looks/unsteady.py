"""The unsteady look: parts whose state, power, link, presence or readings come and go.

Bounded: times of a part's last changes, kept only for parts that changed within the window.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from collector.assess.looking import Seen
from collector.assess.looks.explained import MODELLED
from collector.model import Frame, Inventory, Kind, Observation, PowerState, Seconds, Sign, SignKey, State, Visible

TURNS = 4
"""Changes to and fro within the window that make a part unsteady: gone and back, twice."""
TURNS_OF_CONTACT = 3
"""The same for a link and for presence: nobody pulls and puts back and pulls again what works."""
TURNS_OF_POWER = 6
"""The same where only power was switched: people switch a host off and on, and once more."""
WINDOW = 3600.0
"""Seconds; at least :data:`WINDOW_ROUNDS` rounds."""
WINDOW_ROUNDS = 24
DEEPEST = 16
"""Parts within parts that are followed: a circle of them must end."""
AFTER_POWER = 600.0
"""Seconds after a host was switched in which links may come and go with it."""

_NEEDED = {"power": TURNS_OF_POWER, "link": TURNS_OF_CONTACT, "state": TURNS_OF_CONTACT}
_FIRM = frozenset({PowerState.ON, PowerState.OFF})
_OWN = frozenset({State.ABSENT, State.UNAVAILABLE_OFFLINE, State.DISABLED, State.STANDBY_OFFLINE})


class UnsteadyLook:
    """One controller's parts."""

    def __init__(self, controller: str) -> None:
        self._controller = controller
        self._on: dict[SignKey, Observation] = {}
        self._states: dict[str, tuple[bool | None, bool | None, bool | None]] = {}
        """By part: told to be there, on, linked."""
        self._with_it: set[str] = set()
        """Parts that went with what they are in: they come back with it, or when a walk tells so."""
        self._over: dict[str, str | None] = {}
        self._turns: dict[str, deque[tuple[Seconds, str]]] = {}
        self._parts: frozenset[str] = frozenset()
        self._kinds: dict[str, Kind] = {}
        self._names: dict[str, str] = {}
        self._sensed: list[str] = []
        self._at: NDArray[np.intp] = np.zeros(0, dtype=np.intp)
        self._told: NDArray[np.bool_] | None = None
        self._last: Seconds | None = None
        self._pace = 0.0
        self._switched: Seconds | None = None
        self._size = 0
        self._columns: NDArray[np.intp] = np.zeros(0, dtype=np.intp)

    @property
    def visible(self) -> Visible:
        """Every part of which a status or a reading is told."""
        return {part: frozenset({Sign.UNSTEADY}) for part in (*self._states, *self._sensed)}

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._on

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk: parts that are listed, then not, then listed again, come and go too."""
        known = frozenset(part.id for part in inventory.parts)
        if self._parts:
            for part in known ^ self._parts:
                if part in self._turns or part in self._parts or part in self._names:
                    self._turn(part, now, "listing")
        self._parts = known
        self._kinds = {part.id: part.kind for part in inventory.parts}
        self._over = {part.id: part.parent for part in inventory.parts}
        self._with_it &= known
        # names of parts that left lately stay: they may come back
        lately = {part: name for part, name in self._names.items() if part in self._turns}
        self._names = lately | {part.id: part.name for part in inventory.parts}
        self._size = len(inventory.layout.sensors)
        # counters and the like are told in turns: that they come and go is no sign
        of = [(column, s.part) for column, s in enumerate(inventory.layout.sensors) if s.quantity in MODELLED]
        self._sensed = sorted({part for _, part in of})
        at = {part: index for index, part in enumerate(self._sensed)}
        self._columns = np.asarray([column for column, _ in of], dtype=np.intp)
        self._at = np.asarray([at[part] for _, part in of], dtype=np.intp)
        self._told = None

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        now = seen.time
        if self._last is not None and 0.0 < now - self._last < 3600.0:
            self._pace += 0.2 * (now - self._last - self._pace)
        self._last = now
        if seen.frame is not None:
            self._look_at_statuses(seen)
            self._look_at_readings(seen.frame, seen.idle, now)
        return self._judge(now) if self._turns or self._on else False

    def _look_at_statuses(self, seen: Seen) -> None:
        states, now = self._states, seen.time
        for part, status in seen.statuses.items():
            there = None if status.state is State.UNKNOWN else status.state not in _OWN
            on = status.power is PowerState.ON if status.power in _FIRM else None
            told = (there, on, status.link)
            known = states.get(part)
            if told == known:
                continue
            if known is None:
                states[part] = told
                continue
            # what isn't told this time stands as it was
            states[part] = told = tuple(old if new is None else new for new, old in zip(told, known, strict=True))  # type: ignore[assignment]
            if told == known:
                continue
            if told[1] != known[1] and known[1] is not None:
                self._turn(part, now, "power")
                if self._kinds.get(part) is Kind.HOST:
                    self._switched = now
            if told[0] != known[0] and known[0] is not None and told[1] == known[1]:
                if told[0] and part in self._with_it:
                    self._with_it.discard(part)
                elif not told[0] and any(each in seen.idle for each in self._around(part)):
                    self._with_it.add(part)
                else:
                    self._turn(part, now, "state")
            if told[2] != known[2] and known[2] is not None and part not in seen.idle and not self._just_switched(now):
                self._turn(part, now, "link")

    def _around(self, part: str) -> Iterator[str]:
        """What it is in, from near to far."""
        over = self._over.get(part)
        for _ in range(DEEPEST):
            if over is None:
                return
            yield over
            over = self._over.get(over)

    def _look_at_readings(self, frame: Frame, idle: frozenset[str], now: Seconds) -> None:
        values = np.frombuffer(frame.values)
        if len(values) != self._size or not len(self._at):
            return
        values = values[self._columns]
        told = np.zeros(len(self._sensed), dtype=np.bool_)
        told[self._at[values == values]] = True
        before, self._told = self._told, told
        if before is None or np.array_equal(before, told):
            return
        if not told.any() or not before.any():
            return  # the controller's own trouble, not its parts'
        for index in np.nonzero(before != told)[0].tolist():
            part = self._sensed[index]
            # what is told to be gone and gives readings all the same is there, off and on: its status is told seldom
            if (self._gone(part) or part not in idle) and not self._just_switched(now):
                self._turn(part, now, "readings")

    def _gone(self, part: str) -> bool:
        """Whether its status says that it is not there."""
        return part in self._states and self._states[part][0] is False

    def _needed(self, part: str, what: str) -> int:
        if what == "readings" and self._gone(part):
            return TURNS_OF_CONTACT  # they went with the part itself
        return _NEEDED.get(what, TURNS)

    def _just_switched(self, now: Seconds) -> bool:
        return self._switched is not None and 0.0 <= now - self._switched < max(AFTER_POWER, 2.5 * self._pace)

    def _turn(self, part: str, now: Seconds, what: str) -> None:
        turns = self._turns.setdefault(part, deque(maxlen=TURNS_OF_POWER))
        if not turns or turns[-1][0] != now or what != turns[-1][1]:
            turns.append((now, what))

    def _judge(self, now: Seconds) -> bool:
        window = max(WINDOW, WINDOW_ROUNDS * self._pace)
        changed = False
        for part, turns in list(self._turns.items()):
            while turns and not 0.0 <= now - turns[0][0] <= window:
                turns.popleft()
            whats = [what for _, what in turns]
            counts = [(count := whats.count(what), count >= self._needed(part, what), what) for what in set(whats)]
            most, enough, what = max(counts, key=lambda each: (each[1], each[0], each[2]), default=(0, False, ""))
            key: SignKey = (part, Sign.UNSTEADY, None)
            if enough and key not in self._on:
                self._on[key] = Observation(
                    controller=self._controller,
                    part=part,
                    sign=Sign.UNSTEADY,
                    since=turns[0][0],
                    weight=0.9 if most >= TURNS else 0.85,
                    text=f"its {what} changed {most} times within {(now - turns[0][0]) / 60:.0f} min",
                )
                changed = True
            if not turns:  # calm for a whole window
                del self._turns[part]
                changed |= self._on.pop(key, None) is not None
                if part not in self._parts:
                    self._names.pop(part, None)
                    self._states.pop(part, None)
        return changed
