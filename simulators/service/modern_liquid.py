"""Coolant connectors and leak detection of a liquid-cooled sled, in the newer dialect."""

from __future__ import annotations

from simulators.designs import Item
from simulators.service import live
from simulators.service.modern_sensors import Sensors
from simulators.service.places import COOLANT, SLED, Plan, blade, context, nameplate, slot
from simulators.service.query import Body
from simulators.service.tree import Tree, link, links

_TOP = f"{SLED}/ThermalSubsystem"
_DETECTION = f"{_TOP}/LeakDetection"
_DETECTORS = f"{SLED}/LeakDetectors"


def detector(number: int) -> str:
    """A leak detector of the sled, from 1."""
    return f"{_DETECTORS}/Leak{number}"


def add(tree: Tree, plan: Plan, sensors: Sensors) -> Body:
    """Add the quick connects and the leak detectors; the links to them, empty where air cools all."""
    design = plan.design
    if design.connector is None:
        return {}
    told: Body = {
        **nameplate(design.connector),
        "SerialNumber": live.serial("coolant"),
        "CoolantConnectorType": "Pair",
        "Coolant": {"CoolantType": "Water"},
        "RatedFlowLitersPerMinute": design.connector.rated_flow,
        "FlowLitersPerMinute": sensors.excerpt("CoolantFlow"),
        "SupplyTemperatureCelsius": sensors.excerpt("CoolantSupply"),
        "ReturnTemperatureCelsius": sensors.excerpt("CoolantReturn"),
        "DeltaPressurekPa": sensors.excerpt("CoolantDrop"),
        "HeatRemovedkW": sensors.excerpt("CoolantHeat"),
        "Status": live.status("coolant", conditions=True),
        "Links": {"ConnectedChassis": links([SLED, *(blade(n) for n in plan.blades)])},
    }
    tree.add(COOLANT, "CoolantConnector.v1_3_0.CoolantConnector", "Coolant quick connects", told)
    detectors = [_detector(tree, plan, k) for k in range(1, len(design.detectors) + 1)]
    leaks = tuple(f"leak{k}" for k in range(1, len(detectors) + 1))
    tree.add(
        _DETECTION,
        "LeakDetection.v1_2_0.LeakDetection",
        "Leak detection",
        {
            "LeakDetectorGroups": [
                {
                    "GroupName": "Sled",
                    "Detectors": [_excerpt(k) for k in range(1, len(detectors) + 1)],
                    "Status": live.rollup_status(leaks),
                }
            ],
            "Status": live.rollup_status(leaks),
        },
    )
    tree.collect(_DETECTORS, "LeakDetector", "Leak detectors", detectors)
    connectors = tree.collect(COOLANT.rpartition("/")[0], "CoolantConnector", "Coolant connectors", [COOLANT])
    told = {"CoolantConnectors": link(connectors), "LeakDetection": link(_DETECTION)}
    return told if design.pump is None else {**told, "Pumps": link(_pump(tree, design.pump))}


def _pump(tree: Tree, what: Item) -> str:
    path = tree.add(
        f"{_TOP}/Pumps/Pump",
        "Pump.v1_2_0.Pump",
        "Coolant pump",
        {
            **nameplate(what),
            "SerialNumber": live.serial("pump"),
            "PumpType": "Liquid",
            "PhysicalContext": "CoolingSubsystem",
            "Location": {"PartLocation": slot("PUMP", 0, "Bay"), "PartLocationContext": context()},
            "Status": live.status("pump", conditions=True),
        },
    )
    return tree.collect(f"{_TOP}/Pumps", "Pump", "Pumps", [path])


def on_chassis(plan: Plan) -> Body:
    """The chassis' own link to its leak detectors; empty where it has none."""
    return {"LeakDetectors": link(_DETECTORS)} if plan.design.detectors else {}


def _excerpt(number: int) -> Body:
    return {
        "DataSourceUri": detector(number),
        "DeviceName": f"LEAK {number}",
        "DetectorState": live.detector_state(f"leak{number}"),
    }


def _detector(tree: Tree, plan: Plan, number: int) -> str:
    what, part = plan.design.detectors[number - 1], f"leak{number}"
    told: Body = {
        **nameplate(what),
        "SerialNumber": live.serial(part),
        "LeakDetectorType": "Moisture",
        "DetectorState": live.detector_state(part),
        "PhysicalContext": "CPUSubsystem" if number == 1 else "Chassis",
        "Location": {"PartLocation": slot(f"LEAK {number}", number - 1, "Embedded"), "PartLocationContext": context()},
        "Status": live.status(part, conditions=True),
    }
    return tree.add(detector(number), "LeakDetector.v1_6_0.LeakDetector", f"Leak detector {number}", told)
