"""The older dialect: Thermal and Power resources and IndicatorLED, without queries, ETags and Sensor resources.

What those schemas have no word for (currents, humidity) this dialect does not tell, as its controllers in life do not.
"""

from __future__ import annotations

from simulators.service import classic_host, live, root
from simulators.service.classic_rows import OWN, drive, fan, fans, led, supply, temperatures, voltages
from simulators.service.places import (
    ADAPTER,
    MANAGER,
    SLED,
    Own,
    Plan,
    blade,
    host,
    nameplate,
    plate,
    sled_slot,
    slot,
    storage,
)
from simulators.service.query import Body, Features
from simulators.service.tree import Tree, link, links
from simulators.site import Sled
from simulators.telemetry import Quantity

FEATURES = Features()


def build(sled: Sled) -> Tree:
    """All resources that the controllers of sleds like this one tell."""
    plan = Plan(sled)
    tree = Tree(FEATURES)
    root.add(tree, plan, root.CLASSIC)
    _sled(tree, plan)
    sled_thermal(tree, plan, OWN)
    sled_power(tree, plan, OWN)
    _adapter(tree, plan)
    _controller(tree, plan)
    for n in plan.blades:
        _blade(tree, plan, n)
        blade_thermal(tree, plan, n, OWN)
        blade_power(tree, plan, n, OWN)
    classic_host.add(tree, plan)
    return tree


def _sled(tree: Tree, plan: Plan) -> None:
    design = plan.design
    property_, write = led(plan, "")
    tree.add(
        SLED,
        "Chassis.v1_7_0.Chassis",
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
            "Location": {"PartLocation": sled_slot()},
            **property_,
            "PowerState": live.power_state(""),
            "Status": live.status(""),
            "Thermal": link(f"{SLED}/Thermal"),
            "Power": link(f"{SLED}/Power"),
            "NetworkAdapters": link(f"{SLED}/NetworkAdapters"),
            "Links": {
                "Contains": links(plan.blade_paths),
                "ComputerSystems": links(plan.host_paths),
                "ManagedBy": [link(MANAGER)],
                "ManagersInChassis": [link(MANAGER)],
                **_fed_and_cooled(plan),
            },
        },
        write,
    )


def sled_thermal(tree: Tree, plan: Plan, own: Own) -> None:
    """Add the sled's Thermal; ``own``: where the parts that its rows belong to stand."""
    thermal = f"{SLED}/Thermal"
    rows, redundancy = fans(plan, thermal)
    tree.add(
        thermal,
        "Thermal.v1_5_0.Thermal",
        "Sled thermal",
        {
            "Temperatures": temperatures(thermal, plan.in_chassis(""), own),
            "Fans": rows,
            "Redundancy": [redundancy],
            "Status": live.rollup_status(plan.fan_parts),
        },
    )


def _fed_and_cooled(plan: Plan) -> Body:
    return {
        "CooledBy": links(fan(k) for k in range(1, plan.design.fans + 1)),
        "PoweredBy": links(supply(k) for k in range(1, len(plan.design.power_supplies) + 1)),
    }


def sled_power(tree: Tree, plan: Plan, own: Own) -> None:
    """Add the sled's Power; ``own``: where the parts that its rows belong to stand."""
    design, power = plan.design, f"{SLED}/Power"
    supplies: list[Body] = []
    redundancy = f"{power}#/Redundancy/0"
    for k, what in enumerate(design.power_supplies, 1):
        part = f"psu{k}"
        supplies.append(
            {
                "@odata.id": supply(k),
                "MemberId": str(k - 1),
                "Name": f"Power supply {k}",
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "FirmwareVersion": live.firmware(part),
                "PowerSupplyType": "DC",
                "PowerCapacityWatts": what.capacity,
                "LineInputVoltage": live.reading("FeedVoltage"),
                "PowerInputWatts": live.reading(f"Psu{k}Input"),
                "PowerOutputWatts": live.reading(f"Psu{k}Output"),
                "LastPowerOutputWatts": live.reading(f"Psu{k}Output"),
                **led(plan, part)[0],
                "HotPluggable": False,
                "Location": {"PartLocation": slot(f"PSU {k}", k - 1, "Bay")},
                "Status": live.status(part, rollup=False),
                "RelatedItem": links([SLED, *plan.blade_paths]),
                "Redundancy": [link(redundancy)],
            }
        )
    controls: list[Body] = [
        {
            "Name": plan.by_id["FeedPower"].label,
            "PowerConsumedWatts": live.reading("FeedPower"),
            "PowerCapacityWatts": sum(what.capacity for what in design.power_supplies),
            "PhysicalContext": "PowerSubsystem",
            "Status": live.sensor_status("FeedPower"),
            "RelatedItem": [link(SLED)],
        },
        {
            "Name": plan.by_id["FanPower"].label,
            "PowerConsumedWatts": live.reading("FanPower"),
            "PhysicalContext": "CoolingSubsystem",
            "Status": live.sensor_status("FanPower"),
            "RelatedItem": links(fan(k) for k in range(1, design.fans + 1)),
        },
    ]
    for k, control in enumerate(controls):
        controls[k] = {"@odata.id": f"{power}#/PowerControl/{k}", "MemberId": str(k), **control}
    tree.add(
        power,
        "Power.v1_5_0.Power",
        "Sled power",
        {
            "PowerControl": controls,
            "Voltages": voltages(power, plan.in_chassis(""), own),
            "PowerSupplies": supplies,
            "Redundancy": [
                {
                    "@odata.id": redundancy,
                    "MemberId": "0",
                    "Name": "Converters",
                    "Mode": "N+m",
                    "MinNumNeeded": 1,
                    "MaxNumSupported": len(supplies),
                    "RedundancySet": links(supply(k) for k in range(1, len(supplies) + 1)),
                    "Status": live.group_status(plan.supply_parts),
                }
            ],
        },
    )


