"""Which resources, and which rows inside older resources, are parts; and which of them are one and the same.

Source: DSP8010 2025.4: resource types; ``Chassis_v1.xml`` for ChassisType, and for the deprecation of Thermal and Power
in favour of ThermalSubsystem and PowerSubsystem, which tell of the same fans and supplies.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property

from collector.model import DefectKind, Kind
from collector.normalise.bodies import (
    Body,
    link,
    link_list,
    location,
    pointer,
    record,
    resource_type,
    rows,
    text,
    whole,
)
from collector.normalise.findings import Findings, shown
from collector.redfish.resources import Resource, Walked

CHASSIS_KINDS: Mapping[str, Kind] = {
    "Rack": Kind.RACK,
    "Blade": Kind.BLADE,
    "Enclosure": Kind.ENCLOSURE,
    "StandAlone": Kind.ENCLOSURE,
    "RackMount": Kind.ENCLOSURE,
    "Card": Kind.MODULE,
    "Cartridge": Kind.MODULE,
    "Row": Kind.OTHER,
    "Pod": Kind.OTHER,
    "Expansion": Kind.ENCLOSURE,
    "Sidecar": Kind.ENCLOSURE,
    "Zone": Kind.OTHER,
    "Sled": Kind.SLED,
    "Shelf": Kind.ENCLOSURE,
    "Drawer": Kind.ENCLOSURE,
    "Module": Kind.MODULE,
    "Component": Kind.MODULE,
    "IPBasedDrive": Kind.DRIVE,
    "RackGroup": Kind.OTHER,
    "StorageEnclosure": Kind.ENCLOSURE,
    "ImmersionTank": Kind.ENCLOSURE,
    "HeatExchanger": Kind.COOLING_UNIT,
    "PowerStrip": Kind.POWER_FEED,
    "Other": Kind.OTHER,
}
"""ChassisType -> kind."""

PART_KINDS: Mapping[str, Kind] = {
    "ComputerSystem": Kind.HOST,
    "Manager": Kind.CONTROLLER,
    "Fan": Kind.FAN,
    "PowerSupply": Kind.POWER_SUPPLY,
    "PowerDistribution": Kind.POWER_FEED,
    "Battery": Kind.BATTERY,
    "Processor": Kind.PROCESSOR,
    "Memory": Kind.MEMORY,
    "Drive": Kind.DRIVE,
    "Storage": Kind.OTHER,
    "StorageController": Kind.STORAGE_CONTROLLER,
    "SimpleStorage": Kind.STORAGE_CONTROLLER,
    "NetworkAdapter": Kind.NETWORK_ADAPTER,
    "PCIeDevice": Kind.PCIE_DEVICE,
    "Switch": Kind.SWITCH,
    "Port": Kind.PORT,
    "NetworkPort": Kind.PORT,
    "Cable": Kind.CABLE,
    "Pump": Kind.PUMP,
    "CoolingUnit": Kind.COOLING_UNIT,
    "CoolingLoop": Kind.COOLANT_LOOP,
    "Filter": Kind.FILTER,
    "LeakDetector": Kind.LEAK_DETECTOR,
    "Outlet": Kind.OUTLET,
    "Circuit": Kind.CIRCUIT,
    "OutletGroup": Kind.OTHER,
    "CoolantConnector": Kind.OTHER,
    "Reservoir": Kind.OTHER,
    "Heater": Kind.OTHER,
    "GraphicsController": Kind.OTHER,
    "TrustedComponent": Kind.OTHER,
    "MediaController": Kind.OTHER,
    "FabricAdapter": Kind.OTHER,
    "AutomationNode": Kind.OTHER,
}
"""Type of a resource that is a part -> kind. A Storage without controllers of its own is a storage controller."""

ROW_PARTS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "Thermal": (("Fans", "Fan"),),
    "Power": (("PowerSupplies", "PowerSupply"),),
    "Storage": (("StorageControllers", "StorageController"),),
    "SimpleStorage": (("Devices", "Drive"),),
}
"""Type of a resource -> its arrays whose rows are parts, with the type of resource that took their place."""

_COLLECTION_TYPES: Mapping[str, str] = {
    "Systems": "ComputerSystem",
    "Chassis": "Chassis",
    "Managers": "Manager",
    "Processors": "Processor",
    "Memory": "Memory",
    "Drives": "Drive",
    "Fans": "Fan",
    "PowerSupplies": "PowerSupply",
    "Sensors": "Sensor",
    "NetworkAdapters": "NetworkAdapter",
    "PCIeDevices": "PCIeDevice",
    "Ports": "Port",
    "NetworkPorts": "NetworkPort",
}
"""Last step but one of a path -> type, for bodies that forget to tell theirs."""

INNER_PROTOCOLS = (
    *("PCIe", "AHCI", "UHCI", "SAS", "SATA", "USB", "NVMe", "I2C", "GenZ", "NVLink", "CXL", "UPI", "QPI", "eMMC"),
    *("UALink", "DisplayPort", "HDMI", "VGA", "DVI"),
)
"""Port.PortProtocol of ports inside a machine, or of its screen: no network ports, and no parts of ours."""

MAX_ROWS = 1_000
"""Rows of one array that we take."""


class Draft:
    """A part while it is put together."""

    __slots__ = ("body", "kind", "parent", "resource", "steps", "type", "uri")

    def __init__(self, uri: str, kind: Kind, type_: str, body: Body, resource: str, steps: tuple[str | int, ...]):
        self.uri = uri
        self.kind = kind
        self.type = type_
        """Resource type: of a row, the type that took its place."""
        self.body = body
        self.resource = resource
        self.steps = steps
        """Where in the resource a row stands; empty for a resource of its own."""
        self.parent: Draft | None = None

    def above(self) -> Iterator[Draft]:
        """What contains it, nearest first."""
        holder = self.parent
        while holder is not None:
            yield holder
            holder = holder.parent


class Parts:
    """All parts of one walk, found by any of the places that name them."""

    def __init__(self, resources: Mapping[str, Resource], findings: Findings) -> None:
        self.resources = resources
        self.findings = findings
        self.types = {uri: type_of(uri, resource.body) for uri, resource in resources.items()}
        self.drafts: dict[str, Draft] = {}
        self._aliases: dict[str, str] = {}
        self._owners: dict[str, Draft | None] = {}

    def add(self, draft: Draft) -> None:
        """Takes a part in."""
        self.drafts[draft.uri] = draft

    def alias(self, told: str, draft: Draft) -> None:
        """Notes that a place names a part known by another."""
        self._aliases[told] = draft.uri

    def drop(self, draft: Draft, instead: Draft) -> None:
        """Forgets a part that is another one, told twice."""
        del self.drafts[draft.uri]
        self.alias(draft.uri, instead)

    def find(self, told: str | None) -> Draft | None:
        """The part that a place names."""
        if told is None:
            return None
        return self.drafts.get(self._aliases.get(told, told))

    def owner(self, uri: str) -> Draft | None:
        """The part that a resource tells of: itself, the nearest above it in the path, else whose link leads to it."""
        if uri not in self._owners:
            self._owners[uri] = self._above(uri, self.find) or self._referrer(uri)
        return self._owners[uri]

    def chassis(self, draft: Draft | None) -> Draft | None:
        """The chassis that a part is, or is in."""
        while draft is not None and draft.type != "Chassis":
            draft = draft.parent
        return draft

    def of_type(self, type_: str) -> list[Draft]:
        """All parts of one resource type, in the order found."""
        return [draft for draft in self.drafts.values() if draft.type == type_]

    def hosts_in(self, home: Draft) -> list[Draft]:
        """The hosts that stand in a part, once parents are set."""
        return self._hosts.get(home.uri, [])

    @cached_property
    def _hosts(self) -> dict[str, list[Draft]]:
        found: dict[str, list[Draft]] = {}
        for host in self.of_type("ComputerSystem"):
            if host.parent is not None:
                found.setdefault(host.parent.uri, []).append(host)
        return found

    @staticmethod
    def _above(uri: str, find: Callable[[str], Draft | None]) -> Draft | None:
        path = uri
        while path:
            found = find(path)
            if found is not None:
                return found
            path = path.rpartition("/")[0]
        return None

    def _referrer(self, uri: str) -> Draft | None:
        seen = {uri}
        holder = self._referrers.get(uri)
        while holder is not None and holder not in seen:
            found = self._above(holder, self.find)
            if found is not None:
                return found
            seen.add(holder)
            holder = self._referrers.get(holder)
        return None

    @cached_property
    def _referrers(self) -> dict[str, str]:
        """Which resource links to which outside its Links object, where the standard puts what it does not contain."""
        found: dict[str, str] = {}
        for uri, resource in self.resources.items():
            for key, value in resource.body.items():
                if key not in ("Links", "RelatedItem", "@odata.id"):
                    for target in link_list(value):
                        found.setdefault(whole(target), uri)
        return found


def type_of(uri: str, body: Body) -> str:
    """A resource's type: as told, else by its place in the standard's tree; "" when neither says."""
    return resource_type(body) or _COLLECTION_TYPES.get(uri.rpartition("/")[0].rpartition("/")[2], "")


def find_parts(walked: Walked, findings: Findings) -> Parts:
    """Every part that a walk brought, each once; parents are not set yet."""
    parts = Parts(walked.resources, findings)
    for uri, resource in walked.resources.items():
        type_ = parts.types[uri]
        if type_ == "Chassis":
            parts.add(Draft(uri, _chassis_kind(uri, resource.body, findings), type_, resource.body, uri, ()))
        elif type_ in PART_KINDS and (type_ != "Port" or resource.body.get("PortProtocol") not in INNER_PROTOCOLS):
            parts.add(Draft(uri, PART_KINDS[type_], type_, resource.body, uri, ()))
    _join_drives(parts)
    for uri, resource in walked.resources.items():
        for array, type_ in ROW_PARTS.get(parts.types[uri], ()):
            _add_rows(parts, resource, array, type_)
    _settle_storage(parts)
    return parts


def _chassis_kind(uri: str, body: Body, findings: Findings) -> Kind:
    told = body.get("ChassisType")
    kind = CHASSIS_KINDS.get(told) if isinstance(told, str) else None
    if kind is not None:
        return kind
    if told is None:
        findings.add(uri, "/ChassisType", DefectKind.MISSING, "ChassisType is not told; the part's kind is unknown")
    elif isinstance(told, str):
        findings.add(uri, "/ChassisType", DefectKind.UNKNOWN_WORD, f"ChassisType {shown(told)} is not in the standard")
    else:
        findings.add(uri, "/ChassisType", DefectKind.WRONG_TYPE, f"ChassisType is {shown(told)}, not a word")
    return Kind.OTHER


def _join_drives(parts: Parts) -> None:
    """Drives stand below their chassis and below their storage: one drive where Id, serial and model are the same."""
    known: dict[tuple[str | None, ...], Draft] = {}
    for draft in sorted(parts.of_type("Drive"), key=lambda draft: "/Chassis/" not in draft.uri):
        serial, model = text(draft.body.get("SerialNumber")), text(draft.body.get("Model"))
        same = (draft.uri.rpartition("/")[2], serial, model)
        if serial is not None and same in known:
            parts.drop(draft, known[same])
        else:
            known[same] = draft


def _add_rows(parts: Parts, resource: Resource, array: str, type_: str) -> None:
    holder = parts.owner(resource.uri)
    if type_ == "Drive" and _has_storage(parts, resource):
        return
    told = rows(resource.body.get(array))
    if len(told) > MAX_ROWS:
        detail = f"{array} has {len(told)} rows, only the first {MAX_ROWS} are read"
        parts.findings.add(resource.uri, pointer(array), DefectKind.TOO_BIG, detail)
    drafts = [
        Draft(f"{resource.uri}#{pointer(array, index)}", PART_KINDS[type_], type_, row, resource.uri, (array, index))
        for index, row in enumerate(told[:MAX_ROWS])
        if isinstance(row, dict)
    ]
    newer = [draft for draft in parts.of_type(type_) if not draft.steps and _stands_in(parts, draft, holder)]
    matched = _match(drafts, newer)
    for draft in drafts:
        same = matched.get(draft.uri)
        if same is not None:
            parts.alias(draft.uri, same)
            _compare_serials(parts, draft, same)
        elif len(newer) < len(drafts):
            parts.add(draft)
        # Else the newer resources list as many parts as the rows do or more: the row is one of them, we can't tell
        # which. It makes no part of its own; its readings belong to the chassis.


def _stands_in(parts: Parts, draft: Draft, holder: Draft | None) -> bool:
    above = draft.resource.rpartition("/")[0]
    return holder is not None and parts.owner(above) is holder


def _has_storage(parts: Parts, resource: Resource) -> bool:
    """Whether a SimpleStorage is told again as a Storage, which tells more."""
    told = link_list(record(resource.body.get("Links")).get("Storage"))
    if any(parts.find(whole(target)) for target in told):
        return True
    storages = parts.of_type("Storage")
    return any(link(record(draft.body.get("Links")).get("SimpleStorage")) == resource.uri for draft in storages)


def _match(old: list[Draft], new: list[Draft]) -> dict[str, Draft]:
    """Which row is which newer resource: by serial number, name or label, or as the only one present on both sides."""
    found: dict[str, Draft] = {}
    for name_of in (_serial, _name, _label):
        rest_old = [draft for draft in old if draft.uri not in found]
        rest_new = [draft for draft in new if draft not in found.values()]
        by_old, by_new = _unique(rest_old, name_of), _unique(rest_new, name_of)
        found.update({by_old[name].uri: by_new[name] for name in by_old.keys() & by_new.keys()})
    present_old = [draft for draft in old if _present(draft)]
    present_new = [draft for draft in new if _present(draft)]
    if not found and len(present_old) == len(present_new) == 1:
        found[present_old[0].uri] = present_new[0]
    return found


def _unique(drafts: Iterable[Draft], name_of: Callable[[Draft], str | None]) -> dict[str, Draft]:
    named: dict[str, list[Draft]] = {}
    for draft in drafts:
        name = name_of(draft)
        if name:
            named.setdefault(name, []).append(draft)
    return {name: same[0] for name, same in named.items() if len(same) == 1}


def _serial(draft: Draft) -> str | None:
    return text(draft.body.get("SerialNumber"))


def _name(draft: Draft) -> str | None:
    return _plain_name(draft.body.get("Name") or draft.body.get("FanName"))


def _label(draft: Draft) -> str | None:
    told = record(location(draft.body).get("PartLocation")).get("ServiceLabel")
    return _plain_name(told) or _name(draft)


def _plain_name(told: object) -> str | None:
    named = text(told)
    return re.sub(r"[\W_]+", " ", named).strip().casefold() if named else None


def _present(draft: Draft) -> bool:
    return record(draft.body.get("Status")).get("State") != "Absent"


def _compare_serials(parts: Parts, row: Draft, same: Draft) -> None:
    ours, theirs = _serial(row), _serial(same)
    if ours is not None and theirs is not None and ours != theirs:
        detail = f"serial number {shown(ours)} here, {shown(theirs)} in {same.uri}, which tells of the same part"
        at = pointer(*row.steps, "SerialNumber")
        parts.findings.add(row.resource, at, DefectKind.CONTRADICTION, detail)


def _settle_storage(parts: Parts) -> None:
    """A Storage that lists no controllers is the controller itself."""
    holding = set()
    for draft in parts.of_type("StorageController"):
        holder = parts.owner(draft.resource if draft.steps else draft.resource.rpartition("/")[0])
        holding.add(holder.uri if holder is not None else "")
    for draft in parts.of_type("Storage"):
        if draft.uri not in holding:
            draft.kind = Kind.STORAGE_CONTROLLER
