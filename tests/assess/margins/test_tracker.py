"""Margins of a controller and of racks."""

from __future__ import annotations

import math
from array import array

import pytest
from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.looks.air import AirLook
from collector.assess.margins.places import FeedRating, Place, place_of
from collector.assess.margins.racks import Racks
from collector.assess.margins.tracker import Margins
from collector.assess.margins.wiring import wire
from collector.model import (
    Frame,
    Inventory,
    Kind,
    Layout,
    Location,
    Margin,
    MarginKind,
    Outcome,
    Part,
    Quantity,
    Sensor,
    Setting,
    SettingKind,
)
from tests.assess.margins.rig import Rig

RACK = Location(site="Q", row="A", rack="R01")


def seen(rig: Rig, changes: dict[int, float] | None = None) -> Seen:
    return Seen(time=rig.time, frame=rig.frame(changes), statuses={}, idle=frozenset(), outcome=Outcome.OK)


def by_part(margins: tuple[Margin, ...]) -> dict[tuple[str, MarginKind], Margin]:
    return {(one.part.partition(":/")[2], one.kind): one for one in margins}


def test_every_part_with_a_limit_has_a_margin_and_small_changes_are_not_told() -> None:
    rig = Rig(power=lambda blade, time: 200.0)
    margins = Margins(rig.name)
    margins.inventory(rig.inventory(), rig.time)
    assert margins.round(seen(rig))
    told = by_part(margins.current)
    cpu = told["Blade0/Cpu", MarginKind.HEAT]
    assert cpu.left == pytest.approx(95.0 - cpu.value)
    assert cpu.watts is None
    assert "too little learnt" in cpu.basis
    assert told["Blade0", MarginKind.POWER].watts == pytest.approx(300.0, abs=10.0)
    assert told["Sled", MarginKind.AIR].limit == 35.0
    rig.step(60.0)
    assert not any(one.kind is MarginKind.POWER for one in margins.round(seen(rig)))
    rig.step(60.0)
    assert any(one.part.endswith("Blade0") for one in margins.round(seen(rig, {2: 460.0})))


def test_between_two_looks_nothing_is_done() -> None:
    rig = Rig()
    margins = Margins(rig.name)
    margins.inventory(rig.inventory(), rig.time)
    assert margins.round(seen(rig))
    rig.step(10.0)
    assert margins.round(seen(rig, {3: 99.0})) == ()


def test_the_place_says_the_limit_of_the_air() -> None:
    """Class A2 at 1800 m: 32 Cel (ASHRAE TC 9.9, 5th edition)."""
    places = [Place(Location(site="Q"), 0.0, "A1"), Place(RACK, 1800.0, "A2"), Place(Location(site="Z"), 0.0, "A4")]
    rig = Rig()
    margins = Margins(rig.name, places)
    margins.inventory(rig.inventory(), rig.time)
    margins.round(seen(rig))
    air = by_part(margins.current)["Sled", MarginKind.AIR]
    assert air.limit == pytest.approx(32.0)
    assert place_of(places, Location(site="Q", rack="R09")) is places[0]
    assert place_of(places, Location(site="X")) is None


def test_watts_follow_from_the_learnt_slope_with_its_uncertainty() -> None:
    rig = Rig()
    look = AirLook(rig.name)
    margins = Margins(rig.name, per_watt=look.per_watt)
    look.inventory(rig.inventory(), rig.time)
    margins.inventory(rig.inventory(), rig.time)
    rig.run(look, 600.0)
    margins.round(seen(rig))
    cpu = by_part(margins.current)["Blade1/Cpu", MarginKind.HEAT]
    more = cpu.watts
    assert more is not None
    rig.power = lambda blade, time: 200.0 + more
    turn = rig.turn
    rig.speed = lambda mean: turn
    before = rig.cores[1]
    rig.step(1200.0)
    assert rig.cores[1] > before
    reached = rig.room + rig.cores[1]
    assert reached == pytest.approx(95.0, abs=15.0)


def test_absurd_readings_make_no_margin() -> None:
    rig = Rig()
    margins = Margins(rig.name)
    margins.inventory(rig.inventory(), rig.time)
    told = margins.round(seen(rig, {2: math.nan, 3: math.nan}))
    assert not {"s1:/Blade0/Cpu"} & {one.part for one in told}


def test_racks_add_up_and_say_what_remains_after_the_loss_of_a_feed() -> None:
    place = Place(RACK, feeds=(FeedRating("A", 6000.0), FeedRating("B", 5000.0)))
    racks = Racks([place])
    assert racks.tell("c1", RACK, 0.0, 2000.0)
    told = {one.kind: one for one in racks.tell("c2", RACK, 1.0, 2500.0)}
    assert told[MarginKind.POWER].left == 6500.0
    assert told[MarginKind.REDUNDANCY].left == 500.0
    assert told[MarginKind.POWER].controller is None
    assert racks.tell("c2", RACK, 30.0, 2510.0) == []
    assert racks.tell("c2", RACK, 31.0, -4.0) == ()
    assert racks.tell("c2", RACK, 32.0, math.nan) == ()
    assert racks.tell("c3", Location(site="Q"), 33.0, 900.0) == ()
    figures = racks.figures(RACK, 700.0)
    assert figures is not None
    assert (figures.counted, figures.silent) == (0, 2)
    assert figures.drawn.peak == 4510.0
    assert figures.drawn.joules > 0.0
    assert figures.amperes is None
    assert racks.figures(Location(rack="R99"), 0.0) is None


