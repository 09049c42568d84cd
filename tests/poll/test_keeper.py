"""One controller kept, in time that passes at once; services are DMTF DSP2043 examples, in process."""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.model import Outcome, Update
from collector.poll.interpret import Interpreted, interpret
from collector.poll.remembering import REMEMBER_EVERY
from collector.poll.schedule import FIRST_LOGIN_WAIT
from tests.mockups import Answer, Mockup, MockupTransport
from tests.poll.doubles import CREDENTIAL, SENSORS, UNAVAILABLE, Enough, Kept, gaps


@pytest.fixture
def mockup(mockups: Path) -> Mockup:
    return Mockup(mockups / "public-rackmount1")


def after(count: int, change: Callable[[], None]) -> Callable[[Update], None]:
    """Do something when so many updates have come."""
    left = count

    def on_update(update: Update) -> None:
        nonlocal left
        left -= 1
        if left == 0:
            change()

    return on_update


async def test_a_walk_then_rounds_on_the_grid(mockup: Mockup) -> None:
    kept = Kept(mockup)
    updates = await kept.run(6)
    assert kept.shape == "wOOOOO"
    inventory = updates[0].inventory
    assert inventory is not None
    assert len(inventory.layout.sensors) > 50
    assert all(update.assessment is not None for update in updates)
    for done in kept.rounds:
        assert len(done.frame.values) == len(inventory.layout.sensors)
        assert done.late == 0.0
        assert done.requests < 25, "far fewer requests than sensors"
        assert done.bytes_received > 10_000
    assert gaps(kept.times[1:]) == pytest.approx([30.0] * 4), "no drift"
    assert 0 <= kept.times[1] - kept.times[0] <= 30.0


async def test_readings_change_as_the_service_says(mockup: Mockup) -> None:
    def warmer() -> None:
        body = mockup._read(f"{SENSORS}/CPU1Temp")
        assert isinstance(body, dict)
        mockup.replace[f"{SENSORS}/CPU1Temp"] = {**body, "Reading": 47.5}

    kept = Kept(mockup, on_update=after(2, warmer))
    updates = await kept.run(3)
    inventory = updates[0].inventory
    assert inventory is not None
    column = next(i for i, s in enumerate(inventory.layout.sensors) if s.source == f"{SENSORS}/CPU1Temp")
    assert [done.frame.values[column] for done in kept.rounds] == [44.0, 47.5]


async def test_walks_come_again_on_their_own_grid(mockup: Mockup) -> None:
    kept = Kept(mockup, walk_interval=150.0)
    await kept.run(30)
    walks = kept.when("w")
    assert len(walks) >= 4
    assert 75 <= walks[1] - walks[0] <= 255, "half an interval at least, then its own place in the fleet's spread"
    assert gaps(walks[1:]) == pytest.approx([150.0] * (len(walks) - 2), abs=31)


async def test_a_walk_of_another_never_holds_up_rounds(mockup: Mockup) -> None:
    """With all turns for walks taken, a controller that has been walked goes on with rounds."""
    kept = Kept(mockup, walk_interval=60.0, max_walks=1)
    kept.on_update = lambda update: kept.walks.acquire() if len(kept.updates) == 1 else None
    await kept.run(12)
    assert kept.shape == "w" + "O" * 11


FANS = "/redfish/v1/Chassis/1U/ThermalSubsystem/Fans"


@pytest.mark.parametrize(
    "broken", [Answer(500, {}, b""), Answer(403, {}, b""), Answer(200, {}, b"<html>"), Answer(200, {}, b'{"Mem')]
)
async def test_one_bad_resource_costs_itself_only(mockup: Mockup, broken: Answer) -> None:
    """It is told once a walk as a defect and asked for again every round; all others are read."""
    kept = Kept(mockup, on_update=after(1, lambda: mockup.replace.update({FANS: broken})))
    await kept.run(3)
    walked = kept.updates[0].inventory
    assert walked is not None
    first, second = kept.rounds
    read = [sum(not math.isnan(value) for value in frame.values) for frame in (walked.frame, first.frame, second.frame)]
    assert read[0] - 4 <= read[1] == read[2], "the example has four fans"
    assert len([defect for defect in first.defects if FANS in defect.resource]) == 1
    assert not [defect for defect in second.defects if FANS in defect.resource]
    if broken.status != 200:
        assert kept.shape == "wPP"
        assert first.error.startswith(f"{FANS}?$expand=.($levels=1): HTTP status: {broken.status}; ")


