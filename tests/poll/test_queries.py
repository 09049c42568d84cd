"""Queries that make rounds cheaper ($select beside $expand): used where they work, given up where they don't.

Source: DSP0266 section 'Query parameters'. The services are the simulated ones, which know nothing of the collector.
"""

from __future__ import annotations

import json
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any
from urllib.parse import unquote

import httpx
import pytest
from pydantic import SecretStr

from collector.model import Location
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Done, Rounds
from collector.poll.turns import EVERY_INSIDE
from collector.redfish.client import Client
from collector.redfish.resources import Walked
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, Credential
from simulators.service.dialects import tree
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import OLDER_MODEL
from tests.simulators.reading import Still
from tests.simulators.service_kit import NOW, PASSWORD, SITE, USER, Sledge, still_world

Answer = Callable[[httpx.Request], httpx.Response | None]


class Between(httpx.AsyncBaseTransport):
    """A service of which some answers are changed."""

    def __init__(self, inner: InProcess) -> None:
        self.change: Answer = lambda request: None
        self.edit: Callable[[httpx.Request, Any], Any] = lambda request, body: body
        self.asked: list[str] = []
        self._inner = inner

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(unquote(request.url.raw_path.decode()))
        told = self.change(request)
        if told is not None:
            told.request = request
            return told
        response = await self._inner.handle_async_request(request)
        body = await response.aread()
        if request.method != "GET" or response.status_code != 200:
            return httpx.Response(response.status_code, headers=response.headers, content=body, request=request)
        edited = json.dumps(self.edit(request, json.loads(body))).encode()
        return httpx.Response(200, headers={"Content-Type": "application/json"}, content=edited, request=request)


class Read:
    """One service read, and to be read again."""

    def __init__(self, between: Between, client: Client) -> None:
        self.between = between
        self._client = client
        self.walked: Walked
        self.plan: Interpreted
        self._rounds: Rounds

    async def walk(self) -> None:
        self.between.asked.clear()
        self.walked = await Walk(self._client, clock=lambda: NOW).run()
        self.plan = interpret(self.walked, Location())
        self._rounds = Rounds(self._client, self.plan, Still())

    async def round(self) -> Done:
        return await self._rounds.run(60.0, whole=True)

    async def bytes_of_ordinary_rounds(self) -> int:
        """Of as many rounds as it takes until nearly all had its turn."""
        return sum([(await self._rounds.run(60.0)).round.bytes_received for _ in range(EVERY_INSIDE)])

    @property
    def selecting(self) -> list[str]:
        return [fetch.path for fetch in self.plan.fetches if "$select" in fetch.path]


@asynccontextmanager
async def reading(dialect: str) -> AsyncIterator[Read]:
    sled = replace(
        next(one for one in SITE.sleds if one.design.name == "quad" and one.dialect not in OLDER_MODEL), dialect=dialect
    )
    service = Service(sled, tree(sled), Sledge(still_world(), sled.name), Account(USER, PASSWORD))
    between = Between(InProcess(service, lambda: NOW))
    credential = Credential(username=USER, password=SecretStr(PASSWORD))
    settings = ControllerSettings(name=sled.name, url="https://192.0.2.7", credential=credential)
    async with Client(settings, transport=between) as client:
        yield Read(between, client)


def values(done: Done) -> bytes:
    assert done.round.frame is not None
    return done.round.frame.values.tobytes()


async def plain(dialect: str) -> tuple[bytes, int]:
    """A round's values, and the bytes of ordinary rounds, without $select."""

    def undeclared(request: httpx.Request, body: Any) -> Any:
        if "ProtocolFeaturesSupported" in body:
            body["ProtocolFeaturesSupported"]["SelectQuery"] = False
        return body

    async with reading(dialect) as read:
        read.between.edit = undeclared
        await read.walk()
        assert read.selecting == []
        done = await read.round()
        return values(done), await read.bytes_of_ordinary_rounds()


