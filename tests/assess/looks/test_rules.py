"""Contact, wear, comings and goings, peers and sensors on small invented controllers."""

from __future__ import annotations

import math
from array import array
from collections.abc import Callable, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.looking import Look, Seen
from collector.assess.looks.contact import ContactLook
from collector.assess.looks.peers import MEMBERS, Peers, PeersLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.unsteady import UnsteadyLook
from collector.assess.looks.wear import WearLook
from collector.model import (
    Frame,
    Identity,
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
from tests.assess.fleet import FINE, NAME, NAN, PARTS, RUNNING, STATUSES, inventory, part, pid

BMC = pid("bmc")


def seen(
    time: float,
    values: list[float] | None = None,
    *,
    outcome: Outcome = Outcome.OK,
    statuses: Mapping[str, Status] | None = None,
    seconds: float = 0.4,
    requests: int = 1,
    clock: float | None = None,
    idle: frozenset[str] = frozenset(),
) -> Seen:
    told = {pid(name): status for name, status in {**STATUSES, **(statuses or {})}.items()}
    frame = None if values is None else Frame(time, array("d", values), bytes(len(values)))
    return Seen(
        time=time,
        frame=frame,
        statuses=told,
        idle=idle,
        outcome=outcome,
        seconds=seconds,
        requests=requests,
        clock_offset=clock,
    )


def signs(look: Look) -> set[tuple[str, Sign]]:
    return {(key[0].rpartition("/")[2], key[1]) for key in look.present}


# Contact


def contact() -> ContactLook:
    look = ContactLook(NAME)
    look.inventory(inventory(), 0.0)
    return look


@pytest.mark.parametrize(
    ("outcome", "sign"),
    [
        (Outcome.UNREACHABLE, Sign.CUT_OFF),
        (Outcome.TIMED_OUT, Sign.SILENT),
        (Outcome.UNAVAILABLE, Sign.SILENT),
        (Outcome.MALFORMED, Sign.SILENT),
    ],
)
def test_contact_is_lost_after_two_rounds_and_regained_with_one(outcome: Outcome, sign: Sign) -> None:
    look = contact()
    assert not look.round(seen(30, outcome=outcome))
    assert look.round(seen(60, outcome=outcome))
    assert signs(look) == {("bmc", sign)}
    assert next(iter(look.present.values())).since == 30
    assert look.round(seen(90, []))
    assert (BMC, sign, None) not in look.present


@pytest.mark.parametrize("outcome", [Outcome.LOGIN_REFUSED, Outcome.UNTRUSTED])
def test_what_people_must_mend_is_no_sign_of_a_part(outcome: Outcome) -> None:
    look = contact()
    for turn in range(5):
        look.round(seen(30.0 * turn, outcome=outcome))
    assert not look.present


def test_slow_is_against_its_own_past_and_half_a_second_an_answer() -> None:
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=0.05))
    for turn in range(20, 30):
        look.round(seen(30.0 * turn, [], seconds=0.45))
    assert not look.present, "nine times slower, yet nobody waits for it"
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=2.0))
    look.round(seen(600.0, [], seconds=12.0))
    look.round(seen(630.0, [], seconds=2.0))
    assert not look.present, "once is chance"
    for turn in range(3):
        look.round(seen(660.0 + 30 * turn, [], seconds=12.0))
    assert signs(look) == {("bmc", Sign.SLOW)}
    for turn in range(3):
        look.round(seen(760.0 + 30 * turn, [], seconds=2.0))
    assert not look.present


def test_a_round_that_asks_for_more_is_no_slower_and_one_that_asks_for_little_no_faster() -> None:
    look = contact()
    for turn in range(20):
        look.round(seen(30.0 * turn, [], seconds=0.4, requests=20))
    for turn in range(20, 30):
        look.round(seen(30.0 * turn, [], seconds=16.0, requests=800))
    assert not look.present
    look.round(seen(900.0, [], seconds=60.0, requests=20))
    look.round(seen(930.0, [], seconds=3.0, requests=1))
    assert signs(look) == {("bmc", Sign.SLOW)}, "much slower in each of two rounds, of which one asked for little"


