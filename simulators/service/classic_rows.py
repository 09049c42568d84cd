"""Rows of the older dialect's Thermal and Power resources."""

from __future__ import annotations

from collections.abc import Sequence

from simulators.service import live
from simulators.service.places import SLED, Own, Plan, nameplate, owner, slot, storage
from simulators.service.query import Body
from simulators.service.tree import Write, link, links
from simulators.telemetry import Quantity, SensorSpec

_LEVELS = (("Caution", "NonCritical"), ("Critical", "Critical"), ("Fatal", "Fatal"))
LED_WORDS = {"Blinking": True, "Lit": True, "Off": False}


def fan(number: int) -> str:
    """A shared fan: a row of the sled's Thermal."""
    return f"{SLED}/Thermal#/Fans/{number - 1}"


def supply(number: int) -> str:
    """A shared converter: a row of the sled's Power."""
    return f"{SLED}/Power#/PowerSupplies/{number - 1}"


def drive(number: int, index: int) -> str:
    """A drive of a blade."""
    return f"{storage(number)}/Drives/Drive{index}"


OWN = Own(fan, supply, drive)


def led(plan: Plan, part: str) -> tuple[Body, dict[str, Write]]:
    """The IndicatorLED of a part, and how it is written; nothing where it has no lamp."""
    if not plan.lamp(part):
        return {}, {}
    return {"IndicatorLED": live.led(part)}, {"IndicatorLED": Write(part, LED_WORDS)}


def temperatures(thermal: str, specs: Sequence[SensorSpec], own: Own = OWN) -> list[Body]:
    """The Temperatures of a chassis; ``own``: where the parts that they belong to stand."""
    return [
        {
            **_row(thermal, "Temperatures", index, spec, own),
            "ReadingCelsius": live.reading(spec.id),
            **_limits(spec, whole=False),
            "MinReadingRangeTemp": spec.low,
            "MaxReadingRangeTemp": spec.high,
        }
        for index, spec in enumerate(s for s in specs if s.quantity is Quantity.TEMPERATURE)
    ]


def voltages(power: str, specs: Sequence[SensorSpec], own: Own = OWN) -> list[Body]:
    """The Voltages of a chassis; ``own``: where the parts that they belong to stand."""
    return [
        {
            **_row(power, "Voltages", index, spec, own),
            "ReadingVolts": live.reading(spec.id),
            **_limits(spec, whole=False),
            "MinReadingRange": spec.low,
            "MaxReadingRange": spec.high,
        }
        for index, spec in enumerate(s for s in specs if s.quantity is Quantity.VOLTAGE)
    ]


def fans(plan: Plan, thermal: str) -> tuple[list[Body], Body]:
    """The shared fans, and the redundancy group that they form."""
    group = f"{thermal}#/Redundancy/0"
    rows = []
    for index in range(plan.design.fans):
        part = f"fan{index + 1}"
        sensor = plan.of(part, Quantity.ROTATION)
        assert sensor is not None
        spec = plan.by_id[sensor]
        rows.append(
            {
                "@odata.id": f"{thermal}#/Fans/{index}",
                "MemberId": str(index),
                "Name": f"Fan {index + 1}",
                **nameplate(plan.design.fan),
                "SerialNumber": live.serial(part),
                "PhysicalContext": "Chassis",
                "Reading": live.reading(sensor, round),
                "ReadingUnits": "RPM",
                **_limits(spec, whole=True),
                "MinReadingRange": round(spec.low),
                "MaxReadingRange": round(spec.high),
                **led(plan, part)[0],
                "HotPluggable": True,
                "Location": {"PartLocation": slot(f"FAN {index + 1}", index, "Bay")},
                "Status": live.status(part, rollup=False),
                "RelatedItem": links([SLED, *plan.blade_paths]),
                "Redundancy": [link(group)],
            }
        )
    redundancy: Body = {
        "@odata.id": group,
        "MemberId": "0",
        "Name": "Fan row",
        "Mode": "N+m",
        "MinNumNeeded": plan.design.fans - 1,
        "MaxNumSupported": plan.design.fans,
        "RedundancySet": links(fan(k) for k in range(1, plan.design.fans + 1)),
        "Status": live.group_status(plan.fan_parts),
    }
    return rows, redundancy


def _row(resource: str, array: str, index: int, spec: SensorSpec, own: Own) -> Body:
    return {
        "@odata.id": f"{resource}#/{array}/{index}",
        "MemberId": str(index),
        "Name": spec.label,
        "PhysicalContext": _CONTEXTS.get(spec.context, spec.context),
        "Status": live.sensor_status(spec.id),
        "RelatedItem": [link(owner(spec.part.lstrip("/"), own))],
    }


_CONTEXTS: dict[str, str] = {"DCBus": "PowerSubsystem", "Manager": "SystemBoard"}
"""Words that the older schemas don't have, and what their controllers say instead."""


def _limits(spec: SensorSpec, *, whole: bool) -> Body:
    told: Body = {}
    for side in ("Upper", "Lower"):
        for new, old in _LEVELS:
            limit: float | None = getattr(spec.thresholds, f"{side}_{new}".lower())
            if limit is not None:
                told[f"{side}Threshold{old}"] = round(limit) if whole else limit
    return told
