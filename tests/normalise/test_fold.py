"""One physical sensor is one sensor: the rules of collector.normalise.fold, and whom a sensor measures."""

from __future__ import annotations

import math
from typing import Any

import pytest

from collector.model import DefectKind, Quantity, Sensor
from collector.normalise.inventory import Normalised
from tests.normalise.services import (
    SLED,
    SYSTEMS,
    Bodies,
    blade,
    chassis,
    collection,
    four_blades,
    link,
    power,
    read,
    resource,
    root,
    sensors,
    sled,
    temperature,
    thermal,
    uri_of,
)
from tests.normalise.walks import TIME

METRICS = f"{SLED}/EnvironmentMetrics"
SENSORS = f"{SLED}/Sensors"
ROWS = f"{SLED}/Thermal#/Temperatures"


def one_sled(*more: Bodies) -> Bodies:
    bodies = root() | chassis(sled())
    for part in more:
        bodies |= part
    return bodies


def metrics(of: str = SLED, **more: Any) -> Bodies:
    uri = f"{of}/EnvironmentMetrics"
    return {uri: resource(uri, "EnvironmentMetrics", **more)}


def excerpt(reading: Any, source: str | None = None, key: str = "DataSourceUri") -> dict[str, Any]:
    return {"Reading": reading} if source is None else {"Reading": reading, key: source}


def told(inventory: Normalised) -> list[tuple[str, float]]:
    """(source, value) of every sensor."""
    return [(one.source, value) for one, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True)]


def only(inventory: Normalised) -> Sensor:
    (sensor,) = inventory.layout.sensors
    return sensor


def row(name: str, reading: Any = 20, **more: Any) -> dict[str, Any]:
    return {"Name": name, "ReadingCelsius": reading, **more}


# Sensors and excerpts


@pytest.mark.parametrize("key", ["DataSourceUri", "DataSourceURI", "datasourceuri"])
@pytest.mark.parametrize("spelling", [f"{SENSORS}/Inlet", f"{SENSORS}/Inlet/", f"{SLED}/./Sensors/Inlet"])
def test_an_excerpt_is_the_sensor_that_it_copies(key: str, spelling: str) -> None:
    bodies = one_sled(sensors(temperature("Inlet", 21)), metrics(TemperatureCelsius=excerpt(25, spelling, key)))
    inventory = read(bodies)
    assert told(inventory) == [(f"{SENSORS}/Inlet", 21)]
    assert only(inventory).also_at == (f"{METRICS}#/TemperatureCelsius/Reading",)


def test_excerpts_of_one_missing_sensor_are_one() -> None:
    gone = f"{SENSORS}/Gone"
    uri = f"{SLED}/ThermalSubsystem/ThermalMetrics"
    more = {uri: resource(uri, "ThermalMetrics", TemperatureSummaryCelsius={"Intake": excerpt(21, gone)})}
    inventory = read(one_sled(metrics(TemperatureCelsius=excerpt(21, gone), PowerWatts=excerpt(300, gone)), more))
    assert told(inventory) == [
        (f"{METRICS}#/PowerWatts/Reading", 300),  # of another quantity: another sensor
        (f"{METRICS}#/TemperatureCelsius/Reading", 21),
    ]
    assert {defect.kind for defect in inventory.defects} == {DefectKind.DANGLING_LINK}


def test_excerpts_without_a_source_are_sensors_of_their_own() -> None:
    inventory = read(one_sled(metrics(TemperatureCelsius=excerpt(21), HumidityPercent=excerpt(40))))
    assert [(one.sensor, one.quantity) for one in inventory.layout.sensors] == [
        ("humidity", Quantity.HUMIDITY),
        ("temperature", Quantity.TEMPERATURE),
    ]
    assert inventory.defects == ()


