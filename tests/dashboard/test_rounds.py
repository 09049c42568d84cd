"""The opening page: what folds and what stands open, the filter in its address, what changed since the last look."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from collector.model import Event, Health, Kind, Part
from collector.model.parts import Identity
from collector.store.overview import Chosen, HoldingRow, RackCount
from dashboard.kept import Kept, Shelf
from dashboard.panels.floor import lanes, rack_words, racks_head
from dashboard.panels.rounds import beginning
from dashboard.queries import Source
from dashboard.serve import APP
from dashboard.views import filters
from dashboard.views.floor import DRAWN, opened
from dashboard.views.places import Places
from dashboard.views.since import AWAY, FIRST, LINES, PART_SUBJECTS, Raw, changes, look
from tests.dashboard.crowd import A_RACK, RACKS, SILENT, WRONG, crowd
from tests.dashboard.invented import DRIVE, FAN, FAN_ORDER, GONE, SEIZED, condition, fleet
from tests.dashboard.kept import fill
from tests.dashboard.reading import find, one, parse, words
from tests.dashboard.test_pages import visit, whole

NOW = 1_900_000_000.0


def rack(name: str, worst: Health = Health.OK, line: str = "1", **more: int) -> RackCount:
    critical, warning = int(worst is Health.CRITICAL), int(worst is Health.WARNING)
    told = {"at_risk": 0, "exposed": 0, "silent": 0, "waiting": 0, **more}
    return RackCount(
        "S",
        line,
        name,
        16,
        critical,
        warning,
        16 - critical - warning,
        0,
        0,
        worst,
        **told,
        least=Health.OK,  # type: ignore[arg-type]
    )


# --- folding ---


def test_a_small_floor_is_drawn_whole_and_nothing_folds() -> None:
    racks = [rack(f"R{n}") for n in range(DRAWN, 0, -1)]
    found = opened(racks)
    assert found.whole
    assert [each.rack for each in found.racks] == [f"R{n}" for n in range(1, DRAWN + 1)]
    assert lanes(racks, found, Chosen()) == []


def test_of_a_large_floor_the_racks_in_trouble_stand_open_the_worst_at_most() -> None:
    quiet = [rack(f"R{n}") for n in range(1, 40)]
    warm = [rack(f"W{n}", Health.WARNING) for n in range(12)]
    bad, silent, exposed = rack("B", Health.CRITICAL), rack("G", silent=1), rack("E", at_risk=4, exposed=1)
    found = opened([*quiet, silent, exposed, bad])
    assert not found.whole
    assert [each.rack for each in found.racks] == ["B", "E", "G"]
    crowded = opened([*quiet, *warm, silent, bad])
    assert len(crowded.racks) == DRAWN
    assert "B" in {each.rack for each in crowded.racks}
    assert "G" not in {each.rack for each in crowded.racks}


def test_rows_fold_to_a_cell_a_rack_which_says_what_stands_there_and_leads_to_it() -> None:
    racks = [rack(f"R{n}") for n in range(1, 12)] + [rack("R12", Health.CRITICAL, "2", at_risk=4)]
    first, second = (parse(piece) for piece in lanes(racks, opened(racks), Chosen(kind="fan")))
    cells = find(first, data_cell="")
    assert [each.get("data-cell") for each in cells] == ["OK"] * 11
    assert cells[1].get("aria-label") == "Rack R2: 16 sleds: 16 OK"
    assert cells[1].get("href") == "./?site=S&row=1&rack=R2&kind=fan"
    assert one(first, data_lane="S, row 1").tag == "details", "a row without trouble is folded"
    assert one(second, data_lane="S, row 2").tag == "section"
    assert "not well: R12" in words(second)
    assert one(second, data_cell="Critical").get("class") == "cell is-critical drawn"
    assert find(second, data_risk="true")


def test_a_rack_that_is_not_all_heard_is_never_shown_as_ok() -> None:
    half = rack("R1", silent=1)._replace(least=Health.UNKNOWN, unknown=1, ok=15)
    racks = [half, *(rack(f"R{n}") for n in range(2, 12))]
    (piece,) = lanes(racks, opened(racks), Chosen())
    assert find(parse(piece), data_cell="unknown")[0].get("aria-label") == (
        "Rack R1: 16 sleds: 15 OK, 1 unknown; 1 not answering"
    )


def test_counts_tell_sleds_from_power_shelves() -> None:
    racks = [rack("R1", Health.WARNING)._replace(shelves=2, others=1)]
    said = words(parse(racks_head(racks, opened(racks))))
    assert "16 sleds: 1 Warning, 15 OK; 2 power shelves; 1 other thing" in said
    assert rack_words(racks[0]) == "16 sleds: 1 Warning, 15 OK"


# --- the filter ---


def test_the_filter_is_read_from_the_address_and_written_back() -> None:
    chosen = filters.asked({"rack": " R01 ", "kind": "drive", "page": "x", "text": "a" * 500})
    assert (chosen.rack, chosen.kind, len(chosen.text)) == ("R01", "drive", 120)
    assert filters.asked({"rack": "R01"}) == Chosen(rack="R01")
    assert filters.link(Chosen(rack="R 1", severity="Critical")) == "./?rack=R+1&severity=Critical"
    assert filters.link(Chosen(rack="R1"), rack="") == "./"
    assert not filters.narrow(filters.asked({"sled": "x"}))


def test_a_part_fits_when_all_that_is_chosen_of_it_is_so() -> None:
    part = Part(
        id="c:/d", controller="c", uri="/d", kind=Kind.DRIVE, name="d", identity=Identity(model="M", firmware=" 2 ")
    )
    assert filters.fits_part(Chosen(), None)
    assert filters.fits_part(Chosen(kind="drive", model="M", firmware="2"), part)
    assert not filters.fits_part(Chosen(kind="drive", model="N"), part)
    assert not filters.fits_part(Chosen(kind="fan"), None)


def test_what_can_be_chosen_is_what_there_is() -> None:
    found = {
        each.field: dict(each.ways)
        for each in filters.ways([rack("R2"), rack("R10", Health.WARNING)], [HoldingRow("fan", "", "F-1", "", 7)])
    }
    assert list(found["rack"]) == ["R2", "R10"]
    assert found["kind"] == {"fan": 7}
    assert found["part_number"] == {"F-1": 7}
    assert found["model"] == {}
    assert found["severity"] == {"Warning": 1, "OK": 31}


@pytest.mark.parametrize(
    ("query", "sleds", "tasks", "silent"),
    [
        ({"rack": "R02"}, 3, 1, 1),
        ({"severity": "Critical"}, 2, 2, 0),
        ({"kind": "drive"}, 4, 1, 0),
        ({"kind": "fan", "rack": "R01"}, 4, 1, 0),
        ({"text": "has lost"}, 1, 1, 0),
        ({"text": "rpm is below"}, 1, 1, 0),
        ({"state": "not answering"}, 1, 0, 1),
        ({"model": "TG-U3840", "severity": "Warning"}, 1, 1, 0),
        ({"site": "nowhere"}, 0, 0, 0),
    ],
)
def test_the_address_narrows_racks_and_lists_alike(
    query: dict[str, str],
    sleds: int,
    tasks: int,
    silent: int,
    filled: tuple[Path, float],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    page = whole(visit(filled[0], monkeypatch, **query))
    assert len(find(page, data_sled="")) == sleds
    assert len(find(page, data_task="")) == tasks
    assert len(find(page, data_silent="")) == silent
    assert [each.get("data-taken") for each in find(page, data_taken="")] == [
        name for name in filters.FIELDS if name in query
    ]


def test_orders_are_narrowed_too(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, rack="R01"))
    assert [each.get("data-order") for each in find(page, data_order="")] == [FAN_ORDER]
    none = whole(visit(filled[0], monkeypatch, row="B"))
    assert "No work order is open" in words(one(none, data_block="hands-first"))


def test_words_typed_and_lists_chosen_go_into_the_address(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.argv", ["app.py", "--state", str(filled[0])])
    app = AppTest.from_file(str(APP), default_timeout=30)
    app.run()
    app.text_input[0].set_value("  r01-s2 ").run()
    assert app.query_params["text"] == "r01-s2"
    boxes = {each.label: each for each in app.selectbox}
    assert set(boxes) >= {"Site", "Row", "Rack", "Holds a", "Part number", "Firmware", "Health", "State"}
    boxes["Health"].set_value("Critical").run()
    assert app.query_params["severity"] == "Critical"
    assert not app.exception
    app.text_input[0].set_value("").run()
    assert "text" not in app.query_params


@pytest.mark.parametrize("value", ["<script>alert(1)</script>", "\u202egnp", "'; DROP TABLE fronts; --", "x" * 5000])
def test_a_hostile_address_is_shown_as_text(
    value: str, filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in filters.FIELDS:
        page = whole(visit(filled[0], monkeypatch, **{name: value}))
        assert find(page, data_sled="") == []
        assert "\u202e" not in words(page)
        assert "script" not in {each.tag for each in page.iter()}


# --- a floor of many racks ---


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    state, now = tmp_path_factory.mktemp("crowd"), time.time()
    asyncio.run(fill(state, crowd(now), now))
    return state


def test_a_large_floor_folds_and_opens_where_there_is_trouble(crowded: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(crowded, monkeypatch))
    assert len(find(page, data_cell="")) == RACKS
    assert [each.get("data-rack") for each in find(page, data_rack="")] == ["R04", "R08", "R10"]
    assert len(find(page, data_sled="")) == 3 * A_RACK
    assert {each.get("data-controller") for each in find(page, data_task="")} == set(WRONG)
    assert [each.get("data-silent") for each in find(page, data_silent="")] == [SILENT]
    assert "10 racks, 160 sleds: 2 Critical, 157 OK, 1 unknown; 8 blades at risk" in words(page)


def test_a_rack_that_is_asked_for_stands_open_alone(crowded: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(crowded, monkeypatch, rack="R02"))
    assert [each.get("data-rack") for each in find(page, data_rack="")] == ["R02"]
    assert find(page, data_cell="") == []
    assert find(page, data_task="") == []


def test_the_sled_page_offers_some_sleds_and_the_way_to_the_rest(
    crowded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(crowded, monkeypatch, sled="nope"))
    links = find(one(page, data_block="choices"), href="")
    assert {each.text for each in links[:2]} == set(WRONG)
    assert "And 100 more" in words(one(page, data_block="choices"))


# --- since the last look ---


def test_a_first_look_tells_of_the_last_day() -> None:
    for nonsense in ("", "x", "1.2.3", "-5.7", "1e9.2e9", f"{int(NOW)}.{int(NOW) - 5}", f"5.{10**15}", "١.٢"):
        assert look(nonsense, NOW) == look("", NOW)
    assert look("", NOW).since == NOW - FIRST
    assert not look("", NOW).again


def test_a_visit_goes_on_while_looks_follow_each_other_and_ends_with_a_pause() -> None:
    first = look("", NOW)
    going = look(first.kept(NOW), NOW + 30)
    assert (going.since, going.again) == (float(int(first.since)), True)
    after = look(going.kept(NOW + 30), NOW + 31 + AWAY)
    assert after.since == NOW + 30
    assert look(after.kept(NOW + 40 + AWAY), NOW + 50 + AWAY).since == NOW + 30


def test_changes_are_counted_and_the_newest_told_one_by_one() -> None:
    made = fleet(NOW)[0]
    fan = made.part("Chassis/Sled/ThermalSubsystem/Fans/1")
    open_ = [condition(made, fan, Health.WARNING, "slow", NOW - at) for at in range(20)]
    swap = Event(
        time=NOW + 1, controller=made.name, part=fan, subject=PART_SUBJECTS[0], severity=Health.OK, text="was swapped"
    )
    found = changes(Raw(tuple(open_), (), (), (), (swap,)), Places(made.parts))
    assert found.told == ("20 conditions opened", "1 part swapped")
    assert len(found.lines) == LINES
    assert found.more == 21 - LINES
    assert (found.lines[0].what, found.lines[0].text) == ("part swapped", "Fan 1: was swapped")
    assert [line.time for line in found.lines] == sorted((line.time for line in found.lines), reverse=True)


def test_the_page_tells_what_changed_about_what_is_chosen(source: Source, filled: tuple[Path, float]) -> None:
    since = filled[1] - 86400
    everything, narrowed = source.glance.changes(since, Chosen()), source.glance.changes(since, Chosen(rack="R01"))
    assert everything.number > narrowed.number > 0
    assert {line.controller for line in narrowed.lines} == {SEIZED}
    assert source.glance.changes(filled[1] + 10, Chosen()).told == ()


def test_the_first_walk_tells_how_far_it_is(source: Source) -> None:
    totals = source.glance.rounds(Chosen()).totals
    assert "11 of 12 controllers" in words(parse(beginning(totals) or ""))
    assert beginning(totals._replace(waiting=0)) is None
    assert "The fleet has no controller." in words(parse(beginning(totals._replace(controllers=0)) or ""))


def test_what_orders_mend_is_folded_under_what_is_wrong(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = one(whole(visit(filled[0], monkeypatch)), data_block="found-wrong")
    folded = [each for each in wrong.iter() if each.get("id") == "folded-that the orders above mend"]
    assert {each.get("data-task") for each in find(folded[0], data_task="")} == {FAN}
    assert {each.get("data-task") for each in find(wrong, data_task="")} > {FAN, DRIVE}
    assert GONE not in words(wrong)


# --- keeping ---


def test_what_has_not_changed_is_not_read_again() -> None:
    clock, reads, number = [0.0], [0], [1]

    def read() -> int:
        reads[0] += 1
        return reads[0]

    kept = Kept(read, 1.0, lambda: clock[0], stamp=lambda: number[0])
    assert kept.get() == 1
    clock[0] = 5.0
    assert kept.get() == 1
    number[0], clock[0] = 2, 5.5
    assert kept.get() == 1, "asked for no more often than once a second"
    clock[0] = 7.0
    assert kept.get() == 2


def test_a_shelf_lets_go_of_what_was_not_asked_for_longest() -> None:
    reads: list[str] = []

    def read(key: str) -> str:
        reads.append(key)
        return key.upper()

    shelf = Shelf(read, 1000.0, 2)
    assert [shelf.get(key) for key in ("a", "b", "a", "c", "a", "b")] == ["A", "B", "A", "C", "A", "B"]
    assert reads == ["a", "b", "c", "b"]
