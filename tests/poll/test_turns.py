"""GETs that take turns: what that saves, and what it must never cost."""

from __future__ import annotations

import math
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.model import Health, Kind, Location, Outcome, Quantity, Round, Sensor, Status
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.poll.turns import EVERY, EVERY_COUNT, EVERY_INSIDE, EVERY_LINK, count_period
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings
from tests.mockups import Answer, Mockup, MockupTransport
from tests.normalise.services import (
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    collection,
    link,
    ok,
    resource,
    root,
    sensors,
    sled,
    temperature,
)
from tests.poll.doubles import NOON, QuickClock

HOST = f"{SYSTEMS}/H1"
DIMMS = [f"{HOST}/Memory/{number}" for number in range(1, 9)]
CHASSIS_AND_HOST = 2
"""GETs of every round."""


def bodies(rollup: str | None = "OK") -> Bodies:
    """A sled with a host of eight DIMMs, without $expand."""
    told = ok() if rollup is None else ok(HealthRollup=rollup)
    memory = f"{HOST}/Memory"
    return {
        **root(),
        **chassis(sled()),
        SYSTEMS: collection(SYSTEMS, HOST),
        HOST: resource(HOST, "ComputerSystem", Status=told, Memory=link(memory), Links={"Chassis": [link(SLED)]}),
        memory: collection(memory, *DIMMS),
        **{uri: resource(uri, "Memory", Status=ok(), LocationIndicatorActive=False) for uri in DIMMS},
    }


class Service:
    """Rounds of one service that changes under them."""

    def __init__(self, mockup: Mockup, rounds: Rounds, statuses: dict[str, Status], clock: QuickClock) -> None:
        self.clock = clock
        self.mockup = mockup
        self.statuses = statuses
        self._rounds = rounds

    def change(self, uri: str, **more: Any) -> None:
        self.mockup.replace[uri] = self.mockup.replace[uri] | more

    async def round(self, *, whole: bool = False) -> Round:
        self.mockup.requests.clear()
        self.clock.time += 30.0
        done = (await self._rounds.run(60.0, whole=whole)).round
        self.statuses.update(done.statuses)
        return done

    @property
    def asked(self) -> set[str]:
        """DIMMs read in the newest round."""
        return {target for _, target in self.mockup.requests} & set(DIMMS)

    def known(self, uri: str) -> Status:
        return self.statuses[f"bmc:{uri}"]


@asynccontextmanager
async def service(told: Bodies, **client: Any) -> AsyncIterator[Service]:
    replace: dict[str, Any] = {uri.rstrip("/"): body for uri, body in told.items()}
    mockup = Mockup(Path("/nonexistent"), replace=replace, expand=False)
    controller = ControllerSettings(name="bmc", url="https://192.0.2.17")
    async with Client(controller, transport=MockupTransport(mockup), **client) as connected:
        read = interpret(await walk(connected, clock=lambda: NOON), Location())
        clock = QuickClock()
        yield Service(mockup, Rounds(connected, read, clock), dict(read.inventory.statuses), clock)


async def test_each_is_read_once_in_its_rounds_and_the_rounds_cost_the_same() -> None:
    async with service(bodies()) as here:
        for _ in range(3):
            seen: list[str] = []
            for _ in range(EVERY_INSIDE):
                done = await here.round()
                assert done.requests == CHASSIS_AND_HOST + len(DIMMS) // EVERY_INSIDE
                assert done.outcome is Outcome.OK
                seen += here.asked
            assert sorted(seen) == DIMMS


async def test_bad_health_is_seen_in_the_same_round_and_so_is_its_end() -> None:
    async with service(bodies()) as here:
        for dimm in DIMMS:
            here.change(dimm, Status=ok("Critical"))
            here.change(HOST, Status=ok(HealthRollup="Critical"))
            await here.round()
            assert here.known(dimm).health is Health.CRITICAL
            here.change(dimm, Status=ok())
            here.change(HOST, Status=ok(HealthRollup="OK"))
            await here.round()
            assert here.known(dimm).health is Health.OK
            await here.round()
            assert len(here.asked) == len(DIMMS) // EVERY_INSIDE, "at ease again"


