"""Plain numbers of metrics, and numbers beside a reading: found, named, converted, polled, each once."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from collector.model import DefectKind, Health, Kind, Quantity
from collector.normalise.inventory import Normalised
from collector.normalise.polled import Decoded, Decoder
from collector.poll.plan import plan
from tests.normalise.services import (
    NAME,
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    collection,
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
from tests.normalise.walks import TIME, answers, walk_of

SENSORS = f"{SLED}/Sensors"
HOST = f"{SYSTEMS}/H1"
CPU = f"{HOST}/Processors/1"
METRICS = f"{CPU}/Metrics"
FAN = f"{SLED}/ThermalSubsystem/Fans/1"
DIMM = f"{HOST}/Memory/1"

POWER = {"Id": "P", "Name": "Input Power", "ReadingType": "Power", "ReadingUnits": "W", "Status": ok()}
TURNING = {"Id": "F", "Name": "Fan 1 Speed", "ReadingType": "Percent", "ReadingUnits": "%", "Status": ok()}


def one_sled(*bodies: Bodies) -> Bodies:
    found = root() | chassis(sled())
    for body in bodies:
        found |= body
    return found


def cpu(**metrics: Any) -> Bodies:
    return {
        HOST: resource(HOST, "ComputerSystem", Links={"Chassis": [link(SLED)]}),
        CPU: resource(CPU, "Processor", Name="CPU 1", Status=ok()),
        METRICS: resource(METRICS, "ProcessorMetrics", **metrics),
    }


def values(inventory: Normalised) -> dict[str, float]:
    return {
        sensor.sensor: value for sensor, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True)
    }


def polled(bodies: Bodies, *, expand: bool = False, **changes: dict[str, Any]) -> tuple[Normalised, Decoded]:
    """A round after a walk; ``changes``: new properties of resources, by the last step of their path."""
    walked = walk_of(bodies, NAME, expand=expand)
    inventory = read(bodies, expand=expand)
    fetches = plan(walked, inventory)
    decoder = Decoder(inventory, fetches)
    now = {uri: body | changes.get(uri.rpartition("/")[2], {}) for uri, body in bodies.items()}
    decoder.begin()
    for index, body in enumerate(answers(walked, fetches, now)):
        decoder.take(index, body, TIME)
    return inventory, decoder.finish(TIME)


def told(inventory: Normalised, decoded: Decoded) -> dict[str, float]:
    assert decoded.frame is not None
    return {one.sensor: value for one, value in zip(inventory.layout.sensors, decoded.frame.values, strict=True)}


# Beside a reading


@pytest.mark.parametrize("expand", [True, False])
def test_power_has_four_numbers_and_one_health(expand: bool) -> None:
    body = POWER | {"Reading": 100, "ApparentVA": 125, "ReactiveVAR": 75, "PowerFactor": 0.8}
    bodies = one_sled(sensors(body, temperature("T")))
    now = {"Reading": 80, "ApparentVA": 100, "ReactiveVAR": 60, "PowerFactor": 0.79, "Status": ok("Critical")}
    inventory, decoded = polled(bodies, expand=expand, P=now)
    assert {one.sensor: (one.quantity, one.unit) for one in inventory.layout.sensors} == {
        "Input Power": (Quantity.POWER, "W"),
        "Input apparent power": (Quantity.APPARENT_POWER, "V.A"),
        "Input reactive power": (Quantity.REACTIVE_POWER, "V.A{reactive}"),
        "Input power factor": (Quantity.POWER_FACTOR, "1"),
        "T": (Quantity.TEMPERATURE, "Cel"),
    }
    assert {one.source for one in inventory.layout.sensors} >= {f"{SENSORS}/P", f"{SENSORS}/P#/ApparentVA"}
    assert told(inventory, decoded) == {
        "Input Power": 80,
        "Input apparent power": 100,
        "Input reactive power": 60,
        "Input power factor": 0.79,
        "T": 20,
    }
    assert decoded.frame is not None
    healths = dict(zip((one.sensor for one in inventory.layout.sensors), decoded.frame.healths, strict=True))
    assert healths["Input Power"] == Health.CRITICAL
    assert {healths[name] for name in healths if name.startswith("Input ") and name != "Input Power"} == {0}


@pytest.mark.parametrize(("now", "factor"), [(0.97, 0.97), (1.0, 1.0), (97, 0.97), (-0.5, -0.5)])
def test_a_power_factor_is_a_ratio_also_where_told_in_hundredths(now: float, factor: float) -> None:
    """All 85 of the published examples tell ratios; the schema's text has 1/100ths (redfish-notes.md section 3)."""
    inventory = read(one_sled(sensors(POWER | {"Reading": 100, "PowerFactor": now})))
    assert values(inventory)["Input power factor"] == pytest.approx(factor)


