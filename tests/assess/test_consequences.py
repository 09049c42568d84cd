"""One trouble and what follows from it: folded by dependency, never on mere chance, never in a circle."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.consequences import causes_of, leads_to
from collector.assess.folding import folded
from collector.assess.outages import Outages
from collector.assess.tree import Tree
from collector.assess.watch import Watch
from collector.model import (
    Condition,
    Defect,
    DefectKind,
    Evidence,
    Health,
    Kind,
    Limit,
    Link,
    Location,
    Part,
    PowerState,
    Quantity,
    State,
    Status,
    Subject,
    Thresholds,
    Why,
)
from tests.assess.fleet import (
    FINE,
    HOT,
    LINKS,
    NAME,
    NAN,
    PARTS,
    SLOW,
    bad,
    frame,
    good,
    inventory,
    part,
    pid,
    sensor,
)

INTERVAL = 30.0
DEAD = Status(state=State.ENABLED, health=Health.CRITICAL)
SENSORS = (
    structs.replace(
        sensor("rail1", "blade1", Kind.BLADE, Thresholds(lower_critical=Limit(value=11.4))), quantity=Quantity.VOLTAGE
    ),
    sensor("cpu1", "blade1", Kind.BLADE, HOT),
    sensor("cpu2", "blade2", Kind.BLADE, HOT),
    structs.replace(sensor("speed", "fan", Kind.FAN, SLOW), quantity=Quantity.ROTATION),
)


def watch(**more: object) -> Watch:
    made = Watch(NAME, INTERVAL, **more)  # type: ignore[arg-type]
    made.inventory(inventory(sensors=SENSORS, first=frame(0.0, sensors=SENSORS)), 0.0)
    return made


def tell(watched: Watch, time: float, statuses: dict[str, Status] | None = None, **values: float) -> list[Condition]:
    done = structs.replace(good(time, None, statuses), frame=frame(time, sensors=SENSORS, **values))
    watched.round(done, time)
    return watched._book.all()


def test_a_blade_that_lost_its_12_volts_is_one_condition_with_consequences() -> None:
    """Its input fails, it reports itself Critical, its other sensors fall silent: one cause, the rest under it."""
    watched = watch()
    for number in range(1, 6):
        found = tell(watched, number * INTERVAL, {"blade1": DEAD}, rail1=0.3, cpu1=NAN)
    tops = folded(found)
    assert [each.condition.sensor for each in tops] == ["rail1"]
    assert [each.subject for each in tops[0].consequences] == [Subject.STALE]
    assert all(each.inherited and not each.announced for each in tops[0].consequences)


def test_a_dead_fan_folds_the_heat_of_what_it_cools_and_the_heat_stays_the_blades_own() -> None:
    watched = watch()
    tell(watched, 30.0, {"fan": DEAD}, speed=0.0)
    found = tell(watched, 600.0, {"fan": DEAD}, speed=0.0, cpu1=46.0, cpu2=43.0)
    tops = folded(found)
    assert [(each.condition.part, len(each.consequences)) for each in tops] == [(pid("fan"), 2)]
    assert not any(each.inherited for each in tops[0].consequences), "what is hot is hot, whoever's fault it is"
    rolled = watched._rollup.all()
    assert rolled[pid("blade1")].own is Health.CRITICAL
    assert rolled[pid("blade1")].at_risk_through == (pid("fan"),)


def test_heat_before_the_fan_failed_is_its_own_trouble() -> None:
    watched = watch()
    tell(watched, 30.0, cpu1=46.0)
    found = tell(watched, 3600.0, {"fan": DEAD}, speed=0.0, cpu1=46.0)
    assert all(each.cause is None for each in found)
    assert len(found) == 2


def test_a_sled_that_reports_what_is_wrong_in_it_follows_from_that() -> None:
    watched = watch()
    found = tell(watched, 30.0, {"drive": DEAD, "blade2": structs.replace(DEAD, power=PowerState.ON)})
    tops = folded(found)
    assert [(each.condition.part, len(each.consequences)) for each in tops] == [(pid("drive"), 1)]


def test_a_lost_controller_folds_the_readings_that_fell_silent_just_before() -> None:
    watched = watch()
    for number in range(1, 5):
        found = tell(watched, number * INTERVAL, cpu1=NAN)
    assert [each.subject for each in found] == [Subject.STALE]
    for number in range(5, 7):
        watched.round(bad(number * INTERVAL), number * INTERVAL)
    tops = folded(watched._book.all())
    assert [each.condition.subject for each in tops] == [Subject.CONTROLLER]
    assert [each.subject for each in tops[0].consequences] == [Subject.STALE]


def test_what_recovers_later_than_its_cause_is_announced_only_when_it_stays() -> None:
    watched = watch()
    tell(watched, 30.0, {"fan": DEAD}, speed=0.0)
    tell(watched, 60.0, {"fan": DEAD}, speed=0.0, cpu1=46.0)
    found = tell(watched, 90.0, {"fan": FINE}, cpu1=46.0)
    assert [each.announced for each in found] == [False], "the blade still has to cool down"
    done = structs.replace(good(300.0), frame=frame(300.0, sensors=SENSORS, cpu1=46.0))
    told = watched.round(done, 300.0)
    assert [each.announced for each in told.changed] == [True]
    assert [event.subject for event in told.events] == ["condition announced"]


def test_one_of_two_supplies_explains_no_darkness() -> None:
    """What has another supply without trouble does not follow from the loss of one."""
    supplies = [part("psu1", Kind.POWER_SUPPLY, "sled"), part("psu2", Kind.POWER_SUPPLY, "sled")]
    links = [Link(pid("blade1"), pid(each.name), Why.POWERED_BY) for each in supplies]
    tree = Tree([*PARTS, *supplies], [*LINKS, *links])
    silent = condition("silent", "blade1", Subject.STALE)
    one = [condition("psu1", "psu1"), silent]
    assert causes_of(one, tree, {}, {}, INTERVAL) == {}
    both = [*one, condition("psu2", "psu2")]
    assert causes_of(both, tree, {}, {}, INTERVAL).keys() == {"silent"}


def condition(
    name: str, of: str | None, subject: Subject = Subject.STATUS, at: float = 0.0, **more: object
) -> Condition:
    made = {
        "id": name,
        "controller": NAME,
        "part": None if of is None else pid(of),
        "sensor": None,
        "subject": subject,
        "severity": Health.CRITICAL,
        "text": name,
        "opened": at,
        "changed": at,
        "evidence": (Evidence(time=at, text="", source=f"/redfish/v1/{of}"),),
        **more,
    }
    return Condition(**made)  # type: ignore[arg-type]


PLACE = Location(site="Quellmark", row="A", rack="R02")


def shelf_parts() -> tuple[Part, ...]:
    def made(name: str, kind: Kind, parent: str | None) -> Part:
        top = None if parent is None else f"shelf:/redfish/v1/{parent}"
        return Part(
            id=f"shelf:/redfish/v1/{name}",
            controller="shelf",
            uri=f"/redfish/v1/{name}",
            kind=kind,
            name=name,
            parent=top,
            location=PLACE,
        )

    return (
        made("shelf", Kind.ENCLOSURE, None),
        made("A", Kind.POWER_FEED, "shelf"),
        made("B", Kind.POWER_FEED, "shelf"),
    )


def shelf_walk(**lost: Status):  # type: ignore[no-untyped-def]
    found = inventory(sensors=(), parts=shelf_parts(), links=(), first=frame(0.0, sensors=()))
    fine = {f"shelf:/redfish/v1/{name}": lost.get(name, FINE) for name in ("shelf", "A", "B")}
    return structs.replace(
        found, controller="shelf", layout=structs.replace(found.layout, controller="shelf"), statuses=fine
    )


def test_the_loss_of_all_feeds_of_a_rack_folds_the_sleds_that_went_dark() -> None:
    outages = Outages()
    shelf = Watch("shelf", INTERVAL, outages=outages, location=PLACE)
    sled, elsewhere = (watch(outages=outages, location=at) for at in (PLACE, structs.replace(PLACE, rack="R03")))
    shelf.inventory(shelf_walk(), 0.0)
    shelf.inventory(shelf_walk(A=DEAD), 30.0)
    for time in (30.0, 60.0):
        sled.round(bad(time), time)
        elsewhere.round(bad(time), time)
    assert [each.cause for each in sled._book.all()] == [None], "the other feed carries it: something else is wrong"
    shelf.inventory(shelf_walk(A=DEAD, B=DEAD), 60.0)
    for one in (sled, elsewhere):
        one.round(bad(90.0), 90.0)
    assert next(each.cause for each in sled._book.all()) in {each.id for each in shelf._book.all()}
    assert [each.cause for each in elsewhere._book.all()] == [None], "another rack"
    shelf.inventory(shelf_walk(), 300.0)
    sled.round(bad(330.0), 330.0)
    sled.round(bad(600.0), 600.0)
    assert [each.cause for each in sled._book.all()] == [None], "power is back and it still is not"


names = [each.name for each in PARTS]
some = st.builds(
    condition,
    st.integers(0, 30).map(str),
    st.none() | st.sampled_from([*names, "unknown"]),
    st.sampled_from(list(Subject)),
    st.floats(-500.0, 500.0) | st.just(NAN),
    severity=st.sampled_from([Health.WARNING, Health.CRITICAL]),
)
links = st.builds(Link, st.sampled_from(names).map(pid), st.sampled_from(names).map(pid), st.sampled_from(list(Why)))
loops = st.lists(links, max_size=12)


@given(st.lists(some, max_size=12, unique_by=lambda each: each.id), loops)
def test_causes_never_lead_in_a_circle(conditions: list[Condition], links: list[Link]) -> None:
    """Whatever links a service tells, loops too: every consequence leads to a cause that stands by itself."""
    found = causes_of(conditions, Tree(PARTS, links), {}, {}, INTERVAL)
    known = {each.id for each in conditions}
    for each, cause in found.items():
        assert cause.id in known
        assert cause.id != each
        assert not leads_to(found, cause.id, each)
    marked = [structs.replace(each, cause=found[each.id].id if each.id in found else None) for each in conditions]
    told = folded(marked)
    assert sum(1 + len(each.consequences) for each in told) == len(conditions), "each once"


def test_wrong_is_told_apart_from_stale() -> None:
    watched = watch()
    wrong = Defect(
        controller=NAME,
        resource="/redfish/v1/blade1/Sensors/cpu1",
        property="/Reading",
        kind=DefectKind.OUT_OF_RANGE,
        detail="900 is out of 0 to 150",
    )
    first = structs.replace(good(30.0), frame=frame(30.0, sensors=SENSORS, cpu1=NAN, cpu2=NAN), defects=(wrong,))
    watched.round(first, 30.0)
    for number in range(2, 5):
        found = tell(watched, number * INTERVAL, cpu1=NAN, cpu2=NAN)
    assert {(each.subject, each.part) for each in found} == {
        (Subject.WRONG, pid("blade1")),
        (Subject.STALE, pid("blade2")),
    }
    told = next(each for each in found if each.subject is Subject.WRONG)
    assert "900 is out of 0 to 150" in told.evidence[0].text
    assert tell(watched, 300.0) == []
