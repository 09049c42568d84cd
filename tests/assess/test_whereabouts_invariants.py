"""What any story of parts swapped, moved, pulled and put back must leave true, whatever the walks miss in between."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from msgspec import structs

from collector.assess.telling import MOST_TOLD
from collector.assess.whereabouts import Walked, Whereabouts
from collector.model import Identity, Kind, Location, Part, Stay, Turn
from collector.normalise.inventory import build
from tests.assess.inventories import sled, walk
from tests.normalise.walks import MAIN, OTHERS, example

CONTROLLERS = ("c1", "c2")
BAYS = [(controller, index) for controller in CONTROLLERS for index in range(4)]
SERIALS = [f"SN-{number:04}" for number in range(6)]
STILL = {"c1": sled("c1", 1, drives=0), "c2": sled("c2", 2, drives=0)}


def drive(bay: tuple[str, int], serial: str) -> Part:
    controller, index = bay
    like = sled(controller, int(controller[1]), blades=1, drives=4)
    return structs.replace(like[4 + index], identity=Identity(serial=serial, part_number="PN-D"))


class Story(RuleBasedStateMachine):
    """Two sleds with four bays each, and six drives."""

    def __init__(self) -> None:
        super().__init__()
        self.bays: dict[tuple[str, int], str] = {}
        self.whereabouts = Whereabouts()
        self.stored: dict[tuple[str, str, float], Stay] = {}
        self.time = 0.0
        self.seen: dict[str, dict[tuple[str, int], str]] = {}

    @rule(bay=st.sampled_from(BAYS), serial=st.sampled_from(SERIALS))
    def put(self, bay: tuple[str, int], serial: str) -> None:
        """A drive goes into a bay, out of whichever it was in; what was there lies on the table."""
        self.bays = {where: what for where, what in self.bays.items() if what != serial}
        self.bays[bay] = serial

    @rule(bay=st.sampled_from(BAYS))
    def pull(self, bay: tuple[str, int]) -> None:
        self.bays.pop(bay, None)

    @rule(one=st.sampled_from(BAYS), other=st.sampled_from(BAYS))
    def exchange(self, one: tuple[str, int], other: tuple[str, int]) -> None:
        both = self.bays.get(one), self.bays.get(other)
        for bay, what in ((one, both[1]), (other, both[0])):
            self.bays.pop(bay, None)
            if what is not None and what not in self.bays.values():
                self.bays[bay] = what

    @rule(controller=st.sampled_from(CONTROLLERS))
    def walk(self, controller: str) -> None:
        here = {bay: serial for bay, serial in self.bays.items() if bay[0] == controller}
        before = self.seen.get(controller)
        told = self._walk(controller)
        assert len(told.events) <= MOST_TOLD + 1
        if before is None:
            assert {event.subject for event in told.events} <= {"part moved"}, "but from where it was seen before"
        elif before == here:
            assert told.events == (), [event.text for event in told.events]
        else:
            changed = {bay for bay in here.keys() | before.keys() if here.get(bay) != before.get(bay)}
            assert 1 <= len(told.events) <= 2 * len(changed), [event.text for event in told.events]
            for event in told.events:
                assert any(serial in event.text for serial in SERIALS)
        self.seen[controller] = here
        assert self._walk(controller) == Walked(), "and nothing more is to be told"

    @rule(controller=st.sampled_from(CONTROLLERS))
    def walk_that_missed_the_drives(self, controller: str) -> None:
        if controller not in self.seen:
            return
        before = self._lasting(controller)
        self.time += 900.0
        told = self.whereabouts.walked(
            walk(*STILL[controller], controller=controller, time=self.time, unread=["/redfish/v1/Storage"]), self.time
        )
        assert told.missing == ()
        self._keep(told)
        carried = {stay.went_to for stay in told.stays if stay.ended is Turn.MOVED}
        assert self._lasting(controller) == before or carried
        self.seen[controller] = {
            bay: serial for bay, serial in self.seen[controller].items() if serial in self._lasting(controller).values()
        }

    @rule()
    def restart(self) -> None:
        self.whereabouts = Whereabouts(sorted(self.stored.values(), key=lambda stay: stay.since), CONTROLLERS)

    @invariant()
    def stays_follow_each_other(self) -> None:
        for place in {key[:2] for key in self.stored}:
            here = sorted(
                (stay for stay in self.stored.values() if (stay.controller, stay.position) == place), key=_since
            )
            assert all(stay.until is not None for stay in here[:-1])
            for one, next_one in pairwise(here):
                assert one.until is not None
                assert one.since < one.until <= next_one.since
            assert all((stay.until is None) is (stay.ended is None) for stay in here)

    @invariant()
    def what_lasts_is_what_was_seen_last(self) -> None:
        for controller, here in self.seen.items():
            expected = {drive(bay, serial).id: serial for bay, serial in here.items()}
            assert self._lasting(controller) == expected

    def _walk(self, controller: str) -> Walked:
        self.time += 900.0
        drives = [drive(bay, serial) for bay, serial in self.bays.items() if bay[0] == controller]
        inventory = walk(*STILL[controller], *drives, controller=controller, time=self.time)
        told = self.whereabouts.walked(inventory, self.time)
        self._keep(told)
        return told

    def _keep(self, told: Walked) -> None:
        for stay in told.stays:
            self.stored[stay.controller, stay.position, stay.since] = stay

    def _lasting(self, controller: str) -> dict[str, str | None]:
        return {
            stay.position: stay.identity.serial
            for stay in self.stored.values()
            if stay.controller == controller and stay.until is None and stay.kind is Kind.DRIVE
        }


def _since(stay: Stay) -> float:
    return stay.since


Story.TestCase.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
TestStory = Story.TestCase


@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_a_published_example_walked_again_is_no_news(name: str) -> None:
    """DSP2043's services tell rows, junk and shared serial numbers of their own."""
    inventory = build(example(name), Location())
    whereabouts = Whereabouts()
    assert whereabouts.walked(inventory, 0.0).events == ()
    assert whereabouts.walked(inventory, 900.0) == Walked()


