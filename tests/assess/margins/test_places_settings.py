"""[[places]] in the fleet file."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.settings import SettingsError, load

FLEET = """
[[controllers]]
name = "n1"
url = "https://192.0.2.1"

[[places]]
site = "Q"
rack = "R01"
altitude = 1800
air_class = "A2"
feeds = [{ name = "A", rating = 6000 }, { name = "B", rating = 6000 }]
"""


def test_a_place_is_read(tmp_path: Path) -> None:
    file = tmp_path / "fleet.toml"
    file.write_text(FLEET)
    (place,) = load(file).places
    assert (place.site, place.rack, place.row, place.altitude, place.air_class) == ("Q", "R01", None, 1800.0, "A2")
    assert [(feed.name, feed.rating) for feed in place.feeds] == [("A", 6000.0), ("B", 6000.0)]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (('"A2"', '"A9"'), "places.0.air_class"),
        (("1800", "18000"), "places.0.altitude"),
        (('name = "B"', 'name = "A"'), "places.0: names a feed twice"),
        (("rating = 6000 }]", "rating = 0 }]"), "places.0.feeds.1.rating"),
        (("rack =", "rakc ="), "places.0.rakc: unknown key"),
    ],
)
def test_what_is_wrong_with_a_place_is_said(tmp_path: Path, change: tuple[str, str], expected: str) -> None:
    file = tmp_path / "fleet.toml"
    file.write_text(FLEET.replace(*change, 1))
    with pytest.raises(SettingsError) as caught:
        load(file)
    assert expected in str(caught.value)