async def test_unreachable_backs_off_and_comes_back_with_a_walk(mockup: Mockup) -> None:
    up = True

    def before(request: httpx.Request) -> None:
        if not up:
            raise httpx.ConnectError("connection refused", request=request)

    def on_update(update: Update) -> None:
        nonlocal up
        up = not 3 <= len(kept.updates) < 8

    kept = Kept(MockupTransport(mockup, before=before), on_update=on_update, chance=lambda: 0.999)
    await kept.run(11)
    assert kept.shape.startswith("wOOUUUUUO")
    assert "w" in kept.shape[9:], "what was changed while it was away is found"
    lost = kept.rounds[2:7]
    assert all(done.frame is None and "no connection: connection refused" in done.error for done in lost)
    assert all("check that the controller has power" in done.error for done in lost)
    waits = gaps(kept.times[3:9])
    assert waits == pytest.approx([30.0, 60.0, 120.0, 240.0, 300.0]), "doubling to ten intervals, on the grid"
    assert all(done.requests <= 2 for done in lost), "a controller that is gone is not asked for the whole plan"
    opened = [condition for update in kept.updates if update.assessment for condition in update.assessment.opened]
    assert [condition.subject.value for condition in opened].count("controller") == 1


async def test_from_the_start_unreachable(mockup: Mockup) -> None:
    def before(request: httpx.Request) -> None:
        if len(kept.updates) < 3:
            raise httpx.ConnectError("no route to host", request=request)

    kept = Kept(MockupTransport(mockup, before=before))
    await kept.run(5)
    assert kept.shape == "UUUwO"
    assert all(done.requests == 1 for done in kept.rounds[:3])


async def test_retry_after_of_one_resource_is_obeyed_and_the_others_are_read(mockup: Mockup) -> None:
    kept = Kept(mockup)
    kept.on_update = lambda update: mockup.replace.update({FANS: UNAVAILABLE}) if len(kept.updates) == 2 else None
    await kept.run(4)
    assert kept.shape == "wOPP"
    assert "503" in kept.rounds[1].error
    assert kept.rounds[1].frame is not None
    assert 100 <= kept.times[3] - kept.times[2] <= 130


async def test_retry_after_of_a_whole_service_is_obeyed(mockup: Mockup) -> None:
    class Overloaded(MockupTransport):
        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            if len(kept.updates) in (1, 2):
                return httpx.Response(503, headers={"Retry-After": "100"})
            return await super().handle_async_request(request)

    kept = Kept(Overloaded(mockup), chance=lambda: 0.0)
    await kept.run(4)
    assert kept.shape[:3] == "wUU"
    assert [done.outcome for done in kept.rounds[:2]] == [Outcome.UNAVAILABLE] * 2
    assert all(100 <= wait <= 130 for wait in gaps(kept.times[1:]))


async def test_a_wrong_password_is_tried_rarely(mockup: Mockup) -> None:
    mockup.credentials = ("ops", "another")
    kept = Kept(mockup, credential=CREDENTIAL, chance=lambda: 0.0)
    await kept.run(4)
    assert kept.shape == "LLLL"
    assert sum(method == "POST" for method, _ in mockup.requests) == 4
    assert all(wait >= FIRST_LOGIN_WAIT * 2**index for index, wait in enumerate(gaps(kept.times)))
    assert "secret" not in "".join(done.error for done in kept.rounds)
    assert [done.error.rpartition("; ")[2].partition(",")[0] for done in kept.rounds[:3]] == [
        "refused once",
        "refused 2 times in a row",
        "refused 3 times in a row",
    ], "it says how often it was refused"
    for index, done in enumerate(kept.rounds[:3]):
        assert f"tried again in {round(gaps(kept.times)[index] / 60)} min" in done.error
        contact = kept.updates[index].contact
        assert contact is not None
        assert contact.refusals == index + 1
        assert contact.next_login == pytest.approx(kept.times[index + 1], abs=1.0), "and when it is tried again"


async def test_401_in_mid_flight_costs_nothing(mockup: Mockup) -> None:
    mockup.credentials = ("ops", "secret")
    kept = Kept(mockup, credential=CREDENTIAL, on_update=lambda update: mockup.sessions.clear())
    await kept.run(4)
    assert kept.shape == "wOOO"
    assert sum(method == "POST" for method, _ in mockup.requests) == 4
    assert not mockup.sessions


