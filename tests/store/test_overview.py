"""The summary rows against the records they are made of, and what makes them anew."""

from __future__ import annotations

import asyncio
import sqlite3
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.model import Health, Kind, Location, Outcome, Rolled, State, Update
from collector.model.places import Places
from collector.store.overview import STATES, Chosen
from collector.store.reader import Reader
from collector.store.schema import DATABASE
from tests.dashboard.invented import DRIVE, FAN, GONE, SEIZED, Registered, fleet
from tests.dashboard.kept import fill
from tests.store.invented import NOON, Clock, assessed, condition, done, part, walk, writer


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made, now = tmp_path_factory.mktemp("overview"), time.time()
    asyncio.run(fill(made, fleet(now), now))
    return made


@pytest.fixture
def reader(state: Path) -> Iterator[Reader]:
    with Reader(state) as opened:
        yield opened


def test_every_front_says_what_its_records_say(reader: Reader) -> None:
    rows = {row.controller: row for row in reader.overview.fronts(Chosen(), 100)}
    states = reader.controllers()
    places, rolled, statuses = Places(reader.parts(), states), reader.rolled(), reader.statuses()
    assert rows.keys() == {each.controller for each in states}
    for each in states:
        row, front = rows[each.controller], places.front(each.controller)
        assert row.outcome is each.outcome
        assert row.front.part == (front.id if front else None)
        assert row.front.location == places.controller_place(each.controller)
        if front is None:
            continue
        blades = places.blades(each.controller)
        assert [slot.part for slot in row.front.slots] == [blade.id for blade in blades]
        told = [
            (rolled[blade.id].worst, rolled[blade.id].at_risk_through, statuses[blade.id].state is State.ABSENT)
            for blade in blades
        ]
        assert list(row.health.blades) == told
        assert row.health.worst == max(
            rolled[one.id].worst for one in places.of_controller[each.controller] if one.parent not in places.parts
        )


def test_racks_count_what_stands_in_them(reader: Reader) -> None:
    racks = {(each.site, each.line, each.rack): each for each in reader.overview.racks()}
    assert sorted(racks) == [
        ("", "", ""),
        ("Quellmark", "A", "R01"),
        ("Quellmark", "A", "R02"),
        ("Quellmark", "B", "R03"),
    ]
    first = racks["Quellmark", "A", "R01"]
    assert (first.sleds, first.critical, first.ok, first.at_risk, first.exposed) == (4, 1, 3, 4, 1)
    second = racks["Quellmark", "A", "R02"]
    assert (second.sleds, second.warning, second.unknown, second.silent, second.worst) == (3, 1, 1, 1, Health.WARNING)
    assert racks["Quellmark", "B", "R03"].waiting == 1


def test_totals_are_those_of_the_controllers(reader: Reader) -> None:
    states, readings = reader.controllers(), reader.readings()
    totals = reader.overview.totals(behind=0.0)
    outcomes = Counter(each.outcome for each in states)
    assert (totals.controllers, totals.waiting, totals.failing) == (12, outcomes[None], outcomes[Outcome.TIMED_OUT])
    assert totals.answering == 12 - outcomes[None] - outcomes[Outcome.TIMED_OUT]
    assert totals.sensors == len(readings)
    assert totals.valued == sum(1 for each in readings if each.value is not None)
    assert totals.defects == len(reader.defects())
    assert totals.unchecked == 1
    assert [each.controller for each in reader.overview.silent(Chosen(), 9)] == [GONE]


@pytest.mark.parametrize(
    ("chosen", "names"),
    [
        (Chosen(rack="R02"), {"r02-s1", "r02-s2", "r02-s3"}),
        (Chosen(row="B", severity="Critical"), {"r03-s1"}),
        (Chosen(site="elsewhere"), set()),
        (Chosen(kind="drive", row="B"), {"r03-s3"}),
        (Chosen(kind="fan", model="TG-U3840"), set()),
        (Chosen(model="Loft duo", rack="R02"), {"r02-s1", "r02-s2", "r02-s3"}),
        (Chosen(firmware="3.8.14", rack="R01"), {"r01-s1", "r01-s2", "r01-s3", "r01-s4"}),
        (Chosen(part_number="MD-71140", severity="Warning"), {"r02-s1"}),
        (Chosen(text="QUELLMARK sled r01-S2"), {"r01-s2"}),
        (Chosen(text="%"), set()),
        (Chosen(state="not answering"), {GONE}),
        (Chosen(state="not asked yet"), {"r03-s4"}),
        (Chosen(state="blades at risk"), {SEIZED}),
        (Chosen(state="certificate not checked"), {"r02-s3"}),
        (Chosen(state="with defects"), {"r02-s3"}),
        (Chosen(state="in no rack"), {"loose"}),
        (Chosen(state="anything else"), set()),
        (Chosen(severity="'; DROP TABLE fronts; --"), set()),
        (Chosen(names=("r01-s1", "nobody")), {"r01-s1"}),
    ],
)
def test_choices_hold_all_at_once(reader: Reader, chosen: Chosen, names: set[str]) -> None:
    assert reader.overview.names(chosen) == names


