"""The drawings, read back as SVG."""

from __future__ import annotations

import math
import re
from array import array
from datetime import UTC

import pytest

from collector.model import Health, History, Lamps, LampState
from dashboard.drawings import front, lamps, marks, rack, trace
from dashboard.drawings.sheet import CSS
from dashboard.drawings.things import Bay, Blade, Drive, Front, Rack, Sled, Standing
from tests.dashboard.reading import SVG, find, one, parse, rect, words
from tests.dashboard.test_ink import HOSTILE

QUAD_BAYS = (Bay(6, 44, 208, 40), Bay(222, 44, 208, 40), Bay(6, 2, 208, 40), Bay(222, 2, 208, 40))
STATES = [LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN]


def blades(**first: object) -> tuple[Blade, ...]:
    made = [Blade(f"b{number}", f"Blade {number}", bay, Standing(Health.OK)) for number, bay in enumerate(QUAD_BAYS)]
    made[0] = Blade(**{"part": "b0", "label": "Blade 0", "bay": QUAD_BAYS[0], "standing": Standing(Health.OK), **first})  # type: ignore[arg-type]
    return tuple(made)


def sled(offset: int = 4, **more: object) -> Sled:
    told: dict[str, object] = {
        "controller": "r01-s1",
        "label": "Sled 1",
        "place": "Quellmark / A / R01 / U5",
        "bay": Bay(7, offset * 44.45, 436, 86),
        "standing": Standing(Health.OK),
        "blades": blades(),
    }
    return Sled(**{**told, **more})  # type: ignore[arg-type]


def drawn_rack(*sleds: Sled, units: int = 12, told: bool = True) -> Rack:
    return Rack("R01", "Quellmark / A / R01", 44.45, units, told, sleds)


# --- lamps ---


@pytest.mark.parametrize("blue", STATES)
@pytest.mark.parametrize("amber", STATES)
def test_each_lamp_shows_exactly_its_state(blue: LampState, amber: LampState) -> None:
    tree = parse(lamps.panel(Lamps(blue, amber), "b1"))
    for colour, state in (("blue", blue), ("amber", amber)):
        lamp = one(tree, data_lamp=colour)
        assert lamp.get("data-lamp-state") == state.value
        assert lamp.get("data-part") == "b1"
        lit = [each for each in lamp.iter() if "lit" in each.get("class", "").split()]
        assert bool(lit) == (state in (LampState.ON, LampState.BLINK))
        assert any("blink" in each.get("class", "").split() for each in lit) == (state is LampState.BLINK)
    drawing = one(tree, role="img")
    assert drawing.get("aria-label") == lamps.lamp_words(Lamps(blue, amber))


def test_blue_is_drawn_to_the_left_of_amber() -> None:
    tree = parse(lamps.panel(Lamps(LampState.ON, LampState.ON), "b1"))
    at = {
        lamp.get("data-lamp"): float(next(each for each in lamp.iter(f"{SVG}circle")).get("cx", "nan"))
        for lamp in find(tree, data_lamp="")
    }
    assert at["blue"] < at["amber"]


def test_blinking_is_half_a_second_on_and_half_a_second_off() -> None:
    """OCP Panel Indicator Specification 1.0: blink is 500 ms on, 500 ms off (shared/standards/check-values.md, 1)."""
    assert lamps.PERIOD * 0.5 == 0.5
    assert "animation: lamp-blink 1s step-end infinite" in CSS
    assert "0% { opacity: 1; } 50% { opacity: 0; } 100% { opacity: 0; }" in CSS


def test_where_motion_is_unwelcome_a_blinking_lamp_stands_half_lit() -> None:
    still = CSS[CSS.index("prefers-reduced-motion: reduce") :]
    assert ".lamp .blink { animation: none; opacity: 0; }" in still
    assert ".lamp .half { display: inline; }" in still
    tree = parse(lamps.panel(Lamps(LampState.ON, LampState.BLINK), "b1"))
    assert [each for each in one(tree, data_lamp="amber").iter() if "half" in each.get("class", "")]


# --- marks ---


def test_every_health_has_a_shape_of_its_own() -> None:
    shapes = set()
    for health in Health:
        group = one(parse(marks.mark(health)), data_health=health.word)
        shapes.add(tuple((each.tag, each.get("d"), each.get("x"), each.get("cx")) for each in group))
    assert len(shapes) == len(Health)