@pytest.mark.parametrize("dialect", ["modern", "both"])
async def test_sensors_are_asked_for_what_is_read_of_them_and_tell_the_same(dialect: str) -> None:
    expected, size = await plain(dialect)
    async with reading(dialect) as read:
        await read.walk()
        assert len(read.selecting) == 5, "of the sled and its four blades"
        assert all(
            re.search(r"/Sensors\?\$expand=.*&\$select=Reading,Status,ReadingTime", one) for one in read.selecting
        )
        assert len([one for one in read.between.asked if "$select" in one]) == 1, "tried once a walk"
        done = await read.round()
        assert values(done) == expected
        assert done.round.defects == ()
        assert not done.walk_wanted
        assert await read.bytes_of_ordinary_rounds() < 0.75 * size
        assert read.plan.inventory.layout.sensors[0].thresholds is not None


@pytest.mark.parametrize("dialect", ["plain", "classic", "small-pages", "push"])
async def test_where_it_is_not_declared_or_members_come_in_pages_it_is_not_used(dialect: str) -> None:
    async with reading(dialect) as read:
        await read.walk()
        assert read.selecting == []


def refuse(status: int) -> Answer:
    def answer(request: httpx.Request) -> httpx.Response | None:
        return httpx.Response(status, json={"error": {}}) if b"select" in request.url.raw_path else None

    return answer


@pytest.mark.parametrize("status", [400, 500, 501, 507])
async def test_a_query_that_is_declared_and_refused_is_not_used(status: int) -> None:
    async with reading("modern") as read:
        read.between.change = refuse(status)
        await read.walk()
        assert read.selecting == []
        assert not read.walked.defects
        assert read.walked.features.expand_no_links


def ignoring(body: Any) -> Any:
    more = {f"More{number}": number for number in range(40)}
    return body | {"Members": [one | more for one in body["Members"]]}


def losing(body: Any) -> Any:
    return body | {"Members": [{"@odata.id": one["@odata.id"]} for one in body["Members"]]}


def nameless(body: Any) -> Any:
    return body | {"Members": [{"Reading": one["Reading"]} for one in body["Members"]]}


def applied_to_the_collection(body: Any) -> Any:
    return {"@odata.id": body["@odata.id"]}


def shuffled(body: Any) -> Any:
    return body | {"Members": body["Members"][::-1]}


@pytest.mark.parametrize("wrong", [ignoring, losing, nameless, applied_to_the_collection, shuffled, lambda body: []])
async def test_a_query_that_does_something_else_is_not_used(wrong: Callable[[Any], Any]) -> None:
    async with reading("modern") as read:
        read.between.edit = lambda request, body: wrong(body) if b"select" in request.url.raw_path else body
        await read.walk()
        assert read.selecting == []


@pytest.mark.parametrize("status", [400, 405, 413, 501, 507])
async def test_a_query_that_is_refused_later_asks_for_a_walk_which_finds_another_way(status: int) -> None:
    async with reading("modern") as read:
        await read.walk()
        read.between.change = refuse(status)
        assert (await read.round()).walk_wanted
        await read.walk()
        assert read.selecting == []
        done = await read.round()
        assert not done.walk_wanted
        assert values(done) == (await plain("modern"))[0]


async def test_expanding_that_is_refused_later_asks_for_a_walk_too() -> None:
    async with reading("push") as read:
        await read.walk()
        read.between.change = lambda request: (
            httpx.Response(501, json={}) if b"expand" in request.url.raw_path else None
        )
        assert (await read.round()).walk_wanted
        await read.walk()
        done = await read.round()
        assert not done.walk_wanted
        assert done.failure is None
        assert values(done) == (await plain("push"))[0]


async def test_a_failure_of_another_kind_asks_for_no_walk() -> None:
    async with reading("modern") as read:
        await read.walk()
        read.between.change = refuse(503)
        assert not (await read.round()).walk_wanted
