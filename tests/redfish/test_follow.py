"""The table of what a walk follows, against the published schemas (DMTF DSP8010 CSDL)."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from functools import cache
from pathlib import Path

import pytest

from collector.model import DefectKind
from collector.redfish.follow import FOLLOWED, STEPS, Found, Misshapen, Step, links_of, type_name
from tests.conftest import standard

EDM = "{http://docs.oasis-open.org/odata/ns/edm}"


@cache
def properties(csdl: Path, schema: str) -> dict[tuple[str, str], str]:
    """(type within the schema, property) -> type, of all versions of one schema."""
    found: dict[tuple[str, str], str] = {}
    for part in ElementTree.parse(csdl / f"{schema}_v1.xml").iter(f"{EDM}Schema"):
        for kind in [*part.iter(f"{EDM}EntityType"), *part.iter(f"{EDM}ComplexType")]:
            for one in [*kind.iter(f"{EDM}NavigationProperty"), *kind.iter(f"{EDM}Property")]:
                found[str(kind.get("Name")), str(one.get("Name"))] = str(one.get("Type"))
    return found


@pytest.mark.parametrize(("name", "step"), [(name, step) for name, steps in STEPS.items() for step in steps])
def test_every_entry_is_a_link_of_the_published_schema(name: str, step: Step) -> None:
    told = properties(standard("redfish", "csdl"), name)
    holder = name
    for word in step.path[:-1]:
        holder = told[holder, word].rpartition(".")[2]
    kind = told[holder, step.path[-1]]
    array, target = kind.startswith("Collection("), kind.removeprefix("Collection(").removesuffix(")")
    assert "." in target, "names another resource"
    assert not target.startswith("Edm.")
    assert array is step.array
    assert target.endswith("Collection") is step.collection


def test_no_line_of_the_table_is_out_of_reach() -> None:
    csdl = standard("redfish", "csdl")
    reached = {"ServiceRoot"}
    for name, steps in STEPS.items():
        told = properties(csdl, name)
        for step in steps:
            holder = name if len(step.path) == 1 else "Links"
            kind = told[holder, step.path[-1]].removeprefix("Collection(").removesuffix(")")
            reached.add(kind.rpartition(".")[2].removesuffix("Collection"))
    assert set(FOLLOWED) <= reached, "a line that nothing leads to"


def test_links_are_found_with_their_places() -> None:
    body = {
        "@odata.type": "#Chassis.v1_25_0.Chassis",
        "Sensors": {"@odata.id": "/s"},
        "Thermal": None,
        "Power": "/p",
        "EnvironmentMetrics": {},
        "Links": {"Drives": [{"@odata.id": "/d/0"}, 7], "ContainedBy": {"@odata.id": "/c"}},
        "LogServices": {"@odata.id": "/l"},
    }
    assert sorted(links_of(body), key=lambda found: found.pointer) == [
        Misshapen("/EnvironmentMetrics", DefectKind.MISSING, "is a link without @odata.id"),
        Found("/Links/ContainedBy", "/c", cross=True),
        Found("/Links/Drives/0", "/d/0", cross=True),
        Misshapen("/Links/Drives/1", DefectKind.WRONG_TYPE, "is int, not a link"),
        Misshapen("/Power", DefectKind.WRONG_TYPE, "is str, not a link"),
        Found("/Sensors", "/s", collection=True),
    ]


def test_without_a_type_clear_links_are_followed_and_others_guessed_at_by_nobody() -> None:
    body = {"Sensors": {"@odata.id": "/s"}, "Memory": {"TotalGiB": 4}, "Metrics": "none", "Links": "no"}
    assert list(links_of(body)) == [Found("/Sensors", "/s", collection=True)]
    assert list(links_of({"@odata.type": "#Bios.v1_2_0.Bios", "Sensors": {"@odata.id": "/s"}})) == []


@pytest.mark.parametrize(
    ("told", "name"),
    [("#Chassis.v1_25_0.Chassis", "Chassis"), ("#SensorCollection.SensorCollection", "SensorCollection"), (7, None)],
)
def test_type_names(told: object, name: str | None) -> None:
    assert type_name({"@odata.type": told}) == name
