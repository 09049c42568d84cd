"""Comings and goings, peers and sensors on small invented controllers, and what no look may do."""

from __future__ import annotations

import math
from array import array
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.looks.contact import ContactLook
from collector.assess.looks.peers import MEMBERS, Peers, PeersLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.unsteady import UnsteadyLook
from collector.assess.looks.wear import WearLook
from collector.model import (
    Frame,
    Inventory,
    Kind,
    Layout,
    Outcome,
    PowerState,
    Quantity,
    Sensor,
    Sign,
    State,
    Status,
)
from tests.assess.fleet import NAME, NAN, PARTS, RUNNING, inventory, part, pid
from tests.assess.looks.seeing import blades, loads, seen, signs

# Comings and goings


def test_a_link_that_flaps_is_unsteady_until_it_is_calm() -> None:
    look = UnsteadyLook(NAME)
    look.inventory(inventory(), 0.0)
    for turn in range(6):
        look.round(seen(60.0 * turn, [1.0] * 6, statuses={"drive": Status(link=bool(turn % 2))}))
    assert signs(look) == {("drive", Sign.UNSTEADY)}
    for turn in range(70):
        look.round(seen(400 + 60.0 * turn, [1.0] * 6, statuses={"drive": Status(link=True)}))
    assert not look.present


def test_a_link_lost_twice_is_unsteady_and_one_lost_once_is_not() -> None:
    look = UnsteadyLook(NAME)
    look.inventory(inventory(), 0.0)
    for turn, link in enumerate((True, True, False, False, True, True)):
        look.round(seen(60.0 * turn, [1.0] * 6, statuses={"drive": Status(link=link)}))
    assert not look.present
    look.round(seen(360.0, [1.0] * 6, statuses={"drive": Status(link=False)}))
    assert signs(look) == {("drive", Sign.UNSTEADY)}


def test_a_host_that_people_switch_is_not_unsteady_nor_are_its_links() -> None:
    look = UnsteadyLook(NAME)
    look.inventory(inventory(), 0.0)
    for turn in range(60):
        on = turn // 10 % 2 == 0
        host = structs.replace(RUNNING, power=PowerState.ON if on else PowerState.OFF)
        look.round(seen(60.0 * turn, [1.0] * 6, statuses={"host2": host, "drive": Status(link=on)}))
        assert not look.present


def test_readings_that_come_and_go() -> None:
    look = UnsteadyLook(NAME)
    look.inventory(inventory(), 0.0)
    for turn in range(6):
        look.round(seen(60.0 * turn, [1.0] * 5 + [30.0 if turn % 2 else NAN]))
    assert signs(look) == {("drive", Sign.UNSTEADY)}


def test_readings_that_come_back_once_before_their_part_is_told_to_be_gone() -> None:
    """Controllers tell of presence seldom: what the readings did until then tells a bad contact from a pulled part."""
    gone = Status(state=State.ABSENT)
    for readings, unsteady in (((30.0, 30.0, NAN, NAN), False), ((30.0, NAN, 30.0, NAN), True)):
        look = UnsteadyLook(NAME)
        look.inventory(inventory(), 0.0)
        for turn, reading in enumerate(readings):
            look.round(seen(60.0 * turn, [1.0] * 5 + [reading], statuses={"drive": Status(state=State.ENABLED)}))
        assert not look.present
        look.round(seen(240.0, [1.0] * 5 + [NAN], statuses={"drive": gone}, idle=frozenset({pid("drive")})))
        assert bool(signs(look)) is unsteady
    look = UnsteadyLook(NAME)
    look.inventory(inventory(), 0.0)
    for turn in range(5):  # what is told to be gone, and gives readings off and on
        values = [1.0] * 5 + [30.0 if turn % 2 else NAN]
        look.round(seen(60.0 * turn, values, statuses={"drive": gone}, idle=frozenset({pid("drive")})))
    assert signs(look) == {("drive", Sign.UNSTEADY)}


