"""Chance that can be repeated: numbers that depend on nothing but a seed, a name and a time.

There is no generator with a state: any moment can be asked for in any order, so a fleet that is advanced in small
steps, in large ones or in another process meets the same loads and the same noise.
"""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Keys = NDArray[np.uint64]

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_SPAN = float(2**53)


def key(*names: object) -> int:
    """A 64-bit key for some names, e.g. seed, sled and what the number is for."""
    text = "\x1f".join(str(name) for name in names)
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest())


def uniform(keys: Keys, salt: int = 0) -> Floats:
    """A number in [0, 1) for each key; another salt gives other numbers (SplitMix64's mixing function)."""
    shift = (int(_GOLDEN) * (salt + 1)) % 2**64
    z: Keys = keys + np.uint64(shift)
    z = (z ^ (z >> np.uint64(30))) * _MIX_1
    z = (z ^ (z >> np.uint64(27))) * _MIX_2
    z = z ^ (z >> np.uint64(31))
    numbers: Floats = (z >> np.uint64(11)).astype(np.float64) / _SPAN
    return numbers


def spread(keys: Keys, width: float, salt: int = 0) -> Floats:
    """A factor in [1 - width, 1 + width) for each key: how far parts of one make differ."""
    factors: Floats = 1.0 + width * (2.0 * uniform(keys, salt) - 1.0)
    return factors


def chance(name: str, tick: int) -> float:
    """A number from -1 to 1 for a name and a count."""
    return 2.0 * (key(name, tick) / 2**64) - 1.0


class Wander:
    """A smooth course of time for each key, between -1 and 1: noise on a lattice of times, smoothly joined."""

    def __init__(self, keys: Keys, period: Floats | float) -> None:
        """``period``: seconds between two points of the lattice, one for all or one a key.

        Each key's lattice starts at another moment.
        """
        self._keys = keys
        self._period = period
        self._phase = uniform(keys, 7)
        self._corner = np.full(keys.shape, np.nan)
        self._from = np.zeros(keys.shape)
        self._to = np.zeros(keys.shape)

    def at(self, time: float) -> Floats:
        """The values at ``time`` (epoch seconds)."""
        place = time / self._period + self._phase
        corner = np.floor(place)
        moved = corner != self._corner
        if moved.any():
            # Few of many keys pass a lattice point in one step: only theirs are drawn anew.
            keys = self._keys[moved]
            whole = corner[moved].astype(np.int64).astype(np.uint64)
            self._from[moved] = 2.0 * uniform(keys + whole * _MIX_1, 1) - 1.0
            self._to[moved] = 2.0 * uniform(keys + (whole + np.uint64(1)) * _MIX_1, 1) - 1.0
            self._corner = corner
        part = place - corner
        course: Floats = self._from + (self._to - self._from) * (part * part * (3.0 - 2.0 * part))
        return course


def bounded(values: Floats, least: Floats | float, most: Floats | float) -> Floats:
    """The values, none below ``least`` or above ``most``; much quicker than numpy's clip on small arrays."""
    within: Floats = np.minimum(np.maximum(values, least), most)
    return within