async def test_the_session_lives_as_long_as_the_keeper(mockup: Mockup) -> None:
    mockup.credentials = ("ops", "secret")
    most = 0

    def on_update(update: Update) -> None:
        nonlocal most
        most = max(most, len(mockup.sessions))

    kept = Kept(mockup, credential=CREDENTIAL, on_update=on_update)
    await kept.run(10)
    assert most == 1
    assert not mockup.sessions
    assert sum(method == "POST" for method, _ in mockup.requests) == 1


class Hanging(MockupTransport):
    """Some paths never answer, within the time-out that each request sets."""

    def __init__(self, mockup: Mockup) -> None:
        super().__init__(mockup)
        self.hung: set[str] = set()
        self.asked: list[str] = []

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request.url.path)
        if request.url.path in self.hung:
            await asyncio.sleep(request.extensions["timeout"]["read"])
            raise httpx.ReadTimeout("hung", request=request)
        return await super().handle_async_request(request)


async def test_what_was_read_before_the_deadline_counts_and_what_hangs_goes_last(mockup: Mockup) -> None:
    transport = Hanging(mockup)
    kept = Kept(transport, deadline=0.3)
    kept.on_update = after(1, lambda: transport.hung.add("/redfish/v1/Chassis"))
    await kept.run(3)
    first, second = kept.rounds
    assert kept.shape == "wTP"
    assert "requests not done within the round's 0.3 s" in first.error
    assert second.frame is not None
    assert second.outcome is Outcome.PARTIAL
    assert transport.asked[-1] == "/redfish/v1/Chassis"


@pytest.mark.parametrize("in_flight", [1, 4])
async def test_several_in_flight_read_the_same(mockup: Mockup, in_flight: int) -> None:
    kept = Kept(mockup, in_flight=in_flight)
    updates = await kept.run(3)
    assert kept.shape == "wOO"
    inventory = updates[0].inventory
    assert inventory is not None
    for done in kept.rounds:
        assert list(done.frame.values) == pytest.approx(list(inventory.frame.values), nan_ok=True)


async def test_one_that_hangs_leaves_half_of_the_time_to_the_others(mockup: Mockup) -> None:
    transport = Hanging(mockup)
    kept = Kept(transport, deadline=4.2)  # in real seconds: little more than what a single GET gets at least
    kept.on_update = after(1, lambda: transport.hung.add(SENSORS))
    await kept.run(2)
    assert kept.shape == "wP"
    assert kept.rounds[0].error.startswith(f"{SENSORS}?$expand")
    assert kept.rounds[0].requests > 5


async def test_everything_hangs(mockup: Mockup) -> None:
    transport = Hanging(mockup)
    kept = Kept(transport, deadline=0.1)

    def hang() -> None:
        transport.hung.update({"/redfish/v1/Chassis", "/redfish/v1/Systems", "/redfish/v1/Managers", SENSORS})

    kept.on_update = after(1, hang)
    await kept.run(2)
    assert kept.shape == "wT"
    assert kept.rounds[0].outcome is Outcome.TIMED_OUT
    assert kept.rounds[0].frame is None


async def test_a_walk_that_takes_too_long(mockup: Mockup) -> None:
    transport = Hanging(mockup)
    transport.hung.add("/redfish/v1/Systems")
    kept = Kept(transport, walk_deadline=0.1)
    await kept.run(1)
    assert kept.rounds[0].outcome is Outcome.TIMED_OUT
    assert "walk was not done within 0.1 s" in kept.rounds[0].error
    assert "collector.walk_deadline" in kept.rounds[0].error


async def test_a_resource_that_is_gone_asks_for_a_walk(mockup: Mockup) -> None:
    """A part that was pulled: found out within two intervals, not at the next planned walk."""
    cpu = "/redfish/v1/Systems/437XR1138R2/Processors/FPGA1/ProcessorMetrics"
    kept = Kept(mockup, walk_interval=10_000.0, on_update=after(4, lambda: mockup.replace.update({cpu: None})))
    await kept.run(12)
    assert kept.shape == "wOOOPwOOOOOO"
    before, now = (update.inventory for update in kept.updates if update.inventory is not None)
    assert before is not None
    assert now is not None
    assert len(now.layout.sensors) < len(before.layout.sensors)


def counting(change: Callable[[Interpreted], Interpreted]) -> Callable[..., Interpreted]:
    return lambda walked, location: change(interpret(walked, location))


