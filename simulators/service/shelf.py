"""A power shelf's service in the newer model: rectifiers below its chassis, feeds and outputs as power equipment."""

from __future__ import annotations

from functools import cached_property

from simulators.designs import Item
from simulators.parts import MAINS, Shelf
from simulators.report import has_lamp
from simulators.service import live, modern, root
from simulators.service.modern import management_port
from simulators.service.modern_sensors import Sensors, locate
from simulators.service.places import CHASSIS, MANAGER, nameplate, plate, slot
from simulators.service.query import Body, Features
from simulators.service.tree import Tree, link, links
from simulators.shelves import shelf_layout
from simulators.telemetry import SensorSpec

TOP = f"{CHASSIS}/Shelf"
EQUIPMENT = "/redfish/v1/PowerEquipment"
DISTRIBUTION = f"{EQUIPMENT}/PowerShelves/Shelf"
_TO_KWH = 1.0 / 3.6e6


def supply(number: int) -> str:
    """A rectifier, from 1."""
    return f"{TOP}/PowerSubsystem/PowerSupplies/Psu{number}"


def main(name: str) -> str:
    """A feed, by its letter."""
    return f"{DISTRIBUTION}/Mains/{name.upper()}"


def outlet(number: int) -> str:
    """A busbar output, from 1."""
    return f"{DISTRIBUTION}/Outlets/Bus{number}"


class ShelfPlan:
    """A shelf design as its services tell of it."""

    top = TOP
    blades: tuple[int, ...] = ()
    blade_paths: list[str] = []  # noqa: RUF012 - nobody writes to it
    host_paths: list[str] = []  # noqa: RUF012 - nor to this

    def __init__(self, shelf: Shelf) -> None:
        """``shelf``: any one of the design that feeds so many enclosures."""
        self.shelf = shelf
        self.design = shelf.design
        self.specs = shelf_layout(shelf.design, len(shelf.outlets)).specs
        self.by_id = {spec.id: spec for spec in self.specs}

    @property
    def managed_by(self) -> Item:
        """What the controller is."""
        return self.design.controller

    @cached_property
    def supplies(self) -> range:
        """Numbers of the rectifiers."""
        return range(1, self.design.supplies + 1)

    def lamp(self, part: str) -> bool:
        """Whether a part carries a locate lamp."""
        return has_lamp(self.shelf, self.shelf.parts[f"{self.shelf.name}/{part}" if part else self.shelf.name])

    def in_chassis(self, part: str) -> list[SensorSpec]:
        """All sensors: there is one chassis."""
        return list(self.specs)


def owner(part: str) -> str:
    """The resource that tells of a part of the shelf."""
    if part == "":
        return TOP
    if part.startswith("psu"):
        return supply(int(part[3:]))
    if part.startswith("mains"):
        return main(part[5:])
    if part.startswith("outlet"):
        return outlet(int(part[6:]))
    raise ValueError(f"no resource tells of a part like {part!r}")


def build(shelf: Shelf, features: Features = modern.FEATURES) -> Tree:
    """All resources that the controllers of shelves like this one tell."""
    tree, plan = Tree(features), ShelfPlan(shelf)
    root.add(tree, plan, root.MODERN, {"PowerEquipment": link(EQUIPMENT)})
    sensors = Sensors(tree, plan, owner)
    _chassis(tree, plan, sensors)
    supplies = [_supply(tree, plan, sensors, k) for k in plan.supplies]
    _subsystem(tree, plan, supplies)
    _equipment(tree, plan, sensors)
    _controller(tree, plan)
    return tree


