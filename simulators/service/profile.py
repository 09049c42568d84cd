"""What server profiles ask of a controller beyond telling: resets, boot overrides, asset tags, its own network."""

from __future__ import annotations

from typing import Any
from zlib import crc32

import msgspec

from simulators.service import live
from simulators.service.classic_rows import LED_WORDS
from simulators.service.controls import MANAGER_RESET, host_reset
from simulators.service.live import Hole, Moment
from simulators.service.offers import Control
from simulators.service.places import MANAGER, Plan, host
from simulators.service.query import Body
from simulators.service.settings import Setting, choice, setting, text, texts
from simulators.service.template import Live
from simulators.service.tree import Tree, Write, link

_PORT = f"{MANAGER}/EthernetInterfaces/Management"
_PROTOCOLS = f"{MANAGER}/NetworkProtocol"
_BOOT: Body = {
    "BootSourceOverrideEnabled": "Disabled",
    "BootSourceOverrideTarget": "None",
    "BootSourceOverrideMode": "Legacy",
}
_ENABLED = ("Disabled", "Once", "Continuous")
_TARGETS = ("None", "Pxe", "Hdd", "BiosSetup")
_RESETS = ("On", "ForceOff", "ForceRestart")


def add(tree: Tree, plan: Plan) -> tuple[Control, ...]:
    """Add it to a tree, which has the newer model and Thermal and Power; returns the actions."""
    for n in plan.blades:
        _host(tree, n)
    _limits(tree, plan)
    _network(tree)
    own = Control(MANAGER_RESET, (), ("ForceRestart",))
    return (own, *(Control(host_reset(n), (n,), _RESETS) for n in plan.blades))


def _host(tree: Tree, n: int) -> None:
    resource = tree.resources[host(n)]
    writes: dict[str, Setting] = {
        "AssetTag": Setting("", text(64)),
        "Boot": Setting(
            _BOOT,
            members={
                "BootSourceOverrideEnabled": choice(*_ENABLED),
                "BootSourceOverrideTarget": choice(*_TARGETS),
                "BootSourceOverrideMode": choice("Legacy"),
            },
        ),
    }
    resource.body["AssetTag"] = setting(host(n), "AssetTag", "")
    resource.body["Boot"] = {
        **{name: setting(host(n), "Boot", _BOOT, name) for name in _BOOT},
        "BootSourceOverrideTarget@Redfish.AllowableValues": list(_TARGETS),
    }
    resource.body["IndicatorLED"] = live.led(f"blade{n}")
    resource.body["Actions"] = {
        "#ComputerSystem.Reset": {
            "target": host_reset(n),
            "ResetType@Redfish.AllowableValues": list(_RESETS),
        }
    }
    resource.settings |= writes
    resource.writes["IndicatorLED"] = Write(f"blade{n}", LED_WORDS)


def _limits(tree: Tree, plan: Plan) -> None:
    """Every power control has a limit, which is not set, and a capacity."""
    fans = round(plan.design.fan.max_power * plan.design.fans)
    for path, resource in tree.resources.items():
        if not path.endswith("/Power"):
            continue
        for row in resource.body["PowerControl"]:
            row.setdefault("PowerCapacityWatts", fans)
            row["PowerLimit"] = {"LimitInWatts": None, "LimitException": "NoAction"}


def _network(tree: Tree) -> None:
    manager = tree.resources[MANAGER].body
    manager["Actions"] = {
        "#Manager.Reset": {"target": MANAGER_RESET, "ResetType@Redfish.AllowableValues": ["ForceRestart"]}
    }
    manager["SerialConsole"] = {
        "ServiceEnabled": False,
        "MaxConcurrentSessions": 1,
        "ConnectTypesSupported": ["SSH"],
    }
    manager["NetworkProtocol"] = link(_PROTOCOLS)
    names: Body = {"HostName": _name(_PORT, "HostName", ""), "FQDN": _name(_PORT, "FQDN", ".example")}
    tree.add(
        _PROTOCOLS,
        "ManagerNetworkProtocol.v1_12_0.ManagerNetworkProtocol",
        "Network protocols",
        {
            **names,
            "HTTP": {"ProtocolEnabled": False, "Port": 80},
            "HTTPS": {"ProtocolEnabled": True, "Port": 443},
            "SSH": {"ProtocolEnabled": False, "Port": 22},
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    # TEST-NET-2 (RFC 5737): an address that nobody has, and that can be changed without losing the way here
    addresses = [
        {
            "Address": "198.51.100.7",
            "SubnetMask": "255.255.255.0",
            "AddressOrigin": "Static",
            "Gateway": "198.51.100.1",
        }
    ]
    tree.add(
        _PORT,
        "EthernetInterface.v1_12_4.EthernetInterface",
        "Management port",
        {
            **names,
            "MACAddress": _mac(),
            "SpeedMbps": 1000,
            "FullDuplex": True,
            "InterfaceEnabled": True,
            "LinkStatus": "LinkUp",
            "NameServers": setting(_PORT, "NameServers", []),
            "StaticNameServers": setting(_PORT, "NameServers", []),
            "IPv4Addresses": setting(_PORT, "IPv4Addresses", addresses),
            "DHCPv4": {"DHCPEnabled": False},
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    tree.resources[_PORT].settings |= {
        "HostName": Setting(None, text(63), administrator=True),
        "FQDN": Setting(None, text(255), administrator=True),
        "NameServers": Setting([], texts(3), administrator=True),
        "IPv4Addresses": Setting(addresses, _addresses, administrator=True),
    }
    ports = f"{MANAGER}/EthernetInterfaces"
    manager["EthernetInterfaces"] = link(tree.collect(ports, "EthernetInterface", "Network ports", [_PORT]))


def _addresses(value: Any) -> bool:
    members = {"Address", "SubnetMask", "AddressOrigin", "Gateway"}
    return (
        isinstance(value, list)
        and len(value) == 1
        and isinstance(value[0], dict)
        and set(value[0]) == members
        and all(isinstance(one, str) for one in value[0].values())
        and value[0]["AddressOrigin"] == "Static"
    )


def _name(path: str, name: str, after: str) -> Hole:
    """The controller's name in the network: its sled's, until someone writes another."""

    def fill(now: Moment) -> bytes:
        return msgspec.json.encode(now.settings.get((path, name), now.sled.name + after))

    return Live(fill)


def _mac() -> Hole:
    """A locally administered address (IEEE 802: second bit of the first octet) of this controller's own."""

    def fill(now: Moment) -> bytes:
        return b'"02:00:%b"' % b":".join(b"%02X" % octet for octet in crc32(now.sled.name.encode()).to_bytes(4, "big"))

    return Live(fill)
