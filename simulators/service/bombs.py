"""Bodies that are too much for a careless reader: valid JSON, each of them another kind of too much."""

from __future__ import annotations

import zlib
from functools import cache
from typing import Any

import msgspec

BOMB = 256 * 1024 * 1024
"""Bytes that the compressed body unpacks to."""
DEPTH = 100_000
"""Arrays within each other."""
MEMBERS = 100_000
"""Members of a collection that lists as many."""
_BLOCK = 1024 * 1024


@cache
def gzip_bomb() -> bytes:
    """A JSON object of :data:`BOMB` bytes, nearly all of them blanks, as gzip (RFC 1952) of a thousandth of that."""
    blanks = b" " * _BLOCK
    count = BOMB // _BLOCK
    packer = zlib.compressobj(9, wbits=-15)
    # a block that ends with a full flush stands for itself, so it can be repeated without compressing it again
    first = packer.compress(b"{") + packer.flush(zlib.Z_FULL_FLUSH)
    middle = packer.compress(blanks) + packer.flush(zlib.Z_FULL_FLUSH)
    last = packer.compress(b"}") + packer.flush()
    check = zlib.crc32(b"{")
    for _ in range(count):
        check = zlib.crc32(blanks, check)
    check = zlib.crc32(b"}", check)
    size = (2 + count * _BLOCK) % 2**32
    head = b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x02\xff"
    return head + first + middle * count + last + check.to_bytes(4, "little") + size.to_bytes(4, "little")


def nested(body: bytes) -> bytes:
    """A JSON object with :data:`DEPTH` arrays in each other beside what it had."""
    return body[:-1] + b',"Oem":{"Invented":' + b"[" * DEPTH + b"]" * DEPTH + b"}}"


def crowded(path: str, body: bytes) -> bytes:
    """A collection with :data:`MEMBERS` members, of which all but a few are not there; other bodies as they are."""
    if b'"Members":[' not in body:
        return body
    told = msgspec.json.decode(body)
    told["Members"] += [{"@odata.id": f"{path}/{number:06d}"} for number in range(MEMBERS - len(told["Members"]))]
    told["Members@odata.count"] = len(told["Members"])
    return msgspec.json.encode(told)


def looped(body: bytes) -> bytes:
    """The same with every chassis contained in the first that it contains, or in itself."""
    told = msgspec.json.decode(body)
    _loop(told)
    return msgspec.json.encode(told)


def _loop(told: Any) -> None:
    if isinstance(told, list):
        for item in told:
            _loop(item)
    if not isinstance(told, dict):
        return
    if str(told.get("@odata.type", "")).startswith("#Chassis."):
        links = told.setdefault("Links", {})
        inner = links.get("Contains") or [{"@odata.id": told["@odata.id"]}]
        links.setdefault("ContainedBy", inner[0])
        links.setdefault("Contains", [links["ContainedBy"]])
    for value in told.values():
        _loop(value)
