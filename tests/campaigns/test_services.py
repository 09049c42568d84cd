"""Campaign: mutated services through a walk, a plan and rounds, in process, with answers of every wrong kind.

2,000 of them are a whole campaign; see ``test_bodies.py``. The services are those of DMTF DSP2043 and the simulated
ones, which know nothing of the collector.
"""

from __future__ import annotations

import asyncio
import json

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model import Location, Outcome
from collector.normalise.inventory import Normalised
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError
from collector.redfish.walk import WalkLimits, walk
from collector.settings import ControllerSettings
from tests.campaigns.mutations import MUTATIONS, Mutation, examples, mutated, numbers_in
from tests.campaigns.test_bodies import check_inventory, check_values
from tests.conftest import standard
from tests.mockups import Mockup, MockupTransport
from tests.normalise.walks import MAIN, OTHERS, TIME
from tests.poll.doubles import QuickClock

pytestmark = pytest.mark.slow

FULL = 2_000
CHUNKS = 4
NAMES = (*MAIN, *OTHERS)
_HANG = 60.0
"""Seconds after which an example counts as hanging; it takes a tenth of one."""

ANSWERS = ("html", "empty", "cut", "503", "404", "500", "401", "redirect", "astray", "reset", "slow", "array", "deep")
"""Answers that are wrong as a whole."""


class Broken(httpx.AsyncBaseTransport):
    """An example service some answers of which are changed; keeps every number that it has told."""

    def __init__(self, mockup: Mockup) -> None:
        self._inner = MockupTransport(mockup)
        self.bodies: dict[int, list[Mutation]] = {}
        """Which answer (counted from 0, over and over) is mutated how."""
        self.wrong: dict[int, str] = {}
        self.every = 1
        self.asked = 0
        self.numbers: set[float] = set()

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        number = self.asked % self.every
        self.asked += 1
        response = await self._inner.handle_async_request(request)
        raw = await response.aread()
        if number in self.bodies and response.status_code == 200:
            raw = json.dumps(mutated(json.loads(raw), self.bodies[number])).encode()
        response = _answer(self.wrong.get(number, ""), request, response.status_code, raw)
        self.numbers |= numbers_in(response.content)
        return response


def _answer(wrong: str, request: httpx.Request, status: int, raw: bytes) -> httpx.Response:
    headers = {"Content-Type": "application/json"}
    if wrong == "reset":
        raise httpx.ReadError("reset by peer", request=request)
    if wrong == "slow":
        raise httpx.ReadTimeout("no answer", request=request)
    if wrong == "redirect":
        return httpx.Response(302, headers={"Location": str(request.url)}, content=b"", request=request)
    if wrong == "astray":
        return httpx.Response(302, headers={"Location": "http://192.0.2.99/redfish/v1/"}, content=b"", request=request)
    if wrong in ("503", "404", "500", "401"):
        return httpx.Response(int(wrong), headers={"Retry-After": "1"}, content=b"{}", request=request)
    raw = {
        "html": b"<html><body>502</body></html>",
        "empty": b"",
        "cut": raw[: len(raw) // 2],
        "array": b"[" + raw + b"]",
        "deep": b'{"Members":' * 200 + b"[]" + b"}" * 200,
    }.get(wrong, raw)
    return httpx.Response(status, headers=headers, content=raw, request=request)


_STEPS = st.dictionaries(st.integers(0, 39), st.lists(MUTATIONS, min_size=1, max_size=3), max_size=6)
_WRONG = st.dictionaries(st.integers(0, 39), st.sampled_from(ANSWERS), max_size=4)


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_mutated_services(chunk: int) -> None:
    """A walk of a mutated service and rounds of it in which other answers are wrong."""

    @examples(FULL // CHUNKS)
    @given(st.sampled_from(NAMES), st.booleans(), st.booleans(), _STEPS, _STEPS, _WRONG)
    def campaign(
        name: str,
        expand: bool,
        soundly: bool,
        walked: dict[int, list[Mutation]],
        polled: dict[int, list[Mutation]],
        wrong: dict[int, str],
    ) -> None:
        async def example() -> None:
            async with asyncio.timeout(_HANG):
                await _example(name, expand, {} if soundly else walked, polled, wrong)

        asyncio.run(example())

    campaign()


async def _no_sleep(seconds: float) -> None:
    """Waiting is not what is tested."""


async def _example(
    name: str, expand: bool, walked: dict[int, list[Mutation]], polled: dict[int, list[Mutation]], wrong: dict[int, str]
) -> None:
    transport = Broken(Mockup(standard("redfish", "mockups", name), expand=expand))
    settings = ControllerSettings(name="n1", url="https://192.0.2.17")
    async with Client(settings, transport=transport) as client:
        transport.every, transport.bodies = 40, walked
        if walked:
            transport.wrong = wrong
        read = await _read(client)
        assert transport.asked < 1_500, "it never comes to an end"
        if read is None:
            return
        inventory = read.inventory
        assert isinstance(inventory, Normalised)
        check_inventory(inventory, transport.numbers)
        rounds = Rounds(client, read, QuickClock())
        transport.bodies, transport.wrong = polled, wrong
        for length in (40, 7, 3, 1):
            transport.every = length
            before = transport.asked
            done = (await rounds.run(30.0, whole=length == 7)).round
            assert transport.asked - before <= 4 * len(read.fetches) + 8
            assert done.statuses.keys() <= inventory.statuses.keys()
            assert (done.outcome is Outcome.OK) is (done.error == "")
            assert all(one.detail.isprintable() for one in done.defects)
            if done.frame is not None:
                assert len(done.frame.values) == len(inventory.layout.sensors)
                check_values(inventory, done.frame.values, transport.numbers)


async def _read(client: Client) -> Interpreted | None:
    """What a walk found; None where it ended for a reason that it names."""
    try:
        limits = WalkLimits(resources=400, pages=20)
        return interpret(await walk(client, clock=lambda: TIME, limits=limits, sleep=_no_sleep), Location())
    except ControllerError as error:
        ended = error.line
    assert ended, "it says why"
    return None


async def test_a_service_that_is_left_alone_is_read_in_full() -> None:
    """That the campaign reads anything at all."""
    transport = Broken(Mockup(standard("redfish", "mockups", "public-rackmount1")))
    async with Client(ControllerSettings(name="n1", url="https://192.0.2.17"), transport=transport) as client:
        read = await _read(client)
        assert read is not None
        done = (await Rounds(client, read, QuickClock()).run(30.0)).round
        assert done.frame is not None
        assert sum(value == value for value in done.frame.values) > 60
