"""One tree a place from several controllers' tellings: invented racks, and the simulator's."""

from __future__ import annotations

import random
from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.place_merge import Dispute
from collector.assess.place_tree import PlaceTree, place_trees
from collector.assess.rollup import Place
from collector.model import Identity, Kind, Link, Location, Part, Why
from tests.assess.inventories import at, part, sled

RACK = Place("Quellmark", "A", "R02")


def only(parts: Iterable[Part], links: Iterable[Link] = ()) -> PlaceTree:
    trees = place_trees(parts, links)
    assert list(trees) == [RACK]
    return trees[RACK]


def drawn(tree: PlaceTree) -> list[str]:
    """The holders and feeds, indented, with how many tell each."""
    lines: list[str] = []

    def draw(id: str, depth: int) -> None:
        node = tree.nodes[id]
        if node.kind in (Kind.ENCLOSURE, Kind.SLED, Kind.BLADE, Kind.POWER_SUPPLY):
            lines.append(f"{'  ' * depth}{node.name} {len(node.tellers)}")
        for child in node.children:
            draw(child, depth + 1)

    for root in tree.roots:
        draw(root, 0)
    return lines


def manager(*sleds: tuple[int, str | None], controller: str = "em") -> list[Part]:
    """An enclosure's manager, which tells the sleds in its slots: number and serial number."""
    place = at(enclosure="E1")
    parts = [part("Enclosure", Kind.ENCLOSURE, "EN-0001", controller=controller, location=place, name="E1")]
    for number, serial in sleds:
        slot = at(enclosure="E1", sled=f"SLED {number}", slot_index=number - 1)
        parts.append(part(f"Slot{number}", Kind.SLED, serial, controller=controller, parent="Enclosure", location=slot))
    return parts


def shelf(controller: str = "shelf") -> list[Part]:
    place = at(offset=20.0, enclosure="PS")
    return [
        part("Shelf", Kind.ENCLOSURE, "SH-0001", controller=controller, location=place, name="PS"),
        *(part(f"Shelf/{n}", Kind.POWER_SUPPLY, f"PS-000{n}", controller=controller, parent="Shelf") for n in (1, 2)),
    ]


def test_sleds_of_an_enclosure_that_nobody_tells_stand_in_it_by_their_labels() -> None:
    tree = only([*sled("c1", 1, drives=0), *sled("c2", 2, drives=0)])
    assert drawn(tree) == [
        "E1 0",
        "  Sled 1",
        "    Blade1 1",
        "    Blade2 1",
        "  Sled 1",
        "    Blade1 1",
        "    Blade2 1",
    ]
    (enclosure,) = tree.roots
    assert tree.nodes[enclosure].location == at(enclosure="E1")
    assert tree.contradictions == ()


def test_a_sled_told_by_its_own_controller_and_by_its_enclosures_is_one() -> None:
    told_twice = [*manager((1, "C1-SL01"), (2, None)), *sled("c1", 1, drives=0), *sled("c2", 2, drives=0), *shelf()]
    tree = only(told_twice)
    assert drawn(tree) == [
        "E1 1",
        *("  Sled 2", "    Blade1 1", "    Blade2 1", "  Sled 2", "    Blade1 1", "    Blade2 1"),
        *("PS 1", "  1 1", "  2 1"),
    ]
    first = next(node for node in tree.nodes.values() if node.identity.serial == "C1-SL01")
    assert [teller.controller for teller in first.tellers] == ["c1", "em"], "who tells most of what is in it is first"
    assert first.location.slot_index == 0, "and the other adds what it leaves out"
    second = next(node for node in tree.nodes.values() if node.identity.serial == "C2-SL01")
    assert len(second.tellers) == 2, "by its label, where the manager tells no serial number"
    assert tree.contradictions == ()


def test_two_sleds_that_are_told_in_one_place_are_a_contradiction_and_stay_two() -> None:
    tree = only([*manager((1, "OTHER-01")), *sled("c1", 1, drives=0)])
    (dispute,) = tree.contradictions
    assert dispute.dispute is Dispute.OCCUPANT
    assert "serial C1-SL01" in dispute.text
    assert "serial OTHER-01" in dispute.text
    assert dispute.text.endswith("are both told at Quellmark / A / R02 / E1 / SLED 1")
    assert sum(node.kind is Kind.SLED for node in tree.nodes.values()) == 2


def test_one_sled_that_is_told_in_two_places_is_a_contradiction_and_one_node() -> None:
    parts = manager((3, "C1-SL01"))
    parts[1] = structs.replace(parts[1], identity=structs.replace(parts[1].identity, part_number="PN-S"))
    tree = only([*parts, *sled("c1", 1, drives=0)])
    (dispute,) = tree.contradictions
    assert dispute.dispute is Dispute.LOCATION
    assert "E1 / SLED 1 by c1" in dispute.text
    assert "E1 / SLED 3 by em" in dispute.text
    assert sum(node.kind is Kind.SLED for node in tree.nodes.values()) == 1