def test_every_state_can_be_asked_for(reader: Reader) -> None:
    for state_word in STATES:
        reader.overview.racks(Chosen(state=state_word))


def test_parts_are_found_by_id_and_by_controller(reader: Reader) -> None:
    assert {*reader.overview.parts([FAN, DRIVE, "nobody:/x"])} == {FAN, DRIVE}
    assert reader.overview.parts_of([SEIZED]) == reader.parts(SEIZED)
    assert reader.overview.leaning() == {FAN: 4}
    drives = [row for row in reader.overview.holdings() if row.kind == Kind.DRIVE.value]
    assert [(row.model, row.controllers) for row in drives] == [("TG-U3840", 4)]


def test_news_since_a_moment(reader: Reader) -> None:
    everything = reader.overview.opened(0.0, 100)
    assert {each.id for each in everything} == {each.id for each in reader.conditions(open_only=False)}
    assert reader.overview.opened(time.time() + 60, 100) == []
    assert reader.overview.closed(0.0, 100) == []


async def changed(state_dir: Path, *updates: Update) -> set[str]:
    """The subjects that these updates change."""
    async with writer(state_dir, "a") as opened:
        with Reader(state_dir) as reader:
            await opened.put(walk("a", NOON))
            await opened.put(assessed("a", rolled={part("a").id: Rolled(own=Health.OK, worst=Health.OK)}))
            await opened.flush()
            before = reader.overview.changes()
            for update in updates:
                await opened.put(update)
            await opened.flush()
            return {subject for subject, number in reader.overview.changes().items() if number != before.get(subject)}


@pytest.mark.parametrize(
    ("update", "subjects"),
    [
        (done("a", NOON + 30, 5.0), set()),
        (walk("a", NOON + 60), set()),
        (walk("a", NOON + 60, parts=(part("a"), part("a", "Other"))), {"fronts"}),
        (assessed("a", rolled={part("a").id: Rolled(own=Health.OK, worst=Health.OK)}), set()),
        (assessed("a", rolled={part("a").id: Rolled(own=Health.CRITICAL, worst=Health.CRITICAL)}), {"fronts"}),
        (assessed("a", opened=(condition("a"),)), {"conditions"}),
    ],
    ids=["round", "same walk", "other parts", "same health", "other health", "condition"],
)
def test_only_news_counts_as_a_change(tmp_path: Path, update: Update, subjects: set[str]) -> None:
    assert asyncio.run(changed(tmp_path, update)) == subjects


def test_a_round_counts_its_values(tmp_path: Path) -> None:
    async def go() -> None:
        async with writer(tmp_path, "a") as opened:
            await opened.put(walk("a", NOON))
            await opened.put(done("a", NOON + 30, float("nan")))

    asyncio.run(go())
    with Reader(tmp_path) as reader:
        totals = reader.overview.totals(0.0)
        assert (totals.valued, totals.sensors) == (0, 1)


def test_a_place_that_the_fleet_file_mends_moves_the_front(tmp_path: Path) -> None:
    async def go() -> None:
        async with writer(tmp_path, "a") as opened:
            await opened.put(walk("a", NOON))
            await opened.flush()
            opened.controllers([Registered("a", "https://a.example", Location(site="S", row="B", rack="R9"))])

    asyncio.run(go())
    with Reader(tmp_path) as reader:
        assert [(each.site, each.line, each.rack) for each in reader.overview.racks()] == [("S", "B", "R9")]


def test_a_store_from_before_the_summary_gets_its_rows_when_it_is_opened(tmp_path: Path) -> None:
    now = time.time()
    asyncio.run(fill(tmp_path, fleet(now), now))
    with Reader(tmp_path) as reader:
        before = reader.overview.fronts(Chosen(), 100)
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        connection.execute("DELETE FROM fronts")
        connection.execute("DELETE FROM holdings")
        connection.commit()

    async def reopen() -> None:
        async with writer(tmp_path, now=Clock(now)):
            pass

    asyncio.run(reopen())
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        connection.execute("UPDATE controllers SET retired = NULL")
        connection.commit()
    with Reader(tmp_path) as reader:
        assert reader.overview.fronts(Chosen(), 100) == before
        assert reader.overview.holdings()


def test_words_of_a_hostile_controller_stay_bounded(tmp_path: Path) -> None:
    async def go() -> None:
        async with writer(tmp_path, "a") as opened:
            parts = tuple(part("a", f"{n}-{'x' * 500}\ud800") for n in range(600))
            await opened.put(walk("a", NOON, parts=parts))

    asyncio.run(go())
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        words, holdings = connection.execute(
            "SELECT length(words), (SELECT count(*) FROM holdings) FROM fronts"
        ).fetchone()
    assert words <= 8000
    assert holdings <= 400
