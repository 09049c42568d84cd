"""Campaign: mutated bodies through the normaliser, as a walk and as a round read them.

100,000 of them are a whole campaign; ``SLEDKEEPER_CAMPAIGN=1`` runs it, a fraction that much of it. Bodies: DMTF
DSP2043 (services and the single examples of DSP2046).
"""

from __future__ import annotations

import json
import math
from functools import cache
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import asdict, astuple

from collector.model import Location
from collector.normalise.inventory import Normalised, build
from collector.normalise.polled import Decoder
from collector.redfish.resources import SERVICE_ROOT, Features, Fetch, Resource, Walked
from tests.campaigns.mutations import JUNK, MUTATIONS, Mutation, examples, mutated, numbers_in
from tests.conftest import standard
from tests.normalise.walks import TIME

pytestmark = pytest.mark.slow

CHUNKS = 10
FULL = 100_000

_IDLE = ("Schema", "Registr", "Account", "Role", "Session", "LogEntr", "Task", "Event", "Certificate", "Privilege")
"""Types that no walk fetches and no part of the normaliser looks into; a few of them would be enough."""


class Subject(NamedTuple):
    """One body to mutate, with how rounds read it."""

    uri: str
    body: dict[str, Any]
    inventory: Normalised
    fetch: Fetch


@cache
def subjects() -> tuple[Subject, ...]:
    """Every body that tells something, most first."""
    found = []
    for path in sorted(standard("redfish", "mockups").rglob("*.json")):
        body = json.loads(path.read_bytes())
        if not isinstance(body, dict) or any(word in str(body.get("@odata.type")) for word in _IDLE):
            continue
        body.pop("@Redfish.Copyright", None)
        told = body.get("@odata.id")
        uri = told.rstrip("/") if isinstance(told, str) and told.rstrip("/") else f"/redfish/v1/Chassis/{path.stem}"
        inventory = build(walked(uri, body), Location())
        if inventory.layout.sensors or inventory.statuses:
            found.append(Subject(uri, body, inventory, Fetch(uri, (uri,))))
    return tuple(sorted(found, key=lambda one: -len(one.inventory.layout.sensors)))


def walked(uri: str, body: Any) -> Walked:
    """A walk that brought a chassis and one body beside it."""
    chassis = uri.partition("/Sensors")[0] if "/Sensors/" in uri else "/redfish/v1/Chassis/C"
    holder = {"@odata.id": chassis, "@odata.type": "#Chassis.v1_25_0.Chassis", "ChassisType": "Sled"}
    resources = {
        SERVICE_ROOT: Resource(SERVICE_ROOT, {"@odata.id": SERVICE_ROOT}, SERVICE_ROOT),
        chassis: Resource(chassis, holder, chassis),
        uri: Resource(uri, body if isinstance(body, dict) else {}, uri),
    }
    return Walked(controller="n1", time=TIME, root={}, resources=resources, features=Features())


def check_inventory(inventory: Normalised, numbers: set[float]) -> None:
    """What must be true of whatever was walked."""
    ids = {part.id for part in inventory.parts}
    assert len(ids) == len(inventory.parts)
    assert all(part.parent is None or part.parent in ids for part in inventory.parts)
    assert inventory.statuses.keys() <= ids
    sensors = inventory.layout.sensors
    assert len({sensor.key for sensor in sensors}) == len(sensors)
    assert len(inventory.frame.values) == len(inventory.frame.healths) == len(sensors) == len(inventory.recipe.readers)
    for sensor in sensors:
        limits = [limit for limit in asdict(sensor.thresholds).values() if limit is not None]
        bounds = [bound for bound in (sensor.range_min, sensor.range_max) if bound is not None]
        assert all(math.isfinite(number) for limit in limits for number in astuple(limit))
        assert all(math.isfinite(bound) for bound in bounds)
    assert all(defect.detail.isprintable() and len(defect.detail) <= 300 for defect in inventory.defects)
    check_values(inventory, inventory.frame.values, numbers)


def check_values(inventory: Normalised, values: Any, numbers: set[float]) -> None:
    """No value that is not a number of the bytes, in the unit of one of the sensor's places."""
    told: dict[tuple[float, float], set[float]] = {}
    for readers, value in zip(inventory.recipe.readers, values, strict=True):
        if math.isnan(value):
            continue
        assert math.isfinite(value)
        ways = {(reader.scale, reader.offset) for reader in readers}
        for scale, offset in ways - told.keys():
            told[scale, offset] = {number * scale + offset for number in numbers}
        assert any(value in told[way] for way in ways), f"{value} was told by nobody"