def test_an_excerpt_that_measures_something_else_is_no_copy() -> None:
    bodies = one_sled(sensors(temperature("Inlet", 21)), metrics(PowerWatts=excerpt(300, f"{SENSORS}/Inlet")))
    inventory = read(bodies)
    assert told(inventory) == [(f"{SENSORS}/Inlet", 21), (f"{METRICS}#/PowerWatts/Reading", 300)]
    assert [defect.kind for defect in inventory.defects] == [DefectKind.CONTRADICTION]


def test_an_excerpt_says_what_a_sensor_without_type_and_unit_measures() -> None:
    bare = {"Id": "X", "Name": "X", "Reading": 40}
    inventory = read(one_sled(sensors(bare), metrics(PowerLoadPercent=excerpt(40, f"{SENSORS}/X"))))
    assert (only(inventory).quantity, only(inventory).unit) == (Quantity.LOAD_RATIO, "%")


def test_energy_told_in_two_units_is_one_in_joules() -> None:
    energy = {"Id": "E", "Name": "E", "ReadingType": "EnergyJoules", "ReadingUnits": "J", "Reading": 7200}
    inventory = read(one_sled(sensors(energy), metrics(EnergykWh=excerpt(0.002, f"{SENSORS}/E"))))
    assert told(inventory) == [(f"{SENSORS}/E", 7200)]
    ((sensor_reader, excerpt_reader),) = inventory.recipe.readers
    assert (sensor_reader.scale, excerpt_reader.scale) == (1.0, 3.6e6)


def test_a_fans_percentage_is_a_speed() -> None:
    fan = f"{SLED}/ThermalSubsystem/Fans/1"
    speed = {"Id": "F", "Name": "F", "ReadingType": "Percent", "ReadingUnits": "%", "Reading": 45}
    bodies = one_sled(sensors(speed), {fan: resource(fan, "Fan", SpeedPercent=excerpt(45, f"{SENSORS}/F"))})
    sensor = only(read(bodies))
    assert (sensor.quantity, uri_of(sensor.part)) == (Quantity.SPEED_RATIO, fan)
    alone, turning = read(one_sled(sensors(speed | {"SpeedRPM": 9000}))).layout.sensors
    assert (alone.quantity, turning.quantity) == (Quantity.SPEED_RATIO, Quantity.ROTATION)
    assert only(read(one_sled(sensors(speed)))).quantity is Quantity.PERCENT


@pytest.mark.parametrize("other", [{"Name": "Other"}, {"ReadingType": "Humidity"}])
def test_sensors_of_equipment_stand_below_its_chassis_as_well(other: dict[str, Any]) -> None:
    feed = "/redfish/v1/PowerEquipment/PowerShelves/1"
    body = {feed: resource(feed, "PowerDistribution", Links={"Chassis": [link(SLED)]})}
    twins = sensors(temperature("Cab", 30)) | sensors(temperature("Cab", 31), of=feed)
    inventory = read(one_sled(body, twins))
    assert told(inventory) == [(f"{SENSORS}/Cab", 30)]
    assert only(inventory).also_at == (f"{feed}/Sensors/Cab",)
    apart = one_sled(body, sensors(temperature("Cab", 30)), sensors(temperature("Cab", 31, **other), of=feed))
    assert len(read(apart).layout.sensors) == 2


def test_sensors_of_one_name_in_two_chassis_are_two() -> None:
    bodies = root() | chassis(sled(), blade(1)) | sensors(temperature("Inlet"))
    bodies |= sensors(temperature("Inlet"), of=f"{SLED}B1")
    assert len(read(bodies).layout.sensors) == 2


# Legacy rows


def test_a_row_is_the_newer_sensor_of_the_same_part() -> None:
    cpu = f"{SYSTEMS}/H1/Processors/1"
    related = {"RelatedItem": [link(cpu)]}
    more = {cpu: resource(cpu, "Processor")}
    bodies = one_sled(
        more, sensors(temperature("CPU1 Temp", 44, **related)), thermal(Temperatures=[row("CPU 1", 41, **related)])
    )
    inventory = read(bodies)
    assert told(inventory) == [(f"{SENSORS}/CPU1 Temp", 44)]
    assert only(inventory).also_at == (f"{ROWS}/0/ReadingCelsius",)
    apart = bodies | thermal(Temperatures=[row("VRM 1", 41, **related)])
    assert len(read(apart).layout.sensors) == 2  # one of each for this processor, but of different things


