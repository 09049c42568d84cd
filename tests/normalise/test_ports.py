"""Network ports: parts with a link, their neighbours, read anew in every round; resets and starts of hosts."""

from __future__ import annotations

from typing import Any

import pytest

from collector.model import Health, Kind, Link, Neighbour, Status, Why
from collector.normalise.inventory import Normalised
from collector.normalise.polled import Decoded, Decoder
from collector.poll.plan import plan
from tests.normalise.services import (
    NAME,
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    collection,
    link,
    ok,
    read,
    resource,
    root,
    sled,
)
from tests.normalise.walks import TIME, answers, walk_of

ADAPTER = f"{SLED}/NetworkAdapters/1"
PORT = f"{ADAPTER}/Ports/1"
HOST = f"{SYSTEMS}/H1"
MAC = "02:00:5e:10:00:01"


def service(**port: Any) -> Bodies:
    host = resource(HOST, "ComputerSystem", Links={"Chassis": [link(SLED)]}, Status=ok(), PowerState="On")
    host |= {"BootProgress": {"LastState": "OSRunning"}, "LastResetTime": "2026-01-01T00:00:00Z"}
    return (
        root()
        | chassis(sled())
        | {
            HOST: host,
            ADAPTER: resource(ADAPTER, "NetworkAdapter", Name="NIC", Ports=link(f"{ADAPTER}/Ports"), Status=ok()),
            f"{ADAPTER}/Ports": collection(f"{ADAPTER}/Ports", PORT),
            PORT: resource(PORT, "Port", Status=ok(), **port),
        }
    )


def status(inventory: Normalised, uri: str = PORT) -> Status:
    return inventory.statuses[f"{NAME}:{uri}"]


def rounds(bodies: Bodies, *later: Bodies, expand: bool = False) -> list[Decoded]:
    walked, inventory = walk_of(bodies, NAME, expand=expand), read(bodies, expand=expand)
    fetches = plan(walked, inventory)
    decoder = Decoder(inventory, fetches)
    found = []
    for now in later:
        decoder.begin()
        for index, body in enumerate(answers(walk_of(now, NAME, expand=expand), fetches)):
            decoder.take(index, body, TIME)
        found.append(decoder.finish(TIME))
    return found


@pytest.mark.parametrize(
    ("told", "has_link"),
    [
        ({"LinkStatus": "LinkUp"}, True),
        ({"LinkStatus": "LinkDown"}, False),
        ({"LinkStatus": "NoLink"}, False),
        ({"LinkStatus": "Training"}, None),
        ({"LinkStatus": "Starting"}, None),
        ({"LinkStatus": None}, None),
        ({}, None),
        ({"LinkStatus": "LinkDown", "LinkState": "Disabled"}, None),
        ({"LinkStatus": "LinkDown", "InterfaceEnabled": False}, None),
    ],
)
def test_a_port_is_a_part_with_a_link(told: dict[str, Any], has_link: bool | None) -> None:
    """DSP8010 Port_v1.xml LinkStatus: NoLink is 'no physical link detected', Training and Starting are neither."""
    inventory = read(service(**told))
    part = next(one for one in inventory.parts if one.uri == PORT)
    assert (part.kind, part.parent) == (Kind.PORT, f"{NAME}:{ADAPTER}")
    assert status(inventory).link is has_link
    assert not inventory.defects


def test_a_word_that_is_none_is_no_link_and_a_defect() -> None:
    inventory = read(service(LinkStatus="Wobbly"))
    assert status(inventory).link is None
    assert [(one.resource, one.property) for one in inventory.defects] == [(PORT, "/LinkStatus")]


def test_a_port_inside_the_machine_is_no_part() -> None:
    assert PORT not in {one.uri for one in read(service(PortProtocol="SAS")).parts}


@pytest.mark.parametrize("expand", [False, True])
def test_a_lost_link_is_seen_in_the_next_round(expand: bool) -> None:
    before, after = service(LinkStatus="LinkUp"), service(LinkStatus="LinkDown")
    same, lost, back = rounds(before, before, after, before, expand=expand)
    port = f"{NAME}:{PORT}"
    assert not same.statuses
    assert (lost.statuses[port].link, back.statuses[port].link) == (False, True)


def test_the_older_ports_count_where_there_are_no_newer_ones() -> None:
    """DSP8010 NetworkPort_v1.xml: Up and Down."""
    bodies = service()
    old = f"{ADAPTER}/NetworkPorts/1"
    bodies[ADAPTER] = resource(ADAPTER, "NetworkAdapter", NetworkPorts=link(f"{ADAPTER}/NetworkPorts"), Status=ok())
    bodies[f"{ADAPTER}/NetworkPorts"] = collection(f"{ADAPTER}/NetworkPorts", old)
    bodies[old] = resource(old, "NetworkPort", LinkStatus="Down", Status=ok())
    assert status(read(bodies), old).link is False


