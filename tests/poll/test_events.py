"""A controller's own events through a keeper, on real sockets: by stream, push and logs, over restarts and troubles."""

from __future__ import annotations

import asyncio
import logging
import math
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.assess.watch import Watch
from collector.model import DefectKind, Event, Health, Update
from collector.poll.clock import SystemClock
from collector.poll.events import WALKS_WITHOUT, Listening
from collector.poll.hearing import Told
from collector.poll.keeper import Keeper
from collector.poll.listener import Listener
from collector.poll.schedule import OUT_OF_TURN, out_of_turn
from collector.redfish.event_way import WayKind
from collector.settings import CollectorSettings, ControllerSettings, EventSettings
from tests.mockups import Mockup, MockupTransport
from tests.poll.doubles import CREDENTIAL, Kept, gaps
from tests.poll.eventful import BMC_LOG, EPOCH, FAN, SYSTEM_LOG, Eventful, record, serving

SECRET = bytes(range(32))
PATIENCE = 20.0


class Impatient(SystemClock):
    """The machine's time; only what waits for a stream to be opened again waits hardly at all."""

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(min(seconds, 0.05))


class Heard:
    """A keeper that runs over an eventful service, and what it told."""

    def __init__(
        self,
        url: str,
        *,
        kept: bytes | None = None,
        push: Listener | None = None,
        credential: Any = None,
        clock: SystemClock | None = None,
        **collector: Any,
    ) -> None:
        self.updates: list[Update] = []
        self.told = asyncio.Event()
        self.refuse: Callable[[Update], None] = lambda update: None
        settings = ControllerSettings(name="bmc", url=url, credential=credential)
        self.collector = CollectorSettings(**{"poll_interval": 0.5, "walk_interval": 600.0, **collector})
        self.keeper = Keeper(
            settings,
            self.collector,
            Watch("bmc", self.collector.poll_interval),
            self._tell,
            walks=asyncio.Semaphore(1),
            clock=clock or SystemClock(),
            chance=lambda: 0.0,
            listening=Listening(secret=SECRET, push=push, kept=kept),
        )
        self.task: asyncio.Task[None] | None = None

    async def _tell(self, update: Update) -> None:
        self.refuse(update)
        self.updates.append(update)
        self.told.set()

    async def until(self, fact: Callable[[], object]) -> None:
        """Wait for a fact, looking at every update and now and then."""
        async with asyncio.timeout(PATIENCE):
            while not fact():
                assert self.task is not None
                if self.task.done():
                    self.task.result()
                    raise AssertionError("a keeper never ends by itself")
                await asyncio.wait((asyncio.ensure_future(self.told.wait()),), timeout=0.02)
                self.told.clear()

    @property
    def way(self) -> WayKind:
        assert self.keeper._events is not None
        return self.keeper._events.way.kind

    @property
    def settled(self) -> bool:
        """Whether the way is decided and all logs are read."""
        events = self.keeper._events
        return events is not None and bool(self.updates) and not events._undecided and not events._catch_up

    @property
    def events(self) -> list[Event]:
        """Told by the controller itself, not by the assessment."""
        found = [event for update in self.updates if update.assessment for event in update.assessment.events]
        return [event for event in found if event.subject in SUBJECTS]

    @property
    def texts(self) -> list[str]:
        return [event.text for event in self.events]

    @property
    def kept(self) -> bytes | None:
        return next((update.heard for update in reversed(self.updates) if update.heard is not None), None)

    @property
    def rounds(self) -> list[Any]:
        return [update.round for update in self.updates if update.round is not None]


SUBJECTS = {"told", "logged", "logged earlier", "over", "log cleared", "log overrun"}


