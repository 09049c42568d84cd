"""What the assessment would say of the invented fleet: troubles, work orders, margins and stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.model import (
    Fallen,
    Figure,
    FigureKind,
    Health,
    Identity,
    Kind,
    Lamps,
    LampState,
    Margin,
    MarginKind,
    Misfit,
    Misfitting,
    Stay,
    Suspect,
    Trouble,
    Turn,
    Urgency,
    WorkOrder,
)

if TYPE_CHECKING:
    from tests.dashboard.invented import Invented


def explain_fan(fan: Invented, part: str, now: float) -> None:
    """A fan that stands still: its trouble, work order, margins and who stood there before."""
    place = fan.parts[0].location
    bus = fan.part("Chassis/Sled/PowerSubsystem/PowerSupplies/1")
    suspect = Suspect(
        part=part,
        controller=fan.name,
        kind=Kind.FAN,
        name="Fan 2",
        location=place,
        identity=Identity(part_number="MD-80384", serial="F2", manufacturer="Mirrendal", model="Gale 80"),
        fault="seized",
        probability=0.87,
        speaks_for=("Fan 2: speed 0 rpm", "Fan 2: speed 0 rpm", "its three neighbours work harder"),
        speaks_against=("would be seen and is not: Fan 2 draws no current",),
    )
    other = Suspect(
        part=bus, controller=fan.name, kind=Kind.POWER_SUPPLY, name="Converter 1", fault="weak", probability=0.12
    )
    outside = Suspect(
        part="~cable/r01/7", controller=None, kind=Kind.CABLE, name="Fan cable", fault="loose", probability=0.004
    )
    fan.troubles.append(
        Trouble(
            id="trouble-fan",
            opened=now - 260,
            changed=now - 200,
            severity=Health.CRITICAL,
            controllers=(fan.name,),
            suspects=(suspect, other, outside),
            group=(part, bus),
            conditions=tuple(each.id for each in fan.conditions),
            signs=("Fan 2 stands still",),
            unexplained=0.03,
            next_look="Measure 12 V at the fan's plug.",
            weaker=("enclosure E1 is told with two serial numbers",),
        )
    )
    fan.orders.append(
        WorkOrder(
            id=f"trouble-fan|{part}",
            trouble="trouble-fan",
            part=part,
            controller=fan.name,
            kind=Kind.FAN,
            name="Fan 2",
            location=place,
            identity=suspect.identity,
            opened=now - 200,
            changed=now - 200,
            urgency=Urgency.NOW,
            task=f"Replace Fan 2 at {place.text}; bring part number MD-80384",
            reason="Fan 2 seized: 87 % sure; speed 0 rpm.",
            lamp=Lamps(LampState.ON, LampState.ON),
            lamp_text="Look for Sled 2: blue on, amber on.",
            takes_down=(Fallen(fan.part("Chassis/Blade1"), "Blade 1", Kind.BLADE),),
            running=True,
            first=("Have the new one at hand and be quick.",),
            cautions=("Fans keep turning: keep fingers out.",),
            otherwise=(bus,),
            bundle="Quellmark / A / R01",
        )
    )
    top = fan.part("Chassis/Sled")
    cpu = fan.part("Systems/1/Processors/1")

    def margin(of: str, kind: MarginKind, value: float, limit: float, unit: str, watts: float | None) -> Margin:
        return Margin(
            controller=fan.name,
            part=of,
            kind=kind,
            time=now - 5,
            value=value,
            limit=limit,
            left=limit - value,
            unit=unit,
            watts=watts,
            basis="its own limit",
        )

    fan.margins += [
        margin(cpu, MarginKind.HEAT, 82.5, 80.0, "Cel", None),
        margin(top, MarginKind.AIR, 24.5, 35.0, "Cel", 140.0),
        margin(top, MarginKind.POWER, 880.0, 1400.0, "W", 520.0),
    ]

    def worked(of: str | None, kind: FigureKind, value: float, unit: str, **more: float) -> Figure:
        controller = None if of is None else fan.name
        where = "Quellmark / A / R01" if of is None else of
        return Figure(
            controller=controller,
            part=where,
            kind=kind,
            time=now - 5,
            value=value,
            unit=unit,
            basis="its readings",
            **more,
        )

    fan.figures += [
        worked(top, FigureKind.AIR_RISE, 14.2, "K", low=13.2, high=15.2),
        worked(top, FigureKind.AIR_FLOW, 0.0524, "m3/s", low=0.048, high=0.057),
        worked(part, FigureKind.FAN_EFFORT, 1.12, "1"),
        worked(None, FigureKind.PEAK_POWER, 7340.0, "W"),
        worked(None, FigureKind.ENERGY, 3.6e8, "J"),
    ]

    def stay(serial: str, since: float, **more: object) -> Stay:
        return Stay(
            controller=fan.name,
            position=part,
            part=part,
            kind=Kind.FAN,
            name="Fan 2",
            location=place,
            identity=Identity(serial=serial),
            since=since,
            **more,  # type: ignore[arg-type]
        )

    fan.stays += [
        stay("F1", now - 900_000, began=Turn.FIRST_SEEN, until=now - 90_000, ended=Turn.SWAPPED),
        stay("F2", now - 90_000, began=Turn.SWAPPED),
    ]


def explain_drive(drive: Invented, part: str, now: float) -> None:
    """A drive that expects to fail: its work order, and a margin."""
    blade_place = next(each for each in drive.parts if each.id == part).location
    drive.orders.append(
        WorkOrder(
            id=f"trouble-drive|{part}",
            trouble="trouble-drive",
            part=part,
            controller=drive.name,
            kind=Kind.DRIVE,
            name="Drive 2",
            location=blade_place,
            opened=now - 7000,
            changed=now - 7000,
            urgency=Urgency.NEXT_VISIT,
            task="Replace Drive 2",
            reason="Drive 2 expects to fail.",
            bundle="Quellmark / A / R02",
        )
    )
    drive.misfits += [
        Misfit(
            controller=drive.name,
            sled=drive.parts[0].id,
            design="duo",
            how=Misfitting.WRONG,
            kind=Kind.DRIVE,
            slot="Drive 2",
            part=part,
            wanted="QD-9",
            found="part number QD-7",
            text="Drive 2: wrong, part number QD-7; design duo wants QD-9",
        ),
        Misfit(
            controller=drive.name,
            sled=drive.parts[0].id,
            design="duo",
            how=Misfitting.BEHIND,
            kind=Kind.CONTROLLER,
            wanted="3.2 or newer",
            found="firmware 3.1",
            text="controller: firmware behind",
        ),
    ]
    drive.margins.append(
        Margin(
            controller=drive.name,
            part=drive.part("Systems/1/Processors/1"),
            kind=MarginKind.HEAT,
            time=now - 5,
            value=60.0,
            limit=80.0,
            left=20.0,
            unit="Cel",
        )
    )