def test_a_power_factor_that_turns_into_hundredths_is_a_defect_not_a_reading() -> None:
    inventory, decoded = polled(one_sled(sensors(POWER | {"Reading": 100, "PowerFactor": 0.97})), P={"PowerFactor": 97})
    assert math.isnan(told(inventory, decoded)["Input power factor"])
    assert [(one.property, one.kind) for one in decoded.defects] == [("/PowerFactor", DefectKind.OUT_OF_RANGE)]


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("wrong", ["fast", [], True])
def test_a_wrong_number_beside_a_reading_costs_that_number_alone(expand: bool, wrong: Any) -> None:
    bodies = one_sled(sensors(TURNING | {"Reading": 40, "SpeedRPM": 9000}))
    inventory, decoded = polled(bodies, expand=expand, F={"Reading": 50, "SpeedRPM": wrong})
    now = told(inventory, decoded)
    assert now.pop("Fan 1 Speed") == 50
    assert math.isnan(now.pop("Fan 1 rotational speed"))
    assert [(one.resource, one.property, one.kind) for one in decoded.defects] == [
        (f"{SENSORS}/F", "/SpeedRPM", DefectKind.WRONG_TYPE)
    ]


def test_an_absent_sensor_tells_nothing_beside_it_either() -> None:
    bodies = one_sled(sensors(TURNING | {"Reading": 40, "SpeedRPM": 9000}))
    for expand in (True, False):
        inventory, decoded = polled(bodies, expand=expand, F={"Status": {"State": "Absent"}, "SpeedRPM": 1})
        assert all(math.isnan(value) for value in told(inventory, decoded).values())


def test_the_same_number_in_an_excerpt_is_another_place_of_it() -> None:
    excerpt = {"Reading": 40, "SpeedRPM": 9100, "DataSourceUri": f"{SENSORS}/F"}
    fan = {FAN: resource(FAN, "Fan", Name="Fan 1", SpeedPercent=excerpt, Status=ok())}
    inventory = read(one_sled(sensors(TURNING | {"Reading": 40, "SpeedRPM": 9000}), fan))
    speed, turning = inventory.layout.sensors
    assert (turning.source, turning.also_at) == (f"{SENSORS}/F#/SpeedRPM", (f"{FAN}#/SpeedPercent/SpeedRPM",))
    assert speed.part == turning.part == f"{NAME}:{FAN}"
    assert values(inventory)[turning.sensor] == 9000


def test_an_excerpt_alone_has_numbers_beside_it() -> None:
    fan = {FAN: resource(FAN, "Fan", Name="Fan 1", SpeedPercent={"Reading": 40, "SpeedRPM": 9100}, Status=ok())}
    assert values(read(one_sled(fan))) == {"speed": 40, "rotational speed": 9100}


def test_a_legacy_row_in_turns_is_the_number_beside_the_percentage() -> None:
    fan = {FAN: resource(FAN, "Fan", Name="Fan 1", SpeedPercent={"Reading": 40, "SpeedRPM": 9000}, Status=ok())}
    rows = thermal(Fans=[{"Name": "Fan 1", "Reading": 9050, "ReadingUnits": "RPM"}])
    inventory = read(one_sled(fan, rows))
    assert {one.source: one.also_at for one in inventory.layout.sensors} == {
        f"{FAN}#/SpeedPercent/Reading": (),
        f"{FAN}#/SpeedPercent/SpeedRPM": (f"{SLED}/Thermal#/Fans/0/Reading",),
    }


def test_lifetime_energy_is_in_the_unit_of_the_energy() -> None:
    energy = {"Id": "E", "Name": "Energy", "ReadingType": "EnergykWh", "ReadingUnits": "kW.h", "Reading": 1}
    inventory = read(one_sled(sensors(energy | {"LifetimeReading": 5, "ApparentkVAh": 2, "PeakReading": 9})))
    assert values(inventory) == {"Energy": 3.6e6, "lifetime energy": 1.8e7, "apparent energy": 2}
    assert {one.sensor: one.unit for one in inventory.layout.sensors}["apparent energy"] == "kV.A.h"


def test_a_number_that_its_unit_makes_infinite_is_no_reading() -> None:
    energy = {"Id": "E", "Name": "E", "ReadingType": "EnergykWh", "ReadingUnits": "kW.h", "Reading": 1e308}
    inventory = read(one_sled(sensors(energy)))
    assert math.isnan(values(inventory)["E"])
    assert [one.kind for one in inventory.defects] == [DefectKind.OUT_OF_RANGE]
    inventory, decoded = polled(one_sled(sensors(energy | {"Reading": 1})), expand=True, E={"Reading": -1e308})
    assert math.isnan(told(inventory, decoded)["E"])
    assert [one.kind for one in decoded.defects] == [DefectKind.OUT_OF_RANGE]


