"""Which properties of which resource a walk follows: a table, and the pure functions that read a body by it.

Names are those of the schemas, DMTF DSP8010. What is not here is not fetched: logs, accounts, certificates, BIOS,
registries, jobs, virtual media, interfaces of software, assemblies, sub-processors, volumes. Beside the links of the
table, places are followed that a body names as the origin of a number it repeats: see :func:`sources_of`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

from msgspec import Struct

from collector.model import DefectKind

FOLLOWED: dict[str, str] = {
    # One line a resource type. "Name": a link to one resource; "Name[]": an array of links; "Name/*": a link to a
    # collection whose members are wanted, and which is therefore fetched expanded where the service can.
    "ServiceRoot": (
        "Chassis/* Systems/* Managers/* Storage/* PowerEquipment ThermalEquipment Facilities/* Fabrics/* "
        "AutomationNodes/* Cables/* CompositionService ResourceBlocks/* TelemetryService"
    ),
    "Chassis": (
        "Sensors/* ThermalSubsystem PowerSubsystem EnvironmentMetrics Thermal Power Controls/* LeakDetectors/* "
        "Drives/* Memory/* Processors/* NetworkAdapters/* PCIeDevices/* MediaControllers/* FabricAdapters/* "
        "TrustedComponents/* "
        "Links.Contains[] Links.ContainedBy Links.ComputerSystems[] Links.ManagedBy[] Links.ManagersInChassis[] "
        "Links.Drives[] Links.Storage[] Links.Processors[] Links.PCIeDevices[] Links.Switches[] Links.Fans[] "
        "Links.PowerSupplies[] Links.PoweredBy[] Links.CooledBy[] Links.PowerOutlets[] Links.PowerDistribution "
        "Links.CoolingUnits[] Links.ConnectedCoolingLoops[] Links.Facility Links.Cables[]"
    ),
    "ComputerSystem": (
        "Processors/* Memory/* Storage/* SimpleStorage/* PCIeDevices[] NetworkInterfaces/* FabricAdapters/* "
        "GraphicsControllers/* "
        "Links.Chassis[] Links.ManagedBy[] Links.PoweredBy[] Links.CooledBy[]"
    ),
    "Manager": (
        "DedicatedNetworkPorts/* "
        "Links.ManagerInChassis Links.ManagerForChassis[] Links.ManagerForServers[] Links.ManagerForManagers[]"
    ),
    # Cooling
    "ThermalSubsystem": (
        "Fans/* ThermalMetrics Pumps/* Filters/* Heaters/* CoolantConnectors/* LeakDetection"
    ),
    "Heater": "Metrics",
    "Pump": "Filters/*",
    "Reservoir": "Filters/*",
    "LeakDetection": "LeakDetectors/*",
    "ThermalEquipment": "CDUs/* HeatExchangers/* ImmersionUnits/* RPUs/* CoolingLoops/*",
    "CoolingUnit": (
        "EnvironmentMetrics Pumps/* Reservoirs/* Filters/* LeakDetection "
        "PrimaryCoolantConnectors/* SecondaryCoolantConnectors/* Links.Chassis[] Links.ManagedBy[]"
    ),
    "CoolingLoop": "PrimaryCoolantConnectors/* SecondaryCoolantConnectors/*",
    # Power
    "PowerSubsystem": "PowerSupplies/* Batteries/*",
    "PowerSupply": "Metrics",
    "Battery": "Metrics",
    "PowerEquipment": "RackPDUs/* FloorPDUs/* PowerShelves/* Switchgear/* TransferSwitches/* ElectricalBuses/*",
    "PowerDistribution": (
        "Metrics Sensors/* Mains/* Branches/* Feeders/* Subfeeds/* Outlets/* OutletGroups/* PowerSupplies/* "
        "Links.Chassis[] Links.ManagedBy[]"
    ),
    "Facility": "EnvironmentMetrics AmbientMetrics",
    # What a blade carries
    "Processor": "Metrics EnvironmentMetrics",
    "Memory": "EnvironmentMetrics Metrics",
    "Storage": "Drives[] Controllers/* Metrics Links.Enclosures[]",
    "Drive": "EnvironmentMetrics Metrics",
    "StorageController": "EnvironmentMetrics Metrics",
    "NetworkAdapter": "EnvironmentMetrics Metrics Processors/* Ports/* NetworkPorts/*",
    "NetworkInterface": "Links.NetworkAdapter",
    "Port": "EnvironmentMetrics Metrics",
    "PCIeDevice": "EnvironmentMetrics",
    "MediaController": "EnvironmentMetrics",
    # Beside blades
    "Fabric": "Switches/*",
    "Switch": "EnvironmentMetrics Metrics Ports/*",
    "AutomationNode": "Instrumentation Links.Chassis[]",
    "CompositionService": "ResourceBlocks/*",
    "ResourceBlock": (
        "Processors[] Memory[] Storage[] SimpleStorage[] Drives[] NetworkInterfaces[] ComputerSystems[] Links.Chassis[]"
    ),
    # Numbers told again
    "TelemetryService": "MetricReports/* MetricReportDefinitions/* Triggers/*",
}  # fmt: skip


_SUPERSEDED = {"NetworkPorts": "Ports"}
"""Deprecated link -> the one that took its place, and leads to the same things told anew."""
MAX_SOURCES = 2_000
"""Origins of numbers that we follow from one body."""
_DEEPEST = 6
_NO_ORIGINS = frozenset({"Sensor", "MetricDefinition", "MetricReportDefinition"})
"""Types whose bodies repeat no number of another resource; Sensors are most of all bodies."""


class Step(Struct, frozen=True):
    """One entry of the table, taken apart."""

    path: tuple[str, ...]
    array: bool = False
    collection: bool = False


class Found(Struct, frozen=True):
    """A link in a body: where it stands, and what stands there as the link itself."""

    pointer: str
    link: object
    collection: bool = False
    cross: bool = False
    """Whether it points across the tree rather than down it: what it names may be brought by a collection as well."""
    origin: bool = False
    """Whether it names where a number comes from. Services leave many of these behind that lead nowhere."""


class Misshapen(Struct, frozen=True):
    """Something else where a link should stand."""

    pointer: str
    kind: DefectKind
    detail: str


def _steps(line: str) -> tuple[Step, ...]:
    return tuple(
        Step(tuple(word.removesuffix("[]").removesuffix("/*").split(".")), word.endswith("[]"), word.endswith("/*"))
        for word in line.split()
    )


STEPS: dict[str, tuple[Step, ...]] = {name: _steps(line) for name, line in FOLLOWED.items()}
_ANY: tuple[Step, ...] = tuple(dict.fromkeys(step for steps in STEPS.values() for step in steps))


def type_name(body: dict[str, Any]) -> str | None:
    """The resource type of a body, e.g. ``Chassis`` of ``#Chassis.v1_25_0.Chassis``; None where it does not say."""
    told = body.get("@odata.type")
    return told.lstrip("#").partition(".")[0] if isinstance(told, str) and told.startswith("#") else None


