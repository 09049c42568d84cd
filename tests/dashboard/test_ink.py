"""Whatever a controller says is text on a page, never markup."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.drawings.ink import LONG, Ink, join, sled_link, tag, text
from tests.dashboard.reading import parse, words

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "]]><!-- &amp; &#x202e;",
    "\u202eevil\u2066 right to left\u2069",
    "\x1b[31mred\x1b[0m\x00\x07",
    "a" * 10_000,
    "javascript:alert(1)",
    "'; DROP TABLE parts; --",
    '=HYPERLINK("http://x.invalid","here")',
    "@SUM(A1:A9)",
    "+1-1",
]


@pytest.mark.parametrize("told", HOSTILE)
def test_hostile_text_stays_text(told: str) -> None:
    tree = parse(tag("p", told, title=told))
    paragraph = tree[0]
    assert list(paragraph) == []
    assert len(paragraph.text or "") <= LONG
    assert paragraph.attrib.keys() == {"title"}


@given(st.text(max_size=400))
def test_any_text_makes_well_formed_markup_without_hidden_characters(told: str) -> None:
    tree = parse(join(tag("p", told, data_x=told), text(told)))
    shown = words(tree) + tree[0].get("data-x", "")
    assert not [char for char in shown if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp") and char != " "]


def test_markup_made_here_is_not_escaped_twice() -> None:
    assert tag("p", tag("b", "a < b"), " & c") == Ink("<p><b>a &lt; b</b> &amp; c</p>")


def test_attributes_leave_out_what_is_not_told() -> None:
    assert tag("rect", x=0, y=1.5, class_="a", data_part=None, hidden=False, data_on=True) == Ink(
        '<rect x="0" y="1.5" class="a" data-on="true"/>'
    )


def test_a_link_to_a_sled_keeps_any_name_whole() -> None:
    assert sled_link("r01 & s/1") == "./?sled=r01+%26+s%2F1"
