"""Error bodies: the standard's form (DSP0266 'Error responses'), and what comes instead."""

from __future__ import annotations

import json
from typing import Any

import pytest

from collector.redfish.messages import Told, seconds_to_wait, told
from collector.redfish.session import _TABLE_FULL
from tests.conftest import standard


def test_a_standard_error_body() -> None:
    info = {"MessageId": "Base.1.22.SessionLimitExceeded", "Message": "Too many. "}
    body = {"error": {"code": "Base.1.22.GeneralError", "message": "See below.", "@Message.ExtendedInfo": [info, info]}}
    assert told(json.dumps(body).encode()) == Told(("SessionLimitExceeded", "GeneralError"), "Too many.")


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ({"error": {"message": "plain"}}, "plain"),
        ({"@Message.ExtendedInfo": [{"Message": "at the top"}]}, "at the top"),
        ({"error": {"@Message.ExtendedInfo": {"Message": "one object"}}}, "one object"),
        ({"error": {"@Message.ExtendedInfo": [None, 3, {"Message": 7}, {"Message": "real"}]}}, "real"),
        ({"error": "text"}, ""),
        ([], ""),
    ],
)
def test_others(body: Any, text: str) -> None:
    assert told(json.dumps(body).encode()).text == text


@pytest.mark.parametrize("body", [b"", b"<html>", b"[" * 100_000, b'{"error"', b"\xff", b" " * 1_000_000])
def test_no_body_at_all(body: bytes) -> None:
    assert told(body) == Told()


def test_the_keys_that_mean_a_full_table_are_published() -> None:
    """DSP8011 Base registry."""
    registry = json.loads(standard("redfish", "registries", "Base.1.22.1.json").read_bytes())
    assert set(registry["Messages"]) >= _TABLE_FULL


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        (None, None),
        ("120", 120.0),
        ("0", 0.0),
        ("Fri, 31 Dec 1999 23:59:59 GMT", 10.0),  # the date of RFC 9110 10.2.3, ten seconds ahead of now
        ("Friday, 31-Dec-99 23:59:59 GMT", 10.0),  # the obsolete form of RFC 9110 5.6.7
        ("Fri, 31 Dec 1999 23:00:00 GMT", 0.0),
        ("-5", None),
        ("1.5", None),
        ("soon", None),
        ("9" * 500, None),
        ("Fri, 99 Dec 1999 23:59:59 GMT", None),
    ],
)
def test_retry_after(header: str | None, seconds: float | None) -> None:
    now = 946684799.0 - 10  # 1999-12-31T23:59:59Z less ten seconds
    assert seconds_to_wait(header, now) == seconds
