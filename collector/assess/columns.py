"""A controller's readings, column by column: which are quiet, and the few that are looked at.

The hot path of the assessment. A column is quiet while its reading is within its band, its reported health is not worse
than OK, and nothing is open or pending on it; for a quiet column nothing is kept but the band.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping

from collector.assess.book import GAPS, Book
from collector.assess.crossing import quiet_bands, sides
from collector.assess.delays import Habit, treated
from collector.assess.gaps import Gaps
from collector.assess.judge import Watched
from collector.model import Condition, Frame, Health, Quantity, Seconds, Sensor, Subject

_QUIET_HEALTHS = bytes([Health.UNKNOWN, Health.OK])


class Columns:
    """The columns of one controller's layout and what is known of each.

    ``habits``: delays and deadbands of limits of which the service tells none.
    """

    def __init__(self, gaps: Gaps, habits: Mapping[Quantity, Habit]) -> None:
        self._gaps = gaps
        self._habits = habits
        self._quantities: dict[tuple[str, str], Quantity] | None = None
        self._started = False
        self.sensors: tuple[Sensor, ...] = ()
        self.part_at: list[int] = []
        """Position of each column's part in the tree."""
        self._lows, self._highs = array("d"), array("d")
        self._busy: dict[int, Watched] = {}
        self._last_frame: Seconds | None = None

    def lay_out(self, sensors: tuple[Sensor, ...], at: Mapping[str, int], frame: Frame, book: Book) -> None:
        """Take the layout of a walk, with its first frame; ``at`` gives each part's position.

        Raises ValueError when frame and layout don't belong together.
        """
        if not len(frame.values) == len(frame.healths) == len(sensors):
            raise ValueError(f"a frame of {len(frame.values)} readings for a layout of {len(sensors)} sensors")
        self.part_at = [at[sensor.part] for sensor in sensors]
        if self._started and sensors == self.sensors:
            self.sensors = sensors  # the same again: let go of the older ones
            return
        before, self.sensors = self.sensors, sensors
        self._quantities = None
        columns = {sensor.key: column for column, sensor in enumerate(sensors)}
        moved = {old: columns[sensor.key] for old, sensor in enumerate(before) if sensor.key in columns}
        if self._started:
            self._gaps.carry_over(moved, frame.values)
        else:
            self._gaps.start(frame.values)
            self._gaps.restore(book.open_in(GAPS).values(), sensors)
            self._started = True
        busy, self._busy = self._busy, {}
        for old, watched in busy.items():
            if old in moved:
                self._carry_over(moved[old], watched)
        for group in book.groups():
            for condition in book.open_in(group).values():
                key = (condition.controller, condition.part or "", condition.sensor or "")
                if condition.subject is Subject.THRESHOLD and (column := columns.get(key)) is not None:
                    self._restore(column, condition)

    @property
    def quantities(self) -> Mapping[tuple[str, str], Quantity]:
        """What is measured, by part id and sensor."""
        if self._quantities is None:
            self._quantities = {(sensor.part, sensor.sensor): sensor.quantity for sensor in self.sensors}
        return self._quantities

    def set_bands(self, idle: bytearray) -> None:
        """Compute what reading passes unlooked at; no reading of an idle part is too low."""
        self._lows, self._highs = quiet_bands(self.sensors)
        for column, position in enumerate(self.part_at):
            if idle[position]:
                self._lows[column] = float("-inf")

    def forget_last_frame(self) -> None:
        """Count what goes missing next from the next frame on: the controller could not be read for a while."""
        self._last_frame = None

    def take(self, frame: Frame, idle: bytearray) -> set[int]:
        """Look at what is not quiet in a frame; say, by position, which parts are to be judged."""
        values, gaps = frame.values, self._gaps
        outside = [
            column
            for column, (value, low, high) in enumerate(zip(values, self._lows, self._highs, strict=True))
            if not low <= value <= high
        ]
        if gaps.since or gaps.mute:
            gaps.returned(values)
        for column in outside:
            if values[column] == values[column]:
                self._watch(column)
            elif column not in gaps.mute:
                gaps.lost(column, frame.time if self._last_frame is None else self._last_frame)
        if frame.healths.strip(_QUIET_HEALTHS):
            for column, health in enumerate(frame.healths):
                if health >= Health.WARNING:
                    self._watch(column)
        self._last_frame = frame.time
        if not self._busy:
            return set()
        for column in self._busy:
            self._step(column, frame, idle)
        return {self.part_at[column] for column in self._busy}

    def watched(self) -> dict[int, list[Watched]]:
        """The sensors that are not quiet, by their part's position, in the order of the layout."""
        found: dict[int, list[Watched]] = {}
        for column in sorted(self._busy):
            found.setdefault(self.part_at[column], []).append(self._busy[column])
        return found

    def release(self, book: Book) -> None:
        """Stop looking at sensors that are quiet again and have nothing open."""
        for column, watched in list(self._busy.items()):
            if watched.quiet and not any(book.is_open(watched.sensor.part, own_id) for _, own_id in watched.settled):
                del self._busy[column]

    def _watch(self, column: int) -> Watched:
        if (watched := self._busy.get(column)) is None:
            sensor = self.sensors[column]
            watched = self._busy[column] = Watched.of(sensor, *sides(treated(sensor, self._habits)))
        return watched

    def _carry_over(self, column: int, before: Watched) -> None:
        watched = self._watch(column)
        for side, old in ((watched.upper, before.upper), (watched.lower, before.lower)):
            if side is not None and old is not None:
                side.take_over(old)

    def _restore(self, column: int, condition: Condition) -> None:
        """Watch a sensor as it was before a restart; after a mere change of layout it is watched already."""
        watched = self._watch(column)
        for side, own_id in watched.settled:
            if own_id == condition.id and side.quiet:
                side.restore(condition.severity, condition.opened)

    def _step(self, column: int, frame: Frame, idle_parts: bytearray) -> None:
        watched, value, idle = self._busy[column], frame.values[column], idle_parts[self.part_at[column]]
        watched.value, watched.time = value, frame.time
        missing = value != value
        if watched.upper is not None:
            if idle and missing:
                watched.upper.settle_back(frame.time)
            else:
                watched.upper.step(value, frame.time)
        if watched.lower is not None:
            if idle:
                watched.lower.settle_back(frame.time)
            else:
                watched.lower.step(value, frame.time)
        excused = idle and (missing or (watched.lower is not None and watched.lower.violated_by(value) is not None))
        watched.reported = Health.UNKNOWN if excused else Health(frame.healths[column])