def test_a_row_is_the_newer_sensor_at_the_same_place() -> None:
    here = {"PhysicalContext": "Intake"}
    bodies = one_sled(
        sensors(temperature("Front Intake", 24.8, **here)), thermal(Temperatures=[row("Intake Temp", 25, **here)])
    )
    assert told(read(bodies)) == [(f"{SENSORS}/Front Intake", 24.8)]
    for name, context in (("Rear Temp", "Intake"), ("Intake 2 Temp", "Intake"), ("Intake Temp", "Exhaust")):
        apart = bodies | thermal(Temperatures=[row(name, 25, PhysicalContext=context)])
        assert len(read(apart).layout.sensors) == 2
    two = bodies | thermal(Temperatures=[row("Intake Temp", 25, **here), row("Intake Temp B", 26, **here)])
    assert len(read(two).layout.sensors) == 3


def test_a_row_of_the_same_name_is_the_same_sensor() -> None:
    bodies = one_sled(sensors(temperature("Board 3 Temperature")), thermal(Temperatures=[row("board-3 temp")]))
    assert len(read(bodies).layout.sensors) == 1
    other = bodies | thermal(Temperatures=[row("board-4 temp")])
    assert len(read(other).layout.sensors) == 2


def test_one_power_control_is_the_chassis_power() -> None:
    newer = {"Id": "P", "Name": "Input", "ReadingType": "Power", "ReadingUnits": "W", "Reading": 374}
    bodies = one_sled(sensors(newer), metrics(PowerWatts=excerpt(374, f"{SENSORS}/P")))
    one = bodies | power(PowerControl=[{"Name": "System", "PowerConsumedWatts": 344}])
    assert told(read(one)) == [(f"{SENSORS}/P", 374)]
    rows = [{"Name": "System", "PowerConsumedWatts": 344}, {"Name": "Memory", "PowerConsumedWatts": 30}]
    assert len(read(bodies | power(PowerControl=rows)).layout.sensors) == 3


def test_a_supplys_row_is_its_metrics() -> None:
    supply = f"{SLED}/PowerSubsystem/PowerSupplies/1"
    more = {supply: resource(supply, "PowerSupply", Name="PSU 1")}
    told_there = {"InputVoltage": excerpt(230.2), "InputPowerWatts": excerpt(900), "OutputPowerWatts": excerpt(850)}
    more[f"{supply}/Metrics"] = resource(f"{supply}/Metrics", "PowerSupplyMetrics", **told_there)
    told_here = {"LineInputVoltage": 230, "PowerInputWatts": 901, "PowerOutputWatts": 851, "LastPowerOutputWatts": 840}
    inventory = read(one_sled(more, power(PowerSupplies=[{"Name": "psu 1", **told_here}])))
    assert [
        (one.sensor, value) for one, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True)
    ] == [
        ("average output power", 840),
        ("input power", 900),
        ("input voltage", 230.2),
        ("output power", 850),
    ]
    assert {uri_of(one.part) for one in inventory.layout.sensors} == {supply}


def test_revolutions_and_percent_of_one_fan_are_two_sensors() -> None:
    fan = f"{SLED}/ThermalSubsystem/Fans/1"
    more = {fan: resource(fan, "Fan", Name="Fan 1", SpeedPercent=excerpt(45))}
    rows = thermal(Fans=[{"Name": "Fan 1", "Reading": 9000, "ReadingUnits": "RPM"}])
    found = read(one_sled(more, rows)).layout.sensors
    assert {(one.quantity, uri_of(one.part)) for one in found} == {
        (Quantity.ROTATION, fan),
        (Quantity.SPEED_RATIO, fan),
    }
    same = thermal(Fans=[{"Name": "Fan 1", "Reading": 45, "ReadingUnits": "Percent"}])
    assert len(read(one_sled(more, same)).layout.sensors) == 1