@pytest.mark.parametrize("name", MAIN)
def test_each_part_of_a_published_example_that_is_left_out_is_told(name: str) -> None:
    inventory = build(example(name), Location())
    leaves = [part for part in inventory.parts if part.id not in {each.parent for each in inventory.parts}]
    assert leaves
    idle = Whereabouts()
    idle.walked(inventory, 0.0)
    for leaf in leaves:
        whereabouts = Whereabouts()
        whereabouts.walked(inventory, 0.0)
        cut = structs.replace(inventory, parts=tuple(part for part in inventory.parts if part.id != leaf.id))
        gone = whereabouts.walked(cut, 900.0)
        assert len(gone.events) <= 1
        assert {stay.part for stay in gone.missing} <= {leaf.id}
        back = whereabouts.walked(inventory, 1800.0)
        assert len(back.events) == len(gone.events)


told_texts = st.none() | st.sampled_from(["", "N/A", "0", "AAAA1", "AAAA2", "BBBB1"]) | st.text(max_size=5)
any_parts = st.lists(
    st.builds(
        Part,
        id=st.sampled_from([f"c1:/redfish/v1/{word}/{number}" for word in ("A", "B#/Fans") for number in range(4)]),
        controller=st.just("c1"),
        uri=st.just("/redfish/v1/x"),
        kind=st.sampled_from([Kind.SLED, Kind.FAN, Kind.HOST, Kind.DRIVE]),
        name=st.text(max_size=3),
        parent=st.none() | st.sampled_from([f"c1:/redfish/v1/A/{number}" for number in range(4)]),
        location=st.builds(Location, slot=told_texts, sled=told_texts, slot_index=st.none() | st.integers(0, 3)),
        identity=st.builds(Identity, serial=told_texts, part_number=told_texts, model=told_texts, firmware=told_texts),
    ),
    max_size=8,
    unique_by=lambda part: part.id,
)


@settings(max_examples=300, deadline=None)
@given(st.lists(any_parts, min_size=1, max_size=5))
def test_nothing_that_a_service_may_tell_is_told_twice_or_breaks_it(walks: list[list[Part]]) -> None:
    whereabouts = Whereabouts()
    for index, parts in enumerate(walks):
        told = whereabouts.walked(walk(*parts, time=float(index)), float(index))
        for stay in told.stays:
            assert stay.until is None or stay.until > stay.since
        assert whereabouts.walked(walk(*parts, time=index + 0.5), index + 0.5) == Walked()
