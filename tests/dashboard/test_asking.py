"""How pages ask: who may, what the person reads when they may not, and what they read of what comes of it."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec import structs

from collector.model import (
    CollectorState,
    Kind,
    Lamps,
    LampState,
    Link,
    Part,
    Permits,
    PowerWish,
    RequestState,
    Status,
    Urgency,
    Verb,
    Why,
    WorkOrder,
)
from collector.settings import StoreSettings
from collector.store.reader import Reader
from collector.store.writer import Writer
from dashboard.asking import CantAsk, Desk, Standing
from dashboard.people import Role, Viewer

NOW = 1_800_000_000.0
HERE = Viewer(role=Role.OPERATOR)
IDA = Viewer(role=Role.TECHNICIAN, name="Ida Brandt")
SLED, BLADE, HOST, FAN = "c1:/Sled", "c1:/Blade1", "c1:/Host1", "c1:/Fan1"
PARTS = (
    Part(id=SLED, controller="c1", uri="/Sled", kind=Kind.SLED, name="Sled 3"),
    Part(id=BLADE, controller="c1", uri="/Blade1", kind=Kind.BLADE, name="Blade 1", parent=SLED),
    Part(id=HOST, controller="c1", uri="/Host1", kind=Kind.HOST, name="Host 1", parent=BLADE),
    Part(id=FAN, controller="c1", uri="/Thermal#/Fans/0", kind=Kind.FAN, name="Fan 1", parent=SLED),
)
STANDING = Standing.of(
    PARTS, (Link(BLADE, FAN, Why.COOLED_BY),), {BLADE: Status(locate=False), SLED: Status(locate=True)}
)
COLLECTOR = CollectorState(
    pid=1,
    version="1",
    started=NOW,
    heartbeat=NOW,
    stopped=None,
    poll_interval=30.0,
    listen="",
    permits=Permits(locate=True, power=False, besides={"c1": True}),
)


def desk(folder: Path, viewer: Viewer = HERE, now: float = NOW) -> Desk:
    return Desk(folder, viewer, lambda: now)


@pytest.fixture
async def kept(tmp_path: Path) -> Path:
    async with Writer(tmp_path, StoreSettings(), now=lambda: NOW):
        pass
    return tmp_path


async def test_a_viewer_is_told_what_it_takes_and_nothing_is_asked_for(kept: Path) -> None:
    looks = Viewer(role=Role.VIEWER, name="Vera Lint")
    one = desk(kept, looks)
    assert one.refusal(Verb.LOCATE) == "this takes the role technician; Vera Lint signed in as viewer"
    request = one.locate(STANDING, BLADE, why="to find it")
    with pytest.raises(CantAsk, match="takes the role technician"):
        one.ask(request)
    with Reader(kept) as reader:
        assert reader.asked.requests() == []


async def test_a_technician_locates_and_switches_no_power(kept: Path) -> None:
    one = desk(kept, IDA)
    assert one.refusal(Verb.LOCATE, COLLECTOR) is None
    assert (
        one.refusal(Verb.POWER, COLLECTOR, "c1") == "this takes the role operator; Ida Brandt signed in as technician"
    )
    number = one.ask(one.locate(STANDING, BLADE, who="somebody else", why="to find it"))
    with Reader(kept) as reader:
        request = reader.asked.request(number)
    assert request is not None
    assert request.who == "Ida Brandt", "who signed in can't ask under another name"
    with pytest.raises(CantAsk, match="under the name of who signed in"):
        one.ask(structs.replace(request, who="somebody else"))


async def test_what_stands_in_the_way_is_said_instead_of_a_form(kept: Path) -> None:
    one = desk(kept)
    assert one.refusal(Verb.POWER, COLLECTOR, "c1") is None
    assert one.refusal(Verb.POWER, COLLECTOR, "c2") == "the fleet file does not allow power actions here"
    dark = structs.replace(COLLECTOR, permits=Permits())
    assert one.refusal(Verb.LOCATE, dark) == "the fleet file does not allow locate lamps to be switched"
    for gone in (structs.replace(COLLECTOR, stopped=NOW), structs.replace(COLLECTOR, heartbeat=NOW - 60.0)):
        assert one.refusal(Verb.TAKE, gone) == "no collector runs on this state, so nobody would carry it out"


async def test_a_name_and_a_reason_are_wanted(kept: Path) -> None:
    one = desk(kept)
    with pytest.raises(CantAsk, match="say who you are"):
        one.locate(STANDING, BLADE, who=" ", why="to find it")
    with pytest.raises(CantAsk, match="say why"):
        one.locate(STANDING, BLADE, who="Ida Brandt", why="")
    with pytest.raises(CantAsk, match="300 characters"):
        one.locate(STANDING, BLADE, who="Ida Brandt", why="x" * 301)


def test_whose_lamp_leads_to_a_part_and_what_a_power_form_names() -> None:
    fan = Desk.bearer(STANDING, FAN)
    assert fan is not None
    assert fan.id == SLED, "a row of the legacy Thermal resource has no lamp of its own"
    host = Desk.bearer(STANDING, HOST)
    assert host is not None
    assert host.id == BLADE
    assert (Desk.is_lit(STANDING, SLED), Desk.is_lit(STANDING, BLADE)) == (True, False)
    choice = Desk.choice(STANDING, BLADE)
    assert choice is not None
    assert (choice.label, [host.part for host in choice.hosts]) == ("Blade 1", [HOST])
    assert Desk.choice(STANDING, FAN) is None
    assert Desk.bearer(STANDING, "c1:/gone") is None


@pytest.mark.parametrize(
    ("state", "result", "said", "settled", "good"),
    [
        (RequestState.DONE, "the lamp is on", "Done: the lamp is on", True, True),
        (RequestState.HALF_DONE, "look at the front", "Half done: look at the front", True, False),
        (RequestState.REFUSED, "it may not", "Refused: it may not", True, False),
        (RequestState.TIMED_OUT, "no answer", "Timed out: no answer", True, False),
        (RequestState.EXPIRED, "not in time", "Expired: not in time", True, False),
        (RequestState.TAKEN_UP, "", "The collector is at it.", False, False),
        (RequestState.ASKED, "", "Asked for; no collector runs here now.", False, False),
    ],
)
async def test_what_the_person_reads_of_what_comes_of_it(
    tmp_path: Path, state: RequestState, result: str, said: str, settled: bool, good: bool
) -> None:
    async with Writer(tmp_path, StoreSettings(), now=lambda: NOW - 100.0) as writer:
        one = desk(tmp_path)
        number = one.ask(one.locate(STANDING, BLADE, who="Ida Brandt", why="to find it"))
        with Reader(tmp_path) as reader:
            request = reader.asked.request(number)
        assert request is not None
        if state is not RequestState.ASKED:
            await writer.settle([structs.replace(request, state=state, result=result, done_at=NOW)])
        found = one.progress(number)
        assert found is not None
        assert (found.text, found.settled, found.good) == (said, settled, good)
        late = desk(tmp_path, now=NOW + 500.0).progress(number)
        assert late is not None
        if state is RequestState.ASKED:
            assert (late.text, late.settled) == ("Nobody carried it out in time, and nobody will.", True)
    assert desk(tmp_path).progress(99) is None


async def test_asked_twice_is_one_request(kept: Path) -> None:
    one, other = desk(kept, IDA), desk(kept)
    first = one.ask(one.locate(STANDING, BLADE, why="to find it"))
    assert other.ask(other.locate(STANDING, BLADE, who="Ivo Maan", why="the same")) == first
    assert one.ask(one.locate(STANDING, BLADE, why="to find it", on=False)) != first


async def test_power_wants_the_label_and_holds_what_was_named(kept: Path) -> None:
    one = desk(kept)
    with pytest.raises(CantAsk, match="type the label to make sure: Blade 1"):
        one.power(STANDING, BLADE, PowerWish.FORCE_OFF, confirm="", who="Ida Brandt", why="it hangs")
    request = one.power(STANDING, BLADE, PowerWish.FORCE_OFF, confirm="blade 1", who="Ida Brandt", why="it hangs")
    assert request.arguments["hosts"] == HOST
    no = Permits(locate=True)
    with pytest.raises(CantAsk, match="fleet file"):
        one.power(STANDING, BLADE, PowerWish.FORCE_OFF, confirm="Blade 1", who="Ida Brandt", why="it hangs", permits=no)


async def test_what_was_seen_and_who_has_an_order(kept: Path) -> None:
    one = desk(kept, IDA)
    seen = one.observe(PARTS[1], seen=Lamps(LampState.UNKNOWN, LampState.BLINK))
    assert seen.arguments == {"amber": "blink"}
    with pytest.raises(CantAsk, match="say what you saw"):
        one.observe(PARTS[1], seen=Lamps(LampState.UNKNOWN, LampState.UNKNOWN))
    order = WorkOrder(
        id=f"c1.trouble.1|{FAN}",
        trouble="c1.trouble.1",
        part=FAN,
        controller="c1",
        kind=Kind.FAN,
        name="Fan 1",
        opened=NOW,
        changed=NOW,
        urgency=Urgency.TODAY,
        task="Replace Fan 1.",
        reason="It stands.",
    )
    assert one.finish(order, serial="  S 1 ").arguments == {"serial": "S 1"}
    assert one.take(order).target == one.give_back(order).target == order.id
    with pytest.raises(CantAsk, match="closed"):
        one.take(structs.replace(order, closed=NOW))
