"""Inlet air outside its class: limits of ASHRAE TC 9.9 with altitude and rate of change, as conditions."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable

import pytest
from msgspec import structs

from collector.assess.air_class import ClassOfAir
from collector.assess.delays import Habit
from collector.assess.margins.places import Place
from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Condition,
    Frame,
    Health,
    Inventory,
    Kind,
    Layout,
    Limit,
    Location,
    Outcome,
    Part,
    Quantity,
    Round,
    Sensor,
    Status,
    Subject,
    Thresholds,
)

SITE = Location(site="Q", row="A", rack="R01")
POLL = 60.0
AT_ONCE = Habit()


def sensor(part: str, name: str, quantity: Quantity, context: str | None, **limits: float) -> Sensor:
    told = {key: Limit(value=value) for key, value in limits.items()}
    return Sensor(
        sensor=name,
        controller="c1",
        part=f"c1:/{part}",
        kind=Kind.SLED,
        quantity=quantity,
        unit="Cel",
        source=f"/{part}#/{name}",
        context=context,
        thresholds=Thresholds(**told),
    )


class Air:
    """A sled with an inlet and humidity, and a blade with an inlet of its own, polled once a minute."""

    def __init__(self, place: Place, habit: Habit = AT_ONCE, conditions: Iterable[Condition] = (), **limits: float):
        self.time = 0.0
        sled = Part(id="c1:/sled", controller="c1", uri="/sled", kind=Kind.SLED, name="Sled", location=SITE)
        blade = Part(
            id="c1:/blade", controller="c1", uri="/blade", kind=Kind.BLADE, name="Blade", parent=sled.id, location=SITE
        )
        self.inventory = Inventory(
            controller="c1",
            time=0.0,
            parts=(blade, sled),
            links=(),
            layout=Layout(
                "c1",
                (
                    sensor("blade", "inlet", Quantity.TEMPERATURE, "Intake"),
                    sensor("sled", "inlet", Quantity.TEMPERATURE, "Intake", **limits),
                    sensor("sled", "humidity", Quantity.HUMIDITY, "Intake"),
                ),
            ),
            statuses={sled.id: Status(health=Health.OK)},
            frame=self.frame(22.0, 40.0),
        )
        self.watch = Watch("c1", POLL, tuple(conditions), air=ClassOfAir("c1", [place], None, habit))
        self.watch.inventory(self.inventory, self.time)

    def frame(self, inlet: float, humidity: float) -> Frame:
        return Frame(self.time, array("d", [inlet + 9.0, inlet, humidity]), bytes([1, 1, 1]))

    def step(self, inlet: float, humidity: float = 20.0) -> Assessment:
        self.time += POLL
        told = Round(
            controller="c1",
            started=self.time - 1.0,
            finished=self.time,
            outcome=Outcome.OK,
            frame=self.frame(inlet, humidity),
        )
        return self.watch.round(told, self.time)

    def hold(self, inlet: float, humidity: float = 20.0, rounds: int = 3) -> list[Condition]:
        """All that opened while the air was so."""
        return [each for _ in range(rounds) for each in self.step(inlet, humidity).opened]


def slowly(air: Air, start: float, end: float) -> list[Condition]:
    """Change by 0.1 K a minute: 1.5 K in a quarter of an hour, 6 in an hour."""
    steps = round(abs(end - start) / 0.1)
    return [each for n in range(1, steps + 1) for each in air.step(start + (end - start) * n / steps).opened]


@pytest.mark.parametrize(
    ("name", "altitude", "limit"),
    [("A1", 3050.0, 24.83), ("A2", 1800.0, 32.0), ("A3", 1775.0, 35.0), ("A4", 0.0, 45.0)],
)
def test_air_above_the_limit_of_its_class_at_its_altitude(name: str, altitude: float, limit: float) -> None:
    """check-values section 2: A1 at 3050 m 24.8, A2 at 1800 m 32, A3 at 1775 m 35 Cel; A4 45 at sea level."""
    air = Air(Place(Location(site="Q"), altitude, name))
    assert slowly(air, 22.0, limit - 0.15) == []
    (opened,) = slowly(air, limit - 0.15, limit + 0.25)
    assert (opened.subject, opened.severity, opened.part) == (Subject.AIR, Health.WARNING, "c1:/sled")
    assert f"class {name}" in opened.text
    (told,) = opened.evidence
    assert told.limit == pytest.approx(limit, abs=0.01)
    assert told.threshold == "upper_allowable"
    assert told.source == "/sled#/inlet"


def test_a_sled_in_warm_air_is_not_ill_and_the_condition_counts_as_open() -> None:
    air = Air(Place(SITE, 0.0, "A1"))
    slowly(air, 22.0, 31.5)
    told = [air.step(inlet) for inlet in (32.2, 32.4, 32.4, 32.4)]
    rolled = [each.rolled["c1:/sled"] for each in told if "c1:/sled" in each.rolled]
    assert rolled[-1].own is Health.OK
    assert rolled[-1].open_conditions == 1
    assert not [lamp for each in told for lamp in each.lamps]


def test_it_closes_half_a_kelvin_inside_and_waits_as_long_as_temperatures_do() -> None:
    air = Air(Place(SITE, 0.0, "A1"), Habit(0.01, 120.0, 120.0))
    slowly(air, 22.0, 31.9)
    assert air.hold(32.3, rounds=3) == []
    (opened,) = air.hold(32.3)
    assert opened.opened < air.time
    assert not [each for _ in range(6) for each in air.step(31.8).closed], "inside, by too little"
    closed = [each for _ in range(6) for each in air.step(31.4).closed]
    assert [each.id for each in closed] == [opened.id]
    assert closed[0].evidence[-1].text == "inlet air is within its class again"


def test_cold_humid_and_dry_air() -> None:
    """Class A1: 15 Cel, 80 % and 17 Cel dew point, 8 % and -12 Cel (ASHRAE TC 9.9; humidity from memory there)."""
    air = Air(Place(SITE, 0.0, "A1"))
    assert [each.evidence[0].threshold for each in slowly(air, 22.0, 14.8)] == ["lower_allowable"]
    air = Air(Place(SITE, 0.0, "A1"))
    assert {each.evidence[0].threshold for each in air.hold(22.0, 85.0)} == {"upper_humidity", "upper_dew_point"}
    air = Air(Place(SITE, 0.0, "A1"))
    assert {each.evidence[0].threshold for each in air.hold(22.0, 5.0)} == {"lower_humidity", "lower_dew_point"}
    assert Subject.AIR not in {each.subject for each in Air(Place(SITE, 0.0, "A1")).hold(22.0, math.nan, rounds=9)}


def test_air_that_changes_too_fast_is_told_and_is_over_when_the_window_is() -> None:
    """24.0, 26.0, 28.5, 29.5 Cel at 0, 5, 10, 15 min are 5.5 K in 15 min, class limit 5 (check-values section 2)."""
    air = Air(Place(SITE, 0.0, "A2"))
    told = []
    for inlet in (24.0, 26.0, 28.5, 29.5):
        told += air.hold(inlet, rounds=5)
    (opened,) = told
    assert opened.evidence[0].threshold == "change_allowable"
    assert "changed by 5.5 K within 15 min, class A2 allows 5 K" in opened.text
    closed = [each.id for _ in range(2) for each in air.step(29.5).closed]
    assert closed == [opened.id], "24.0 was told a quarter of an hour ago last"


def test_one_reading_that_is_off_is_no_weather() -> None:
    air = Air(Place(SITE, 0.0, "A2"))
    air.hold(22.0)
    assert air.hold(60.0, rounds=1) == []
    assert air.hold(22.0, rounds=20) == []


def test_a_limit_of_the_sensors_own_is_told_instead() -> None:
    air = Air(Place(SITE, 0.0, "A1"), upper_caution=30.0)
    assert [each.subject for each in slowly(air, 22.0, 33.0)] == [Subject.THRESHOLD]
    later = Air(Place(SITE, 0.0, "A1"), upper_critical=40.0)
    assert [each.subject for each in slowly(later, 22.0, 33.0)] == [Subject.AIR]


def test_without_a_class_nothing_is_said() -> None:
    assert slowly(Air(Place(SITE, 0.0, None)), 22.0, 50.0) == []
    assert slowly(Air(Place(Location(site="elsewhere"), 0.0, "A1")), 22.0, 50.0) == []


def test_an_open_one_goes_on_after_a_restart_and_over_a_walk() -> None:
    air = Air(Place(SITE, 0.0, "A1"))
    (opened,) = slowly(air, 22.0, 33.0)
    again = air.watch.inventory(structs.replace(air.inventory, time=air.time), air.time)
    assert again.closed == ()
    later = Air(Place(SITE, 0.0, "A1"), Habit(0.01, 120.0, 120.0), conditions=(opened,))
    told = [later.step(33.0) for _ in range(4)]
    assert [each.id for one in told for each in (*one.opened, *one.closed)] == []
    assert later.watch.find(opened.id) is not None
