"""Collections of absurd length are cut before they are decoded; all else stays as it came."""

from __future__ import annotations

import json
from typing import Any

import pytest

from collector.redfish.shortened import LONG, shortened

PADDING = "x" * LONG


def collection(members: Any) -> bytes:
    return json.dumps(
        {"Name": 'a "Members": [1] {', "Padding": PADDING, "Members": members, "After": {"a": [1]}}
    ).encode()


@pytest.mark.parametrize(
    "members", [[{"@odata.id": f"/{index}", "In": [[{}]]} for index in range(11)], list(range(500))]
)
def test_the_first_members_stay_and_all_beside_them(members: list[Any]) -> None:
    body = collection(members)
    assert json.loads(shortened(body, 10)) == json.loads(body) | {"Members": members[:10]}


@pytest.mark.parametrize(
    "body",
    [
        collection([1] * 10),
        collection([]),
        collection(None),
        collection({"a": 1}),
        b"[" + b"1," * LONG + b"1]",
        b"[" * LONG,
        b'{"Members":' + b"[" * LONG,
        b'{"Members": [' + b"1," * LONG,
        b"\xff" * LONG,
        b'{"Members": [1, NaN, ' + b"2, " * LONG + b"3]}",
        b'{"Members": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]}',
    ],
    ids=["few", "none", "null", "object", "array", "deep", "deep members", "cut", "no UTF-8", "NaN", "short"],
)
def test_what_is_none_stays_as_it_came(body: bytes) -> None:
    assert shortened(body, 10) == body