def _chassis(tree: Tree, plan: ShelfPlan, sensors: Sensors) -> None:
    design = plan.design
    lamp, write = locate(plan, "")
    environment: Body = {
        "TemperatureCelsius": sensors.excerpt("ShelfInlet"),
        "PowerWatts": sensors.excerpt("ShelfInput"),
        "EnergykWh": {"Reading": live.metric("", "energy_joules", _TO_KWH)},
    }
    tree.add(
        TOP,
        "Chassis.v1_28_0.Chassis",
        "Power shelf",
        {
            "ChassisType": "Shelf",
            **nameplate(design),
            "SerialNumber": live.serial(""),
            "UUID": live.uuid("shelf"),
            "HeightMm": design.height,
            "WidthMm": design.width,
            "DepthMm": design.depth,
            "WeightKg": design.weight,
            "Location": {
                "PartLocation": {
                    "ServiceLabel": live.sled_label(),
                    "LocationType": "Slot",
                    "LocationOrdinalValue": live.sled_ordinal(),
                }
            },
            **lamp,
            "PowerState": live.power_state(""),
            "Status": live.status("", conditions=True),
            "Sensors": link(sensors.collection("")),
            "EnvironmentMetrics": link(sensors.environment(TOP, "Shelf environment", environment)),
            "PowerSubsystem": link(f"{TOP}/PowerSubsystem"),
            "Links": {
                "ManagedBy": [link(MANAGER)],
                "ManagersInChassis": [link(MANAGER)],
                "PowerSupplies": links(supply(k) for k in plan.supplies),
                "PowerDistribution": link(DISTRIBUTION),
            },
        },
        write,
    )


def _supply(tree: Tree, plan: ShelfPlan, sensors: Sensors, number: int) -> str:
    what, part, path, id_ = plan.design.supply, f"psu{number}", supply(number), f"Psu{number}"
    lamp, write = locate(plan, part)
    metrics: Body = {
        "InputVoltage": {"Reading": live.metric(part, "input_volts")},
        "InputCurrentAmps": {"Reading": live.metric(part, "input_amps")},
        "InputPowerWatts": sensors.excerpt(f"{id_}Input"),
        "OutputPowerWatts": sensors.excerpt(f"{id_}Output"),
        "RailVoltage": [{"Reading": live.metric(part, "output_volts")}],
        "RailCurrentAmps": [{"Reading": live.metric(part, "output_amps")}],
        "TemperatureCelsius": sensors.excerpt(id_),
    }
    tree.add(f"{path}/Metrics", "PowerSupplyMetrics.v1_2_0.PowerSupplyMetrics", f"PSU {number} metrics", metrics)
    return tree.add(
        path,
        "PowerSupply.v1_6_0.PowerSupply",
        f"PSU {number}",
        {
            **plate(what, part),
            "SerialNumber": live.serial(part),
            "FirmwareVersion": live.firmware(part),
            "PowerSupplyType": "AC",
            "InputNominalVoltageType": "AC230V",
            "OutputNominalVoltageType": "DC48V",
            "LineInputStatus": live.line_input(part),
            "PowerCapacityWatts": what.capacity,
            "InputRanges": [{"NominalVoltageType": "AC230V", "CapacityWatts": what.capacity}],
            "OutputRails": [{"NominalVoltage": what.output_nominal, "PhysicalContext": "DCBus"}],
            "HotPluggable": True,
            "Replaceable": True,
            "Location": {"PartLocation": slot(f"PSU {number}", number - 1, "Bay", front=True)},
            **lamp,
            "Status": live.status(part, conditions=True),
            "Metrics": link(f"{path}/Metrics"),
        },
        write,
    )


def _subsystem(tree: Tree, plan: ShelfPlan, supplies: list[str]) -> None:
    design, top = plan.design, f"{TOP}/PowerSubsystem"
    redundancy: Body = {
        "GroupName": "Rectifiers",
        "RedundancyType": "NPlusM",
        "MinNeededInGroup": design.needed,
        "MaxSupportedInGroup": design.supplies,
        "RedundancyGroup": links(supplies),
        "Status": live.group_status(tuple(f"psu{k}" for k in plan.supplies)),
    }
    tree.add(
        top,
        "PowerSubsystem.v1_1_3.PowerSubsystem",
        "Rectifiers",
        {
            "CapacityWatts": design.capacity,
            "PowerSupplies": link(tree.collect(f"{top}/PowerSupplies", "PowerSupply", "Rectifiers", supplies)),
            "PowerSupplyRedundancy": [redundancy],
            "Status": live.rollup_status(tuple(f"psu{k}" for k in plan.supplies)),
        },
    )