@pytest.mark.parametrize("health", list(Health))
def test_a_mark_beside_text_stands_with_its_word(health: Health) -> None:
    assert words(parse(marks.worded(Standing(health)))) == health.word


def test_at_risk_is_marked_and_worded_apart_from_health() -> None:
    tree = parse(marks.worded(Standing(Health.OK, ("Fan 2",))))
    assert words(tree) == "OK , at risk through Fan 2"
    assert find(tree, data_risk="true")
    assert one(tree, class_="worded is-ok").get("data-health") == "OK"


# --- racks ---


@pytest.mark.parametrize(("offset", "height"), [(0, 86.0), (4, 86.0), (20, 40.0)])
def test_a_sled_stands_at_its_height_to_scale(offset: int, height: float) -> None:
    one_sled = sled(bay=Bay(7, offset * 44.45, 436, height))
    drawing = drawn_rack(one_sled, units=30)
    tree = parse(rack.elevation(drawing))
    scale = float(one(tree, data_rack="R01").get("data-scale", "nan"))
    floor = rack._TOP + rack.drawn_units(drawing) * 44.45 * scale
    x, y, width, tall = rect(one(tree, data_sled="r01-s1"), "case")
    assert tall + 1 == pytest.approx(height * scale, abs=0.02)
    assert floor - (y + tall + 0.5) == pytest.approx(offset * 44.45 * scale, abs=0.02)
    assert width == pytest.approx(436 * scale, abs=0.02)
    assert x - rack.RULER - rack._POST == pytest.approx(7 * scale, abs=0.02)


def test_blades_stand_in_their_bays_within_the_sled() -> None:
    tree = parse(rack.elevation(drawn_rack(sled())))
    boxes = [rect(one(tree, data_part=f"b{number}"), "face") for number in range(4)]
    assert boxes[0][0] == boxes[2][0] < boxes[1][0] == boxes[3][0]
    assert boxes[0][1] == boxes[1][1] < boxes[2][1] == boxes[3][1]
    case = rect(one(tree, data_sled="r01-s1"), "case")
    for x, y, width, height in boxes:
        assert case[0] + rack.EAR <= x
        assert x + width <= case[0] + case[2] + 0.01
        assert case[1] <= y
        assert y + height <= case[1] + case[3] + 0.01


def test_a_sled_carries_its_link_health_and_words() -> None:
    troubled = sled(standing=Standing(Health.CRITICAL), blades=blades(standing=Standing(Health.OK, ("Fan 2",))))
    tree = parse(rack.elevation(drawn_rack(troubled)))
    link = one(tree, data_sled="r01-s1")
    assert link.get("href") == "./?sled=r01-s1"
    assert link.get("data-part-health") == "Critical"
    assert "Critical" in (link[0].text or "")
    blade = one(tree, data_part="b0")
    assert (blade.get("data-health"), blade.get("data-at-risk")) == ("OK", "true")
    assert rect(blade, "hatched") == rect(blade, "face")
    assert one(tree, data_part="b1").get("data-at-risk") is None
    assert "Sled 1 Critical" in words(tree)


def test_rack_units_are_counted_from_one_at_the_bottom() -> None:
    tree = parse(rack.elevation(drawn_rack(units=12)))
    labels = {each.text: float(each.get("y", "nan")) for each in tree.iter() if each.get("class") == "ruler"}
    assert list(labels) == ["U1", "U5", "U10"]
    assert labels["U1"] > labels["U5"] > labels["U10"]


def test_a_rack_of_unknown_height_is_drawn_open_at_the_top() -> None:
    assert "open-end" in rack.elevation(drawn_rack(told=False))
    assert "open-end" not in rack.elevation(drawn_rack(told=True))


def test_what_is_empty_at_the_top_is_cut_off_and_told() -> None:
    low = drawn_rack(sled(bay=Bay(7, 4 * 44.45, 436, 86)), units=42)
    tree = parse(rack.elevation(low))
    drawing = one(tree, data_rack="R01")
    assert (drawing.get("data-units"), drawing.get("data-cut"), rack.drawn_units(low)) == ("42", "7", 7)
    assert float(drawing.get("viewBox", "").split()[3]) < 10 * 44.45 * rack.SCALE
    assert "cut-off" in rack.elevation(low)
    for top, units in ((38, 42), (37, 38), (35, 36)):
        full = drawn_rack(sled(bay=Bay(7, (top - 2) * 44.45, 436, 86)), units=42)
        assert rack.drawn_units(full) == units