# Plain numbers


def test_processor_metrics() -> None:
    inventory, decoded = polled(
        one_sled(
            cpu(
                OperatingSpeedMHz=2400,
                KernelPercent=2.5,
                ThrottlingCelsius=-3,
                LocalMemoryBandwidthBytes=10**12,
                ThermalLimitThrottleDuration="PT1M30S",
                CorrectableCoreErrorCount=0,
                CoreMetrics=[{"CoreId": "0", "UnhaltedCycles": 6}, {"CoreId": "1", "UnhaltedCycles": None}],
            )
        ),
        Metrics={"ThermalLimitThrottleDuration": "PT2M", "OperatingSpeedMHz": 800, "KernelPercent": None},
    )
    by_name = {one.sensor: one for one in inventory.layout.sensors}
    assert {one.part for one in by_name.values()} == {f"{NAME}:{CPU}"}
    assert values(inventory) == pytest.approx(
        {
            "operating speed": 2.4e9,
            "kernel": 2.5,
            "throttling": -3,
            "local memory bandwidth bytes": 1e12,
            "thermal limit throttle time": 90,
            "correctable core error count": 0,
            "core 1 unhalted cycles": 6,
            "core 2 unhalted cycles": math.nan,
        },
        nan_ok=True,
    )
    now = told(inventory, decoded)
    assert (now["operating speed"], now["thermal limit throttle time"]) == (8e8, 120)
    assert math.isnan(now["kernel"])
    assert now["correctable core error count"] == 0
    assert by_name["local memory bandwidth bytes"].quantity is Quantity.DATA
    assert by_name["thermal limit throttle time"].unit == "s"


@pytest.mark.parametrize("wrong", ["soon", 7, [], True])
def test_what_is_no_duration_is_a_defect(wrong: Any) -> None:
    bodies = one_sled(cpu(ThermalLimitThrottleDuration="PT1M30S", KernelPercent=5))
    inventory, decoded = polled(bodies, Metrics={"ThermalLimitThrottleDuration": wrong})
    assert told(inventory, decoded)["kernel"] == 5
    assert math.isnan(told(inventory, decoded)["thermal limit throttle time"])
    assert [(one.property, one.kind) for one in decoded.defects] == [
        ("/ThermalLimitThrottleDuration", DefectKind.BAD_TIME)
    ]


def test_an_array_of_numbers_is_a_sensor_each() -> None:
    drive = f"{SLED}/Drives/1"
    smart = {"TemperatureSensorsCelsius": [34, None, 36.5], "PowerOnHours": 2, "PercentageUsed": 130}
    bodies = one_sled(
        {
            drive: resource(drive, "Drive", Name="Drive 1", Status=ok(), PredictedMediaLifeLeftPercent=80),
            f"{drive}/Metrics": resource(f"{drive}/Metrics", "DriveMetrics", NVMeSMART=smart, ReadIOKiBytes=3),
        }
    )
    now = smart | {"TemperatureSensorsCelsius": [35, 20]}
    inventory, decoded = polled(bodies, Metrics={"NVMeSMART": now})
    assert {one.source.partition("#")[2] for one in inventory.layout.sensors if "sensor" in one.sensor} == {
        f"/NVMeSMART/TemperatureSensorsCelsius/{index}" for index in range(3)
    }
    assert told(inventory, decoded) == pytest.approx(
        {
            "SMART temperature sensor 1": 35,
            "SMART temperature sensor 2": 20,
            "SMART temperature sensor 3": math.nan,
            "SMART power on time": 7200,
            "SMART life used": 130,
            "read IO": 3072,
            "predicted media life left": 80,
        },
        nan_ok=True,
    )
    _, spoilt = polled(bodies, Metrics={"NVMeSMART": smart | {"TemperatureSensorsCelsius": [35, "hot", 30]}})
    assert [(one.property, one.kind) for one in spoilt.defects] == [
        ("/NVMeSMART/TemperatureSensorsCelsius/1", DefectKind.WRONG_TYPE)
    ]
    _, gone = polled(bodies, Metrics={"NVMeSMART": smart | {"TemperatureSensorsCelsius": 35}})
    assert [(one.property, one.kind) for one in gone.defects] == [
        ("/NVMeSMART/TemperatureSensorsCelsius", DefectKind.WRONG_TYPE)
    ]