def test_a_restart_is_told_or_guessed_from_absence() -> None:
    look = contact()
    look.round(seen(1e6, [], statuses={"bmc": structs.replace(FINE, last_reset=9e5)}))
    look.round(seen(1e6 + 60, [], statuses={"bmc": structs.replace(FINE, last_reset=1e6 + 10)}))
    assert signs(look) == {("bmc", Sign.RESTARTED)}
    look.round(seen(1e6 + 60 + 1800, [], statuses={"bmc": structs.replace(FINE, last_reset=1e6 + 10)}))
    assert not look.present
    look = contact()
    look.round(seen(30, outcome=Outcome.UNREACHABLE))
    look.round(seen(90, []))
    assert signs(look) == {("bmc", Sign.RESTARTED)}
    (only,) = look.present.values()
    assert only.weight == 0.5


def test_a_clock_is_off_beyond_a_minute() -> None:
    look = contact()
    look.round(seen(30, [], clock=59.0))
    assert not look.present
    look.round(seen(60, [], clock=-3600.0))
    assert signs(look) == {("bmc", Sign.CLOCK_OFF)}
    look.round(seen(90, []))
    assert look.present, "not read this time"
    look.round(seen(120, [], clock=0.5))
    assert not look.present


def test_contact_that_comes_and_goes() -> None:
    look = contact()
    for turn in range(6):
        look.round(seen(60.0 * turn, [] if turn % 2 else None, outcome=Outcome.OK if turn % 2 else Outcome.UNREACHABLE))
    assert ("bmc", Sign.UNSTEADY) in signs(look)
    for turn in range(70):
        look.round(seen(400 + 60.0 * turn, []))
    assert ("bmc", Sign.UNSTEADY) not in signs(look)


def test_a_controller_that_was_never_walked_has_a_name() -> None:
    look = ContactLook(NAME)
    for turn in range(2):
        look.round(seen(turn, outcome=Outcome.UNREACHABLE))
    assert [key[0] for key in look.present] == [f"~controller:{NAME}"]
    look.inventory(inventory(), 2.0)
    assert signs(look) == {("bmc", Sign.CUT_OFF)}


# Wear


def counter(name: str, of: str, kind: Kind, quantity: Quantity = Quantity.COUNT) -> Sensor:
    return Sensor(
        sensor=name,
        controller=NAME,
        part=pid(of),
        kind=kind,
        quantity=quantity,
        unit="%" if quantity is Quantity.PERCENT else "1",
        source=f"/redfish/v1/{of}#{name}",
    )


def with_sensors(*sensors: Sensor) -> Inventory:
    first = Frame(0.0, array("d", [NAN] * len(sensors)), bytes(len(sensors)))
    return structs.replace(inventory(), layout=Layout(NAME, sensors), frame=first)


def wear(*sensors: Sensor) -> WearLook:
    look = WearLook(NAME)
    look.inventory(with_sensors(*sensors), 0.0)
    return look


ECC = counter("lifetime correctable ECC error count", "drive", Kind.MEMORY)
UECC = counter("lifetime uncorrectable ECC error count", "drive", Kind.MEMORY)
LIFE = counter("predicted media life left", "drive", Kind.DRIVE, Quantity.PERCENT)


