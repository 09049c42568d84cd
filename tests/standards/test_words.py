"""The enumerations and tables in the code against the schemas: a new release fails here rather than in a fleet.

Source: DMTF DSP8010, release 2025.4, CSDL.
"""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree

import pytest

from collector.model import CANONICAL_UNIT, Health, LedState, PowerState, Quantity, State
from collector.normalise import (
    excerpts,
    neighbours,
    numbers,
    parts,
    places,
    set_points,
    statuses,
    thresholds,
    tree,
    units,
)
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


def test_leak_detectors() -> None:
    assert properties("LeakDetector", "LeakDetector")["DetectorState"].get("Type", "").startswith("LeakDetector")
    assert statuses.DETECTOR_WORDS.keys() == members("LeakDetector", "DetectorState")


def test_links_of_ports() -> None:
    """A protocol that a new release brings must be sorted: the port of a network, or one inside a machine."""
    assert statuses.LINK_WORDS.keys() == members("Port", "LinkStatus") | members("NetworkPort", "LinkStatus")
    assert "Disabled" in members("Port", "LinkState")
    networks = {"FC", "iSCSI", "FCoE", "FCP", "FICON", "NVMeOverFabrics", "SMB", "NFSv3", "NFSv4", "HTTP", "HTTPS"}
    networks |= {"FTP", "SFTP", "iWARP", "RoCE", "RoCEv2", "TCP", "UDP", "TFTP", "MultiProtocol", "InfiniBand"}
    networks |= {"Ethernet", "OEM", "UET"}
    assert set(parts.INNER_PROTOCOLS) | networks == members("Protocol", "Protocol")


def test_neighbours_of_ports() -> None:
    assert members("Port", "IEEE802IdSubtype") >= neighbours.SPELT_SUBTYPES | {"MacAddr", "NotTransmitted"}


def test_starts_of_hosts() -> None:
    assert set(statuses.BOOT_WORDS) == members("ComputerSystem", "BootProgressTypes")


def test_cables() -> None:
    assert statuses.CABLE_WORDS.keys() == members("Cable", "CableStatus")


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
    for name, (quantity, code) in (dict(excerpts.EXCERPTS) | dict(excerpts.GROUPS)).items():
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


def test_thresholds_of_triggers_are_all_read() -> None:
    assert thresholds.TRIGGER_THRESHOLDS.keys() == properties("Triggers", "Thresholds").keys()
    assert members("Triggers", "ThresholdActivation") == {"Increasing", "Decreasing", "Either", "Disabled"}


def test_control_types_and_their_units_and_modes() -> None:
    """The unit stands in each type's description: 'The `SetPointUnits` property shall contain `W`.'"""
    assert set_points.CONTROL_TYPES.keys() == members("Control", "ControlType")
    assert members("Control", "ControlMode") == set_points.CONTROL_MODES
    demands = 0
    for member in schema("Control").iter(f"{EDM}Member"):
        told = " ".join(note.get("String", "") for note in member.iter(f"{EDM}Annotation"))
        if (demanded := re.search(r"`SetPointUnits` property shall contain `([^`]+)`", told)) is not None:
            assert set_points.CONTROL_TYPES[member.get("Name", "")][1] == demanded[1]
            demands += 1
    assert demands > 10


@pytest.mark.parametrize(
    ("schema_name", "type_", "names"),
    [
        ("Control", "Control", (*set_points.NUMBERS, "DeadBand", "ControlType", "SetPointUnits", "ControlMode")),
        ("PowerSubsystem", "PowerAllocation", ("RequestedWatts", "AllocatedWatts")),
        ("EnvironmentMetrics", "EnvironmentMetrics", ("PowerLimitWatts",)),
        ("Power", "PowerControl", ("PowerLimit", "PowerRequestedWatts", "PowerAllocatedWatts")),
        ("Power", "PowerLimit", ("LimitInWatts",)),
        ("Fan", "Fan", ("RatedSpeedRPM", "RatedSecondarySpeedRPM")),
    ],
)
def test_settings_are_read_under_the_names_of_the_schemas(schema_name: str, type_: str, names: tuple[str, ...]) -> None:
    assert properties(schema_name, type_).keys() >= set(names)


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


# Plain numbers

MEASURES = {
    "By": "By",
    "KiBy": "KiBy",
    "%": "%",
    "Cel": "Cel",
    "MHz": "MHz",
    "W": "W",
    "mW": "mW",
    "mA": "mA",
    "V": "V",
}
MEASURES |= {"ms": "ms", "s": "s"}
NAMED_UNITS = {"Milliseconds": "ms", "Seconds": "s", "Minutes": "min", "Hours": "h", "Bytes": "By", "KiBytes": "KiBy"}
NAMED_UNITS |= {"Celsius": "Cel", "Percent": "%", "MHz": "MHz", "MilliWatts": "mW", "MilliAmps": "mA"}


