"""What the invented makers build: sled and shelf designs with their geometry, boards and nameplates.

All makes, models and part numbers are invented. Lengths and places as :mod:`simulators.items` has them.
"""

from __future__ import annotations

from simulators.items import (
    UNIT_MM,
    AdapterDesign,
    Bay,
    BladeDesign,
    ConnectorDesign,
    ControllerDesign,
    DetectorDesign,
    DriveDesign,
    FanDesign,
    Item,
    MemoryDesign,
    Orientation,
    ProcessorDesign,
    ShelfDesign,
    SledDesign,
    Slot,
    SupplyDesign,
)

__all__ = [
    "DESIGNS",
    "DUO",
    "LIQUID",
    "QUAD",
    "SHELF",
    "UNIT_MM",
    "AdapterDesign",
    "Bay",
    "BladeDesign",
    "ConnectorDesign",
    "ControllerDesign",
    "DetectorDesign",
    "DriveDesign",
    "FanDesign",
    "Item",
    "MemoryDesign",
    "Orientation",
    "ProcessorDesign",
    "ShelfDesign",
    "SledDesign",
    "Slot",
    "SupplyDesign",
]

_FAN_80 = FanDesign(
    make="Vindrel", model="VR80-38", part_number="VD-80384", rated_rpm=16_000, diameter=80.0, max_power=34.0
)
_CONTROLLER = ControllerDesign(make="Mirrendal", model="Warden 3", part_number="MD-41007", firmware="3.8.14")
_CONTROLLER_OLD = ControllerDesign(make="Mirrendal", model="Warden 1", part_number="MD-20112", firmware="1.22.6")

QUAD = SledDesign(
    name="quad",
    make="Mirrendal",
    model="Loft Q4",
    part_number="MD-70420",
    units=2,
    width=436.0,
    height=86.0,
    depth=820.0,
    weight=31.5,
    slots=(
        Slot(number=1, x=6.0, y=44.0, width=208.0, height=40.0),
        Slot(number=2, x=222.0, y=44.0, width=208.0, height=40.0),
        Slot(number=3, x=6.0, y=2.0, width=208.0, height=40.0),
        Slot(number=4, x=222.0, y=2.0, width=208.0, height=40.0),
    ),
    blade=BladeDesign(
        make="Mirrendal",
        model="Loft B1",
        part_number="MD-71140",
        firmware="2.4.0",
        heights=1,
        width=208.0,
        height=40.0,
        depth=560.0,
        processor=ProcessorDesign(
            make="Palvesk",
            model="Kestle 32",
            part_number="PK-K32-05",
            firmware="u41.6",
            tdp=225.0,
            cores=32,
            threads=64,
            max_mhz=3700,
        ),
        processors=1,
        memory=MemoryDesign(
            make="Sorvane",
            model="SR5-32R",
            part_number="SV-5R32-48",
            capacity_mib=32 * 1024,
            speed_mhz=4800,
            device_type="DDR5",
        ),
        memories=8,
        drive=DriveDesign(
            make="Teggel",
            model="TG-M960",
            part_number="TG-22110-960",
            firmware="T4.11",
            capacity_bytes=960_197_124_096,
            protocol="NVMe",
            max_power=8.5,
        ),
        drives=2,
        bays=(),
        max_power=390.0,
    ),
    fan=_FAN_80,
    fan_x=(62.0, 166.0, 270.0, 374.0),
    adapter=AdapterDesign(
        make="Yorvim", model="YV-2x100", part_number="YV-10002", firmware="7.30.2", ports=2, port_gbit=100
    ),
    controller=_CONTROLLER,
    power_supplies=(
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
    ),
)
"""Four single-height, single-socket blades, two beside each other in two layers; four fans."""

DUO = SledDesign(
    name="duo",
    make="Mirrendal",
    model="Loft D2",
    part_number="MD-60210",
    units=2,
    width=436.0,
    height=86.0,
    depth=820.0,
    weight=34.0,
    slots=(
        Slot(number=1, x=6.0, y=2.0, width=208.0, height=82.0),
        Slot(number=2, x=222.0, y=2.0, width=208.0, height=82.0),
    ),
    blade=BladeDesign(
        make="Mirrendal",
        model="Loft B2S",
        part_number="MD-61244",
        firmware="1.17.3",
        heights=2,
        width=208.0,
        height=82.0,
        depth=560.0,
        processor=ProcessorDesign(
            make="Palvesk",
            model="Kestle 24",
            part_number="PK-K24-02",
            firmware="u33.9",
            tdp=185.0,
            cores=24,
            threads=48,
            max_mhz=3400,
        ),
        processors=2,
        memory=MemoryDesign(
            make="Sorvane",
            model="SR4-32R",
            part_number="SV-4R32-32",
            capacity_mib=32 * 1024,
            speed_mhz=3200,
            device_type="DDR4",
        ),
        memories=16,
        drive=DriveDesign(
            make="Teggel",
            model="TG-U3840",
            part_number="TG-25-3840",
            firmware="D2.07",
            capacity_bytes=3_840_755_982_336,
            protocol="NVMe",
            max_power=14.0,
        ),
        drives=4,
        bays=tuple(Bay(x=8.0 + 48.0 * i, y=4.0, width=17.0, height=74.0) for i in range(4)),
        max_power=640.0,
    ),
    fan=_FAN_80,
    fan_x=(46.0, 132.0, 218.0, 304.0, 390.0),
    adapter=AdapterDesign(
        make="Yorvim", model="YV-2x25", part_number="YV-02502", firmware="5.11.9", ports=2, port_gbit=25
    ),
    controller=_CONTROLLER_OLD,
    power_supplies=(
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
    ),
)
"""Two double-height, two-socket blades with four front drives each; five fans."""

