"""What holds of a watch whatever happens: any readings, statuses, outages, walks and restarts in any order."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.assess.chatter import ROUNDS
from collector.assess.watch import Watch
from collector.model import (
    Assessment,
    Condition,
    Frame,
    Health,
    Inventory,
    Lamps,
    Outcome,
    PowerState,
    Rolled,
    State,
    Status,
    Subject,
)
from tests.assess.fleet import LINKS, NAME, NAN, PARTS, SENSORS, STATUSES, bad, frame, good, inventory, pid

INTERVAL = 30.0

values = st.fixed_dictionaries(
    {},
    optional={
        "inlet": st.sampled_from([25.0, 43.0, 46.0, NAN]),
        "speed": st.sampled_from([4000.0, 900.0, 0.0, NAN]),
        "cpu1": st.sampled_from([40.0, 43.0, 46.0, NAN]),
        "rail1": st.sampled_from([12.0, 11.0, 0.0, NAN]),
        "cpu2": st.sampled_from([40.0, 46.0, NAN]),
        "drive_temperature": st.sampled_from([30.0, 43.0, NAN]),
    },
)
healths = st.dictionaries(st.sampled_from([each.sensor for each in SENSORS]), st.sampled_from(list(Health)), max_size=3)
status = st.builds(
    Status,
    state=st.sampled_from([State.ENABLED, State.ABSENT, State.UNAVAILABLE_OFFLINE, State.DISABLED, State.UNKNOWN]),
    health=st.sampled_from(list(Health)),
    power=st.sampled_from([PowerState.ON, PowerState.OFF, PowerState.UNKNOWN]),
    failure_predicted=st.sampled_from([None, False, True]),
    locate=st.sampled_from([None, True]),
)
statuses = st.dictionaries(st.sampled_from(sorted(STATUSES)), status, max_size=3)
rounds = st.tuples(st.just("round"), values, healths, statuses)
walks = st.tuples(st.just("walk"), st.sets(st.sampled_from(["fan", "drive", "bmc", "host1"]), max_size=2))
outages = st.tuples(st.just("outage"), st.sampled_from([Outcome.UNREACHABLE, Outcome.MALFORMED]))
restarts = st.tuples(st.just("restart"))
steps = st.lists(st.one_of(rounds, rounds, rounds, outages, walks, restarts), max_size=25)


class Follower:
    """What the store would hold: built from nothing but what the assessments tell."""

    def __init__(self) -> None:
        self.open: dict[str, Condition] = {}
        self.rolled: dict[str, Rolled] = {}
        self.lamps: dict[str, Lamps] = {}

    def take(self, told: Assessment) -> None:
        for condition in told.opened:
            assert condition.id not in self.open, "opened twice"
            assert condition.closed is None
            assert condition.opened <= told.time
            self.open[condition.id] = condition
        for condition in told.changed:
            assert condition.id in self.open, "changed but never opened"
            assert condition.opened == self.open[condition.id].opened
            self.open[condition.id] = condition
        for condition in told.closed:
            assert condition.id in self.open, "closed but not open"
            assert condition.closed == told.time
            del self.open[condition.id]
        for condition in (*told.opened, *told.changed, *told.closed):
            assert condition.severity >= Health.WARNING
            assert 1 <= len(condition.evidence) <= 8
            assert condition.text
        assert len({each.id for each in (*told.opened, *told.changed, *told.closed)}) == (
            len(told.opened) + len(told.changed) + len(told.closed)
        ), "each at most once a round"
        self.rolled.update(told.rolled)
        self.lamps.update(told.lamps)


class Play:
    """One controller and its watch, and what was true at the end of each step."""

    def __init__(self) -> None:
        self.time = 0.0
        self.parts = PARTS
        self.sensors = SENSORS
        self.statuses = dict(STATUSES)
        self.newest: Frame = frame(0.0)
        self.failures = 0
        self.follower = Follower()
        self.watch = Watch(NAME, INTERVAL)
        self.follower.take(self.watch.inventory(self.walked(), 0.0))

    def walked(self) -> Inventory:
        here = {each.name for each in self.parts}
        told = {name: status for name, status in self.statuses.items() if name in here}
        found = inventory(self.time, parts=self.parts, links=LINKS, sensors=self.sensors, first=self.newest)
        found.statuses.clear()
        found.statuses.update({pid(name): status for name, status in told.items()})
        return found

    def do(self, step: tuple[Any, ...]) -> None:
        self.time += INTERVAL
        match step:
            case ("round", told, ill, changed):
                self.newest = frame(self.time, ill, self.sensors, **told)
                here = {each.name for each in self.parts}
                changed = {name: status for name, status in changed.items() if name in here}
                self.statuses.update(changed)
                done = good(self.time, ill, changed)
                done.frame.values, done.frame.healths = self.newest.values, self.newest.healths
                self.failures = 0
                self.follower.take(self.watch.round(done, self.time))
            case ("outage", outcome):
                self.failures += 1
                told = self.watch.round(bad(self.time, outcome), self.time)
                assert {each.subject for each in told.opened} <= {Subject.CONTROLLER}
                for each in told.changed:  # of others only from what they follow
                    before = self.follower.open[each.id]
                    same = (each.severity, each.text, each.evidence) == (before.severity, before.text, before.evidence)
                    assert same or each.subject is Subject.CONTROLLER
                assert told.closed == ()
                self.follower.take(told)
            case ("walk", without):
                self.walk(without)
            case ("restart",):
                self.restart()

    def walk(self, without: set[str]) -> None:
        self.parts = tuple(each for each in PARTS if each.name not in without)
        here = {each.id for each in self.parts}
        self.sensors = tuple(each for each in SENSORS if each.part in here)
        self.newest = frame(self.time, sensors=self.sensors)
        self.failures = 0
        self.follower.take(self.watch.inventory(self.walked(), self.time))

    def restart(self) -> None:
        """The same goes on: whatever a new watch finds as it was is neither opened nor closed."""
        again = Watch(NAME, INTERVAL, list(self.follower.open.values()))
        told = again.inventory(self.walked(), self.time)
        assert not told.opened, [each.text for each in told.opened]
        assert {each.subject for each in told.closed} <= {Subject.CONTROLLER}, [each.text for each in told.closed]
        self.watch, self.failures = again, 0
        self.follower.take(told)

    def check(self) -> None:
        """What the follower holds is consistent in itself."""
        rolled, is_open = self.follower.rolled, self.follower.open
        contact = [each for each in is_open.values() if each.subject is Subject.CONTROLLER]
        lost = self.failures >= 2
        assert contact or not lost
        assert lost or all(each.raised >= 3 for each in contact), "without being lost only what comes and goes is held"
        assert rolled[pid("sled")].open_conditions == len(is_open), "each counted once"
        for condition in is_open.values():
            if condition.part is not None and any(each.id == condition.part for each in self.parts):
                assert condition.inherited or rolled[condition.part].own >= condition.severity
        for each in self.parts:
            mine = [condition for condition in is_open.values() if condition.part == each.id]
            if lost and not mine and each.name not in ("bmc", "sled"):
                assert rolled[each.id].own is Health.UNKNOWN, "never OK while nobody can know"
            if not mine and not is_open:
                assert rolled[each.id].own < Health.WARNING
            assert rolled[each.id].worst >= rolled[each.id].own
            inside = [rolled[child.id].worst for child in self.parts if child.parent == each.id]
            assert rolled[each.id].worst == max([rolled[each.id].own, *inside])
        if not is_open:
            assert all(not rolled[each.id].at_risk_through for each in self.parts)


@settings(max_examples=100, deadline=None)
@given(steps)
def test_whatever_happens(story: list[tuple[Any, ...]]) -> None:
    play = Play()
    play.check()
    for step in story:
        play.do(step)
        play.check()


@settings(max_examples=60, deadline=None)
@given(steps)
def test_everything_ends_well_when_everything_is_well(story: list[tuple[Any, ...]]) -> None:
    """After any story, a full walk and good rounds for as long as it takes to be steady leave nothing open."""
    play = Play()
    for step in story:
        play.do(step)
    play.statuses = dict(STATUSES)
    play.time += INTERVAL
    play.walk(set())
    for _ in range(2):
        play.do(("round", {}, {}, dict(STATUSES)))
    assert all(each.raised >= 3 for each in play.follower.open.values()), "only what comes and goes is held"
    play.time += 2 * ROUNDS * INTERVAL
    for _ in range(2):
        play.do(("round", {}, {}, dict(STATUSES)))
    assert play.follower.open == {}
    assert {rolled.worst for rolled in play.follower.rolled.values()} <= {Health.OK, Health.UNKNOWN}
    assert all(not play.follower.rolled[each.id].at_risk_through for each in PARTS)
    assert play.watch.round(good(play.time + INTERVAL), play.time + INTERVAL).empty
