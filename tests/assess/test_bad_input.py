"""Bad input through the whole of a ward: a named defect, a weaker answer that says so, no crash, no false certainty."""

from __future__ import annotations

import math
from array import array
from collections.abc import Callable, Mapping, Sequence

import pytest
from msgspec import structs

from collector.assess.delays import HABITS
from collector.assess.diagnosis import Diagnosis
from collector.assess.isolate.sheet import NO_THRESHOLDS
from collector.assess.ward import Ward
from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Defect,
    DefectKind,
    Frame,
    Health,
    Identity,
    Inventory,
    Kind,
    Link,
    Outcome,
    Part,
    Round,
    State,
    Status,
    Thresholds,
    Trouble,
    Why,
    WorkOrder,
)
from tests.assess.isolate.kit import pid, sled
from tests.assess.margins.rig import Rig

ILL, WELL = Status(health=Health.CRITICAL, state=State.ENABLED), Status(health=Health.OK, state=State.ENABLED)


class Wards:
    """Controllers with all that follows them; keeps what is open."""

    def __init__(self) -> None:
        self.diagnosis = Diagnosis()
        self.wards: dict[str, Ward] = {}
        self.defects: dict[str, tuple[Defect, ...]] = {}
        self.troubles: dict[str, Trouble] = {}
        self.ever: list[Trouble] = []
        self.orders: list[WorkOrder] = []

    def walk(self, inventory: Inventory, now: float) -> None:
        name = inventory.controller
        if name not in self.wards:
            self.wards[name] = self.diagnosis.ward(Watch(name, 60.0, habits=HABITS))
        told = self.wards[name].inventory(inventory, now)
        self.defects[name] = told.defects
        self._take(told)

    def round(
        self,
        name: str,
        now: float,
        frame: Frame | None = None,
        statuses: Mapping[str, Status] | None = None,
        offset: float | None = None,
    ) -> None:
        done = Round(
            controller=name,
            started=now,
            finished=now + 0.3,
            outcome=Outcome.OK,
            frame=frame,
            statuses=dict(statuses or {}),
            clock_offset=offset,
        )
        self._take(self.wards[name].round(done, now))

    def _take(self, told: Assessment) -> None:
        for trouble in told.troubles:
            self.ever.append(trouble)
            if trouble.closed is None:
                self.troubles[trouble.id] = trouble
            else:
                self.troubles.pop(trouble.id, None)
        self.orders += told.orders

    def told(self, *inventories: Inventory, rounds: int = 12, **ill: Sequence[str]) -> Trouble:
        """Walk some sleds, have parts of theirs reported ill for a while; the one trouble there is."""
        for inventory in inventories:
            self.walk(inventory, 0.0)
        for turn in range(1, rounds + 1):
            for inventory in inventories:
                name = inventory.controller
                statuses = {pid(name, path): ILL for path in ill.get(name, ())} if turn == 2 else None
                self.round(name, 60.0 * turn, inventory.frame, statuses)
        (trouble,) = self.troubles.values()
        return trouble


def well(inventory: Inventory) -> Inventory:
    """With a status of every part, and powers that add up."""
    values = inventory.frame.values[:]
    values[3] = 200.0  # the sled's: four blades' of 50 W
    frame = structs.replace(inventory.frame, values=values)
    return structs.replace(inventory, statuses={part.id: WELL for part in inventory.parts}, frame=frame)


def kinds(found: Sequence[Defect]) -> list[DefectKind]:
    return [each.kind for each in found]


# Missing links, circles, unknown kinds


def test_links_that_lead_nowhere_are_named_and_the_answer_says_so() -> None:
    inventory = well(sled("a"))
    broken = structs.replace(
        inventory, links=(*inventory.links, Link(pid("a", "Blade1"), "a:/redfish/v1/Gone", Why.COOLED_BY))
    )
    wards = Wards()
    trouble = wards.told(broken, a=["Fan1"])
    assert kinds(wards.defects["a"]) == [DefectKind.DANGLING_LINK]
    assert trouble.suspects[0].part == pid("a", "Fan1")
    assert any("not there" in text for text in trouble.weaker)
    sound = Wards()
    assert sound.told(inventory, a=["Fan1"]).weaker == ()
    assert sound.defects["a"] == ()


