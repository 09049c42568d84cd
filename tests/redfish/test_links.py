"""Where links lead: RFC 3986 resolution and normalisation, DSP0266 for the service root."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.redfish import links

ORIGIN = "https://192.0.2.17"


@pytest.mark.parametrize(
    ("link", "path", "key", "fragment"),
    [
        ("/redfish/v1", "/redfish/v1", "/redfish/v1/", ""),
        ("/redfish/v1/", "/redfish/v1/", "/redfish/v1/", ""),
        ("/redfish/v1/Chassis/", "/redfish/v1/Chassis/", "/redfish/v1/Chassis", ""),
        ("/redfish/v1/Chassis/1/Thermal#/Fans/0", "/redfish/v1/Chassis/1/Thermal", None, "/Fans/0"),
        ("/redfish/v1/S?$skip=50&$top=50", "/redfish/v1/S?$skip=50&$top=50", "/redfish/v1/S", ""),
        ("/a/../redfish/./v1/X", "/a/../redfish/./v1/X", "/redfish/v1/X", ""),
        ("/x/Fan%20Bay%7E1", "/x/Fan%20Bay%7E1", "/x/Fan%20Bay~1", ""),
        ("/x/Fan Bay", "/x/Fan%20Bay", "/x/Fan%20Bay", ""),
        ("/x/%zz/é", "/x/%25zz/%C3%A9", "/x/%25zz/%C3%A9", ""),
        (ORIGIN + "/redfish/v1/X", "/redfish/v1/X", "/redfish/v1/X", ""),
        ("HTTPS://192.0.2.17:443/redfish/v1/X", "/redfish/v1/X", "/redfish/v1/X", ""),
        ("//192.0.2.17/redfish/v1/X", "/redfish/v1/X", "/redfish/v1/X", ""),
    ],
)
def test_links_that_lead_somewhere(link: str, path: str, key: str | None, fragment: str) -> None:
    target = links.target(link, ORIGIN)
    assert target == links.Target(path, key or path, fragment)
    assert links.key(link) == target.key


@pytest.mark.parametrize(
    ("link", "foreign"),
    [
        ("https://192.0.2.18/redfish/v1/X", True),
        ("http://192.0.2.17/redfish/v1/X", True),
        ("https://192.0.2.17:8443/redfish/v1/X", True),
        ("https://192.0.2.17@evil.example/X", True),
        ("//evil.example/redfish/v1/X", True),
        ("file:///etc/passwd", True),
        ("https://[::1/X", False),
        ("https://192.0.2.17:99999/X", False),
        ("Chassis/1", False),
        ("", False),
        ("#/Fans/0", False),
        ("/" + "x" * 5000, False),
        (None, False),
        (7, False),
        (["/redfish/v1"], False),
    ],
)
def test_links_that_are_not_followed(link: object, foreign: bool) -> None:
    with pytest.raises(links.BadLink) as caught:
        links.target(link, ORIGIN)
    assert caught.value.foreign is foreign


@given(st.text(max_size=60))
def test_whatever_a_service_says_is_safe_in_a_request_line(text: str) -> None:
    try:
        target = links.target("/" + text, ORIGIN)
    except links.BadLink:
        return
    assert target.path.isascii()
    assert target.path.isprintable()
    assert " " not in target.path
    assert links.key(target.path) == target.key, "asking for it by its path names the same resource"
    assert links.key(target.key) == target.key, "a key is its own key"


def test_an_origin_with_a_port() -> None:
    assert links.target("http://[::1]:8000/x", "http://[::1]:8000").path == "/x"
    with pytest.raises(links.BadLink):
        links.target("http://[::1]/x", "http://[::1]:8000")
