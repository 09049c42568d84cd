"""What was where: kept, found, forgotten, migrated to, and taken up by a collector that starts again."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from collector.assess.whereabouts import Whereabouts
from collector.model import Assessment, Identity, Kind, Location, Stay, Turn, Update
from collector.store.merge import merged
from collector.store.reader import Reader
from collector.store.schema import DATABASE, MIGRATIONS, VERSION, open_for_writing
from tests.assess.inventories import sled
from tests.assess.inventories import walk as walked
from tests.store.invented import HOSTILE, NOON, Clock, Kept, assessed, walk, writer

DAY = 86400.0
BAY = Location(site="Quellmark", row="A", rack="R02", sled="SLED 1", slot="BAY 0")


def stay(serial: str | None = "QD-1177", since: float = NOON, controller: str = "c1", **more: Any) -> Stay:
    given: dict[str, Any] = {
        "position": f"{controller}:/redfish/v1/Chassis/Sled/Drives/0",
        "part": f"{controller}:/redfish/v1/Chassis/Sled/Drives/0",
        "kind": Kind.DRIVE,
        "name": "Drive 0",
        "location": BAY,
        "identity": Identity(serial=serial, part_number="PN-7", firmware="1.0"),
        "began": Turn.APPEARED,
    }
    return Stay(controller=controller, since=since, **{**given, **more})


async def kept(state: Path, *stays: Stay, **more: Any) -> None:
    async with writer(state, "c1", "c2", **more) as opened:
        for each in stays:
            await opened.put(assessed("c1", stays=(each,)))


async def test_a_stay_comes_back_as_it_was_and_its_end_replaces_it(tmp_path: Path) -> None:
    first, second = stay(), stay("QD-2299", NOON + 900, began=Turn.SWAPPED)
    ended = stay(until=NOON + 900, ended=Turn.SWAPPED)
    await kept(tmp_path, first, ended, second)
    with Reader(tmp_path) as reader:
        assert reader.stays.all() == [ended, second]
        assert reader.stays.at(first.part) == [ended, second]
        assert reader.stays.at("c1:/redfish/v1/Chassis/Sled/Drives/1") == []
        assert reader.stays.at("nothing like an id") == []


async def test_a_serial_number_is_found_wherever_it_was_and_however_it_is_typed(tmp_path: Path) -> None:
    there = stay(" QD-1177 ", NOON + 900, "c2", began=Turn.MOVED, came_from="c1:/x")
    await kept(tmp_path, stay(until=NOON + 5, ended=Turn.MISSING), there, stay("QD-11", NOON, position="c1:/y"))
    with Reader(tmp_path) as reader:
        assert [each.controller for each in reader.stays.of_serial("qd-1177 ")] == ["c1", "c2"]
        assert reader.stays.of_serial("QD-117") == []


async def test_a_row_is_found_by_its_id_and_by_its_position(tmp_path: Path) -> None:
    array = "c1:/redfish/v1/Chassis/Sled/Thermal#/Fans"
    row = {"position": f"{array}/=Fan 3", "name": "Fan 3", "kind": Kind.FAN}
    await kept(tmp_path, stay("F1", part=f"{array}/2", until=NOON + 9, ended=Turn.SWAPPED, **row))
    await kept(tmp_path, stay("F2", NOON + 9, part=f"{array}/1", **row))
    with Reader(tmp_path) as reader:
        for asked in (f"{array}/2", f"{array}/1", f"{array}/=Fan 3"):
            assert [each.identity.serial for each in reader.stays.at(asked)] == ["F1", "F2"]


@pytest.mark.parametrize(
    ("asked", "found"), [("sled 1 / bay", 1), ("R02", 1), ("%", 0), ("_", 0), ("!", 0), ("R03", 0)]
)
async def test_a_place_is_found_by_any_stretch_of_its_text(tmp_path: Path, asked: str, found: int) -> None:
    await kept(tmp_path, stay())
    with Reader(tmp_path) as reader:
        assert len(reader.stays.within(asked)) == found


@pytest.mark.parametrize("word", HOSTILE.values(), ids=HOSTILE)
async def test_any_word_of_a_controller_is_kept(tmp_path: Path, word: str) -> None:
    told = stay(word, name=word, position=f"c1:{word}", part=f"c1:{word}", location=Location(site=word))
    await kept(tmp_path, told)
    with Reader(tmp_path) as reader:
        assert reader.stays.all() == [told]
        assert reader.stays.at(told.part) == reader.stays.of_serial(word) == reader.stays.within(word) == [told]


async def test_words_that_utf_8_cannot_say(tmp_path: Path) -> None:
    await kept(tmp_path, stay("A\ud800B", position="c1:\udfff", part="c1:\udfff"))
    with Reader(tmp_path) as reader:
        assert [each.identity.serial for each in reader.stays.at("c1:\udfff")] == ["A\ufffdB"]


async def test_ended_stays_go_with_age_and_what_lasts_stays(tmp_path: Path) -> None:
    clock = Clock(NOON + 31 * DAY)
    old, recent = stay(until=NOON, ended=Turn.MISSING), stay(since=NOON + 5, until=NOON + 2 * DAY, ended=Turn.MISSING)
    lasting = stay(since=NOON - 400 * DAY, position="c1:/redfish/v1/Chassis/Sled")
    async with writer(tmp_path, "c1", now=clock, settings=Kept(retention_days=30.0)) as opened:
        await opened.put(assessed("c1", stays=(old, recent, lasting)))
        await opened.seal()
    with Reader(tmp_path) as reader:
        assert reader.stays.all() == [lasting, recent]


async def test_a_retired_controllers_stays_outlive_it_until_it_is_forgotten(tmp_path: Path) -> None:
    clock = Clock()
    async with writer(tmp_path, "c1", "c2", now=clock) as opened:
        await opened.put(assessed("c1", stays=(stay(),)))
    async with writer(tmp_path, "c2", now=clock) as opened:
        with Reader(tmp_path) as reader:
            assert len(reader.stays.all()) == 1
        moved = stay("QD-1177", NOON + 9, "c2", began=Turn.MOVED)
        await opened.put(assessed("c2", stays=(stay(until=NOON + 9, ended=Turn.MOVED), moved)))
        await opened.flush()
        with Reader(tmp_path) as reader:
            assert [each.until for each in reader.stays.all()] == [NOON + 9, None]
        clock.time += 31 * DAY
        await opened.seal()
        await opened.put(assessed("c2", stays=(stay(), moved)))  # what nobody knows any more has no place
    with Reader(tmp_path) as reader:
        assert reader.stays.all() == [moved]


def test_merging_keeps_the_final_word_of_each_stay() -> None:
    def told(*stays: Stay) -> Update:
        return Update(controller="c1", assessment=Assessment(controller="c1", time=NOON, stays=stays))

    first, ended, second = stay(), stay(until=NOON + 9), stay("QD-2299", NOON + 9)
    both = merged(told(first), told(ended, second)).assessment
    assert both is not None
    assert both.stays == (ended, second)
    alone = merged(told(first), Update(controller="c1")).assessment
    assert alone is not None
    assert alone.stays == (first,)


# Migration


async def test_a_store_from_before_there_were_stays_is_brought_up_to_date(tmp_path: Path) -> None:
    """Written by the tables of the version before, with everything that was in them kept."""
    before = next(number for number, script in enumerate(MIGRATIONS) if "TABLE stays" in script)
    open_for_writing(tmp_path, MIGRATIONS[:before]).close()
    connection = sqlite3.connect(tmp_path / DATABASE)
    connection.execute("INSERT INTO store (id) VALUES ('s')")
    connection.execute("INSERT INTO controllers (name, url, location, insecure) VALUES ('c1', 'https://c1', '{}', 0)")
    connection.execute("INSERT INTO events (time, controller, subject, severity, text) VALUES (1, 1, 'a', 1, 'kept')")
    connection.commit()
    assert connection.execute("PRAGMA user_version").fetchone() == (before,)
    connection.close()
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON))
        await opened.put(assessed("c1", stays=(stay(),)))
    with Reader(tmp_path) as reader:
        assert [event.text for event in reader.events()] == ["kept"]
        assert reader.stays.all() == [stay()]
    connection = sqlite3.connect(tmp_path / DATABASE)
    assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
    connection.close()


@pytest.mark.parametrize("index", ["stays_of_part", "stays_of_serial", "stays_ended"])
async def test_searches_use_their_index(tmp_path: Path, index: str) -> None:
    from collector.store import sql

    await kept(tmp_path, stay())
    statement = {
        "stays_of_part": sql.STAYS_OF_PART,
        "stays_of_serial": sql.STAYS_OF_SERIAL,
        "stays_ended": sql.OLD_STAYS.replace("?", "1"),
    }[index]
    connection = sqlite3.connect(tmp_path / DATABASE)
    plan = connection.execute(f"EXPLAIN QUERY PLAN {statement}", {"part": "p", "controller": "c", "serial": "s"})
    steps = " ".join(str(row) for row in plan.fetchall())
    connection.close()
    assert index in steps
    assert "SCAN stays" not in steps
    assert "SCAN s" not in steps


# A collector that starts again


async def test_the_first_walk_after_a_restart_is_compared_with_the_store(tmp_path: Path) -> None:
    parts = sled()
    seen = Whereabouts().walked(walked(*parts, time=NOON), NOON)
    async with writer(tmp_path, "c1") as opened:
        await opened.put(walk("c1", NOON, parts=tuple(parts)))
        await opened.put(assessed("c1", stays=seen.stays))
    with Reader(tmp_path) as reader:
        again = Whereabouts(reader.stays.all(), {"c1"})
    later = again.walked(walked(*parts[:-1], time=NOON + 900), NOON + 900)
    assert [event.subject for event in later.events] == ["part missing"]
    assert later.missing[0].part == parts[-1].id


async def test_a_damaged_stay_is_told_as_damage(tmp_path: Path) -> None:
    from collector.store.errors import StoreDamaged

    await kept(tmp_path, stay())
    connection = sqlite3.connect(tmp_path / DATABASE)
    connection.execute("UPDATE stays SET record = '{}'")
    connection.commit()
    connection.close()
    with Reader(tmp_path) as reader, pytest.raises(StoreDamaged, match="Stay"):
        reader.stays.all()