@pytest.mark.parametrize("links", [True, False])
def test_without_any_link_a_lost_supply_is_still_named_but_nothing_is_charged_to_it(links: bool) -> None:
    """Both supplies are reported ill, and a blade: with links it may follow from them, without it is its own."""
    inventory = well(sled("a", rack=None))
    if not links:
        inventory = structs.replace(inventory, links=())
    wards = Wards()
    for turn in range(12):
        if turn == 0:
            wards.walk(inventory, 0.0)
        ill = {pid("a", path): ILL for path in ("Psu1", "Cpu1")} if turn == 2 else None
        wards.round("a", 60.0 * turn + 60.0, inventory.frame, ill)
    first = {each.suspects[0].part for each in wards.troubles.values()}
    assert first == {pid("a", "Psu1"), pid("a", "Cpu1")}


def test_a_circle_of_dependency_is_named_and_the_answer_says_so() -> None:
    inventory = well(sled("a"))
    back = Link(pid("a", "Psu1"), pid("a", "Blade1"), Why.POWERED_BY)
    wards = Wards()
    trouble = wards.told(structs.replace(inventory, links=(*inventory.links, back)), a=["Psu1"])
    assert kinds(wards.defects["a"]) == [DefectKind.LINK_LOOP]
    assert trouble.suspects[0].part == pid("a", "Psu1")
    assert any("circle" in text for text in trouble.weaker)


def test_a_tree_that_bites_its_tail_is_walked_to_an_end() -> None:
    inventory = well(sled("a"))
    tail = {pid("a", "Sled"): pid("a", "Blade1"), pid("a", "Fan1"): pid("a", "Fan1")}
    parts = tuple(structs.replace(part, parent=tail.get(part.id, part.parent)) for part in inventory.parts)
    wards = Wards()
    trouble = wards.told(structs.replace(inventory, parts=parts), a=["Cpu2"])
    assert kinds(wards.defects["a"]) == [DefectKind.LINK_LOOP, DefectKind.LINK_LOOP]
    assert trouble.suspects[0].part == pid("a", "Cpu2")
    assert any("inside itself" in text for text in trouble.weaker)


def test_a_part_of_an_unknown_kind_is_accused_less_surely_of_nothing_in_particular() -> None:
    inventory = well(sled("a"))
    unknown = tuple(
        structs.replace(part, kind=Kind.OTHER) if part.id == pid("a", "Psu1") else part for part in inventory.parts
    )
    known = Wards().told(inventory, a=["Psu1"]).suspects[0]
    other = Wards().told(structs.replace(inventory, parts=unknown), a=["Psu1"]).suspects[0]
    assert known.part == other.part == pid("a", "Psu1")
    assert other.fault == "has failed in a way not known"
    assert other.probability < known.probability


# Controllers that contradict each other


def at_one_place(controller: str, serial: str | None, psu: str | None = None) -> Inventory:
    """A sled's controller that also tells of the enclosure around it, and gives its supply a serial number."""
    inventory = well(sled(controller, enclosure="E1"))
    where = inventory.parts[0].location
    box = structs.replace(
        inventory.parts[0],
        id=pid(controller, "Enclosure"),
        uri="/redfish/v1/Enclosure",
        kind=Kind.ENCLOSURE,
        name="Enclosure",
        identity=Identity(serial=serial, part_number="PN-E"),
    )
    parts = []
    for part in inventory.parts:
        identity = Identity(serial=psu, part_number="PN-P") if part.name == "Psu1" else part.identity
        inner = structs.replace(where, sled=f"S-{controller}") if part.kind is Kind.SLED else part.location
        parent = box.id if part.kind is Kind.SLED else part.parent
        parts.append(structs.replace(part, identity=identity, location=inner, parent=parent))
    statuses = {**inventory.statuses, box.id: WELL}
    return structs.replace(inventory, parts=(box, *parts), statuses=statuses)


