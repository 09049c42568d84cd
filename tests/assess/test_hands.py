"""Hands at work, declared beforehand: what shows there is no evidence; what still shows afterwards is."""

from __future__ import annotations

from collector.assess.care import Cares
from collector.assess.diagnosis import Diagnosis
from collector.assess.ward import AFTER_HANDS, ROUNDS_AFTER_HANDS
from collector.assess.watch import Watch
from collector.model import Location, RequestState, Round, State, Status, Trouble, Verb
from tests.assess.fleet import NAME, good, inventory, pid
from tests.assess.test_care import request

INTERVAL = 30.0
RACK = Location(site="Quellmark", row="A", rack="R02")


class Place:
    """One controller with its ward, and what was told of it."""

    def __init__(self) -> None:
        self.cares, self.open = Cares(), dict[str, Trouble]()
        watch = Watch(NAME, INTERVAL, cares=self.cares, location=RACK)
        self.ward = Diagnosis().ward(watch, RACK)
        self.ward.inventory(inventory(), 0.0)

    @property
    def of_the_drive(self) -> list[Trouble]:
        """Open troubles that suspect it."""
        return [each for each in self.open.values() if any(one.part == pid("drive") for one in each.suspects)]

    def rounds(
        self, since: float, until: float, statuses: dict[str, Status] | None = None, every: float = INTERVAL
    ) -> None:
        """Rounds from one time to another."""
        now = since
        while now < until:
            round: Round = good(now, statuses=statuses or {})
            for trouble in self.ward.round(round, now).troubles:
                if trouble.closed is None:
                    self.open[trouble.id] = trouble
                else:
                    self.open.pop(trouble.id, None)
            now += every


GONE = {"drive": Status(state=State.ABSENT)}


def test_what_is_taken_out_under_declared_maintenance_is_no_trouble_and_what_is_left_out_is() -> None:
    place = Place()
    place.rounds(30.0, 600.0)
    assert not place.of_the_drive
    asked = request(Verb.MAINTAIN, "the sled", at=600.0, controller=NAME, until=2400.0)
    assert place.cares.carry_out(asked, lambda condition: None, 600.0)[0] is RequestState.DONE
    place.rounds(600.0, 2400.0 + AFTER_HANDS - INTERVAL, GONE)
    assert not place.of_the_drive
    place.rounds(2400.0 + AFTER_HANDS, 2400.0 + 3 * AFTER_HANDS, GONE)
    assert place.of_the_drive


def test_where_rounds_are_sparse_what_was_put_back_gets_rounds_to_be_seen_again() -> None:
    """States that seldom change are read in turns: minutes after the end of the work they may tell of before it."""
    place = Place()
    place.rounds(300.0, 3000.0, every=300.0)
    asked = request(Verb.MAINTAIN, "the sled", at=3000.0, controller=NAME, until=6000.0)
    assert place.cares.carry_out(asked, lambda condition: None, 3000.0)[0] is RequestState.DONE
    after = 6000.0 + AFTER_HANDS + 300.0
    place.rounds(3000.0, after, GONE, every=300.0)
    place.rounds(after, 6000.0 + ROUNDS_AFTER_HANDS * 300.0, GONE, every=300.0)
    assert not place.of_the_drive
    place.rounds(6000.0 + ROUNDS_AFTER_HANDS * 300.0, 6000.0 + 2 * ROUNDS_AFTER_HANDS * 300.0, GONE, every=300.0)
    assert place.of_the_drive


def test_the_same_without_a_word_is_trouble_at_once() -> None:
    place = Place()
    place.rounds(30.0, 600.0)
    place.rounds(600.0, 900.0, GONE)
    assert place.of_the_drive
