"""The pages' logic, run by Streamlit's own test driver; what they show is read back from the markup they send."""

from __future__ import annotations

import asyncio
import json
import sqlite3
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest
from streamlit.testing.v1 import AppTest

from collector.store.schema import DATABASE
from dashboard.drawings.ink import sled_link
from dashboard.mount import SCRIPT
from dashboard.panels.orders import orders_link
from dashboard.serve import APP, command, environment
from tests.dashboard.invented import DRIVE_ORDER, FAN, FAN_ORDER, GONE, SEIZED, UNPOWERED, fleet
from tests.dashboard.kept import collected, fill
from tests.dashboard.reading import find, one, words

XHTML = "{http://www.w3.org/1999/xhtml}"


def visit(state: Path, monkeypatch: pytest.MonkeyPatch, /, **query: str) -> dict[str, ElementTree.Element]:
    """The page's pieces by key, parsed; ``sled`` in the query means the sled page."""
    monkeypatch.setattr("sys.argv", ["app.py", "--state", str(state)])
    app = AppTest.from_file(str(APP), default_timeout=30)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    assert not app.exception
    return {
        each.key: ElementTree.fromstring(json.loads(each.proto.json)["body"])  # type: ignore[attr-defined]
        for each in app.main
        if getattr(each, "key", None) and getattr(each.proto, "component_name", "").startswith("sledkeeper")  # type: ignore[attr-defined]
    }


def whole(pieces: dict[str, ElementTree.Element]) -> ElementTree.Element:
    together = ElementTree.Element("page")
    together.extend(pieces.values())
    return together


def test_rounds_tells_what_needs_hands_where_and_who_is_silent(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch))
    line = one(page, data_task=FAN)
    assert line.get("data-health") == "Critical"
    assert one(line, href="./?sled=r01-s2") is not None
    assert "Quellmark / A / R01 / U5 / E1 / Sled 2" in words(line)
    assert one(page, data_silent=GONE).get("data-outcome") == "timed out"
    assert one(page, data_sled=SEIZED).get("data-part-health") == "Critical"
    assert len(find(page, data_sled="")) == 12
    assert "10 of 12 controllers answering" in words(page)


def test_a_stopped_collector_is_said_on_every_page(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    for query in ({}, {"sled": SEIZED}):
        notice = one(whole(visit(filled[0], monkeypatch, **query)), data_notice="collector-stopped")
        assert "The collector is not running: it was stopped" in words(notice)
        assert f"sledkeeper collect --config FLEET.toml --state {filled[0]}" in words(notice)


def test_a_running_collector_needs_no_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time()
    with collected(tmp_path, fleet(now), now):
        page = whole(visit(tmp_path, monkeypatch))
    assert [each.get("data-notice") for each in find(page, data_notice="")] == ["first-walk"]
    assert "11 of 12 controllers had their first walk; 1 still wait" in words(one(page, data_notice="first-walk"))


def test_a_vanished_collector_is_told_from_a_stopped_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time() - 100
    asyncio.run(fill(tmp_path, fleet(now), now))
    with sqlite3.connect(tmp_path / DATABASE) as connection:
        connection.execute("UPDATE collector SET stopped = NULL")
    connection.close()
    page = whole(visit(tmp_path, monkeypatch))
    assert "nothing has been heard of process" in words(one(page, data_notice="collector-gone"))


@pytest.mark.parametrize("query", [{}, {"sled": "r01-s1"}])
def test_without_a_state_directory_it_says_how_to_start(
    query: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notice = one(whole(visit(tmp_path / "none", monkeypatch, **query)), data_notice="nothing-yet")
    assert "Nothing has been collected here yet." in words(notice)
    assert "sledkeeper demo" in words(notice)


def test_a_state_that_cannot_be_read_is_said_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / DATABASE).write_bytes(b"not a database at all" * 100)
    notice = one(whole(visit(tmp_path, monkeypatch)), data_notice="unreadable")
    assert "What to do:" in words(notice)


def test_the_sled_page_shows_front_lamps_conditions_and_readings(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED))
    sled = one(one(page, data_block="lamps"), data_lamps_of="r01-s2:/redfish/v1/Chassis/Sled")
    assert "blue on, amber on" in words(sled)
    states = {lamp.get("data-lamp"): lamp.get("data-lamp-state") for lamp in find(sled, data_lamp="")}
    assert states == {"blue": "on", "amber": "on"}
    assert len(find(one(page, data_block="conditions"), data_condition="")) == 2
    assert "lower critical 1000 rpm" in words(one(page, data_block="conditions"))
    assert one(page, data_shared=FAN).get("data-health") == "Critical"
    assert len(find(one(page, data_block="readings"), data_reading="")) == 16
    assert one(page, data_history="/redfish/v1/Chassis/Sled/ThermalSubsystem/Fans/2|speed") is not None


