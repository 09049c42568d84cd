"""Own trouble apart from contained trouble apart from risk, on any tree a service may claim."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.assess.rollup import Place, Rollup, by_enclosure, by_rack, by_row
from collector.assess.tree import Tree
from collector.model import Health, Kind, Link, Location, Part, PowerState, Rolled, State, Status, Why
from tests.assess.fleet import LINKS, NAME, PARTS, part, pid


def settled(parts: tuple[Part, ...], links: tuple[Link, ...], own: dict[str, Health]) -> dict[str, Rolled]:
    tree = Tree(parts, links)
    rollup = Rollup(tree)
    rollup.update(
        {
            position: (own.get(each.name, Health.OK), int(own.get(each.name, Health.OK) >= Health.WARNING))
            for position, each in enumerate(parts)
        }
    )
    return {part_id.rpartition("/")[2]: rolled for part_id, rolled in rollup.all().items()}


def test_a_dead_shared_fan_puts_blades_at_risk_and_breaks_none() -> None:
    """Issue 4's words: four blades 'at risk through fan 2', not four broken blades."""
    rolled = settled(PARTS, LINKS, {"fan": Health.CRITICAL})
    for blade in ("blade1", "blade2"):
        assert (rolled[blade].own, rolled[blade].worst) == (Health.OK, Health.OK)
        assert rolled[blade].at_risk_through == (pid("fan"),)
        assert rolled[blade].open_conditions == 0
    assert rolled["host1"].at_risk_through == (pid("fan"),), "what a blade carries shares its risk"
    assert (rolled["sled"].own, rolled["sled"].worst) == (Health.OK, Health.CRITICAL)
    assert rolled["sled"].at_risk_through == (), "it contains the fan"
    assert rolled["sled"].open_conditions == 1, "counted once, for all the blades it puts at risk"


def test_what_a_blade_contains_is_its_worst_and_nobody_elses() -> None:
    rolled = settled(PARTS, LINKS, {"drive": Health.WARNING})
    assert (rolled["blade2"].own, rolled["blade2"].worst) == (Health.OK, Health.WARNING)
    assert (rolled["blade1"].worst, rolled["blade1"].at_risk_through) == (Health.OK, ())


def test_a_blade_is_at_risk_when_its_host_is() -> None:
    links = (Link(pid("host1"), pid("fan"), Why.COOLED_BY),)
    rolled = settled(PARTS, links, {"fan": Health.WARNING})
    assert rolled["blade1"].at_risk_through == (pid("fan"),)
    assert rolled["blade2"].at_risk_through == ()


def test_risk_goes_on_through_what_depends_on_what_depends() -> None:
    parts = (part("psu", Kind.POWER_SUPPLY), part("fan", Kind.FAN), part("blade", Kind.BLADE))
    links = (Link(pid("blade"), pid("fan"), Why.COOLED_BY), Link(pid("fan"), pid("psu"), Why.POWERED_BY))
    rolled = settled(parts, links, {"psu": Health.CRITICAL})
    assert rolled["fan"].at_risk_through == (pid("psu"),)
    assert rolled["blade"].at_risk_through == (pid("psu"),)


def test_a_parts_own_trouble_does_not_come_back_to_it_through_what_contains_it() -> None:
    parts = (part("sled", Kind.SLED), part("a", Kind.BLADE, "sled"), part("b", Kind.BLADE, "sled"))
    links = (Link(pid("a"), pid("sled"), Why.POWERED_BY), Link(pid("b"), pid("sled"), Why.POWERED_BY))
    rolled = settled(parts, links, {"a": Health.CRITICAL})
    assert rolled["a"].at_risk_through == rolled["b"].at_risk_through == ()
    rolled = settled(parts, links, {"sled": Health.CRITICAL})
    assert rolled["a"].at_risk_through == rolled["b"].at_risk_through == (pid("sled"),)