@asynccontextmanager
async def running(heard: Heard, *, kill: bool = False) -> AsyncIterator[Heard]:
    """Runs a keeper; ends it in order, or so that it can't say good-bye."""
    heard.task = asyncio.create_task(heard.keeper.run())
    try:
        yield heard
    finally:
        if kill and heard.keeper._events is not None:

            async def silent() -> None:
                pass

            heard.keeper._events.aclose = silent  # type: ignore[method-assign]
        heard.task.cancel()
        await asyncio.gather(heard.task, return_exceptions=True)


@asynccontextmanager
async def listening(port: int | None = None) -> AsyncIterator[Listener]:
    """A listener on loopback whose address is the same for the same port."""
    port = port or free_port()
    settings = EventSettings(listen=f"127.0.0.1:{port}", advertise=f"http://127.0.0.1:{port}")
    async with Listener(settings, SECRET) as listener:
        yield listener


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def folder(mockups: Path) -> Path:
    return mockups / "public-rackmount1"


# By stream


async def test_a_stream(folder: Path) -> None:
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        assert heard.way is WayKind.STREAM
        assert heard.events == []
        service.say(record("FanSlow", "CPU1", "12", number=1), record("FanFine", "CPU1", number=2))
        await heard.until(lambda: len(heard.events) == 3)
        assert [(event.subject, event.text, event.severity) for event in heard.events] == [
            ("told", "Fan 'CPU1' is slow at 12 percent.", Health.WARNING),
            ("told", "Fan 'CPU1' is fine again.", Health.OK),
            ("over", "Fan 'CPU1' is slow at 12 percent.", Health.OK),
        ], "texts by the service's own registry"
        assert {event.part for event in heard.events} == {f"bmc:{FAN}"}
        service.say(record("FanSlow", number=3, origin="/redfish/v1/AccountService"))
        await heard.until(lambda: len(heard.events) == 4)
        assert heard.events[-1].part is None
        asked = [path for _, path in service.mockup.requests]
        assert sum(path.endswith("Sled.1.0.0.json") for path in asked) == 1, "a registry is fetched once"
    assert service.most == 1
    assert not service.streams


async def test_a_stream_that_breaks_is_opened_again_where_it_was(folder: Path) -> None:
    service = Eventful(folder, credentials=("ops", "secret"))
    async with serving(service) as url, running(Heard(url, credential=CREDENTIAL, clock=Impatient())) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        service.say(record(number=1), id_="17")
        await heard.until(lambda: len(heard.events) == 1)
        service.send(b"")
        await heard.until(lambda: len(service.last_ids) == 2 and service.streams)
        service.say(record(number=1), id_="17")
        service.say(record(number=2))
        await heard.until(lambda: len(heard.events) == 2)
        assert len(service.mockup.sessions) == 1
    assert service.last_ids == [None, "17"]
    assert service.most == 1, "the old connection is gone before the new one comes"
    assert not service.mockup.sessions


async def test_what_is_streamed_and_logged_is_told_once(folder: Path) -> None:
    """The log tells what happened before the stream was open, too."""
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url, clock=Impatient())) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        service.say(record(number=1))
        service.write(BMC_LOG)
        await heard.until(lambda: len(heard.events) == 1)
        service.write(BMC_LOG, "FanSlow", "CPU2", "30")
        service.send(b"")  # a new beginning reads the logs
        await heard.until(lambda: len(heard.events) == 2)
        assert [(event.subject, event.text) for event in heard.events] == [
            ("told", "Fan 'CPU1' is slow at 12 percent."),
            ("logged", "Fan 'CPU2' is slow at 30 percent."),
        ]


async def test_rubbish_on_a_stream_is_told_as_defects(folder: Path) -> None:
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        service.send(b"data: <html>\n\ndata: [1]\n\ndata: {}\n\ndata: " + b"x" * 1_500_000 + b"\n\n")
        service.say(record(number=1, MessageArgs="none", EventTimestamp="yesterday"))
        await heard.until(lambda: len(heard.events) == 1)
        await heard.until(
            lambda: (
                {defect.kind for done in heard.rounds for defect in done.defects}
                >= {DefectKind.NOT_JSON, DefectKind.MISSING, DefectKind.BAD_TIME, DefectKind.WRONG_TYPE}
            )
        )