class Restless:
    """A decoder that says after every round that the shape has changed."""

    def __init__(self, decoder: Any) -> None:
        self._decoder = decoder

    def __getattr__(self, name: str) -> Any:
        return getattr(self._decoder, name)

    def finish(self, time: float) -> Any:
        return self._decoder.finish(time)._replace(shape_changed=True)


async def test_a_tree_that_never_rests_is_walked_ever_more_rarely(mockup: Mockup) -> None:
    def restless(told: Interpreted) -> Interpreted:
        return Interpreted(told.inventory, told.fetches, Restless(told.decoder))

    kept = Kept(mockup, interpret=counting(restless), walk_interval=100_000.0)
    await kept.run(36)
    waits = gaps(kept.when("w"))
    assert len(waits) >= 3
    assert all(later > 1.5 * earlier for earlier, later in pairwise(waits))


MEMORY = "/redfish/v1/Systems/437XR1138R2/Memory"


class Busy(MockupTransport):
    """Answers 503 for the memory so many times when asked plainly, as only a walk does after it failed expanded."""

    in_vain = 0

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if request.url.path == MEMORY and self.in_vain > 0:
            self.in_vain -= "$expand" not in str(request.url)
            return httpx.Response(503)
        return await super().handle_async_request(request)


@pytest.mark.parametrize(("in_vain", "lost"), [(2, False), (99, True)], ids=["for one walk", "for good"])
async def test_a_walk_that_missed_something_does_not_replace_a_whole_one(
    mockup: Mockup, in_vain: int, lost: bool
) -> None:
    """What is unavailable during one walk (which asks twice) takes no parts away; when it stays so, it does."""
    transport = Busy(mockup)
    kept = Kept(transport, walk_interval=120.0, on_update=after(1, lambda: setattr(transport, "in_vain", in_vain)))
    await kept.run(14)
    counts = [len(update.inventory.parts) for update in kept.updates if update.inventory is not None]
    assert len(counts) >= 2
    assert transport.in_vain < in_vain
    assert (counts[-1] < counts[0]) is lost


class Faulty:
    """A decoder with a bug."""

    def begin(self) -> None:
        raise ZeroDivisionError("a bug")

    take = finish = begin

    def remember(self, indexes: Iterable[int]) -> None:
        pass


async def test_a_bug_is_that_controllers_failed_round(mockup: Mockup, caplog: pytest.LogCaptureFixture) -> None:
    faulty = counting(lambda told: Interpreted(told.inventory, told.fetches, Faulty()))  # type: ignore[arg-type]
    kept = Kept(mockup, interpret=faulty, chance=lambda: 0.999)
    await kept.run(4)
    assert kept.shape[0] == "w"
    assert set(kept.shape[1:]) <= {"M", "w"}
    assert "internal error, ZeroDivisionError" in kept.rounds[0].error
    assert any(record.exc_info for record in caplog.records), "with its traceback in the log"
    assert sum(kept.clock.slept) > 30, "and it backs off like any other failure"


async def test_a_bug_in_normalising_or_assessing(mockup: Mockup) -> None:
    def broken(walked: Any, location: Any) -> Any:
        raise KeyError("a bug")

    class BrokenWatch:
        def inventory(self, inventory: Any, now: float) -> Any:
            raise KeyError("a bug")

        round = inventory

    for kept in (Kept(mockup, interpret=broken), Kept(mockup, watch=BrokenWatch())):
        await kept.run(3)
        assert set(kept.shape) == {"M"}


async def test_a_bug_in_walking_again_leaves_the_rounds_going(mockup: Mockup) -> None:
    def broken(walked: Any, location: Any) -> Any:
        if kept.updates:
            raise KeyError("a bug")
        return interpret(walked, location)

    kept = Kept(mockup, interpret=broken, walk_interval=60.0)
    await kept.run(14)
    assert kept.shape.count("w") == 1
    assert kept.shape.count("M") >= 2
    assert kept.shape.count("O") >= kept.shape.count("M")


async def test_an_update_that_does_not_fit_is_that_controllers_trouble_alone(mockup: Mockup) -> None:
    """As the store refuses it: told once more as a failed round, without what did not fit."""

    def on_update(update: Update) -> None:
        if update.round is not None and update.round.frame is not None and len(kept.updates) == 3:
            raise ValueError("a frame of another length")

    kept = Kept(mockup, on_update=on_update)
    await kept.run(6)
    assert kept.shape == "wOOMOO"
    assert kept.rounds[2].frame is None
    assert "internal error, ValueError" in kept.rounds[2].error


