"""What stands at the other end of each port's cable, as told by it over the cable.

Source: DSP8010 2025.4 ``Port_v1.xml`` (Ethernet.LLDPReceive, IEEE802IdSubtype: the subtypes of IEEE 802.1AB). There
PortId is told as octets in hexadecimal, ``65:74:68:31`` for ``eth1``; where its subtype says that they spell a name,
they are read as one. MAC addresses are written in one way, since controllers write them in several and it is by these
names that two of them are found to be connected to one switch.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from collector.model import DefectKind, Neighbour
from collector.normalise.bodies import Body, record, text
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import Draft

SPELT_SUBTYPES = frozenset({"ChassisComp", "IfAlias", "PortComp", "IfName", "LocalAssign"})
"""Subtypes of identifiers that are text."""

_OCTETS = re.compile(r"[0-9A-Fa-f]{2}(?::[0-9A-Fa-f]{2})+")
_MAC = re.compile(r"[0-9A-Fa-f]{2}(?P<joint>[:-])(?:[0-9A-Fa-f]{2}(?P=joint)){4}[0-9A-Fa-f]{2}")


def find_neighbours(ports: Iterable[Draft], id_of: Mapping[str, str], findings: Findings) -> tuple[Neighbour, ...]:
    """The neighbours of all ports that have heard from one, in the order of the ports.

    A neighbour that does not say which chassis it is can't be told from others, and is none.
    """
    found = []
    for port in ports:
        ethernet = port.body.get("Ethernet") if port.type == "Port" else None
        heard = record(ethernet).get("LLDPReceive")
        if heard is not None and not isinstance(heard, dict):
            detail = f"LLDPReceive is {shown(heard)}, not an object"
            findings.add(port.resource, "/Ethernet/LLDPReceive", DefectKind.WRONG_TYPE, detail)
        chassis = _identifier(record(heard), "ChassisId", port, findings)
        if chassis is not None:
            found.append(
                Neighbour(
                    part=id_of[port.uri],
                    chassis=chassis,
                    port=_identifier(record(heard), "PortId", port, findings),
                    name=text(record(heard).get("SystemName"), 80),
                )
            )
    return tuple(found)


def _identifier(heard: Body, key: str, port: Draft, findings: Findings) -> str | None:
    told, subtype = heard.get(key), heard.get(f"{key}Subtype")
    if told is None or subtype == "NotTransmitted":
        return None
    if not isinstance(told, str):
        detail = f"{key} is {shown(told)}, not text"
        findings.add(port.resource, f"/Ethernet/LLDPReceive/{key}", DefectKind.WRONG_TYPE, detail)
        return None
    plain = told.strip()
    if subtype in SPELT_SUBTYPES and _OCTETS.fullmatch(plain):
        return text(_spelt(plain)) or text(plain)
    if _MAC.fullmatch(plain):
        plain = plain.replace("-", ":").lower()
    return text(plain)


def _spelt(octets: str) -> str | None:
    """The text that octets spell; None where they spell none."""
    try:
        spelt = bytes.fromhex(octets.replace(":", "")).rstrip(b"\0").decode("ascii")
    except UnicodeDecodeError:
        return None
    return spelt if spelt.isprintable() else None
