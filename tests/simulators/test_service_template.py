"""Bodies made once and filled often: the text must be what encoding the whole would give."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.service.template import Live, Maybe, Template

Now = dict[str, Any]


def hole(name: str) -> Live[Now]:
    return Live(lambda now: json.dumps(now[name]).encode())


def maybe(name: str) -> Maybe[Now]:
    return Maybe(lambda now: json.dumps(now[name]).encode() if name in now else b"")


scalars = st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.text()
plain = st.recursive(scalars, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20)


@given(plain, scalars, scalars)
def test_a_filled_template_is_the_body(body: Any, first: Any, second: Any) -> None:
    template = Template[Now]({"a": body, "b": hole("x"), "c": [hole("y"), {"d": hole("x")}]})
    for x, y in ((first, second), (second, first)):
        told = json.loads(template.render({"x": x, "y": y}))
        assert told == {"a": body, "b": x, "c": [y, {"d": x}]}


@given(st.booleans(), st.booleans(), st.booleans())
def test_members_that_may_be_left_out_leave_good_json(p: bool, q: bool, r: bool) -> None:
    template = Template[Now](
        {"id": 1, "p": maybe("p"), "q": maybe("q"), "in": {"id": 2, "r": maybe("r")}, "p2": maybe("p")}
    )
    now = {name: name for name, there in (("p", p), ("q", q), ("r", r)) if there}
    inner = {"id": 2} | ({"r": "r"} if r else {})
    wanted = (
        {"id": 1} | ({"p": "p"} if p else {}) | ({"q": "q"} if q else {}) | {"in": inner} | ({"p2": "p"} if p else {})
    )
    assert list(json.loads(template.render(now)).items()) == list(wanted.items())


def test_what_can_not_be_compiled_says_so() -> None:
    for body in ({"p": maybe("p")}, [maybe("p")], {"a": object()}):
        with pytest.raises(TypeError):
            Template[Now](body)


def test_constant_bodies_know_it() -> None:
    assert Template[Now]({"a": 1}).constant
    assert not Template[Now]({"a": hole("x")}).constant
