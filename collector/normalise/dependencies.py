"""Which part depends on which: powered by, cooled by, managed by, connected through.

Told by links in both directions (DSP8010: Chassis, ComputerSystem, Manager, PowerSupply, Fan, NetworkInterface).
Where a service tells none of a kind for a blade or host, containment speaks: what a sled (or any chassis) lists as
its own fans, power supplies, network adapters and single manager serves what the sled contains. Such a link is
marked ``assumed``, unless the chassis says so itself (PoweredByParent, ThermalManagedByParent); none is assumed where
it says that it is not so.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.model import Kind, Link, Why
from collector.normalise.bodies import link_list, record
from collector.normalise.parts import Draft, Parts
from collector.normalise.tree import follow, links_of

_CHECKED: tuple[tuple[str, str, Why], ...] = (
    ("Chassis", "PoweredBy", Why.POWERED_BY),
    ("Chassis", "PowerSupplies", Why.POWERED_BY),
    ("Chassis", "CooledBy", Why.COOLED_BY),
    ("Chassis", "Fans", Why.COOLED_BY),
    ("Chassis", "ManagedBy", Why.MANAGED_BY),
    ("ComputerSystem", "PoweredBy", Why.POWERED_BY),
    ("ComputerSystem", "CooledBy", Why.COOLED_BY),
    ("ComputerSystem", "ManagedBy", Why.MANAGED_BY),
    ("Switch", "ManagedBy", Why.MANAGED_BY),
    ("Manager", "ManagedBy", Why.MANAGED_BY),
)
"""Type, link, meaning: the type depends on what the link leads to, which a walk always fetches."""

_LOOSE: tuple[tuple[str, str, Why], ...] = (
    ("Chassis", "PowerOutlets", Why.POWERED_BY),
    ("Chassis", "ConnectedCoolingLoops", Why.COOLED_BY),
    ("PowerSupply", "PowerOutlets", Why.POWERED_BY),
    ("PowerSupply", "Outlet", Why.POWERED_BY),
)
"""The same for links that often lead to another service."""

_SERVING: tuple[tuple[str, str, Why], ...] = (
    ("Manager", "ManagerForChassis", Why.MANAGED_BY),
    ("Manager", "ManagerForServers", Why.MANAGED_BY),
    ("Manager", "ManagerForSwitches", Why.MANAGED_BY),
    ("Manager", "ManagerForManagers", Why.MANAGED_BY),
    ("PowerSupply", "PoweringChassis", Why.POWERED_BY),
    ("Fan", "CoolingChassis", Why.COOLED_BY),
)
"""The other direction: what the link leads to depends on the type."""

_BY_CONTAINMENT = {
    Kind.FAN: Why.COOLED_BY,
    Kind.POWER_SUPPLY: Why.POWERED_BY,
    Kind.CONTROLLER: Why.MANAGED_BY,
    Kind.NETWORK_ADAPTER: Why.CONNECTED_THROUGH,
}

_SAID: dict[Why, str] = {Why.POWERED_BY: "PoweredByParent", Why.COOLED_BY: "ThermalManagedByParent"}
"""Whether a chassis depends on what serves the one that contains it (DSP8010 Chassis 1.20)."""


class Dependencies:
    """The links of one walk, each once; a told one outranks an assumed one."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str, Why], bool] = {}
        self._served: set[tuple[str, Why]] = set()

    def add(self, draft: Draft, on: Draft, why: Why, *, assumed: bool = False) -> None:
        """Notes that one part depends on another."""
        if draft is not on:
            self._found.setdefault((draft.uri, on.uri, why), assumed)
            self._served.add((draft.uri, why))

    def served(self, parts: Iterable[Draft], why: Why) -> bool:
        """Whether it is known of any of these on what it depends in this way."""
        return any((one.uri, why) in self._served for one in parts)

    def links(self, id_of: dict[str, str]) -> tuple[Link, ...]:
        """All of them, ids of parts put in, in a fixed order."""
        return tuple(
            Link(id_of[draft], id_of[on], why, assumed) for (draft, on, why), assumed in sorted(self._found.items())
        )


