"""Every number that an example service tells as a reading, listed straight from its JSON files.

Written without the collector's code, so that the two can be held against each other. Source of the places: DMTF
DSP8010 2025.4 (``Sensor_v1.xml``, ``Thermal_v1.xml``, ``Power_v1.xml``, the excerpts of Sensor in other schemas; for
plain numbers, whatever the ``…Metrics`` schemas type as a number, read off the CSDL while the JSON is gone through).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree

from tests.conftest import standard

LEGACY = {
    "Thermal": {"Temperatures": ["ReadingCelsius"], "Fans": ["Reading"]},
    "Power": {
        "PowerControl": ["PowerConsumedWatts"],
        "Voltages": ["ReadingVolts"],
        "PowerSupplies": [
            "LineInputVoltage",
            "PowerInputWatts",
            "PowerOutputWatts",
            "LastPowerOutputWatts",
            "EfficiencyPercent",
        ],
    },
}

FACTORS = {
    "kW.h": 3.6e6,
    "W.h": 3600.0,
    "A.h": 3600.0,
    "kPa": 1000.0,
    "L/s": 60.0,
    "m3/min": 1 / 60,
    "[ft_i]3/min": 4.719474432e-4,
    "mm[Hg]": 133.322,
    "cm": 0.01,
}
"""UCUM code -> factor to the unit we hand out (ucum.org; check-values.md section 8)."""

UNITS_IN_NAMES = {"EnergykWh": "kW.h", "WattHours": "W.h", "AmpHours": "A.h", "kPa": "kPa", "PerMinute": "L/min"}

BY_TYPE = {"EnergykWh": "kW.h", "EnergyWh": "W.h", "PressurekPa": "kPa", "LiquidFlow": "L/s", "AirFlowCMM": "m3/min"}


BESIDE = (
    *("SpeedRPM", "ApparentVA", "ReactiveVAR", "PowerFactor", "PhaseAngleDegrees", "LoadPercent", "THDPercent"),
    *("CrestFactor", "LifetimeReading", "ApparentkVAh", "ReactivekVARh"),
)
"""Numbers of a Sensor, or of a copy of one, that tell something else than Reading and what Reading once was."""

OTHER_NUMBERS = {
    "Drive": {"PredictedMediaLifeLeftPercent"},
    "Pump": {"ServiceHours"},
    "Filter": {"ServiceHours"},
    "CoolingLoop": {"ServiceHours", "AdditivePercent"},
}
"""Plain numbers outside metrics that are measured or counted rather than rated or set."""

NOT_MEASURED = {"BlockSizeBytes", "LaneId", "AvailableSpareThresholdPercent"}
"""Numbers of metrics that are sizes, names or limits."""

SUFFIXES = {
    "Milliseconds": 1e-3,
    "Seconds": 1.0,
    "Minutes": 60.0,
    "Hours": 3600.0,
    "KiBytes": 1024.0,
    "MilliWatts": 1e-3,
    "MilliAmps": 1e-3,
    "MHz": 1e6,
}
"""End of a property's name -> factor to the unit we hand out."""


class Told(NamedTuple):
    """One number."""

    value: float
    """As told."""
    factor: float
    present: bool
    """False where the object, or the resource around it, is Absent or Disabled: the number means nothing then."""
    inside: bool
    """False where it lies outside the range that the same object tells."""


def list_readings(folder: Path) -> dict[str, Told]:
    """Place (path, or path#pointer) -> number, over all files of an example service."""
    found: dict[str, Told] = {}
    for path in sorted(folder.rglob("index.json")):
        body = json.loads(path.read_bytes())
        if isinstance(body, dict):
            found |= list_body("/redfish/v1/" + "/".join(path.relative_to(folder).parts[:-1]), body)
    return found


def list_body(uri: str, body: dict[str, Any]) -> dict[str, Told]:
    """The same of one body."""
    found: dict[str, Told] = {}
    type_ = str(body.get("@odata.type", "")).lstrip("#").split(".")[0]
    if type_ == "Sensor":
        if is_number(body.get("Reading")):
            found[uri] = _told(body, body["Reading"], _sensor_factor(body), body)
        found |= _beside(uri, "", body, body, _sensor_factor(body))
    elif type_ in LEGACY:
        for array, keys in LEGACY[type_].items():
            for index, row in enumerate(body.get(array, [])):
                for key in keys:
                    if is_number(row.get(key)):
                        found[f"{uri}#/{array}/{index}/{key}"] = _told(row, row[key], 1.0, body)
    elif not type_.startswith(("Metric", "Trigger", "Telemetry")):
        for pointer, holder in _excerpts(body, ""):
            found[f"{uri}#{pointer}/Reading"] = _told(holder, holder["Reading"], _name_factor(pointer, body), body)
            found |= _beside(uri, pointer, holder, body, _name_factor(pointer, body))
        for pointer, name, value in _plain(body, (type_, type_), ""):
            if (type_.endswith("Metrics") or name in OTHER_NUMBERS.get(type_, ())) and name not in NOT_MEASURED:
                factor = next((factor for suffix, factor in SUFFIXES.items() if name.endswith(suffix)), 1.0)
                found[f"{uri}#{pointer}"] = _told(body, value, factor, body)
    return found


