"""What people saw, as signs: a lamp that differs, one that agrees, a fan that stands; until it is old or superseded."""

from __future__ import annotations

from typing import Any

import pytest

from collector.assess.looking import Seen
from collector.assess.looks.witness import WitnessLook
from collector.assess.sightings import Sightings
from collector.assess.tree import Tree
from collector.model import Kind, Lamps, LampState, Noticed, Outcome, Part, Request, RequestState, Sign

OFF, ON, BLINK = LampState.OFF, LampState.ON, LampState.BLINK
BLADE, FAN = "c1:/b1", "c1:/f1"
TREE = Tree(
    [
        Part(id=BLADE, controller="c1", uri="/b1", kind=Kind.BLADE, name="Blade 1"),
        Part(id=FAN, controller="c1", uri="/f1", kind=Kind.FAN, name="Fan 1"),
    ]
)


class Aisle:
    """A person, a controller and a look."""

    def __init__(self) -> None:
        self.told = {BLADE: Lamps(ON, OFF)}
        self.sightings = Sightings(hours=1.0)
        self.look = WitnessLook("c1", self.sightings, lambda: self.told)
        self.asked = 0

    def see(self, at: float, part: str = BLADE, **told: Any) -> tuple[RequestState, str]:
        self.asked += 1
        request = Request(
            id=self.asked,
            asked_at=at,
            who="Ida Brandt",
            verb="observe",
            target=part,
            arguments=told,
            expires=at + 600.0,
        )
        return self.sightings.take(request, TREE, self.told.get(part))

    def round(self, at: float, outcome: Outcome = Outcome.OK) -> bool:
        return self.look.round(Seen(time=at, frame=None, statuses={}, idle=frozenset(), outcome=outcome))

    @property
    def signs(self) -> set[tuple[str, Sign]]:
        return {(part, sign) for part, sign, _ in self.look.present}


def test_a_lamp_that_differs_is_wrong_until_somebody_looks_again() -> None:
    aisle = Aisle()
    assert not aisle.round(0.0)
    assert aisle.see(10.0, blue="on", amber="on")[0] is RequestState.DONE
    assert aisle.round(30.0)
    assert aisle.signs == {(BLADE, Sign.LAMP_WRONG)}
    (observation,) = aisle.look.present.values()
    assert "blue on, amber on" in observation.text
    assert "should show blue on, amber off" in observation.text
    assert not aisle.round(60.0), "nothing new"
    aisle.see(70.0, blue="on", amber="off")
    assert aisle.round(90.0)
    assert aisle.signs == set()
    assert aisle.look.visible == {BLADE: frozenset({Sign.LAMP_WRONG})}, "a lamp that agrees is evidence too"


def test_a_lamp_that_changed_between_two_rounds_is_not_wrong() -> None:
    aisle = Aisle()
    aisle.see(10.0, amber="blink")  # it was just lit; the controller's last word is from before
    aisle.told[BLADE] = Lamps(ON, BLINK)
    aisle.round(30.0)
    assert aisle.signs == set()
    aisle.told[BLADE] = Lamps(ON, OFF)  # and off again: what was seen agreed, and that stays
    aisle.round(60.0)
    assert aisle.signs == set()
    assert BLADE in aisle.look.visible


def test_nothing_is_said_while_the_controller_can_not_be_read() -> None:
    aisle = Aisle()
    aisle.see(10.0, amber="on")
    aisle.round(30.0, Outcome.TIMED_OUT)
    assert aisle.signs == set()
    aisle.round(60.0)
    assert aisle.signs == {(BLADE, Sign.LAMP_WRONG)}


def test_it_ends_when_it_is_old() -> None:
    aisle = Aisle()
    aisle.see(10.0, amber="on")
    aisle.round(30.0)
    aisle.sightings.lapse(10.0 + 3600.0)
    assert aisle.sightings.changes() == {BLADE: None}
    assert aisle.round(3700.0)
    assert (aisle.signs, aisle.look.visible) == (set(), {})


def test_what_else_was_noticed() -> None:
    aisle = Aisle()
    aisle.see(10.0, FAN, noticed=Noticed.FAN_STANDS.value)
    aisle.see(10.0, BLADE, noticed=Noticed.LEAK.value)
    aisle.round(30.0)
    assert aisle.signs == {(FAN, Sign.STANDS), (BLADE, Sign.LEAKING)}
    assert aisle.see(40.0, BLADE, noticed=Noticed.FAN_STANDS.value)[0] is RequestState.REFUSED


@pytest.mark.parametrize("told", [{}, {"amber": "green"}, {"noticed": "ghosts"}, {"blue": 3}])
def test_what_says_nothing_is_refused(told: dict[str, Any]) -> None:
    assert Aisle().see(10.0, **told)[0] is RequestState.REFUSED


def test_a_part_that_is_gone() -> None:
    aisle = Aisle()
    assert aisle.see(10.0, "c1:/gone", amber="on")[0] is RequestState.REFUSED


def test_a_lamp_that_does_not_follow_is_wrong_until_it_does() -> None:
    aisle = Aisle()
    request = Request(id=9, asked_at=10.0, who="Ida Brandt", verb="locate", target=BLADE, expires=99.0)
    aisle.sightings.followed(request, TREE, aisle.told[BLADE], on=True, good=False)
    aisle.round(30.0)
    assert aisle.signs == {(BLADE, Sign.LAMP_WRONG)}
    (observation,) = aisle.look.present.values()
    assert "switched on and did not follow" in observation.text
    aisle.sightings.followed(request, TREE, aisle.told[BLADE], on=True, good=True)
    assert aisle.round(60.0)
    assert aisle.signs == set()
    aisle.see(70.0, amber="on")
    aisle.sightings.followed(request, TREE, aisle.told[BLADE], on=True, good=True)
    aisle.round(90.0)
    assert aisle.signs == {(BLADE, Sign.LAMP_WRONG)}, "what a person saw is not undone by what a controller says"
