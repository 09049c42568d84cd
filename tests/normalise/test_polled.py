"""Rounds: what bodies become, the quick way and the careful way, and what is never invented."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.model import NO_VALUE, DefectKind, Frame, Health, Location, State, Status
from collector.normalise import careful
from collector.normalise.inventory import Normalised, build
from collector.normalise.polled import Decoded, Decoder
from collector.poll.plan import plan
from collector.redfish.resources import Fetch, Resource, Walked
from tests.normalise.services import (
    NAME,
    SLED,
    Bodies,
    chassis,
    collection,
    four_blades,
    link,
    ok,
    power,
    read,
    resource,
    root,
    sensors,
    sled,
    temperature,
    thermal,
)
from tests.normalise.walks import MAIN, OTHERS, TIME, answers, example, walk_of

LATER = TIME + 30
SENSORS = f"{SLED}/Sensors"
FAN = f"{SLED}/ThermalSubsystem/Fans/1"


class Rounds:
    """A walked service, and rounds over it whose bodies a test may change."""

    def __init__(self, bodies: Bodies, *, expand: bool = True) -> None:
        self.walked: Walked = walk_of(bodies, NAME, expand=expand)
        self.inventory: Normalised = build(self.walked, Location())
        self.fetches: tuple[Fetch, ...] = plan(self.walked, self.inventory)
        self.decoder = Decoder(self.inventory, self.fetches)

    def fresh(self) -> Rounds:
        """The same service as right after its walk."""
        twin = copy.copy(self)
        twin.decoder = Decoder(self.inventory, self.fetches)
        return twin

    def __call__(
        self,
        changes: Mapping[str, Any] | None = None,
        spoil: Callable[[bytes], bytes] | None = None,
        *,
        lost: str = "-",
    ) -> Decoded:
        """One round; ``spoil`` changes the bytes of every body; the GET whose path begins with ``lost`` fails."""
        self.decoder.begin()
        for index, body in enumerate(answers(self.walked, self.fetches, changes)):
            if not self.fetches[index].path.startswith(lost):
                self.decoder.take(index, body if spoil is None else spoil(body), LATER)
        return self.decoder.finish(LATER)

    def value(self, decoded: Decoded, source: str) -> float:
        assert decoded.frame is not None
        return decoded.frame.values[self.column(source)]

    def health(self, decoded: Decoded, source: str) -> Health:
        assert decoded.frame is not None
        return Health(decoded.frame.healths[self.column(source)])

    def column(self, source: str) -> int:
        return [one.source.endswith(source) for one in self.inventory.layout.sensors].index(True)


def modern(*listed: dict[str, Any]) -> Rounds:
    return Rounds(root() | chassis(sled()) | sensors(*listed))


def classic(**arrays: list[dict[str, Any]]) -> Rounds:
    return Rounds(root() | chassis(sled()) | thermal(**arrays))


def row(name: str, reading: Any = 20, **more: Any) -> dict[str, Any]:
    return {"Name": name, "ReadingCelsius": reading, **more}


def changed(rounds: Rounds, uri: str, **more: Any) -> dict[str, Any]:
    """A walked body with properties changed; None takes one away."""
    body = rounds.walked.resources[uri].body | more
    return {uri: {key: value for key, value in body.items() if value is not ...}}


def same(one: Frame, other: Frame) -> bool:
    return (one.values.tobytes(), one.healths, one.times) == (other.values.tobytes(), other.healths, other.times)


# The published services


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_an_unchanged_service_tells_in_a_round_what_it_told_in_the_walk(name: str, expand: bool) -> None:
    walked = example(name, expand=expand)
    inventory = build(walked, Location())
    fetches = plan(walked, inventory)
    decoder = Decoder(inventory, fetches)
    decoder.begin()
    for index, body in enumerate(answers(walked, fetches)):
        decoder.take(index, body, TIME)
    decoded = decoder.finish(TIME)
    assert decoded.statuses == {}
    assert not decoded.shape_changed
    assert decoded.frame is not None
    proper = {uri for fetch in fetches for uri in fetch.brings}
    for sensor, before, after in zip(
        inventory.layout.sensors, inventory.frame.values, decoded.frame.values, strict=True
    ):
        if sensor.source.partition("#")[0] in proper:  # else read at another place, which may tell another number
            assert before == after or (math.isnan(before) and math.isnan(after))
        else:
            assert not expand or "#" in sensor.source or name in ("public-pdu", "public-cooling-unit")


# Readings


def test_readings_come_in_the_canonical_unit_with_health() -> None:
    energy = {"Id": "E", "Name": "E", "ReadingType": "EnergykWh", "ReadingUnits": "kW.h", "Reading": 1, "Status": ok()}
    rounds = modern(temperature("T"), energy)
    decoded = rounds(
        changed(rounds, f"{SENSORS}/T", Reading=71.5, Status=ok("Warning")) | changed(rounds, f"{SENSORS}/E", Reading=2)
    )
    assert (rounds.value(decoded, "/T"), rounds.value(decoded, "/E")) == (71.5, 7.2e6)
    assert (rounds.health(decoded, "/T"), rounds.health(decoded, "/E")) == (Health.WARNING, Health.OK)
    assert decoded.frame is not None
    assert (decoded.frame.time, decoded.frame.times) == (LATER, None)


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize(
    ("change", "value", "kind"),
    [
        ({"Reading": 0}, 0.0, None),
        ({"Reading": None}, NO_VALUE, None),
        ({"Reading": ...}, NO_VALUE, None),
        ({"Status": {"State": "Absent"}}, NO_VALUE, None),
        ({"Status": {"State": "Disabled", "Health": "OK"}}, NO_VALUE, None),
        ({"Status": {"State": "Resting"}}, 20.0, None),
        ({"Status": None}, 20.0, None),
        ({"Reading": 121}, NO_VALUE, DefectKind.OUT_OF_RANGE),
        ({"Reading": -1}, NO_VALUE, DefectKind.OUT_OF_RANGE),
        ({"Reading": 120}, 120.0, None),
        ({"Reading": "21"}, NO_VALUE, DefectKind.WRONG_TYPE),
        ({"Reading": False}, NO_VALUE, DefectKind.WRONG_TYPE),
        ({"Reading": {"Reading": 21}}, NO_VALUE, DefectKind.WRONG_TYPE),
        ({"Reading": math.nan}, NO_VALUE, DefectKind.NOT_A_NUMBER),
        ({"Reading": -math.inf}, NO_VALUE, DefectKind.NOT_A_NUMBER),
        ({"Reading": 10**999}, NO_VALUE, DefectKind.NOT_A_NUMBER),
        ({"Status": "OK"}, 20.0, None),
        ({"Status": {"Health": 3}}, 20.0, None),
        ({"ReadingTime": 5}, 20.0, DefectKind.BAD_TIME),
    ],
)
def test_one_wrong_value_costs_that_value_and_no_other(
    change: dict[str, Any], value: float, kind: DefectKind | None, expand: bool
) -> None:
    listed = [temperature(name, 20, ReadingRangeMin=0, ReadingRangeMax=120) for name in ("A", "B", "C")]
    rounds = Rounds(root() | chassis(sled()) | sensors(*listed), expand=expand)
    decoded = rounds(changed(rounds, f"{SENSORS}/B", **change))
    assert decoded.frame is not None
    assert (rounds.value(decoded, "/A"), rounds.value(decoded, "/C")) == (20, 20)
    assert rounds.value(decoded, "/B") == value or math.isnan(value)
    assert math.isnan(rounds.value(decoded, "/B")) == math.isnan(value)
    assert [defect.kind for defect in decoded.defects] == ([] if kind is None else [kind])
    assert all(defect.resource == f"{SENSORS}/B" for defect in decoded.defects)
    assert not decoded.shape_changed


@pytest.mark.parametrize(
    ("bytes_", "kind"),
    [
        (b"", DefectKind.NOT_JSON),
        (b"<html>busy</html>", DefectKind.NOT_JSON),
        (b'{"Members": [', DefectKind.NOT_JSON),
        (b"\xff\xfe{}", DefectKind.NOT_JSON),
        (b"[1, 2]", DefectKind.WRONG_TYPE),
        (b"null", DefectKind.WRONG_TYPE),
        (b'{"a":' * 100_000, DefectKind.TOO_DEEP),
        (b'{"Members":' + b"[" * 100_000, DefectKind.TOO_DEEP),
    ],
)
def test_a_body_that_is_no_json_is_one_defect(bytes_: bytes, kind: DefectKind) -> None:
    for rounds in (modern(temperature("A"), temperature("B")), classic(Temperatures=[row("A"), row("B")])):
        decoded = rounds(spoil=lambda body: bytes_ if b"Reading" in body else body)
        assert [defect.kind for defect in decoded.defects] == [kind]
        assert decoded.frame is None
        again = rounds(spoil=lambda body: bytes_ if b"Reading" in body else body)
        assert again.defects == ()  # known by now
        assert rounds().frame is not None


def test_a_lost_body_leaves_no_values_and_the_other_ones_stay() -> None:
    bodies = (
        root() | chassis(sled()) | sensors(temperature("A")) | thermal(Temperatures=[row("Z", PhysicalContext="X")])
    )
    rounds = Rounds(bodies)
    decoded = rounds(lost=SENSORS)
    assert math.isnan(rounds.value(decoded, "/A"))
    assert rounds.health(decoded, "/A") is Health.UNKNOWN
    assert rounds.value(decoded, "/ReadingCelsius") == 20


def test_no_body_is_no_frame_and_not_the_last_one_again() -> None:
    rounds = modern(temperature("A"))
    assert rounds().frame is not None
    decoded = rounds(lost="/redfish")
    assert decoded == (None, {}, (), False)


def test_a_frame_is_not_touched_by_later_rounds() -> None:
    rounds = modern(temperature("A"))
    first = rounds().frame
    assert first is not None
    rounds(changed(rounds, f"{SENSORS}/A", Reading=99))
    assert first.values[0] == 20


def test_nothing_told_by_all_sensors_is_a_frame_without_values() -> None:
    rounds = modern(temperature("A"))
    decoded = rounds(changed(rounds, f"{SENSORS}/A", Reading=None, Status=None))
    assert decoded.frame is not None
    assert math.isnan(decoded.frame.values[0])
    assert (decoded.defects, decoded.shape_changed) == ((), False)


def test_a_defect_known_since_the_walk_is_not_told_again() -> None:
    rounds = modern(temperature("A", "20"))
    assert [defect.kind for defect in rounds.inventory.defects] == [DefectKind.WRONG_TYPE]
    assert rounds().defects == ()


def test_times_are_those_told_else_those_of_receipt() -> None:
    rounds = modern(temperature("A"), temperature("B"), temperature("C"))
    now = "2025-11-24T16:00:28Z"
    decoded = rounds(
        changed(rounds, f"{SENSORS}/A", ReadingTime=now)
        | changed(rounds, f"{SENSORS}/B", ReadingTime="1999-01-01T00:00:00Z")
    )
    assert decoded.frame is not None
    assert decoded.frame.times is not None
    assert list(decoded.frame.times) == [LATER - 2, LATER, LATER]
    assert [defect.kind for defect in decoded.defects] == [DefectKind.BAD_TIME]
    assert rounds(changed(rounds, f"{SENSORS}/B", ReadingTime="1999-01-01T00:00:30Z")).defects == ()


# Shape


def test_members_in_another_order_are_still_themselves() -> None:
    rounds = modern(temperature("A", 1), temperature("B", 2), temperature("C", 3))
    decoded = rounds({SENSORS: collection(SENSORS, f"{SENSORS}/C", f"{SENSORS}/A", f"{SENSORS}/B")})
    assert decoded.frame is not None
    assert list(decoded.frame.values) == [1, 2, 3]
    assert not decoded.shape_changed


@pytest.mark.parametrize("names", [("A", "C"), ("A", "B", "C", "D"), ("A", "D", "C"), ("A", "A", "C")])
def test_members_come_or_gone_ask_for_a_new_walk(names: tuple[str, ...]) -> None:
    rounds = modern(temperature("A", 1), temperature("B", 2), temperature("C", 3))
    new = {f"{SENSORS}/D": resource(f"{SENSORS}/D", "Sensor", **temperature("D", 4))}
    decoded = rounds(new | {SENSORS: collection(SENSORS, *(f"{SENSORS}/{name}" for name in names))})
    assert decoded.shape_changed
    assert decoded.frame is not None
    assert (decoded.frame.values[0], decoded.frame.values[2]) == (1, 3)
    assert math.isnan(decoded.frame.values[1]) == ("B" not in names)


def test_members_that_come_as_links_only_are_no_readings_and_no_news() -> None:
    rounds = Rounds(four_blades() | sensors(temperature("A"), temperature("B")))
    bare = {uri: link(uri) for uri in (f"{SENSORS}/A", f"{SENSORS}/B", FAN, FAN[:-1] + "2")}
    decoded = rounds(bare)
    assert decoded.shape_changed
    assert decoded.statuses == {}
    assert [(one.kind, one.property) for one in decoded.defects] == [(DefectKind.MISSING, "/Members")] * 2


def test_a_message_in_place_of_a_resource_is_no_news() -> None:
    rounds = Rounds(root() | chassis(sled()), expand=False)
    decoded = rounds({SLED: {"error": {"code": "Base.1.18.GeneralError", "message": "busy"}}})
    assert (decoded.statuses, decoded.shape_changed) == ({}, True)
    assert [defect.kind for defect in decoded.defects] == [DefectKind.MISSING]


@pytest.mark.parametrize("expand", [True, False])
def test_a_message_in_place_of_sensors_is_no_frame(expand: bool) -> None:
    rounds = Rounds(root() | chassis(sled()) | sensors(temperature("A")), expand=expand)
    told = json.dumps({"error": {"code": "Base.1.18.GeneralError", "message": "busy"}}).encode()
    decoded = rounds(spoil=lambda body: told if b"Reading" in body else body)
    assert (decoded.frame, decoded.shape_changed) == (None, True)


def test_every_page_of_a_collection_is_read_by_itself() -> None:
    bodies = root() | chassis(sled()) | sensors(*(temperature(f"T{number}", number) for number in range(4)))
    walked = walk_of(bodies, NAME, expand=True)
    second = f"{SENSORS}?$skip=2&$expand=.($levels=1)"
    pages = {
        uri: Resource(uri, one.body, second if uri in (f"{SENSORS}/T2", f"{SENSORS}/T3") else one.fetched_by)
        for uri, one in walked.resources.items()
    }
    told = Walked(controller=NAME, time=TIME, root={}, resources=pages, features=walked.features)
    inventory = build(told, Location())
    fetches = plan(told, inventory)
    decoder = Decoder(inventory, fetches)
    decoder.begin()
    for index, fetch in enumerate(fetches):
        members = [bodies[uri] for uri in fetch.brings]
        decoder.take(index, json.dumps({"@odata.id": SENSORS, "Members": members}).encode(), LATER)
    decoded = decoder.finish(LATER)
    assert decoded.frame is not None
    assert list(decoded.frame.values) == [0, 1, 2, 3]
    assert not decoded.shape_changed


ROWS = [row("A", 1), row("B", 2), row("C", 3)]


def shifted(rows: list[dict[str, Any]]) -> dict[str, Any]:
    return thermal(Temperatures=rows)


@pytest.mark.parametrize(
    ("rows", "values"),
    [
        ([row("B", 2), row("C", 3)], [None, None, None]),
        ([row("A", 1), row("C", 3)], [1, None, None]),
        ([row("A", 1), row("B", 2), row("C", 3), row("D", 4)], [1, 2, 3]),
        ([row("A", 1), row("X", 2), row("C", 3)], [1, None, 3]),
        ([row("A", 1), None, row("C", 3)], [1, None, 3]),
        ([], [None, None, None]),
    ],
)
def test_rows_that_moved_are_nobodys_readings(rows: list[Any], values: list[float | None]) -> None:
    rounds = classic(Temperatures=ROWS)
    told = shifted([one for one in rows if one is not None])
    if None in rows:
        told[f"{SLED}/Thermal"]["Temperatures"].insert(1, None)
        told[f"{SLED}/Thermal"]["Temperatures"][2]["MemberId"] = "2"
    decoded = rounds(told)
    assert decoded.shape_changed
    assert decoded.frame is not None
    assert [None if math.isnan(value) else value for value in decoded.frame.values] == values


def test_a_row_of_the_same_name_with_another_member_id_has_moved() -> None:
    rounds = classic(Temperatures=ROWS)
    told = shifted(ROWS)
    told[f"{SLED}/Thermal"]["Temperatures"][1]["MemberId"] = "7"
    decoded = rounds(told)
    assert decoded.shape_changed
    assert math.isnan(decoded.frame.values[1]) if decoded.frame else False


def test_rows_of_excerpts_are_known_by_what_they_copy() -> None:
    uri = f"{SLED}/ThermalSubsystem/ThermalMetrics"
    sources = [f"{SENSORS}/Gone{number}" for number in (1, 2)]
    rows = [{"Reading": 20 + number, "DataSourceUri": source} for number, source in enumerate(sources)]
    rounds = Rounds(root() | chassis(sled()) | {uri: resource(uri, "ThermalMetrics", TemperatureReadingsCelsius=rows)})
    decoded = rounds(changed(rounds, uri, TemperatureReadingsCelsius=rows[::-1]))
    assert decoded.shape_changed
    assert decoded.frame is not None
    assert all(math.isnan(value) for value in decoded.frame.values)


# Statuses


def test_only_statuses_that_changed_are_told_and_only_once() -> None:
    rounds = Rounds(four_blades())
    assert rounds().statuses == {}
    failed = changed(rounds, FAN, Status=ok("Critical"))
    assert rounds(failed).statuses == {f"n1:{FAN}": Status(state=State.ENABLED, health=Health.CRITICAL)}
    assert rounds(failed).statuses == {}
    assert rounds().statuses == {f"n1:{FAN}": Status(state=State.ENABLED, health=Health.OK)}


@pytest.mark.parametrize("expand", [True, False])
def test_every_word_of_a_status_counts(expand: bool) -> None:
    rounds = Rounds(four_blades(), expand=expand)
    blade = f"{SLED}B2"
    before: Any = None
    for change in (
        {"PowerState": "Off"},
        {"LocationIndicatorActive": True},
        {"IndicatorLED": "Blinking"},
        {"Status": ok(HealthRollup="Warning")},
        {"Status": ok(Conditions=[{"Severity": "Warning", "Message": "warm"}])},
        {"Status": ok(state="StandbyOffline")},
    ):
        decoded = rounds(changed(rounds, blade, **change))
        assert decoded.statuses.keys() == {f"n1:{blade}"}
        assert decoded.statuses[f"n1:{blade}"] != before
        before = decoded.statuses[f"n1:{blade}"]
        assert decoded.defects == ()


@pytest.mark.parametrize("expand", [True, False])
def test_unknown_words_and_wrong_types_of_a_status_are_named(expand: bool) -> None:
    rounds = Rounds(four_blades(), expand=expand)
    told = {"Status": {"State": "Offline", "Health": 5}, "PowerState": [], "IndicatorLED": "Amber"}
    decoded = rounds(changed(rounds, FAN, **told))
    assert decoded.statuses == {f"n1:{FAN}": Status()}
    assert {(one.kind, one.property) for one in decoded.defects} == {
        (DefectKind.UNKNOWN_WORD, "/Status/State"),
        (DefectKind.WRONG_TYPE, "/Status/Health"),
        (DefectKind.WRONG_TYPE, "/PowerState"),
        (DefectKind.UNKNOWN_WORD, "/IndicatorLED"),
    }


def test_a_status_no_longer_told_is_unknown() -> None:
    rounds = Rounds(four_blades(), expand=False)
    decoded = rounds(changed(rounds, FAN, Status=...))
    assert decoded.statuses == {f"n1:{FAN}": Status()}


def test_a_lost_body_changes_no_status() -> None:
    rounds = Rounds(four_blades())
    failed = changed(rounds, FAN, Status=ok("Critical"))
    assert rounds(failed, lost=FAN[:-2]).statuses == {}
    assert len(rounds(failed).statuses) == 1


def test_rows_have_statuses_too_and_moved_ones_have_none() -> None:
    fans = [{"Name": name, "Reading": 9000, "ReadingUnits": "RPM"} for name in ("F1", "F2")]
    rounds = classic(Fans=fans)
    failed = [fans[0], fans[1] | {"Reading": 0, "Status": ok("Critical")}]
    decoded = rounds(thermal(Fans=failed))
    assert decoded.statuses == {f"n1:{SLED}/Thermal#/Fans/1": Status(state=State.ENABLED, health=Health.CRITICAL)}
    assert decoded.frame is not None
    assert list(decoded.frame.values) == [9000, 0]
    decoded = rounds(thermal(Fans=failed[1:]))
    assert (decoded.statuses, decoded.shape_changed) == ({}, True)


def test_decoders_of_one_design_share_their_plan_and_not_their_state() -> None:
    one, other = Rounds(four_blades()), Rounds(four_blades())
    assert one.inventory.recipe is other.inventory.recipe
    failed = changed(one, FAN, Status=ok("Critical"))
    assert len(one(failed).statuses) == 1
    assert len(other(failed).statuses) == 1
    assert other(failed).statuses == {}


def test_a_bare_inventory_is_refused() -> None:
    inventory = read(four_blades())
    bare = {name: getattr(inventory, name) for name in type(inventory).__mro__[1].__struct_fields__}
    with pytest.raises(TypeError, match=r"normalise\.inventory\.build"):
        Decoder(type(inventory).__mro__[1](**bare), ())


# The quick way and the careful way are the same

MIXED = (
    four_blades()
    | sensors(temperature("A", 1, ReadingTime="2025-11-24T15:59:58Z"), temperature("B", 2), temperature("C", 3))
    | thermal(
        Temperatures=[row("Z", 5), row("Y", 6)],
        Fans=[{"Name": name, "Reading": 9000, "ReadingUnits": "RPM"} for name in ("P", "Q", "R")],
    )
    | power(PowerSupplies=[{"Name": "S", "LineInputVoltage": 230, "PowerInputWatts": 300}])
)


@cache
def mixed(expand: bool) -> Rounds:
    return Rounds(MIXED, expand=expand)


values = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-500, 500),
    st.floats(-500, 500),
    st.sampled_from(["Enabled", "Absent", "Disabled", "OK", "Critical", "On", "Lit", "21", "", "Weird"]),
    st.sampled_from([{"State": "Enabled", "Health": "OK"}, {"State": "Absent"}, {"Health": "Warning"}, {}, []]),
)


def places(value: Any, steps: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place of a body but its own name, which the transport's twin of a walk needs."""
    if isinstance(value, dict):
        return [
            one for key in value if key not in ("@odata.id", "Members") for one in places(value[key], (*steps, key))
        ]
    if isinstance(value, list):
        return [one for index, below in enumerate(value) for one in places(below, (*steps, index))] + [steps]
    return [steps]


