"""Bodies as services send them; JSON rules: RFC 8259."""

from __future__ import annotations

import contextlib
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.redfish.bodies import MAX_DEPTH, MAX_VALUES, decode
from collector.redfish.errors import ControllerError, Malformed, NotJson, TooBig, TooDeep


def test_odd_bodies_are_kept() -> None:
    told = decode(b'\xef\xbb\xbf{"a": NaN, "b": -Infinity, "c": 1e999, "a": 2}', "bmc", "/x")
    assert told == {"a": 2, "b": -math.inf, "c": math.inf}
    assert math.isnan(decode(b'{"a": NaN}', "bmc", "/x")["a"])
    assert decode(b'{"a": ' + b"9" * 300 + b"}", "bmc", "/x")["a"] == int("9" * 300)
    assert decode(b'{"a": ' + b"9" * 5000 + b"}", "bmc", "/x")["a"] == math.inf
    assert decode(b'{"a": "\\ud800x", "\\udfff": ["\\ud83d\\ude00"]}', "bmc", "/x") == {"a": "�x", "�": ["😀"]}


@pytest.mark.parametrize(
    ("body", "kind", "words"),
    [
        (b"<!DOCTYPE html><html>Please log in", NotJson, "markup: <!DOCTYPE"),
        (b"", NotJson, "empty"),
        (b" \r\n", NotJson, "empty"),
        (b'{"a": [1, 2', NotJson, "at character 11"),
        (b'{"a": 1} {"b": 2}', NotJson, "Extra data"),
        (b"[]", NotJson, "an array"),
        (b'"x"', NotJson, "a string"),
        (b"3.5", NotJson, "a number"),
        (b"null", NotJson, "null"),
        (b'{"a": "\xff"}', NotJson, "byte 7 is not UTF-8"),
        ('{"a": 1}'.encode("utf-16"), NotJson, "byte 0 is not UTF-8"),
        (b'{"a": "\x00"}', NotJson, "control character"),
        (b'{"a":' * (MAX_DEPTH + 1) + b"1" + b"}" * (MAX_DEPTH + 1), TooDeep, "64"),
        (b"[" * 100_000, TooDeep, "64"),
        (b'{"a": [' + b"[]," * MAX_VALUES + b"1]}", TooBig, "values"),
    ],
    ids=lambda value: None if isinstance(value, bytes) else str(value),
)
def test_what_can_not_be_read_has_a_name(body: bytes, kind: type[ControllerError], words: str) -> None:
    with pytest.raises(kind, match=words) as caught:
        decode(body, "bmc", "/redfish/v1/Chassis")
    assert str(caught.value).startswith("bmc: /redfish/v1/Chassis: ")
    assert str(caught.value).isprintable()


def test_the_deepest_that_is_taken() -> None:
    assert decode(b'{"a":' * MAX_DEPTH + b"1" + b"}" * MAX_DEPTH, "bmc", "/x")


@given(st.binary(max_size=200))
def test_any_bytes_are_a_dict_or_a_named_error(body: bytes) -> None:
    with contextlib.suppress(Malformed):
        assert isinstance(decode(body, "bmc", "/x"), dict)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(), VALUES, max_size=5))
def test_any_object_comes_through(value: dict[str, object]) -> None:
    """Against the standard library's encoder; text of the Unicode standard has no lone surrogates."""
    assert decode(json.dumps(value).encode(), "bmc", "/x") == value