def test_the_sled_page_leads_with_what_is_wrong_and_opens_the_part_in_question(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED))
    verdict = one(one(page, data_block="verdict"), data_verdict="Critical")
    assert verdict.get("data-verdict-part") == FAN
    assert one(verdict, href=orders_link(order=FAN_ORDER)) is not None
    held = one(page, data_part_head="")
    assert held.get("data-part-head") == FAN
    assert "data-reveal" not in held.attrib
    cut = one(page, data_block="cutaway")
    assert one(cut, data_part=FAN).get("aria-current") == "true"
    assert len(find(cut, data_kind="fan")) == 4


def test_the_sled_page_speaks_the_viewers_units(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    key = "/redfish/v1/Chassis/Sled|inlet air"
    sled = f"{SEIZED}:/redfish/v1/Chassis/Sled"
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED, place=sled, sensor=key, view="F.cfm"))
    told = words(one(page, data_part_panel=sled))
    assert "upper caution 95.0 °F" in told  # 35 Cel: NIST SP 811, B.8
    assert "temperature in °F" in told
    assert "°C" not in told


def test_a_sled_in_order_says_so_and_opens_its_case(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled="r01-s1"))
    assert "Nothing is wrong here" in words(one(page, data_verdict="OK"))
    assert one(page, data_part_panel="").get("data-part-panel") == "r01-s1:/redfish/v1/Chassis/Sled"


def test_the_address_chooses_the_layer_that_is_cut_open(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    def cut(**query: str) -> list[str | None]:
        page = whole(visit(filled[0], monkeypatch, sled="r03-s1", **query))
        return [each.get("data-tray") for each in find(page, data_tray="")]

    blade = "r03-s1:/redfish/v1/Chassis/Blade{}"
    assert cut() == [blade.format(1), blade.format(2)]
    assert cut(layer="1") == [blade.format(3), blade.format(4)]
    assert cut(layer="9") == cut(layer="-1") == cut()
    assert cut(place="r03-s1:/redfish/v1/Systems/3/Processors/1") == [blade.format(3), blade.format(4)]


def test_a_blinking_lamp_blinks_on_the_page(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, sled="r02-s1"))
    line = one(page, data_lamps_of="r02-s1:/redfish/v1/Chassis/Sled")
    assert "blue on, amber blinking" in words(line)
    assert "locate on, IndicatorLED Blinking" in words(line)
    assert one(line, data_lamp="amber").get("data-lamp-state") == "blink"


def test_a_silent_sled_says_so_and_shows_what_it_told_last(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=GONE))
    assert "timed out" in words(one(page, data_notice="silent"))
    assert one(page, data_whole="").get("data-whole") == "unknown"
    assert find(page, data_reading="")


def test_a_sled_that_was_never_asked_says_so(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, sled="r03-s4"))
    assert one(page, data_notice="not-asked") is not None
    assert "The controller has told of no part yet." in words(page)


@pytest.mark.parametrize("name", ["nope", "<script>alert(1)</script>"])
def test_an_unknown_sled_says_so_and_offers_the_others(
    name: str, filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=name))
    assert f"No controller is called {name} ." in words(one(page, data_notice="unknown-sled"))
    assert len(find(one(page, data_block="choices"), href="")) == 12


def test_the_address_chooses_the_sensor_and_how_far_back(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    key = "/redfish/v1/Chassis/Sled|power"
    sled = "r01-s2:/redfish/v1/Chassis/Sled"
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED, place=sled, sensor=key, span="15 min"))
    drawn = one(page, data_history=key)
    assert one(drawn, data_pick="span=15 min").get("aria-pressed") == "true"
    assert int(one(drawn, data_samples="").get("data-samples", "0")) <= 31
    folded = whole(visit(filled[0], monkeypatch, sled=SEIZED, sensor="none"))
    assert find(folded, data_history="") == []


