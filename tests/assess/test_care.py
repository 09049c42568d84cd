"""Acknowledging, shelving and maintenance: what holds, for how long, and what ends it early (ISA-18.2 / IEC 62682)."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.care import LONGEST_SHELF, Cares, News
from collector.assess.watch import Watch
from collector.model import CareKind, Condition, Location, Request, RequestState, Verb
from tests.assess.fleet import NAME, bad, good, inventory, pid

INTERVAL = 30.0
PLACE = Location(site="Quellmark", row="A", rack="R02", enclosure="E1", sled="SLED 1")
DONE, REFUSED = RequestState.DONE, RequestState.REFUSED


def request(verb: str, target: str, number: int = 1, at: float = 0.0, **arguments: Any) -> Request:
    return Request(
        id=number,
        asked_at=at,
        who="Tamsin Orrel",
        verb=verb,
        target=target,
        arguments=arguments,
        why="part is ordered",
        expires=at + 1e6,
    )


class Site:
    """A watch and the cares that it shares."""

    def __init__(self, **more: Any) -> None:
        self.cares = Cares()
        self.watch = Watch(NAME, INTERVAL, cares=self.cares, location=PLACE, **more)
        self.watch.inventory(inventory(), 0.0)

    def do(self, asked: Request, now: float) -> RequestState:
        return self.cares.carry_out(asked, self.watch.find, now)[0]

    def only(self) -> Condition:
        (found,) = self.watch._book.all()
        return found


def hot(now: float, value: float = 43.0) -> Any:
    return good(now, cpu1=value)


def test_an_acknowledged_condition_bears_the_name_and_loses_it_when_it_gets_worse() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    assert site.do(request(Verb.ACKNOWLEDGE, site.only().id), 40.0) is DONE
    (marked,) = site.watch.attend(40.0).changed
    assert marked.acknowledged is not None
    assert (marked.acknowledged.who, marked.acknowledged.since, marked.acknowledged.until) == (
        "Tamsin Orrel",
        40.0,
        None,
    )
    assert marked.announced, "seen is not set aside"
    assert site.do(request(Verb.ACKNOWLEDGE, marked.id, 2), 50.0) is REFUSED
    (worse,) = site.watch.round(hot(60.0, 46.0), 60.0).changed
    assert worse.acknowledged is None
    assert site.cares.news().ended == (1,)


def test_acknowledging_ends_with_the_condition() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    site.do(request(Verb.ACKNOWLEDGE, site.only().id), 40.0)
    site.watch.round(good(60.0), 60.0)
    assert site.cares.standing() == []
    (again,) = site.watch.round(hot(90.0), 90.0).opened
    assert again.acknowledged is None


def test_a_shelved_condition_is_kept_quiet_until_its_end_and_over_its_closing() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    assert site.do(request(Verb.SHELVE, site.only().id, until=600.0), 40.0) is DONE
    assert not site.watch.attend(40.0).changed[0].announced
    assert [event.subject for event in site.watch.round(good(60.0), 60.0).events] == ["condition closed unannounced"]
    back = site.watch.round(hot(90.0), 90.0)
    assert [each.shelved is not None for each in back.opened] == [True], "of the trouble, not of one opening"
    assert [event.subject for event in back.events] == ["condition opened unannounced"]
    over = site.watch.round(hot(600.0), 600.0)
    assert [each.announced for each in over.changed] == [True]
    assert [event.subject for event in over.events] == ["condition announced"]


def test_a_shelved_condition_that_gets_worse_comes_back_at_once() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    site.do(request(Verb.SHELVE, site.only().id, until=6000.0), 40.0)
    site.watch.attend(40.0)
    worse = site.watch.round(hot(60.0, 46.0), 60.0)
    assert [each.announced for each in worse.changed] == [True]
    assert site.cares.standing() == []


@pytest.mark.parametrize("arguments", [{}, {"until": -5.0}, {"until": LONGEST_SHELF + 100.0}, {"until": float("inf")}])
def test_nothing_is_shelved_for_ever(arguments: dict[str, Any]) -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    assert site.do(request(Verb.SHELVE, site.only().id, **arguments), 40.0) is REFUSED
    assert site.cares.standing() == []


def test_unshelving() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    site.do(request(Verb.SHELVE, site.only().id, until=6000.0), 40.0)
    site.watch.attend(40.0)
    assert site.do(request(Verb.UNSHELVE, site.only().id, 2), 50.0) is DONE
    assert [each.announced for each in site.watch.attend(50.0).changed] == [True]
    assert site.do(request(Verb.UNSHELVE, site.only().id, 3), 55.0) is REFUSED


@pytest.mark.parametrize(
    ("arguments", "covered"),
    [
        ({"rack": "R02"}, True),
        ({"site": "Quellmark", "row": "A"}, True),
        ({"rack": "R02", "sled": "SLED 1"}, True),
        ({"rack": "R02", "sled": "SLED 2"}, False),
        ({"rack": "R03"}, False),
        ({"controller": NAME}, True),
        ({"controller": "other"}, False),
        ({"part": pid("sled")}, True),
        ({"part": pid("blade2")}, False),
    ],
)
def test_maintenance_goes_by_place(arguments: dict[str, Any], covered: bool) -> None:
    site = Site()
    assert site.do(request(Verb.MAINTAIN, "somewhere", until=3600.0, **arguments), 10.0) is DONE
    (opened,) = site.watch.round(hot(30.0), 30.0).opened
    assert (opened.maintenance is not None) is covered
    assert opened.announced is not covered


def test_a_controller_that_is_unplugged_in_maintenance_is_not_announced() -> None:
    """Also one that never answered: the fleet file says where it is."""
    site = Site()
    site.cares = Cares()
    watch = Watch(NAME, INTERVAL, cares=site.cares, location=PLACE)
    site.do(request(Verb.MAINTAIN, "R02", rack="R02", until=3600.0), 10.0)
    watch.round(bad(30.0), 30.0)
    assert [each.announced for each in watch.round(bad(60.0), 60.0).opened] == [False]


def test_maintenance_begins_and_ends_by_itself() -> None:
    site = Site()
    site.do(request(Verb.MAINTAIN, "R02", rack="R02", since=100.0, until=200.0), 10.0)
    assert [each.announced for each in site.watch.round(hot(30.0), 30.0).opened] == [True]
    assert [each.announced for each in site.watch.round(hot(120.0), 120.0).changed] == [False]
    after = site.watch.round(hot(210.0), 210.0)
    assert [each.announced for each in after.changed] == [True]
    assert [event.subject for event in after.events] == ["condition announced"]
    site.cares.lapse(210.0)
    assert site.cares.standing() == []


@pytest.mark.parametrize("arguments", [{}, {"rack": 5}, {"rack": ""}])
def test_maintenance_of_everything_is_refused(arguments: dict[str, Any]) -> None:
    assert Site().do(request(Verb.MAINTAIN, "all", until=3600.0, **arguments), 10.0) is REFUSED


def test_without_a_name_or_a_reason_nothing_is_done() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    asked = request(Verb.ACKNOWLEDGE, site.only().id)
    assert site.do(structs.replace(asked, who=" "), 40.0) is REFUSED
    assert site.do(structs.replace(asked, why=""), 40.0) is REFUSED
    assert site.do(structs.replace(asked, target="no such"), 40.0) is REFUSED
    assert site.do(structs.replace(asked, verb="dance"), 40.0) is REFUSED
    assert site.do(structs.replace(asked, expires=39.0), 40.0) is RequestState.EXPIRED
    assert site.cares.news() == News()


def test_everything_survives_a_restart() -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    site.do(request(Verb.ACKNOWLEDGE, site.only().id, 1), 40.0)
    site.do(request(Verb.SHELVE, site.only().id, 2, until=6000.0), 40.0)
    site.do(request(Verb.MAINTAIN, "R02", 3, rack="R02", until=3600.0), 40.0)
    site.watch.attend(40.0)
    before = site.only()
    kept = site.cares.news().begun
    assert [each.kind for each in kept] == [CareKind.ACKNOWLEDGED, CareKind.SHELVED, CareKind.MAINTENANCE]
    again = Site(open_conditions=[before])
    again.cares = Cares(kept)
    again.watch = Watch(NAME, INTERVAL, [before], cares=again.cares, location=PLACE)
    told = again.watch.inventory(inventory(60.0, first=hot(60.0).frame), 60.0)
    assert (told.opened, told.changed, told.closed) == ((), (), ())
    after = again.only()
    assert (after.acknowledged, after.shelved, after.maintenance) == (
        before.acknowledged,
        before.shelved,
        before.maintenance,
    )


def test_news_that_could_not_be_kept_are_told_again() -> None:
    site = Site()
    site.do(request(Verb.MAINTAIN, "R02", 3, rack="R02", until=3600.0), 40.0)
    news = site.cares.news()
    site.cares.again(news)
    assert site.do(request(Verb.UNMAINTAIN, "3", 4), 50.0) is DONE
    assert site.cares.news() == News((), (3,))


def test_a_quiet_round_stays_empty_while_people_do_things_elsewhere() -> None:
    site = Site()
    site.do(request(Verb.MAINTAIN, "R09", 3, rack="R09", until=3600.0), 40.0)
    assert site.watch.round(good(60.0), 60.0).empty
    assert site.watch.attend(60.0).empty


arguments = st.dictionaries(
    st.sampled_from(["until", "since", "rack", "sled", "part", "controller", "offset", "what"]),
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    max_size=5,
)


@given(
    st.lists(
        st.tuples(st.sampled_from([*Verb, "other"]), st.text(max_size=4), arguments, st.floats(-1e9, 1e9)), max_size=12
    )
)
def test_whatever_is_asked_for_is_settled_and_nothing_holds_without_an_end(
    asked: list[tuple[str, str, dict[str, Any], float]],
) -> None:
    site = Site()
    site.watch.round(hot(30.0), 30.0)
    name = site.only().id
    for number, (verb, target, told, now) in enumerate(asked, 1):
        state, result = site.cares.carry_out(request(verb, target or name, number, now, **told), site.watch.find, now)
        assert state is not RequestState.ASKED
        assert result
        site.watch.round(hot(now), now)
    for care in site.cares.standing():
        assert care.kind is CareKind.ACKNOWLEDGED or (care.until is not None and care.until > care.since)
