"""The enumerations and tables in the code against the schemas: a new release fails here rather than in a fleet.

Source: DMTF DSP8010, release 2025.4, CSDL.
"""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree

import pytest

from collector.model import CANONICAL_UNIT, Health, LedState, PowerState, Quantity, State
from collector.normalise import excerpts, parts, places, statuses, thresholds, tree, units
from tests.conftest import standard

EDM = "{http://docs.oasis-open.org/odata/ns/edm}"


@cache
def schema(name: str) -> ElementTree.Element:
    return ElementTree.parse(standard("redfish", "csdl", f"{name}_v1.xml")).getroot()


def members(name: str, enumeration: str) -> set[str]:
    """The words of an enumeration, over all versions of a schema."""
    found = {
        member.get("Name", "")
        for enum in schema(name).iter(f"{EDM}EnumType")
        if enum.get("Name") == enumeration
        for member in enum.iter(f"{EDM}Member")
    }
    assert found, f"{name} has no enumeration {enumeration}"
    return found


def properties(name: str, type_: str) -> dict[str, ElementTree.Element]:
    """The properties of a type, over all versions of a schema."""
    kinds = (f"{EDM}EntityType", f"{EDM}ComplexType")
    found = {
        child.get("Name", ""): child
        for kind in kinds
        for holder in schema(name).iter(kind)
        if holder.get("Name") == type_
        for child in holder
        if child.tag in (f"{EDM}Property", f"{EDM}NavigationProperty")
    }
    assert found, f"{name} has no type {type_}"
    return found


def test_states() -> None:
    assert statuses.STATE_WORDS.keys() == members("Resource", "State")
    assert {state.value for state in State} - {"unknown"} == members("Resource", "State")
    assert members("Resource", "State") >= statuses.NO_READING_STATES


def test_healths() -> None:
    assert statuses.HEALTH_WORDS.keys() == members("Resource", "Health")
    assert all(Health.from_word(word).word == word for word in members("Resource", "Health"))


def test_power_states() -> None:
    assert statuses.POWER_WORDS.keys() == members("Resource", "PowerState")
    assert {power.value for power in PowerState} - {"unknown"} == members("Resource", "PowerState")


def test_indicators() -> None:
    assert statuses.LED_WORDS.keys() == members("Resource", "IndicatorLED")
    assert {led.value for led in LedState} == members("Resource", "IndicatorLED")
    assert members("Chassis", "IndicatorLED") - {"Unknown"} == members("Resource", "IndicatorLED")


def test_chassis_types() -> None:
    assert parts.CHASSIS_KINDS.keys() == members("Chassis", "ChassisType")


def test_manager_types_that_are_built_in() -> None:
    assert members("Manager", "ManagerType") >= tree.BOARD_MANAGERS


def test_reading_types() -> None:
    assert units.READING_TYPES.keys() == members("Sensor", "ReadingType")


def demanded_units() -> dict[str, list[str]]:
    """ReadingType -> the ReadingUnits that its description demands, the preferred one first."""
    found = {}
    for enum in schema("Sensor").iter(f"{EDM}EnumType"):
        if enum.get("Name") == "ReadingType":
            for member in enum.iter(f"{EDM}Member"):
                texts = [one.get("String", "") for one in member if one.get("Term") == "OData.LongDescription"]
                sentence = texts[0].partition("`ReadingUnits` property shall contain")[2]
                found[member.get("Name", "")] = re.findall(r"`([^`]+)`", sentence.partition(".  ")[0])
    return found


def test_every_reading_type_has_the_unit_that_the_standard_demands() -> None:
    for name, codes in demanded_units().items():
        assert codes, f"no unit found in the description of {name}"
        assert units.READING_TYPES[name][1] == codes[0]
        assert all(units.ALSO_ALLOWED.get(code) == codes[0] for code in codes[1:])


def test_every_unit_of_the_standard_can_be_converted() -> None:
    for quantity, code in units.READING_TYPES.values():
        assert code in set(units.known_codes())
        if quantity is not Quantity.OTHER:
            assert units.commensurable(code, CANONICAL_UNIT[quantity])


def schema_excerpts() -> dict[str, set[str]]:
    """Property -> schemas that repeat a Sensor in it."""
    found: dict[str, set[str]] = {}
    for path in sorted(standard("redfish", "csdl").glob("*_v1.xml")):
        for child in ElementTree.parse(path).getroot().iter(f"{EDM}NavigationProperty"):
            terms = {one.get("Term") for one in child}
            if "Redfish.ExcerptCopy" in terms and "Sensor.Sensor" in child.get("Type", ""):
                found.setdefault(child.get("Name", ""), set()).add(path.stem)
    return found


