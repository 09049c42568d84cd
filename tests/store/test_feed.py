"""Followers: order, bounds, and no state lost by merging."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as trying
from hypothesis import strategies as st

from collector.model import (
    Assessment,
    Condition,
    Defect,
    DefectKind,
    Health,
    Lamps,
    LampState,
    Outcome,
    Part,
    Rolled,
    Round,
    Status,
    Update,
)
from collector.store.feed import Feed, Subscription, SubscriptionClosed
from collector.store.live import Live
from collector.store.merge import EVENTS_KEPT, merged
from tests.store.invented import (
    NOON,
    assessed,
    condition,
    done,
    event,
    frame,
    inventory,
    part,
    sensor,
    settings,
    walk,
)


def drained(subscription: Subscription) -> list[Update]:
    found = []
    while (update := subscription.get_nowait()) is not None:
        found.append(update)
    return found


async def test_every_follower_gets_every_update_in_order() -> None:
    feed = Feed()
    one, two = feed.subscribe("one"), feed.subscribe("two")
    updates = [walk("c1", NOON), done("c2", NOON), done("c1", NOON + 1)]
    for update in updates:
        feed.publish(update)
    assert [await one.get() for _ in range(3)] == updates
    assert drained(two) == updates
    assert feed.statistics().published == 3
    assert [(each.name, each.delivered, each.merged) for each in feed.statistics().subscriptions] == [
        ("one", 3, 0),
        ("two", 3, 0),
    ]


async def test_a_follower_waits_for_the_next_update() -> None:
    feed = Feed()
    subscription = feed.subscribe("one")

    async def follow() -> list[str]:
        return [update.controller async for update in subscription]

    following = asyncio.create_task(follow())
    for name in ("c1", "c2"):
        await asyncio.sleep(0)
        feed.publish(done(name, NOON))
    await asyncio.sleep(0)
    feed.close()
    assert await following == ["c1", "c2"]


async def test_what_waits_at_closing_can_still_be_fetched() -> None:
    feed = Feed()
    async with feed.subscribe("one") as subscription:
        feed.publish(done("c1", NOON))
    feed.publish(done("c2", NOON))
    subscription.close()
    assert (await subscription.get()).controller == "c1"
    with pytest.raises(SubscriptionClosed):
        await subscription.get()
    assert feed.statistics().subscriptions == ()


async def test_a_slow_follower_is_bounded_and_slows_nobody() -> None:
    feed = Feed()
    slow, quick = feed.subscribe("slow", 4), feed.subscribe("quick", 10_000)
    for step in range(1000):
        for name in ("c1", "c2", "c3"):
            feed.publish(done(name, NOON + step, float(step)))
    assert slow.statistics().queued <= 4 + 3
    assert slow.statistics().merged == 3000 - slow.statistics().queued
    assert len(drained(quick)) == 3000
    newest = {update.controller: update for update in drained(slow)}
    for update in newest.values():
        assert update.round is not None
        assert update.round.frame is not None
        assert update.round.frame.values[0] == 999.0


async def test_a_full_queue_still_takes_a_controller_of_which_nothing_waits() -> None:
    subscription = Feed().subscribe("one", 1)
    for name in ("c1", "c2", "c1", "c2", "c3"):
        subscription.add(done(name, NOON))
    assert [update.controller for update in drained(subscription)] == ["c1", "c2", "c3"]
    subscription.add(done("c1", NOON))  # nothing of what was fetched is merged into
    assert len(drained(subscription)) == 1


async def test_starting_over_drops_what_waits() -> None:
    subscription = Feed().subscribe("one", 1)
    subscription.add(done("c1", NOON))
    subscription.clear()
    subscription.add(done("c1", NOON + 1, 1.0))
    (update,) = drained(subscription)
    assert update.round is not None
    assert update.round.finished == NOON + 1


def test_a_subscription_holds_at_least_one() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        Feed().subscribe("none", 0)


# --- merging ------------------------------------------------------------------------------------------------------


def test_a_round_without_readings_keeps_the_readings_before() -> None:
    lost = done("c1", NOON + 30, outcome=Outcome.TIMED_OUT, error="too slow")
    both = merged(done("c1", NOON, 5.0), lost).round
    assert both is not None
    assert both.frame is not None
    assert (both.frame.values[0], both.outcome, both.error) == (5.0, Outcome.TIMED_OUT, "too slow")


def test_events_are_all_told_up_to_a_bound() -> None:
    first = assessed("c1", events=tuple(event("c1", NOON + n) for n in range(EVENTS_KEPT)))
    second = assessed("c1", events=tuple(event("c1", NOON + EVENTS_KEPT + n) for n in range(5)))
    both = merged(first, second).assessment
    assert both is not None
    assert [told.time - NOON for told in both.events] == list(range(5, EVENTS_KEPT + 5))


def test_a_condition_that_came_and_went_is_told_as_gone() -> None:
    opened, closed = condition("c1"), condition("c1", closed=NOON + 9)
    both = merged(assessed("c1", opened=(opened,)), assessed("c1", closed=(closed,))).assessment
    assert both is not None
    assert (both.opened, both.changed, both.closed) == ((), (), (closed,))
    again = condition("c1", opened=NOON + 20)
    both = merged(Update(controller="c1", assessment=both), assessed("c1", opened=(again,))).assessment
    assert both is not None
    assert (both.opened, both.closed) == ((again,), ())


PARTS = [part("c1", name) for name in ("A", "B", "C")]
UNHURRIED = trying(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""Not by the wall's clock: the machine may be busy."""