def own_sled(controller: str, serial: str | None, offset: float | None = None) -> Part:
    """A sled that tells no label: its name has to do."""
    return part("Sled", Kind.SLED, serial, controller=controller, location=at(sled="Sled", offset=offset))


def test_sleds_that_are_all_called_sled_are_not_one() -> None:
    two = only([own_sled("c1", None), own_sled("c2", None)])
    assert (len(two.nodes), [each.dispute for each in two.contradictions]) == (2, [Dispute.OCCUPANT])
    apart = only([own_sled("c1", None, 4.0), own_sled("c2", None, 6.0)])
    assert (len(apart.nodes), apart.contradictions) == (2, ())
    many = only([own_sled(f"c{n}", f"SL-000{n}") for n in range(8)])
    (dispute,) = many.contradictions
    assert (len(many.nodes), dispute.text) == (8, "8 parts are told at Quellmark / A / R02 / Sled")


def test_what_one_controller_tells_of_two_parts_stays_two() -> None:
    own = [
        part("Sled", Kind.SLED, "C1-SL01", location=at(enclosure="E1", sled="SLED 2"), part_number="PN-S"),
        part("Tray", Kind.SLED, location=at(enclosure="E1", sled="SLED 1")),
    ]
    parts = manager((1, "C1-SL01"))
    parts[1] = structs.replace(parts[1], identity=structs.replace(parts[1].identity, part_number="PN-S"))
    tree = only([*parts, *own])
    assert sorted(each.dispute for each in tree.contradictions) == [Dispute.LOCATION, Dispute.OCCUPANT]
    assert sorted(len(node.tellers) for node in tree.nodes.values()) == [1, 1, 2]


def test_a_model_told_differently_is_a_contradiction() -> None:
    parts = manager((1, "C1-SL01"))
    parts[1] = structs.replace(parts[1], identity=Identity(serial="C1-SL01", model="Quad"))
    own = sled("c1", 1, drives=0)
    own[0] = structs.replace(own[0], identity=structs.replace(own[0].identity, model="Quad two"))
    (dispute,) = only([*parts, *own]).contradictions
    assert (dispute.dispute, dispute.parts) == (
        Dispute.IDENTITY,
        ("c1:/redfish/v1/Chassis/Sled", "em:/redfish/v1/Chassis/Slot1"),
    )


def test_a_part_told_in_two_containers_is_in_the_inner_one_or_a_contradiction() -> None:
    feed = part("Psu", Kind.POWER_SUPPLY, "PS-00AA", controller="em", parent="Enclosure", part_number="P")
    same = part("Sled/Psu", Kind.POWER_SUPPLY, "PS-00AA", controller="c1", parent="Sled", part_number="P")
    tree = only([*manager((1, "C1-SL01")), feed, *sled("c1", 1, drives=0), same])
    node = next(node for node in tree.nodes.values() if node.identity.serial == "PS-00AA")
    assert node.parent is not None
    assert tree.nodes[node.parent].kind is Kind.SLED
    assert tree.contradictions == ()
    apart = only([*shelf(), structs.replace(feed, parent="em:/redfish/v1/Chassis/Shelf"), *sled("c1", 1), same])
    assert [each.dispute for each in apart.contradictions] == []
    in_shelf = part("Shelf/X", Kind.POWER_SUPPLY, "PS-00AA", controller="shelf", parent="Shelf", part_number="P")
    (dispute,) = only([*shelf(), in_shelf, *sled("c1", 1), same]).contradictions
    assert dispute.dispute is Dispute.CONTAINER


def test_a_serial_number_without_a_part_number_joins_only_what_is_not_elsewhere() -> None:
    here = part("D", Kind.DRIVE, "SAME-1", controller="c1", location=at(sled="S1", enclosure="E1"))
    there = part("D", Kind.DRIVE, "SAME-1", controller="c2", location=at(sled="S2", enclosure="E1"))
    nowhere = part("D", Kind.DRIVE, "SAME-1", controller="c3", location=at())
    assert sorted(len(node.tellers) for node in only([here, there]).nodes.values() if node.tellers) == [1, 1]
    assert sorted(len(node.tellers) for node in only([here, nowhere]).nodes.values() if node.tellers) == [2]


def test_a_host_and_its_blade_share_a_serial_number_and_stay_two() -> None:
    tree = only([*sled("c1", 1), *manager((1, "C1-SL01"))])
    kinds = [node.kind for node in tree.nodes.values() if node.identity.serial == "C1-BL01"]
    assert sorted(kinds) == [Kind.BLADE, Kind.HOST]


@pytest.mark.parametrize("serial", ["N/A", "0000", None])
def test_place_holders_join_nothing(serial: str | None) -> None:
    parts = [part("D", Kind.DRIVE, serial, controller=f"c{n}", location=at(), part_number="P") for n in range(3)]
    assert len(only(parts).nodes) == 3


def test_a_serial_number_that_everyone_tells_joins_nothing() -> None:
    parts = [part("D", Kind.DRIVE, "SAME-1", controller=f"c{n}", location=at(), part_number="P") for n in range(6)]
    tree = only(parts)
    assert len(tree.nodes) == 6
    assert [each.dispute for each in tree.contradictions] == [Dispute.SERIAL]