@pytest.mark.parametrize(
    ("label", "room", "said"), [("Blade 1", 42, "Blade 1"), ("Blade 1", 24, "1"), ("Slotted", 24, "Slo…")]
)
def test_a_short_label_keeps_what_tells_blades_apart(label: str, room: float, said: str) -> None:
    assert rack._brief(label, room) == said


def test_troubled_sleds_are_named_first_where_not_all_fit() -> None:
    sleds = [
        sled(controller=f"c{place}", label=f"N{place}", bay=Bay(110 * place, 0, 110, 40), blades=())
        for place in range(3)
    ]
    sleds.append(
        sled(controller="c3", label="N3", bay=Bay(330, 0, 110, 40), blades=(), standing=Standing(Health.WARNING))
    )
    tree = parse(rack.elevation(drawn_rack(*sleds, units=3)))
    said = [words(each) for each in tree.iter() if each.get("class") == "said"]
    assert said == ["1 of 4 not OK"]


# --- fronts ---


def test_a_front_shows_slots_where_the_sizes_put_them() -> None:
    tree = parse(front.front(Front("s", "Sled 1", 436, 86, blades())))
    scale = float(one(tree, data_front="s").get("data-scale", "nan"))
    assert scale == pytest.approx((front.WIDE - 6) / 436, abs=1e-4)
    for number, bay in enumerate(QUAD_BAYS):
        group = one(tree, data_part=f"b{number}")
        assert group.get("data-bay") == f"{bay.x:g} {bay.y:g} {bay.width:g} {bay.height:g}"
        x, y, width, height = rect(group, "face")
        assert x == pytest.approx(3 + bay.x * scale + 1, abs=0.05)
        assert y == pytest.approx(3 + (86 - bay.y - bay.height) * scale + 1, abs=0.05)
        assert width == pytest.approx(bay.width * scale - 2, abs=0.05)
        assert height == pytest.approx(bay.height * scale - 2, abs=0.05)


def test_a_blade_shows_its_lamps_in_its_slot() -> None:
    tree = parse(front.front(Front("s", "Sled 1", 436, 86, blades(lamps=Lamps(LampState.ON, LampState.BLINK)))))
    blade = one(tree, data_part="b0", data_health="OK")
    assert one(blade, data_lamp="amber").get("data-lamp-state") == "blink"
    assert one(blade, data_lamp="blue").get("data-lamp-state") == "on"
    assert not find(one(tree, data_part="b1", data_health="OK"), data_lamp="")


def test_an_empty_slot_shows_neither_health_nor_lamps() -> None:
    tree = parse(front.front(Front("s", "Sled 1", 436, 86, blades(absent=True, lamps=None))))
    blade = one(tree, data_part="b0")
    assert blade.get("data-health") is None
    assert "empty" in words(blade)
    assert not find(blade, data_health="")


def test_front_drives_stand_in_their_blade() -> None:
    drives = tuple(Drive(f"d{n}", f"Drive {n}", Standing(Health.WARNING if n == 2 else Health.OK)) for n in range(4))
    bay = Bay(6, 2, 208, 82)
    one_blade = Blade(
        "b", "Blade 1", bay, Standing(Health.WARNING), lamps=Lamps(LampState.ON, LampState.ON), drives=drives
    )
    tree = parse(front.front(Front("s", "Sled 1", 436, 86, (one_blade,))))
    blade = one(tree, data_part="b", data_health="Warning")
    x, y, width, height = rect(blade, "face")
    for number in range(4):
        carrier = rect(one(blade, data_part=f"d{number}"), "carrier")
        assert x <= carrier[0]
        assert carrier[0] + carrier[2] <= x + width
        assert y < carrier[1]
        assert carrier[1] + carrier[3] <= y + height
    assert one(blade, data_part="d2").get("data-health") == "Warning"