def check_places(inventory: Normalised, values: Any, raw: bytes) -> None:
    """Sharper, for one body: a value stands at one of its sensor's own places, of a part that is there, within range.

    A number from the row beside would pass for told by the bytes. Bodies that are no JSON are not looked at.
    """
    try:
        body = json.loads(raw)
    except (ValueError, RecursionError):
        return
    for sensor, readers, value in zip(inventory.layout.sensors, inventory.recipe.readers, values, strict=True):
        if math.isnan(value):
            continue
        assert sensor.range_min is None or sensor.range_min <= value, f"{sensor.source}: below its range"
        assert sensor.range_max is None or value <= sensor.range_max, f"{sensor.source}: above its range"
        ways = {(reader.scale, reader.offset, reader.duration) for reader in readers}
        told = [_told_at(body, place) for place in (sensor.source, *sensor.also_at)]
        assert any(
            value == number * scale + offset
            for scale, offset, spans in ways
            for leaf in told
            if isinstance(leaf, str) is spans
            for number in numbers_in(json.dumps(leaf).encode())
        ), f"{sensor.source}: {value} does not stand there, but {told}"


def _told_at(body: Any, place: str) -> Any:
    """The number, or the duration, at a place of a body; None where there is none, or where nothing is fitted."""
    state = _step(_step(body, "Status"), "State")
    leaf, holder = body, body
    for step in (place.partition("#")[2] or "/Reading").split("/")[1:]:
        name = step.replace("~1", "/").replace("~0", "~")
        if isinstance(leaf, dict):
            holder = leaf
        if isinstance(leaf, list):
            leaf = leaf[int(name)] if name.isdecimal() and int(name) < len(leaf) else None
        else:
            leaf = _step(leaf, name)
    own = _step(_step(holder, "Status"), "State")
    gone = (own if own is not None else state) in ("Absent", "Disabled")
    return leaf if not gone and isinstance(leaf, int | float | str) and not isinstance(leaf, bool) else None


def _step(value: Any, name: str) -> Any:
    return value.get(name) if isinstance(value, dict) else None


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_mutated_bodies(chunk: int) -> None:
    """Chunks keep what hypothesis remembers of a campaign small."""

    @examples(FULL // CHUNKS)
    @given(
        st.integers(0, 10**6),
        st.lists(MUTATIONS, min_size=1, max_size=4),
        st.none() | st.tuples(st.floats(0, 1), st.integers(0, 255)),
        st.floats(0, 1),
    )
    def campaign(which: int, mutations: list[Mutation], byte: tuple[float, int] | None, cut: float) -> None:
        subject = subjects()[which % len(subjects())]
        body = mutated(subject.body, mutations)
        raw = json.dumps(body).encode()
        inventory = build(walked(subject.uri, body), Location(rack="R02"))
        check_inventory(inventory, numbers_in(raw))
        check_places(inventory, inventory.frame.values, raw)
        decoder = Decoder(subject.inventory, (subject.fetch,))
        for bytes_ in (raw, _flipped(raw, byte), raw[: int(cut * len(raw))], json.dumps({"Members": [body]}).encode()):
            decoder.begin()
            decoder.take(0, bytes_, TIME)
            decoded = decoder.finish(TIME)
            assert decoded.statuses.keys() <= subject.inventory.statuses.keys()
            if decoded.frame is not None:
                check_values(subject.inventory, decoded.frame.values, numbers_in(bytes_))
                check_places(subject.inventory, decoded.frame.values, bytes_)
            assert all(one.detail.isprintable() and len(one.detail) <= 300 for one in decoded.defects)

    campaign()


def _flipped(raw: bytes, byte: tuple[float, int] | None) -> bytes:
    if byte is None or not raw:
        return raw
    at = min(int(byte[0] * len(raw)), len(raw) - 1)
    return raw[:at] + bytes([byte[1]]) + raw[at + 1 :]


def test_the_check_would_find_an_invented_value() -> None:
    subject = subjects()[0]
    numbers = numbers_in(json.dumps(subject.body).encode())
    check_values(subject.inventory, subject.inventory.frame.values, numbers)
    values = list(subject.inventory.frame.values)
    values[next(index for index, value in enumerate(values) if not math.isnan(value))] += 0.125
    with pytest.raises(AssertionError, match="told by nobody"):
        check_values(subject.inventory, values, numbers)
    assert len(JUNK) > 50
