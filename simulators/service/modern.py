"""The newer dialect: Sensor, EnvironmentMetrics, ThermalSubsystem and PowerSubsystem, with $expand and ETags."""

from __future__ import annotations

from simulators.service import live, modern_host, modern_limits, modern_liquid, root
from simulators.service.modern_sensors import Sensors, fan, locate, supply
from simulators.service.places import ADAPTER, MANAGER, SLED, Plan, context, nameplate, plate, sled_slot, slot
from simulators.service.query import Body, Features
from simulators.service.tree import Tree, link, links
from simulators.site import Sled
from simulators.telemetry import Quantity

FEATURES = Features(expand=".~*", max_levels=4, select=True, only=True, top_skip=True, etags=True)


def build(sled: Sled, features: Features = FEATURES) -> Tree:
    """All resources that the controllers of sleds like this one tell, and the queries that they take."""
    plan = Plan(sled)
    tree = Tree(features)
    root.add(tree, plan, root.MODERN)
    sensors = Sensors(tree, plan)
    _sled(tree, plan, sensors)
    _thermal(tree, plan, sensors)
    _power(tree, plan, sensors)
    _adapter(tree, plan, sensors)
    _controller(tree, plan)
    modern_host.add(tree, plan, sensors)
    return tree


def _sled(tree: Tree, plan: Plan, sensors: Sensors) -> None:
    design = plan.design
    lamp, write = locate(plan, "")
    environment: Body = {
        "TemperatureCelsius": sensors.excerpt("SledInlet"),
        "HumidityPercent": sensors.excerpt("SledHumidity"),
        "PowerWatts": sensors.excerpt("FeedPower"),
        "Voltage": sensors.excerpt("FeedVoltage"),
        "CurrentAmps": sensors.excerpt("FeedCurrent"),
        "EnergykWh": {"Reading": live.metric("", "energy_joules", 1.0 / 3.6e6)},
        "FanSpeedsPercent": [sensors.fan_excerpt(k, named=True) for k in range(1, design.fans + 1)],
        "PowerLimitWatts": modern_limits.excerpt(plan),
    }
    tree.add(
        SLED,
        "Chassis.v1_28_0.Chassis",
        "Sled",
        {
            "ChassisType": "Sled",
            **nameplate(design),
            "SerialNumber": live.serial(""),
            "UUID": live.uuid("sled"),
            "HeightMm": design.height,
            "WidthMm": design.width,
            "DepthMm": design.depth,
            "WeightKg": design.weight,
            "HotPluggable": True,
            "Replaceable": True,
            "ThermalDirection": "FrontToBack",
            "Location": {"PartLocation": sled_slot()},
            **lamp,
            "PowerState": live.power_state(""),
            "Status": live.status("", conditions=True),
            "Sensors": link(sensors.collection("")),
            "EnvironmentMetrics": link(sensors.environment(SLED, "Sled environment", environment)),
            "ThermalSubsystem": link(f"{SLED}/ThermalSubsystem"),
            "PowerSubsystem": link(f"{SLED}/PowerSubsystem"),
            "NetworkAdapters": link(f"{SLED}/NetworkAdapters"),
            **modern_limits.add(tree, plan, sensors),
            **modern_liquid.on_chassis(plan),
            "Links": {
                "Contains": links(plan.blade_paths),
                "ComputerSystems": links(plan.host_paths),
                "ManagedBy": [link(MANAGER)],
                "ManagersInChassis": [link(MANAGER)],
                "Fans": links(fan(k) for k in range(1, design.fans + 1)),
                "PowerSupplies": links(supply(k) for k in range(1, len(design.power_supplies) + 1)),
            },
        },
        write,
    )


