"""One controller's frames of an hour, turned from a row a round into columns a sensor."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from operator import lt
from typing import NamedTuple

from collector.model import Seconds, Sensor
from collector.store import codec


class Column(NamedTuple):
    """The samples of one sensor, oldest first, each time once."""

    part: str
    sensor: str
    source: str
    """Where it was read at the end of the hour."""
    times: array[float]
    values: array[float]
    """NaN for none."""
    healths: bytes


FrameRow = tuple[int, Seconds, bytes, bytes, bytes | None]
"""Layout, time, readings, healths and times, as the table of frames has them."""


class _Block:
    """All frames of one layout, one after the other."""

    def __init__(self, sensors: tuple[Sensor, ...]) -> None:
        self.sensors = sensors
        self._frame_times = array("d")
        self._values = array("d")
        self._healths = bytearray()
        self._times: array[float] | None = None
        """Of every sample; None as long as no frame tells any."""

    def add(self, time: Seconds, readings: bytes, healths: bytes, times: bytes | None) -> None:
        """Raises ``ValueError`` where a column is not as long as the layout."""
        width = len(self.sensors)
        if len(readings) != 8 * width or len(healths) != width or (times is not None and len(times) != 8 * width):
            raise ValueError(f"a frame of {len(healths)} readings under a layout of {width} sensors")
        if times is not None and self._times is None:
            self._times = array("d", [earlier for earlier in self._frame_times for _ in range(width)])
        if self._times is not None:
            self._times.extend(array("d", [time]) * width if times is None else codec.floats(times))
        self._frame_times.append(time)
        self._values.frombytes(readings)
        self._healths += healths

    def times(self, position: int) -> array[float]:
        return self._frame_times if self._times is None else self._times[position :: len(self.sensors)]

    def values(self, position: int) -> array[float]:
        return self._values[position :: len(self.sensors)]

    def healths(self, position: int) -> bytes:
        return bytes(self._healths[position :: len(self.sensors)])


def columns(rows: Iterable[FrameRow], sensors_of: Callable[[int], tuple[Sensor, ...]]) -> Iterator[Column]:
    """The sensors' columns, sorted by part and sensor; ``sensors_of`` gives a layout.

    Raises ``ValueError`` where a frame does not fit its layout.
    """
    blocks: dict[int, _Block] = {}
    for layout, time, readings, healths, times in rows:
        block = blocks.get(layout)
        if block is None:
            block = blocks[layout] = _Block(sensors_of(layout))
        block.add(time, readings, healths, times)
    places: dict[tuple[str, str], list[tuple[_Block, int]]] = {}
    for block in blocks.values():
        for position, sensor in enumerate(block.sensors):
            places.setdefault((sensor.part, sensor.sensor), []).append((block, position))
    for key in sorted(places):
        yield _column(key, places[key])


def _column(key: tuple[str, str], places: list[tuple[_Block, int]]) -> Column:
    block, position = places[-1]
    source = block.sensors[position].source
    times, values, healths = array("d"), array("d"), b""
    for block, position in places:
        times += block.times(position)
        values += block.values(position)
        healths += block.healths(position)
    if not all(map(lt, times, islice(times, 1, None))):
        times, values, healths = _in_order(times, values, healths)
    return Column(*key, source, times, values, healths)


def _in_order(times: array[float], values: array[float], healths: bytes) -> tuple[array[float], array[float], bytes]:
    """Sorted by time. Of samples with one time (a service that has not measured again) the last that came."""
    newest = {codec.whole_microseconds(time): index for index, time in enumerate(times)}
    order = sorted(newest)
    chosen = [newest[time] for time in order]
    return array("d", order), array("d", [values[i] for i in chosen]), bytes([healths[i] for i in chosen])