def test_a_part_that_goes_and_comes_with_what_it_is_in_is_not_unsteady() -> None:
    holder = next(each.parent for each in PARTS if each.id == pid("drive"))
    assert holder is not None
    here, gone = Status(state=State.ENABLED), Status(state=State.ABSENT)
    for idle, unsteady in ((frozenset({holder}), False), (frozenset[str](), True)):
        look = UnsteadyLook(NAME)
        look.inventory(inventory(), 0.0)
        for turn, status in enumerate((here, gone, gone, here, here, gone)):
            off = idle if turn in (1, 2) else frozenset[str]()  # its blade is dead for two rounds, and back
            look.round(seen(60.0 * turn, [1.0] * 6, statuses={"drive": status}, idle=off))
        assert bool(signs(look)) is unsteady, "gone, back and gone again: a bad contact, but for the blade"


# Peers: bounded, constant in cost, never an accusation by few


def test_peers_are_bounded_whatever_the_fleet() -> None:
    peers = Peers()
    for member in range(5000):
        peers.tell(("role",), f"c{member}", 1.0 + 0.001 * (member % 7), 100.0)
    assert peers.size == MEMBERS
    figures = peers.ask(("role",), 100.0)
    assert figures.members == MEMBERS
    assert figures.middle == pytest.approx(1.003, abs=0.002)
    assert peers.ask(("other",), 0.0).members == 0


def test_four_blades_with_an_odd_one_accuse_with_doubt_and_load_alone_does_not() -> None:
    look = PeersLook(NAME)
    look.inventory(blades(5), 0.0)
    for turn in range(60):
        look.round(seen(60.0 * turn, loads(turn, 5)))
        assert not look.present
    for turn in range(60, 90):
        look.round(seen(60.0 * turn, loads(turn, 5, hot=0.6)))
    assert signs(look) == {("blade0", Sign.HOT)}
    (only,) = look.present.values()
    assert only.weight <= 0.5
    assert "blade1" in only.text


def test_a_fleet_of_peers_is_surer() -> None:
    peers = Peers()
    looks = [PeersLook(f"c{number}", peers) for number in range(4)]
    for look in looks:
        look.inventory(blades(4), 0.0)
    for turn in range(60):
        for number, look in enumerate(looks):
            look.round(seen(60.0 * turn, loads(turn + number, 4, hot=0.6 if number == 0 and turn > 30 else 0.0)))
    assert [sorted(signs(look)) for look in looks] == [[("blade0", Sign.HOT)], [], [], []]
    (only,) = looks[0].present.values()
    assert only.weight == 0.9


# Sensors: what no simulated sled shows


def test_physical_contradictions() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(5):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    for turn in range(5, 8):
        values = loads(turn, 4)
        values[1], values[7], values[13] = -5.0, 12.0, 250.0
        look.round(seen(60.0 * turn, values))
    told = {observation.sensor for observation in look.present.values()}
    assert told == {"blade0 power", "blade1 processor", "blade2 memory"}
    assert {observation.sign for observation in look.present.values()} == {Sign.READING_IMPOSSIBLE}


def test_a_quiet_quantised_sensor_is_not_stuck_and_a_repeated_frame_is_nobodys_fault() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(150):
        look.round(seen(60.0 * turn, [float(round(value, -1)) for value in loads(0, 4)]))
    for turn in range(150, 260):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    for turn in range(260, 320):
        look.round(seen(60.0 * turn, loads(260, 4)))
    assert not look.present


def test_a_stuck_sensor_is_seen_when_the_rest_moves_on() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(200):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    assert not look.present
    held = loads(199, 4)[2]
    for turn in range(200, 240):
        values = loads(turn, 4)
        values[2] = held
        look.round(seen(60.0 * turn, values))
    assert ("blade0", Sign.READING_STUCK) in signs(look)
    for turn in range(240, 260):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    assert ("blade0", Sign.READING_STUCK) not in signs(look)


def test_readings_of_what_is_off_are_not_missed() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(10):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    for turn in range(10, 20):
        values = loads(turn, 4)
        values[2] = NAN
        look.round(seen(60.0 * turn, values, idle=frozenset({pid("blade0")})))
        assert not look.present
    for turn in range(20, 23):
        values = loads(turn, 4)
        values[2] = NAN
        look.round(seen(60.0 * turn, values))
    assert signs(look) == {("blade0", Sign.READING_GONE)}


