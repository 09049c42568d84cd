"""Resets that really happen, and properties that a client writes, in the dialect that server profiles ask for."""

from __future__ import annotations

from typing import Any

import pytest

from simulators.service.controls import MANAGER_RESET, host_reset
from simulators.service.places import MANAGER, host
from simulators.site import scaled_site
from simulators.world import World
from tests.simulators.event_kit import Scene, scene
from tests.simulators.service_kit import ADMIN, Asker, basic

PORT = f"{MANAGER}/EthernetInterfaces/Management"


class Handled(Scene):
    """A scene whose power follows what is asked for, and that counts restarts."""

    restarts = 0

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        self.part(host.partition("/")[2], power_state="On" if on else "Off")
        self.done = (host, on, again)

    def restart(self) -> None:
        self.restarts += 1


def server() -> tuple[Asker, Handled]:
    one, source = scene("server")
    handled = Handled(source.name)
    one.service._source = handled
    one.service._annexes[-1]._hands = handled  # type: ignore[attr-defined]
    return one, handled


@pytest.mark.parametrize(
    ("before", "wanted", "done"),
    [
        ("On", "ForceOff", (False, None)),
        ("Off", "ForceOff", (False, None)),
        ("Off", "On", (True, None)),
        ("On", "ForceRestart", (False, 5.0)),
        ("Off", "ForceRestart", (True, None)),
    ],
)
def test_a_host_is_switched_as_asked(before: str, wanted: str, done: tuple[bool, float | None]) -> None:
    one, source = server()
    source.part("blade2/host", power_state=before)
    assert one.ask("POST", host_reset(2), {"ResetType": wanted}).status == 204
    assert source.done == (f"{one.sled.name}/blade2/host", *done)
    assert one.get(host(2))["PowerState"] == ("On" if done[0] else "Off")


def test_resets_are_advertised_and_what_they_don_t_know_refused() -> None:
    one, source = server()
    action = one.get(host(1))["Actions"]["#ComputerSystem.Reset"]
    assert action["target"] == host_reset(1)
    for value in action["ResetType@Redfish.AllowableValues"]:
        assert one.ask("POST", action["target"], {"ResetType": value}).status == 204
    assert one.error("POST", host_reset(1), {"ResetType": "Nmi"}) == (400, ["ActionParameterValueNotInList"])
    assert one.error("POST", host_reset(1), {"ResetType": ["On"]}) == (400, ["ActionParameterValueNotInList"])
    assert one.error("POST", host_reset(1), {}) == (400, ["ActionParameterMissing"])
    assert one.error("POST", host_reset(1), {"ResetType": "On", "Now": 1}) == (400, ["ActionParameterUnknown"])
    assert one.error("GET", host_reset(1)) == (405, ["OperationNotAllowed"])
    assert one.error("POST", host_reset(9), {"ResetType": "On"}) == (404, ["ResourceMissingAtURI"])
    assert source.restarts == 0


def test_restarting_the_controller_takes_an_administrator() -> None:
    one, source = server()
    assert one.error("POST", MANAGER_RESET, {"ResetType": "ForceRestart"}) == (403, ["InsufficientPrivilege"])
    assert source.restarts == 0
    assert one.ask("POST", MANAGER_RESET, {"ResetType": "ForceRestart"}, **ADMIN).status == 204
    assert one.error("POST", MANAGER_RESET, {"ResetType": "On"}, **ADMIN) == (400, ["ActionParameterValueNotInList"])
    assert source.restarts == 1


def test_who_only_reads_switches_nothing() -> None:
    one, source = server()
    new = {"UserName": "guest", "Password": "a long secret", "RoleId": "ReadOnly"}
    assert one.ask("POST", "/redfish/v1/AccountService/Accounts", new, **ADMIN).status == 201
    guest = basic("guest", "a long secret")
    assert one.error("POST", host_reset(1), {"ResetType": "ForceOff"}, **guest) == (403, ["InsufficientPrivilege"])
    assert not hasattr(source, "done")


