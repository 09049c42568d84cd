"""Dependencies: told in either direction, and what containment says where nothing is told."""

from __future__ import annotations

from collector.model import Link, Why
from tests.normalise.services import (
    BMC,
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    four_blades,
    link,
    power,
    read,
    resource,
    root,
    sled,
    thermal,
)

FAN = f"{SLED}/ThermalSubsystem/Fans/1"
SUPPLY = f"{SLED}/PowerSubsystem/PowerSupplies/1"
ADAPTER = f"{SLED}/NetworkAdapters/1"


def links(bodies: Bodies) -> set[tuple[str, str, Why, bool]]:
    return {(_uri(one.part), _uri(one.on), one.why, one.assumed) for one in read(bodies).links}


def _uri(part: str) -> str:
    return part.partition(":")[2]


def test_blades_depend_on_what_their_sled_holds_where_nothing_is_told() -> None:
    found = links(four_blades())
    for number in (1, 2, 3, 4):
        blade = f"{SLED}B{number}"
        assert {(on, why) for part, on, why, assumed in found if part == blade and assumed} == {
            (FAN, Why.COOLED_BY),
            (FAN.replace("Fans/1", "Fans/2"), Why.COOLED_BY),
            (SUPPLY, Why.POWERED_BY),
            (ADAPTER, Why.CONNECTED_THROUGH),
            (BMC, Why.MANAGED_BY),
        }


def test_what_is_told_of_one_kind_leaves_nothing_to_assume_of_it() -> None:
    bodies = four_blades()
    bodies[f"{SLED}B1"]["Links"]["CooledBy"] = [link(FAN)]
    cooling = {
        (on, assumed) for part, on, why, assumed in links(bodies) if part == f"{SLED}B1" and why is Why.COOLED_BY
    }
    assert cooling == {(FAN, False)}
    assert (f"{SLED}B1", SUPPLY, Why.POWERED_BY, True) in links(bodies)


def test_what_a_host_tells_counts_for_its_blade() -> None:
    bodies = four_blades()
    bodies[f"{SYSTEMS}/H1"]["Links"]["ManagedBy"] = [link(BMC)]
    found = links(bodies)
    assert (f"{SYSTEMS}/H1", BMC, Why.MANAGED_BY, False) in found
    assert (f"{SLED}B1", BMC, Why.MANAGED_BY, True) not in found


def test_of_two_managers_none_is_assumed() -> None:
    bodies = four_blades()
    other = f"{BMC}2"
    bodies[other] = resource(other, "Manager", Links={"ManagerInChassis": link(SLED)})
    assert not [one for one in links(bodies) if one[2] is Why.MANAGED_BY]


def test_the_serving_parts_may_tell_it_instead() -> None:
    bodies = four_blades()
    blade = f"{SLED}B3"
    bodies[FAN]["Links"] = {"CoolingChassis": [link(blade)]}
    bodies[SUPPLY]["Links"] = {"PoweringChassis": [link(blade)]}
    bodies[BMC]["Links"]["ManagerForChassis"] = [link(blade)]
    bodies[BMC]["Links"]["ManagerForServers"] = [link(f"{SYSTEMS}/H3")]
    told = {one for one in links(bodies) if not one[3]}
    assert told == {
        (blade, FAN, Why.COOLED_BY, False),
        (blade, SUPPLY, Why.POWERED_BY, False),
        (blade, BMC, Why.MANAGED_BY, False),
        (f"{SYSTEMS}/H3", BMC, Why.MANAGED_BY, False),
    }


def test_a_hosts_interface_names_the_adapter() -> None:
    bodies = four_blades()
    uri = f"{SYSTEMS}/H2/NetworkInterfaces/1"
    bodies[uri] = resource(uri, "NetworkInterface", Links={"NetworkAdapter": link(ADAPTER)})
    assert (f"{SYSTEMS}/H2", ADAPTER, Why.CONNECTED_THROUGH, False) in links(bodies)
    assert (f"{SLED}B2", ADAPTER, Why.CONNECTED_THROUGH, True) not in links(bodies)


def test_links_into_arrays_lead_to_the_rows_part() -> None:
    by = {"CooledBy": [link(f"{SLED}/Thermal#/Fans/1")], "PoweredBy": [link(f"{SLED}/Power#/PowerSupplies/0")]}
    bodies = root() | chassis(sled(Links=by))
    bodies |= thermal(Fans=[{"Name": "A"}, {"Name": "B"}]) | power(PowerSupplies=[{"Name": "P"}])
    assert links(bodies) == {
        (SLED, f"{SLED}/Thermal#/Fans/1", Why.COOLED_BY, False),
        (SLED, f"{SLED}/Power#/PowerSupplies/0", Why.POWERED_BY, False),
    }


def test_links_into_arrays_follow_a_row_to_its_newer_resource() -> None:
    bodies = four_blades()
    bodies |= thermal(Fans=[{"Name": "Fan 1"}, {"Name": "Fan 2"}])
    bodies[f"{SLED}B4"]["Links"]["CooledBy"] = [link(f"{SLED}/Thermal#/Fans/0")]
    assert (f"{SLED}B4", FAN, Why.COOLED_BY, False) in links(bodies)


def test_a_host_without_a_blade_depends_on_its_chassis_own() -> None:
    host = f"{SYSTEMS}/H1"
    bodies = root() | chassis(sled(ChassisType="RackMount")) | thermal(Fans=[{"Name": "A"}])
    bodies[host] = resource(host, "ComputerSystem", Links={"Chassis": [link(SLED)]})
    assert links(bodies) == {(host, f"{SLED}/Thermal#/Fans/0", Why.COOLED_BY, True)}


def test_each_dependency_is_listed_once_and_names_known_parts() -> None:
    bodies = four_blades()
    bodies[f"{SLED}B1"]["Links"]["ManagedBy"] = [link(BMC), link(BMC)]
    bodies[BMC]["Links"]["ManagerForChassis"] = [link(f"{SLED}B1")]
    inventory = read(bodies)
    ids = {part.id for part in inventory.parts}
    assert len(set(inventory.links)) == len(inventory.links)
    assert all(one.part in ids and one.on in ids for one in inventory.links)
    assert Link(f"n1:{SLED}B1", f"n1:{BMC}", Why.MANAGED_BY) in inventory.links


def test_a_chassis_says_whether_it_depends_on_what_serves_its_parent() -> None:
    """DSP8010 Chassis_v1.xml, since 1.20: PoweredByParent, ThermalManagedByParent."""
    bodies = four_blades()
    bodies[f"{SLED}B1"] |= {"PoweredByParent": True, "ThermalManagedByParent": False}
    found = {(on, why, assumed) for part, on, why, assumed in links(bodies) if part == f"{SLED}B1"}
    assert (SUPPLY, Why.POWERED_BY, False) in found
    assert Why.COOLED_BY not in {why for _, why, _ in found}
    assert {assumed for part, on, why, assumed in links(bodies) if part == f"{SLED}B2"} == {True}