def test_an_excerpt_may_copy_a_row() -> None:
    for source in (f"{SLED}/Thermal#/Temperatures/0", f"{ROWS}/0/ReadingCelsius"):
        bodies = one_sled(thermal(Temperatures=[row("Inlet", 21)]), metrics(TemperatureCelsius=excerpt(21, source)))
        inventory = read(bodies)
        assert told(inventory) == [(f"{METRICS}#/TemperatureCelsius/Reading", 21)]
        assert only(inventory).also_at == (f"{ROWS}/0/ReadingCelsius",)


def test_rows_of_several_chassis_about_one_part_are_one() -> None:
    cpu = f"{SYSTEMS}/H1/Processors/1"
    told_of = {"RelatedItem": [link(cpu)], "SensorNumber": 42, "PhysicalContext": "CPU"}
    bodies = root() | chassis(sled(), blade(1)) | {cpu: resource(cpu, "Processor")}
    bodies |= thermal(Temperatures=[row("CPU1 Temp", **told_of)])
    bodies |= thermal(f"{SLED}B1", Temperatures=[row("CPU1 Temp", **told_of)])
    assert len(read(bodies).layout.sensors) == 1
    apart = bodies | thermal(f"{SLED}B1", Temperatures=[row("CPU1 Temp", **(told_of | {"SensorNumber": 43}))])
    assert len(read(apart).layout.sensors) == 2


def test_a_row_lends_its_thresholds_to_the_sensor_that_tells_none() -> None:
    here = {"PhysicalContext": "Intake"}
    limits = {"UpperThresholdCritical": 40, "MinReadingRangeTemp": -10, "MaxReadingRangeTemp": 60}
    bodies = one_sled(
        sensors(temperature("Intake", 25, **here)), thermal(Temperatures=[row("Intake", **here, **limits)])
    )
    sensor = only(read(bodies))
    assert sensor.thresholds.upper_critical is not None
    assert sensor.thresholds.upper_critical.value == 40
    assert (sensor.range_min, sensor.range_max) == (-10, 60)


# Whom a sensor measures


def part_of(bodies: Bodies, id_: str) -> str | None:
    (sensor,) = [one for one in read(bodies).layout.sensors if one.source.endswith(f"/{id_}")]
    return uri_of(sensor.part)


def related(*uris: str) -> dict[str, Any]:
    return {"RelatedItem": [link(uri) for uri in uris]}


CPU = f"{SYSTEMS}/H2/Processors/1"


@pytest.mark.parametrize(
    ("uris", "part"),
    [
        ((), SLED),
        ((CPU,), CPU),
        ((f"{SLED}B2",), f"{SLED}B2"),
        ((f"{SYSTEMS}/H2",), f"{SLED}B2"),  # a host is no thing that could be warm
        ((f"{SLED}B2", f"{SYSTEMS}/H2"), f"{SLED}B2"),
        ((SLED, CPU), CPU),
        ((SLED, f"{SLED}B2", f"{SYSTEMS}/H2", CPU), CPU),
        ((f"{SLED}B1", f"{SLED}B2", f"{SLED}B3", f"{SLED}B4"), SLED),  # all of them: it is the sled's
        ((f"{SLED}B1", CPU), SLED),
        (("/redfish/v1/Systems/Gone",), SLED),
    ],
)
def test_the_related_item_counts_where_it_is_one_thing(uris: tuple[str, ...], part: str) -> None:
    bodies = four_blades() | {CPU: resource(CPU, "Processor")} | sensors(temperature("T", **related(*uris)))
    assert part_of(bodies, "T") == part