def test_nothing_of_a_page_is_outside_what_the_script_keeps(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The patching script drops elements and attributes that are not on its list: none of ours may be."""
    tags = set("".join(SCRIPT[SCRIPT.index("TAGS") : SCRIPT.index("const NAMES")].split('"')[1::2]).split())
    names = set("".join(SCRIPT[SCRIPT.index("const NAMES") : SCRIPT.index("const HERE")].split('"')[1::2]).split())
    pages = [{"page": "orders"}, {"page": "orders", "sheets": "all"}, {"page": "margins"}, {"page": "controllers"}]
    pages += [
        {"page": "lamps"},
        {"page": "lamps", "at": SEIZED, "part": f"{SEIZED}:/redfish/v1/Chassis/Sled", "blue": "on"},
    ]
    pages += [{"page": "lamps", "should": "off,on"}]
    sleds = [{"sled": SEIZED, "place": FAN}, {"sled": "r02-s1"}, {"sled": "nope"}]
    for query in ({}, *sleds, *pages):
        for element in whole(visit(filled[0], monkeypatch, **query)):
            for each in element.iter():
                assert each.tag.partition("}")[2] in tags
                for name in each.attrib:
                    assert name in names or name.startswith(("data-", "aria-")), name


def test_the_server_is_told_to_keep_to_itself(tmp_path: Path) -> None:
    argv = command(tmp_path, 8460)
    assert argv[1 : argv.index("--")] == ["-m", "dashboard.start", "--state", str(tmp_path)]
    for option in (
        "--browser.gatherUsageStats=false",
        "--server.headless=true",
        "--server.showEmailPrompt=false",
        "--server.fileWatcherType=none",
        "--client.toolbarMode=minimal",
        "--server.address=127.0.0.1",
        "--server.port=8460",
    ):
        assert option in argv
    assert environment()["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] == "false"


def test_rounds_leads_with_the_open_orders_most_urgent_first(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch))
    lines = find(one(page, data_block="hands-first"), data_order="")
    assert [line.get("data-urgency") for line in lines] == ["now", "next visit"]
    assert "Quellmark / A / R01 / U5 / E1 / Sled 2" in words(lines[0])
    assert one(lines[0], href=orders_link(order=FAN_ORDER)) is not None
    assert "Ordered above." in words(one(page, data_task=FAN))


def test_the_address_narrows_the_work_orders_and_opens_one(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    def listed(**query: str) -> list[str]:
        page = whole(visit(filled[0], monkeypatch, page="orders", **query))
        return [each.get("data-order", "") for each in find(page, data_order="")]

    assert listed() == [FAN_ORDER, DRIVE_ORDER]
    assert listed(urgency="next visit") == [DRIVE_ORDER]
    assert listed(rack="Quellmark / A / R01") == [FAN_ORDER]
    assert listed(rack="Quellmark / A / R01", urgency="today") == []
    page = whole(visit(filled[0], monkeypatch, page="orders", order=DRIVE_ORDER))
    drawing = one(one(page, data_sheet=DRIVE_ORDER), data_spot="r02-s1")
    marked = one(drawing, data_slot_of="r02-s1:/redfish/v1/Chassis/Blade1")
    assert len(find(marked, data_here="true")) == 1
    assert len(find(drawing, data_here="true")) == 2
    sheets = whole(visit(filled[0], monkeypatch, page="orders", sheets="all"))
    assert [each.get("data-sheet") for each in find(sheets, data_sheet="")] == [FAN_ORDER, DRIVE_ORDER]


def test_an_order_that_is_not_open_is_said(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, page="orders", order="<script>"))
    assert "No open work order is called <script> ." in words(one(page, data_notice="unknown-order"))


def test_the_sled_page_tells_suspects_margins_and_who_stood_there(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED, place=FAN))
    assert len(find(one(page, data_block="suspects"), data_suspect="")) == 3
    held = one(page, data_part_panel=FAN)
    assert one(page, data_part_order=FAN_ORDER) is not None
    assert [each.get("data-suspect") for each in find(held, data_suspect="")] == [FAN]
    assert len(find(one(page, data_block="margins"), data_margin="")) == 3
    assert [each.get("data-stay") for each in find(one(page, data_place=FAN), data_stay="")] == ["F2", "F1"]
    foreign = whole(visit(filled[0], monkeypatch, sled="r01-s1", place=FAN))
    assert find(foreign, data_part_panel=FAN) == []
    assert find(foreign, data_block="suspects") == []


def test_the_lamp_reader_goes_from_rack_to_sled_to_front_to_meaning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = time.time()
    with collected(tmp_path, fleet(now), now):

        def read(**query: str) -> ElementTree.Element:
            return whole(visit(tmp_path, monkeypatch, page="lamps", **query))

        racks = find(one(read(), data_block="choose-rack"), data_pick="")
        rack = next(each for each in racks if "R03" in words(each)).get("data-pick", "").partition("=")[2]
        sleds = find(one(read(rack=rack), data_block="choose-sled"), data_pick="")
        assert [each.get("data-pick") for each in sleds] == ["at=r03-s4", "at=r03-s3", "at=r03-s2", "at=r03-s1"]
        fronts = find(one(read(at="r03-s1"), data_block="choose-front"), aria_pressed="")
        assert len(fronts) == 5
        seen = {"at": "r03-s1", "part": UNPOWERED, "blue": "on"}
        assert find(read(**seen), data_block="answer") == []
        differs = read(**seen, amber="off")
        assert words(one(differs, data_means="true")) == "On, and all is well."
        assert one(differs, data_against="").get("data-against") == "differs"
        agrees = read(at="r03-s1", part=UNPOWERED, blue="off", amber="on")
        assert one(agrees, data_against="").get("data-against") == "agrees"
        silent = read(at=GONE, part=f"{GONE}:/redfish/v1/Chassis/Blade1", blue="off", amber="on")
        assert "does not answer now" in words(one(silent, data_against="open"))
        order = read(at=SEIZED, part=f"{SEIZED}:/redfish/v1/Chassis/Sled", blue="on", amber="on")
        assert one(order, data_order_here=FAN_ORDER) is not None


def test_the_lamp_reader_finds_fronts_by_what_they_should_show(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, page="lamps", should="off,on"))
    assert one(page, data_found="").get("data-found") == "1"
    assert one(page, href=sled_link("r03-s1", place=UNPOWERED)) is not None
    assert "No front should show blue off, amber blinking." in words(
        whole(visit(filled[0], monkeypatch, page="lamps", should="off,blink"))
    )
    nonsense = whole(visit(filled[0], monkeypatch, page="lamps", should="x,<b>", at="nope", rack="nowhere"))
    assert find(nonsense, data_found="") == []
    assert "No controller is called nope ." in words(nonsense)


def test_the_address_chooses_what_margins_are_of_and_where(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    def listed(**query: str) -> list[tuple[str | None, str | None]]:
        page = whole(visit(filled[0], monkeypatch, page="margins", **query))
        return [(each.get("data-rack-left"), each.get("data-left")) for each in find(page, data_rack_left="")]

    assert listed() == [("Quellmark / A / R01", "2.5 K over"), ("Quellmark / A / R02", "20.0 K left")]
    assert listed(view="F") == [("Quellmark / A / R01", "4.5 °F over"), ("Quellmark / A / R02", "36.0 °F left")]
    assert [rack for rack, _ in listed(kind="power")] == ["Quellmark / A / R01"]
    assert listed(kind="redundancy") == []
    page = whole(visit(filled[0], monkeypatch, page="margins", rack="Quellmark / A / R02"))
    assert [each.get("data-sled-left") for each in find(page, data_sled_left="")] == ["r02-s1"]
    assert one(page, data_enclosure_left="E1") is not None
    page = whole(visit(filled[0], monkeypatch, page="margins", rack="nowhere"))
    assert "No part tells a temperature with a limit" in words(one(page, data_block="sleds-left"))


def test_what_follows_from_the_readings_stands_on_the_pages(
    filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = whole(visit(filled[0], monkeypatch, sled=SEIZED, place=FAN, view="cfm"))
    block = one(page, data_block="worked")
    rise, flow = find(block, data_figure="air rise")[0], find(block, data_figure="air flow")[0]
    assert "14.2 K" in words(rise)
    assert "13.2 to 15.2 K" in words(rise)
    assert "111.0 CFM" in words(flow), "0.0524 m3/s over 4.719474e-4"
    effort = one(one(page, data_part_panel=FAN), data_part_block="worked")
    assert "1.12 times" in words(effort)
    assert find(whole(visit(filled[0], monkeypatch, sled="r02-s1")), data_block="worked") == []
    racks = whole(visit(filled[0], monkeypatch, page="margins"))
    drew = one(racks, data_rack_drew="Quellmark / A / R01")
    assert "7,340 W" in words(drew)
    assert "100 kWh" in words(drew), "3.6e8 J"
    other = whole(visit(filled[0], monkeypatch, page="margins", rack="Quellmark / A / R02"))
    assert find(other, data_rack_drew="") == []


def test_the_address_narrows_the_controllers(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    def listed(**query: str) -> list[str | None]:
        page = whole(visit(filled[0], monkeypatch, page="controllers", **query))
        return [each.get("data-controller") for each in find(one(page, data_block="controllers"), data_controller="")]

    assert len(listed()) == 12
    assert listed()[0] == GONE
    assert listed(outcome="timed out") == [GONE]
    assert listed(need="defects") == ["r02-s3"]
    assert listed(outcome="malformed") == []


@pytest.mark.parametrize("name", ["orders", "margins", "parts", "controllers"])
def test_every_page_says_when_there_is_no_state(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(tmp_path / "none", monkeypatch, page=name))
    assert "Nothing has been collected here yet." in words(one(page, data_notice="nothing-yet"))