def test_a_boot_override_once_is_used_up_by_the_next_start() -> None:
    """DSP0268, ComputerSystem.Boot.BootSourceOverrideEnabled."""
    one, _ = server()
    boot: dict[str, Any] = {"BootSourceOverrideEnabled": "Once", "BootSourceOverrideTarget": "Pxe"}
    assert one.ask("PATCH", host(1), {"Boot": boot}).status == 200
    assert one.get(host(1))["Boot"].items() >= boot.items()
    assert one.get(host(2))["Boot"]["BootSourceOverrideTarget"] == "None"
    assert one.ask("POST", host_reset(1), {"ResetType": "ForceOff"}).status == 204
    assert one.get(host(1))["Boot"].items() >= boot.items()
    assert one.ask("POST", host_reset(1), {"ResetType": "On"}).status == 204
    assert one.get(host(1))["Boot"]["BootSourceOverrideEnabled"] == "Disabled"
    again = {"BootSourceOverrideEnabled": "Continuous", "BootSourceOverrideTarget": "Hdd"}
    assert one.ask("PATCH", host(1), {"Boot": again}).status == 200
    assert one.ask("POST", host_reset(1), {"ResetType": "ForceRestart"}).status == 204
    assert one.get(host(1))["Boot"].items() >= again.items()


@pytest.mark.parametrize(
    ("path", "body", "key"),
    [
        (host(1), {"AssetTag": 5}, "PropertyValueFormatError"),
        (host(1), {"AssetTag": "x" * 65}, "PropertyValueFormatError"),
        (host(1), {"Boot": "Pxe"}, "PropertyValueTypeError"),
        (host(1), {"Boot": {"BootSourceOverrideTarget": "Moon"}}, "PropertyValueNotInList"),
        (host(1), {"Boot": {"Shoe": 1}}, "PropertyUnknown"),
        (PORT, {"IPv4Addresses": []}, "PropertyValueFormatError"),
        (PORT, {"MACAddress": "02:00:00:00:00:01"}, "PropertyNotWritable"),
    ],
)
def test_what_can_not_be_kept_is_refused(path: str, body: dict[str, Any], key: str) -> None:
    one, _ = server()
    assert one.error("PATCH", path, body, **ADMIN) == (400, [key])


def test_what_is_written_is_told_by_that_service_alone() -> None:
    one, _ = server()
    other, _ = server()
    assert one.ask("PATCH", host(3), {"AssetTag": "A-17"}).status == 200
    assert one.get(host(3))["AssetTag"] == "A-17"
    assert other.get(host(3))["AssetTag"] == ""
    assert one.error("PATCH", PORT, {"HostName": "here"}) == (403, ["InsufficientPrivilege"])
    assert one.ask("PATCH", PORT, {"HostName": "here", "NameServers": ["198.51.100.2"]}, **ADMIN).status == 200
    assert one.get(PORT)["NameServers"] == ["198.51.100.2"]
    assert one.get(f"{MANAGER}/NetworkProtocol")["HostName"] == "here"
    assert other.get(PORT)["HostName"] == other.sled.name


def test_a_host_that_is_off_draws_little_and_is_no_fault() -> None:
    world = World(scaled_site(1))
    sled = world.site.sleds[0]
    path = sled.blades[1].host
    busy = world.truth(sled.name).blade_power
    world.set_power(path, False)
    world.advance(5.0)
    idle = world.truth(sled.name).blade_power
    assert 0.0 < idle[1] < 0.1 * busy[1]
    assert idle[0] > 0.5 * busy[0]
    told = world.telemetry(sled.name).parts
    assert (told[path].power_state, told[path].state, told[path].health) == ("Off", "StandbyOffline", "OK")
    assert told[sled.blades[1].path].power_state == "On"
    assert told[sled.path].rollup == "OK"
    world.set_power(path, True)
    world.set_power(path, False, again=10.0)
    world.advance(9.0)
    assert world.telemetry(sled.name).parts[path].power_state == "Off"
    world.advance(2.0)
    assert world.telemetry(sled.name).parts[path].power_state == "On"
    with pytest.raises(KeyError):
        world.set_power(sled.blades[1].path, False)