def test_a_layout_that_changes_keeps_what_was_learnt_by_the_sensors_names() -> None:
    look = SensorsLook(NAME)
    look.inventory(blades(4), 0.0)
    for turn in range(100):
        look.round(seen(60.0 * turn, loads(turn, 4)))
    turned = blades(4)
    order = list(reversed(range(20)))
    sensors = tuple(turned.layout.sensors[at] for at in order)
    look.inventory(structs.replace(turned, layout=Layout(NAME, sensors)), 6000.0)
    assert Sign.READING_DRIFTS in look.visible[pid("blade1")]
    for turn in range(100, 130):
        values = loads(turn, 4)
        look.round(seen(60.0 * turn, [values[at] for at in order]))
    assert not look.present


ALL = (ContactLook, WearLook, UnsteadyLook, PeersLook, SensorsLook)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.one_of(st.floats(-1e9, 1e9), st.just(math.nan)),
            st.lists(st.floats(allow_nan=True, allow_infinity=True), min_size=20, max_size=20),
            st.sampled_from(list(Outcome)),
        ),
        max_size=12,
    )
)
@pytest.mark.parametrize("make", ALL)
def test_nothing_that_a_controller_tells_raises(
    make: type[SensorsLook], rounds: list[tuple[float, list[float], Outcome]]
) -> None:
    look = make(NAME)
    look.inventory(blades(4), 0.0)
    for time, values, outcome in rounds:
        look.round(seen(0.0 if math.isnan(time) else time, values, outcome=outcome, clock=values[0], seconds=values[1]))
        look.round(seen(0.0, values[:7], outcome=outcome))
        for observation in look.present.values():
            assert 0.0 < observation.weight <= 1.0
            assert observation.text
    look.inventory(inventory(parts=PARTS[:2]), 10.0)
    look.round(seen(20.0, [1.0] * 6))


# What a sled takes, and what its parts take


def supplied(kind: Kind) -> Inventory:
    """A sled that tells what it takes, and so do two supplies, or blades, of it."""
    parts, sensors = [part("sled", Kind.SLED)], []
    for name, of in (("sled", Kind.SLED), ("one", kind), ("two", kind)):
        if of is not Kind.SLED:
            parts.append(part(name, of, "sled"))
        sensors.append(
            Sensor(
                sensor=f"{name} power",
                controller=NAME,
                part=pid(name),
                kind=of,
                quantity=Quantity.POWER,
                unit="W",
                source=f"/{name}",
            )
        )
    first = Frame(0.0, array("d", [NAN] * len(sensors)), bytes(len(sensors)))
    return structs.replace(inventory(parts=parts, links=()), layout=Layout(NAME, tuple(sensors)), frame=first)


@pytest.mark.parametrize("kind", [Kind.POWER_SUPPLY, Kind.BLADE])
@pytest.mark.parametrize(
    ("spoil", "found"),
    [
        (lambda turn, sled: sled, set()),
        (lambda turn, sled: 700.0, {("sled", Sign.READING_STUCK)}),
        (lambda turn, sled: sled + 150.0 * (-1) ** turn, {("sled", Sign.READING_NOISY)}),
        (lambda turn, sled: sled + 150.0, set()),
    ],
    ids=["sound", "stuck", "noisy", "off"],
)
def test_the_parts_of_a_sled_explain_what_the_whole_takes(
    kind: Kind, spoil: Callable[[int, float], float], found: set[tuple[str, Sign]]
) -> None:
    """Of one that is off for good, either side may be: that is for those who balance them to say."""
    look = SensorsLook(NAME)
    look.inventory(supplied(kind), 0.0)
    shown: set[tuple[str, Sign]] = set()
    for turn in range(160):
        one, two = 250.0 + 120.0 * math.sin(turn / 9.0), 250.0 + 120.0 * math.sin(turn / 13.0)
        sled = 1.03 * (one + two) + 40.0 + math.sin(7.0 * turn)
        values = [spoil(turn, sled) if turn >= 100 else sled, one, two]
        look.round(seen(60.0 * turn, [float(round(value)) for value in values]))
        shown |= {each for each in signs(look) if each[0] == "sled"}
    assert shown == found
