"""Parts found by what people know of them, hours added up by the database, misfits kept and replaced."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.assess.ledger import accused, hours_of, ledger, weighed
from collector.model import Health, Identity, Kind, Location, Misfit, Misfitting, Stay, Suspect, Trouble, Turn
from collector.store.merge import merged
from collector.store.reader import Reader
from tests.store.invented import HOSTILE, NOON, assessed, writer
from tests.store.test_stays import kept, stay

HOUR = 3600.0


def drive(serial: str, **more: object) -> Stay:
    return stay(serial, position=f"c1:/{serial}", part=f"c1:/{serial}", **more)


@pytest.mark.parametrize(
    ("asked", "kind", "found"),
    [
        ("qd-11", None, ["QD-1177"]),
        ("pn-7", None, ["QD-1177", "QD-22/9"]),
        ("PN-7 r02", None, ["QD-1177", "QD-22/9"]),
        ("pn-7 r03", None, []),
        ("drive", Kind.FAN, []),
        ("", Kind.FAN, ["FN-1"]),
        ("qd-22/9", None, ["QD-22/9"]),
        ("100%", None, []),
        ("identity", None, []),
        ("gr\u00fcn", None, ["FN-1"]),
        ("GR\u00dcN", None, ["FN-1"]),
    ],
)
async def test_every_word_must_stand_in_what_is_told_of_a_part(
    tmp_path: Path, asked: str, kind: Kind | None, found: list[str]
) -> None:
    fan = stay(
        "FN-1", kind=Kind.FAN, name="Fan Gr\u00fcn", identity=Identity(serial="FN-1"), position="c1:/f", part="c1:/f"
    )
    await kept(tmp_path, drive("QD-1177"), drive("QD-22/9"), fan)
    with Reader(tmp_path) as reader:
        stays, number = reader.stays.seek(asked, kind)
        assert [each.identity.serial for each in stays] == found
        assert number == len(found)


async def test_what_is_gone_is_sought_apart_the_newest_first_and_counting_ends(tmp_path: Path) -> None:
    gone = [drive(f"G{n}", until=NOON + n, ended=Turn.MISSING) for n in range(5)]
    await kept(tmp_path, *gone, drive("QD-1177"))
    with Reader(tmp_path) as reader:
        stays, number = reader.stays.seek("pn-7", here=False, limit=2, count_to=4)
        assert [each.identity.serial for each in stays] == ["G4", "G3"]
        assert number == 4
        assert [each.identity.serial for each in reader.stays.turned(2)] == ["G4", "G3"]
        assert reader.stays.in_place(["c1:/G4", "c1:/QD-1177"]).keys() == {"c1:/QD-1177"}


@pytest.mark.parametrize("word", HOSTILE)
async def test_any_text_may_be_sought(tmp_path: Path, word: str) -> None:
    await kept(tmp_path, drive("QD-1177"))
    with Reader(tmp_path) as reader:
        reader.stays.seek(word)
        reader.stays.seek(word, Kind.DRIVE, here=False)


async def test_the_database_adds_up_the_hours_that_the_ledger_would(tmp_path: Path) -> None:
    stays = [
        drive("A", until=NOON + HOUR, ended=Turn.SWAPPED),
        drive("B", since=NOON + HOUR),
        stay(" a ", position="c1:/z", part="c1:/z", since=NOON + 2 * HOUR),
        stay(None, position="c1:/y", part="c1:/y"),
        stay(None, position="c2:/y", part="c2:/y", controller="c2", until=NOON - 5, ended=Turn.MISSING),
        drive("C", kind=Kind.FAN, identity=Identity(serial="C", model="VR", firmware="2")),
    ]
    suspect = Suspect(part="c1:/A", controller="c1", kind=Kind.DRIVE, name="A", fault="dead", probability=0.9)
    trouble = Trouble(id="t", opened=NOON + 60, changed=NOON + 60, severity=Health.WARNING, suspects=(suspect,))
    await kept(tmp_path, *stays)
    now = NOON + 10 * HOUR
    with Reader(tmp_path) as reader:
        hours = reader.stays.part_hours(now)
        assert sorted(hours, key=str) == sorted(hours_of(stays, now), key=str)
        some = reader.stays.at_all(part for part, _ in accused([trouble]))
    lines = weighed(hours, some, [trouble])
    assert lines == ledger(stays, [trouble], now)
    assert [line.failures for line in lines if line.kind is Kind.DRIVE] == [1]


def misfit(how: Misfitting = Misfitting.WRONG, found: str = "part number X", controller: str = "c1") -> Misfit:
    return Misfit(
        controller=controller,
        sled=f"{controller}:/sled",
        design="duo",
        how=how,
        kind=Kind.DRIVE,
        found=found,
        text=found,
    )


async def test_misfits_are_those_of_the_last_walk(tmp_path: Path) -> None:
    async with writer(tmp_path, "c1", "c2") as opened:
        await opened.put(assessed("c1", misfits=(misfit(), misfit(Misfitting.BEHIND))))
        await opened.put(assessed("c2", misfits=(misfit(controller="c2"),)))
        await opened.put(assessed("c1"))
        await opened.flush()
        with Reader(tmp_path) as reader:
            assert reader.answers.how_many_misfits() == {Misfitting.BEHIND: 1, Misfitting.WRONG: 2}
            assert [each.controller for each in reader.answers.misfits(Misfitting.WRONG)] == ["c1", "c2"]
            assert len(reader.answers.misfits(limit=2)) == 2
        await opened.put(assessed("c1", misfits=()))
    with Reader(tmp_path) as reader:
        assert [each.controller for each in reader.answers.misfits()] == ["c2"]


def test_merged_updates_keep_the_last_word_on_misfits() -> None:
    told, none, silent = assessed("c1", misfits=(misfit(),)), assessed("c1", misfits=()), assessed("c1")
    assert (found := merged(told, silent).assessment) is not None
    assert found.misfits == (misfit(),)
    assert (found := merged(told, none).assessment) is not None
    assert found.misfits == ()
    assert not found.empty


def test_a_place_is_told_as_text_for_the_search() -> None:
    assert Location(rack="R02", slot="BAY 0").text == "R02 / BAY 0"