def test_ports_are_parts_of_their_adapter() -> None:
    adapter = f"{SLED}/NetworkAdapters/1"
    ports = [f"{adapter}/Ports/{index}" for index in (1, 2)]
    bodies = one_sled(
        {adapter: resource(adapter, "NetworkAdapter", Name="NIC", Ports=link(f"{adapter}/Ports"), Status=ok())},
        {f"{adapter}/Ports": collection(f"{adapter}/Ports", *ports)},
        {port: resource(port, "Port", Metrics=link(f"{port}/Metrics")) for port in ports},
        {f"{port}/Metrics": resource(f"{port}/Metrics", "PortMetrics", RXBytes=10, RXErrors=0) for port in ports},
    )
    inventory = read(bodies)
    told = dict(zip((one.key[1:] for one in inventory.layout.sensors), inventory.frame.values, strict=True))
    each = {"RX bytes": 10, "RX errors": 0}
    assert told == {(f"{NAME}:{port}", name): value for port in ports for name, value in each.items()}
    homes = {one.uri: (one.kind, one.parent) for one in inventory.parts if one.uri in ports}
    assert homes == dict.fromkeys(ports, (Kind.PORT, f"{NAME}:{adapter}"))


def test_a_deprecated_number_is_its_successor() -> None:
    environment = f"{CPU}/EnvironmentMetrics"
    newer = {environment: resource(environment, "EnvironmentMetrics", TemperatureCelsius={"Reading": 61})}
    inventory = read(one_sled(cpu(TemperatureCelsius=60, ConsumedPowerWatt=95), newer))
    assert {one.source: one.also_at for one in inventory.layout.sensors} == {
        f"{environment}#/TemperatureCelsius/Reading": (f"{METRICS}#/TemperatureCelsius",),
        f"{METRICS}#/ConsumedPowerWatt": (),
    }


def test_a_plain_number_is_no_successor_of_a_legacy_row() -> None:
    """The margin to throttling is in degrees Celsius too, and is no temperature of the processor."""
    row = {"Name": "CPU 1", "ReadingCelsius": 60, "PhysicalContext": "CPU", "RelatedItem": [link(CPU)]}
    inventory = read(one_sled(cpu(ThrottlingCelsius=30), thermal(Temperatures=[row])))
    assert sorted(values(inventory).values()) == [30, 60]


def test_limits_and_sizes_are_no_readings() -> None:
    body = {
        DIMM: resource(DIMM, "Memory", Name="DIMM"),
        f"{DIMM}/Metrics": resource(f"{DIMM}/Metrics", "MemoryMetrics", BlockSizeBytes=4096, DirtyShutdownCount=1),
    }
    assert values(read(one_sled(body))) == {"dirty shutdown count": 1}


def test_a_control_tells_what_the_sensor_behind_it_reads() -> None:
    node = "/redfish/v1/AutomationNodes/1"
    told = {"Reading": 0.5, "ReadingUnits": "m", "SetPoint": 0.75, "DataSourceUri": f"{SLED}/Controls/X"}
    bodies = one_sled(
        {
            node: resource(node, "AutomationNode", Name="Mover", Instrumentation=link(f"{node}/I")),
            f"{node}/I": resource(f"{node}/I", "AutomationInstrumentation", NodeControl=told, PID=told),
            f"{SLED}/Controls/X": resource(f"{SLED}/Controls/X", "Control", SetPoint=0.75),
        }
    )
    inventory = read(bodies)
    (sensor,) = inventory.layout.sensors
    assert (sensor.unit, values(inventory)[sensor.sensor]) == ("m", 0.5)
    assert len(sensor.also_at) == 1
    assert not inventory.defects


def test_both_ways_of_reading_agree() -> None:
    """The quick way and the careful way, on bodies that both can read."""
    bodies = one_sled(
        sensors(POWER | {"Reading": 100, "ApparentVA": 125, "PowerFactor": 0.8, "ReadingTime": "2025-11-24T15:59:00Z"}),
        cpu(ThermalLimitThrottleDuration="PT1M", KernelPercent=1, CoreMetrics=[{"UnhaltedCycles": 1}]),
        power(PowerControl=[{"Name": "Total", "PowerConsumedWatts": 344}]),
    )
    frames = []
    for expand in (True, False):
        _, decoded = polled(bodies, expand=expand)
        walked = walk_of(bodies, NAME, expand=expand)
        inventory = read(bodies, expand=expand)
        fetches = plan(walked, inventory)
        decoder = Decoder(inventory, fetches)
        decoder.begin()
        for index, body in enumerate(answers(walked, fetches)):
            spoilt = json.loads(body)
            if "Members" in spoilt:
                spoilt["Members"].append({"@odata.id": "/redfish/v1/x", "Reading": "x", "Status": 7})
            else:
                spoilt |= {"Status": {"State": 7}} if "Status" not in spoilt else {}
            decoder.take(index, json.dumps(spoilt).encode(), TIME)
        careful = decoder.finish(TIME)
        assert decoded.frame is not None
        assert careful.frame is not None
        frames += [decoded.frame, careful.frame]
    assert len({frame.values.tobytes() for frame in frames}) == 1
    assert len({frame.times.tobytes() for frame in frames if frame.times is not None}) == 1
