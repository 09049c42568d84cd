"""Sealed hours as Parquet files (https://parquet.apache.org/docs/file-format/): the only code that knows pyarrow.

Import it inside functions: pyarrow is big, and a collector needs it only once an hour is to be sealed.

A file holds the columns ``controller``, ``part``, ``sensor``, ``source`` (text), ``time`` (microseconds, UTC),
``value`` (double; null where the controller told none) and ``health`` (int8, :class:`collector.model.Health`), sorted
by controller, part, sensor and time. Its metadata say under ``sledkeeper`` which frames of which store it stands for.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from collector.model import NO_VALUE, Seconds
from collector.store.columns import Column
from collector.store.errors import damaged

_MARK = "sledkeeper"
_GROUP_SAMPLES = 32768
"""Samples from which a row group is closed: small enough to read one sensor fast, big enough to compress well."""

_TEXT = pa.dictionary(pa.int32(), pa.string())
_TIME = pa.timestamp("us", tz="UTC")
_SCHEMA = pa.schema(
    [
        pa.field("controller", _TEXT, nullable=False),
        pa.field("part", _TEXT, nullable=False),
        pa.field("sensor", _TEXT, nullable=False),
        pa.field("source", _TEXT, nullable=False),
        pa.field("time", _TIME, nullable=False),
        pa.field("value", pa.float64()),
        pa.field("health", pa.int8(), nullable=False),
    ]
)


class Sealed(msgspec.Struct, frozen=True, kw_only=True):
    """What a sealed file stands for: all frames of these controllers in this hour, up to this id."""

    store: str
    hour: int
    """Start, epoch seconds."""
    first_controller: str
    last_controller: str
    earliest: Seconds
    latest: Seconds
    last_frame: int
    samples: int


class _Words:
    """A text column as indexes into its distinct words."""

    def __init__(self) -> None:
        self._known: dict[str, int] = {}
        self._indexes = array("i")

    def add(self, word: str, count: int) -> None:
        index = self._known.setdefault(word, len(self._known))
        self._indexes.extend(array("i", [index]) * count)

    def column(self) -> Any:
        words = pa.array(list(self._known), pa.string())
        return pa.DictionaryArray.from_arrays(_column(pa.int32(), self._indexes), words)


class FileBuilder:
    """Writes one file, a sensor at a time in the files' order; holds one row group in memory."""

    def __init__(self, path: Path) -> None:
        self._writer = pq.ParquetWriter(
            path,
            _SCHEMA,
            compression="zstd",
            use_dictionary=["controller", "part", "sensor", "source", "time", "value"],
            write_statistics=True,
            write_page_checksum=True,
        )
        self._begin_group()
        self.samples = 0
        self._earliest, self._latest = math.inf, -math.inf

    def _begin_group(self) -> None:
        self._texts = tuple(_Words() for _ in range(4))
        self._times = array("d")
        self._values = array("d")
        self._healths = bytearray()

    def add(self, controller: str, column: Column) -> None:
        """A sensor's samples."""
        count = len(column.times)
        key = (controller, column.part, column.sensor, column.source)
        for words, word in zip(self._texts, key, strict=True):
            words.add(word, count)
        self._times += column.times
        self._values += column.values
        self._healths += column.healths
        self.samples += count
        if len(self._times) >= _GROUP_SAMPLES:
            self._end_group()

    def _end_group(self) -> None:
        if not self._times:
            return
        values = _column(pa.float64(), self._values)
        times = _microseconds(_column(pa.float64(), self._times))
        span = pc.min_max(times.cast(pa.int64()))
        self._earliest = min(self._earliest, span["min"].as_py() / 1e6)
        self._latest = max(self._latest, span["max"].as_py() / 1e6)
        columns = [
            *(words.column() for words in self._texts),
            times,
            pc.if_else(pc.is_nan(values), pa.scalar(None, pa.float64()), values),
            _column(pa.int8(), bytes(self._healths)),
        ]
        self._writer.write_table(pa.Table.from_arrays(columns, schema=_SCHEMA))
        self._begin_group()

    def close(self, *, store: str, hour: int, first: str, final: str, last_frame: int) -> Sealed:
        """Finish the file of a store's hour; ``first`` and ``final`` are the range of its controllers."""
        self._end_group()
        sealed = Sealed(
            store=store,
            hour=hour,
            first_controller=first,
            last_controller=final,
            earliest=self._earliest,
            latest=self._latest,
            last_frame=last_frame,
            samples=self.samples,
        )
        self._writer.add_key_value_metadata({_MARK: msgspec.json.encode(sealed).decode()})
        self._writer.close()
        return sealed

    def abandon(self) -> None:
        """Let go of the file, which is worth nothing."""
        self._writer.close()


def _column(kind: Any, data: array[Any] | bytes) -> Any:
    return pa.Array.from_buffers(kind, len(data), [None, pa.py_buffer(data)])


def _microseconds(times: Any) -> Any:
    return pc.round(pc.multiply(times, 1e6)).cast(pa.int64()).cast(_TIME)


def sealed_of(state_dir: Path, path: Path) -> Sealed:
    """What the file says that it stands for.

    Raises ``StoreDamaged`` where it is not a whole sealed file of ours, and ``OSError``.
    """
    with _readable(state_dir, path):
        metadata = pq.read_metadata(path).metadata or {}
    try:
        return msgspec.json.decode(metadata[_MARK.encode()], type=Sealed)
    except (KeyError, msgspec.MsgspecError) as error:
        raise damaged(state_dir, f"{path} is not a file that sledkeeper sealed") from error


def samples_of(
    state_dir: Path, path: Path, key: tuple[str, str, str], since: Seconds, until: Seconds
) -> list[tuple[Seconds, float]]:
    """Time and value (NaN for none) of one sensor's samples in a file, oldest first, between two times.

    Raises ``StoreDamaged``, and ``OSError`` (``FileNotFoundError`` where retention was faster).
    """
    with _readable(state_dir, path), pq.ParquetFile(path, page_checksum_verification=True) as file:
        groups = [index for index in range(file.num_row_groups) if _may_hold(file.metadata.row_group(index), key)]
        if not groups:
            return []
        table = file.read_row_groups(groups, columns=["controller", "part", "sensor", "time", "value"])
        for name, word in zip(("controller", "part", "sensor"), key, strict=True):
            table = table.filter(pc.equal(table[name].cast(pa.string()), word))
    times = (microseconds / 1e6 for microseconds in table["time"].cast(pa.int64()).to_pylist())
    values = (NO_VALUE if value is None else value for value in table["value"].to_pylist())
    return [(time, value) for time, value in zip(times, values, strict=True) if since <= time <= until]


@contextmanager
def _readable(state_dir: Path, path: Path) -> Iterator[None]:
    """Tell damage as such. Arrow tells some of it as ``OSError`` too, but then without an error number."""
    try:
        yield
    except (pa.ArrowException, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise
        raise damaged(state_dir, f"{path} can't be read: {error}") from error


def _may_hold(group: Any, key: tuple[str, str, str]) -> bool:
    """Whether the statistics let the row group hold the sensor. Column order is the schema's."""
    for index, word in enumerate(key):
        statistics = group.column(index).statistics
        if statistics is None or not statistics.has_min_max:
            continue
        if not statistics.min <= word <= statistics.max:
            return False
        if statistics.min != statistics.max:
            return True  # the columns after it are sorted only within one value of this one
    return True


def release_memory() -> None:
    """Give back what Arrow's allocator keeps for later."""
    pa.default_memory_pool().release_unused()
