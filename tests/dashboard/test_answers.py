"""What the pages say of suspects, work orders, margins and the controllers' own health."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
import zxingcpp

from collector.model import (
    CareKind,
    Condition,
    Handled,
    Handling,
    Health,
    Kind,
    Location,
    Margin,
    MarginKind,
    Mark,
    OrderState,
    Outcome,
    Subject,
    Urgency,
    WorkOrder,
)
from collector.model.places import front_of
from collector.store.overview import Chosen, RackCount, SilentRow
from dashboard.drawings.bars import HIGH, WIDE, chance, reserve, urgency_words
from dashboard.drawings.ink import join, sled_link
from dashboard.drawings.spot import FRONT_WIDE, spot
from dashboard.drawings.spot import HIGH as SPOT_HIGH
from dashboard.drawings.things import Bay, Blade, Front, Rack, Sled, Standing
from dashboard.glance import Wrong
from dashboard.panels.answers import stay_lines, suspects
from dashboard.panels.care import cared, follows
from dashboard.panels.floor import racks_head
from dashboard.panels.order_sheet import sheet
from dashboard.panels.orders import filters, lately_closed, order_line, orders_link, the_tours
from dashboard.panels.rounds import found_wrong
from dashboard.queries import Source
from dashboard.views.answers import (
    NO_RACK,
    accusations,
    chosen,
    least_of_each,
    left_words,
    lefts,
    likelihood,
    percent,
    worst_first,
)
from dashboard.views.attention import ranked, silent, task
from dashboard.views.floor import floor, opened
from dashboard.views.places import Places
from dashboard.views.route import tours
from tests.dashboard.invented import DRIVE_ORDER, FAN, FAN_ORDER, SEIZED, Invented, Registered, condition, fleet, sled
from tests.dashboard.reading import find, one, parse, rect, words
from tests.dashboard.test_floor import front_row
from tests.dashboard.test_ink import HOSTILE
from tests.dashboard.test_qr import pixels

NOW = 1_700_000_000.0


def order(name: str, urgency: Urgency, bundle: str = "S / A / R1", **more: object) -> WorkOrder:
    made: dict[str, object] = {
        "id": name,
        "trouble": f"t-{name}",
        "part": f"c:{name}",
        "controller": "c",
        "kind": Kind.FAN,
        "name": name,
        "opened": NOW - 100,
        "changed": NOW,
        "urgency": urgency,
        "task": f"Replace {name}",
        "reason": "it stands still.",
        "bundle": bundle,
        **more,
    }
    return WorkOrder(**made)  # type: ignore[arg-type]


# --- work orders ---


def test_the_most_urgent_order_comes_first_and_closed_ones_not_at_all() -> None:
    later = order("later", Urgency.NEXT_VISIT, opened=NOW - 9000)
    done = order("done", Urgency.NOW, closed=NOW)
    found = worst_first([later, order("today", Urgency.TODAY), done, order("now", Urgency.NOW)])
    assert [each.id for each in found] == ["now", "today", "later"]


def test_a_tour_goes_along_the_racks_and_in_each_upwards_with_what_can_wait_done_on_the_way() -> None:
    orders = [
        order("high", Urgency.NEXT_VISIT, "S / A / R2", location=Location(rack="R2", offset=30)),
        order("low", Urgency.NOW, "S / A / R2", location=Location(rack="R2", offset=2, slot_index=3)),
        order("first slot", Urgency.TODAY, "S / A / R2", location=Location(rack="R2", offset=2, slot_index=0)),
        order("far", Urgency.NOW, "S / A / R10"),
        order("near", Urgency.TODAY, "S / A / R1"),
        order("lost", Urgency.NOW, ""),
        order("gone", Urgency.NOW, "S / A / R1", closed=NOW),
    ]
    found = tours(orders)
    assert [tour.urgency for tour in found] == [Urgency.NOW, Urgency.TODAY]
    now, today = ([(stop.rack, [each.id for each in stop.orders]) for stop in tour.stops] for tour in found)
    assert now == [
        ("S / A / R2", ["first slot", "low", "high"]),
        ("S / A / R10", ["far"]),
        (NO_RACK, ["lost"]),
    ]
    assert today == [("S / A / R1", ["near"])]
    tree = parse(the_tours(found, NOW, None, True))
    assert "2 less urgent, while you are there" in words(one(tree, data_walk="S / A / R2"))
    assert "stop 2 of 3" in words(one(tree, data_walk="S / A / R10"))


def test_who_has_an_order_stands_on_its_line_and_on_its_sheet() -> None:
    steps = (
        Handled(state=OrderState.TAKEN, who="Tamsin Orrel", at=NOW - 700.0),
        Handled(state=OrderState.WATCHING, who="Tamsin Orrel", at=NOW - 60.0),
    )
    handling = Handling(
        part="c:p", order="a", steps=steps, serial_before="OLD", serial_typed="NEW", serial_read="OLD", rounds=1
    )
    held = order("a", Urgency.NOW, handling=handling)
    line = one(parse(order_line(held, NOW, None)), data_order="a")
    assert line.get("data-order-state") == "done, watching"
    assert "done, watching: Tamsin Orrel, 1 min" in words(line)
    told = words(one(parse(sheet(held, None, {}, NOW, None)), data_hands=""))
    assert "taken: Tamsin Orrel" in told
    assert "The old part is still read there" in told
    assert [each.id for each in chosen((held, order("b", Urgency.NOW)), None, None, "open")] == ["b"]
    closed = lately_closed((msgspec.structs.replace(held, closed=NOW - 5.0), order("c", Urgency.NOW)), NOW, None)
    assert closed is not None
    assert [each.get("data-closed-order") for each in find(parse(closed), data_closed_order="")] == ["a"]
    assert lately_closed((), NOW, None) is None


def test_a_sheet_leads_back_to_the_sled_page(source: Source) -> None:
    fan = next(each for each in source.orders() if each.id == FAN_ORDER)
    tree = parse(sheet(fan, None, {}, NOW, None, "https://pages.example/rack/"))
    address = one(tree, data_leads_to="").get("data-leads-to", "")
    assert address == "https://pages.example/rack/" + sled_link(SEIZED, place=FAN).removeprefix("./")
    markup = sheet(fan, None, {}, NOW, None, "https://pages.example/rack/")
    svg = markup[markup.index("<svg xmlns") : markup.index("</svg>", markup.index('data-qr="true"')) + 6]
    svg = svg[svg.rindex("<svg") :]
    assert [each.text for each in zxingcpp.read_barcodes(pixels(svg))] == [address]
    assert find(parse(sheet(fan, None, {}, NOW, None)), data_leads_to="") == []


def test_the_filter_narrows_by_rack_and_by_urgency() -> None:
    orders = (order("a", Urgency.NOW), order("b", Urgency.TODAY), order("c", Urgency.NOW, ""))
    assert [each.id for each in chosen(orders, None, "now")] == ["a", "c"]
    assert [each.id for each in chosen(orders, "S / A / R1", None)] == ["a", "b"]
    assert [each.id for each in chosen(orders, NO_RACK, "now")] == ["c"]
    assert chosen(orders, None, "never") == ()
    tree = parse(filters(orders, "S / A / R1", None))
    links = {words(each): each for each in find(tree, href="")}
    assert links["any (2)"].get("aria-current") == "true"
    assert links["now (1)"].get("href") == orders_link(rack="S / A / R1", urgency="now")
    assert links["S / A / R1 (2)"].get("aria-current") == "true"


def test_a_list_without_orders_says_why() -> None:
    assert "No work order is open." in words(parse(the_tours((), NOW, None, any_open=False)))
    assert "of this kind" in words(parse(the_tours((), NOW, None, any_open=True)))


def test_a_sheet_tells_what_hands_need(source: Source) -> None:
    fan = next(each for each in source.orders() if each.id == FAN_ORDER)
    facts = source.sled(SEIZED)
    assert facts is not None
    tree = parse(sheet(fan, None, facts.places.parts, NOW, None))
    facts_told = {each.get("data-fact"): words(each) for each in find(tree, data_fact="")}
    assert facts_told["where"] == "Quellmark / A / R01 / U5 / E1 / Sled 2"
    assert facts_told["bring part number"] == "MD-80384"
    assert facts_told["serial of the old one"] == "F2"
    assert one(tree, data_lamp_to_find="blue on, amber on") is not None
    told = words(tree)
    for sentence in ("Blade 1.", "It can be pulled while everything else runs.", "Converter 1", "keep fingers out"):
        assert sentence in told


def test_a_sheet_of_a_part_that_tells_nothing_says_so() -> None:
    tree = parse(sheet(order("cable", Urgency.TODAY, controller=None), None, {}, NOW, None))
    assert "place not told" in words(tree)
    assert "It has no lamp of its own." in words(tree)
    assert find(tree, href="./?sled=c") == []


@pytest.mark.parametrize("told", HOSTILE)
def test_hostile_strings_are_text_on_sheets_lines_and_suspects(told: str) -> None:
    bad = order(
        told,
        Urgency.NOW,
        told,
        task=told,
        reason=told,
        lamp_text=told,
        first=(told,) * 20,
        cautions=(told,) * 20,
        otherwise=(told,),
        location=Location(site=told),
    )
    for markup in (
        sheet(bad, None, {}, NOW, None, "https://pages.example"),
        the_tours(tours([bad]), NOW, None, True),
        filters([bad], told, told),
        cared(((CareKind.SHELVED, Mark(request=1, who=told, why=told, since=NOW)),), NOW, None),
        follows((told,), told),
    ):
        assert markup is not None
        tree = parse(markup)
        assert not {each.tag for each in tree.iter()} & {"script", "img"}
        assert all(each.get("href", "./?").startswith("./?") for each in tree.iter())
        assert not set(words(tree)) & set("\u202e\u2066\u2069\x1b\x00")
        assert len(words(tree)) < 12_000


# --- suspects ---


@pytest.mark.parametrize(
    ("probability", "said", "figure"),
    [
        (0.999, "virtually certain", "> 99 %"),
        (0.95, "very likely", "95 %"),
        (0.7, "likely", "70 %"),
        (0.5, "about as likely as not", "50 %"),
        (0.2, "unlikely", "20 %"),
        (0.05, "very unlikely", "5 %"),
        (0.001, "exceptionally unlikely", "< 1 %"),
    ],
)
def test_probability_in_words_of_a_published_scale(probability: float, said: str, figure: str) -> None:
    """IPCC guidance note on the treatment of uncertainties, 2010, table 1, from memory."""
    assert (likelihood(probability), percent(probability)) == (said, figure)


def test_suspects_of_this_sled_come_with_evidence_group_and_next_look(source: Source) -> None:
    facts = source.sled(SEIZED)
    assert facts is not None
    found = accusations(facts.troubles, SEIZED)
    (accused,) = found
    assert accused.here[0].part == FAN
    assert [each.part for each in accused.elsewhere] == ["~cable/r01/7"]
    markup = suspects(found, source.orders(), SEIZED, NOW, None)
    assert markup is not None
    tree = parse(markup)
    fan = one(tree, data_suspect=FAN)
    assert words(one(fan, data_percent="true")) == "87 %"
    assert "likely" in words(fan)
    assert len(list(one(fan, data_reasons="for").iter("li"))) == 2  # the one told twice stands once
    assert "draws no current" in words(one(fan, data_reasons="against"))
    assert "can't tell these 2 apart: Fan 2, Converter 1" in words(one(tree, data_alike="2"))
    assert "Measure 12 V" in words(one(tree, data_next_look="true"))
    assert words(one(tree, data_weaker="1")) == "less sure because enclosure E1 is told with two serial numbers"
    assert one(tree, href=orders_link(order=FAN_ORDER)) is not None
    assert accusations(facts.troubles, "r01-s1") == ()
    assert suspects((), (), SEIZED, NOW, None) is None


# --- conditions under their cause ---


def test_consequences_fold_under_their_cause_and_marks_are_said() -> None:
    made = sled("a", Location(rack="R1", offset=1))
    blade, host = made.part("Chassis/Blade1"), made.part("Systems/1")
    mark = Mark(request=7, who="Ida Brandt", why="vendor called", since=NOW - 50, until=NOW + 600)
    cause = condition(made, blade, Health.CRITICAL, "has lost its power", NOW - 100)
    after = msgspec.structs.replace(condition(made, host, Health.CRITICAL, "is off", NOW - 90), cause=cause.id)
    fan = made.part("Chassis/Sled/ThermalSubsystem/Fans/1")
    shelved = msgspec.structs.replace(condition(made, fan, Health.CRITICAL, "stands", NOW - 80), shelved=mark)
    places = Places(made.parts)
    found = [task(each, places) for each in ranked([shelved, after, cause], {}, frozenset({cause.id}))]
    assert [(each.part, each.set_aside, each.ordered, len(each.follows)) for each in found] == [
        (blade, False, True, 1),
        (fan, True, False, 0),
    ]
    wrong = Wrong((found[0],), (found[1],), {Health.CRITICAL: 1}, 1)
    tree = parse(found_wrong(wrong, NOW, None, 0, Chosen()))
    assert words(one(tree, data_follows="1")).startswith("1 condition that follows from it Host 1: is off.")
    assert "Shelved by Ida Brandt until" in words(one(tree, data_care="shelved"))
    assert "vendor called" in words(one(tree, data_care="shelved"))
    assert "1 set aside" in words(tree)
    assert "Ordered above." in words(one(tree, data_task=blade))


def test_what_follows_from_a_silent_controller_stands_with_it() -> None:
    states = fleet(NOW)
    gone = next(each for each in states if each.name == "r02-s2")
    cause = gone.conditions[0]
    assert cause.subject is Subject.CONTROLLER
    follower: Condition = msgspec.structs.replace(
        condition(gone, gone.part("Chassis/Blade1"), Health.WARNING, "can't be seen", NOW - 10), cause=cause.id
    )
    row = SilentRow(gone.name, Outcome.TIMED_OUT, "", None, "", front_of(gone.name, gone.parts, Location()))
    (found,) = silent([row], [cause, follower], Places(gone.parts))
    assert found.follows == ("Blade 1: can't be seen",)
    assert ranked([cause, follower], {}) == ()


# --- shelves ---


def test_power_shelves_are_not_counted_as_sleds() -> None:

    shelf = Invented(Registered("ps", "https://ps.invalid", Location(rack="R1", offset=0)))
    top = shelf.add("Chassis/Shelf", Kind.ENCLOSURE, "Power shelf", None, location=Location(rack="R1", offset=0))
    shelf.add("Chassis/Shelf/PowerSupplies/1", Kind.POWER_SUPPLY, "Supply 1", top)
    made = sled("a", Location(rack="R1", offset=2))
    drawn = floor([front_row("ps", shelf.parts), front_row("a", made.parts)], {})
    assert {each.controller: each.holds for each in drawn.sleds} == {"ps": "power shelf", "a": "sled"}
    rack = RackCount("", "", "R1", 1, 0, 0, 1, 0, 0, Health.OK, 0, 0, 0, 0, Health.OK, 1)
    said = words(parse(racks_head([rack], opened([rack]))))
    assert "1 sled:" in said
    assert "; 1 power shelf" in said


# --- margins ---


def margin(part: str, kind: MarginKind, left: float, unit: str = "Cel", **more: object) -> Margin:
    made = {"controller": "c", "part": part, "kind": kind, "time": NOW, "unit": unit, **more}
    return Margin(value=80.0 - left, limit=80.0, left=left, **made)  # type: ignore[arg-type]


def test_margins_tell_kelvin_for_heat_watts_for_power_and_what_is_over() -> None:
    assert left_words(margin("p", MarginKind.HEAT, 12.44)) == "12.4 K left"
    assert left_words(margin("p", MarginKind.POWER, -35.2, "W")) == "35 W over"


def test_margins_of_kinds_that_cannot_be_compared_take_turns(source: Source) -> None:
    facts = source.sled(SEIZED)
    assert facts is not None
    found = lefts(facts.margins, facts.places)
    assert [each.margin.kind for each in least_of_each(found)][:3] == [
        MarginKind.HEAT,
        MarginKind.AIR,
        MarginKind.POWER,
    ]
    place = lefts([margin("Quellmark / A / R09", MarginKind.POWER, 5.0, "W", controller=None)], facts.places)
    assert place[0].rack == "Quellmark / A / R09"


def test_who_stood_where_a_part_stands_newest_first(source: Source) -> None:
    found = source.stays_at(FAN)
    tree = parse(join(*stay_lines(found, NOW, None)))
    lines = find(tree, data_stay="")
    assert [line.get("data-stay") for line in lines] == ["F2", "F1"]
    assert "there now" in words(lines[0])
    assert "swapped" in words(lines[1])
    assert stay_lines((), NOW, None) == []


# --- drawings ---


@pytest.mark.parametrize(("probability", "share"), [(0.0, 0.0), (0.25, 0.25), (1.0, 1.0), (7.0, 1.0), (-1.0, 0.0)])
def test_a_chance_fills_its_share_of_the_bar(probability: float, share: float) -> None:
    _, _, width, height = rect(parse(chance(probability)), "filled")
    assert width == pytest.approx(share * (WIDE - 1), abs=0.01)
    assert height == HIGH - 2


def test_a_reserve_lies_left_of_the_limit_and_what_is_over_right_of_it() -> None:
    left = rect(parse(reserve(0.5)), "filled")
    over = rect(parse(reserve(-0.5)), "over")
    assert left[0] + left[2] == pytest.approx(WIDE / 2, abs=0.01)
    assert over[0] == pytest.approx(WIDE / 2, abs=0.01)
    assert left[2] == pytest.approx(over[2])


def test_urgency_is_told_by_strokes_and_word() -> None:
    for urgency, strokes in ((Urgency.NOW, 3), (Urgency.TODAY, 2), (Urgency.NEXT_VISIT, 1)):
        tree = parse(urgency_words(urgency))
        assert sum(1 for each in tree.iter() if each.get("class") == "stroke") == strokes
        assert words(tree) == urgency.value


def drawn_rack() -> tuple[Rack, Sled, Front]:
    bay = Bay(7.0, 4 * 44.45, 436.0, 86.0)
    here = Sled("c", "Sled 2", "R1 / U5", bay, Standing())
    below = Sled("d", "Sled 1", "R1 / U3", Bay(7.0, 2 * 44.45, 436.0, 86.0), Standing())
    blades = tuple(
        Blade(f"c:{n}", f"Blade {n + 1}", Bay(218.0 * (n % 2), 43.0 * (n // 2), 218.0, 43.0), Standing())
        for n in range(4)
    )
    return Rack("R1", "S / A", 44.45, 10, True, (below, here)), here, Front("c:s", "Sled 2", 436.0, 86.0, blades)


def test_the_place_is_marked_at_its_height_and_slot() -> None:
    rack, here, front = drawn_rack()
    markup = spot(rack, here, front, "c:3")
    assert markup is not None
    tree = parse(markup)
    in_rack, in_front = find(tree, data_here="true")
    scale = SPOT_HIGH / (10 * 44.45)
    assert float(in_rack.get("height", "0")) == pytest.approx(86.0 * scale, abs=0.02)
    foot = float(in_rack.get("y", "0")) + float(in_rack.get("height", "0"))
    assert foot == pytest.approx(6.0 + SPOT_HIGH - 4 * 44.45 * scale, abs=0.02)
    assert one(tree, data_slot_of="c:3")[0] is in_front
    assert float(in_front.get("width", "0")) == pytest.approx(218.0 * FRONT_WIDE / 436.0 - 3, abs=0.02)
    assert "U5" in words(tree)
    assert "Blade 4" in words(tree)


def test_a_part_of_the_whole_sled_marks_the_whole_front() -> None:
    rack, here, front = drawn_rack()
    markup = spot(rack, here, front, None)
    assert markup is not None
    marked = find(parse(markup), data_here="true")
    assert ["spot-whole" in each.get("class", "") for each in marked] == [False, True]
    assert spot(None, None, None, None) is None
    assert spot(None, None, front, "c:0") is not None


def test_the_stored_answers_are_those_that_were_written(source: Source, filled: tuple[Path, float]) -> None:
    assert [each.id for each in source.orders()] == [FAN_ORDER, DRIVE_ORDER]
    tasks = source.glance.rounds(Chosen()).wrong.tasks
    assert {task.part: task.ordered for task in tasks}[FAN]
    assert not next(task for task in tasks if task.part != FAN).ordered