LIQUID = SledDesign(
    name="liquid",
    make="Mirrendal",
    model="Loft W2",
    part_number="MD-80250",
    units=2,
    width=436.0,
    height=86.0,
    depth=820.0,
    weight=35.5,
    slots=(
        Slot(number=1, x=6.0, y=2.0, width=208.0, height=82.0),
        Slot(number=2, x=222.0, y=2.0, width=208.0, height=82.0),
    ),
    blade=BladeDesign(
        make="Mirrendal",
        model="Loft B2W",
        part_number="MD-81260",
        firmware="3.0.2",
        heights=2,
        width=208.0,
        height=82.0,
        depth=560.0,
        processor=ProcessorDesign(
            make="Palvesk",
            model="Kestle 64",
            part_number="PK-K64-05",
            firmware="u44.1",
            tdp=270.0,
            cores=64,
            threads=128,
            max_mhz=3600,
        ),
        processors=2,
        memory=MemoryDesign(
            make="Sorvane",
            model="SR5-64R",
            part_number="SV-5R64-56",
            capacity_mib=64 * 1024,
            speed_mhz=5600,
            device_type="DDR5",
        ),
        memories=16,
        drive=DriveDesign(
            make="Teggel",
            model="TG-U7680",
            part_number="TG-25-7680",
            firmware="D3.01",
            capacity_bytes=7_681_501_126_656,
            protocol="NVMe",
            max_power=14.0,
        ),
        drives=2,
        bays=tuple(Bay(x=8.0 + 48.0 * i, y=4.0, width=17.0, height=74.0) for i in range(2)),
        max_power=780.0,
    ),
    fan=_FAN_80,
    fan_x=(62.0, 166.0, 270.0, 374.0),
    adapter=AdapterDesign(
        make="Yorvim", model="YV-2x100", part_number="YV-10002", firmware="7.30.2", ports=2, port_gbit=100
    ),
    controller=_CONTROLLER,
    power_supplies=(
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
        SupplyDesign(make="Ampelund", model="AB-1800", part_number="AM-481218", firmware="1.9", capacity=1800.0),
    ),
    pump=Item(make="Brennik", model="Whirl 5", part_number="BK-W5"),
    connector=ConnectorDesign(make="Brennik", model="QD-12 pair", part_number="BK-QD12-2", rated_flow=6.0),
    detectors=(
        DetectorDesign(make="Brennik", model="Tell rope 0.4", part_number="BK-TR04"),
        DetectorDesign(make="Brennik", model="Tell rope 1.2", part_number="BK-TR12"),
    ),
)
"""Two double-height, two-socket blades with their processors under cold plates; four fans for all the rest."""

DESIGNS = {design.name: design for design in (QUAD, DUO, LIQUID)}

SHELF = ShelfDesign(
    name="shelf",
    make="Ampelund",
    model="Ridge 6",
    part_number="AM-600048",
    units=1,
    width=440.0,
    height=43.0,
    depth=690.0,
    weight=17.5,
    supply=SupplyDesign(
        make="Ampelund",
        model="AR-3000",
        part_number="AM-230048",
        firmware="2.2",
        capacity=3000.0,
        input_nominal=230.0,
        output_nominal=48.0,
    ),
    supplies=6,
    needed=5,
    controller=ControllerDesign(make="Ampelund", model="Ridge MC", part_number="AM-690011", firmware="1.4.0"),
)
"""Six rectifiers of 3 kW, one of them spare."""


REVISED: dict[str, Item] = {
    item.part_number: Item(make=item.make, model=model, part_number=number, firmware=item.firmware)
    for item, model, number in (
        (QUAD.blade, "Loft B1e", "MD-71132"),
        (DUO.blade, "Loft B2", "MD-61240"),
        (LIQUID.blade, "Loft B2Wa", "MD-81255"),
        (QUAD.blade.processor, "Kestle 28", "PK-K28-05"),
        (DUO.blade.processor, "Kestle 20", "PK-K20-02"),
        (LIQUID.blade.processor, "Kestle 56", "PK-K56-05"),
        (QUAD.blade.memory, "SR5-16R", "SV-5R16-48"),
        (DUO.blade.memory, "SR4-16R", "SV-4R16-32"),
        (LIQUID.blade.memory, "SR5-32R", "SV-5R32-56"),
        (QUAD.blade.drive, "TG-M480", "TG-22110-480"),
        (DUO.blade.drive, "TG-U1920", "TG-25-1920"),
        (LIQUID.blade.drive, "TG-U3840", "TG-25-3841"),
        (QUAD.power_supplies[0], "AB-1500", "AM-481215"),
        (SHELF.supply, "AR-2400", "AM-223048"),
    )
}
"""Part number -> what fits its place and is another model: what a hurried hand takes from the wrong box."""
