"""Who a part is and where it is told to be: what two tellings of it say of each other.

Services fill in something where a part tells nothing: ``N/A``, ``0000000``, ``To be filled by O.E.M.``. Such words name
no part (which ones there are: common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from msgspec import structs

from collector.model import Identity, Kind, Location, Part

_EMPTY_WORDS = frozenset(
    {
        *("absent", "blank", "default", "default string", "empty", "invalid", "missing", "n.a.", "n/a", "na", "nil"),
        *("no serial", "no serial number", "none", "not applicable", "not available", "not defined", "not present"),
        *("not programmed", "not provided", "not set", "not specified", "not supported", "null", "reserved"),
        *("serial", "serial number", "system serial number", "chassis serial number", "base board serial number"),
        *("tbd", "undefined", "unknown", "unspecified", "unset"),
    }
)
_COUNTED = ("0123456789", "1234567890")
_FILLED_IN_LATER = "to be filled"
_SEPARATORS = re.compile(r"[\s\-_./:#]+")
_SHORTEST_SERIAL = 4
"""Characters below which a serial number counts the parts of one box rather than naming one in the world."""
_FILLING = 4
"""Times that a letter stands in a row, and nothing else, from which on that is no word."""
_ROW = re.compile(r"(.*#/.*/)\d+", re.DOTALL)
_LOCATION_FIELDS = Location.__struct_fields__
_IDENTITY_FIELDS = Identity.__struct_fields__


def said(text: str | None) -> str | None:
    """A told word in one case and without blanks around it; None where it is no more than a place-holder."""
    if text is None:
        return None
    word = text.strip().casefold()
    bare = _SEPARATORS.sub("", word)
    if not bare.strip("0?*+") or (len(set(bare)) == 1 and len(bare) >= _FILLING and "." not in word):
        return None  # "", "000000", "----", "xxxxxxxx"; but version 1.1.1.1 is one
    if word in _EMPTY_WORDS or word.startswith(_FILLED_IN_LATER) or (len(bare) > 4 and _is_counted(bare)):
        return None
    return word


def _is_counted(bare: str) -> bool:
    return any(bare == line[: len(bare)] for line in _COUNTED)


def serial_of(identity: Identity) -> str | None:
    """What tells a part from all others of its kind; None where it tells nothing that could."""
    word = said(identity.serial)
    return word if word is not None and len(word) >= _SHORTEST_SERIAL else None


def differ(one: str | None, other: str | None) -> bool:
    """Whether two tellings contradict each other: what is not told contradicts nothing."""
    mine, theirs = said(one), said(other)
    return mine is not None and theirs is not None and mine != theirs


def another(kind: Kind, was: Identity, now: Identity) -> bool:
    """Whether what stands here now is another part than what stood here: by serial, else part number, else model.

    The model of a host or a controller is left out: it is software that tells it, and a new version may word it anew.
    """
    for one, other in ((was.serial, now.serial), (was.part_number, now.part_number)):
        if said(one) is not None and said(other) is not None:
            return said(one) != said(other)
    return kind not in (Kind.HOST, Kind.CONTROLLER) and differ(was.model, now.model)


def compatible(was: Identity, now: Identity) -> bool:
    """Whether two parts of one serial number may be one part: makers don't agree on serial numbers."""
    return not (
        differ(was.serial, now.serial)
        or differ(was.part_number, now.part_number)
        or differ(was.manufacturer, now.manufacturer)
    )


def fuller(was: Identity, now: Identity) -> Identity:
    """What is told now, and where that leaves something out, what was told before."""
    kept = {
        name: getattr(was, name)
        for name in _IDENTITY_FIELDS
        if said(getattr(now, name)) is None and said(getattr(was, name)) is not None
    }
    return structs.replace(now, **kept) if kept else now


def elsewhere(was: Location, now: Location) -> bool:
    """Whether two locations can't be one: a label that only one of them tells contradicts nothing."""
    return any(
        (one := getattr(was, name)) is not None and (other := getattr(now, name)) is not None and one != other
        for name in _LOCATION_FIELDS
    )


def fuller_location(was: Location, now: Location) -> Location:
    """What is told now, and where that leaves something out, what was told before."""
    kept = {
        name: getattr(was, name)
        for name in _LOCATION_FIELDS
        if getattr(now, name) is None and getattr(was, name) is not None
    }
    return structs.replace(now, **kept) if kept else now


def positions(parts: Iterable[Part]) -> dict[str, Part]:
    """Parts by position, in their order.

    A position is the part's id; of a row in an array it is the array and the row's name, for the rows behind one that
    goes move up. Rows of one name keep their ids.
    """
    found: dict[str, Part] = {}
    for part in parts:
        row = _ROW.fullmatch(part.id)
        key = part.id if row is None else f"{row[1]}={part.name}"
        found[part.id if key in found else key] = part
    return found


def array_of(position: str) -> str | None:
    """The array that a position is a row of; None for a resource of its own."""
    pointer = position.rpartition("#/")
    return f"{pointer[0]}#/{pointer[2].rpartition('/')[0]}" if pointer[1] else None


_STANDARD_STEPS = frozenset(
    {
        *("redfish", "v1", "Chassis", "Systems", "Managers", "Fabrics", "PowerEquipment", "ThermalEquipment"),
        *("Processors", "Memory", "Storage", "SimpleStorage", "Drives", "Controllers", "StorageControllers"),
        *("Devices", "Switches", "Ports", "PCIeDevices", "PCIeFunctions", "PCIeSlots", "NetworkAdapters"),
        *("NetworkInterfaces", "Thermal", "Power", "Fans", "PowerSupplies", "PowerSubsystem", "ThermalSubsystem"),
        *("Batteries", "Sensors", "LeakDetection", "LeakDetectors", "Pumps", "Filters", "Heaters", "Reservoirs"),
        *("CoolantConnectors", "PrimaryCoolantConnectors", "SecondaryCoolantConnectors", "CDUs", "CoolingLoops"),
        *("RackPDUs", "FloorPDUs", "PowerShelves", "Switchgear", "TransferSwitches", "ElectricalBuses", "Outlets"),
        *("Branches", "Feeders", "Mains", "Subfeeds", "OutletGroups", "GraphicsControllers", "TrustedComponents"),
        *("MediaControllers", "FabricAdapters", "ImmersionUnits", "HeatExchangers", "Assembly", "USBControllers"),
    }
)
"""Steps of a path that the standard names (DSP8010 2025.4, property names of its links); all others are a service's."""


def shape(position: str) -> tuple[str, ...]:
    """A position's path with the service's own names left open: two bays of one kind have one shape."""
    steps = position.partition(":")[2].replace("#", "/#").split("/")
    return tuple(step if step in _STANDARD_STEPS or step == "#" else "*" for step in steps if step)