@pytest.mark.parametrize("change", [{"Status": ok("Critical")}, {"LocationIndicatorActive": True}])
async def test_what_a_rollup_does_not_tell_is_seen_within_its_rounds(change: dict[str, Any]) -> None:
    async with service(bodies()) as here:
        before = {dimm: here.known(dimm) for dimm in DIMMS}
        for dimm in DIMMS:
            here.change(dimm, **change)
        for _ in range(EVERY_INSIDE):
            await here.round()
        assert all(here.known(dimm) != before[dimm] for dimm in DIMMS)


async def test_a_part_that_is_not_well_is_read_in_every_round() -> None:
    """Also where the rollup says nothing of it, or the walk found it so."""
    told = bodies()
    told[DIMMS[0]] |= {"Status": ok("Warning")}
    told[DIMMS[1]] |= {"Status": {"State": "Enabled"}}
    async with service(told) as here:
        for _ in range(EVERY_INSIDE):
            await here.round()
            assert {DIMMS[0], DIMMS[1]} <= here.asked


@pytest.mark.parametrize("rollup", [None, "Warning", "Splendid"])
async def test_without_a_rollup_that_is_ok_every_round_reads_all(rollup: str | None) -> None:
    async with service(bodies(rollup)) as here:
        for _ in range(EVERY_INSIDE + 1):
            await here.round()
            assert here.asked == set(DIMMS)


async def test_a_rollup_that_cannot_be_read_vouches_for_nothing() -> None:
    async with service(bodies()) as here:
        await here.round()
        here.mockup.replace[HOST] = Answer(503, {}, b"")
        done = await here.round()
        assert here.asked == set(DIMMS)
        assert done.outcome is Outcome.PARTIAL


async def test_a_rollup_that_is_told_no_more_vouches_for_nothing() -> None:
    async with service(bodies()) as here:
        here.change(HOST, Status=ok())
        await here.round()
        assert here.asked == set(DIMMS)


async def test_one_that_failed_has_its_turn_again_at_once() -> None:
    async with service(bodies()) as here:
        good = dict(here.mockup.replace)
        here.mockup.replace |= {dimm: Answer(503, {}, b"") for dimm in DIMMS}
        assert (await here.round()).outcome is Outcome.PARTIAL
        failed = here.asked
        here.mockup.replace = good
        assert (await here.round()).outcome is Outcome.OK
        assert failed < here.asked


async def test_a_part_whose_reading_went_missing_has_its_turn_in_the_next_round() -> None:
    warm = [temperature(f"T{number}", RelatedItem=[link(dimm)]) for number, dimm in enumerate(DIMMS)]
    told = bodies() | chassis(sled(Sensors=link(f"{SLED}/Sensors"))) | sensors(*warm)
    async with service(told) as here:
        await here.round()
        (pulled,) = here.asked
        here.change(pulled, Status=ok("OK", "Absent"))
        here.change(f"{SLED}/Sensors/T{DIMMS.index(pulled)}", Reading=None)
        await here.round()
        assert pulled not in here.asked
        await here.round()
        assert pulled in here.asked, f"else its turn would come after {EVERY_INSIDE} rounds"
        assert here.known(pulled).state == "Absent"
        await here.round()
        assert pulled not in here.asked, "what stays missing is no news"


async def test_a_whole_round_reads_all() -> None:
    async with service(bodies()) as here:
        assert (await here.round(whole=True)).requests == CHASSIS_AND_HOST + len(DIMMS)