def test_two_hosts_on_one_board_keep_their_own_readings() -> None:
    bodies = root() | chassis(sled())
    for number in (1, 2):
        uri = f"{SYSTEMS}/H{number}"
        bodies[uri] = resource(uri, "ComputerSystem", Links={"Chassis": [link(SLED)]})
    bodies |= sensors(temperature("T", **related(f"{SYSTEMS}/H2")))
    assert part_of(bodies, "T") == f"{SYSTEMS}/H2"


def test_a_blade_that_tells_a_reading_as_its_own_is_what_is_measured() -> None:
    bodies = four_blades() | sensors(temperature("T2"))
    bodies |= metrics(f"{SLED}B2", TemperatureCelsius=excerpt(20, f"{SENSORS}/T2"))
    bodies |= metrics(TemperatureCelsius=excerpt(20, f"{SENSORS}/T2"))  # the sled repeats it
    assert part_of(bodies, "T2") == f"{SLED}B2"
    bodies |= {CPU: resource(CPU, "Processor")} | sensors(temperature("T2", **related(CPU)))
    assert part_of(bodies, "T2") == CPU


def test_the_fan_outweighs_the_processor_that_it_cools() -> None:
    fan = f"{SLED}/ThermalSubsystem/Fans/1"
    speed = {"Id": "F", "Name": "F", "ReadingType": "Percent", "Reading": 45, **related(CPU)}
    bodies = four_blades() | {CPU: resource(CPU, "Processor")} | sensors(speed)
    bodies[fan] |= {"SpeedPercent": excerpt(45, f"{SENSORS}/F")}
    bodies[f"{CPU}/EnvironmentMetrics"] = resource(
        f"{CPU}/EnvironmentMetrics", "EnvironmentMetrics", FanSpeedsPercent=[excerpt(45, f"{SENSORS}/F")]
    )
    assert part_of(bodies, "F") == fan


def test_two_parts_that_claim_one_sensor_are_named() -> None:
    other = f"{SYSTEMS}/H3/Processors/1"
    bodies = four_blades() | sensors(temperature("T", **related(CPU)))
    for uri in (CPU, other):
        bodies[uri] = resource(uri, "Processor")
        bodies |= metrics(uri, TemperatureCelsius=excerpt(20, f"{SENSORS}/T"))
    inventory = read(bodies)
    assert part_of(bodies, "T") == CPU
    assert [(one.kind, one.resource) for one in inventory.defects] == [
        (DefectKind.CONTRADICTION, f"{other}/EnvironmentMetrics")
    ]


# Names, ranges, values


def test_sensors_of_one_name_on_one_part_carry_their_ids() -> None:
    bodies = one_sled(
        sensors(temperature("a", Name="Temp"), temperature("b", Name="Temp"), temperature("c", Name="Other"))
    )
    assert [one.sensor for one in read(bodies).layout.sensors] == ["Other", "Temp (a)", "Temp (b)"]


def test_the_layout_does_not_depend_on_the_order_of_the_walk() -> None:
    bodies = four_blades() | sensors(temperature("a", Name="Temp"), temperature("b", Name="Temp"), temperature("c"))
    backwards = dict(reversed(bodies.items()))
    assert read(bodies).layout == read(backwards).layout
    assert read(bodies).parts == read(backwards).parts


