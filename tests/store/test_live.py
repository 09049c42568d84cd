"""The live state agrees with the store, counts, and copies nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.model import Health, Lamps, LampState, Outcome, Rolled, Update
from collector.store.live import Live
from collector.store.reader import Reader
from tests.store.invented import NOON, assessed, condition, done, inventory, part, sensor, settings, walk, writer
from tests.store.test_answers import margin, order, trouble

UPDATES: list[Update] = [
    walk("c1", NOON, product="Rackwright 7"),
    done("c1", NOON + 30, 21.5, requests=4, bytes_received=900),
    done("c1", NOON + 60, outcome=Outcome.TIMED_OUT, error="c1: no answer", late=2.0),
    done("c1", NOON + 90, 22.5, requests=5, bytes_received=1000),
    assessed(
        "c1",
        NOON + 90,
        opened=(condition("c1"),),
        rolled={part("c1").id: Rolled(own=Health.WARNING, worst=Health.WARNING, open_conditions=1)},
        lamps={part("c1").id: Lamps(LampState.OFF, LampState.ON)},
    ),
]


async def test_live_state_and_store_say_the_same(tmp_path: Path) -> None:
    live = Live(settings("c1", "c2"))
    async with writer(tmp_path, "c1", "c2") as opened:
        for update in UPDATES:
            await opened.put(update)
            live.apply(update)
    with Reader(tmp_path) as reader:
        assert live.states() == reader.controllers()
        known = live.controllers["c1"]
        assert known.statuses == reader.statuses("c1")
        assert known.rolled == reader.rolled("c1")
        assert known.lamps == reader.lamps("c1")
        assert list(known.conditions.values()) == reader.conditions(controller="c1")
        assert known.layout is not None
        assert known.layout.sensors == tuple(reader.sensors("c1"))
        assert known.frame is not None
        assert list(known.frame.values) == [each.value for each in reader.readings("c1")]


def test_rounds_are_counted_by_how_they_ended() -> None:
    live = Live(settings("c1"))
    for update in UPDATES:
        live.apply(update)
    known = live.controllers["c1"]
    assert known.outcomes == {Outcome.OK: 2, Outcome.TIMED_OUT: 1}
    assert (known.requests_total, known.bytes_total, known.walks) == (9, 1900, 1)


def test_readiness_counts_controllers_heard_of() -> None:
    live = Live(settings("c1", "c2", "c3"))
    assert live.heard == 0
    live.apply(walk("c1", NOON))
    live.apply(done("c1", NOON, 1.0))
    live.apply(done("c2", NOON, outcome=Outcome.UNREACHABLE))
    live.apply(assessed("c3"))
    assert live.heard == 2


def test_open_conditions_of_an_earlier_run_are_taken_up() -> None:
    live = Live(settings("c1"))
    live.restore([condition("c1"), condition("c9")])
    assert list(live.controllers["c1"].conditions.values()) == [condition("c1")]
    live.apply(assessed("c1", closed=(condition("c1", closed=NOON + 5),)))
    assert live.controllers["c1"].conditions == {}


def test_answers_stand_under_one_controller_until_they_close_and_snapshots_tell_each_once() -> None:
    live = Live(settings("c1", "c2"))
    found, gone = trouble("c1.trouble.1", controllers=("c1", "c2")), trouble("c9.trouble.2")
    written = order("o1", trouble=found.id)
    live.restore((), [gone], [order("o2", trouble=gone.id)])
    live.apply(assessed("c2", troubles=(found,), orders=(written,), margins=(margin("c2:cpu", "c2"), margin(left=1.0))))
    assert live.controllers["c1"].troubles == {found.id: found}
    assert live.controllers["c1"].orders == {"o1": written}
    assert not live.controllers["c2"].troubles
    assert not live.controllers["c2"].orders
    assert list(live.controllers["c2"].margins.values()) == [margin("c2:cpu", "c2")], "another's it can't tell"
    told = [live.snapshot(name).assessment for name in live.controllers]
    assert [(each.troubles, each.orders, len(each.margins)) for each in told if each is not None] == [
        ((found,), (written,), 0),
        ((), (), 1),
    ]
    again = Live(settings("c1", "c2"))
    for name in live.controllers:
        again.apply(live.snapshot(name))
    assert again.controllers["c1"].troubles == live.controllers["c1"].troubles
    closed = trouble(found.id, closed=NOON + 9)
    live.apply(assessed("c2", troubles=(closed,), orders=(order("o1", trouble=found.id, closed=NOON + 9),)))
    assert not live.controllers["c1"].troubles
    assert not live.controllers["c1"].orders


def test_a_part_that_has_gone_takes_its_rollup_and_lamps_with_it() -> None:
    live = Live(settings("c1"))
    gone = part("c1", "Gone")
    live.apply(walk("c1", NOON, parts=(part("c1"), gone)))
    rolled = {each.id: Rolled(own=Health.OK, worst=Health.OK) for each in (part("c1"), gone)}
    lamps = {each.id: Lamps(LampState.ON, LampState.OFF) for each in (part("c1"), gone)}
    margins = tuple(margin(each.id) for each in (part("c1"), gone))
    live.apply(assessed("c1", rolled=rolled, lamps=lamps, margins=margins))
    live.apply(walk("c1", NOON + 900))
    known = live.controllers["c1"]
    assert [each.part for each in known.margins.values()] == [part("c1").id]
    assert list(known.rolled) == list(known.lamps) == [part("c1").id]


def test_nothing_is_copied() -> None:
    live = Live(settings("c1"))
    found = inventory("c1", NOON, *(sensor("c1", f"t{n}") for n in range(3)))
    live.apply(Update(controller="c1", inventory=found))
    update = done("c1", NOON + 30, 1.0, 2.0, 3.0)
    live.apply(update)
    known = live.controllers["c1"]
    assert known.inventory is found
    assert update.round is not None
    assert known.frame is update.round.frame


def test_a_controller_outside_the_fleet_file_is_an_error() -> None:
    live = Live(settings("c1"))
    with pytest.raises(KeyError):
        live.apply(done("c2", NOON))
    with pytest.raises(TypeError):
        live.controllers["c2"] = live.controllers["c1"]  # type: ignore[index]
