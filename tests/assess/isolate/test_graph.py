"""The graph and bad input: missing links, circles, contradictions, unknown kinds. A weaker answer, a note, no crash."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.isolate import Isolation
from collector.assess.isolate.failures import ANY, KNOWN, SENSOR, leak, modes_of
from collector.assess.isolate.graph import Graph
from collector.assess.isolate.sheet import Sheet
from collector.assess.isolate.words import Where
from collector.model import DefectKind, Inventory, Kind, Link, Observation, Sign, Why
from tests.assess.isolate.kit import Bench, pid, sign, sled, visible_of


def test_relations() -> None:
    sheet = Sheet(sled())

    def near(path: str, where: Where) -> set[str]:
        return {id.rpartition("/")[2] for id in sheet.near(pid("s1", path), where)}

    assert near("Cpu1", Where.HOLDERS) == {"Host1", "Blade1", "Sled"}
    assert near("Cpu1", Where.BLADE) == {"Blade1"}
    assert near("Cpu1", Where.SLED) == {"Sled"}
    assert near("Cpu1", Where.CONTROLLER) == {"Bmc"}
    assert near("Fan1", Where.PEERS) == {"Fan2", "Fan3", "Fan4"}
    assert near("Psu1", Where.FED) == {"Blade1", "Blade2", "Blade3", "Blade4"}
    assert near("Psu1", Where.ONLY_FED) == set()
    assert near("Net", Where.INSIDE) == {"Port1", "Port2"}
    assert len(near("Drive3-1", Where.AROUND)) == len(sheet.parts)
    assert near("Nowhere", Where.AROUND) == set()


def test_a_supply_without_another_beside_it_is_alone() -> None:
    inventory = sled()
    links = tuple(link for link in inventory.links if not link.on.endswith("Psu2"))
    sheet = Sheet(structs.replace(inventory, links=links))
    assert len(sheet.near(pid("s1", "Psu1"), Where.ONLY_FED)) == 4


def test_the_model_is_sound() -> None:
    for modes in (*KNOWN.values(), ANY, SENSOR):
        assert len({mode.name for mode in modes}) == len(modes)
        for mode in modes:
            assert 0 < mode.prior(168.0) < 0.2
            assert mode.shows
            assert mode.remedy
            for show in mode.shows:
                assert leak(show.sign) < show.chance < 1
    for kind in Kind:
        assert modes_of(kind, has_sensor=True) or kind in (Kind.PORT, Kind.RACK)


def test_nothing_is_blamed_that_nobody_replaces() -> None:
    inventory = sled()
    bench = Bench(inventory)
    bench.see("s1", sign(inventory, "Net/Port1", Sign.LINK_DOWN), sign(inventory, "Host1", Sign.UNSTEADY))
    bench.settle()
    for trouble in bench.open:
        for suspect in trouble.suspects:
            assert suspect.kind not in (Kind.HOST, Kind.PORT) or suspect.part.startswith("~")


def test_what_can_not_be_so_is_noted() -> None:
    inventory = sled()
    fan, blade = pid("s1", "Fan1"), pid("s1", "Blade1")
    parts = tuple(
        structs.replace(part, parent=pid("s1", "Blade1"))
        if part.id == pid("s1", "Sled")
        else structs.replace(part, parent="s1:/nowhere")
        if part.id == fan
        else part
        for part in inventory.parts
    )
    links = (*inventory.links, Link(fan, "s1:/gone", Why.POWERED_BY), Link(fan, blade, Why.COOLED_BY))
    odd = structs.replace(inventory, parts=parts, links=links)
    bench = Bench(odd)
    bench.see("s1", sign(odd, "Fan1", Sign.STANDS), sign(odd, "Cpu2", Sign.HOT))
    bench.settle()
    assert {part for part, _ in bench.firsts()} >= {fan}
    kinds = [note.kind for note in bench.isolation.notes_of("s1")]
    assert kinds.count(DefectKind.LINK_LOOP) >= 2  # the sled inside its blade; fan and blade cool each other
    assert kinds.count(DefectKind.DANGLING_LINK) >= 2


def test_controllers_that_contradict_each_other_are_noted() -> None:
    one = sled("a")
    name = structs.replace(one.parts[0].location, enclosure="E1", sled="SLED 1")
    mine = structs.replace(one, parts=tuple(structs.replace(part, location=name) for part in one.parts))
    other = sled("b")
    theirs = structs.replace(other, parts=tuple(structs.replace(part, location=name) for part in other.parts))
    bench = Bench(mine, theirs)
    bench.see("a", sign(mine, "Sled", Sign.UNBALANCED))
    bench.settle()
    assert len(bench.open) == 1
    for name in ("a", "b"):
        assert [note.kind for note in bench.isolation.notes_of(name)] == [DefectKind.CONTRADICTION]


def test_unknown_kinds_get_a_weaker_answer() -> None:
    inventory = sled()
    parts = tuple(structs.replace(part, kind=Kind.OTHER) for part in inventory.parts)
    odd = structs.replace(inventory, parts=parts, links=())
    bench = Bench(odd)
    bench.see("s1", sign(odd, "Fan1", Sign.FAULTY))
    bench.settle()
    (trouble,) = bench.open
    assert trouble.suspects[0].fault == "has failed in a way not known"
    assert trouble.suspects[0].probability < 0.95


def test_a_walk_that_says_the_same_recompiles_nothing() -> None:
    graph = Graph()
    assert graph.take(sled())
    assert not graph.take(sled())
    assert graph.take(sled(enclosure="E2"))


SIGNS = st.sampled_from(list(Sign))


@st.composite
def rubbish(draw: st.DrawFn) -> tuple[Inventory, list[Observation]]:
    """A sled with parts that stand anywhere, links that lead anywhere, and signs of anything."""
    inventory = sled()
    ids = [part.id for part in inventory.parts] + ["s1:/nowhere", ""]
    some = st.sampled_from(ids)
    parts = tuple(
        structs.replace(part, parent=draw(st.one_of(st.none(), some)), kind=draw(st.sampled_from(list(Kind))))
        if draw(st.integers(0, 4)) == 0
        else part
        for part in inventory.parts
    )
    links = tuple(
        Link(draw(some), draw(some), draw(st.sampled_from(list(Why)))) for _ in range(draw(st.integers(0, 12)))
    )
    seen = [
        Observation(
            controller="s1",
            part=draw(some),
            sign=draw(SIGNS),
            since=draw(st.floats(-1e12, 1e12)),
            weight=draw(st.floats(0.0, 1.0)),
            text="x",
        )
        for _ in range(draw(st.integers(0, 10)))
    ]
    return structs.replace(inventory, parts=parts, links=(*inventory.links, *links)), seen


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(rubbish())
def test_rubbish_is_borne(case: tuple[Inventory, list[Observation]]) -> None:
    inventory, seen = case
    isolation = Isolation()
    visible = visible_of(inventory)
    isolation.inventory(inventory, visible, 0.0)
    for now in (30.0, 400.0):
        isolation.observe("s1", seen, visible, True, now)
        for trouble in isolation.solve(now):
            assert 0.0 <= trouble.unexplained <= 1.0
            assert all(0.0 <= suspect.probability <= 1.0 for suspect in trouble.suspects)
            assert trouble.suspects
    isolation.observe("s1", [], visible, True, 500.0)
    isolation.solve(500.0)
    isolation.solve(5000.0)
    assert isolation.open == ()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rubbish(), st.randoms(use_true_random=False))
def test_the_order_of_signs_makes_no_difference(case: tuple[Inventory, list[Observation]], random: object) -> None:
    inventory, seen = case
    unique = list({each.key: each for each in seen}.values())
    turned = list(unique)
    random.shuffle(turned)  # type: ignore[attr-defined]
    answers = []
    for order in (unique, turned):
        isolation = Isolation()
        isolation.inventory(inventory, visible_of(inventory), 0.0)
        isolation.observe("s1", order, visible_of(inventory), True, 0.0)
        answers.append({(t.id, t.suspects[0].part, round(t.suspects[0].probability, 9)) for t in isolation.solve(0.0)})
    assert answers[0] == answers[1]


def test_who_was_at_the_other_end_is_remembered_when_the_link_is_gone() -> None:
    graph = Graph()
    port = ("s1", pid("s1", "Net/Port1"))
    graph.take(sled(switch="02:00:00:00:00:01"))
    assert not graph.take(sled())
    assert graph.switch_of(port) == "02:00:00:00:00:01"
    assert graph.take(sled(switch="02:00:00:00:00:02"))
    assert graph.switch_of(port) == "02:00:00:00:00:02"
    assert {node.id for node in graph.switch_nodes("02:00:00:00:00:02")} >= {"~02:00:00:00:00:02/s1-1"}
