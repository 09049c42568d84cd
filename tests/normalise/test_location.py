"""Where parts are: their own word, the fleet file's, and their containers'."""

from __future__ import annotations

from collector.model import Defect, DefectKind, Location
from tests.normalise.services import (
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
    sled,
)

FLEET = Location(site="Quellmark", row="A", rack="R02", enclosure="E1")


def places(bodies: Bodies, fleet: Location | None = None) -> tuple[dict[str, Location], tuple[Defect, ...]]:
    inventory = read(bodies, fleet)
    return {part.uri: part.location for part in inventory.parts}, inventory.defects


def labelled(label: str, ordinal: int | None = None) -> dict[str, object]:
    return {"PartLocation": {"ServiceLabel": label, "LocationOrdinalValue": ordinal}}


def test_what_the_fleet_file_knows_and_what_the_controller_knows_make_one_location() -> None:
    found, defects = places(four_blades(), FLEET)
    assert found[f"{SLED}B3"] == Location(
        site="Quellmark", row="A", rack="R02", enclosure="E1", sled="Sled 1", slot="Blade 3", slot_index=2
    )
    assert found[f"{SLED}B3"].text == "Quellmark / A / R02 / E1 / Sled 1 / Blade 3"
    assert found[f"{SYSTEMS}/H3"] == found[f"{SLED}B3"]
    assert defects == ()


def test_a_disagreement_is_named_and_the_fleet_file_believed() -> None:
    placement = {"Placement": {"Rack": "R09", "Row": "A", "RackOffset": 12, "RackOffsetUnits": "OpenU"}}
    found, (defect,) = places(root() | chassis(sled(Location=placement)), FLEET)
    assert (found[SLED].rack, found[SLED].offset, found[SLED].offset_unit) == ("R02", 12, "OpenU")
    assert (defect.kind, defect.property) == (DefectKind.CONTRADICTION, "/Location/Placement")
    assert defect.detail == "rack is 'R09' here, 'R02' in the fleet file"


def test_labels_that_may_be_one_are_no_disagreement() -> None:
    found, defects = places(root() | chassis(sled(Location=labelled("SLED 1"))), Location(sled="1"))
    assert (found[SLED].sled, defects) == ("1", ())
    _, (defect,) = places(root() | chassis(sled(Location=labelled("Sled 2"))), Location(sled="1"))
    assert defect.kind is DefectKind.CONTRADICTION


def test_a_mere_name_contradicts_no_label() -> None:
    found, defects = places(root() | chassis(sled(Name="Computer System Chassis")), Location(sled="S1"))
    assert (found[SLED].sled, defects) == ("S1", ())


def test_parts_in_a_slot_of_a_slot_name_both() -> None:
    host = f"{SYSTEMS}/H2"
    bodies = four_blades()
    bodies[f"{host}/Memory/1"] = resource(f"{host}/Memory/1", "Memory", Location=labelled("DIMM 1", 0))
    bodies[f"{host}/Memory/2"] = resource(f"{host}/Memory/2", "Memory")
    found, _ = places(bodies)
    assert (found[f"{host}/Memory/1"].slot, found[f"{host}/Memory/1"].slot_index) == ("Blade 2 / DIMM 1", 0)
    assert (found[f"{host}/Memory/2"].slot, found[f"{host}/Memory/2"].slot_index) == ("Blade 2", 1)


def test_what_a_part_says_of_itself_outweighs_what_it_is_in() -> None:
    inner = resource(f"{CHASSIS}/In", "Chassis", ChassisType="Module", Name="In")
    inner["Links"] = {"ContainedBy": link(SLED)}
    inner["Location"] = {"Placement": {"Rack": "R03"}}
    bodies = root() | chassis(sled(Location={"Placement": {"Rack": "R02"}}), inner)
    found, (defect,) = places(bodies)
    assert found[f"{CHASSIS}/In"].rack == "R03"
    assert defect.detail == "rack is 'R03' here, 'R02' in what contains it"


def test_an_enclosure_in_an_enclosure_stands_in_a_slot_of_it() -> None:
    inner = resource(f"{CHASSIS}/In", "Chassis", ChassisType="Enclosure", Name="Inner")
    inner["Links"] = {"ContainedBy": link(f"{CHASSIS}/Out")}
    outer = resource(f"{CHASSIS}/Out", "Chassis", ChassisType="Enclosure", Name="Outer")
    found, defects = places(root() | chassis(outer, inner))
    assert (found[f"{CHASSIS}/In"].enclosure, found[f"{CHASSIS}/In"].slot) == ("Outer", "Inner")
    assert defects == ()


def test_wrong_words_and_types_are_named() -> None:
    placement = {"RackOffset": "12", "RackOffsetUnits": "U", "Row": 5}
    found, defects = places(root() | chassis(sled(Location={"Placement": placement, "PartLocation": []})))
    assert (found[SLED].offset, found[SLED].offset_unit, found[SLED].row) == (None, None, None)
    assert [defect.property for defect in defects] == [
        "/Location/Placement/RackOffset",
        "/Location/Placement/RackOffsetUnits",
    ]


def test_a_drives_place_stands_in_its_physical_location() -> None:
    """DSP8010 Drive: "`PhysicalLocation` is the same as `Location` found elsewhere"; Location is an array there."""
    bodies = four_blades()
    drive = f"{SLED}B1/Drives/D2"
    bodies[drive] = resource(
        drive, "Drive", PhysicalLocation=labelled("Drive 2", 2), Location=[{"Info": "elsewhere"}], Links={}
    )
    bodies[f"{SLED}B1"].setdefault("Links", {})["Drives"] = [link(drive)]
    found, _ = places(bodies)
    assert (found[drive].slot, found[drive].slot_index) == ("Blade 1 / Drive 2", 2)
