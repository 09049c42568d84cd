"""Work orders: what they say, what goes down, when they open and close."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import structs

from collector.assess.isolate.failures import modes_of
from collector.assess.isolate.words import Role
from collector.assess.orders import advice
from collector.assess.orders.desk import Desk
from collector.model import (
    Health,
    Identity,
    Kind,
    Lamps,
    LampState,
    Link,
    Part,
    Status,
    Suspect,
    Trouble,
    Urgency,
    Why,
    WorkOrder,
)
from tests.assess.inventories import at, part, walk

SLED = part("S", Kind.SLED, "S-1", location=at(sled="SLED 1"))
BLADES = [part(f"B{n}", Kind.BLADE, f"B-{n}", parent="S", location=at(sled="SLED 1", slot=f"BAY {n}")) for n in (0, 1)]
HOSTS = [part(f"/redfish/v1/Systems/{n}", Kind.HOST, parent=f"B{n}", name=f"Host {n}") for n in (0, 1)]
CPU = part("/redfish/v1/Systems/0/Processors/1", Kind.PROCESSOR, "P-1", parent="/redfish/v1/Systems/0")
DIMM = part("/redfish/v1/Systems/0/Memory/1", Kind.MEMORY, "M-1", parent="/redfish/v1/Systems/0")
FAN = structs.replace(
    part("F1", Kind.FAN, "F-1", parent="S", location=at(sled="SLED 1"), part_number="FN-40"), hot_swap=True
)
ADAPTER = part("N1", Kind.NETWORK_ADAPTER, "N-1", parent="S", location=at(sled="SLED 1"))
PARTS = (SLED, *BLADES, *HOSTS, CPU, DIMM, FAN, ADAPTER)
LINKS = (
    *(Link(blade.id, FAN.id, Why.COOLED_BY) for blade in BLADES),
    *(Link(host.id, ADAPTER.id, Why.CONNECTED_THROUGH) for host in HOSTS),
)
LIT = {each.id: Lamps(LampState.ON, LampState.ON) for each in (SLED, *BLADES)}


def trouble(of: Part, *more: Suspect, **given: Any) -> Trouble:
    first = suspect(of)
    told: dict[str, Any] = {"opened": 100.0, "changed": 100.0, "severity": Health.CRITICAL, "group": (of.id,)}
    told["conditions"] = ("c",)
    return Trouble(id="t", suspects=(first, *more), **{**told, **given})


def suspect(of: Part, probability: float = 0.97, **more: Any) -> Suspect:
    told: dict[str, Any] = {"fault": "seized", "location": of.location, "identity": of.identity}
    return Suspect(part=of.id, controller="c1", kind=of.kind, name=of.name, probability=probability, **{**told, **more})


def desk() -> Desk:
    made = Desk()
    made.inventory(walk(*PARTS, links=LINKS))
    return made


def written(told: Trouble, statuses: dict[str, Status] | None = None) -> WorkOrder:
    (order,) = desk().write([told], statuses or {}, LIT)
    return order


def test_a_shared_fan_is_pulled_while_all_runs_and_is_urgent_for_all_that_it_cools() -> None:
    order = written(trouble(FAN))
    assert order.takes_down == ()
    assert order.running is True
    assert order.urgency is Urgency.NOW
    assert "FN-40" in order.task
    assert "SLED 1" in order.task
    assert advice.FANS in order.cautions
    assert advice.DEFER in order.cautions
    assert order.bundle == "Quellmark / A / R02"
    assert not any("Drain" in step for step in order.first)


@pytest.mark.parametrize("inner", [CPU, DIMM])
def test_what_sits_on_a_board_takes_its_blade_and_host_and_nothing_of_its_neighbours(inner: Part) -> None:
    order = written(trouble(inner))
    assert {each.part for each in order.takes_down} == {BLADES[0].id, HOSTS[0].id}
    assert order.running is False
    assert order.first[0].startswith("Drain and shut down")
    assert BLADES[1].location.text not in order.first[0]
    assert order.lamp == LIT[BLADES[0].id]
    assert order.urgency is Urgency.TODAY


def test_a_shared_adapter_takes_every_blade_that_hangs_on_it() -> None:
    order = written(trouble(ADAPTER))
    assert {each.part for each in order.takes_down if each.kind is Kind.HOST} == {host.id for host in HOSTS}
    assert order.urgency is Urgency.NOW


def test_a_warning_waits_for_the_next_visit() -> None:
    assert written(trouble(CPU, severity=Health.WARNING)).urgency is Urgency.NEXT_VISIT


def test_whether_it_may_run_meanwhile_is_not_guessed() -> None:
    silent = structs.replace(FAN, hot_swap=None)
    made = Desk()
    made.inventory(walk(*(silent if each is FAN else each for each in PARTS), links=LINKS))
    (order,) = made.write([trouble(silent)], {}, LIT)
    assert order.running is None
    assert any("manual" in step for step in order.first)


def test_one_sends_nobody_for_a_weak_suspect_or_a_remedy_from_afar() -> None:
    weak = Trouble(id="t", opened=0.0, changed=0.0, severity=Health.WARNING, suspects=(suspect(FAN, 0.4),))
    assert desk().write([weak], {}, LIT) == ()
    afar = structs.replace(weak, suspects=(suspect(FAN, 0.99, remedy="update firmware"),))
    assert desk().write([afar], {}, LIT) == ()


def test_what_no_condition_tells_has_to_be_surer() -> None:
    unsure = trouble(FAN, conditions=())
    unsure = structs.replace(unsure, suspects=(suspect(FAN, 0.9),))
    assert desk().write([unsure], {}, LIT) == ()
    sure = structs.replace(unsure, suspects=(suspect(FAN, 0.98),))
    assert len(desk().write([sure], {}, LIT)) == 1


def test_an_ambiguity_group_is_one_order_that_names_the_others() -> None:
    told = trouble(CPU, suspect(DIMM, 0.45), group=(CPU.id, DIMM.id))
    told = structs.replace(told, suspects=(suspect(CPU, 0.46), suspect(DIMM, 0.45)))
    order = written(told)
    assert order.part == CPU.id
    assert order.otherwise == (DIMM.id,)


def test_two_faults_are_two_orders() -> None:
    told = desk().write([trouble(FAN, suspect(CPU, 0.9), also=(CPU.id,))], {}, LIT)
    assert {order.part for order in told} == {FAN.id, CPU.id}


def test_an_order_is_told_again_only_when_it_says_something_else_and_closes_with_its_trouble() -> None:
    made = desk()
    (first,) = made.write([trouble(FAN)], {}, LIT)
    assert made.write([trouble(FAN, changed=130.0)], {}, LIT) == ()
    (worse,) = made.write([trouble(FAN, changed=160.0, severity=Health.WARNING)], {}, LIT)
    assert (worse.id, worse.opened, worse.urgency) == (first.id, first.opened, Urgency.NEXT_VISIT)
    (closed,) = made.write([trouble(FAN, changed=200.0, closed=200.0)], {}, LIT)
    assert closed.closed == 200.0
    assert made.write([trouble(FAN, changed=230.0, closed=200.0)], {}, LIT) == ()


def test_another_suspect_ends_the_order_for_the_one_before() -> None:
    made = desk()
    made.write([trouble(FAN)], {}, LIT)
    told = {order.part: order.closed for order in made.write([trouble(CPU, changed=150.0)], {}, LIT)}
    assert told == {CPU.id: None, FAN.id: 150.0}


def test_a_part_that_nobody_lists_still_gets_its_order() -> None:
    cable = Suspect(
        part="~cable", controller=None, kind=Kind.CABLE, name="cable to port 7", fault="half seated", probability=0.9,
        identity=Identity(), remedy="reseat",
    )  # fmt: skip
    told = Trouble(
        id="t",
        opened=0.0,
        changed=0.0,
        severity=Health.WARNING,
        suspects=(cable,),
        group=("~cable",),
        conditions=("c",),
    )
    (order,) = desk().write([told], {}, {})
    assert order.lamp is None
    assert order.task.startswith("Reseat cable to port 7")
    assert order.takes_down == ()


@pytest.mark.parametrize(
    ("lamps", "locate", "words"),
    [
        (Lamps(LampState.ON, LampState.BLINK), True, "amber blinking"),
        (Lamps(LampState.OFF, LampState.ON), False, "ask for it"),
        (Lamps(LampState.UNKNOWN, LampState.ON), None, "does not tell all"),
        (None, None, "no lamp of its own"),
    ],
)
def test_the_lamp_to_look_for_in_words(lamps: Lamps | None, locate: bool | None, words: str) -> None:
    assert words in advice.lamp_text(lamps, locate, "BAY 0")


def test_an_order_says_that_its_lamp_is_on_once_it_is_and_that_it_went_off_again() -> None:
    made, front = desk(), BLADES[0].id
    (asked,) = made.write([trouble(CPU)], {front: Status(locate=False)}, LIT)
    assert "ask for it before you go" in asked.lamp_text
    assert made.lit("c1", {front: Status(locate=False)}, LIT, 110.0) == ()
    blinking = {**LIT, front: Lamps(LampState.ON, LampState.BLINK)}
    (lit,) = made.lit("c1", {front: Status(locate=True)}, blinking, 120.0)
    assert (lit.id, lit.opened, lit.changed) == (asked.id, asked.opened, 120.0)
    assert lit.lamp == blinking[front]
    assert "amber blinking" in lit.lamp_text
    assert "locate lamp is on" in lit.lamp_text
    assert "ask for it" not in lit.lamp_text
    assert made.find(asked.id) == lit
    assert made.lit("c2", {front: Status(locate=False)}, LIT, 125.0) == (), "another controller's round says nothing"
    (off,) = made.lit("c1", {front: Status(locate=False)}, LIT, 130.0)
    assert "ask for it before you go" in off.lamp_text
    made.write([trouble(CPU, changed=140.0, closed=140.0)], {}, LIT)
    assert made.lit("c1", {front: Status(locate=True)}, blinking, 150.0) == (), "a closed order stays as it was"


def test_a_part_with_a_locate_lamp_of_its_own_needs_none_of_what_holds_it() -> None:
    lamps = {FAN.id: Status(locate=True), SLED.id: Status(locate=False)}
    order = written(trouble(FAN), lamps)
    assert "part's own locate lamp is on" in order.lamp_text
    assert "ask for it" not in order.lamp_text
    (bare,) = desk().write([trouble(FAN)], lamps, {})
    assert bare.lamp is None
    assert bare.lamp_text == "Go by the labels. The part's own locate lamp is on."


def test_a_cold_plate_is_reseated_with_the_coolant_shut_off_and_whoever_goes_is_warned_of_it() -> None:
    plate = structs.replace(suspect(CPU), fault="its cold plate sits badly", remedy=advice.COLD_PLATE)
    order = written(structs.replace(trouble(CPU), suspects=(plate,)))
    assert order.task.startswith("Reseat the cold plate of ")
    assert order.task.endswith(", with the coolant shut off.")
    assert CPU.name in order.task
    assert order.cautions[0] == advice.WET, "before all others"
    assert order.cautions[-1] == advice.DEFER
    assert advice.STATIC in order.cautions
    sink = structs.replace(suspect(CPU), remedy="reseat its heat sink")
    assert advice.WET not in written(structs.replace(trouble(CPU), suspects=(sink,))).cautions
    assert [mode.remedy for mode in modes_of(Role.COLD_PLATE, has_sensor=True)] == [advice.COLD_PLATE]


REMEDIES = {mode.remedy for role in (*Kind, *Role) for mode in modes_of(role, has_sensor=True)}


def test_every_remedy_of_the_failure_model_has_its_words_or_needs_nobody() -> None:
    assert sorted(remedy for remedy in REMEDIES if not advice.known(remedy)) == []
    assert advice.REMOTE <= REMEDIES


@pytest.mark.parametrize("remedy", sorted(advice.REMOTE))
def test_nobody_is_sent_for_what_is_done_from_afar(remedy: str) -> None:
    sure = trouble(FAN)
    sure = structs.replace(sure, suspects=(structs.replace(sure.suspects[0], remedy=remedy),))
    assert desk().write([sure], {}, LIT) == ()