def test_two_serial_numbers_of_one_enclosure_are_named_at_both_controllers() -> None:
    wards = Wards()
    one, other = at_one_place("a", "E-100077"), at_one_place("b", "E-100078")
    trouble = wards.told(one, other, a=["Fan1"])
    wards.walk(one, 800.0)  # the first walk knew of no other
    for name in ("a", "b"):
        (defect,) = wards.defects[name]
        assert (defect.controller, defect.kind, defect.resource) == (
            name,
            DefectKind.CONTRADICTION,
            "/redfish/v1/Enclosure",
        )
        assert "E-100077" in defect.detail
        assert "E-100078" in defect.detail
    assert trouble.suspects[0].part == pid("a", "Fan1")
    assert any("E-100078" in text for text in trouble.weaker)


def test_controllers_that_agree_contradict_nobody() -> None:
    wards = Wards()
    assert wards.told(at_one_place("a", "E-100077"), at_one_place("b", "E-100077"), a=["Fan1"]).weaker == ()
    assert set(wards.defects.values()) == {()}


def test_a_supply_that_is_ill_by_one_controller_and_well_by_the_other_is_less_surely_ill() -> None:
    both = at_one_place("a", "E-100077", "P-100201"), at_one_place("b", "E-100077", "P-100201")
    agreed = Wards().told(*both, a=["Psu1"], b=["Psu1"])
    split = Wards().told(*both, a=["Psu1"])
    assert agreed.suspects[0].part == split.suspects[0].part == pid("a", "Psu1")
    assert split.suspects[0].probability < agreed.suspects[0].probability
    assert any("Psu1 of b is reported not OK" in text for text in split.suspects[0].speaks_against)
    assert not any("of b is reported not OK" in text for text in agreed.suspects[0].speaks_against)


def test_a_controller_that_comes_later_still_speaks_for_the_part_that_it_shares() -> None:
    """Of what one tells was judged already when the other is walked first, and what that one tells changes."""
    one, other = at_one_place("a", "E-100077", "P-100201"), at_one_place("b", "E-100077", "P-100201")
    wards, fan, psu = Wards(), pid("a", "Fan1"), pid("a", "Psu1")
    wards.walk(one, 0.0)
    for turn in range(1, 30):
        if turn == 6:
            wards.walk(other, 360.0)
        wards.round("a", 60.0 * turn, one.frame, {2: {fan: ILL}, 8: {psu: ILL}}.get(turn))
        if turn > 6:
            wards.round("b", 60.0 * turn, other.frame)
    suspects = {each.suspects[0].part: each.suspects[0] for each in wards.troubles.values()}
    assert set(suspects) == {fan, psu}
    assert any("Psu1 of b is reported not OK" in text for text in suspects[psu].speaks_against)


# Thresholds, absurd readings


def rigged(change: Callable[[Rig], None], minutes: int = 150, after: int = 30, *, bare: bool = False) -> Wards:
    """A sled that is well for a while, then changed; ``bare``: it tells no threshold."""
    rig, wards = Rig(), Wards()
    inventory = rig.inventory()
    if bare:
        sensors = tuple(structs.replace(each, thresholds=Thresholds()) for each in inventory.layout.sensors)
        inventory = structs.replace(inventory, layout=structs.replace(inventory.layout, sensors=sensors))
    wards.walk(inventory, rig.time)
    for minute in range(minutes + after):
        if minute == minutes:
            assert wards.troubles == {}
            change(rig)
        rig.step(60.0)
        wards.round(rig.name, rig.time, rig.frame())
    return wards


def blocked(rig: Rig) -> None:
    rig.opened[2] = 0.4


def test_without_any_threshold_what_is_odd_is_still_found_and_the_lack_is_said() -> None:
    bare, limited = rigged(blocked, bare=True), rigged(blocked)
    (trouble,) = bare.troubles.values()
    assert trouble.suspects[0].part == "s1:/Blade2"
    assert NO_THRESHOLDS in trouble.weaker
    assert [(each.kind, each.detail) for each in bare.defects["s1"]] == [(DefectKind.MISSING, NO_THRESHOLDS)]
    assert limited.defects["s1"] == ()
    assert all(NO_THRESHOLDS not in each.weaker for each in limited.troubles.values())