def _thermal(tree: Tree, plan: Plan, sensors: Sensors) -> None:
    design, top = plan.design, f"{SLED}/ThermalSubsystem"
    fans = [fan(k) for k in range(1, design.fans + 1)]
    for k, path in enumerate(fans, 1):
        part = f"fan{k}"
        lamp, write = locate(plan, part)
        tree.add(
            path,
            "Fan.v1_6_0.Fan",
            f"Fan {k}",
            {
                **nameplate(design.fan),
                "SerialNumber": live.serial(part),
                "PhysicalContext": "Chassis",
                "SpeedPercent": sensors.fan_excerpt(k),
                "PowerWatts": {"Reading": live.metric(part, "power_watts")},
                "RatedSpeedRPM": design.fan.rated_rpm,
                "FanDiameterMm": round(design.fan.diameter),
                "HotPluggable": True,
                "Replaceable": True,
                "Location": {"PartLocation": slot(f"FAN {k}", k - 1, "Bay"), "PartLocationContext": context()},
                **lamp,
                "Status": live.status(part, conditions=True),
                "Links": {"CoolingChassis": links([SLED, *plan.blade_paths])},
            },
            write,
        )
    redundancy: Body = {
        "GroupName": "Fan row",
        "RedundancyType": "NPlusM",
        "MinNeededInGroup": design.fans - 1,
        "MaxSupportedInGroup": design.fans,
        "RedundancyGroup": links(fans),
        "Status": live.group_status(plan.fan_parts),
    }
    metrics: Body = {
        "TemperatureSummaryCelsius": {
            "Intake": sensors.excerpt("SledInlet"),
            "Exhaust": sensors.excerpt("SledExhaust"),
        },
        "TemperatureReadingsCelsius": [
            sensors.excerpt(spec.id, named=True)
            for spec in plan.in_chassis("")
            if spec.quantity is Quantity.TEMPERATURE
        ],
        "AirFlowCubicMetersPerMinute": sensors.excerpt("SledAirFlow"),
        "PowerWatts": sensors.excerpt("FanPower"),
    }
    tree.add(f"{top}/ThermalMetrics", "ThermalMetrics.v1_3_2.ThermalMetrics", "Sled thermal metrics", metrics)
    tree.add(
        top,
        "ThermalSubsystem.v1_5_0.ThermalSubsystem",
        "Sled cooling",
        {
            "Fans": link(tree.collect(f"{top}/Fans", "Fan", "Shared fans", fans)),
            "FanRedundancy": [redundancy],
            "ThermalMetrics": link(f"{top}/ThermalMetrics"),
            "Filters": link(_filter(tree, plan)),
            **modern_liquid.add(tree, plan, sensors),
            "Status": live.rollup_status(plan.fan_parts),
        },
    )


def _filter(tree: Tree, plan: Plan) -> str:
    top = f"{SLED}/ThermalSubsystem/Filters"
    path = tree.add(
        f"{top}/Air",
        "Filter.v1_1_0.Filter",
        "Intake air filter",
        {
            **nameplate(plan.design.filter),
            "SerialNumber": live.serial("filter"),
            "PhysicalContext": "Intake",
            "HotPluggable": True,
            "Replaceable": True,
            "Location": {
                "PartLocation": slot("FILTER", 0, "Bay", front=True),
                "PartLocationContext": context(),
            },
            "Status": live.status("filter", conditions=True),
        },
    )
    return tree.collect(top, "Filter", "Filters", [path])


def _power(tree: Tree, plan: Plan, sensors: Sensors) -> None:
    design, top = plan.design, f"{SLED}/PowerSubsystem"
    supplies = []
    for k, what in enumerate(design.power_supplies, 1):
        part, path, id_ = f"psu{k}", supply(k), f"Psu{k}"
        lamp, write = locate(plan, part)
        supplies.append(path)
        metrics: Body = {
            "InputVoltage": sensors.excerpt("FeedVoltage"),
            "InputCurrentAmps": {"Reading": live.metric(part, "input_amps")},
            "InputPowerWatts": sensors.excerpt(f"{id_}Input"),
            "OutputPowerWatts": sensors.excerpt(f"{id_}Output"),
            "RailVoltage": [{"Reading": live.metric(part, "output_volts")}],
            "RailCurrentAmps": [{"Reading": live.metric(part, "output_amps")}],
            "TemperatureCelsius": sensors.excerpt(id_),
        }
        tree.add(
            f"{path}/Metrics", "PowerSupplyMetrics.v1_2_0.PowerSupplyMetrics", f"Power supply {k} metrics", metrics
        )
        tree.add(
            path,
            "PowerSupply.v1_6_0.PowerSupply",
            f"Power supply {k}",
            {
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "FirmwareVersion": live.firmware(part),
                "PowerSupplyType": "DC",
                "InputNominalVoltageType": f"DC{what.input_nominal:.0f}V",
                "OutputNominalVoltageType": f"DC{what.output_nominal:.0f}V",
                "PowerCapacityWatts": what.capacity,
                "InputRanges": [{"NominalVoltageType": f"DC{what.input_nominal:.0f}V", "CapacityWatts": what.capacity}],
                "OutputRails": [{"NominalVoltage": what.output_nominal, "PhysicalContext": "Chassis"}],
                "HotPluggable": False,
                "Replaceable": True,
                "Location": {"PartLocation": slot(f"PSU {k}", k - 1, "Bay"), "PartLocationContext": context()},
                **lamp,
                "Status": live.status(part, conditions=True),
                "Metrics": link(f"{path}/Metrics"),
                "Links": {"PoweringChassis": links([SLED, *plan.blade_paths])},
            },
            write,
        )
    redundancy: Body = {
        "GroupName": "Converters",
        "RedundancyType": "NPlusM",
        "MinNeededInGroup": 1,
        "MaxSupportedInGroup": len(supplies),
        "RedundancyGroup": links(supplies),
        "Status": live.group_status(plan.supply_parts),
    }
    tree.add(
        top,
        "PowerSubsystem.v1_1_3.PowerSubsystem",
        "Sled power",
        {
            "CapacityWatts": modern_limits.capacity(plan),
            "Allocation": modern_limits.allocation(plan),
            "PowerSupplies": link(tree.collect(f"{top}/PowerSupplies", "PowerSupply", "Shared converters", supplies)),
            "PowerSupplyRedundancy": [redundancy],
            "Status": live.rollup_status(plan.supply_parts),
        },
    )


