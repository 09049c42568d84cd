"""What the loss of one fan, supply or feed would do, worked by hand on the fan laws and on sums of ratings."""

from __future__ import annotations

import math

import pytest

from collector.assess.margins.fan_laws import flow_ratio
from collector.assess.margins.heat import air_rise
from collector.assess.margins.loss import fan_losses, supply_losses
from collector.model import (
    Health,
    Kind,
    Link,
    Margin,
    MarginKind,
    Part,
    Quantity,
    Reading,
    Sensor,
    Thresholds,
    Why,
)


def part(name: str, kind: Kind, **more: object) -> Part:
    return Part(id=f"c:{name}", controller="c", uri=f"/{name}", kind=kind, name=name, **more)  # type: ignore[arg-type]


def reading(
    name: str, kind: Kind, quantity: Quantity, value: float | None, sensor: str = "", **more: object
) -> Reading:
    given = {"unit": "%", "source": "/s", "thresholds": Thresholds(), "range_min": None, "range_max": None}
    made = Sensor(
        sensor=sensor or quantity.value,
        controller="c",
        part=f"c:{name}",
        kind=kind,
        quantity=quantity,
        **{**given, **more},  # type: ignore[arg-type]
    )
    return Reading(sensor=made, value=value, health=Health.OK, time=0.0)


def heat(name: str, value: float, limit: float) -> Margin:
    return Margin(
        controller="c",
        part=f"c:{name}",
        kind=MarginKind.HEAT,
        time=0.0,
        value=value,
        limit=limit,
        left=limit - value,
        unit="Cel",
    )


FANS = [part(f"fan{n}", Kind.FAN) for n in range(4)]
BLADES = [part(f"blade{n}", Kind.BLADE) for n in range(2)]
COOLED = [Link(blade.id, fan.id, Why.COOLED_BY) for blade in BLADES for fan in FANS]
INLET = reading("sled", Kind.SLED, Quantity.TEMPERATURE, 25.0, "inlet", unit="Cel", context="Intake")


def spinning(*ratios: float | None) -> list[Reading]:
    told = [reading(f"fan{n}", Kind.FAN, Quantity.SPEED_RATIO, ratio) for n, ratio in enumerate(ratios)]
    return [*told, INLET]


def test_fans_with_room_hold_the_air_and_say_at_what_speed() -> None:
    """Three at 80 % move what four at 60 % did: flow goes with speed (fan laws, ISO 5801)."""
    losses = fan_losses([*FANS, *BLADES], COOLED, spinning(60.0, 60.0, 60.0, 60.0), [heat("cpu", 70.0, 90.0)])
    assert len(losses) == 4
    first = losses[0]
    assert (first.others, first.air, first.over) == (3, 1.0, ())
    assert first.speed == pytest.approx(0.8)
    assert 3 * flow_ratio(first.speed) == pytest.approx(4 * 0.6)
    assert first.left == pytest.approx(20.0)
    assert first.blades == ("c:blade0", "c:blade1")


def test_fans_without_room_leave_less_air_and_more_kelvin() -> None:
    """At 90 % each, three at full speed move 3 / 3.6 of the air: the rise grows by 1.2 (dT = P / (rho cp V))."""
    hot = [heat("cpu", 75.0, 90.0), heat("dimm", 80.0, 85.0)]
    losses = fan_losses([*FANS, *BLADES], COOLED, spinning(90.0, 90.0, 90.0, 90.0), hot)
    first = losses[0]
    assert first.air == pytest.approx(3 / 3.6)
    before, after = air_rise(300.0, 1.0, 1.2, 1005.0), air_rise(300.0, first.air, 1.2, 1005.0)
    assert before is not None
    assert after is not None
    assert after / before == pytest.approx(1.2)
    assert first.part == "c:dimm"
    assert first.left == pytest.approx(85.0 - (25.0 + 55.0 * 1.2))
    assert first.over == ("c:dimm",)


