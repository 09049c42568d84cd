"""What people ask for from the pages: the request that comes of it, and what they see where it can't be asked for."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from streamlit.testing.v1 import AppTest

from collector.model import Request, Verb
from collector.store.reader import Reader
from dashboard.people import Role, Viewer
from dashboard.serve import APP
from tests.dashboard.invented import FAN, FAN_ORDER, SEIZED, UNPOWERED, fleet
from tests.dashboard.kept import collected
from tests.dashboard.reading import find, words

WHO = "Tamsin Orrel"
BLADE = f"{SEIZED}:/redfish/v1/Chassis/Blade1"


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder, now = tmp_path_factory.mktemp("state"), time.time()
    with collected(folder, fleet(now), now):
        yield folder


@pytest.fixture
def page(state: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setattr("sys.argv", ["app.py", "--state", str(state)])
    # Who looks is told by the connection, which a test that drives the page has none of.
    monkeypatch.setattr("dashboard.pages.acting.viewer", lambda: Viewer(role=Role.OPERATOR))
    return AppTest.from_file(str(APP), default_timeout=60)


def come(to: AppTest, **query: str) -> AppTest:
    for name, value in query.items():
        to.query_params[name] = value
    return to.run()


def markup(page: AppTest) -> ElementTree.Element:
    """All that our own components show, in expanders and columns too."""
    together = ElementTree.Element("page")
    for each in page.get("bidi_component"):
        together.append(ElementTree.fromstring(json.loads(each.proto.json)["body"]))  # type: ignore[attr-defined]
    return together


def press(page: AppTest, words_: str) -> AppTest:
    button = next(each for each in page.button if each.label.startswith(words_))
    page = button.click().run()
    assert not page.exception
    return page


def newest(state: Path) -> Request:
    with Reader(state) as reader:
        return reader.asked.requests(limit=1)[0]


def typed(page: AppTest, label: str, value: str) -> None:
    for each in page.text_input:
        if each.label.startswith(label):
            each.set_value(value)


def test_a_lamp_is_asked_for_under_the_name_that_was_typed(page: AppTest, state: Path) -> None:
    page = come(page, sled=SEIZED, place=BLADE)
    typed(page, "Your name", WHO)
    page = press(page, "Light its lamp")
    request = newest(state)
    assert (request.verb, request.target, request.who) == (Verb.LOCATE, BLADE, WHO)
    assert request.arguments["on"] is True
    assert "Asked for" in words(find(markup(page), data_came="under way")[0])


def test_nobody_asks_without_a_name(page: AppTest, state: Path) -> None:
    with Reader(state) as reader:
        before = len(reader.asked.requests())
    page = press(come(page, sled=SEIZED, place=BLADE), "Light its lamp")
    assert "say who you are" in words(find(markup(page), data_came="not done")[0])
    with Reader(state) as reader:
        assert len(reader.asked.requests()) == before


def test_power_names_every_host_and_wants_the_label_typed(page: AppTest, state: Path) -> None:
    page = come(page, sled=SEIZED, place=BLADE)
    assert [each.get("data-goes-down") for each in find(markup(page), data_goes_down="")] == [
        f"{SEIZED}:/redfish/v1/Systems/1"
    ]
    typed(page, "Your name", WHO)
    typed(page, "Why", "it hangs")
    typed(page, "Type the label", "Blade 2")
    power = next(each for each in page.selectbox if each.label == "What")
    power.set_value("force off")
    page = press(page, "Do it")
    assert "type the label to make sure: Blade 1" in words(find(markup(page), data_came="not done")[0])
    typed(page, "Your name", WHO)
    typed(page, "Why", "it hangs")
    typed(page, "Type the label", "Blade 1")
    next(each for each in page.selectbox if each.label == "What").set_value("force off")
    press(page, "Do it")
    request = newest(state)
    assert (request.verb, request.target, request.arguments["how"]) == (Verb.POWER, BLADE, "force off")


def test_a_fan_has_no_power_form(page: AppTest) -> None:
    page = come(page, sled=SEIZED, place=FAN)
    assert find(markup(page), data_goes_down="") == []


def test_a_condition_is_acknowledged_or_shelved(page: AppTest, state: Path) -> None:
    page = come(page, sled=SEIZED, place=FAN)
    typed(page, "Your name", WHO)
    typed(page, "Why", "a new fan is on its way")
    press(page, "Do it")
    assert newest(state).verb == Verb.ACKNOWLEDGE
    next(each for each in page.selectbox if each.label == "What").set_value("shelve for 8 h")
    typed(page, "Why", "a new fan is on its way")
    press(page, "Do it")
    request = newest(state)
    assert request.verb == Verb.SHELVE
    assert isinstance(until := request.arguments["until"], float)
    assert 28_000 < until - time.time() < 29_000


def test_an_order_is_taken_and_finished_with_the_serial_of_what_was_put_in(page: AppTest, state: Path) -> None:
    page = come(page, page="orders", order=FAN_ORDER)
    typed(page, "Your name", WHO)
    page = press(page, "I take it")
    assert (newest(state).verb, newest(state).target) == (Verb.TAKE, FAN_ORDER)
    typed(page, "Your name", WHO)
    typed(page, "Serial number", "F3")
    press(page, "It is done")
    assert (newest(state).verb, newest(state).arguments) == (Verb.FINISH, {"serial": "F3"})


def test_what_a_front_shows_is_recorded(page: AppTest, state: Path) -> None:
    page = come(page, page="lamps", at="r03-s1", part=UNPOWERED, blue="on", amber="off")
    typed(page, "Your name", WHO)
    press(page, "Record what I see")
    request = newest(state)
    assert (request.verb, request.target) == (Verb.OBSERVE, UNPOWERED)
    assert request.arguments == {"blue": "on", "amber": "off"}


@pytest.mark.parametrize(
    ("query", "verbs"),
    [
        ({"sled": SEIZED, "place": BLADE}, ["locate", "power"]),
        ({"sled": SEIZED, "place": FAN}, ["locate", "acknowledge"]),
        ({"page": "orders", "order": FAN_ORDER}, ["take"]),
        ({"page": "lamps", "at": SEIZED, "part": BLADE, "blue": "on", "amber": "off"}, ["observe"]),
    ],
)
def test_a_viewer_sees_why_not_instead_of_a_form(
    query: dict[str, str], verbs: list[str], page: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    why = "without signing in, only who sits at the collector's own machine may act"
    monkeypatch.setattr("dashboard.pages.acting.viewer", lambda: Viewer(role=Role.VIEWER, why_not=why))
    page = come(page, **query)
    told = find(markup(page), data_why_not="")
    assert [each.get("data-why-not") for each in told] == verbs
    assert "only who sits at the collector's own machine may act" in words(told[0])
    assert not [each for each in page.button if each.label]


def test_who_signed_in_types_no_name(page: AppTest, state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.pages.acting.viewer", lambda: Viewer(role=Role.TECHNICIAN, name="Ansel Wirth"))
    page = come(page, sled=SEIZED, place=f"{SEIZED}:/redfish/v1/Chassis/Blade2")
    assert not [each for each in page.text_input if each.label == "Your name"]
    page = press(page, "Light its lamp")
    assert newest(state).who == "Ansel Wirth"
    assert "This takes the role operator" in words(find(markup(page), data_why_not="power")[0])