@pytest.mark.parametrize(
    ("heard", "neighbour"),
    [
        (
            {"ChassisId": MAC.upper().replace(":", "-"), "ChassisIdSubtype": "MacAddr", "PortId": "65:74:68:31"}
            | {"PortIdSubtype": "IfName", "SystemName": " leaf-1 "},
            Neighbour(part=f"{NAME}:{PORT}", chassis=MAC, port="eth1", name="leaf-1"),
        ),
        (
            {"ChassisId": MAC, "PortId": "02:00:5E:10:00:02", "PortIdSubtype": "MacAddr"},
            Neighbour(part=f"{NAME}:{PORT}", chassis=MAC, port="02:00:5e:10:00:02"),
        ),
        (
            {"ChassisId": "leaf-1", "ChassisIdSubtype": "LocalAssign", "PortId": "Eth 1/4", "PortIdSubtype": "IfName"},
            Neighbour(part=f"{NAME}:{PORT}", chassis="leaf-1", port="Eth 1/4"),
        ),
        ({"PortId": "65:74:68:31", "SystemName": "leaf-1"}, None),
        ({"ChassisId": MAC, "ChassisIdSubtype": "NotTransmitted"}, None),
        ({}, None),
    ],
)
def test_a_port_knows_its_neighbour(heard: dict[str, Any], neighbour: Neighbour | None) -> None:
    inventory = read(service(LinkStatus="LinkUp", Ethernet={"LLDPReceive": heard}))
    assert inventory.neighbours == (() if neighbour is None else (neighbour,))
    assert not inventory.defects


@pytest.mark.parametrize("ethernet", [{"LLDPReceive": 5}, {"LLDPReceive": {"ChassisId": 5}}])
def test_no_neighbour_is_made_up(ethernet: dict[str, Any]) -> None:
    inventory = read(service(Ethernet=ethernet))
    assert not inventory.neighbours
    assert len(inventory.defects) == 1


def test_resets_and_starts_of_a_host() -> None:
    bodies = service()
    told = status(read(bodies), HOST)
    assert (told.last_reset, told.boot) == (1_767_225_600.0, "OSRunning")  # date -u -d 2026-01-01 +%s
    again = bodies | {HOST: bodies[HOST] | {"LastResetTime": "2026-01-01T00:00:07Z"}}
    anew = bodies | {HOST: bodies[HOST] | {"LastResetTime": "2026-01-02T00:00:00Z"}}
    anew[HOST] = anew[HOST] | {"BootProgress": {"LastState": "OSBootStarted"}}
    wobbled, reset = rounds(bodies, again, anew)
    assert not wobbled.statuses, "reckoned back from an uptime: the same reset"
    now = reset.statuses[f"{NAME}:{HOST}"]
    assert (now.last_reset, now.boot) == (1_767_225_600.0 + 86_400.0, "OSBootStarted")


@pytest.mark.parametrize(
    ("told", "place"),
    [
        ({"LastResetTime": "yesterday"}, "/LastResetTime"),
        ({"BootProgress": "on"}, "/BootProgress"),
        ({"BootProgress": {"LastState": "Halfway"}}, "/BootProgress/LastState"),
    ],
)
def test_nonsense_about_a_start_is_a_defect(told: dict[str, Any], place: str) -> None:
    bodies = service()
    bad = bodies | {HOST: bodies[HOST] | told}
    assert [one.property for one in read(bad).defects] == [place]
    assert [one.property for one in rounds(bodies, bad)[0].defects] == [place]


CABLE = "/redfish/v1/Cables/1"


def cabled(status: str = "Normal", **more: Any) -> Bodies:
    ends = {"UpstreamChassis": [link(SLED)], "DownstreamPorts": [link(PORT)]}
    return service(LinkStatus="LinkUp") | {CABLE: resource(CABLE, "Cable", CableStatus=status, Links=ends, **more)}


@pytest.mark.parametrize(
    ("told", "health"),
    [
        ("Normal", Health.UNKNOWN),
        ("Degraded", Health.WARNING),
        ("Failed", Health.CRITICAL),
        ("Testing", Health.UNKNOWN),
    ],
)
def test_a_cable_is_a_part_on_which_what_hangs_on_it_depends(told: str, health: Health) -> None:
    """DSP8010 Cable_v1.xml: CableStatus, Links."""
    inventory = read(cabled(told))
    part = next(one for one in inventory.parts if one.uri == CABLE)
    assert (part.kind, part.parent) == (Kind.CABLE, f"{NAME}:{SLED}")
    assert Link(f"{NAME}:{PORT}", part.id, Why.CONNECTED_THROUGH) in inventory.links
    assert inventory.statuses[part.id].health is health
    assert not inventory.defects


def test_a_cable_for_power_powers() -> None:
    found = {(one.on, one.why) for one in read(cabled(CableClass="Power")).links if one.part == f"{NAME}:{PORT}"}
    assert (f"{NAME}:{CABLE}", Why.POWERED_BY) in found


def test_a_cable_that_fails_is_seen_in_the_next_round() -> None:
    (done,) = rounds(cabled(), cabled("Failed"))
    assert done.statuses[f"{NAME}:{CABLE}"].health is Health.CRITICAL
