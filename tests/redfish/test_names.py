"""Looking names up: one that hangs holds up no other."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Iterator

import pytest

from collector.redfish.client import Client
from collector.redfish.errors import TimedOut
from collector.redfish.names import Names
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings
from tests.redfish.servers import ok, says, serve

SILENT = "silent.example.invalid"


@pytest.fixture
def never() -> Iterator[threading.Event]:
    """A name server that never answers, until the test is over."""
    over = threading.Event()
    yield over
    over.set()


async def test_fifty_names_that_hang_delay_no_other(never: threading.Event) -> None:
    asked: list[str] = []

    def lookup(host: str) -> list[str]:
        asked.append(host)
        if host.startswith("silent"):
            never.wait(60)
        return ["192.0.2.1"]

    names = Names(lookup)
    stuck = [asyncio.create_task(names.addresses(f"silent{n % 50}.invalid")) for n in range(100)]
    await asyncio.sleep(0)
    assert await names.addresses("good.invalid") == ["192.0.2.1"]
    assert not any(task.done() for task in stuck)
    assert len(asked) <= 51, "a name is looked up once for all who wait"
    never.set()
    assert await asyncio.gather(*stuck) == [["192.0.2.1"]] * 100


async def test_a_wait_that_is_given_up_is_joined_by_the_next(never: threading.Event) -> None:
    asked = 0

    def lookup(host: str) -> list[str]:
        nonlocal asked
        asked += 1
        never.wait(60)
        return [host]

    names = Names(lookup, most=1)
    for _ in range(3):
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.01):
                await names.addresses("silent.invalid")
    never.set()
    await names.addresses("silent.invalid")
    assert asked <= 2
    assert await names.addresses("other.invalid") == ["other.invalid"], "its place is free again"


async def test_errors_and_addresses() -> None:
    def lookup(host: str) -> list[str]:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    names = Names(lookup)
    with pytest.raises(socket.gaierror):
        await names.addresses("nowhere.invalid")
    assert list(await names.addresses("192.0.2.7")) == ["192.0.2.7"]
    assert list(await names.addresses("fe80::1%eth0")) == ["fe80::1%eth0"]


async def test_a_controller_with_a_silent_name_server_times_out_and_another_is_read(
    never: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = socket.getaddrinfo

    def resolver(host: object, *args: object, **more: object) -> object:
        if host == SILENT:
            never.wait(60)
        return plain(host, *args, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(socket, "getaddrinfo", resolver)
    silent = ControllerSettings(name="silent", url=f"http://{SILENT}")
    async with serve(says(ok())) as served:
        named = ControllerSettings(name="good", url=served.url.replace("127.0.0.1", "localhost"))
        async with Client(silent, limits=Limits(connect_timeout=0.3)) as bad, Client(named) as good:
            waiting = asyncio.create_task(bad.get("/redfish/v1/"))
            await asyncio.sleep(0)
            assert (await good.get("/redfish/v1/")).status == 200
            with pytest.raises(TimedOut, match="while connecting"):
                await waiting
