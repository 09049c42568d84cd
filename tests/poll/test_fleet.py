"""A fleet with everything wrong in it, on real sockets: each controller's trouble is its own."""

from __future__ import annotations

import asyncio
import base64
import gzip
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from pydantic import SecretStr

from collector.assess.looks.memory import unpack
from collector.model import Outcome, Update
from collector.poll.fleet import Fleet
from collector.redfish.wire import Limits
from collector.settings import CollectorSettings, ControllerSettings, Credential, Settings, StoreSettings
from tests.mockups import Mockup, MockupTransport, serve_mockup
from tests.poll.doubles import CREDENTIAL, Enough
from tests.redfish.servers import Identity, Script, hang, make_identity, ok, says, serve


def settings_of(*controllers: ControllerSettings, **collector: Any) -> Settings:
    return Settings(
        path=Path("fleet.toml"),
        collector=CollectorSettings(**collector),
        store=StoreSettings(),
        mqtt=None,
        mqtt_password=None,
        controllers=controllers,
    )


async def endless(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.readuntil(b"\r\n\r\n")
    writer.write(b"HTTP/1.1 200 OK\r\n\r\n")
    while True:
        writer.write(b'{"Name": "endless",' * 500)
        await writer.drain()
        await asyncio.sleep(0)


async def reset(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.readuntil(b"\r\n\r\n")
    writer.write(ok(b"x" * 100)[:80])
    await writer.drain()
    await asyncio.sleep(0.02)
    writer.transport.abort()


async def trickle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.readuntil(b"\r\n\r\n")
    for byte in ok(b"{}" * 1000):
        writer.write(bytes([byte]))
        await writer.drain()
        await asyncio.sleep(0.01)


BOMB = ok(gzip.compress(bytes(4_000_000)), "Content-Encoding: gzip")
BUSY = b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 60\r\nContent-Length: 0\r\n\r\n"
AWAY = b"HTTP/1.1 302 Found\r\nLocation: https://192.0.2.99/redfish/v1/\r\nContent-Length: 0\r\n\r\n"
LOCKED = b"HTTP/1.1 401 Unauthorized\r\nContent-Length: 0\r\n\r\n"

TROUBLE: dict[str, tuple[Script, Outcome, str]] = {
    "hangs": (hang, Outcome.TIMED_OUT, "no answer in time"),
    "html": (says(ok(b"<html>Please log in</html>")), Outcome.MALFORMED, "markup"),
    "truncated": (says(ok()[:-2]), Outcome.MALFORMED, "cut short"),
    "endless": (endless, Outcome.MALFORMED, "too big"),
    "bomb": (says(BOMB), Outcome.MALFORMED, "decompressed body is over"),
    "trickles": (trickle, Outcome.TIMED_OUT, "no answer in time"),
    "resets": (reset, Outcome.MALFORMED, "cut short"),
    "closes": (says(b""), Outcome.UNREACHABLE, "before an answer"),
    "no-http": (says(b"220 mail ready\r\n"), Outcome.MALFORMED, "not HTTP"),
    "elsewhere": (says(AWAY), Outcome.MALFORMED, "another origin"),
    "busy": (says(BUSY), Outcome.UNAVAILABLE, "503"),
    "locked": (says(LOCKED), Outcome.LOGIN_REFUSED, "401"),
    "array": (says(ok(b"[]")), Outcome.MALFORMED, "an array"),
}


@asynccontextmanager
async def troubled(folder: Path, identity: Identity) -> AsyncIterator[dict[str, ControllerSettings]]:
    """All of them, and some that are only reached in the wrong way, by name."""
    async with AsyncExitStack() as stack:
        urls = {name: (await stack.enter_async_context(serve(script))).url for name, (script, _, _) in TROUBLE.items()}
        told = {name: ControllerSettings(name=name, url=url) for name, url in urls.items()}
        tls = (await stack.enter_async_context(serve(says(ok()), context=identity.context))).url
        (folder / "other").mkdir()
        other = make_identity(folder / "other")
        told["stranger"] = ControllerSettings(name="stranger", url=tls, ca_file=other.ca_file)
        told["wrong-pin"] = ControllerSettings(name="wrong-pin", url=tls, fingerprint=other.fingerprint)
        async with serve(hang) as gone:
            told["refused"] = ControllerSettings(name="refused", url=gone.url)
        yield told


async def test_every_trouble_is_named_and_nobody_else_is_touched(mockups: Path, tmp_path: Path) -> None:
    identity = make_identity(tmp_path)
    updates: list[Update] = []
    heard: list[str] = []

    async def tell(update: Update) -> None:
        updates.append(update)

    sound = [Mockup(mockups / f"public-{name}", credentials=("ops", "secret")) for name in ("bladed", "rackmount1")]
    async with (
        troubled(tmp_path, identity) as bad,
        serve_mockup(sound[0]) as first,
        serve_mockup(sound[1]) as second,
    ):
        good = [
            ControllerSettings(name="good1", url=first, credential=CREDENTIAL),
            ControllerSettings(name="good2", url=second, credential=CREDENTIAL),
        ]
        fleet = Fleet(
            settings_of(good[0], *bad.values(), good[1]),
            tell,
            limits=Limits(connect_timeout=2.0, response_timeout=3.0, max_body=200_000),
        )
        reports = {report.controller: report for report in await fleet.once(lambda one: heard.append(one.controller))}

    for name, (_, outcome, words) in TROUBLE.items():
        assert (name, reports[name].outcome) == (name, outcome)
        assert words in reports[name].error
        assert reports[name].parts == 0
    for name in ("stranger", "wrong-pin"):
        assert reports[name].outcome is Outcome.UNTRUSTED
        assert reports[name].requests == 1
    assert (reports["refused"].outcome, "refused" in reports["refused"].error) == (Outcome.UNREACHABLE, True)
    for name in ("good1", "good2"):
        assert (reports[name].outcome, reports[name].error) == (Outcome.OK, "")
        assert reports[name].readings > 5
    assert sorted(heard) == sorted(reports)
    assert list(reports) == ["good1", *bad, "good2"], "in the file's order"
    assert {update.controller for update in updates} == set(reports)
    assert all(update.assessment is not None for update in updates)
    assert not sound[0].sessions
    assert not sound[1].sessions


async def run_until(fleet: Fleet, stop: asyncio.Event) -> None:
    task = asyncio.create_task(fleet.run())
    async with asyncio.timeout(20):
        await stop.wait()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


async def test_cancelling_deletes_every_session(mockups: Path) -> None:
    """In the middle of walks and rounds, over real sockets."""
    services = [Mockup(mockups / "public-bladed", credentials=("ops", "secret")) for _ in range(6)]
    walked: set[str] = set()
    stop = asyncio.Event()

    async def tell(update: Update) -> None:
        walked.add(update.controller)
        if len(walked) == 4:
            stop.set()

    async with AsyncExitStack() as stack:
        urls = [await stack.enter_async_context(serve_mockup(service)) for service in services]
        controllers = [
            ControllerSettings(name=f"n{index}", url=url, credential=CREDENTIAL) for index, url in enumerate(urls)
        ]
        await run_until(Fleet(settings_of(*controllers, max_walks=2, poll_interval=0.05), tell), stop)
    posts = [sum(method == "POST" for method, _ in service.requests) for service in services]
    deletes = [sum(method == "DELETE" for method, _ in service.requests) for service in services]
    assert max(posts) == 1
    assert posts == deletes
    assert not any(service.sessions for service in services)


async def test_walks_at_once_are_bounded(mockups: Path) -> None:
    going: set[str] = set()
    most = 0

    class Counting(MockupTransport):
        def __init__(self, name: str) -> None:
            super().__init__(mockups / "public-localstorage")
            self.name = name

        async def handle_async_request(self, request: Any) -> Any:
            nonlocal most
            if self.name not in walked:
                going.add(self.name)
            most = max(most, len(going))
            await asyncio.sleep(0)
            return await super().handle_async_request(request)

    walked: set[str] = set()

    async def tell(update: Update) -> None:
        walked.add(update.controller)
        going.discard(update.controller)

    controllers = [ControllerSettings(name=f"n{index}", url="http://192.0.2.1") for index in range(12)]
    fleet = Fleet(settings_of(*controllers, max_walks=3), tell, transport_for=lambda one: Counting(one.name))
    reports = await fleet.once()
    assert {report.outcome for report in reports} == {Outcome.OK}
    assert 2 <= most <= 4, "three, and one that has walked and waits to tell it"


async def test_one_that_can_not_be_told_ends_the_fleet(mockups: Path) -> None:
    services = [Mockup(mockups / "public-bladed", credentials=("ops", "secret")) for _ in range(3)]

    async def tell(update: Update) -> None:
        raise Enough

    controllers = [
        ControllerSettings(name=f"n{index}", url="http://192.0.2.1", credential=CREDENTIAL) for index in range(3)
    ]
    fleet = Fleet(
        settings_of(*controllers), tell, transport_for=lambda one: MockupTransport(services[int(one.name[1:])])
    )
    with pytest.raises(ExceptionGroup) as caught:
        await fleet.run()
    assert caught.group_contains(Enough)
    assert not any(service.sessions for service in services)


async def test_a_refused_password_never_makes_it_try_another_controllers(mockups: Path) -> None:
    """Two of three refuse; what each is sent holds its own account's secret and nobody else's."""
    sent: dict[str, list[str]] = {f"n{index}": [] for index in range(3)}
    controllers = [
        ControllerSettings(
            name=name,
            url="http://192.0.2.1",
            credential=Credential(username=f"user-{name}", password=SecretStr(f"word-of-{name}")),
        )
        for name in sent
    ]

    def transport(one: ControllerSettings) -> MockupTransport:
        word = f"word-of-{one.name}" if one.name == "n1" else "another"
        mockup = Mockup(mockups / "public-bladed", credentials=(f"user-{one.name}", word))

        def note(request: httpx.Request) -> None:
            basic = request.headers.get("Authorization", "").removeprefix("Basic ")
            sent[one.name].append(request.content.decode() + base64.b64decode(basic).decode())

        return MockupTransport(mockup, before=note)

    enough = asyncio.Event()
    refused: dict[str, int] = dict.fromkeys(sent, 0)

    async def tell(update: Update) -> None:
        if update.round is not None and update.round.outcome is Outcome.LOGIN_REFUSED:
            refused[update.controller] += 1
        if update.inventory is not None and update.controller == "n1":
            enough.set()

    for _ in range(3):  # a restart is another first try, and still with its own
        fleet = Fleet(settings_of(*controllers), tell, transport_for=transport)
        await fleet.once()
    assert enough.is_set()
    assert refused == {"n0": 3, "n1": 0, "n2": 3}
    for name, requests in sent.items():
        said = "\n".join(requests)
        assert f"word-of-{name}" in said
        assert not any(f"word-of-{other}" in said for other in sent if other != name)


async def test_what_an_earlier_run_learnt_is_taken_up_and_given_on_at_the_end(mockups: Path) -> None:
    """What can't be taken up is an event after the first walk; what was learnt since goes out when the fleet stops."""
    mockup, told = Mockup(mockups / "public-rackmount1"), asyncio.Event()
    updates: list[Update] = []

    async def tell(update: Update) -> None:
        updates.append(update)
        if update.inventory is not None:
            told.set()

    one = settings_of(ControllerSettings(name="n1", url="http://192.0.2.1"))

    async def run(learnt: bytes | None) -> tuple[list[str], bytes]:
        updates.clear()
        told.clear()
        kept = {} if learnt is None else {"n1": learnt}
        task = asyncio.create_task(
            Fleet(one, tell, learnt=kept, transport_for=lambda each: MockupTransport(mockup)).run()
        )
        await asyncio.wait_for(told.wait(), 20)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        assessment, last = updates[0].assessment, updates[-1].learnt
        assert assessment is not None
        assert last is not None
        return [event.text for event in assessment.events if event.subject == "learns anew"], last

    said, first = await run(None)
    assert said == []
    said, second = await run(first)
    assert said == []
    assert unpack(second).looks.keys() == unpack(first).looks.keys()
    said, _ = await run(first[:-1])
    assert len(said) == 1
    assert "checksum" in said[0]
