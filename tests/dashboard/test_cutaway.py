"""The cut-away: blades where sizes and slots put them, the rest by kind along the air, every part a link to itself."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest

from collector.model import (
    ControllerState,
    Health,
    Kind,
    Location,
    Part,
    Quantity,
    Reading,
    Sensor,
    Size,
    State,
    Status,
)
from dashboard.drawings.cutaway import WIDE, cutaway
from dashboard.drawings.plan import Layer, Piece, Plan, Tray
from dashboard.drawings.things import Bay, Front, Standing
from dashboard.queries import Source
from dashboard.views.cutaway import MOST, layer_of
from dashboard.views.cutaway import cutaway as plan_of
from dashboard.views.places import Places
from dashboard.views.sled import front_of
from tests.dashboard.invented import FAN, SEIZED
from tests.dashboard.reading import one, parse, rect, words

SLED = "c:/redfish/v1/Chassis/Sled"


def part(tail: str, kind: Kind, parent: str | None = SLED, **more: object) -> Part:
    return Part(id=f"c:/redfish/v1/{tail}", controller="c", uri=f"/redfish/v1/{tail}", kind=kind, name=tail,
                parent=parent, **more)  # type: ignore[arg-type]  # fmt: skip


def case(*parts: Part, kind: Kind = Kind.SLED, depth: float | None = 800.0) -> tuple[Places, Front]:
    top = Part(id=SLED, controller="c", uri="/redfish/v1/Chassis/Sled", kind=kind, name="Sled",
               size=Size(width=436.0, height=86.0, depth=depth))  # fmt: skip
    places = Places([top, *parts])
    front = front_of("c", places, {}, {}, {}, silent=False)
    assert front is not None
    return places, front


def blades(count: int = 4) -> list[Part]:
    return [
        part(
            f"Chassis/B{n}",
            Kind.BLADE,
            size=Size(width=208.0, height=40.0, depth=560.0),
            location=Location(slot=f"BLADE {n}", slot_index=n - 1),
        )
        for n in range(1, count + 1)
    ]


def drawn(places: Places, front: Front, *readings: Reading, silent: bool = False) -> Plan:
    plan = plan_of("c", front, places, {}, readings, silent)
    assert plan is not None
    return plan


def boxes(plan: Plan, kind: Kind) -> list[Bay]:
    inside = [piece for layer in plan.layers for tray in layer.trays for piece in tray.inside]
    return [piece.box for piece in (*plan.common, *inside) if piece.kind == kind.value]


def test_blades_over_one_another_are_layers_and_stand_where_the_front_has_them() -> None:
    plan = drawn(*case(*blades()))
    assert [layer.name for layer in plan.layers] == ["BLADE 1, BLADE 2", "BLADE 3, BLADE 4"]
    assert plan.told
    for layer in plan.layers:
        left, right = (tray.box for tray in layer.trays)
        assert (left.width, left.height, left.y) == (208.0, 560.0, 0.0)
        assert left.x == pytest.approx((436 - 2 * 208) / 3)
        assert right.x == pytest.approx(2 * (436 - 2 * 208) / 3 + 208)


def test_the_rest_stands_along_the_air_and_within_the_case() -> None:
    board = [part(f"Systems/{n}/{kind.value}", kind, "c:/redfish/v1/Chassis/B1")
             for n, kind in enumerate((Kind.DRIVE, Kind.MEMORY, Kind.PROCESSOR))]  # fmt: skip
    shared = [part(f"Fans/{n}", Kind.FAN, location=Location(slot_index=4 - n)) for n in range(4)]
    shared += [part("Psu", Kind.POWER_SUPPLY), part("Net", Kind.NETWORK_ADAPTER), part("Filter", Kind.FILTER)]
    plan = drawn(*case(*blades(2), *board, *shared))
    drive, memory, cpu = (boxes(plan, kind)[0] for kind in (Kind.DRIVE, Kind.MEMORY, Kind.PROCESSOR))
    fans, psu = boxes(plan, Kind.FAN), boxes(plan, Kind.POWER_SUPPLY)[0]
    order = [boxes(plan, Kind.FILTER)[0], drive, memory, cpu, fans[0], psu]
    assert all(before.y + before.height <= after.y for before, after in itertools.pairwise(order))
    tray = plan.layers[0].trays[0].box
    assert all(tray.x <= box.x and box.x + box.width <= tray.x + tray.width for box in (drive, memory, cpu))
    assert cpu.y + cpu.height <= tray.height < fans[0].y
    assert psu.y + psu.height <= 800.0
    assert [piece.part[-1] for piece in plan.common if piece.kind == "fan"] == ["3", "2", "1", "0"]
    lefts = [box.x for box in fans]
    assert lefts == sorted(lefts)


def test_a_case_without_blades_has_its_supplies_in_front_and_on_the_front() -> None:
    supplies = [part(f"Psu{n}", Kind.POWER_SUPPLY, location=Location(slot=f"PSU {n}", slot_index=n)) for n in range(6)]
    places, front = case(*supplies, part("Out", Kind.OUTLET), kind=Kind.ENCLOSURE)
    assert [blade.label for blade in front.blades] == [f"PSU {n}" for n in range(6)]
    assert not front.told
    plan = drawn(places, front)
    assert plan.layers == ()
    assert max(box.y for box in boxes(plan, Kind.POWER_SUPPLY)) < boxes(plan, Kind.OUTLET)[0].y


def test_what_is_not_told_is_said_and_an_absent_blade_holds_nothing() -> None:
    places, front = case(*blades(2), depth=None)
    assert not drawn(places, front).told
    gone = front_of("c", places, {}, {"c:/redfish/v1/Chassis/B2": Status(state=State.ABSENT)}, {}, silent=False)
    assert gone is not None
    assert [tray.absent for tray in drawn(places, gone).layers[0].trays] == [False, True]
    assert plan_of("c", None, places, {}, (), silent=False) is None


def test_more_parts_than_fit_are_counted_not_drawn() -> None:
    sticks = [part(f"Systems/M{n}", Kind.MEMORY, "c:/redfish/v1/Chassis/B1") for n in range(MOST + 9)]
    many = [part(f"Fans/{n}", Kind.FAN) for n in range(MOST + 5)]
    plan = drawn(*case(*blades(1), *sticks, *many))
    assert plan.layers[0].trays[0].more == 9
    assert plan.more == 5
    assert len(boxes(plan, Kind.MEMORY)) == MOST


def test_air_and_coolant_are_told_in_the_words_of_their_context() -> None:
    def reading(context: str, quantity: Quantity, unit: str, value: float | None, of: str = SLED) -> Reading:
        sensor = Sensor(sensor=f"{context} {quantity}", controller="c", part=of, kind=Kind.SLED, quantity=quantity,
                        unit=unit, source="/x", context=context)  # fmt: skip
        return Reading(sensor=sensor, value=value, health=Health.OK, time=0.0)

    plan = drawn(
        *case(*blades(1)),
        reading("Intake", Quantity.TEMPERATURE, "Cel", 23.5),
        reading("Exhaust", Quantity.TEMPERATURE, "Cel", None),
        reading("Chassis", Quantity.AIR_FLOW, "m3/s", 0.0535),
        reading("Exhaust", Quantity.TEMPERATURE, "Cel", 38.0, "c:/redfish/v1/Chassis/B1"),
        reading("LiquidInlet", Quantity.TEMPERATURE, "Cel", 31.0),
    )
    assert (plan.air.inlet, plan.air.outlet, plan.air.flow) == ("23.5 °C", "", "0.0535 m³/s")
    assert plan.layers[0].trays[0].leaves == "38.0 °C"
    assert plan.coolant.told
    tree = parse(cutaway(plan, 0, "c"))
    assert words(one(tree, data_air="in")) == "air in 23.5 °C"
    assert words(one(tree, data_air="out")) == "0.0535 m³/s"
    assert "coolant in 31.0 °C" in words(one(tree, data_coolant="true"))
    dry = replace(plan, air=replace(plan.air, inlet=""), coolant=replace(plan.coolant, supply=""))
    assert "not told" in words(one(parse(cutaway(dry, 0, "c")), data_air="in"))


def test_the_drawing_is_to_scale_with_the_front_below() -> None:
    plan = drawn(*case(*blades(), part("Fan", Kind.FAN)))
    tree = parse(cutaway(plan, 1, "c"))
    scale = float(one(tree, data_cutaway=SLED).get("data-scale", "nan"))
    assert scale == pytest.approx((WIDE - 6) / 436, abs=1e-4)
    tray = one(tree, data_tray="c:/redfish/v1/Chassis/B3")
    x, y, width, height = rect(tray, "tray")
    assert (width + 2, height + 2) == pytest.approx((208 * scale, 560 * scale), abs=0.1)
    assert x - 1 == pytest.approx(3 + (436 - 416) / 3 * scale, abs=0.1)
    _, fan_y, _, fan_high = rect(one(tree, data_kind="fan"), "piece")
    assert fan_y + fan_high < y


def test_every_part_is_a_link_to_itself_and_the_one_in_hand_is_marked() -> None:
    plan = drawn(*case(*blades(2), part("Fan", Kind.FAN)))
    tree = parse(cutaway(plan, 0, "c", "c:/redfish/v1/Fan"))
    links = [each for each in tree.iter() if each.tag.endswith("}a")]
    assert {each.get("data-part") for each in links} == {
        "c:/redfish/v1/Chassis/B1", "c:/redfish/v1/Chassis/B2", "c:/redfish/v1/Fan"
    }  # fmt: skip
    for link in links:
        assert (
            link.get("href")
            == f"./?sled=c&place={(link.get('data-part') or '').replace(':', '%3A').replace('/', '%2F')}"
        )
        assert link.get("data-pick") == f"place={link.get('data-part')}"
        assert link[0].tag.endswith("title")
        assert link[0].text
    marked = one(tree, data_chosen="true")
    assert marked in list(one(tree, data_part="c:/redfish/v1/Fan").iter())


def test_a_layer_is_chosen_for_the_part_in_hand_else_for_the_trouble() -> None:
    places, front = case(*blades(), part("Systems/Cpu", Kind.PROCESSOR, "c:/redfish/v1/Chassis/B4"))
    plan = drawn(places, front)
    assert layer_of(plan, None, places) == 0
    assert layer_of(plan, "c:/redfish/v1/Systems/Cpu", places) == 1
    low = plan.layers[1]
    bad = replace(low, trays=(replace(low.trays[0], standing=Standing(Health.WARNING)), low.trays[1]))
    assert layer_of(replace(plan, layers=(plan.layers[0], bad)), None, places) == 1
    assert layer_of(replace(plan, layers=()), "nobody", places) == 0


def test_hostile_names_stay_text() -> None:
    told = "<script>alert(1)</script>\u202e\x1b[31m" + "x" * 10_000
    box = Bay(0, 0, 200, 100)
    piece = Piece(told, told, told, told, box, Standing(Health.CRITICAL, (told,)), told)
    tray = Tray(told, told, box, Standing(Health.WARNING, (told,)), False, (piece,), 3, told[:9], told[:9])
    plan = Plan(told, told, 436, 800, (Layer(told, (tray,)),), (piece,))
    markup = cutaway(plan, 0, told, told)
    tree = parse(markup)
    assert not [each for each in tree.iter() if "script" in each.tag]
    assert "\u202e" not in markup
    assert len(markup) < 40_000


def test_a_fleet_of_both_designs_is_drawn_from_the_store(source: Source, filled: tuple[Path, float]) -> None:
    for name, layers, fans in ((SEIZED, 2, 4), ("r02-s1", 1, 4)):
        facts = source.sled(name)
        assert facts is not None
        front = front_of(name, facts.places, facts.rolled, facts.statuses, facts.lamps, silent=False)
        plan = plan_of(name, front, facts.places, facts.rolled, facts.readings, silent=False)
        assert plan is not None
        assert len(plan.layers) == layers
        assert len(boxes(plan, Kind.FAN)) == fans
        assert plan.air.inlet == ""  # the invented fleet tells no context
    facts = source.sled(SEIZED)
    assert facts is not None
    state: ControllerState = facts.state
    assert state.controller == SEIZED
    front = front_of(SEIZED, facts.places, facts.rolled, facts.statuses, facts.lamps, silent=False)
    plan = plan_of(SEIZED, front, facts.places, facts.rolled, facts.readings, silent=False)
    assert plan is not None
    fan = next(piece for piece in plan.common if piece.part == FAN)
    assert (fan.standing.health, fan.says) == (Health.CRITICAL, "0 rpm")
    dumb = plan_of(SEIZED, front, facts.places, facts.rolled, facts.readings, silent=True)
    assert dumb is not None
    assert {piece.standing.health for piece in dumb.common} == {Health.UNKNOWN}