async def test_several_in_flight_never_trust_a_rollup_that_is_under_way() -> None:
    async with service(bodies(), in_flight=4) as here:
        here.change(DIMMS[0], Status=ok("Critical"))
        here.change(HOST, Status=ok(HealthRollup="Critical"))
        await here.round()
        assert here.known(DIMMS[0]).health is Health.CRITICAL


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(st.integers(0, len(DIMMS) - 1), st.sampled_from(["OK", "Warning", "Critical"]), st.booleans()),
        min_size=1,
        max_size=24,
    ),
    st.booleans(),
)
async def test_no_state_that_lasts_as_many_rounds_is_lost(story: list[tuple[int, str, bool]], honest: bool) -> None:
    """Whatever happens when, with a rollup that tells the worst below it, and with one that is stuck at OK."""
    async with service(bodies()) as here:
        age = dict.fromkeys(DIMMS, 0)
        now = dict.fromkeys(DIMMS, ("OK", False))
        for number, health, lit in story:
            dimm = DIMMS[number]
            if now[dimm] != (health, lit):
                now[dimm], age[dimm] = (health, lit), 0
            here.change(dimm, Status=ok(health), LocationIndicatorActive=lit)
            worst = max((Health.from_word(told) for told, _ in now.values()), default=Health.OK)
            here.change(HOST, Status=ok(HealthRollup=worst.word if honest else "OK"))
            await here.round()
            for each, (told, lamp) in now.items():
                age[each] += 1
                known = here.known(each)
                if honest:
                    assert known.health is Health.from_word(told)
                if age[each] >= EVERY_INSIDE:
                    assert (known.health.word, known.locate) == (told, lamp)


# Links and counts


NET = f"{SLED}/NetworkAdapters/Net"
PORT = f"{NET}/Ports/1"
COUNTS = [f"{dimm}/MemoryMetrics" for dimm in DIMMS]


def counting_bodies() -> Bodies:
    """The same with error counts of each DIMM, and an adapter with a port; the chassis rolls up nothing."""
    told = bodies()
    for dimm, metrics in zip(DIMMS, COUNTS, strict=True):
        told[dimm] |= {"Metrics": link(metrics)}
        told[metrics] = resource(metrics, "MemoryMetrics", CurrentPeriod={"CorrectableECCErrorCount": 1})
    told[SLED] = sled(NetworkAdapters=link(f"{SLED}/NetworkAdapters"))
    told[f"{SLED}/NetworkAdapters"] = collection(f"{SLED}/NetworkAdapters", NET)
    told[NET] = resource(NET, "NetworkAdapter", Status=ok(), Ports=link(f"{NET}/Ports"))
    told[f"{NET}/Ports"] = collection(f"{NET}/Ports", PORT)
    told[PORT] = resource(PORT, "Port", LinkStatus="LinkUp", Status=ok())
    return told


def read_of(here: Service, uris: list[str]) -> set[str]:
    return {target for _, target in here.mockup.requests} & set(uris)


def counts_of(done: Round) -> list[float]:
    assert done.frame is not None
    return list(done.frame.values)


async def test_a_link_that_goes_down_is_seen_within_two_rounds_though_nothing_else_tells_of_it() -> None:
    async with service(counting_bodies()) as here:
        for word in ("LinkDown", "LinkUp") * 3:
            here.change(PORT, LinkStatus=word)
            asked = []
            for _ in range(EVERY_LINK):
                await here.round()
                asked += sorted(read_of(here, [PORT]))
            assert asked == [PORT]
            assert here.known(PORT).link is (word == "LinkUp")


async def test_a_port_of_an_adapter_in_trouble_is_read_in_every_round() -> None:
    async with service(counting_bodies()) as here:
        here.change(NET, Status=ok("Warning"))
        await here.round()  # there is no rollup that would let the adapter itself wait
        for _ in range(EVERY_LINK):
            await here.round()
            assert read_of(here, [PORT]) == {PORT}


