"""Holding a sign: so many rounds to show it, more to let it go, and at least so long a time."""

from __future__ import annotations

from collections.abc import Container, Mapping

from collector.model import Observation, Seconds, Sign, SignKey

ROUNDS_ON, ROUNDS_OFF = 2, 5


class Signs:
    """The signs of one look that are shown or about to be."""

    def __init__(self, controller: str) -> None:
        self._controller = controller
        self._on: dict[SignKey, Observation] = {}
        self._counts: dict[SignKey, int] = {}
        self._since: dict[SignKey, Seconds] = {}
        self._asked: set[SignKey] = set()
        self._changed = False

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What is shown."""
        return self._on

    def begin(self) -> None:
        """A round begins."""
        self._asked.clear()
        self._changed = False

    def see(
        self,
        part: str,
        sign: Sign,
        text: str,
        now: Seconds,
        weight: float,
        sensor: str | None = None,
        rounds: int = ROUNDS_ON,
    ) -> None:
        """This round shows it."""
        key = (part, sign, sensor)
        if key in self._asked:
            return
        self._asked.add(key)
        count = max(0, self._counts.get(key, 0)) + 1
        self._counts[key] = min(count, rounds)
        since = self._since.setdefault(key, now)
        if key not in self._on and count < rounds:
            return
        weight = min(1.0, max(0.05, weight))
        before = self._on.get(key)
        if before is not None and abs(before.weight - weight) < 0.05 and 1.0 - weight > 0.6 * (1.0 - before.weight):
            return  # said already; figures that move a little are no news, but little more than half the doubt is
        self._on[key] = Observation(
            controller=self._controller,
            part=part,
            sign=sign,
            sensor=sensor,
            since=since if before is None else before.since,
            weight=round(weight, 2),
            text=text,
        )
        self._changed = True

    def keep(self, part: str, sign: Sign, sensor: str | None = None) -> None:
        """Nothing can be said this round: leave it as it was."""
        self._asked.add((part, sign, sensor))

    def keep_all(self, signs: Container[Sign]) -> None:
        """Nothing of that sort can be said this round: leave it as it was, and what is about to be shown too."""
        self._asked.update(key for key in self._counts if key[1] in signs)

    def end(self) -> bool:
        """The round is done: let go of what has not been seen for a while; whether anything changed."""
        for key in [key for key in self._counts if key not in self._asked]:
            count = min(0, self._counts[key]) - 1
            self._counts[key] = count
            if key not in self._on:
                del self._counts[key], self._since[key]
            elif count <= -ROUNDS_OFF:
                del self._counts[key], self._since[key], self._on[key]
                self._changed = True
        return self._changed

    def drop(self, known: frozenset[str]) -> bool:
        """Forget signs of parts that are no more; whether any was shown."""
        gone = [key for key in self._counts if key[0] not in known]
        shown = False
        for key in gone:
            shown |= self._on.pop(key, None) is not None
            del self._counts[key]
            self._since.pop(key, None)
        return shown
