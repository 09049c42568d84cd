"""What controllers tell, as signs: from real watches, fed with invented walks and rounds."""

from __future__ import annotations

from array import array

import pytest

from collector.assess.looking import Seen
from collector.assess.looks.told import Told
from collector.assess.watch import Watch
from collector.model import (
    Frame,
    Health,
    Inventory,
    Outcome,
    PowerState,
    Round,
    Sign,
    State,
    Status,
)
from tests.assess.isolate.kit import pid, sled

S = "s1"


class Teller:
    """A controller that tells what it is told to."""

    def __init__(self) -> None:
        self.base: Inventory = sled(S)
        self.values = [50.0] * len(self.base.layout.sensors)
        self.statuses = {part.id: Status(state=State.ENABLED, health=Health.OK) for part in self.base.parts}
        self.watch, self.told, self.now = Watch(S, 30.0), Told(S), 0.0
        self.walk()

    def walk(self) -> None:
        from msgspec import structs

        walked = structs.replace(self.base, statuses=dict(self.statuses), frame=self.frame())
        self.told.assessed(self.watch.inventory(walked, self.now))
        self.told.inventory(walked, self.now)

    def frame(self) -> Frame:
        return Frame(time=self.now, values=array("d", self.values), healths=bytes(len(self.values)))

    def measure(self, path: str, sensor: str, value: float) -> None:
        for at, each in enumerate(self.base.layout.sensors):
            if (each.part, each.sensor) == (pid(S, path), sensor):
                self.values[at] = value
                return
        raise KeyError(path)

    def rounds(self, count: int = 12) -> dict[tuple[str, Sign], float]:
        """Some rounds; the signs then, with their weights."""
        for _ in range(count):
            self.now += 30.0
            done = Round(
                controller=S,
                started=self.now,
                finished=self.now,
                outcome=Outcome.OK,
                frame=self.frame(),
                statuses=dict(self.statuses),
            )
            self.told.assessed(self.watch.round(done, self.now))
            seen = Seen(time=self.now, frame=done.frame, statuses=self.statuses, idle=frozenset(), outcome=Outcome.OK)
            self.told.round(seen)
        return {(key[0].rpartition("/")[2], key[1]): each.weight for key, each in self.told.present.items()}


def test_nothing_wrong_is_nothing_seen_but_much_that_would_be() -> None:
    teller = Teller()
    assert teller.rounds() == {}
    visible = teller.told.visible
    assert {Sign.FAULTY, Sign.STANDS, Sign.TURNS_SLOWLY, Sign.ABSENT, Sign.READING_GONE} <= visible[pid(S, "Fan1")]
    assert {Sign.HOT, Sign.FAULTY} <= visible[pid(S, "Cpu1")]
    assert Sign.FAULTY not in visible[pid(S, "Sled")]  # its Health may mean anything in it
    assert Sign.PREDICTED not in visible[pid(S, "Drive1-0")]
    assert Sign.LINK_DOWN not in visible.get(pid(S, "Net/Port1"), frozenset())


@pytest.mark.parametrize(
    ("path", "sensor", "value", "shown"),
    [
        ("Fan1", "speed", 0.0, Sign.STANDS),
        ("Fan1", "speed", 8.0, Sign.TURNS_SLOWLY),
        ("Cpu1", "heat", 95.0, Sign.HOT),
        ("Blade1", "supply", 0.0, Sign.NO_POWER),
        ("Blade1", "supply", 9.0, Sign.LOW_VOLTAGE),
        ("Blade1", "supply", 95.0, Sign.HIGH_VOLTAGE),
        ("Blade1", "power", 95.0, Sign.OVERLOADED),
        ("Dimm1-0", "errors", 95.0, Sign.BEYOND),
    ],
)
def test_readings_beyond_thresholds(path: str, sensor: str, value: float, shown: Sign) -> None:
    teller = Teller()
    teller.rounds(1)
    teller.measure(path, sensor, value)
    assert teller.rounds() == {(path, shown): 1.0}
    (seen,) = teller.told.present.values()
    assert seen.sensor == sensor
    assert seen.condition is not None
    teller.measure(path, sensor, 50.0)
    assert teller.rounds(30) == {}


def test_a_fan_that_runs_down_stands_at_last() -> None:
    """Its condition was opened with a speed at which it still turned, and keeps that for evidence."""
    teller = Teller()
    teller.rounds(1)
    teller.measure("Fan1", "speed", 8.0)
    assert teller.rounds(1) == {("Fan1", Sign.TURNS_SLOWLY): 1.0}
    teller.measure("Fan1", "speed", 0.0)
    assert teller.rounds(1) == {("Fan1", Sign.STANDS): 1.0}


def test_a_status_that_is_not_ok() -> None:
    teller = Teller()
    teller.statuses[pid(S, "Psu1")] = Status(state=State.ENABLED, health=Health.CRITICAL)
    assert teller.rounds() == {("Psu1", Sign.FAULTY): 1.0}


def test_a_failure_predicted() -> None:
    teller = Teller()
    teller.statuses[pid(S, "Drive1-0")] = Status(state=State.ENABLED, health=Health.OK, failure_predicted=True)
    assert teller.rounds()[("Drive1-0", Sign.PREDICTED)] == 1.0


def test_a_link_that_was_never_there_is_not_missed() -> None:
    teller = Teller()
    port = pid(S, "Net/Port1")
    teller.statuses[port] = Status(link=False)
    assert teller.rounds() == {}
    teller.statuses[port] = Status(link=True)
    assert teller.rounds() == {}
    assert Sign.LINK_DOWN in teller.told.visible[port]
    teller.statuses[port] = Status(link=False)
    assert teller.rounds() == {("Port1", Sign.LINK_DOWN): 1.0}


def test_power_that_goes_is_seen_and_power_that_never_was_is_not() -> None:
    teller = Teller()
    one, other = pid(S, "Host1"), pid(S, "Host2")
    teller.statuses[one] = Status(state=State.ENABLED, health=Health.OK, power=PowerState.ON)
    teller.statuses[other] = Status(state=State.ENABLED, health=Health.OK, power=PowerState.OFF)
    teller.rounds()
    teller.statuses[one] = Status(state=State.ENABLED, health=Health.OK, power=PowerState.OFF)
    assert teller.rounds() == {("Host1", Sign.OFF): 1.0}


def test_a_part_that_is_gone() -> None:
    teller = Teller()
    teller.rounds(1)
    teller.statuses[pid(S, "Fan1")] = Status(state=State.ABSENT)
    assert ("Fan1", Sign.ABSENT) in teller.rounds()


def test_a_reading_that_is_no_longer_told() -> None:
    teller = Teller()
    teller.rounds(1)
    teller.measure("Cpu1", "heat", float("nan"))
    assert ("Cpu1", Sign.READING_GONE) in teller.rounds()
    assert teller.told.present
