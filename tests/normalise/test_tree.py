"""Containment: union of both directions, no loops, most specific chassis."""

from __future__ import annotations

from typing import Any

from collector.model import DefectKind
from tests.normalise.services import (
    BMC,
    CHASSIS,
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    four_blades,
    link,
    read,
    resource,
    root,
    uri_of,
)


def box(name: str, type_: str = "Module", **links: Any) -> dict[str, Any]:
    told = {key: [link(f"{CHASSIS}/{one}") for one in ones] for key, ones in links.items() if key != "ContainedBy"}
    if "ContainedBy" in links:
        told["ContainedBy"] = link(f"{CHASSIS}/{links['ContainedBy']}")
    return resource(f"{CHASSIS}/{name}", "Chassis", ChassisType=type_, Name=name, Links=told)


def parents(bodies: Bodies) -> dict[str, str | None]:
    def short(uri: str | None) -> str | None:
        return None if uri is None else uri.rpartition("/")[2]

    return {part.uri.rpartition("/")[2]: short(uri_of(part.parent)) for part in read(bodies).parts}


def kinds(bodies: Bodies) -> list[DefectKind]:
    return [defect.kind for defect in read(bodies).defects]


def test_either_direction_of_a_link_is_enough() -> None:
    bodies = root() | chassis(box("A", Contains=["B"]), box("B"), box("C", ContainedBy="A"))
    assert parents(bodies) == {"A": None, "B": "A", "C": "A"}
    assert kinds(bodies) == []


def test_a_loop_is_broken_and_named() -> None:
    bodies = root() | chassis(box("A", ContainedBy="C"), box("B", ContainedBy="A"), box("C", ContainedBy="B"))
    found = parents(bodies)
    assert sorted(parent or "" for parent in found.values()) == sorted(["", *(set("ABC") - {_last(found)})])
    assert kinds(bodies) == [DefectKind.LINK_LOOP]


def _last(found: dict[str, str | None]) -> str:
    """The one that contains nothing."""
    return next(name for name in found if name not in found.values())


def test_a_chassis_that_contains_itself_is_named() -> None:
    bodies = root() | chassis(box("A", Contains=["A"]))
    assert parents(bodies) == {"A": None}
    assert kinds(bodies) == [DefectKind.LINK_LOOP]


def test_of_two_containers_the_parts_own_word_counts_and_the_other_is_named() -> None:
    bodies = root() | chassis(box("A", Contains=["C"]), box("B"), box("C", ContainedBy="B"))
    assert parents(bodies)["C"] == "B"
    assert kinds(bodies) == [DefectKind.CONTRADICTION]


def test_a_container_of_the_container_is_no_contradiction() -> None:
    inner = box("B", Contains=["C"], ContainedBy="A")
    bodies = root() | chassis(box("A", "Rack", Contains=["B", "C"]), inner, box("C", ContainedBy="B"))
    assert parents(bodies) == {"A": None, "B": "A", "C": "B"}
    assert kinds(bodies) == []


def test_links_to_nothing_and_to_elsewhere_are_named() -> None:
    body = box("A", Contains=["Gone"])
    body["Links"]["ManagedBy"] = [link("https://192.0.2.9/redfish/v1/Managers/1")]
    bodies = root() | chassis(body)
    assert sorted(kinds(bodies)) == [DefectKind.DANGLING_LINK, DefectKind.FOREIGN_LINK]


def test_a_host_stands_in_the_innermost_of_its_chassis() -> None:
    uri = f"{SYSTEMS}/H"
    bodies = root() | chassis(box("A", Contains=["B"]), box("B", "Blade"))
    links = {"Chassis": [link(f"{CHASSIS}/A"), link(f"{CHASSIS}/B")]}
    bodies[uri] = resource(uri, "ComputerSystem", Links=links)
    assert parents(bodies)["H"] == "B"


def test_a_host_that_says_nothing_stands_where_a_chassis_lists_it() -> None:
    uri = f"{SYSTEMS}/H"
    body = box("A", "Blade")
    body["Links"]["ComputerSystems"] = [link(uri)]
    assert parents(root() | chassis(body) | {uri: resource(uri, "ComputerSystem")})["H"] == "A"


def test_managers_stand_where_they_are_built_in_else_where_they_all_are() -> None:
    bodies = four_blades()
    assert parents(bodies)["BMC"] == "Sled"
    blades = [link(f"{SLED}B{number}") for number in (1, 2, 3, 4)]
    bodies[BMC]["Links"] = {"ManagerForChassis": blades}
    assert parents(bodies)["BMC"] == "Sled"  # a baseboard controller of four blades: on what holds them all
    for type_ in ("RackManager", None, {}):
        bodies[BMC]["ManagerType"] = type_
        assert parents(bodies)["BMC"] is None  # may stand anywhere


def test_processors_and_modules_stay_in_their_host_and_drives_go_to_their_chassis() -> None:
    host = f"{SYSTEMS}/H1"
    bodies = four_blades()
    in_blade = {"Chassis": link(f"{SLED}B2")}
    for path, type_ in (("Processors/C", "Processor"), ("Memory/M", "Memory"), ("Storage/1/Drives/D", "Drive")):
        bodies[f"{host}/{path}"] = resource(f"{host}/{path}", type_, Links=in_blade)
    bodies[f"{host}/Storage/1"] = resource(f"{host}/Storage/1", "Storage")
    bodies[f"{host}/Storage/1/Drives/E"] = resource(f"{host}/Storage/1/Drives/E", "Drive")
    found = parents(bodies)
    assert (found["C"], found["M"], found["D"], found["E"]) == ("H1", "H1", "SledB2", "H1")


def test_containers_come_before_what_they_contain_in_natural_order() -> None:
    names = [f"N{number}" for number in (10, 9, 1, 2)]
    bodies = root() | chassis(*(box(name, ContainedBy="Z") for name in names), box("Z", "Sled"))
    assert list(parents(bodies)) == ["Z", "N1", "N2", "N9", "N10"]