def limited(rig: Rig, watts: float | None, mode: str = "Automatic") -> Margin:
    """The power margin of a blade whose controller keeps it below so many watts; its threshold is 500 W."""
    limit = Setting(
        controller=rig.name,
        part=f"{rig.name}:/Blade0",
        kind=SettingKind.POWER_LIMIT,
        name="power limit",
        quantity=Quantity.POWER,
        unit="W",
        value=watts,
        mode=mode,
    )
    margins = Margins(rig.name)
    margins.inventory(structs.replace(rig.inventory(), settings=(limit,)), rig.time)
    margins.round(seen(rig))
    return by_part(margins.current)["Blade0", MarginKind.POWER]


def test_a_power_limit_that_its_controller_keeps_is_a_limit_where_it_is_the_nearer() -> None:
    rig = Rig(power=lambda blade, time: 200.0)
    near = limited(rig, 300.0)
    assert near.limit == 300.0
    assert near.left == pytest.approx(100.0, abs=10.0)
    assert "that its controller keeps" in near.basis
    assert limited(rig, 900.0).limit == 500.0
    assert limited(rig, 300.0, "Disabled").limit == 500.0
    assert limited(rig, None).limit == 500.0


def test_a_fans_rated_speed_turns_its_rotation_into_effort() -> None:
    rig = Rig()
    fan = Part(id=f"{rig.name}:/Fan", controller=rig.name, uri="/Fan", kind=Kind.FAN, name="Fan")
    speed = Sensor(
        sensor="speed",
        controller=rig.name,
        part=fan.id,
        kind=Kind.FAN,
        quantity=Quantity.ROTATION,
        unit="{rev}/min",
        source="/Fan#/Speed",
        range_max=20_000.0,
    )
    rated = Setting(
        controller=rig.name,
        part=fan.id,
        kind=SettingKind.RATED_SPEED,
        name="rated speed",
        quantity=Quantity.ROTATION,
        unit="{rev}/min",
        value=12_000.0,
    )
    walked = rig.inventory()
    bare = structs.replace(
        walked,
        parts=(*(part for part in walked.parts if part.kind is not Kind.FAN), fan),
        layout=Layout(rig.name, (*walked.layout.sensors, speed)),
    )
    column = len(walked.layout.sensors)
    assert wire(bare).fans == ((column, 1.0 / 20_000.0),)
    assert wire(structs.replace(bare, settings=(rated,))).fans == ((column, 1.0 / 12_000.0),)


def supplied(rig: Rig, ratings: tuple[float | None, ...]) -> tuple[Inventory, int]:
    """The rig's sled with supplies that tell what they give and can, and the column of the first's output."""
    walked = rig.inventory()
    parts, sensors = list(walked.parts), list(walked.layout.sensors)
    sled = next(part for part in parts if part.kind is Kind.SLED)
    for number, rating in enumerate(ratings):
        psu = Part(
            id=f"{rig.name}:/Psu{number}",
            controller=rig.name,
            uri=f"/Psu{number}",
            kind=Kind.POWER_SUPPLY,
            name=f"PSU {number}",
            parent=sled.id,
            capacity=rating,
        )
        parts.append(psu)
        for name in ("input power", "average output power", "output power"):
            sensors.append(
                Sensor(
                    sensor=name,
                    controller=rig.name,
                    part=psu.id,
                    kind=psu.kind,
                    quantity=Quantity.POWER,
                    unit="W",
                    source=f"{psu.uri}#/{name}",
                )
            )
    first = len(walked.layout.sensors)
    values = array("d", [*walked.frame.values, *[0.0] * (3 * len(ratings))])
    told = structs.replace(
        walked,
        parts=tuple(parts),
        layout=Layout(rig.name, tuple(sensors)),
        frame=Frame(rig.time, values, bytes(len(values))),
    )
    return told, first + 2


def given(rig: Rig, walked: Inventory, first: int, *outputs: float) -> Seen:
    rig.step(60.0)
    values = array("d", [*rig.frame().values, *[0.0] * (3 * len(outputs))])
    for number, output in enumerate(outputs):
        values[first + 3 * number] = output
        values[first + 3 * number - 1] = 9999.0
    frame = Frame(rig.time, values, bytes(len(values)))
    return Seen(time=rig.time, frame=frame, statuses={}, idle=frozenset(), outcome=Outcome.OK)


