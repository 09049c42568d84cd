"""The controllers page: the telemetry's own health, worst first, in words that a person can act on."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.model import Contact, ControllerState, Defect, DefectKind, EventsBy, Location, Login, Outcome
from dashboard.panels.controllers import MOST, table, unread
from dashboard.queries import Source
from dashboard.views.controllers import (
    Heard,
    Need,
    certificate_words,
    clock_words,
    cost,
    events_words,
    heard,
    narrowed,
    needs,
    outcomes,
    session_words,
)
from tests.dashboard.invented import fleet
from tests.dashboard.reading import find, one, parse, words
from tests.dashboard.test_pages import visit, whole

NOW = 1_800_000_000.0
DAY = 86_400.0


def state(name: str = "c1", **more: object) -> ControllerState:
    given: dict[str, object] = {
        "url": "https://192.0.2.1",
        "location": Location(rack="R1"),
        "insecure": False,
        "outcome": Outcome.OK,
        "error": "",
        "last_round": NOW - 3,
        "last_good": NOW - 3,
        "round_seconds": 0.5,
        "rounds": 100,
        "failed_rounds": 0,
        "late_rounds": 0,
        "requests": 9,
        "bytes_received": 17_000,
        "defects": 0,
    }
    return ControllerState(controller=name, **{**given, **more})  # type: ignore[arg-type]


def of(*states: ControllerState, interval: float | None = 30.0) -> tuple[Heard, ...]:
    return heard(states, lambda each: each.location, interval, NOW)


def test_controllers_that_do_not_answer_come_first(source: Source) -> None:
    places = source.places()
    store = source.controllers()
    found = heard(store, lambda each: places.controller_place(each.controller), 30.0, NOW)
    assert (found[0].outcome, found[-1].outcome) == ("timed out", "not asked yet")
    assert outcomes(found) == {"ok": 10, "timed out": 1, "not asked yet": 1}
    assert [each.state.controller for each in narrowed(found, need=Need.DEFECTS)] == ["r02-s3"]
    assert [each.state.controller for each in narrowed(found, "timed out")] == ["r02-s2"]
    assert [each.state.controller for each in narrowed(found, words="R01 sled 2")] == ["r01-s2"]
    told = cost(found)
    assert told is not None
    assert told.median == pytest.approx(0.4)
    assert told.requests == 90
    assert next(each for each in found if each.state.controller == "r01-s1").load == pytest.approx(0.4 / 30)
    assert cost(()) is None


@pytest.mark.parametrize(
    ("more", "need"),
    [
        ({"outcome": Outcome.TIMED_OUT}, Need.SILENT),
        ({"contact": Contact(refusals=2)}, Need.REFUSED),
        ({"contact": Contact(expires=NOW - 1)}, Need.EXPIRED),
        ({"contact": Contact(expires=NOW + 30 * DAY)}, Need.EXPIRES),
        ({"insecure": True}, Need.UNCHECKED),
        ({"contact": Contact(session_table_full=True)}, Need.FULL),
        ({"failed_rounds": 6}, Need.FAILING),
        ({"round_seconds": 24.1}, Need.SLOW),
        ({"contact": Contact(clock_offset=-61.0)}, Need.CLOCK),
        ({"defects": 1}, Need.DEFECTS),
    ],
)
def test_what_a_controller_needs(more: dict[str, object], need: Need) -> None:
    """Limits: ``check`` (30 days, as its README line says), the assessment (a clock off by a minute)."""
    assert [each.needs for each in of(state(**more))] == [(need,)]


def test_what_is_just_within_its_limits_needs_nothing() -> None:
    fine = Contact(expires=NOW + 31 * DAY, clock_offset=60.0, login=Login.SESSION, session_since=NOW - 60)
    assert of(state(contact=fine, failed_rounds=5, round_seconds=24.0))[0].needs == ()


def test_the_worst_need_comes_first_and_not_asked_ones_last() -> None:
    found = of(
        state("new", outcome=None, last_good=None, round_seconds=None, rounds=0),
        state("fine"),
        state("odd", defects=4),
        state("late", contact=Contact(expires=NOW - 5)),
        state("gone", outcome=Outcome.TIMED_OUT),
    )
    assert [each.state.controller for each in found] == ["gone", "late", "odd", "fine", "new"]
    assert needs(found) == {Need.SILENT: 1, Need.EXPIRED: 1, Need.DEFECTS: 1}


def test_contact_in_words() -> None:
    assert certificate_words(state(contact=Contact(fingerprint="sha256:aa", expires=NOW + 200 * DAY)), NOW) == (
        "ends in 200 d"
    )
    assert certificate_words(state(contact=Contact(expires=NOW - 3 * DAY), insecure=True), NOW) == (
        "ended 3 d ago, not checked"
    )
    assert certificate_words(state(url="http://c1", contact=Contact()), NOW) == "no TLS"
    assert clock_words(Contact(clock_offset=3600.0)) == "1 h ahead"
    assert clock_words(Contact(clock_offset=-1.5)) == "right"
    assert clock_words(None) == "tells no time"
    held = Contact(login=Login.SESSION, session_since=NOW - 7200, events=EventsBy.STREAM, events_since=NOW - 60)
    assert session_words(held, NOW) == "session for 2 h"
    assert events_words(held, NOW) == "stream for 1 min"
    assert (
        session_words(Contact(refusals=3, next_login=NOW + 600), NOW) == "login refused 3 times, tried again in 10 min"
    )
    assert session_words(Contact(login=Login.BASIC, session_table_full=True), NOW) == (
        "password in every request, no room for a session"
    )
    assert events_words(Contact(), NOW) == "no events"


def test_rows_are_bounded_and_defects_name_resource_and_property() -> None:
    many = of(*(state(f"c{n:03}") for n in range(MOST + 5)))
    tree = parse(table(many, NOW, None))
    assert len(find(tree, data_controller="")) == MOST
    assert f"The worst {MOST} of {MOST + 5}" in words(tree)
    defect = Defect(
        controller="c1", resource="/redfish/v1/X", property="/Reading", kind=DefectKind.WRONG_TYPE, detail="text"
    )
    unfolded = one(parse(table(of(state(defects=9)), NOW, None, {"c1": [defect] * 9})), class_="unfolded")
    assert len(find(unfolded, data_defect="/redfish/v1/X")) == 6
    assert "/redfish/v1/X /Reading" in words(unfolded)
    assert "all 9" in words(unfolded)
    told = one(parse(unread([(defect, 1200, 300)]) or ""), data_unread="")
    assert "1,200, at 300 controllers" in words(told)
    assert unread([]) is None


def test_defects_of_the_store_are_told_together(filled: tuple[Path, float], source: Source) -> None:
    told = source.unread()
    wanted = sum(len(each.defects) for each in fleet(filled[1]))
    assert sum(number for _, number, _ in told) == wanted > 0
    assert {each.controller for each, _, _ in told} == {"r02-s3"}


def test_the_address_unfolds_the_defects(filled: tuple[Path, float], monkeypatch: pytest.MonkeyPatch) -> None:
    page = whole(visit(filled[0], monkeypatch, page="controllers", need="defects"))
    assert [each.get("data-controller") for each in find(page, data_controller="")] == ["r02-s3"]
    assert find(page, data_defect="")
    assert not find(whole(visit(filled[0], monkeypatch, page="controllers")), data_defect="")
