"""Which sensor a drawn fault befalls: one that the sled's controller has a word for."""

from __future__ import annotations

import pytest

from simulators.site import demo_site
from simulators.world import World

CLASSIC, MODERN = "r01-e1-s1", "r03-e1-s1"
"""Two sleds of one design. DSP8010's Thermal and Power have words for temperature, fans, voltage and power alone."""
UNHEARD = {"SledHumidity", "FeedCurrent", "Blade1Current"}


def gone(sled: str, part: str, **arguments: float | str) -> str:
    """The sensor that an injected fault has taken away."""
    world = World(demo_site(), seed=1)
    world.advance(60.0)
    before = {id_ for id_, point in world.telemetry(sled).sensors.items() if point.value is not None}
    world.inject("sensor-gone", f"{sled}{part}", **arguments)
    world.advance(60.0)
    (lost,) = before - {id_ for id_, point in world.telemetry(sled).sensors.items() if point.value is not None}
    return lost


@pytest.mark.parametrize("part", ["", "/blade1"])
def test_of_a_controller_with_the_older_model_a_sensor_that_it_tells_is_picked(part: str) -> None:
    picked = [gone(CLASSIC, part, pick=0.1 * tenth) for tenth in range(11)]
    assert not UNHEARD & set(picked)
    assert len(set(picked)) >= 5, "any of the others"
    newer = {gone(MODERN, part, pick=0.1 * tenth) for tenth in range(11)}
    assert UNHEARD & newer, "the newer model has a word for each"


def test_who_names_a_sensor_gets_it_whether_anybody_hears_of_it_or_not() -> None:
    assert gone(CLASSIC, "/blade1", sensor="Blade1Current") == "Blade1Current"
    assert gone(CLASSIC, "", sensor="SledHumidity") == "SledHumidity"
