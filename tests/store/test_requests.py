"""Requests of people: asked for by anybody, settled once by the collector, kept with what holds of them."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from msgspec import structs

from collector.model import Care, CareKind, Health, Location, Request, RequestState
from collector.settings import StoreSettings
from collector.store.errors import StoreMissing, StoreOlder
from collector.store.reader import Reader
from collector.store.requests import ask
from collector.store.schema import DATABASE, MIGRATIONS, VERSION, open_for_writing
from collector.store.writer import Writer

ASKED = Request(
    asked_at=1000.0,
    who="Tamsin Orrel",
    verb="shelve",
    target="c1.threshold.0",
    arguments={"until": 5000.0, "deep": None, "n": 3, "so": True, "rack": "R\ud800"},
    why="waits for a part",
    expires=5000.0,
)
CARE = Care(
    id=1,
    kind=CareKind.MAINTENANCE,
    who="Tamsin Orrel",
    why="filters",
    since=1000.0,
    until=5000.0,
    place=Location(rack="R02"),
    severity=Health.WARNING,
)


def writer(state: Path, now: float = 2000.0) -> Writer:
    return Writer(state, StoreSettings(), now=lambda: now)


async def test_asked_for_beside_a_running_collector_and_settled_once(tmp_path: Path) -> None:
    async with writer(tmp_path) as keeps:
        assert [ask(tmp_path, ASKED), ask(tmp_path, ASKED)] == [1, 2]
        reader = Reader(tmp_path)
        first, second = reader.asked.requests(asked_only=True)
        assert first == structs.replace(ASKED, id=1, arguments={**ASKED.arguments, "rack": "R\ufffd"})
        done = structs.replace(first, state=RequestState.DONE, result="shelved", done_at=1010.0)
        await keeps.settle([done], [CARE], [])
        assert reader.asked.requests(asked_only=True) == [second]
        assert reader.asked.request(1) == done
        assert reader.asked.care() == [CARE]
        again = structs.replace(first, state=RequestState.REFUSED, result="no", done_at=1020.0)
        await keeps.settle([again], [], [CARE.id])
        assert reader.asked.request(1) == done, "once settled, it stays"
        assert reader.asked.care() == []
        assert [each.id for each in reader.asked.requests()] == [2, 1]
        assert reader.asked.request(9) is None


async def test_asked_for_while_no_collector_runs(tmp_path: Path) -> None:
    async with writer(tmp_path):
        pass
    assert ask(tmp_path, ASKED) == 1
    async with writer(tmp_path):
        assert [each.id for each in Reader(tmp_path).asked.requests(asked_only=True)] == [1]


@pytest.mark.parametrize("lacking", ["who", "verb", "target"])
def test_nobody_asks_for_nothing(tmp_path: Path, lacking: str) -> None:
    with pytest.raises(ValueError, match=lacking):
        ask(tmp_path, structs.replace(ASKED, **{lacking: " "}))


def test_where_there_is_no_state_or_an_older_one(tmp_path: Path) -> None:
    with pytest.raises(StoreMissing):
        ask(tmp_path, ASKED)
    assert list(tmp_path.iterdir()) == [], "asking makes nothing"
    before = next(number for number, script in enumerate(MIGRATIONS) if "TABLE requests" in script)
    open_for_writing(tmp_path, MIGRATIONS[:before]).close()
    with pytest.raises(StoreOlder):
        ask(tmp_path, ASKED)
    open_for_writing(tmp_path).close()
    assert ask(tmp_path, ASKED) == 1
    with sqlite3.connect(tmp_path / DATABASE) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
    connection.close()


async def test_old_requests_are_forgotten_and_what_holds_is_not(tmp_path: Path) -> None:
    async with writer(tmp_path, now=1e9) as keeps:
        for _ in range(3):
            ask(tmp_path, ASKED)
        reader = Reader(tmp_path)
        settled = [
            structs.replace(each, state=RequestState.DONE, result="done", done_at=1010.0)
            for each in reader.asked.requests(asked_only=True)[:2]
        ]
        await keeps.settle(settled, [CARE], [])
        await keeps.seal()
        assert [each.id for each in reader.asked.requests()] == [3, 1], "one still holds, one is still asked for"