@pytest.mark.parametrize("told", HOSTILE)
def test_hostile_names_are_inert_in_drawings(told: str) -> None:
    hostile = Standing(Health.WARNING, (told,), told)
    bad = Blade(told, told, QUAD_BAYS[0], hostile, lamps=Lamps(LampState.ON, LampState.OFF))
    one_sled = sled(controller=told, label=told, place=told, standing=hostile, blades=(bad,))
    drawing = parse(
        rack.elevation(Rack(told, told, 44.45, 8, False, (one_sled,))) + front.front(Front(told, told, 436, 86, (bad,)))
    )
    allowed = {"svg", "g", "a", "rect", "path", "circle", "text", "tspan", "title", "defs", "pattern", "div"}
    for element in drawing.iter():
        assert element.tag.removeprefix(SVG) in allowed
        assert not [name for name in element.attrib if name.startswith("on")]
        assert element.get("href", "./?").startswith("./?")
        assert not set("\u202e\u2066\x1b\x00") & set("".join(element.attrib.values()) + (element.text or ""))


# --- readings as lines ---

LIMITS = (
    trace.Line("upper caution", 80, Health.WARNING, True),
    trace.Line("upper critical", 92, Health.CRITICAL, True),
)


def history(*values: float, step: float = 30.0) -> History:
    return History(times=array("d", (step * place for place in range(len(values)))), values=array("d", values))


def test_a_chart_draws_thresholds_and_a_time_axis() -> None:
    tree = parse(trace.chart(history(*(70 + n / 10 for n in range(100))), LIMITS, 0, 3600, "°C", UTC))
    assert {each.get("data-threshold") for each in find(tree, data_threshold="")} == {"upper caution", "upper critical"}
    moments = [each.text for each in tree.iter() if each.get("class") == "moment"]
    assert moments == ["00:15", "00:30", "00:45"]
    assert one(tree, data_samples="100") is not None


def test_a_threshold_far_from_the_samples_does_not_flatten_them() -> None:
    tree = parse(trace.chart(history(20.0, 20.5, 20.2), LIMITS, 0, 90, "°C", UTC))
    assert find(tree, data_threshold="") == []


def test_a_gap_in_the_values_is_a_gap_in_the_line() -> None:
    tree = parse(trace.chart(history(1, 2, math.nan, 2, 1), (), 0, 120, "W", UTC))
    assert len([each for each in tree.iter() if each.get("class") == "samples"]) == 2


def test_a_long_silence_is_a_gap_in_the_line() -> None:
    told = History(times=array("d", [0, 30, 60, 900, 930]), values=array("d", [1, 1, 1, 1, 1]))
    tree = parse(trace.chart(told, (), 0, 1000, "W", UTC))
    assert len([each for each in tree.iter() if each.get("class") == "samples"]) == 2


def test_thinning_keeps_peaks_and_gaps() -> None:
    values = [10.0] * 5000
    values[2501] = 99.0
    values[3300] = math.nan
    tree = parse(trace.chart(history(*values), (), 0, 5000 * 30, "W", UTC))
    paths = [each.get("d", "") for each in tree.iter() if each.get("class") == "samples"]
    assert len(paths) == 2
    numbers = [[float(each) for each in re.findall(r"[\d.]+", path)] for path in paths]
    assert sum(len(each) for each in numbers) < 2 * 2 * trace._MOST_POINTS
    heights = sorted(y for each in numbers for y in each[1::2])
    assert heights[0] < heights[1] - 60


def test_no_sample_no_chart() -> None:
    assert trace.chart(history(math.nan), LIMITS, 0, 60, "W", UTC) == ""
    assert trace.chart(history(), LIMITS, 0, 60, "W", UTC) == ""


@pytest.mark.parametrize("value", [-40.0, 0.0, 79.9, 80.0, 1e9, None])
def test_the_needle_stays_on_its_strip(value: float | None) -> None:
    tree = parse(trace.strip(value, LIMITS, 0, 110))
    needles = [each.get("d", "") for each in tree.iter() if each.get("class") == "needle"]
    if value is None:
        assert needles == []
    else:
        assert 1 <= float(needles[0][1:].split(" ")[0]) <= 119


def test_the_needle_stands_in_the_zone_that_it_crossed() -> None:
    tree = parse(trace.strip(85, LIMITS, 0, 110))
    at = float(next(each.get("d", "") for each in tree.iter() if each.get("class") == "needle")[1:].split(" ")[0])
    zones = {
        each.get("class", ""): float(each.get("x", "0"))
        for each in tree.iter()
        if each.get("class", "").startswith("zone")
    }
    assert zones["zone is-warning"] < at < zones["zone is-critical"]