def _adapter(tree: Tree, plan: Plan) -> None:
    what = plan.design.adapter
    ports = [
        tree.add(
            f"{ADAPTER}/NetworkPorts/{k}",
            "NetworkPort.v1_2_0.NetworkPort",
            f"Port {k}",
            {
                "PhysicalPortNumber": f"{k}",
                "LinkStatus": live.link_status(f"adapter/port{k}", b'"Up"', b'"Down"'),
                "ActiveLinkTechnology": "Ethernet",
                "CurrentLinkSpeedMbps": live.link_speed(f"adapter/port{k}", 1000 * what.port_gbit),
            },
        )
        for k in range(1, what.ports + 1)
    ]
    tree.add(
        ADAPTER,
        "NetworkAdapter.v1_2_0.NetworkAdapter",
        "Shared network adapter",
        {
            **nameplate(what),
            "SerialNumber": live.serial("adapter"),
            "Controllers": [
                {
                    "ControllerCapabilities": {"NetworkPortCount": what.ports},
                    "FirmwarePackageVersion": live.firmware("adapter"),
                    "Links": {"NetworkPorts": links(ports)},
                }
            ],
            "NetworkPorts": link(
                tree.collect(f"{ADAPTER}/NetworkPorts", "NetworkPort", "Ports of the shared network adapter", ports)
            ),
            "Status": live.status("adapter", rollup=False),
        },
    )
    tree.collect(f"{SLED}/NetworkAdapters", "NetworkAdapter", "Network adapters", [ADAPTER])


def _controller(tree: Tree, plan: Plan) -> None:
    tree.add(
        MANAGER,
        "Manager.v1_4_0.Manager",
        "Shared management controller",
        {
            "ManagerType": "ManagementController",
            "Model": plan.design.controller.model,
            "UUID": live.uuid("controller"),
            "ServiceEntryPointUUID": live.uuid("service"),
            "FirmwareVersion": live.firmware("controller"),
            "DateTime": live.clock(),
            "DateTimeLocalOffset": "+00:00",
            "PowerState": live.power_state("controller"),
            "Status": live.status("controller", rollup=False),
            "Links": {
                "ManagerInChassis": link(SLED),
                "ManagerForChassis": links([SLED, *plan.blade_paths]),
                "ManagerForServers": links(plan.host_paths),
            },
        },
    )


def _blade(tree: Tree, plan: Plan, n: int) -> None:
    board, part, path = plan.design.blade, f"blade{n}", blade(n)
    where = plan.design.slots[n - 1]
    property_, write = led(plan, part)
    tree.add(
        path,
        "Chassis.v1_7_0.Chassis",
        f"Blade {n}",
        {
            "ChassisType": "Blade",
            **plate(board, part),
            "SerialNumber": live.serial(part),
            "UUID": live.uuid(part),
            "HeightMm": board.height,
            "WidthMm": board.width,
            "DepthMm": board.depth,
            "Location": {"PartLocation": slot(where.label, n - 1, "Slot")},
            **property_,
            "PowerState": live.power_state(part),
            "Status": live.status(part),
            "Thermal": link(f"{path}/Thermal"),
            "Power": link(f"{path}/Power"),
            "Links": {
                "ContainedBy": link(SLED),
                "ComputerSystems": [link(host(n))],
                "ManagedBy": [link(MANAGER)],
                "Storage": [link(storage(n))],
                "Drives": links(drive(n, i) for i in range(board.drives)),
                **_fed_and_cooled(plan),
            },
        },
        write,
    )


def blade_thermal(tree: Tree, plan: Plan, n: int, own: Own) -> None:
    """Add a blade's Thermal; ``own``: where the parts that its rows belong to stand."""
    thermal = f"{blade(n)}/Thermal"
    rows = temperatures(thermal, plan.in_chassis(f"blade{n}"), own)
    tree.add(thermal, "Thermal.v1_5_0.Thermal", f"Blade {n} thermal", {"Temperatures": rows})


def blade_power(tree: Tree, plan: Plan, n: int, own: Own) -> None:
    """Add a blade's Power; ``own``: where the parts that its rows belong to stand."""
    board, part, path = plan.design.blade, f"blade{n}", blade(n)
    power = f"{path}/Power"
    sensor = plan.of(part, Quantity.POWER)
    assert sensor is not None
    control: Body = {
        "@odata.id": f"{power}#/PowerControl/0",
        "MemberId": "0",
        "Name": f"Blade {n} input",
        "PowerConsumedWatts": live.reading(sensor),
        "PowerCapacityWatts": board.max_power,
        "Status": live.sensor_status(sensor),
        "RelatedItem": [link(path), link(host(n))],
    }
    tree.add(
        power,
        "Power.v1_5_0.Power",
        f"Blade {n} power",
        {"PowerControl": [control], "Voltages": voltages(power, plan.in_chassis(part), own)},
    )