def test_every_excerpt_of_a_sensor_is_known() -> None:
    known = excerpts.EXCERPTS.keys() | excerpts.GROUPED | excerpts.UNNAMED
    assert known == schema_excerpts().keys()


def test_groups_of_excerpts_are_those_of_the_schemas() -> None:
    holders = {"Circuit", "Outlet", "PowerSupplyMetrics", "ThermalMetrics"}
    found = set()
    for name in holders:
        for holder in schema(name).iter(f"{EDM}EntityType"):
            for child in holder.iter(f"{EDM}Property"):
                type_ = child.get("Type", "").rpartition(".")[2]
                inner = properties(name, type_) if type_ and has_type(name, type_) else {}
                if inner.keys() & excerpts.GROUPED:
                    found.add(child.get("Name", ""))
    assert found == excerpts.GROUPS.keys()


def has_type(name: str, type_: str) -> bool:
    return any(holder.get("Name") == type_ for holder in schema(name).iter(f"{EDM}ComplexType"))


def test_units_in_the_names_of_excerpts_are_the_units_we_read_them_in() -> None:
    words = {"Celsius": "Cel", "Percent": "%", "Watts": "W", "kWh": "kW.h", "Amps": "A", "Joules": "J", "kPa": "kPa"}
    words |= {"Hz": "Hz", "AmpHours": "A.h", "WattHours": "W.h", "LitersPerMinute": "L/min", "kW": "kW"}
    words |= {"CubicMetersPerMinute": "m3/min", "Voltage": "V", "Voltages": "V", "AbsoluteHumidity": "g/m3"}
    for name, (quantity, code) in (excerpts.EXCERPTS | dict(excerpts.GROUPS)).items():
        suffix = max((word for word in words if name.endswith(word)), key=len)
        assert words[suffix] == code
        assert units.commensurable(code, CANONICAL_UNIT[quantity])


@pytest.mark.parametrize(
    ("schema_name", "type_", "array"),
    [
        ("Thermal", "Temperature", "Temperatures"),
        ("Thermal", "Fan", "Fans"),
        ("Power", "PowerControl", "PowerControl"),
        ("Power", "Voltage", "Voltages"),
        ("Power", "PowerSupply", "PowerSupplies"),
    ],
)
def test_legacy_rows_have_the_properties_that_we_read(schema_name: str, type_: str, array: str) -> None:
    (table,) = [table for table in places.LEGACY[schema_name] if table.array == array]
    assert table.numbers.keys() <= properties(schema_name, type_).keys()
    assert array in properties(schema_name, schema_name)


def test_legacy_fan_units() -> None:
    assert members("Thermal", "ReadingUnits") == {"RPM", "Percent"}


def test_thresholds_of_a_sensor_are_all_read() -> None:
    told = {name for name, child in properties("Sensor", "Thresholds").items() if "Threshold" in child.get("Type", "")}
    assert thresholds.SENSOR_THRESHOLDS.keys() == told
    assert members("Sensor", "ThresholdActivation") == {"Increasing", "Decreasing", "Either", "Disabled"}


def test_thresholds_of_legacy_rows_are_all_read() -> None:
    rows = [("Thermal", "Temperature"), ("Thermal", "Fan"), ("Power", "Voltage")]
    told = {name for row in rows for name in properties(*row) if re.match(r"(Upper|Lower)Threshold", name)}
    assert thresholds.ROW_THRESHOLDS.keys() == told


def test_parts_are_types_of_the_standard() -> None:
    found = {path.stem.removesuffix("_v1") for path in standard("redfish", "csdl").glob("*_v1.xml")}
    assert found >= parts.PART_KINDS.keys()
    carrying = {name for name in found if tells_indicator(name)}
    untaken = {"Chassis", "Assembly", "Port", "PCIeSlots"}  # the first by its own table; the others are not parts yet
    assert carrying - parts.PART_KINDS.keys() <= untaken | {"Thermal", "Power"}


def tells_indicator(name: str) -> bool:
    """Whether a schema has an indicator, which makes what it describes a thing with a front."""
    return any(child.get("Name") == "LocationIndicatorActive" for child in schema(name).iter(f"{EDM}Property"))