def test_supplies_are_held_against_their_ratings_and_what_is_left_without_the_largest() -> None:
    rig = Rig(power=lambda blade, time: 200.0)
    walked, first = supplied(rig, (1000.0, 800.0))
    margins = Margins(rig.name)
    margins.inventory(walked, rig.time)
    margins.round(given(rig, walked, first, 420.0, 430.0))
    told = by_part(margins.current)
    assert told["Psu0", MarginKind.POWER].left == 580.0
    assert told["Psu1", MarginKind.POWER].limit == 800.0
    loss = told["Sled", MarginKind.REDUNDANCY]
    assert (loss.value, loss.limit, loss.left, loss.watts) == (850.0, 800.0, -50.0, 0.0)
    assert loss.basis == "1 of 2 supplies left, by their ratings"
    margins.round(given(rig, walked, first, 850.0, 0.0))
    alone = by_part(margins.current)["Sled", MarginKind.REDUNDANCY]
    assert (alone.limit, alone.left) == (0.0, -850.0), "nothing is left to fail over to"


def test_supplies_of_which_one_tells_no_rating_or_output_are_not_added_up() -> None:
    rig = Rig()
    walked, first = supplied(rig, (1000.0, None))
    margins = Margins(rig.name)
    margins.inventory(walked, rig.time)
    margins.round(given(rig, walked, first, 420.0, 430.0))
    assert ("Sled", MarginKind.REDUNDANCY) not in by_part(margins.current)
    both, first = supplied(rig, (1000.0, 800.0))
    margins.inventory(both, rig.time)
    margins.round(given(rig, both, first, 420.0, math.nan))
    assert ("Sled", MarginKind.REDUNDANCY) not in by_part(margins.current)
    assert ("Psu1", MarginKind.POWER) not in by_part(margins.current)


def test_a_blade_that_tells_what_it_may_take_is_held_against_that() -> None:
    rig = Rig(power=lambda blade, time: 200.0)
    walked = rig.inventory()
    parts = [structs.replace(part, capacity=320.0) if part.uri == "/Blade0" else part for part in walked.parts]
    margins = Margins(rig.name)
    margins.inventory(structs.replace(walked, parts=tuple(parts)), rig.time)
    margins.round(seen(rig))
    told = by_part(margins.current)["Blade0", MarginKind.POWER]
    assert told.limit == 320.0
    assert "rated for" in told.basis


def carried(*currents: float, power: float = 2000.0, rated: float | None = 16.0) -> Margin | None:
    """The power margin of a circuit whose phases carry so much."""
    name, circuit = "c1", "c1:/Feed"
    sensors = [
        Sensor(
            sensor=what,
            controller=name,
            part=circuit,
            kind=Kind.CIRCUIT,
            quantity=quantity,
            unit=unit,
            source=f"/Feed#/{what}",
        )
        for what, quantity, unit in (
            ("power", Quantity.POWER, "W"),
            *((f"line {number} current", Quantity.CURRENT, "A") for number in range(1, len(currents) + 1)),
            ("neutral current", Quantity.CURRENT, "A"),
        )
    ]
    setting = Setting(
        controller=name,
        part=circuit,
        kind=SettingKind.RATED_CURRENT,
        name="rated current",
        quantity=Quantity.CURRENT,
        unit="A",
        value=rated,
    )
    values = array("d", [power, *currents, 99.0])
    frame = Frame(0.0, values, bytes(len(values)))
    margins = Margins(name)
    margins.inventory(
        Inventory(
            controller=name,
            time=0.0,
            parts=(Part(id=circuit, controller=name, uri="/Feed", kind=Kind.CIRCUIT, name="Feed"),),
            links=(),
            layout=Layout(name, tuple(sensors)),
            statuses={},
            frame=frame,
            settings=(setting,),
        ),
        0.0,
    )
    margins.round(Seen(time=0.0, frame=frame, statuses={}, idle=frozenset(), outcome=Outcome.OK))
    return by_part(margins.current).get(("Feed", MarginKind.POWER))


def test_a_feed_is_held_against_its_rated_current_in_the_phase_that_carries_most() -> None:
    """Balanced three phases of 8 A of 16: half is left; one at 12 A leaves a third of the power that flows."""
    even, uneven = carried(8.0, 8.0, 8.0), carried(8.0, 12.0, 4.0)
    assert even is not None
    assert even.left == pytest.approx(2000.0)
    assert uneven is not None
    assert uneven.left == pytest.approx(2000.0 / 3.0)
    assert "in the phase that carries most" in uneven.basis
    over = carried(17.0)
    assert over is not None
    assert over.left < 0.0
    assert over.watts == 0.0


@pytest.mark.parametrize(
    ("current", "power", "rated"),
    [(math.nan, 2000.0, 16.0), (0.1, 20.0, 16.0), (8.0, -5.0, 16.0), (8.0, 2000.0, None), (8.0, 2000.0, 0.0)],
)
def test_too_little_current_or_no_rating_makes_no_margin(current: float, power: float, rated: float | None) -> None:
    assert carried(current, power=power, rated=rated) is None