def find_links(parts: Parts, id_of: dict[str, str]) -> tuple[Link, ...]:
    """All dependencies of one walk."""
    found = Dependencies()
    for draft in parts.drafts.values():
        _add_told(parts, draft, found)
    _add_adapters(parts, found)
    _add_cables(parts, found)
    _add_assumed(parts, found)
    return found.links(id_of)


def _add_told(parts: Parts, draft: Draft, found: Dependencies) -> None:
    for type_, key, why in _CHECKED:
        if draft.type == type_ and key in links_of(draft):
            for on in follow(parts, draft, key):
                found.add(draft, on, why)
    for type_, key, why in _LOOSE:
        if draft.type == type_:
            for on in _known(parts, link_list(links_of(draft).get(key))):
                found.add(draft, on, why)
    for type_, key, why in _SERVING:
        if draft.type == type_ and key in links_of(draft):
            for served in follow(parts, draft, key):
                found.add(served, draft, why)


def _known(parts: Parts, targets: Iterable[str]) -> list[Draft]:
    return [draft for target in targets if (draft := parts.find(target)) is not None]


def _add_adapters(parts: Parts, found: Dependencies) -> None:
    """A host's NetworkInterface names the adapter, perhaps a shared one, through which it is connected."""
    for uri, resource in parts.resources.items():
        if parts.types[uri] == "NetworkInterface":
            host = parts.owner(uri)
            for adapter in _known(parts, link_list(record(resource.body.get("Links")).get("NetworkAdapter"))):
                if host is not None and host.kind is Kind.HOST:
                    found.add(host, adapter, Why.CONNECTED_THROUGH)


_CABLE_CLASSES = {"Power": Why.POWERED_BY, "Fan": Why.COOLED_BY}
_CABLE_ENDS = ("DownstreamChassis", "DownstreamPorts", "DownstreamResources", "UpstreamPorts")


def _add_cables(parts: Parts, found: Dependencies) -> None:
    """What hangs on a cable depends on it; a port at its upper end can do nothing without it either."""
    for cable in parts.of_type("Cable"):
        told = cable.body.get("CableClass")
        why = _CABLE_CLASSES.get(told, Why.CONNECTED_THROUGH) if isinstance(told, str) else Why.CONNECTED_THROUGH
        for key in _CABLE_ENDS:
            for end in _known(parts, link_list(links_of(cable).get(key))):
                found.add(end, cable, why)


def _add_assumed(parts: Parts, found: Dependencies) -> None:
    """What containment says where links say nothing: see the module's text."""
    serving: dict[tuple[str, Why], list[Draft]] = {}
    for draft in parts.drafts.values():
        why = _BY_CONTAINMENT.get(draft.kind)
        if why is not None and draft.parent is not None:
            serving.setdefault((draft.parent.uri, why), []).append(draft)
    for draft in [one for one in parts.drafts.values() if _depends(one)]:
        for why in _BY_CONTAINMENT.values():
            said = draft.body.get(_SAID[why]) if why in _SAID else None
            if said is False or found.served([draft, *parts.hosts_in(draft)], why):
                continue
            for holder in draft.above():
                near = serving.get((holder.uri, why), [])
                if not near or (why is Why.MANAGED_BY and len(near) > 1):
                    continue
                for on in near:
                    found.add(draft, on, why, assumed=said is not True)
                break


def _depends(draft: Draft) -> bool:
    """Blades, sleds and boards in something larger, and hosts that stand in it without a blade of their own."""
    if draft.parent is None:
        return False
    if draft.kind is Kind.HOST:
        return draft.parent.kind not in (Kind.BLADE, Kind.MODULE)
    return draft.type == "Chassis" and draft.kind in (Kind.BLADE, Kind.SLED, Kind.MODULE)
