"""What looks have learnt, as bytes that outlast a restart.

A look gives numbers by name: columns of them for many things at once, or a few for one. The bytes carry a version and a
checksum: what is damaged, or was written by another version, is refused as a whole (:class:`Damaged`) and learnt anew.
Nothing in it is older or newer than what the look knew; how old that is says :attr:`Memory.time`.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping, Sequence
from typing import Protocol

import msgspec
import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from collector.model import Seconds

VERSION = 1
"""Of what the looks mean by their names. Another one's bytes are not read: learning anew takes hours, being wrong
more."""
MOST_BYTES = 1_000_000
"""Of one controller's memory, packed; more is not kept."""
MOST_UNPACKED = 8_000_000
_HEAD = struct.Struct("<4sII")
_MARK = b"SLKM"
Numbers = NDArray[np.float64]
Indices = NDArray[np.intp]


class Damaged(ValueError):
    """It can't be read; the text says why."""


class Table(Struct, frozen=True):
    """Columns of numbers, a row a key."""

    keys: tuple[str, ...]
    columns: dict[str, bytes]

    def meet(self, keys: Sequence[str]) -> tuple[Indices, Indices]:
        """Which rows here are which of some keys there: (rows here, places there)."""
        at = {key: place for place, key in enumerate(keys)}
        pairs = [(row, at[key]) for row, key in enumerate(self.keys) if key in at]
        rows, places = zip(*pairs, strict=True) if pairs else ((), ())
        return np.asarray(rows, dtype=np.intp), np.asarray(places, dtype=np.intp)

    def column(self, name: str, *shape: int) -> Numbers:
        """One column; of several numbers a row, with their shape. Raises :class:`Damaged`."""
        told = self.columns.get(name, b"")
        wide = 1
        for size in shape:
            wide *= size
        if len(told) != 8 * wide * len(self.keys):
            raise Damaged(f"column {name} holds {len(told)} bytes for {len(self.keys)} rows")
        return np.frombuffer(told, dtype="<f8").reshape(len(self.keys), *shape).copy()


def table(keys: Sequence[str], chosen: NDArray[np.bool_], **columns: NDArray[np.generic]) -> Table:
    """The chosen rows."""
    kept = tuple(key for key, wanted in zip(keys, chosen.tolist(), strict=True) if wanted)
    return Table(kept, {name: column[chosen].astype("<f8").tobytes() for name, column in columns.items()})


class Learnt(Struct, frozen=True, kw_only=True):
    """One look's."""

    tables: dict[str, Table] = {}
    figures: dict[str, tuple[float, ...]] = {}
    words: dict[str, tuple[str, ...]] = {}

    def table(self, name: str) -> Table:
        """By name; an empty one where there is none."""
        return self.tables.get(name, Table((), {}))


class Memory(Struct, frozen=True, kw_only=True):
    """One controller's."""

    time: Seconds
    """When it was packed."""
    looks: dict[str, Learnt]


class Learns(Protocol):
    """A look with something to remember."""

    @property
    def kept(self) -> str:
        """Its name in the memory."""

    def learnt(self) -> Learnt:
        """What it knows now."""

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take up what it knew ``then``, after the first walk. Raises :class:`Damaged`, having changed nothing."""


def pack(looks: Mapping[str, Learnt], now: Seconds) -> bytes | None:
    """As bytes; None where there would be too many of them."""
    plain = msgspec.msgpack.encode(Memory(time=now, looks=dict(looks)))
    packed = zlib.compress(plain, 1)
    if len(packed) > MOST_BYTES or len(plain) > MOST_UNPACKED:
        return None
    return _HEAD.pack(_MARK, VERSION, zlib.crc32(packed)) + packed


def unpack(told: bytes) -> Memory:
    """What :func:`pack` made. Raises :class:`Damaged`."""
    if len(told) < _HEAD.size:
        raise Damaged("it is cut short")
    mark, version, check = _HEAD.unpack_from(told)
    packed = told[_HEAD.size :]
    if mark != _MARK:
        raise Damaged("it is no memory of looks")
    if version != VERSION:
        raise Damaged(f"it has version {version}, this program reads version {VERSION}")
    if check != zlib.crc32(packed):
        raise Damaged("its checksum is wrong")
    try:
        loosened = zlib.decompressobj()
        plain = loosened.decompress(packed, MOST_UNPACKED)
        if loosened.unconsumed_tail:
            raise Damaged("it is too large")
        return msgspec.msgpack.decode(plain, type=Memory)
    except (zlib.error, msgspec.DecodeError, UnicodeDecodeError) as error:
        raise Damaged(str(error)) from error