def test_links_join_nodes_and_what_anyone_tells_is_not_assumed() -> None:
    twice = [*manager((1, "C1-SL01")), *sled("c1", 1), *shelf()]
    blade, own, slot = (
        f"c1:/redfish/v1/Chassis/{name}" if name != "Slot1" else "em:/redfish/v1/Chassis/Slot1"
        for name in ("Blade1", "Sled", "Slot1")
    )
    feed = "shelf:/redfish/v1/Chassis/Shelf"
    links = [
        Link(own, feed, Why.POWERED_BY, assumed=True),
        Link(slot, feed, Why.POWERED_BY),
        Link(blade, own, Why.COOLED_BY),
        Link(own, slot, Why.MANAGED_BY),
        Link(blade, "nobody", Why.POWERED_BY),
    ]
    assert only(twice, links).links == (
        Link(blade, own, Why.COOLED_BY),
        Link(own, feed, Why.POWERED_BY),
    )


def test_racks_are_trees_of_their_own_and_what_has_no_label_is_kept() -> None:
    elsewhere = [
        structs.replace(each, location=structs.replace(each.location, rack="R03")) for each in sled("c2", 1, drives=0)
    ]
    trees = place_trees([*sled("c1", 1), *elsewhere, part("Odd", Kind.OTHER, controller="c9")])
    assert list(trees) == [Place(), RACK, Place("Quellmark", "A", "R03")]
    assert trees[Place()].roots == ("c9:/redfish/v1/Chassis/Odd",)


def test_an_enclosure_whose_sleds_tell_no_rack_is_in_its_managers_rack() -> None:
    bare = [structs.replace(each, location=Location()) for each in sled("c1", 1, drives=0)]
    assert len(only([*manager((1, "C1-SL01")), *bare]).nodes) == 1 + len(bare)


def test_the_simulated_site_is_one_tree_a_rack() -> None:
    """The layout's own words (simulators.site) are what the trees must come to."""
    from simulators.site import Sled, demo_site

    site = demo_site()
    parts: list[Part] = []
    for row in site.rows:
        for rack in row.racks:
            for enclosure in rack.enclosures:
                for each in enclosure.sleds:
                    parts += _of_site(site.name, row.label, rack.label, enclosure.label, each)
    trees = place_trees(parts)
    assert [place.rack for place in trees] == sorted(rack.label for rack in site.racks)
    for rack in site.racks:
        tree = next(tree for place, tree in trees.items() if place.rack == rack.label)
        told = [enclosure for enclosure in rack.enclosures if any(isinstance(each, Sled) for each in enclosure.sleds)]
        assert sorted(tree.nodes[root].name for root in tree.roots) == sorted(enclosure.label for enclosure in told)
        for root in tree.roots:
            enclosure = next(each for each in told if each.label == tree.nodes[root].name)
            inside = [tree.nodes[child].name for child in tree.nodes[root].children]
            assert inside == [each.label for each in enclosure.sleds]
        assert sum(node.kind is Kind.BLADE for node in tree.nodes.values()) == sum(
            len(each.blades) for enclosure in told for each in enclosure.sleds
        )
        assert tree.contradictions == ()


def _of_site(site: str, row: str, rack: str, enclosure: str, sled: object) -> list[Part]:
    from simulators.site import Sled

    if not isinstance(sled, Sled):
        return []
    place = Location(site=site, row=row, rack=rack, offset=float(sled.offset), enclosure=enclosure, sled=sled.label)
    found = [part("Sled", Kind.SLED, sled.serial, controller=sled.name, name=sled.label, location=place)]
    for blade in sled.blades:
        slot = structs.replace(place, slot=blade.slot.label)
        path = f"Blade{blade.number}"
        found.append(part(path, Kind.BLADE, blade.serial, controller=sled.name, parent="Sled", location=slot))
    return found


POOL = [*manager((1, "C1-SL01"), (2, None), (3, "C9-SL01")), *sled("c1", 1), *sled("c2", 2), *shelf()]


@settings(max_examples=60)
@given(st.sets(st.sampled_from(range(len(POOL)))), st.integers())
def test_whatever_is_told_every_part_stands_once_and_the_order_makes_no_difference(chosen: set[int], seed: int) -> None:
    parts = [POOL[each] for each in sorted(chosen)]
    shuffled = list(parts)
    random.Random(seed).shuffle(shuffled)
    trees = place_trees(parts)
    assert place_trees(shuffled) == trees
    told = [teller.id for tree in trees.values() for node in tree.nodes.values() for teller in node.tellers]
    assert sorted(told) == sorted(each.id for each in parts)
    for tree in trees.values():
        reached = [node.id for root in tree.roots for node in tree.within(root)]
        assert sorted(reached) == sorted(tree.nodes)
        for node in tree.nodes.values():
            assert all(tree.nodes[child].parent == node.id for child in node.children)