@pytest.mark.parametrize("status", [204, 403, 404, 405, 501])
async def test_a_stream_that_is_refused_gives_way_to_logs(folder: Path, status: int) -> None:
    service = Eventful(folder, subscriptions=False)
    service.refuse_stream = status
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: heard.way is WayKind.LOGS and heard.settled)
        service.write(SYSTEM_LOG)
        await heard.until(lambda: heard.events)
        assert heard.events[0].subject == "logged"
        await heard.until(lambda: any(f": {status}" in d.detail for done in heard.rounds for d in done.defects))
    assert sum(path.endswith("SSE") for _, path in service.mockup.requests) == 1, "not asked again for a while"


async def test_a_stream_that_never_holds_gives_way_after_a_while(folder: Path) -> None:
    service = Eventful(folder, subscriptions=False)
    service.refuse_stream = 503
    async with serving(service) as url, running(Heard(url, clock=Impatient())) as heard:
        await heard.until(lambda: heard.way is WayKind.LOGS and heard.settled)
    assert 6 <= sum(path.endswith("SSE") for _, path in service.mockup.requests) <= 8


async def test_a_better_way_is_tried_again_after_some_walks(folder: Path) -> None:
    service = Eventful(folder, subscriptions=False)
    service.refuse_stream = 404
    async with serving(service) as url, running(Heard(url, walk_interval=0.6)) as heard:
        await heard.until(lambda: heard.way is WayKind.LOGS and heard.settled)
        service.refuse_stream = 0
        await heard.until(lambda: heard.way is WayKind.STREAM and service.streams)
        walks = sum(update.inventory is not None for update in heard.updates)
        assert walks > WALKS_WITHOUT


# By push