def links_of(body: dict[str, Any]) -> Iterator[Found | Misshapen]:
    """Every link of a body that the table follows; where the body does not say its type, by every line of the table."""
    name = type_name(body)
    for step in _ANY if name is None else STEPS.get(name, ()):
        holder: object = body
        for word in step.path[:-1]:
            holder = holder.get(word) if isinstance(holder, dict) else None
        value = holder.get(step.path[-1]) if isinstance(holder, dict) else None
        if value is None or _SUPERSEDED.get(step.path[-1]) in body:
            continue
        pointer = "/" + "/".join(step.path)
        if step.array and isinstance(value, list):
            for index, item in enumerate(value):
                yield _link(f"{pointer}/{index}", item, step)
        elif name is not None or (isinstance(value, dict) and "@odata.id" in value):
            # Without a type it may be another one's property that goes by this name, so only a clear link counts.
            yield _link(pointer, value, step)


def _link(pointer: str, value: object, step: Step) -> Found | Misshapen:
    if not isinstance(value, dict):
        return Misshapen(pointer, DefectKind.WRONG_TYPE, f"is {type(value).__name__}, not a link")
    if "@odata.id" not in value:
        return Misshapen(pointer, DefectKind.MISSING, "is a link without @odata.id")
    return Found(pointer, value["@odata.id"], step.collection, step.array or step.path[0] == "Links")


def sources_of(body: dict[str, Any]) -> Iterator[Found]:
    """Where numbers come from that a body repeats: DataSourceUri of excerpts, MetricProperty of a report's values.

    Some sensors are listed by no collection and named here only. Both are text in the schemas, not links. So are the
    metric definitions that a trigger names by their Id, whose URI the schema fixes: of all definitions only those.
    """
    name = type_name(body)
    if name in _NO_ORIGINS:
        return
    if name == "Triggers":
        told = _definitions(body)
    else:
        told = _values(body) if name == "MetricReport" else _excerpts("", body, 0)
    for count, (pointer, source) in enumerate(told):
        if count >= MAX_SOURCES:
            return
        yield Found(pointer, source, cross=True, origin=True)


def _values(report: dict[str, Any]) -> Iterator[tuple[str, str]]:
    values = report.get("MetricValues")
    seen: set[str] = set()
    for index, value in enumerate(values if isinstance(values, list) else ()):
        source = value.get("MetricProperty") if isinstance(value, dict) else None
        if isinstance(source, str) and (resource := source.partition("#")[0]) not in seen:
            seen.add(resource)
            yield f"/MetricValues/{index}/MetricProperty", source


def _definitions(trigger: dict[str, Any]) -> Iterator[tuple[str, str]]:
    ids = trigger.get("MetricIds")
    for index, id_ in enumerate(ids if isinstance(ids, list) else ()):
        if isinstance(id_, str) and id_:
            yield (
                f"/MetricIds/{index}",
                f"/redfish/v1/TelemetryService/MetricDefinitions/{quote(id_[:256], safe='', errors='replace')}",
            )


def _excerpts(pointer: str, value: object, depth: int) -> Iterator[tuple[str, str]]:
    if depth > _DEEPEST:
        return
    if isinstance(value, list):
        for index, item in enumerate(value):
            if isinstance(item, dict | list):
                yield from _excerpts(f"{pointer}/{index}", item, depth + 1)
    elif isinstance(value, dict):
        for word, below in value.items():
            if isinstance(below, str):
                if word.lower() == "datasourceuri" and below:
                    yield f"{pointer}/{word}", below
            elif isinstance(below, dict | list) and word not in ("Oem", "Links", "Members"):
                yield from _excerpts(f"{pointer}/{word}", below, depth + 1)
