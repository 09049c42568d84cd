"""Readings that stopped coming while the controller answers.

A sensor that never had a value is not missed (an empty slot, a disabled row); one that had a value and has none for
some intervals is. What is told as something that can't be a value (a text, a number out of the sensor's own range) is
wrong rather than stale, and said so with what was told. A value whose acquisition time stands still is not taken for
stale: a service may stamp a reading only when it changes, and the standard doesn't tell that from a sensor that hangs.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import MappingProxyType

from collector.assess.book import Finding
from collector.assess.words import about, clip, condition_id
from collector.model import Condition, Evidence, Health, Part, Seconds, Sensor, Subject

MOST_NAMED = 7
"""Sensors that one condition names; a restart takes up those."""


NONE_WRONG: Mapping[str, str] = MappingProxyType({})


class Gaps:
    """Which columns of a controller's frames lack a value that they once had, and since when."""

    def __init__(self, controller: str, patience: float) -> None:
        self._controller = controller
        self._patience = patience
        self.mute: set[int] = set()
        """Columns that never had a value."""
        self.since: dict[int, Seconds] = {}
        """Columns that lost their value: when the last one came."""

    def start(self, values: array[float]) -> None:
        """Take a layout's first frame."""
        self.mute = {column for column, value in enumerate(values) if value != value}
        self.since = {}

    def carry_over(self, columns: dict[int, int], values: array[float]) -> None:
        """Go on with a new layout; ``columns`` leads from old columns to new ones."""
        mute = {columns[column] for column in self.mute if column in columns}
        known = set(columns.values())
        fresh = {column for column, value in enumerate(values) if value != value and column not in known}
        self.mute = mute | fresh
        self.since = {columns[column]: since for column, since in self.since.items() if column in columns}

    def restore(self, conditions: Iterable[Condition], sensors: Sequence[Sensor]) -> None:
        """Take up what was stale before a restart: the sensors named as evidence that have no value still."""
        opened: dict[str, Seconds] = {}
        for condition in conditions:
            for each in condition.evidence:
                if each.source is not None:
                    opened.setdefault(each.source, condition.opened)
        for column in list(self.mute):
            if (since := opened.get(sensors[column].source)) is not None:
                self.mute.discard(column)
                self.since[column] = since

    def lost(self, column: int, last_seen: Seconds) -> None:
        """A column that had a value has none now."""
        self.since.setdefault(column, last_seen)

    def returned(self, values: array[float]) -> None:
        """Forget the columns that have a value again, or for the first time."""
        for column in [column for column in self.since if values[column] == values[column]]:
            del self.since[column]
        if self.mute:
            self.mute -= {column for column in self.mute if values[column] == values[column]}

    def pause(self, seconds: float) -> None:
        """Don't count a stretch of time in which the controller could not be read at all."""
        for column in self.since:
            self.since[column] += max(0.0, seconds)

    def findings(
        self,
        sensors: Sequence[Sensor],
        part_of: Callable[[int], Part],
        excused: Callable[[int], bool],
        now: Seconds,
        wrong: Mapping[str, str] = NONE_WRONG,
    ) -> list[Finding]:
        """A finding for each part with stale readings, or a single one where no reading comes any more.

        ``excused`` says of a column that its part is off or absent. ``wrong``: by source, what is told there and can't
        be a reading.
        """
        stale = []
        for column, since in sorted(self.since.items()):
            if excused(column):
                self.since[column] = now  # missed only from when it is back in service
            elif now - since >= self._patience:
                stale.append(column)
        if not stale:
            return []
        alive = len(sensors) - len(self.mute)
        if (
            len(stale) == alive
            and not any(sensors[column].source in wrong for column in stale)
            and len({sensors[column].part for column in stale}) > 1
        ):
            return [self._finding(None, f"none of {alive} readings comes any more", stale, sensors, now)]
        by_part: dict[tuple[str, bool], list[int]] = {}
        for column in stale:
            sensor = sensors[column]
            by_part.setdefault((sensor.part, sensor.source in wrong), []).append(column)
        found = []
        for (_, is_wrong), columns in by_part.items():
            part = part_of(columns[0])
            one = len(columns) == 1
            what = about(part, sensors[columns[0]]) if one else f"{about(part)}: {len(columns)} readings"
            how = "told as what can't be" if is_wrong else "no longer told"
            found.append(self._finding(part, f"{what} {how}", columns, sensors, now, wrong if is_wrong else NONE_WRONG))
        return found

    def _finding(
        self,
        part: Part | None,
        text: str,
        columns: Sequence[int],
        sensors: Sequence[Sensor],
        now: Seconds,
        wrong: Mapping[str, str] = NONE_WRONG,
    ) -> Finding:
        part_id = None if part is None else part.id
        subject = Subject.WRONG if wrong else Subject.STALE
        return Finding(
            id=condition_id(self._controller, subject, part_id),
            part=part_id,
            sensor=sensors[columns[0]].sensor if part is not None and len(columns) == 1 else None,
            subject=subject,
            severity=Health.WARNING,
            text=text,
            since=min(self.since[column] for column in columns),
            reports=tuple(
                Evidence(
                    time=self.since[column],
                    text=f"{clip(sensors[column].sensor)}: {clip(wrong.get(sensors[column].source, 'last value'))}",
                    source=sensors[column].source,
                )
                for column in columns[:MOST_NAMED]
            ),
        )
