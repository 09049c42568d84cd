"""The single examples of DMTF DSP2043 (DSP2046, a body a schema, and bodies that are no resources): each normalises."""

from __future__ import annotations

import json
import math
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from collector.model import Location
from collector.normalise.inventory import Normalised, build
from collector.redfish.resources import SERVICE_ROOT, Features, Resource, Walked
from tests.conftest import STANDARDS
from tests.normalise.walks import TIME
from tests.standards.readings import is_number, list_body

FOLDER = STANDARDS / "redfish" / "mockups"
FILES = sorted(
    str(path.relative_to(FOLDER))
    for name in ("DSP2046-examples", "non-resource-examples")
    for path in FOLDER.glob(f"{name}/*.json")
) or ["DSP2046-examples"]

ODD_UNITS = {"DSP2046-examples/Sensor-v1-example.json"}
"""Quirk 5: a temperature in ``C``, which is the UCUM code of the coulomb."""


@cache
def read(file: str) -> tuple[Normalised, str, Any]:
    path = FOLDER / file
    if not path.is_file():
        pytest.skip(f"published material is missing: shared/standards/redfish/mockups/{file}")
    body = json.loads(path.read_bytes())
    told = body.get("@odata.id") if isinstance(body, dict) else None
    uri = told.rstrip("/") if isinstance(told, str) else "/redfish/v1/Chassis/X"
    resources = {
        SERVICE_ROOT: Resource(SERVICE_ROOT, {"@odata.id": SERVICE_ROOT}, SERVICE_ROOT),
        uri: Resource(uri, body if isinstance(body, dict) else {}, uri),
    }
    walked = Walked(controller="one", time=TIME, root={}, resources=resources, features=Features())
    return build(walked, Location()), uri, body


@pytest.mark.parametrize("file", FILES)
def test_each_body_normalises_with_every_number_once(file: str) -> None:
    inventory, uri, body = read(file)
    told = {place: one for place, one in list_body(uri, body).items() if is_number(one.value)}
    places = Counter(place for sensor in inventory.layout.sensors for place in (sensor.source, *sensor.also_at))
    assert [place for place, times in places.items() if times > 1] == []
    assert told.keys() <= places.keys()
    wrong: list[Any] = []
    for sensor, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True):
        here = told.get(sensor.source)
        if here is None or not here.present or not here.inside:
            if not math.isnan(value):
                wrong.append((sensor.source, value))
        elif not math.isclose(value, here.value * here.factor, rel_tol=1e-12):
            wrong.append((sensor.source, value, here))
    assert wrong == []


def test_they_are_all_there() -> None:
    if not Path(FOLDER).is_dir():
        pytest.skip("published material is missing: shared/standards/redfish/mockups")
    assert len(FILES) > 280
    telling = [file for file in FILES if read(file)[0].layout.sensors]
    assert len(telling) > 25