def _equipment(tree: Tree, plan: ShelfPlan, sensors: Sensors) -> None:
    mains = [_main(tree, sensors, k, name) for k, name in enumerate(MAINS)]
    outlets = [_outlet(tree, sensors, k, label) for k, label in enumerate(plan.shelf.outlets, 1)]
    metrics: Body = {
        "PowerWatts": sensors.excerpt("BusPower"),
        "PowerLoadPercent": {"Reading": live.metric("", "load_percent")},
    }
    tree.add(
        f"{DISTRIBUTION}/Metrics", "PowerDistributionMetrics.v1_4_0.PowerDistributionMetrics", "Shelf metrics", metrics
    )
    tree.add(
        DISTRIBUTION,
        "PowerDistribution.v1_6_0.PowerDistribution",
        "Power shelf",
        {
            "EquipmentType": "PowerShelf",
            **nameplate(plan.design),
            "SerialNumber": live.serial(""),
            "UUID": live.uuid("distribution"),
            "Mains": link(tree.collect(f"{DISTRIBUTION}/Mains", "Circuit", "Feeds", mains)),
            "Outlets": link(tree.collect(f"{DISTRIBUTION}/Outlets", "Outlet", "Busbar outputs", outlets)),
            "Metrics": link(f"{DISTRIBUTION}/Metrics"),
            "Status": live.status(""),
            "Links": {"Chassis": [link(TOP)], "ManagedBy": [link(MANAGER)]},
        },
    )
    shelves = tree.collect(f"{EQUIPMENT}/PowerShelves", "PowerDistribution", "Power shelves", [DISTRIBUTION])
    tree.add(
        EQUIPMENT,
        "PowerEquipment.v1_2_3.PowerEquipment",
        "Power equipment",
        {"PowerShelves": link(shelves), "Status": live.status(""), "Links": {"ManagedBy": [link(MANAGER)]}},
    )


def _main(tree: Tree, sensors: Sensors, index: int, name: str) -> str:
    part, id_ = f"mains{name.lower()}", f"Mains{name}"
    told: Body = {
        "CircuitType": "Mains",
        "VoltageType": "AC",
        "NominalVoltage": "AC230V",
        "PhaseWiringType": "OnePhase3Wire",
        "RatedCurrentAmps": 63,
        "BreakerState": "Normal",
        "PowerState": live.power_state(part),
        "Voltage": sensors.excerpt(f"{id_}Voltage"),
        "CurrentAmps": sensors.excerpt(f"{id_}Current"),
        "PowerWatts": sensors.excerpt(f"{id_}Power"),
        **({"FrequencyHz": sensors.excerpt("MainsFrequency")} if index == 0 else {}),
        "Status": live.status(part, conditions=True),
    }
    return tree.add(main(name), "Circuit.v1_9_0.Circuit", f"Feed {name}", told)


def _outlet(tree: Tree, sensors: Sensors, number: int, label: str) -> str:
    part, id_ = f"outlet{number}", f"Outlet{number}"
    told: Body = {
        "OutletType": "BusConnection",
        "VoltageType": "DC",
        "NominalVoltage": "DC48V",
        "RatedCurrentAmps": 150,
        "PowerState": live.power_state(part),
        "Voltage": sensors.excerpt("BusVoltage"),
        "CurrentAmps": sensors.excerpt(f"{id_}Current"),
        "PowerWatts": sensors.excerpt(f"{id_}Power"),
        "ElectricalConsumerNames": [label],
        "Status": live.status(part, conditions=True),
    }
    return tree.add(outlet(number), "Outlet.v1_4_4.Outlet", f"Busbar output to {label}", told)


def _controller(tree: Tree, plan: ShelfPlan) -> None:
    tree.add(
        MANAGER,
        "Manager.v1_24_0.Manager",
        "Shelf controller",
        {
            "ManagerType": "ManagementController",
            **nameplate(plan.design.controller),
            "SerialNumber": live.serial("controller"),
            "UUID": live.uuid("controller"),
            "ServiceEntryPointUUID": live.uuid("service"),
            "FirmwareVersion": live.firmware("controller"),
            "DateTime": live.clock(),
            "DateTimeLocalOffset": "+00:00",
            "LastResetTime": live.booted(),
            "DedicatedNetworkPorts": link(management_port(tree, {})),
            "PowerState": live.power_state("controller"),
            "Location": {"PartLocation": slot("MGMT", 0, "Embedded")},
            "Status": live.status("controller", conditions=True),
            "Links": {"ManagerInChassis": link(TOP), "ManagerForChassis": [link(TOP)]},
        },
    )