def _adapter(tree: Tree, plan: Plan, sensors: Sensors) -> None:
    what = plan.design.adapter
    environment: Body = {"TemperatureCelsius": sensors.excerpt("Adapter")}
    ports = []
    for k in range(1, what.ports + 1):
        port: Body = {
            "PortId": str(k),
            "PortType": "UpstreamPort",
            "PortProtocol": "Ethernet",
            "MaxSpeedGbps": what.port_gbit,
            "LinkStatus": live.link_status(f"adapter/port{k}"),
            "CurrentSpeedGbps": live.link_speed(f"adapter/port{k}", what.port_gbit),
            "Ethernet": live.heard(f"adapter/port{k}"),
            "Location": {
                "PartLocation": slot(f"NET {k}", k - 1, "Connector", front=True),
                "PartLocationContext": context(),
            },
        }
        ports.append(tree.add(f"{ADAPTER}/Ports/{k}", "Port.v1_18_0.Port", f"Port {k}", port))
    tree.add(
        ADAPTER,
        "NetworkAdapter.v1_14_0.NetworkAdapter",
        "Shared network adapter",
        {
            **nameplate(what),
            "SerialNumber": live.serial("adapter"),
            "Controllers": [
                {"Links": {"Ports": links(ports)}, "FirmwarePackageVersion": live.firmware("adapter")},
            ],
            "Ports": link(tree.collect(f"{ADAPTER}/Ports", "Port", "Ports of the shared network adapter", ports)),
            "Location": {"PartLocation": slot("NET", 0, "Slot"), "PartLocationContext": context()},
            "Status": live.status("adapter", conditions=True),
            "EnvironmentMetrics": link(sensors.environment(ADAPTER, "Network adapter environment", environment)),
        },
    )
    tree.collect(f"{SLED}/NetworkAdapters", "NetworkAdapter", "Network adapters", [ADAPTER])


def _controller(tree: Tree, plan: Plan) -> None:
    what = plan.design.controller
    ports = management_port(tree, {"PartLocationContext": context()})
    tree.add(
        MANAGER,
        "Manager.v1_24_0.Manager",
        "Shared management controller",
        {
            "ManagerType": "ManagementController",
            **nameplate(what),
            "SerialNumber": live.serial("controller"),
            "UUID": live.uuid("controller"),
            "ServiceEntryPointUUID": live.uuid("service"),
            "FirmwareVersion": live.firmware("controller"),
            "DateTime": live.clock(),
            "DateTimeLocalOffset": "+00:00",
            "LastResetTime": live.booted(),
            "DedicatedNetworkPorts": link(ports),
            "PowerState": live.power_state("controller"),
            "Location": {"PartLocation": slot("MGMT", 0, "Embedded"), "PartLocationContext": context()},
            "Status": live.status("controller", conditions=True),
            "Links": {
                "ManagerInChassis": link(SLED),
                "ManagerForChassis": links([SLED, *plan.blade_paths]),
                "ManagerForServers": links(plan.host_paths),
            },
        },
    )


def management_port(tree: Tree, where: Body) -> str:
    """Add the controller's own port with what it hears there; the collection. ``where``: more of its location."""
    port = tree.add(
        f"{MANAGER}/DedicatedNetworkPorts/1",
        "Port.v1_18_0.Port",
        "Port of the management controller",
        {
            "PortId": "1",
            "PortType": "ManagementPort",
            "PortProtocol": "Ethernet",
            "MaxSpeedGbps": 1,
            "LinkStatus": live.link_status("controller"),
            "Ethernet": live.heard("controller"),
            "Location": {"PartLocation": slot("MGMT", 0, "Connector"), **where},
        },
    )
    return tree.collect(f"{MANAGER}/DedicatedNetworkPorts", "Port", "Ports of the management controller", [port])
