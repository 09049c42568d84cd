"""Blades and the computer systems on them, in the newer dialect."""

from __future__ import annotations

from simulators.service import live
from simulators.service.modern_sensors import Sensors, drive, fan, locate, supply
from simulators.service.places import (
    ADAPTER,
    MANAGER,
    SLED,
    Plan,
    blade,
    context,
    host,
    memory,
    plate,
    processor,
    slot,
    storage,
)
from simulators.service.query import Body
from simulators.service.tree import Tree, link, links

_TO_KWH = 1.0 / 3.6e6


def add(tree: Tree, plan: Plan, sensors: Sensors) -> None:
    """Add every blade with its host and what is on it."""
    for n in plan.blades:
        _blade(tree, plan, sensors, n)
        _host(tree, plan, n)
        _processors(tree, plan, sensors, n)
        _memory(tree, plan, n)
        _storage(tree, plan, sensors, n)


def _shared(plan: Plan) -> tuple[list[Body], list[Body]]:
    fans = links(fan(k) for k in range(1, plan.design.fans + 1))
    return fans, links(supply(k) for k in range(1, len(plan.design.power_supplies) + 1))


def _blade(tree: Tree, plan: Plan, sensors: Sensors, n: int) -> None:
    board, part = plan.design.blade, f"blade{n}"
    where = plan.design.slots[n - 1]
    lamp, write = locate(plan, part)
    fans, supplies = _shared(plan)
    environment: Body = {
        "TemperatureCelsius": sensors.excerpt(f"Blade{n}Inlet"),
        "PowerWatts": sensors.excerpt(f"Blade{n}Power"),
        "Voltage": sensors.excerpt(f"Blade{n}Volt12"),
        "CurrentAmps": sensors.excerpt(f"Blade{n}Current"),
        "EnergykWh": {"Reading": live.metric(part, "energy_joules", _TO_KWH)},
    }
    tree.add(
        blade(n),
        "Chassis.v1_28_0.Chassis",
        f"Blade {n}",
        {
            "ChassisType": "Blade",
            **plate(board, part),
            "SerialNumber": live.serial(part),
            "UUID": live.uuid(part),
            "HeightMm": board.height,
            "WidthMm": board.width,
            "DepthMm": board.depth,
            "MaxPowerWatts": board.max_power,
            "HotPluggable": True,
            "Replaceable": True,
            "PoweredByParent": True,
            "ThermalManagedByParent": True,
            "Location": {
                "PartLocation": slot(where.label, n - 1, "Slot", front=True),
                "PartLocationContext": context(),
            },
            **lamp,
            "PowerState": live.power_state(part),
            "Status": live.status(part, conditions=True),
            "Sensors": link(sensors.collection(part)),
            "Drives": link(f"{blade(n)}/Drives"),
            "EnvironmentMetrics": link(sensors.environment(blade(n), f"Blade {n} environment", environment)),
            "Links": {
                "ContainedBy": link(SLED),
                "ComputerSystems": [link(host(n))],
                "ManagedBy": [link(MANAGER)],
                "Fans": fans,
                "PowerSupplies": supplies,
                "Processors": links(processor(n, i) for i in range(board.processors)),
                "Storage": [link(storage(n))],
                "Drives": links(drive(n, i) for i in range(board.drives)),
            },
        },
        write,
    )