PLACES = [(uri, steps) for uri, body in MIXED.items() for steps in places(body) if steps]


def put(body: Any, steps: tuple[Any, ...], value: Any) -> None:
    try:
        for step in steps[:-1]:
            body = body[step]
        body[steps[-1]] = value
    except (IndexError, KeyError, TypeError):
        pass  # an earlier change took the place away


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=st.lists(st.tuples(st.sampled_from(PLACES), values), max_size=6), expand=st.booleans())
def test_both_ways_of_reading_agree(changes: list[tuple[tuple[str, tuple[Any, ...]], Any]], expand: bool) -> None:
    quick, slow = mixed(expand).fresh(), mixed(expand).fresh()
    slow.decoder._takers = [
        lambda body, received, plan=plan: careful.take(plan, body, received, slow.decoder._round)  # type: ignore[misc]
        for plan in slow.decoder._plans
    ]
    told = copy.deepcopy(MIXED)
    for (uri, steps), value in changes:
        put(told[uri], steps, value)
    one, other = quick(told), slow(told)
    assert one.frame is not None
    assert other.frame is not None
    assert same(one.frame, other.frame)
    assert one.statuses == other.statuses
    assert one.shape_changed == other.shape_changed
    assert {(two.resource, two.property, two.kind) for two in one.defects} == {
        (two.resource, two.property, two.kind) for two in other.defects
    }


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_no_value_is_told_that_is_not_in_the_bytes(data: st.DataObject) -> None:
    rounds = mixed(expand=True).fresh()

    def spoil(body: bytes) -> bytes:
        spoilt = bytearray(body)
        for _ in range(data.draw(st.integers(0, 3))):
            spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
        return bytes(spoilt[: data.draw(st.sampled_from([len(spoilt), len(spoilt) // 2]))])

    sent: list[bytes] = []
    decoded = rounds(spoil=lambda body: sent.append(spoil(body)) or sent[-1])  # type: ignore[func-returns-value]
    if decoded.frame is None:
        return
    there = set()
    for body in sent:
        try:
            there |= numbers(json.loads(body.decode("utf-8", "replace")))  # a spoilt text spoils no number
        except (ValueError, RecursionError):
            continue
    assert {value for value in decoded.frame.values if not math.isnan(value)} <= there


def numbers(value: Any) -> set[float]:
    if isinstance(value, dict | list):
        below = value.values() if isinstance(value, dict) else value
        return set().union(*(numbers(one) for one in below)) if below else set()
    return {float(value)} if isinstance(value, int | float) and not isinstance(value, bool) else set()
