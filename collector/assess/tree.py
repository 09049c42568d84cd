"""What contains what and what depends on what, among the parts of one controller, whatever a service claims.

Parents that lead in a circle are cut, unknown parents make a part outermost, links to parts that are not there or from
a part to itself count for nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from collector.model import Kind, Link, Part, PowerState, State, Status, Why

NOT_RUNNING = {PowerState.OFF, PowerState.POWERING_ON, PowerState.POWERING_OFF}
"""Off, or on the way there or back: readings mean little."""
_NOT_IN_SERVICE = {State.ABSENT, State.DISABLED, State.STANDBY_OFFLINE, State.STARTING, State.UNAVAILABLE_OFFLINE}


class Tree:
    """Parts by position (their place in ``parts``), outermost first in ``order``."""

    def __init__(self, parts: Sequence[Part], links: Iterable[Link] = ()) -> None:
        self.parts = parts
        self.at = {part.id: position for position, part in enumerate(parts)}
        self.parent = self._parents()
        self.children: list[list[int]] = [[] for _ in parts]
        for position, parent in enumerate(self.parent):
            if parent >= 0:
                self.children[parent].append(position)
        self.roots = [position for position, parent in enumerate(self.parent) if parent < 0]
        self.order = list(self._walk(self.roots))
        self._dependents: dict[int, list[int]] = {}
        """By the part depended on: those that name it in a link."""
        self._needs: dict[int, set[int]] = {}
        """By the part that depends: what it names in its links."""
        self._by_why: dict[tuple[int, Why], list[int]] = {}
        """By the part depended on and the reason: those that depend."""
        self._needs_by_why: dict[tuple[int, Why], list[int]] = {}
        self._cooled: dict[int, list[int]] = {}
        managed: dict[int, int] = {}
        for link in links:
            part, on = self.at.get(link.part, -1), self.at.get(link.on, -1)
            if part < 0 or on < 0 or part == on:
                continue
            self._dependents.setdefault(on, []).append(part)
            self._needs.setdefault(part, set()).add(on)
            self._by_why.setdefault((on, link.why), []).append(part)
            self._needs_by_why.setdefault((part, link.why), []).append(on)
            if link.why is Why.COOLED_BY:
                self._cooled.setdefault(on, []).append(part)
            elif link.why is Why.MANAGED_BY:
                managed[on] = managed.get(on, 0) + 1
        self.speakers = self._speakers(managed)
        self._affected: dict[int, tuple[int, ...]] = {}

    def ancestors(self, position: int) -> Iterator[int]:
        """The parts that contain it, innermost first."""
        while (position := self.parent[position]) >= 0:
            yield position

    def within(self, position: int) -> Iterator[int]:
        """It and everything in it."""
        return self._walk([position])

    def dependents(self, position: int, why: Why) -> Sequence[int]:
        """The parts that depend on this one for a reason, as links tell it; what they contain is left out."""
        return self._by_why.get((position, why), ())

    def needs(self, position: int, why: Why) -> Sequence[int]:
        """The parts on which this one depends for a reason, as links tell it."""
        return self._needs_by_why.get((position, why), ())

    def affected_by(self, position: int) -> tuple[int, ...]:
        """Everything that trouble of this part puts at risk, in ascending order.

        That is what depends on it, what those contain and what depends on them in turn; and what contains any of these
        without containing the part itself: a blade is at risk when its host is, a sled that holds the fan is not. What
        a reached part depends on itself is not at risk for standing in it: one fan is not at risk through the next.
        """
        if (known := self._affected.get(position)) is not None:
            return known
        reached: set[int] = set()
        queue = list(self._dependents.get(position, ()))
        while queue:
            current = queue.pop()
            if current in reached:
                continue
            reached.add(current)
            shared = self._needs.get(current, ())
            queue += [child for child in self.children[current] if child not in shared]
            queue += self._dependents.get(current, ())
        around = {outer for inner in reached for outer in self.ancestors(inner)}
        found = (reached | around) - {position, *self.ancestors(position)}
        result = tuple(sorted(found))
        self._affected[position] = result
        return result

    def idle(self, statuses: Mapping[str, Status]) -> bytearray:
        """Per part, 1 where low or missing readings are no trouble: it is off, absent, or not in service.

        So is a part whose hosts are all off, everything inside an idle part, and a cooling part when all that it cools
        is idle. Its own reported health counts all the same.
        """
        idle = bytearray(len(self.parts))
        for position, part in enumerate(self.parts):
            status = statuses.get(part.id)
            if status is not None and (status.power in NOT_RUNNING or status.state in _NOT_IN_SERVICE):
                idle[position] = 1
        for position, children in enumerate(self.children):
            hosts = [child for child in children if self.parts[child].kind is Kind.HOST]
            if hosts and all(idle[host] for host in hosts):
                idle[position] = 1
        for position in self.order:
            parent = self.parent[position]
            if parent >= 0 and idle[parent]:
                idle[position] = 1
        for position, cooled in self._cooled.items():
            if all(idle[part] for part in cooled):
                idle[position] = 1
        return idle

    def _parents(self) -> list[int]:
        parents = [self.at.get(part.parent, -1) if part.parent is not None else -1 for part in self.parts]
        sound = bytearray(len(parents))  # 1 where the way up is known to end
        for start in range(len(parents)):
            path: list[int] = []
            on_path: set[int] = set()
            position = start
            while position >= 0 and not sound[position]:
                if position in on_path:
                    parents[path[-1]] = -1
                    break
                path.append(position)
                on_path.add(position)
                position = parents[position]
            for step in path:
                sound[step] = 1
        return parents

    def _walk(self, starts: Sequence[int]) -> Iterator[int]:
        stack = list(reversed(starts))
        while stack:
            position = stack.pop()
            yield position
            stack.extend(reversed(self.children[position]))

    def _speakers(self, managed: Mapping[int, int]) -> tuple[int, ...]:
        """What stands for the controller itself: the controller part that manages most, else the outermost parts."""
        controllers = [position for position, part in enumerate(self.parts) if part.kind is Kind.CONTROLLER]
        if controllers:
            return (max(controllers, key=lambda position: (managed.get(position, 0), -position)),)
        return tuple(self.roots)