def _host(tree: Tree, plan: Plan, n: int) -> None:
    board, part, top = plan.design.blade, f"blade{n}/host", host(n)
    lamp, write = locate(plan, f"blade{n}")  # a host is found by its blade's lamp
    fans, supplies = _shared(plan)
    network: Body = {"Links": {"NetworkAdapter": link(ADAPTER)}, "Status": live.status("adapter", rollup=False)}
    tree.add(
        f"{top}/NetworkInterfaces/Net",
        "NetworkInterface.v1_2_3.NetworkInterface",
        f"Blade {n} on the shared network adapter",
        network,
    )
    tree.add(
        top,
        "ComputerSystem.v1_27_0.ComputerSystem",
        f"Host on blade {n}",
        {
            "SystemType": "Physical",
            **plate(board, part),
            "SerialNumber": live.serial(part),
            "UUID": live.uuid(part),
            "BiosVersion": live.firmware(part),
            "PowerState": live.power_state(part),
            **lamp,
            "Status": live.status(part, conditions=True),
            "ProcessorSummary": {
                "Count": board.processors,
                "Model": board.processor.model,
                "CoreCount": board.processors * board.processor.cores,
                "LogicalProcessorCount": board.processors * board.processor.threads,
            },
            "MemorySummary": {"TotalSystemMemoryGiB": board.memories * board.memory.capacity_mib // 1024},
            "Processors": link(
                tree.collect(
                    f"{top}/Processors", "Processor", "Processors", [processor(n, i) for i in range(board.processors)]
                )
            ),
            "Memory": link(
                tree.collect(f"{top}/Memory", "Memory", "Memory", [memory(n, i) for i in range(board.memories)])
            ),
            "Storage": link(tree.collect(f"{top}/Storage", "Storage", "Storage", [storage(n)])),
            "NetworkInterfaces": link(
                tree.collect(
                    f"{top}/NetworkInterfaces",
                    "NetworkInterface",
                    "Network interfaces",
                    [f"{top}/NetworkInterfaces/Net"],
                )
            ),
            "Links": {
                "Chassis": [link(blade(n))],
                "ManagedBy": [link(MANAGER)],
                "CooledBy": fans,
                "PoweredBy": supplies,
            },
        },
        write,
    )


def _processors(tree: Tree, plan: Plan, sensors: Sensors, n: int) -> None:
    board = plan.design.blade
    what = board.processor
    for i in range(board.processors):
        part, path = f"blade{n}/cpu{i}", processor(n, i)
        environment: Body = {"TemperatureCelsius": sensors.excerpt(f"Blade{n}Cpu{i}")}
        tree.add(
            path,
            "Processor.v1_22_0.Processor",
            f"Blade {n} CPU {i}",
            {
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "FirmwareVersion": live.firmware(part),
                "Socket": f"CPU {i}",
                "ProcessorType": "CPU",
                "ProcessorIndex": i,
                "TotalCores": what.cores,
                "TotalThreads": what.threads,
                "MaxSpeedMHz": what.max_mhz,
                "TDPWatts": round(what.tdp),
                "PowerState": live.power_state(part),
                "Location": {
                    "PartLocation": slot(f"CPU {i}", i, "Socket"),
                    "PartLocationContext": context(plan.design.slots[n - 1].label),
                },
                "Status": live.status(part, conditions=True),
                "EnvironmentMetrics": link(sensors.environment(path, f"Blade {n} CPU {i} environment", environment)),
                "Links": {"Chassis": link(blade(n))},
            },
        )


def _memory(tree: Tree, plan: Plan, n: int) -> None:
    board = plan.design.blade
    what = board.memory
    for i in range(board.memories):
        part = f"blade{n}/dimm{i}"
        metrics = tree.add(
            f"{memory(n, i)}/MemoryMetrics",
            "MemoryMetrics.v1_8_0.MemoryMetrics",
            f"Blade {n} DIMM {i} errors",
            {
                "CurrentPeriod": {
                    "CorrectableECCErrorCount": live.count(part, "corrected"),
                    "UncorrectableECCErrorCount": live.count(part, "uncorrected"),
                },
                "HealthData": {
                    "AlarmTrips": {
                        "CorrectableECCError": live.flag(part, "trips"),
                        "UncorrectableECCError": live.flag(part, "uncorrected"),
                    },
                    "DataLossDetected": live.flag(part, "uncorrected"),
                },
            },
        )
        tree.add(
            memory(n, i),
            "Memory.v1_23_0.Memory",
            f"Blade {n} DIMM {i}",
            {
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "MemoryType": "DRAM",
                "MemoryDeviceType": what.device_type,
                "BaseModuleType": "RDIMM",
                "CapacityMiB": what.capacity_mib,
                "OperatingSpeedMhz": what.speed_mhz,
                "ErrorCorrection": "MultiBitECC",
                "Location": {
                    "PartLocation": slot(f"DIMM {i}", i, "Slot"),
                    "PartLocationContext": context(plan.design.slots[n - 1].label),
                },
                "Status": live.status(part, conditions=True),
                "Metrics": link(metrics),
                "Links": {"Chassis": link(blade(n))},
            },
        )


def _storage(tree: Tree, plan: Plan, sensors: Sensors, n: int) -> None:
    board = plan.design.blade
    what = board.drive
    paths = [drive(n, i) for i in range(board.drives)]
    for i, path in enumerate(paths):
        part = f"blade{n}/drive{i}"
        lamp, write = locate(plan, part)
        environment: Body = {"TemperatureCelsius": sensors.excerpt(f"Blade{n}Drive{i}")}
        tree.add(
            path,
            "Drive.v1_22_0.Drive",
            f"Blade {n} drive {i}",
            {
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "FirmwareVersion": live.firmware(part),
                "CapacityBytes": what.capacity_bytes,
                "MediaType": "SSD",
                "Protocol": what.protocol,
                "FailurePredicted": live.failure_predicted(part),
                "PredictedMediaLifeLeftPercent": live.metric(part, "life_percent"),
                **lamp,
                "PhysicalLocation": {
                    "PartLocation": slot(f"DRIVE {i}", i, "Bay" if board.bays else "Connector", front=bool(board.bays)),
                    "PartLocationContext": context(plan.design.slots[n - 1].label),
                },
                "Status": live.status(part, conditions=True),
                "EnvironmentMetrics": link(sensors.environment(path, f"Blade {n} drive {i} environment", environment)),
                "Links": {"Chassis": link(blade(n)), "Storage": link(storage(n))},
            },
            write,
        )
    tree.collect(f"{blade(n)}/Drives", "Drive", f"Drives of blade {n}", paths)
    tree.add(
        storage(n),
        "Storage.v1_21_0.Storage",
        f"Blade {n} storage",
        {
            "Drives": links(paths),
            "Drives@odata.count": len(paths),
            "Status": live.rollup_status(tuple(f"blade{n}/drive{i}" for i in range(board.drives))),
            "Links": {"Enclosures": [link(blade(n))]},
        },
    )
