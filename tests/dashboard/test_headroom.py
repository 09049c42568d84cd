"""Headroom over racks, enclosures and sleds: strips to one scale, losses in sentences, energy over real times."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from msgspec.structs import replace

from collector.assess.margins.loss import FanLoss, PowerLoss
from collector.model import Kind, Limit, Location, Margin, MarginKind, Part, Quantity, Sensor, Thresholds
from collector.model.places import Front
from collector.store.headroom import Least, There
from collector.store.reader import Reader
from dashboard.drawings.headroom import axis, scale, share, strip
from dashboard.panels.margins import LOSSES, MOST, energy, losses, racks, shelves, trends
from dashboard.queries import Source
from dashboard.spare import HOUR
from dashboard.views.headroom import (
    Drawn,
    Loss,
    bounds_of,
    by_enclosure,
    by_rack,
    energy_words,
    fan_words,
    left_words,
    power_words,
    unit_of,
    used_words,
    worst,
)
from dashboard.views.units import Units
from tests.dashboard.invented import SEIZED
from tests.dashboard.reading import find, one, parse, words


def margin(left: float, part: str = "c1:cpu", kind: MarginKind = MarginKind.HEAT, **more: object) -> Margin:
    given: dict[str, object] = {"controller": "c1", "unit": "W" if kind is MarginKind.POWER else "Cel"}
    return Margin(part=part, kind=kind, time=0.0, value=90.0 - left, limit=90.0, left=left, **{**given, **more})  # type: ignore[arg-type]


def least(rack: str, controller: str, left: float) -> Least:
    return Least("Q", "A", rack, controller, left, 3, margin(left, controller=controller))


def test_racks_stand_least_first_with_a_stroke_a_sled() -> None:
    found = by_rack([least("R1", "a", 20.0), least("R2", "b", -3.0), least("R1", "c", 12.0)])
    assert [(each.name, each.lefts, each.controller, each.number) for each in found] == [
        ("Q / A / R2", (-3.0,), "b", 3),
        ("Q / A / R1", (12.0, 20.0), "c", 6),
    ]
    assert by_rack([least("R2", "b", -3.0)], Units(fahrenheit=True))[0].lefts == (pytest.approx(-5.4),)


def test_a_trend_is_held_against_what_the_margin_is_up_to_where_no_threshold_says_it() -> None:
    sensor = Sensor(
        sensor="inlet",
        controller="c1",
        part="c1:cpu",
        kind=Kind.SLED,
        quantity=Quantity.TEMPERATURE,
        unit="Cel",
        source="/x",
        thresholds=Thresholds(upper_caution=Limit(value=90.0)),
    )
    assert [line.words for line in bounds_of(margin(4.0), sensor)] == ["upper caution"]
    of_class = replace(margin(4.0, kind=MarginKind.AIR), limit=35.0)
    lines = bounds_of(of_class, sensor, Units(fahrenheit=True))
    assert [(line.words, line.value) for line in lines] == [("upper caution", 194.0), ("the limit of its air", 95.0)]
    swing = replace(margin(4.0, kind=MarginKind.SWING), limit=5.0)
    assert [line.words for line in bounds_of(swing, sensor)] == ["upper caution"], "another quantity than the sensor's"


def test_enclosures_hold_sleds_and_sleds_hold_parts() -> None:
    def there(controller: str, enclosure: str | None, left: float) -> There:
        return There(
            controller, Front(label=f"SLED {controller}", location=Location(enclosure=enclosure)), margin(left)
        )

    found = by_enclosure([there("1", "E1", 9.0), there("2", "E2", 4.0), there("1", "E1", 7.0), there("3", None, 50.0)])
    assert [(shelf.name, [(sled.name, sled.lefts) for sled in shelf.sleds]) for shelf in found] == [
        ("E2", [("SLED 2", (4.0,))]),
        ("E1", [("SLED 1", (7.0, 9.0))]),
        ("no enclosure told", [("SLED 3", (50.0,))]),
    ]


def test_the_strip_puts_each_where_the_scale_says_and_the_limit_where_nothing_is_left() -> None:
    of = scale([40.0, 10.0, -5.0], "K")
    assert (of.most, of.over) == (40.0, 20.0)
    assert of.across(10.0) == pytest.approx((of.across(40.0) + 3 * of.across(0.0)) / 4)
    assert of.across(1e9) == of.across(40.0)
    tree = parse(strip([40.0, 10.0, -5.0], of))
    drawn = one(tree, data_strokes="3")
    assert drawn.get("data-least") == "-5"
    ticks = next(each for each in tree.iter() if each.get("class") == "ticked")
    assert ticks.get("d", "").count("M") == 2
    assert f"M{of.across(10.0):.1f} " in ticks.get("d", "")
    needle = next(each for each in tree.iter() if each.get("class") == "needle")
    assert needle.get("d", "").startswith(f"M{of.across(-5.0):.1f} ")
    assert of.across(-5.0) > of.across(0.0)
    assert words(parse(axis(of))).split() == ["limit", "20", "40", "K", "left"]
    assert parse(strip([], of)).find(".//*[@data-strokes='0']") is not None
    assert scale([], "W").most > 0
    many = parse(strip([float(n) for n in range(5000)], scale([5000.0], "W")))
    assert next(each for each in many.iter() if each.get("class") == "ticked").get("d", "").count("M") <= 400
    assert parse(share(1.0, 0.0)) is not None


def test_lists_are_bounded_and_say_so() -> None:
    found = by_rack(least(f"R{n}", f"c{n}", float(n)) for n in range(MOST + 7))
    tree = parse(racks(found, (), MarginKind.HEAT, scale([0.0, 70.0], "K"), {}))
    assert len(find(tree, data_rack_left="")) == MOST
    assert f"The {MOST} racks with the least left, of {MOST + 7}" in words(tree)
    place = margin(-120.0, "Q / A / R9", MarginKind.POWER, controller=None, basis="2 feeds")
    tree = parse(racks((), [place], MarginKind.POWER, None, {}))
    assert "120 W over" in words(one(tree, data_place_left="Q / A / R9"))
    assert "give racks their feeds" in words(parse(racks((), (), MarginKind.POWER, None, {})))
    assert "class and altitude" in words(parse(shelves((), MarginKind.AIR, {})))


def test_words_of_what_is_left_and_used() -> None:
    assert left_words(12.44, "K") == "12.4 K left"
    assert left_words(-1234.2, "W") == "1,234 W over"
    assert used_words(margin(20.0)) == "70.0 of 90.0 °C"
    assert used_words(margin(20.0), Units(fahrenheit=True)) == "158.0 of 194.0 °F"
    assert unit_of(MarginKind.AIR, Units(fahrenheit=True)) == "°F"
    assert (energy_words(3.6e6), energy_words(1.8e5), energy_words(7.2e8)) == ("1.00 kWh", "50 Wh", "200 kWh")


PARTS = {
    f"c:{name}": Part(id=f"c:{name}", controller="c", uri=f"/{name}", kind=kind, name=name)
    for name, kind in (
        ("Fan 2", Kind.FAN),
        ("CPU 0", Kind.PROCESSOR),
        ("Blade 1", Kind.BLADE),
        ("PSU 1", Kind.POWER_SUPPLY),
    )
}


def fan(**more: object) -> FanLoss:
    given = FanLoss("c:Fan 2", 3, 0.8, 1.0, 20.0, "c:CPU 0", (), ("c:Blade 1",), "speeds as told")
    return given._replace(**more)


def test_a_loss_is_named_in_kelvin_or_watts_with_the_blades() -> None:
    held = fan_words("c", fan(), PARTS)
    assert (held.name, held.left, held.bad, held.hits) == ("Fan 2", "20.0 K left", False, "Blade 1")
    assert "the other 3 fans would hold the air at 80 % of full speed" in held.says
    short = fan_words("c", fan(speed=1.2, air=1 / 1.2, left=-4.0, over=("c:CPU 0",)), PARTS)
    assert (short.left, short.bad) == ("4.0 K over", True)
    assert "83 % of the air" in short.says
    assert "over their limits: CPU 0" in short.says
    none = fan_words("c", fan(others=0, speed=math.inf, air=0.0, left=-math.inf), PARTS)
    assert (none.left, none.bad) == ("no air left", True)
    feed = power_words(
        "c", PowerLoss("c:PSU 1", Kind.POWER_SUPPLY, 1, 900.0, 800.0, -100.0, (), "by ratings"), PARTS, 48
    )
    assert (feed.left, feed.bad, feed.hits) == (
        "100 W over",
        True,
        "all that hangs on this shelf: 48 blades in its rack",
    )
    ranked = worst([held, short, feed, none], 3)
    assert [each.left for each in ranked] == ["no air left", "4.0 K over", "100 W over"]
    tree = parse(losses(ranked, 8, 10_000))
    assert "Looked at 8 controllers of 10,000" in words(tree)
    assert len(find(tree, data_loss="", data_bad="true")) == 3
    assert "None tells full speeds" in words(parse(losses((), 2, 2)))
    assert len(worst([Loss("c", str(n), "", False, "", "", "", n) for n in range(50)], LOSSES)) == LOSSES


def test_energy_and_trends_as_lines() -> None:
    sled = Drawn("c", "SLED 1", "E1", "sled", 3.6e6, 3600.0, 1200.0, 990.0)
    shelf = Drawn("p", "Shelf", "", "power shelf", 4.0e6, 3600.0, 1300.0, None)
    tree = parse(energy([shelf, sled], HOUR) or "")
    assert "All sleds together 1.00 kWh, 1,000 W in the mean" in words(tree)
    assert "1,200 W" in words(one(tree, data_energy="c"))
    assert energy((), HOUR) is None
    assert trends((), HOUR) is None
    assert "no forecast" in words(parse(trends([("c", "CPU", "rises", "")], HOUR) or ""))


def test_the_store_gives_the_least_of_each_controller_and_all_of_a_rack(
    filled: tuple[Path, float], source: Source
) -> None:
    """A second opinion: Reader.answers.margins, which reads them all."""
    with Reader(filled[0]) as reader:
        every = [each for each in reader.answers.margins() if each.kind is MarginKind.HEAT]
    told = source.spare.least(MarginKind.HEAT)
    assert {each.controller: each.left for each in told} == {
        name: min(each.left for each in every if each.controller == name)
        for name in {each.controller for each in every}
    }
    there = source.spare.rack(MarginKind.HEAT, "Quellmark", "A", "R01")
    assert {each.controller for each in there} == {SEIZED}
    assert source.spare.numbers()[MarginKind.HEAT] == len(every)
    assert source.spare.rack(MarginKind.HEAT, "", "", "") == ()


def test_energy_of_the_store_is_power_over_its_times(source: Source) -> None:
    """The invented sleds draw a steady power that sways by 1.5 %."""
    fronts = source.spare.fronts("Quellmark", "A", "R01", 48)
    drawn = source.spare.energy(list(fronts))
    assert drawn
    for each in drawn:
        assert each.now is not None
        assert each.mean == pytest.approx(each.now, rel=0.04)
        assert each.seconds == pytest.approx(HOUR, rel=0.05)