def test_names_are_bounded_and_show_no_controls() -> None:
    sensor = only(read(one_sled(sensors(temperature("a", Name="\x1b[31mTemp" + "x" * 500)))))
    assert len(sensor.sensor) == 80
    assert sensor.sensor.isprintable()


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ({"Reading": None}, None),
        ({}, None),
        ({"Reading": 5, "Status": {"State": "Absent"}}, None),
        ({"Reading": 5, "Status": {"State": "Disabled", "Health": "OK"}}, None),
        ({"Reading": "5"}, DefectKind.WRONG_TYPE),
        ({"Reading": True}, DefectKind.WRONG_TYPE),
        ({"Reading": [5]}, DefectKind.WRONG_TYPE),
        ({"Reading": math.nan}, DefectKind.NOT_A_NUMBER),
        ({"Reading": math.inf}, DefectKind.NOT_A_NUMBER),
        ({"Reading": 10**400}, DefectKind.NOT_A_NUMBER),
        ({"Reading": 5, "ReadingRangeMin": 6}, DefectKind.OUT_OF_RANGE),
        ({"Reading": 5, "ReadingRangeMax": 4}, DefectKind.OUT_OF_RANGE),
    ],
)
def test_what_is_no_reading_leaves_no_value(body: dict[str, Any], kind: DefectKind | None) -> None:
    told_body = {"Id": "a", "Name": "a", "ReadingUnits": "Cel", **body}
    inventory = read(one_sled(sensors(told_body)))
    assert math.isnan(inventory.frame.values[0])
    assert [defect.kind for defect in inventory.defects] == ([] if kind is None else [kind])


def test_zero_and_the_ends_of_the_range_are_readings() -> None:
    for value in (0, -10, 60.0):
        bodies = one_sled(sensors(temperature("a", value, ReadingRangeMin=-10, ReadingRangeMax=60)))
        assert read(bodies).frame.values[0] == value


def test_ranges_that_make_no_sense_are_not_used() -> None:
    inventory = read(one_sled(sensors(temperature("a", 5, ReadingRangeMin=60, ReadingRangeMax=0))))
    assert (only(inventory).range_min, inventory.frame.values[0]) == (None, 5)
    assert [defect.kind for defect in inventory.defects] == [DefectKind.CONTRADICTION]
    volts = {"ReadingType": "Voltage", "ReadingUnits": "V", "ReadingRangeMin": -40, "ReadingRangeMax": -60}
    inventory = read(one_sled(sensors(temperature("a", -48) | volts)))
    assert (only(inventory).range_min, only(inventory).range_max, inventory.frame.values[0]) == (-60, -40, -48)


def test_a_reading_of_a_fan_that_is_gone_is_none() -> None:
    fan = f"{SLED}/ThermalSubsystem/Fans/1"
    gone = {"State": "Absent"}
    more = {fan: resource(fan, "Fan", Status=gone, SpeedPercent=excerpt(0))}
    assert math.isnan(read(one_sled(more)).frame.values[0])


def test_acquisition_times_are_kept_where_they_can_be() -> None:
    listed = sensors(
        temperature("a", ReadingTime="2025-11-24T15:59:58Z"),
        temperature("b"),
        temperature("c", ReadingTime="1970-01-01T00:00:05Z"),
        temperature("d", ReadingTime="soon"),
    )
    inventory = read(one_sled(listed))
    assert inventory.frame.times is not None
    assert list(inventory.frame.times) == [TIME - 2, TIME, TIME, TIME]
    assert [(one.kind, one.resource[-1]) for one in inventory.defects] == [
        (DefectKind.BAD_TIME, "c"),
        (DefectKind.BAD_TIME, "d"),
    ]


def test_places_that_are_no_readings() -> None:
    control = {f"{SLED}/Controls/P": resource(f"{SLED}/Controls/P", "Control", SetPoint=500, SettingMax=900)}
    limit = {"SetPoint": 500, "DataSourceUri": f"{SLED}/Controls/P"}
    odd = {"Oem": {"X": {"Reading": 5, "DataSourceUri": f"{SENSORS}/a"}}, "Weather": {"Reading": 7}}
    inventory = read(one_sled(control, metrics(PowerLimitWatts=limit, **odd)))
    assert inventory.layout.sensors == ()


def test_an_empty_collection_of_sensors_is_no_trouble() -> None:
    inventory = read(one_sled({SENSORS: collection(SENSORS)}))
    assert (inventory.layout.sensors, inventory.defects) == ((), ())