@pytest.mark.parametrize(
    ("watts", "said"), [(-300.0, "can't be negative"), (1e12, "no machine"), (5e6, "no machine"), (-1e12, "no machine")]
)
def test_power_that_can_not_be_is_the_sensor_s_and_nobody_else_s(watts: float, said: str) -> None:
    rig, wards = Rig(), Wards()
    wards.walk(rig.inventory(), rig.time)
    for minute in range(150):
        rig.step(60.0)
        wards.round(rig.name, rig.time, rig.frame({7: watts} if minute >= 120 else None))
    (trouble,) = wards.troubles.values()
    first = trouble.suspects[0]
    assert (first.part, first.fault) == ("s1:/Blade1", "its sensor tells the impossible")
    assert any(said in text for text in trouble.signs), trouble.signs
    assert not any("tells no value" in text for text in trouble.signs)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e300, -1e300, -273.2])
def test_absurd_frames_crash_nothing_and_send_nobody(bad: float) -> None:
    rig, wards = Rig(), Wards()
    wards.walk(rig.inventory(), rig.time)
    for minute in range(90):
        rig.step(60.0)
        frame = rig.frame()
        if minute % 30 == 29:
            frame = Frame(rig.time, array("d", [bad] * len(frame.values)), frame.healths)
        wards.round(rig.name, rig.time, frame)
    assert wards.orders == []
    assert all(0.0 <= each.probability <= 1.0 for trouble in wards.ever for each in trouble.suspects)


# Clocks


def four() -> tuple[list[Rig], Wards]:
    rigs, wards = [Rig(name=f"s{number}", seed=number) for number in range(4)], Wards()
    for rig in rigs:
        wards.walk(managed(rig), rig.time)
    return rigs, wards


def managed(rig: Rig) -> Inventory:
    """With the controller as a part."""
    inventory = rig.inventory()
    bmc = Part(id=f"{rig.name}:/Bmc", controller=rig.name, uri="/Bmc", kind=Kind.CONTROLLER, name="Controller")
    return structs.replace(inventory, parts=(*inventory.parts, bmc))


def test_our_own_clock_that_jumps_by_hours_accuses_nobody() -> None:
    """Back and forth: every other clock then seems off by the same. What is really ill is found all the same."""
    rigs, wards = four()
    shift = 0.0
    for minute in range(240):
        if minute >= 60 and minute % 20 == 0:
            shift = {60: 7200.0, 80: -18_000.0, 100: 0.0}.get(minute, shift)
        if minute == 160:
            rigs[2].opened[1] = 0.35
        for rig in rigs:
            rig.step(60.0)
            now = rig.time + shift
            frame = rig.frame()
            wards.round(rig.name, now, Frame(now, frame.values, frame.healths), offset=-shift)
        if minute < 160:
            assert wards.ever == [], minute
    (trouble,) = wards.troubles.values()
    assert trouble.suspects[0].part == "s2:/Blade1"


def test_the_answer_says_that_our_clock_is_doubtful() -> None:
    rigs, wards = four()
    for minute in range(150):
        if minute == 20:
            for rig in rigs:
                wards.walk(managed(rig), rig.time)
        if minute == 100:
            rigs[2].opened[1] = 0.35
        for rig in rigs:
            rig.step(60.0)
            wards.round(rig.name, rig.time, rig.frame(), offset=5000.0)
    (trouble,) = wards.troubles.values()
    assert any("check ours" in text for text in trouble.weaker)


def test_one_controller_s_clock_that_jumps_is_its_own() -> None:
    rigs, wards = four()
    for minute in range(90):
        for rig in rigs:
            rig.step(60.0)
            offset = (-14_400.0 if minute % 2 else 9000.0) if rig.name == "s1" and minute >= 60 else 0.4
            wards.round(rig.name, rig.time, rig.frame(), offset=offset)
        if minute == 61:
            (trouble,) = wards.troubles.values()
            assert trouble.suspects[0].fault == "its clock is wrong"
            assert trouble.controllers == ("s1",)
    assert len(wards.troubles) == 1
    assert wards.orders == [], "a clock is set from afar"
