"""Adds to a design's tree what its dialect offers beside the hardware."""

from __future__ import annotations

from simulators.service import accounts, event_bodies, logs, profile, registries, reports, resets
from simulators.service.around import Around
from simulators.service.offers import OFFERS, Offer
from simulators.service.places import ADAPTER, MANAGER, SLED, Plan, blade, host
from simulators.service.shelf import ShelfPlan, owner
from simulators.service.tree import Tree
from simulators.service.watcher import Telling
from simulators.site import Equipment, Sled
from simulators.telemetry import Quantity


def furnish(tree: Tree, unit: Equipment) -> Tree:
    """Add what the dialect of sleds or shelves like this one offers; the same tree."""
    offer = OFFERS.get(unit.dialect)
    if offer is None:
        return tree
    plan = Plan(unit) if isinstance(unit, Sled) else ShelfPlan(unit)
    found = logs.logs_of(plan, offer.logs)
    logs.add(tree, found, offer.logs)
    if offer.events is not None:
        event_bodies.add(tree, offer.events)
    reports.add(tree, plan.specs, sensors=offer.reports == "sensors")
    registries.add(tree, offer)
    accounts.add(tree, offer)
    controls = profile.add(tree, plan) if offer.profile and isinstance(plan, Plan) else ()
    if offer.resets is not None and isinstance(plan, Plan):
        controls = (*controls, *resets.add(tree, plan, offer.resets))
    tree.around = Around(offer, _telling(tree, unit, plan, offer), found, controls)
    return tree


def _telling(tree: Tree, unit: Equipment, plan: Plan | ShelfPlan, offer: Offer) -> Telling:
    named = _named(tree)
    parts = {path.partition("/")[2]: "" for path in unit.parts}
    for part in parts:
        parts[part] = _part(part, named, parts) if isinstance(unit, Sled) else _of_shelf(part)
    sensors = {}
    for spec in plan.specs:
        part = spec.part.lstrip("/")
        found = named.get(spec.id) or named.get(spec.label)
        if found is None and spec.quantity is Quantity.ROTATION:
            found = parts.get(part)
        sensors[spec.id] = found or parts.get(part) or parts[""]
    lamp = (offer.property, "true", "false")
    if offer.property == "IndicatorLED":
        lamp = (offer.property, "Blinking", "Off")
    labels = {part: _label(unit, part) for part in parts}
    return Telling(sensors, parts, lamp, offer.percent, MANAGER, labels)


def _label(sled: Equipment, part: str) -> str:
    """What a controller calls a part: its label after that of what contains it."""
    label = sled.parts[f"{sled.name}/{part}" if part else sled.name].label
    above = part.rpartition("/")[0]
    return f"{_label(sled, above)} {label}" if above else label


def _named(tree: Tree) -> dict[str, str]:
    """URIs of the resources and rows that show sensors and parts: by the last step of their path, and by their name."""
    found: dict[str, str] = {}
    for path, resource in tree.resources.items():
        if "/Sensors/" in path:
            found[path.rpartition("/")[2]] = path
        for array in ("Temperatures", "Voltages", "Fans", "PowerSupplies"):
            rows = resource.body.get(array)
            for row in rows if isinstance(rows, list) else ():
                if "MemberId" in row:
                    found.setdefault(row["Name"], row["@odata.id"])
        if "/Sensors" not in path and "@odata.type" in resource.body and "Id" in resource.body:
            found.setdefault(path, path)
    return found


def _of_shelf(part: str) -> str:
    return MANAGER if part == "controller" else owner(part)


def _part(part: str, named: dict[str, str], above: dict[str, str]) -> str:
    """The resource that tells of a part; what contains it where none does."""
    top, _, rest = part.partition("/")
    number = int(top[5:]) if top.startswith("blade") else 0
    stem, index = rest.rstrip("0123456789"), rest.lstrip("abcdefghijklmnopqrstuvwxyz")
    wanted: tuple[str, ...]
    if part == "":
        wanted = (SLED,)
    elif part in ("controller", "adapter"):
        wanted = (MANAGER if part == "controller" else ADAPTER,)
    elif part.startswith("fan"):
        wanted = (f"{SLED}/ThermalSubsystem/Fans/Fan{part[3:]}", f"Fan {part[3:]}")
    elif part.startswith("psu"):
        wanted = (f"{SLED}/PowerSubsystem/PowerSupplies/Psu{part[3:]}", f"Power supply {part[3:]}")
    elif part.startswith("leak"):
        wanted = (f"{SLED}/LeakDetectors/Leak{part[4:]}",)
    elif part == "filter":
        wanted = (f"{SLED}/ThermalSubsystem/Filters/Air",)
    elif part == "pump":
        wanted = (f"{SLED}/ThermalSubsystem/Pumps/Pump",)
    elif part == "coolant":
        wanted = (f"{SLED}/ThermalSubsystem/CoolantConnectors/Water",)
    elif not rest:
        wanted = (blade(number),)
    elif stem == "drive":
        wanted = (f"{blade(number)}/Drives/Drive{index}", f"{host(number)}/Storage/Local/Drives/Drive{index}")
    else:
        wanted = {
            "host": (host(number),),
            "cpu": (f"{host(number)}/Processors/Cpu{index}",),
            "dimm": (f"{host(number)}/Memory/Dimm{index}",),
        }.get(stem, ())
    found = next((named[name] for name in wanted if name in named), None)
    return found or above.get(top) or SLED
