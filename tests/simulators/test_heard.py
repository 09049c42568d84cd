"""Which sensor a drawn fault befalls: one that the sled's controller has a word for."""

from __future__ import annotations

import pytest

from simulators.serve import with_dialect
from simulators.site import scaled_site
from simulators.world import World

UNHEARD = {"SledHumidity", "FeedCurrent", "Blade1Current"}
"""DSP8010's Thermal and Power have words for temperature, fans, voltage and power alone."""


class Bench:
    """One sled that speaks a dialect."""

    def __init__(self, dialect: str) -> None:
        self._world = World(with_dialect(scaled_site(1), dialect), seed=1, step=20.0)
        self._sled = self._world.site.sleds[0].name
        self._all = self._told()

    def _told(self) -> set[str]:
        self._world.advance(20.0)
        return {id_ for id_, point in self._world.telemetry(self._sled).sensors.items() if point.value is not None}

    def gone(self, part: str, **arguments: float | str) -> str:
        """The sensor that an injected fault takes away."""
        path = f"{self._sled}{part}"
        self._world.inject("sensor-gone", path, **arguments)
        (lost,) = self._all - self._told()
        self._world.clear("sensor-gone", path)
        assert self._told() == self._all
        return lost


@pytest.mark.parametrize("part", ["", "/blade1"])
def test_of_a_controller_with_the_older_model_a_sensor_that_it_tells_is_picked(part: str) -> None:
    older, newer = Bench("classic"), Bench("modern")
    picked = {older.gone(part, pick=0.1 * tenth) for tenth in range(11)}
    assert not UNHEARD & picked
    assert len(picked) >= 5, "any of the others"
    assert UNHEARD & {newer.gone(part, pick=0.1 * tenth) for tenth in range(11)}, "it has a word for each"


def test_who_names_a_sensor_gets_it_whether_anybody_hears_of_it_or_not() -> None:
    older = Bench("classic")
    assert older.gone("/blade1", sensor="Blade1Current") == "Blade1Current"
    assert older.gone("", sensor="SledHumidity") == "SledHumidity"