healths = st.sampled_from(list(Health))
lamp_states = st.sampled_from(list(LampState))


@st.composite
def histories(draw: st.DrawFn) -> list[Update]:
    """Updates as a keeper and a watch would give them: only of parts that the newest walk found.

    As ``collector.assess.rollup`` and ``fronts`` do, a part that a walk finds anew, or again, is told with that walk.
    """
    parts: Sequence[Part] = PARTS
    updates = []
    open_now: dict[str, Condition] = {}
    for step in range(draw(st.integers(1, 10))):
        time = NOON + step
        walked = None
        before = set() if step == 0 else {each.id for each in parts}
        if step == 0 or draw(st.integers(0, 3)) == 0:
            parts = draw(st.lists(st.sampled_from(PARTS), min_size=1, unique_by=lambda each: each.id))
            walked = inventory(
                "c1",
                time,
                sensor("c1", f"s{step}"),
                parts=tuple(parts),
                statuses={each.id: Status(health=draw(healths)) for each in parts if draw(st.booleans())},
                defects=tuple(defect(draw) for _ in range(draw(st.integers(0, 2)))),
            )
        ids = [each.id for each in parts]
        some = st.lists(st.sampled_from(ids), unique=True)
        appeared = [each for each in ids if walked is not None and each not in before]
        polled = None
        if draw(st.booleans()):
            polled = Round(
                controller="c1",
                started=time,
                finished=time,
                outcome=draw(st.sampled_from(list(Outcome))),
                frame=frame(time, float(step)) if draw(st.booleans()) else None,
                statuses={each: Status(health=draw(healths)) for each in draw(some)},
                defects=tuple(defect(draw) for _ in range(draw(st.integers(0, 2)))),
            )
        updates.append(
            Update(
                controller="c1",
                inventory=walked,
                round=polled,
                assessment=assessment(draw, time, [*appeared, *draw(some)], open_now)
                if appeared or draw(st.booleans())
                else None,
            )
        )
    return updates


def defect(draw: st.DrawFn) -> Defect:
    where = draw(st.sampled_from(["/x", "/y"]))
    return Defect(
        controller="c1",
        resource=where,
        property="",
        kind=DefectKind.MISSING,
        detail=draw(st.sampled_from(["first", "second"])),
    )


def assessment(draw: st.DrawFn, time: float, ids: list[str], open_now: dict[str, Condition]) -> Assessment:
    steps: dict[str, list[Condition]] = {"opened": [], "changed": [], "closed": []}
    for name in ("a", "b"):
        key = condition("c1", name).id
        move = draw(st.sampled_from(["opened", "closed", "changed", "nothing"]))
        if move == "opened" and key not in open_now:
            open_now[key] = condition("c1", name, time)
            steps[move].append(open_now[key])
        elif move == "changed" and key in open_now:
            open_now[key] = condition("c1", name, open_now[key].opened, severity=draw(healths))
            steps[move].append(open_now[key])
        elif move == "closed" and key in open_now:
            steps[move].append(condition("c1", name, open_now.pop(key).opened, closed=time))
    return Assessment(
        controller="c1",
        time=time,
        opened=tuple(steps["opened"]),
        changed=tuple(steps["changed"]),
        closed=tuple(steps["closed"]),
        rolled={each: Rolled(own=draw(healths), worst=draw(healths)) for each in ids},
        lamps={each: Lamps(draw(lamp_states), draw(lamp_states)) for each in ids},
    )


def seen(updates: Sequence[Update]) -> tuple[object, ...]:
    """What a follower knows after these updates."""
    live = Live(settings("c1"))
    for update in updates:
        live.apply(update)
    known = live.controllers["c1"]
    return (
        known.inventory and (known.inventory.time, known.inventory.parts, known.inventory.layout),
        known.frame and (known.frame.time, known.frame.values),
        known.statuses,
        known.rolled,
        known.lamps,
        known.conditions,
        known.defects,
    )


@UNHURRIED
@given(histories(), st.data())
def test_merging_any_stretch_leaves_a_follower_where_it_would_have_been(
    updates: list[Update], data: st.DataObject
) -> None:
    begin = data.draw(st.integers(0, len(updates) - 1))
    end = data.draw(st.integers(begin, len(updates) - 1))
    one = updates[begin]
    for update in updates[begin + 1 : end + 1]:
        one = merged(one, update)
    assert seen([*updates[:begin], one, *updates[end + 1 :]]) == seen(updates)


@UNHURRIED
@given(histories())
def test_a_snapshot_tells_a_new_follower_everything(updates: list[Update]) -> None:
    live = Live(settings("c1"))
    for update in updates:
        live.apply(update)
    assert seen([live.snapshot("c1")]) == seen(updates)