def test_unknown_is_not_ok_and_one_known_part_is_known() -> None:
    rolled = settled(PARTS, LINKS, {each.name: Health.UNKNOWN for each in PARTS})
    assert {each.worst for each in rolled.values()} == {Health.UNKNOWN}
    rolled = settled(PARTS, LINKS, {each.name: Health.UNKNOWN for each in PARTS if each.name != "drive"})
    assert (rolled["sled"].own, rolled["sled"].worst) == (Health.UNKNOWN, Health.OK)


def test_circles_are_cut() -> None:
    """redfish-notes.md section 1: 'expect one-sided, duplicate and cyclic links'."""
    parts = (
        part("a", Kind.SLED, "c"),
        part("b", Kind.SLED, "a"),
        part("c", Kind.SLED, "b"),
        part("self", Kind.SLED, "self"),
        part("orphan", Kind.FAN, "nowhere"),
    )
    links = (
        Link(pid("a"), pid("orphan"), Why.COOLED_BY),
        Link(pid("orphan"), pid("a"), Why.POWERED_BY),
        Link(pid("orphan"), pid("orphan"), Why.POWERED_BY),
        Link(pid("nobody"), pid("a"), Why.POWERED_BY),
        Link(pid("a"), pid("nobody"), Why.POWERED_BY),
    )
    tree = Tree(parts, links)
    assert sorted(tree.order) == [0, 1, 2, 3, 4], "everything once"
    rolled = settled(parts, links, {"orphan": Health.CRITICAL})
    assert rolled["a"].at_risk_through == (pid("orphan"),)
    assert rolled["orphan"].at_risk_through == ()


@st.composite
def tangles(draw: st.DrawFn) -> tuple[tuple[Part, ...], tuple[Link, ...], list[dict[int, tuple[Health, int]]]]:
    size = draw(st.integers(1, 12))
    names = [f"p{n}" for n in range(size)]
    parts = tuple(part(name, Kind.BLADE, draw(st.none() | st.sampled_from(names))) for name in names)
    pairs = draw(st.lists(st.tuples(st.sampled_from(names), st.sampled_from(names)), max_size=10))
    links = tuple(Link(pid(one), pid(other), Why.POWERED_BY) for one, other in pairs)
    change = st.dictionaries(
        st.integers(0, size - 1), st.tuples(st.sampled_from(list(Health)), st.integers(0, 3)), max_size=size
    )
    return parts, links, draw(st.lists(change, min_size=1, max_size=6))


@given(tangles())
def test_step_by_step_comes_to_the_same_as_at_once(
    tangle: tuple[tuple[Part, ...], tuple[Link, ...], list[dict[int, tuple[Health, int]]]],
) -> None:
    parts, links, changes = tangle
    tree = Tree(parts, links)
    stepwise = Rollup(tree)
    told: dict[str, Rolled] = {}
    total: dict[int, tuple[Health, int]] = {}
    for change in changes:
        told.update(stepwise.update(change))
        total.update(change)
    at_once = Rollup(Tree(parts, links))
    at_once.update(total)
    assert stepwise.all() == at_once.all()
    unknown = Rolled(own=Health.UNKNOWN, worst=Health.UNKNOWN)
    assert {each.id: told.get(each.id, unknown) for each in parts} == at_once.all(), "the changes told add up"
    assert sum(stepwise.of(root).open_conditions for root in tree.roots) == sum(count for _, count in total.values())
    for position, each in enumerate(parts):
        inside = list(tree.within(position))
        assert stepwise.of(position).worst is max(total.get(at, (Health.UNKNOWN, 0))[0] for at in inside)
        assert each.id not in stepwise.of(position).at_risk_through


def test_a_fan_idles_only_with_all_that_it_cools() -> None:
    tree = Tree(PARTS, LINKS)
    off = Status(state=State.ENABLED, power=PowerState.OFF)
    names = [each.name for each in PARTS]

    def idle(*hosts: str) -> set[str]:
        flags = tree.idle({pid(host): off for host in hosts})
        return {name for name, flag in zip(names, flags, strict=True) if flag}

    assert idle("host1") == {"host1", "blade1"}
    assert idle("host1", "host2") == {"host1", "blade1", "host2", "blade2", "drive", "fan"}
    assert idle("sled") == set(names)