async def test_counts_are_read_once_in_their_rounds_and_stand_between_as_they_were_read_and_when() -> None:
    async with service(counting_bodies()) as here:
        for told in (5, 9):
            for metrics in COUNTS:
                here.change(metrics, CurrentPeriod={"CorrectableECCErrorCount": told})
            seen: list[str] = []
            before = [1.0 if told == 5 else 5.0] * len(DIMMS)
            for _ in range(EVERY_COUNT):
                done = await here.round()
                fresh = read_of(here, COUNTS)
                seen += fresh
                assert done.frame is not None
                before = [float(told) if one in fresh else was for one, was in zip(COUNTS, before, strict=True)]
                assert counts_of(done) == before
                assert done.frame.times is not None
                stale = [time < done.started for time in done.frame.times]
                assert [one not in fresh for one in COUNTS] == stale
            assert sorted(seen) == COUNTS
            assert before == [float(told)] * len(DIMMS)


async def test_the_counts_of_a_part_in_trouble_are_read_in_every_round() -> None:
    async with service(counting_bodies()) as here:
        here.change(DIMMS[2], Status=ok("Warning"))
        here.change(HOST, Status=ok(HealthRollup="Warning"))
        await here.round()
        for _ in range(EVERY_COUNT):
            await here.round()
            assert COUNTS[2] in read_of(here, COUNTS)
            assert len(read_of(here, COUNTS)) <= 2


async def test_a_count_that_cannot_be_read_has_no_value_and_is_asked_for_again() -> None:
    async with service(counting_bodies()) as here:
        good = here.mockup.replace[COUNTS[0]]
        here.mockup.replace[COUNTS[0]] = Answer(503, {}, b"")
        done = await here.round(whole=True)
        assert math.isnan(counts_of(done)[0])
        here.mockup.replace[COUNTS[0]] = good
        assert counts_of(await here.round())[0] == 1.0
        assert counts_of(await here.round())[0] == 1.0, "and stands again"


async def test_a_count_that_is_told_no_more_does_not_stand() -> None:
    async with service(counting_bodies()) as here:
        here.change(COUNTS[0], CurrentPeriod={"CorrectableECCErrorCount": None})
        await here.round(whole=True)
        assert math.isnan(counts_of(await here.round())[0])


async def test_what_is_measured_takes_no_turns() -> None:
    """A temperature beside the counts is wanted in every round, and so are they then."""
    told = counting_bodies()
    told[PORT] |= {"Metrics": link(f"{PORT}/Metrics")}
    told[f"{PORT}/Metrics"] = resource(
        f"{PORT}/Metrics", "PortMetrics", RXErrors=3, Transceivers=[{"RXInputPowerMilliWatts": 2.0}]
    )
    async with service(told) as here:
        for _ in range(3):
            await here.round()
            assert f"{PORT}/Metrics" in {target for _, target in here.mockup.requests}


@pytest.mark.parametrize(
    ("quantity", "source", "rounds"),
    [
        (Quantity.ENERGY, "/x/EnvironmentMetrics#/EnergykWh/Reading", EVERY),
        (Quantity.COUNT, "/x/MemoryMetrics#/CurrentPeriod/CorrectableECCErrorCount", EVERY_COUNT),
        (Quantity.PERCENT, "/x/Drives/1#/PredictedMediaLifeLeftPercent", EVERY_COUNT),
        (Quantity.PERCENT, "/x/ProcessorMetrics#/BandwidthPercent", 0),
        (Quantity.POWER, "/x/EnvironmentMetrics#/PowerWatts/Reading", 0),
        (Quantity.COUNT, "/x/Sensors/Leaks", 0),
    ],
)
def test_which_readings_may_wait(quantity: Quantity, source: str, rounds: int) -> None:
    sensor = Sensor(sensor="s", controller="c", part="p", kind=Kind.OTHER, quantity=quantity, unit="1", source=source)
    assert count_period(sensor) == rounds