def _beside(uri: str, pointer: str, holder: Any, body: Any, factor: float) -> dict[str, Told]:
    state = holder.get("Status", {}).get("State") or body.get("Status", {}).get("State")
    present = state not in ("Absent", "Disabled")
    return {
        f"{uri}#{pointer}/{name}": Told(holder[name], factor if name == "LifetimeReading" else 1.0, present, True)
        for name in BESIDE
        if is_number(holder.get(name))
    }


@cache
def _schema(name: str) -> dict[str, dict[str, str]]:
    """Type -> property -> its type, over all versions; empty where there is no such schema."""
    path = standard("redfish", "csdl") / f"{name}_v1.xml"
    found: dict[str, dict[str, str]] = {}
    if path.exists():
        for holder in ElementTree.parse(path).iter():
            if holder.tag.endswith(("}EntityType", "}ComplexType")):
                told = {str(one.get("Name")): str(one.get("Type")) for one in holder if one.tag.endswith("}Property")}
                found.setdefault(str(holder.get("Name")), {}).update(told)
    return found


def _plain(value: Any, type_: tuple[str, str], pointer: str) -> Iterator[tuple[str, str, float]]:
    """(pointer, property, number) of all that the schema types as a number."""
    for name, told in _schema(type_[0]).get(type_[1], {}).items():
        inner = re.sub(r"^Collection\((.*)\)$", r"\1", told).split(".")
        listed = value.get(name) if told.startswith("Collection") else [value.get(name)]
        for index, item in enumerate(listed if isinstance(listed, list) else []):
            at = f"{pointer}/{name}/{index}" if told.startswith("Collection") else f"{pointer}/{name}"
            if inner[0] == "Edm":
                if inner[1] in ("Decimal", "Double", "Int64") and is_number(item):
                    yield at, name, item
            elif isinstance(item, dict) and name not in ("Status", "Oem", "Actions", "Links", "Location"):
                yield from _plain(item, (inner[0], inner[-1]), at)


def is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _excerpts(value: Any, pointer: str) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(value, dict):
        if is_number(value.get("Reading")):
            yield pointer, value
        for key, below in value.items():
            if key not in ("Thresholds", "Oem"):
                yield from _excerpts(below, f"{pointer}/{key}")
    elif isinstance(value, list):
        for index, below in enumerate(value):
            yield from _excerpts(below, f"{pointer}/{index}")


def _sensor_factor(body: dict[str, Any]) -> float:
    if body.get("ReadingType") == "Heat":
        return 1000.0
    code = BY_TYPE.get(body.get("ReadingType", ""), body.get("ReadingUnits", ""))
    return FACTORS.get(code, 1.0)


def _name_factor(pointer: str, body: dict[str, Any]) -> float:
    if pointer.endswith("HeatRemovedkW"):
        return 1000.0
    if pointer.endswith("AirFlowCubicMetersPerMinute"):
        return 1 / 60
    return next((FACTORS.get(code, 1.0) for word, code in UNITS_IN_NAMES.items() if word in pointer), 1.0)


def _told(holder: dict[str, Any], value: float, factor: float, body: dict[str, Any]) -> Told:
    state = holder.get("Status", {}).get("State") or body.get("Status", {}).get("State")
    low = holder.get("ReadingRangeMin", holder.get("MinReadingRangeTemp", _range(holder, "MinReadingRange")))
    high = holder.get("ReadingRangeMax", holder.get("MaxReadingRangeTemp", _range(holder, "MaxReadingRange")))
    inside = (low is None or low <= value) and (high is None or value <= high)
    return Told(value, factor, state not in ("Absent", "Disabled"), inside)


def _range(holder: dict[str, Any], key: str) -> Any:
    return None if "ReadingCelsius" in holder else holder.get(key)  # a temperature's range has names of its own
