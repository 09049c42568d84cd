"""Computer systems in the older dialect."""

from __future__ import annotations

from simulators.service import live
from simulators.service.classic_rows import drive, fan, led, supply
from simulators.service.places import ADAPTER, MANAGER, Plan, blade, host, memory, plate, processor, slot
from simulators.service.places import storage as storage_path
from simulators.service.query import Body
from simulators.service.tree import Tree, link, links


def add(tree: Tree, plan: Plan) -> None:
    """Add every blade's host and what is on it."""
    for n in plan.blades:
        _host(tree, plan, n)
        _processors(tree, plan, n)
        _memory(tree, plan, n)
        _storage(tree, plan, n)


def _host(tree: Tree, plan: Plan, n: int) -> None:
    board, part, top = plan.design.blade, f"blade{n}/host", host(n)
    property_, write = led(plan, f"blade{n}")
    network: Body = {"Links": {"NetworkAdapter": link(ADAPTER)}, "Status": live.status("adapter", rollup=False)}
    interface = tree.add(
        f"{top}/NetworkInterfaces/Net",
        "NetworkInterface.v1_1_0.NetworkInterface",
        f"Blade {n} on the shared network adapter",
        network,
    )
    processors = [processor(n, i) for i in range(board.processors)]
    memories = [memory(n, i) for i in range(board.memories)]
    tree.add(
        top,
        "ComputerSystem.v1_5_0.ComputerSystem",
        f"Host on blade {n}",
        {
            "SystemType": "Physical",
            **plate(board, part),
            "SerialNumber": live.serial(part),
            "UUID": live.uuid(part),
            "BiosVersion": live.firmware(part),
            "PowerState": live.power_state(part),
            **property_,
            "Status": live.status(part),
            "ProcessorSummary": {
                "Count": board.processors,
                "Model": board.processor.model,
                "LogicalProcessorCount": board.processors * board.processor.threads,
            },
            "MemorySummary": {"TotalSystemMemoryGiB": board.memories * board.memory.capacity_mib // 1024},
            "Processors": link(tree.collect(f"{top}/Processors", "Processor", "Processors", processors)),
            "Memory": link(tree.collect(f"{top}/Memory", "Memory", "Memory", memories)),
            "Storage": link(tree.collect(f"{top}/Storage", "Storage", "Storage", [storage_path(n)])),
            "NetworkInterfaces": link(
                tree.collect(f"{top}/NetworkInterfaces", "NetworkInterface", "Network interfaces", [interface])
            ),
            "Links": {
                "Chassis": [link(blade(n))],
                "ManagedBy": [link(MANAGER)],
                "CooledBy": links(fan(k) for k in range(1, plan.design.fans + 1)),
                "PoweredBy": links(supply(k) for k in range(1, len(plan.design.power_supplies) + 1)),
            },
        },
        write,
    )


def _processors(tree: Tree, plan: Plan, n: int) -> None:
    what = plan.design.blade.processor
    for i in range(plan.design.blade.processors):
        tree.add(
            processor(n, i),
            "Processor.v1_3_0.Processor",
            f"Blade {n} CPU {i}",
            {
                "Manufacturer": what.make,
                "Model": live.board(f"blade{n}/cpu{i}", what, "model"),
                "Socket": f"CPU {i}",
                "ProcessorType": "CPU",
                "TotalCores": what.cores,
                "TotalThreads": what.threads,
                "MaxSpeedMHz": what.max_mhz,
                "Location": {"PartLocation": slot(f"CPU {i}", i, "Socket")},
                "Status": live.status(f"blade{n}/cpu{i}", rollup=False),
                "Links": {"Chassis": link(blade(n))},
            },
        )


def _memory(tree: Tree, plan: Plan, n: int) -> None:
    what = plan.design.blade.memory
    for i in range(plan.design.blade.memories):
        part = f"blade{n}/dimm{i}"
        tree.add(
            memory(n, i),
            "Memory.v1_5_0.Memory",
            f"Blade {n} DIMM {i}",
            {
                "Manufacturer": what.make,
                "PartNumber": live.board(part, what, "part_number"),
                "SerialNumber": live.serial(part),
                "MemoryType": "DRAM",
                **({"MemoryDeviceType": what.device_type} if what.device_type != "DDR5" else {}),
                "CapacityMiB": what.capacity_mib,
                "OperatingSpeedMhz": what.speed_mhz,
                "ErrorCorrection": "MultiBitECC",
                "Location": {"PartLocation": slot(f"DIMM {i}", i, "Slot")},
                "Status": live.status(part, rollup=False),
                "Links": {"Chassis": link(blade(n))},
            },
        )


def _storage(tree: Tree, plan: Plan, n: int) -> None:
    board = plan.design.blade
    what = board.drive
    paths = [drive(n, i) for i in range(board.drives)]
    for i, path in enumerate(paths):
        part = f"blade{n}/drive{i}"
        property_, write = led(plan, part)
        tree.add(
            path,
            "Drive.v1_5_0.Drive",
            f"Blade {n} drive {i}",
            {
                **plate(what, part),
                "SerialNumber": live.serial(part),
                "Revision": live.firmware(part),
                "CapacityBytes": what.capacity_bytes,
                "MediaType": "SSD",
                "Protocol": what.protocol,
                "FailurePredicted": live.failure_predicted(part),
                "PredictedMediaLifeLeftPercent": live.metric(part, "life_percent"),
                **property_,
                "PhysicalLocation": {"PartLocation": slot(f"DRIVE {i}", i, "Bay" if board.bays else "Connector")},
                "Status": live.status(part, rollup=False),
                "Links": {"Chassis": link(blade(n))},
            },
            write,
        )
    tree.add(
        storage_path(n),
        "Storage.v1_4_0.Storage",
        f"Blade {n} storage",
        {
            "Drives": links(paths),
            "Drives@odata.count": len(paths),
            "Status": live.rollup_status(tuple(f"blade{n}/drive{i}" for i in range(board.drives))),
            "Links": {"Enclosures": [link(blade(n))]},
        },
    )