def test_few_corrected_errors_are_normal_and_many_are_not() -> None:
    look = wear(ECC)
    for hour in range(200):
        look.round(seen(3600.0 * hour, [float(hour // 4)]))
    assert not look.present
    for minute in range(10):
        look.round(seen(720_000 + 60.0 * minute, [50.0 + 5 * minute]))
    assert signs(look) == {("drive", Sign.CORRECTABLE)}
    look.round(seen(720_600, [0.0]))
    assert not look.present, "another module counts from the start"


def test_an_uncorrectable_error_shows_at_once_but_not_one_of_long_ago() -> None:
    look = wear(UECC)
    look.round(seen(0, [3.0]))
    look.round(seen(30, [3.0]))
    assert not look.present
    look.round(seen(60, [4.0]))
    assert signs(look) == {("drive", Sign.UNCORRECTABLE)}


def test_a_drive_that_wears_gets_a_date_with_an_interval() -> None:
    look = wear(LIFE)
    for day in range(40):
        look.round(seen(86_400.0 * day, [60.0 - day]))
    assert signs(look) == {("drive", Sign.WORN)}
    (only,) = look.present.values()
    assert "1970-03-02" in only.text, "60 days after the epoch, at a point a day"
    slow = wear(LIFE)
    for day in range(400):
        slow.round(seen(86_400.0 * day, [90.0 - day // 40]))
    assert not slow.present, "ten more years"


def test_a_drive_near_its_end_or_falling_fast_is_worn_without_a_trend() -> None:
    look = wear(LIFE)
    look.round(seen(0, [9.0]))
    assert signs(look) == {("drive", Sign.WORN)}
    look.round(seen(60, [100.0]))
    assert not look.present, "a new one"
    look.round(seen(120, [80.0]))
    assert signs(look) == {("drive", Sign.WORN)}


def test_what_another_drive_in_its_place_has_lost_is_not_its_own() -> None:
    def stands(serial: str | None) -> Inventory:
        told = structs.replace(part("drive", Kind.DRIVE), identity=Identity(serial=serial))
        return structs.replace(with_sensors(LIFE), parts=(told,))

    look = WearLook(NAME)
    look.inventory(stands("N1"), 0.0)
    look.round(seen(60, [100.0]))
    look.round(seen(120, [80.0]))
    assert signs(look) == {("drive", Sign.WORN)}, "told before anybody knows that it is another"
    look.inventory(stands(None), 150.0)
    assert signs(look) == {("drive", Sign.WORN)}, "without a serial number it may be the same"
    look.inventory(stands("N2"), 180.0)
    assert not look.present
    for turn in range(4, 10):
        look.round(seen(60.0 * turn, [80.0]))
    assert not look.present
    look.round(seen(660, [60.0]))
    assert signs(look) == {("drive", Sign.WORN)}, "its own loss counts"
    again = WearLook(NAME)
    again.inventory(stands("N3"), 700.0)
    again.recall(look.learnt(), 690.0, 700.0)
    again.round(seen(720, [40.0]))
    assert not again.present, "exchanged while nobody looked"
    same = WearLook(NAME)
    same.inventory(stands("N2"), 700.0)
    same.recall(look.learnt(), 690.0, 700.0)
    same.round(seen(720, [40.0]))
    assert signs(same) == {("drive", Sign.WORN)}


def test_a_part_that_expects_to_fail() -> None:
    look = WearLook(NAME)
    look.inventory(inventory(statuses={"drive": Status(failure_predicted=False)}), 0.0)
    assert look.visible[pid("drive")] == {Sign.PREDICTED}
    assert look.round(seen(30, [1.0] * 6, statuses={"drive": Status(failure_predicted=True)}))
    assert signs(look) == {("drive", Sign.PREDICTED)}
    assert look.round(seen(60, [1.0] * 6, statuses={"drive": Status(failure_predicted=False)}))


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


def blades(count: int) -> Inventory:
    parts = [part("sled", Kind.SLED)]
    sensors = []
    for number in range(count):
        blade = f"blade{number}"
        parts.append(part(blade, Kind.BLADE, "sled"))
        told = (
            ("inlet", Quantity.TEMPERATURE, "Intake"),
            ("power", Quantity.POWER, None),
            ("processor", Quantity.TEMPERATURE, "CPU"),
            ("memory", Quantity.TEMPERATURE, "Memory"),
            ("regulator", Quantity.TEMPERATURE, "VoltageRegulator"),
        )
        for name, quantity, context in told:
            unit = "Cel" if quantity is Quantity.TEMPERATURE else "W"
            sensors.append(
                Sensor(
                    sensor=f"{blade} {name}",
                    controller=NAME,
                    part=pid(blade),
                    kind=Kind.BLADE,
                    quantity=quantity,
                    unit=unit,
                    source=f"/{blade}/{name}",
                    context=context,
                )
            )
    first = Frame(0.0, array("d", [NAN] * len(sensors)), bytes(len(sensors)))
    return structs.replace(inventory(parts=parts, links=()), layout=Layout(NAME, tuple(sensors)), frame=first)


def loads(turn: int, count: int, hot: float = 0.0) -> list[float]:
    """Blades under loads of their own, all with the same rises a watt; the first one's processor hotter."""
    values = []
    for number in range(count):
        power = 200.0 + 80.0 * math.sin(turn / 7.0 + number)
        inlet = 23.0 + 2.0 * math.sin(turn / 50.0)
        extra = hot if number == 0 else 0.0
        values += [inlet, power, inlet + 0.2 * power * (1 + extra), inlet + 0.08 * power, inlet + 0.12 * power]
    return [round(value, 1) for value in values]


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