def numeric(name: str, type_: str, below: str = "") -> dict[str, ElementTree.Element]:
    """Steps to every number of a type and of the types inside it, arrays marked, over all versions of the schemas."""
    found: dict[str, ElementTree.Element] = {}
    for key, child in properties(name, type_).items():
        told = child.get("Type", "")
        inner = told.removeprefix("Collection(").removesuffix(")")
        step = f"{below}{key}[]" if told.startswith("Collection(") else below + key
        if inner in ("Edm.Decimal", "Edm.Double", "Edm.Int64", "Edm.Duration"):
            found[step] = child
        elif child.tag == f"{EDM}Property" and not inner.startswith("Edm.") and has_schema(inner.split(".")[0]):
            there, what = inner.split(".")[0], inner.split(".")[-1]
            if has_type(there, what) and key not in ("Oem", "Actions", "Status"):
                found |= numeric(there, what, f"{step}/")
    return found


def has_schema(name: str) -> bool:
    return standard("redfish", "csdl").joinpath(f"{name}_v1.xml").exists()


def test_every_schema_of_metrics_is_read() -> None:
    schemas = {path.stem.removesuffix("_v1") for path in standard("redfish", "csdl").glob("*Metrics_v1.xml")}
    telling = {name for name in schemas if numeric(name, name)}
    assert {name for name in numbers.NUMBERS if name.endswith("Metrics")} == telling


@pytest.mark.parametrize("name", [name for name in numbers.NUMBERS if name.endswith("Metrics")])
def test_every_number_of_metrics_is_a_reading_or_known_not_to_be(name: str) -> None:
    told = {step for step in numeric(name, name) if step.rpartition("/")[2] not in numbers.NO_READINGS}
    assert numbers.NUMBERS[name].keys() == told


@pytest.mark.parametrize("name", numbers.NUMBERS)
def test_plain_numbers_are_read_in_the_unit_of_the_schema(name: str) -> None:
    told = numeric(name, name)
    for step, unit in numbers.NUMBERS[name].items():
        quantity, code = unit
        child = told[step]
        if child.get("Type") == "Edm.Duration":
            assert unit is numbers.DURATION
            continue
        measure = next((one.get("String", "") for one in child if one.get("Term") == "Measures.Unit"), None)
        if measure is not None:
            assert MEASURES[measure] == code
        named = max((word for word in NAMED_UNITS if step.removesuffix("[]").endswith(word)), key=len, default=None)
        if named is not None:
            assert NAMED_UNITS[named] == code
        if measure is None and named is None:
            assert code in ("1", "10*6")
        if quantity is not Quantity.OTHER:
            assert code == CANONICAL_UNIT[quantity] or units.commensurable(code, CANONICAL_UNIT[quantity])


def test_what_is_no_reading_is_a_number_of_some_metrics() -> None:
    told = {
        step.rpartition("/")[2] for name in numbers.NUMBERS if name.endswith("Metrics") for step in numeric(name, name)
    }
    assert numbers.NO_READINGS.keys() <= told


def test_numbers_beside_a_reading_are_those_of_the_schema() -> None:
    told = properties("Sensor", "Sensor")
    plain = {key for key, child in told.items() if child.get("Type") in ("Edm.Decimal", "Edm.Int64", "Edm.Double")}
    history = {key for key in plain if re.match(r"(Peak|Lowest|Average)(Interval)?Reading", key)}
    limits = {key for key in plain if re.search(r"Allowable|ReadingRange", key)}
    makers = {"Reading", "Precision", "Accuracy", "ReadingAccuracy", "Calibration", "SensingFrequency"}
    assert numbers.COMPANIONS.keys() == plain - history - limits - makers
    for key, (unit, _, _) in numbers.COMPANIONS.items():
        measure = next((one.get("String") for one in told[key] if one.get("Term") == "Measures.Unit"), None)
        if measure is not None and unit is not None:
            assert unit[1].replace("{reactive}", "") == measure


def test_successors_are_excerpts() -> None:
    assert set(numbers.SUCCESSORS.values()) <= properties("EnvironmentMetrics", "EnvironmentMetrics").keys()
    for (name, key), _ in numbers.SUCCESSORS.items():
        (child,) = [child for step, child in numeric(name, name).items() if step == key]
        assert any("Deprecated" in ElementTree.tostring(one, encoding="unicode") for one in child)