def test_the_last_fan_that_turns_leaves_no_air() -> None:
    losses = fan_losses(FANS, (), spinning(0.0, 0.0, 0.0, 70.0), [heat("cpu", 70.0, 90.0)])
    assert [(each.fan, each.others, each.air) for each in losses] == [("c:fan3", 0, 0.0)]
    assert losses[0].speed == math.inf
    assert losses[0].over == ("c:cpu",)


def test_revolutions_count_against_their_range_and_without_one_nothing_is_said() -> None:
    turns = [reading(f"fan{n}", Kind.FAN, Quantity.ROTATION, 6000.0, range_max=12_000.0) for n in range(4)]
    losses = fan_losses(FANS, (), turns, ())
    assert losses[0].speed == pytest.approx(4 * 0.5 / 3)
    assert "range" in losses[0].basis
    untold = [reading(f"fan{n}", Kind.FAN, Quantity.ROTATION, 6000.0) for n in range(4)]
    assert fan_losses(FANS, (), untold, ()) == []
    assert fan_losses(FANS, (), spinning(60.0, 60.0, 60.0, None), ()) == []
    assert fan_losses((), (), (), ()) == []


SUPPLIES = [part(f"psu{n}", Kind.POWER_SUPPLY, capacity=3000.0) for n in range(4)]
FEEDS = [part(f"feed{n}", Kind.CIRCUIT) for n in range(2)]
FED = [Link(blade.id, supply.id, Why.POWERED_BY) for blade in BLADES for supply in SUPPLIES]


def giving(*watts: float | None) -> list[Reading]:
    return [
        reading(f"psu{n}", Kind.POWER_SUPPLY, Quantity.POWER, each, sensor, unit="W")
        for n, each in enumerate(watts)
        for sensor in ("input power", "output power", "average output power")
    ]


def test_what_remains_carries_the_load_or_not() -> None:
    losses = supply_losses([*SUPPLIES, *BLADES], FED, giving(2000.0, 2000.0, 2000.0, 2000.0))
    assert [(each.load, each.limit, each.left) for each in losses] == [(8000.0, 9000.0, 1000.0)] * 4
    assert losses[0].blades == ("c:blade0", "c:blade1")
    over = supply_losses([*SUPPLIES, *BLADES], FED, giving(2400.0, 2400.0, 2400.0, 2400.0))
    assert over[0].left == pytest.approx(-600.0)


def test_a_feed_takes_the_supplies_behind_it_along() -> None:
    behind = [Link(f"c:psu{n}", f"c:feed{0 if n < 3 else 1}", Why.POWERED_BY) for n in range(4)]
    worst, *_ = supply_losses([*SUPPLIES, *FEEDS], behind, giving(500.0, 500.0, 500.0, 500.0))
    assert (worst.lost, worst.supplies, worst.left) == ("c:feed0", 3, 1000.0)
    untold = supply_losses([*SUPPLIES, *FEEDS], (), giving(500.0, 500.0, 500.0, 500.0))
    assert [(each.lost, each.supplies, each.left) for each in untold[:2]] == [
        ("c:feed0", 2, 4000.0),
        ("c:feed1", 2, 4000.0),
    ]
    assert "not told" in untold[0].basis


def test_nothing_is_said_of_supplies_without_ratings_or_loads() -> None:
    unrated = [part("psu0", Kind.POWER_SUPPLY), *SUPPLIES[1:]]
    assert supply_losses(unrated, (), giving(1.0, 1.0, 1.0, 1.0)) == []
    assert supply_losses(SUPPLIES, (), giving(1.0, 1.0, 1.0, None)) == []
    assert supply_losses(SUPPLIES[:1], (), giving(1.0)) == []


def test_links_in_a_circle_end() -> None:
    circle = [Link("c:psu0", "c:psu1", Why.POWERED_BY), Link("c:psu1", "c:psu0", Why.POWERED_BY)]
    assert len(supply_losses(SUPPLIES, circle, giving(1.0, 1.0, 1.0, 1.0))) == 4
