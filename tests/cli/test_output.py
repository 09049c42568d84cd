"""Rows for people and programs; hostile text stays text."""

from __future__ import annotations

import csv
import io
import json
import unicodedata

import pytest

from collector.cli.output import iso, rows
from collector.text import plain


def written(items: list[dict[str, object]], format: str) -> str:
    out = io.StringIO()
    rows(items, ["name", "value"], format, out)
    return out.getvalue()


def test_table_aligns_numbers_right_and_shows_absence() -> None:
    text = written([{"name": "inlet", "value": 23.5}, {"name": "exhaust temperature", "value": None}], "table")
    assert text.splitlines() == [
        "name                 value",
        "inlet                 23.5",
        "exhaust temperature      -",
    ]


def test_no_rows_say_so() -> None:
    assert written([], "table") == "(none)\n"
    assert json.loads(written([], "json")) == []
    assert written([], "csv") == "name,value\n"


def test_json_is_whole_and_null_is_null() -> None:
    item = {"name": "a\x1b[31m", "value": None, "thresholds": {"upper_caution": {"value": 42.0}}}
    assert json.loads(written([item], "json")) == [item]


@pytest.mark.parametrize("lead", ["=", "+", "-", "@"])
def test_csv_holds_no_formula(lead: str) -> None:
    text = written([{"name": f"{lead}HYPERLINK(1)", "value": -4.5}], "csv")
    (row,) = csv.DictReader(io.StringIO(text))
    assert row == {"name": f"'{lead}HYPERLINK(1)", "value": "-4.5"}


@pytest.mark.parametrize("hostile", ["\x1b]0;title\x07", "a\nb", "\u202egnp.exe", "\u2066x\u2069", "x\r", "\x9b31m"])
def test_terminal_sees_no_control_or_bidi_character(hostile: str) -> None:
    shown = plain(hostile)
    assert shown.isprintable() or "\ufffd" in shown
    assert not any(ord(char) < 32 or char in "\u202e\u2066\u2069\x9b" for char in shown)
    assert plain(hostile) in written([{"name": hostile, "value": 1}], "table")


def test_plain_keeps_other_scripts_and_bounds_length() -> None:
    assert plain("Gerät 7 / 温度 é") == "Gerät 7 / 温度 é"
    assert len(plain("x" * 10_000)) == 200
    assert plain("x" * 10_000).endswith("…")


def test_times_are_utc_iso_8601() -> None:
    # check-values.md section 8: 2015-03-13T04:14:33+06:00 = 2015-03-12T22:14:33Z
    assert iso(1426198473.0) == "2015-03-12T22:14:33.000Z"
    assert iso(None) is None


@pytest.mark.parametrize("told", ["\u202egnp.exe", "\U000e0041tag", "gr\u00fcn", "a\x1b[31m"])
def test_json_is_the_same_to_programs_and_harmless_to_a_terminal(told: str) -> None:
    for form in ("json", "csv"):
        text = written([{"name": {"inner": told}, "value": 1}], form)
        assert not [one for one in text if one != "\n" and unicodedata.category(one) in ("Cc", "Cf", "Cs")]
    assert json.loads(written([{"name": told, "value": 1}], "json"))[0]["name"] == told