# Beyond controllers


def at(name: str, kind: Kind, parent: str | None, controller: str = NAME, **location: object) -> Part:
    told = part(name, kind, parent)
    return Part(
        id=told.id.replace(NAME, controller),
        controller=controller,
        uri=told.uri,
        kind=kind,
        name=name,
        parent=told.parent and told.parent.replace(NAME, controller),
        location=Location(**location),  # type: ignore[arg-type]
    )


def test_racks_sum_what_different_controllers_tell_and_count_each_thing_once() -> None:
    where = {"site": "S", "row": "A", "rack": "R1"}
    parts = [
        at("e", Kind.ENCLOSURE, None, offset=10.0, enclosure="E1", **where),
        at("s", Kind.SLED, "e", enclosure="E1", **where),
        at("b1", Kind.BLADE, "s"),
        at("b2", Kind.BLADE, "s"),
        at("s", Kind.SLED, None, "n2", offset=4.0, enclosure="E2", **where),
        at("b1", Kind.BLADE, "s", "n2"),
        at("s", Kind.SLED, None, "n3", site="S", row="A", rack="R2"),
    ]
    e, s, b1, b2, s2, b21, s3 = (each.id for each in parts)
    ok = Rolled(own=Health.OK, worst=Health.OK)
    bad = Rolled(own=Health.CRITICAL, worst=Health.CRITICAL, open_conditions=2)
    holds = Rolled(own=Health.OK, worst=Health.CRITICAL, open_conditions=2)
    risky = Rolled(own=Health.OK, worst=Health.OK, at_risk_through=("x",))
    rolled = {e: holds, s: holds, b1: bad, b2: risky, s2: ok, b21: ok}
    racks = by_rack(parts, rolled)
    assert list(racks) == [Place("S", "A", "R1"), Place("S", "A", "R2")]
    one, two = racks.values()
    assert (one.worst, one.open_conditions, one.blades_at_risk) == (Health.CRITICAL, 2, 1)
    assert one.outermost == (s2, e), "lowest first"
    assert {health: count for health, count in one.blades.items() if count} == {Health.CRITICAL: 1, Health.OK: 2}
    assert (two.worst, two.open_conditions, two.outermost) == (Health.UNKNOWN, 0, (s3,))
    enclosures = by_enclosure(parts, rolled)
    assert enclosures[Place("S", "A", "R1", "E1")].open_conditions == 2
    assert enclosures[Place("S", "A", "R1", "E2")].worst is Health.OK
    (row,) = by_row(parts, rolled).values()
    assert (row.place.text, row.open_conditions) == ("S / A", 2)
    assert sum(each.open_conditions for each in enclosures.values()) == row.open_conditions


def test_no_location_is_a_place_too() -> None:
    ((place, health),) = by_rack(PARTS, {}).items()
    assert (place, place.text) == (Place(), "")
    assert health.worst is Health.UNKNOWN


def test_one_shared_fan_is_not_at_risk_through_the_next() -> None:
    """A sled that names its fans and supplies as its own providers puts its blades at risk, not its other providers."""
    names = ("sled", "blade", "fan1", "fan2", "supply")
    kinds = (Kind.SLED, Kind.BLADE, Kind.FAN, Kind.FAN, Kind.POWER_SUPPLY)
    parts = [
        Part(id=name, controller="c", uri=name, kind=kind, name=name, parent=None if name == "sled" else "sled")
        for name, kind in zip(names, kinds, strict=True)
    ]
    links = [
        Link("sled", "fan1", Why.COOLED_BY),
        Link("sled", "fan2", Why.COOLED_BY),
        Link("sled", "supply", Why.POWERED_BY),
    ]
    tree = Tree(parts, links)
    assert [names[position] for position in tree.affected_by(names.index("fan1"))] == ["blade"]
