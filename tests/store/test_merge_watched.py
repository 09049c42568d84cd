"""Merged updates as the assessment really makes them: parts vanish and come back, and none keeps what was."""

from __future__ import annotations

from hypothesis import HealthCheck, given
from hypothesis import settings as trying
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.watch import Watch
from collector.model import Health, Inventory, Part, PowerState, Round, State, Status, Update
from collector.store.live import Live
from collector.store.merge import merged
from tests.assess.fleet import LINKS, NAME, PARTS, SENSORS, STATUSES, good, inventory
from tests.store.invented import settings

FIRM = {"sled"}
"""All else may vanish."""
_STATUSES = st.builds(
    Status,
    state=st.sampled_from([State.ENABLED, State.ABSENT, State.UNKNOWN]),
    health=st.sampled_from(list(Health)),
    power=st.sampled_from([PowerState.ON, PowerState.OFF]),
    locate=st.sampled_from([None, True, False]),
)
_SOME = st.dictionaries(st.sampled_from([part.name for part in PARTS]), _STATUSES, max_size=3)
_STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("walk"), st.frozensets(st.sampled_from([part.name for part in PARTS])), _SOME),
        st.tuples(st.just("round"), st.just(frozenset[str]()), _SOME),
    ),
    min_size=1,
    max_size=8,
)


def there(gone: frozenset[str]) -> tuple[Part, ...]:
    """The parts that a walk finds: what stands in a part that has gone has gone with it."""
    lost = set(gone - FIRM)
    found = []
    for part in PARTS:
        holder = "" if part.parent is None else part.parent.rpartition("/")[2]
        if part.name in lost or holder in lost:
            lost.add(part.name)
        else:
            found.append(part)
    return tuple(found)


def updates(steps: list[tuple[str, frozenset[str], dict[str, Status]]]) -> list[Update]:
    """What the watch makes of a history, after a first walk."""
    watch = Watch(NAME, 60.0)
    made = []
    names = {part.name for part in PARTS}
    for number, (what, gone, statuses) in enumerate([("walk", frozenset[str](), {}), *steps]):
        now = 60.0 * number
        if what == "walk":
            parts = there(gone)
            names = {part.name for part in parts}
            told = {part.name: statuses.get(part.name, STATUSES[part.name]) for part in parts}
            ids = {part.id for part in parts}
            links = [link for link in LINKS if link.part in ids and link.on in ids]
            sensors = [one for one in SENSORS if one.part.rpartition("/")[2] in names]
            walked = inventory(now, parts=parts, links=links, sensors=sensors, statuses=told)
            walked = _only(walked, names)
            made.append(Update(controller=NAME, inventory=walked, assessment=watch.inventory(walked, now)))
        else:
            told = {name: status for name, status in statuses.items() if name in names}
            done = _without_frame(good(now, statuses=told))
            made.append(Update(controller=NAME, round=done, assessment=watch.round(done, now)))
    return made


def _only(walked: Inventory, names: set[str]) -> Inventory:
    statuses = {part: status for part, status in walked.statuses.items() if part.rpartition("/")[2] in names}
    return structs.replace(walked, statuses=statuses)


def _without_frame(done: Round) -> Round:
    return structs.replace(done, frame=None)


def seen(told: list[Update]) -> tuple[object, ...]:
    live = Live(settings(NAME))
    for update in told:
        live.apply(update)
    known = live.controllers[NAME]
    return known.rolled, known.lamps, known.statuses, known.conditions


def test_old_lamps_do_not_come_back_with_their_part() -> None:
    """As hypothesis found it: the blade comes back absent, and of the front of what is absent nothing is told."""
    told = updates([("walk", frozenset({"blade2"}), {}), ("walk", frozenset(), {"blade2": Status(state=State.ABSENT)})])
    blade = PARTS[5].id
    known = Live(settings(NAME))
    known.apply(told[0])
    assert blade in known.controllers[NAME].lamps
    known.apply(merged(told[1], told[2]))
    assert blade not in known.controllers[NAME].lamps


@trying(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_STEPS, st.data())
def test_no_rollup_of_a_part_that_came_back_is_of_old(
    steps: list[tuple[str, frozenset[str], dict[str, Status]]], data: st.DataObject
) -> None:
    told = updates(steps)
    begin = data.draw(st.integers(0, len(told) - 1))
    end = data.draw(st.integers(begin, len(told) - 1))
    one = told[begin]
    for update in told[begin + 1 : end + 1]:
        one = merged(one, update)
    assert seen([*told[:begin], one, *told[end + 1 :]]) == seen(told)