async def test_what_can_not_be_told_ends_the_keeper_and_its_session(mockup: Mockup) -> None:
    mockup.credentials = ("ops", "secret")
    kept = Kept(mockup, credential=CREDENTIAL)
    kept.enough = 1
    with pytest.raises(Enough):
        await kept.keeper.run()
    assert not mockup.sessions


@pytest.mark.parametrize("name", ["bladed", "rackmount1", "localstorage", "telemetry"])
async def test_once(mockups: Path, name: str) -> None:
    kept = Kept(mockups / f"public-{name}")
    kept.enough = 99
    report = await kept.keeper.once()
    assert kept.shape == "wO"
    inventory, done = kept.updates[0].inventory, kept.rounds[0]
    assert inventory is not None
    assert report.outcome is Outcome.OK
    assert (report.parts, report.sensors) == (len(inventory.parts), len(inventory.layout.sensors))
    walked = sum(not math.isnan(value) for value in inventory.frame.values)
    assert report.readings == walked > 5, "a round reads what the walk read"
    assert list(done.frame.values) == pytest.approx(list(inventory.frame.values), nan_ok=True)
    assert report.requests > done.requests > 0


async def test_a_service_that_tells_no_reading_is_still_looked_after(mockups: Path) -> None:
    """The example has a service root and nothing that the table follows: its rounds ask whether it is there."""
    mockup = Mockup(mockups / "public-oem-examples")
    kept = Kept(mockup, on_update=after(2, lambda: mockup.replace.update({"/redfish/v1": Answer(503, {}, b"")})))
    await kept.run(3)
    assert kept.shape == "wOU"
    assert [done.requests for done in kept.rounds] == [1, 1]


async def test_once_without_a_controller(mockup: Mockup) -> None:
    mockup.replace["/redfish/v1"] = b"<html>Login</html>"
    kept = Kept(mockup)
    kept.enough = 99
    report = await kept.keeper.once()
    assert (report.outcome, report.parts, report.readings) == (Outcome.MALFORMED, 0, 0)
    assert "markup" in report.error


async def test_the_log_tells_changes_not_rounds(mockup: Mockup, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "collector")

    def before(request: httpx.Request) -> None:
        if 2 <= len(kept.updates) < 7:
            raise httpx.ConnectError("connection refused", request=request)

    kept = Kept(MockupTransport(mockup, before=before))
    await kept.run(9)
    told = [record.getMessage() for record in caplog.records if record.name.startswith("collector.")]
    assert len(told) == 2
    assert "connection refused" in told[0]
    assert told[1] == "bmc: answers again after 5 failures"


async def test_what_was_learnt_is_given_now_and_then_and_at_the_end(mockup: Mockup) -> None:
    """Every half hour on a grid of the controller's own; at the end unless that was lately."""
    asked: list[float] = []

    def remember(now: float) -> bytes | None:
        asked.append(now)
        return None if len(asked) == 1 else b"%d" % len(asked)

    kept = Kept(mockup, remember=remember, walk_interval=86_400.0)
    await kept.run(220)
    given = [update.learnt for update in kept.updates if update.learnt is not None]
    assert len(asked) >= 4
    assert given == [b"%d" % number for number in range(2, len(asked) + 1)]
    due = [time for time in asked if time != kept.times[-1]]
    assert gaps(due) == pytest.approx([REMEMBER_EVERY] * (len(due) - 1), abs=31.0)
    last = kept.updates[-1]
    assert (last.round is None) is (last.inventory is None)


async def test_at_the_end_what_was_learnt_goes_out_whatever_happened(
    mockup: Mockup, caplog: pytest.LogCaptureFixture
) -> None:
    kept = Kept(mockup, remember=lambda now: b"it")
    await _cancelled(kept, 5)
    assert [update.learnt for update in kept.updates[:-1]] == [None] * (len(kept.updates) - 1)
    assert kept.updates[-1] == Update(controller="bmc", learnt=b"it")

    def broken(now: float) -> bytes:
        raise RuntimeError("a bug")

    await _cancelled(Kept(mockup, remember=broken), 5)
    assert "what was learnt of it since it was kept last is lost" in caplog.text


async def _cancelled(kept: Kept, updates: int) -> None:
    """Stop it once so many updates have come, as the collector is stopped."""
    kept.enough = 1_000
    task = asyncio.ensure_future(kept.keeper.run())

    def on_update(update: Update) -> None:
        if len(kept.updates) == updates:
            task.cancel()

    kept.on_update = on_update
    with pytest.raises(asyncio.CancelledError):
        await task
