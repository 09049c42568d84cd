"""What decoding a round costs: an expanded collection of 40 Sensors, an older Thermal body. Prints; asserts nothing.

Ratios within one run: our decoder (typed decode, range and state checks, columns, frame) against the bare floors that
give no readings yet: ``orjson.loads`` to dictionaries, ``msgspec`` to dictionaries and to structs.
"""

from __future__ import annotations

import json
import timeit
from collections.abc import Callable
from typing import Any

import msgspec
import orjson

from collector.model import Location
from collector.normalise.inventory import build
from collector.normalise.polled import Decoder
from collector.normalise.shapes import decode_sensors
from collector.poll.plan import plan
from tests.normalise.walks import TIME, answers, walk_of

ROOT = "/redfish/v1/"
CHASSIS = "/redfish/v1/Chassis/S1"


def main() -> None:
    """Print the figures."""
    for line in run():
        print(line, flush=True)


def run() -> list[str]:
    """One line a figure."""
    return [
        *_measured("40 sensors, one expanded collection", modern(40), structs=True),
        *_measured("the same, one sensor telling NaN", modern(40), spoilt=True),
        *_measured("older Thermal: 12 temperatures, 6 fans", legacy(12, 6)),
    ]


def _measured(title: str, bodies: dict[str, Any], *, structs: bool = False, spoilt: bool = False) -> list[str]:
    walked = walk_of(bodies, expand=True)
    inventory = build(walked, Location())
    fetches = plan(walked, inventory)
    index = max(range(len(fetches)), key=lambda number: len(answers(walked, fetches)[number]))
    body = answers(walked, fetches)[index]
    if spoilt:
        body = body.replace(b'"Reading": 20.5', b'"Reading": NaN', 1)
    decoder = Decoder(inventory, fetches)

    def ours() -> None:
        decoder.begin()
        decoder.take(index, body, TIME)
        decoder.finish(TIME)

    floors: dict[str, Callable[[], Any]] = {"json.loads": lambda: json.loads(body)}
    if not spoilt:
        floors |= {"orjson.loads": lambda: orjson.loads(body), "msgspec to dicts": lambda: msgspec.json.decode(body)}
    if structs:
        floors["msgspec to structs"] = lambda: decode_sensors(body)
    here = _microseconds(ours)
    readings = len(decoder._plans[index].columns)
    lines = [f"{title}: {len(body)} B, {here:.1f} µs a body, {here / readings:.2f} µs a reading"]
    for name, floor in floors.items():
        there = _microseconds(floor)
        lines.append(f"  {name} {there:.1f} µs: ours takes {here / there:.2f} times as long")
    return lines


def _microseconds(call: Callable[[], Any]) -> float:
    # Many short runs, the fastest of them: what others do on the machine falls out.
    return min(timeit.repeat(call, number=10, repeat=200)) / 10 * 1e6


def modern(sensors: int) -> dict[str, Any]:
    """A sled whose chassis lists Sensors as verbose as those of the published examples."""
    listed = [f"{CHASSIS}/Sensors/Temperature{number}" for number in range(sensors)]
    bodies: dict[str, Any] = _base({"Sensors": {"@odata.id": f"{CHASSIS}/Sensors"}})
    bodies[f"{CHASSIS}/Sensors"] = {
        "@odata.id": f"{CHASSIS}/Sensors",
        "Members": [{"@odata.id": one} for one in listed],
    }
    limit = {"DwellTime": "PT5M", "Activation": "Increasing", "HysteresisReading": -2, "HysteresisDuration": "PT1M"}
    for number, uri in enumerate(listed):
        bodies[uri] = {
            "@odata.id": uri,
            "@odata.type": "#Sensor.v1_12_0.Sensor",
            "Id": f"Temperature{number}",
            "Name": f"Blade {number // 10} Temperature {number}",
            "PhysicalContext": "SystemBoard",
            "Status": {"State": "Enabled", "Health": "OK"},
            "ReadingType": "Temperature",
            "Reading": 20.5 + number / 8,
            "ReadingUnits": "Cel",
            "ReadingTime": "2025-11-24T15:59:58Z",
            "ReadingRangeMin": 0,
            "ReadingRangeMax": 120,
            "Thresholds": {"UpperCaution": {"Reading": 75, **limit}, "UpperCritical": {"Reading": 85, **limit}},
            "RelatedItem": [{"@odata.id": CHASSIS}],
        }
    return bodies


def legacy(temperatures: int, fans: int) -> dict[str, Any]:
    """A sled that tells the older Thermal resource."""
    thermal = f"{CHASSIS}/Thermal"
    common = {"Status": {"State": "Enabled", "Health": "OK"}, "UpperThresholdCritical": 85}
    rows = [
        {"@odata.id": f"{thermal}#/Temperatures/{number}", "MemberId": str(number), "Name": f"Board {number} Temp"}
        | {"ReadingCelsius": 20 + number, "MinReadingRangeTemp": 0, "MaxReadingRangeTemp": 120, **common}
        | {"PhysicalContext": "SystemBoard", "RelatedItem": [{"@odata.id": CHASSIS}]}
        for number in range(temperatures)
    ]
    spinning = [
        {"@odata.id": f"{thermal}#/Fans/{number}", "MemberId": str(number), "Name": f"Fan {number}"}
        | {"Reading": 9000 + number, "ReadingUnits": "RPM", **common, "UpperThresholdCritical": 20000}
        for number in range(fans)
    ]
    bodies = _base({"Thermal": {"@odata.id": thermal}})
    bodies[thermal] = {"@odata.id": thermal, "@odata.type": "#Thermal.v1_7_3.Thermal"}
    bodies[thermal] |= {"Temperatures": rows, "Fans": spinning}
    return bodies


def _base(links: dict[str, Any]) -> dict[str, Any]:
    chassis = {"@odata.id": CHASSIS, "@odata.type": "#Chassis.v1_28_0.Chassis", "Name": "Sled", "ChassisType": "Sled"}
    return {
        ROOT: {"@odata.id": ROOT, "@odata.type": "#ServiceRoot.v1_20_0.ServiceRoot"},
        "/redfish/v1/Chassis": {"@odata.id": "/redfish/v1/Chassis", "Members": [{"@odata.id": CHASSIS}]},
        CHASSIS: chassis | links,
    }


if __name__ == "__main__":
    main()