async def test_a_push(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    async with serving(service) as url, listening() as listener, running(Heard(url, push=listener)) as heard:
        await heard.until(lambda: service.subscriptions and heard.settled)
        assert heard.way is WayKind.PUSH
        [made] = service.subscriptions.values()
        assert made["Destination"] == listener.address("bmc")
        assert made["Protocol"] == "Redfish"
        assert await service.push(record(number=1)) == [204]
        await heard.until(lambda: heard.events)
        assert heard.events[0].subject == "told"
        assert heard.events[0].text == "Fan 'CPU1' is slow at 12 percent."
    assert not service.subscriptions
    assert service.most == 1


async def test_a_subscription_is_found_again_after_every_kill_and_restart(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    port = free_port()
    async with serving(service) as url:
        for turn in range(4):
            kill = turn % 2 == 0
            async with listening(port) as listener, running(Heard(url, push=listener), kill=kill) as heard:
                await heard.until(lambda heard=heard: service.subscriptions and heard.settled)  # type: ignore[misc]
                assert await service.push(record(number=turn)) == [204]
                await heard.until(lambda heard=heard: heard.events)  # type: ignore[misc]
            assert len(service.subscriptions) == kill
    assert service.most == 1
    assert service.posted == 2, "the one that a kill left goes on"


async def test_a_subscription_whose_making_was_cut_off_is_taken_back(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    service.slow_push = 3600.0
    async with serving(service) as url, listening() as listener, running(Heard(url, push=listener)) as heard:
        await heard.until(lambda: service.subscriptions)
        assert heard.way is WayKind.NONE
    assert not service.subscriptions


async def test_a_list_of_subscriptions_that_fails_for_a_while_loses_none(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    port = free_port()
    async with serving(service) as url, listening(port) as listener:
        async with running(Heard(url, push=listener, walk_interval=1.0)) as heard:
            await heard.until(lambda: service.subscriptions and heard.settled)
            service.lists = False
            await heard.until(lambda: heard.way is WayKind.LOGS)
        assert not service.subscriptions, "the one we know of goes at the end all the same"


async def test_one_that_is_left_goes_when_another_way_is_taken(folder: Path) -> None:
    """Nobody else's does."""
    service = Eventful(folder, stream=False)
    other = {"Destination": "https://192.0.2.9/events", "Protocol": "Redfish", "Context": "somebody"}
    service.subscriptions[f"{EVENTS}/other"] = other
    async with serving(service) as url:
        async with listening() as listener, running(Heard(url, push=listener), kill=True) as heard:
            await heard.until(lambda: len(service.subscriptions) == 2)
        service.set_event_service(stream=True, subscriptions=True)
        async with running(Heard(url)) as heard:
            await heard.until(lambda: heard.way is WayKind.STREAM and heard.settled)
            assert list(service.subscriptions.values()) == [other]


EVENTS = "/redfish/v1/EventService/Subscriptions"


async def test_a_push_that_is_refused_gives_way_to_logs(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    service.refuse_push = 403
    async with serving(service) as url, listening() as listener, running(Heard(url, push=listener)) as heard:
        await heard.until(lambda: heard.way is WayKind.LOGS and heard.settled)
        service.write(BMC_LOG)
        await heard.until(lambda: heard.events)
        assert service.posted >= 1
        asked, count = service.posted, len(heard.rounds)
        await heard.until(lambda: len(heard.rounds) >= count + 3)
        assert service.posted == asked, "not at every round"


async def test_a_test_event_proves_once_that_pushes_reach_us(folder: Path) -> None:
    """EventService CSDL (DSP8010), SubmitTestEvent; ResourceEvent registry (DSP8011), TestMessage."""
    service = Eventful(folder, stream=False)
    service.set_event_service(stream=False, subscriptions=True, tests=True)
    async with serving(service) as url, listening() as listener:
        async with running(Heard(url, push=listener), kill=True) as heard:
            await heard.until(lambda: heard.events)
            assert [one["MessageId"] for one in service.test_events] == ["ResourceEvent.1.0.TestMessage"]
            assert heard.way is WayKind.PUSH
        async with running(Heard(url, push=listener)) as heard:
            await heard.until(lambda: service.subscriptions and heard.settled)
            assert len(service.test_events) == 1, "the subscription is the same"
            assert heard.way is WayKind.PUSH


async def test_pushes_that_do_not_reach_us_give_way_to_logs(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.poll.events.DELIVERY", 0.2)
    service = Eventful(folder, stream=False)
    service.set_event_service(stream=False, subscriptions=True, tests=True)
    service.delivers = False
    async with serving(service) as url, listening() as listener, running(Heard(url, push=listener)) as heard:
        await heard.until(lambda: heard.way is WayKind.LOGS and heard.settled and not service.subscriptions)
        service.write(BMC_LOG)
        await heard.until(lambda: heard.events)
        told = [one for done in heard.rounds for one in done.defects if one.property == "/Destination"]
        assert [one.kind for one in told] == [DefectKind.CONTRADICTION]
        assert "nothing came to http" in told[0].detail
        assert listener.address("bmc") not in told[0].detail, "the path is a secret"


# By logs


async def test_logs_are_read_each_round_and_never_twice(folder: Path) -> None:
    service = Eventful(folder, stream=False)
    for number in range(30):
        service.write(SYSTEM_LOG, "FanSlow", "CPU1", str(number), EventTimestamp="2025-11-24T10:00:00Z")
    async with serving(service) as url:
        async with running(Heard(url)) as heard:
            await heard.until(lambda: heard.settled)
            assert heard.way is WayKind.LOGS
            assert {event.subject for event in heard.events} == {"logged earlier"}
            assert len(heard.events) == 16, "of history, the newest"
            assert heard.events[-1].text == "Fan 'CPU1' is slow at 29 percent."
            service.write(SYSTEM_LOG, "FanSlow", "CPU1", "50")
            service.write(BMC_LOG, "FanFine", "CPU1")
            await heard.until(lambda: len(heard.events) >= 19)
            assert [event.text for event in heard.events if event.subject == "logged"] == [
                "Fan 'CPU1' is fine again.",
                "Fan 'CPU1' is slow at 50 percent.",
            ]
            assert heard.events[-1].time == EPOCH
        kept = heard.kept
        assert kept is not None
        service.write(SYSTEM_LOG, "FanSlow", "CPU2", "7")
        async with running(Heard(url, kept=kept)) as again:
            await again.until(lambda: again.settled and again.events)
            assert [(event.subject, event.text) for event in again.events] == [
                ("logged", "Fan 'CPU2' is slow at 7 percent."),
            ], "what was told before the restart is not told again, what came meanwhile is"


async def test_clearing_works_over_a_restart(folder: Path) -> None:
    service = Eventful(folder)
    async with serving(service) as url:
        async with running(Heard(url)) as heard:
            await heard.until(lambda: service.streams and heard.settled)
            service.say(record(number=1))
            await heard.until(lambda: heard.events)
        async with running(Heard(url, kept=heard.kept)) as again:
            await again.until(lambda: service.streams and again.settled)
            service.say(record(number=1))  # delivered once more
            service.say(record("FanFine", "CPU1", number=2))
            await again.until(lambda: len(again.events) == 2)
            assert [event.subject for event in again.events] == ["told", "over"]


async def test_state_that_can_not_be_read_is_begun_anew(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url, kept=b"{")) as heard:
        await heard.until(lambda: service.streams and heard.settled)
    assert "begun anew" in caplog.text


async def test_a_service_without_any_way(mockups: Path) -> None:
    service = Eventful(mockups / "public-rackmount1", stream=False, subscriptions=False)
    for owner in ("Managers/BMC", "Systems/437XR1138R2"):
        service.mockup.replace[f"/redfish/v1/{owner}/LogServices"] = None
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: heard.settled and len(heard.rounds) > 1)
        assert heard.way is WayKind.NONE
        assert not [defect for done in heard.rounds for defect in done.defects]


# Rounds out of turn, and troubles


def test_when_a_round_may_be_made_out_of_turn() -> None:
    assert out_of_turn(0.0, 1.0, 2.0, 30.0, 30.0) == 30 * OUT_OF_TURN
    assert out_of_turn(0.0, 1.0, 20.0, 30.0, 30.0) == 20.0
    assert out_of_turn(0.0, 1.0, 27.0, 30.0, 30.0) is None, "the one that is due comes soon enough"
    assert out_of_turn(0.0, 13.0, 13.0, 30.0, 30.0) is None, "a slow one would make it late"
    assert out_of_turn(-math.inf, 0.0, 2.0, 30.0, 30.0) == 2.0


def in_quick_time(folder: Path, urgent: Callable[[Update], bool], **more: Any) -> Kept:
    """A keeper in time that passes at once, which hears something after some of its updates."""

    async def on_update(update: Update) -> None:
        if urgent(update):
            await kept.keeper.heard(Told(urgent=True))

    kept = Kept(folder, listening=Listening(secret=SECRET), on_update=on_update, **more)
    return kept


async def test_an_event_brings_a_round_forward_and_the_grid_stays(folder: Path) -> None:
    kept = in_quick_time(folder, lambda update: len(kept.rounds) == 2)
    await kept.run(8)
    times = [done.started for done in kept.rounds]
    assert [later - times[0] for later in times[1:5]] == pytest.approx([30.0, 37.5, 60.0, 90.0])
    assert all(done.late == 0.0 for done in kept.rounds)


async def test_a_controller_that_never_stops_talking_costs_four_rounds_an_interval(folder: Path) -> None:
    kept = in_quick_time(folder, lambda update: True)
    await kept.run(40)
    times = [done.started for done in kept.rounds]
    first = next(index for index, time in enumerate(times) if abs(time - times[0]) >= 30)
    steps = gaps(times[first:])
    assert steps == pytest.approx([7.5] * len(steps)), "a quarter of the interval, and the grid among them"


async def test_one_that_fails_is_not_asked_out_of_turn(folder: Path) -> None:
    """What is heard of it brings nothing forward, and a failing round out of turn does not make the next one early."""
    mockup = Mockup(folder)

    def before(request: httpx.Request) -> None:
        if 3 <= len(kept.rounds) < 6:
            raise httpx.ConnectError("connection refused", request=request)

    kept = in_quick_time(folder, lambda update: True, chance=lambda: 0.0)
    kept.keeper = Kept(
        MockupTransport(mockup, before=before),
        listening=Listening(secret=SECRET),
        on_update=kept.on_update,
        chance=lambda: 0.0,
    ).keeper
    kept.keeper._tell = kept._tell
    await kept.run(12)
    failed = [done for done in kept.rounds if done.frame is None]
    assert len(failed) == 3
    assert all(step >= 22.5 for step in gaps([done.started for done in failed]))


async def test_what_comes_by_a_stream_asks_for_a_round(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On real sockets; good news about nothing known does not."""
    asked = 0

    def counting(*times: float) -> float | None:
        nonlocal asked
        asked += 1
        return out_of_turn(*times)

    monkeypatch.setattr("collector.poll.keeper.out_of_turn", counting)
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        service.say(record("Added", number=1, origin=None))
        await heard.until(lambda: heard.events)
        count = len(heard.rounds)
        await heard.until(lambda: len(heard.rounds) > count)
        assert asked == 0
        service.say(record(number=2))
        await heard.until(lambda: asked == 1)


async def test_a_changed_tree_is_walked_soon(folder: Path) -> None:
    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url, poll_interval=0.5)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        told = record(number=1) | {"MessageId": "ResourceEvent.1.4.ResourceCreated", "Message": "Created."}
        service.say(told)
        await heard.until(lambda: sum(update.inventory is not None for update in heard.updates) == 2)
        assert heard.texts == ["Created."], "without a registry, the literal text"


async def test_events_that_the_store_refuses_are_dropped_alone(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    def refuse(update: Update) -> None:
        if update.heard is not None and update.assessment is not None and len(heard.events) == 0:
            heard.refuse = lambda update: None
            raise ValueError("it does not fit")

    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        heard.refuse = refuse
        service.say(record(number=1))
        service.say(record(number=2))
        await heard.until(lambda: len(heard.events) == 1)
        count = len(heard.rounds)
        await heard.until(lambda: len(heard.rounds) > count)
    assert "events that don't fit" in caplog.text


async def test_what_can_not_be_kept_ends_the_keeper(folder: Path) -> None:
    class Full(Exception):
        pass

    def refuse(update: Update) -> None:
        if update.round is None:
            raise Full

    service = Eventful(folder)
    async with serving(service) as url, running(Heard(url)) as heard:
        await heard.until(lambda: service.streams and heard.settled)
        heard.refuse = refuse
        service.say(record(number=1))
        with pytest.raises(Full):
            await heard.until(lambda: False)
    assert not service.streams


@pytest.mark.parametrize("where", ["_follow_stream", "_decide", "_read_logs"])
async def test_a_bug_in_following_events_leaves_the_rounds_going(
    folder: Path, caplog: pytest.LogCaptureFixture, where: str
) -> None:
    async def broken(*_: object) -> None:
        raise KeyError("a bug")

    service = Eventful(folder)
    async with serving(service) as url:
        heard = Heard(url)
        setattr(heard.keeper._events, where, broken)
        async with running(heard):
            await heard.until(lambda: len(heard.rounds) >= 4)
    assert all(done.error == "" for done in heard.rounds)
    errors = [record for record in caplog.records if record.levelno >= logging.ERROR]
    assert len(errors) == 1, "told once, with its traceback"
    assert errors[0].exc_info
