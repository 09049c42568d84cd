"""Work orders in people's hands: open, taken, done and watched, still there, given back, closed."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import structs

from collector.assess.orders.handling import MOST_STEPS, Handlings
from collector.model import (
    Handling,
    Identity,
    Kind,
    OrderState,
    Part,
    Request,
    RequestState,
    Urgency,
    Verb,
    WorkOrder,
)

FAN = "c1:/redfish/v1/Chassis/Sled/Fans/2"
ORDER = WorkOrder(
    id=f"c1.trouble.1|{FAN}",
    trouble="c1.trouble.1",
    part=FAN,
    controller="c1",
    kind=Kind.FAN,
    name="Fan 2",
    opened=0.0,
    changed=0.0,
    urgency=Urgency.TODAY,
    task="Replace Fan 2.",
    reason="It stands.",
)
DONE, REFUSED = RequestState.DONE, RequestState.REFUSED


class Rack:
    """Orders that are open, and who has them."""

    def __init__(self, standing: tuple[Handling, ...] = (), rounds: int = 3) -> None:
        self.handlings = Handlings(standing, rounds)
        self.orders = {ORDER.id: ORDER}
        self.asked = 0

    def do(self, verb: Verb, who: str = "Ida Brandt", at: float = 10.0, **told: Any) -> tuple[RequestState, str]:
        self.asked += 1
        request = Request(
            id=self.asked, asked_at=at, who=who, verb=verb, target=ORDER.id, arguments=told, expires=at + 100.0
        )
        return self.handlings.carry_out(request, self.orders.get, lambda part: "OLD-1")

    @property
    def now(self) -> Handling:
        found = self.handlings.of(FAN)
        assert found is not None
        return found

    def walk(self, serial: str | None) -> None:
        part = Part(id=FAN, controller="c1", uri="/x", kind=Kind.FAN, name="Fan 2", identity=Identity(serial=serial))
        self.handlings.walked("c1", [part])


def test_taken_done_watched_and_closed_with_names_and_times() -> None:
    rack = Rack()
    assert rack.do(Verb.TAKE)[0] is DONE
    assert (rack.now.state, rack.now.who, rack.now.since) == (OrderState.TAKEN, "Ida Brandt", 10.0)
    assert structs.replace(ORDER, handling=rack.now).state is OrderState.TAKEN
    assert rack.do(Verb.FINISH, at=50.0, serial="NEW-7")[0] is DONE
    assert rack.now.state is OrderState.WATCHING
    rack.handlings.round("c1", 60.0)
    assert rack.now.state is OrderState.WATCHING
    ended = rack.handlings.close(FAN, 70.0)
    assert ended is not None
    assert [step.state for step in ended.steps] == [OrderState.TAKEN, OrderState.WATCHING, OrderState.CLOSED]
    assert rack.handlings.of(FAN) is None
    assert rack.handlings.changes() == {FAN: None}


def test_done_and_still_there_after_so_many_rounds_of_its_own_controller() -> None:
    rack = Rack(rounds=3)
    rack.do(Verb.FINISH)
    for _ in range(5):
        rack.handlings.round("c2", 20.0)
    for _ in range(2):
        rack.handlings.round("c1", 20.0)
    assert rack.now.state is OrderState.WATCHING
    rack.handlings.round("c1", 30.0)
    assert (rack.now.state, rack.now.since, rack.now.steps[-1].why) == (OrderState.STILL_THERE, 30.0, "after 3 rounds")
    rack.handlings.round("c1", 40.0)
    assert len(rack.now.steps) == 2, "said once"
    assert rack.do(Verb.TAKE, "Ivo Maan")[0] is DONE, "somebody has another try"
    assert rack.now.state is OrderState.TAKEN


def test_two_do_not_take_the_same() -> None:
    rack = Rack()
    rack.do(Verb.TAKE)
    assert rack.do(Verb.TAKE) == (DONE, "you have it already")
    state, text = rack.do(Verb.TAKE, "Ivo Maan")
    assert (state, text.startswith("Ida Brandt has it")) == (REFUSED, True)
    assert rack.do(Verb.GIVE_BACK)[0] is DONE
    assert rack.handlings.of(FAN) is None
    assert rack.do(Verb.TAKE, "Ivo Maan")[0] is DONE


def test_what_is_not_there_can_not_be_taken_or_given_back() -> None:
    rack = Rack()
    assert rack.do(Verb.GIVE_BACK)[0] is REFUSED
    rack.do(Verb.FINISH)
    assert rack.do(Verb.TAKE)[0] is REFUSED, "it is being watched"
    rack.orders.clear()
    state, text = rack.do(Verb.TAKE)
    assert (state, "closed" in text) == (REFUSED, True)


@pytest.mark.parametrize(
    ("typed", "read", "said"),
    [
        ("NEW-7", "new-7 ", "as typed"),
        ("NEW-7", "OLD-1", "The old part is still read there"),
        ("NEW-7", "NEW-8", "look which is right"),
        ("", "OLD-1", "The same part stands there"),
        ("", "NEW-8", "NEW-8 stands there now"),
    ],
)
def test_the_serial_that_was_typed_against_the_one_that_the_next_walk_reads(typed: str, read: str, said: str) -> None:
    rack = Rack()
    rack.do(Verb.TAKE)
    rack.do(Verb.FINISH, serial=typed)
    assert rack.now.serial_note == "", "nothing was read yet"
    rack.walk(read)
    assert said in rack.now.serial_note
    assert rack.now.serial_before == "OLD-1"


def test_a_restart_goes_on_watching_and_steps_are_bounded() -> None:
    rack = Rack()
    rack.do(Verb.FINISH)
    again = Rack((rack.now,), rounds=1)
    again.handlings.round("c1", 99.0)
    assert again.now.state is OrderState.STILL_THERE
    for _ in range(MOST_STEPS):
        again.do(Verb.TAKE)
        again.do(Verb.FINISH)
    assert len(again.now.steps) <= MOST_STEPS
