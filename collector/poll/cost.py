"""What a controller's rounds cost: one walk, the plan that follows from it, and one round measured request by request.

The comparison is with the simplest poller there could be: one GET for every resource that tells a reading, a status
or an indicator, each sensor at its own place.
"""

from __future__ import annotations

import asyncio
import json
import math
from collections import Counter
from collections.abc import Iterable

from msgspec import Struct

from collector.model import Defect, Inventory, Outcome, Round
from collector.normalise.compiled import compile_plans
from collector.normalise.inventory import Normalised
from collector.poll.clock import Clock
from collector.poll.interpret import Interpreted, interpret
from collector.poll.rounds import Rounds
from collector.poll.turns import take_turns
from collector.redfish import links
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError, TimedOut
from collector.redfish.facts import Failure
from collector.redfish.features import declared
from collector.redfish.follow import type_name
from collector.redfish.recorder import Exchange, Recorder
from collector.redfish.resources import SERVICE_ROOT, Fetch, Walked
from collector.redfish.walk import Walk
from collector.settings import CollectorSettings


class WalkCost(Struct, frozen=True, kw_only=True):
    """A walk: what it found and took."""

    seconds: float
    allowed: float
    """Seconds that it might have taken."""
    requests: int = 0
    received: int = 0
    """Bytes of bodies."""
    resources: int = 0
    parts: int = 0
    sensors: int = 0
    missed: int = 0
    """Resources lost to what may pass: time-outs, 503, a connection cut."""
    defects: tuple[Defect, ...] = ()
    failure: Failure | None = None


class Request(Struct, frozen=True, kw_only=True):
    """One GET of the plan, and what it cost in one round."""

    path: str
    brings: dict[str, int]
    """Resources by type."""
    readings: int
    statuses: int
    indicators: int
    received: int
    """Bytes of body."""
    seconds: float
    status: int | None
    """Of the last answer; None where none came."""
    conditional: bool
    failure: str
    every: int
    """It is made in one of so many rounds: see :mod:`collector.poll.turns`. Here it was made to measure it."""


class RoundCost(Struct, frozen=True, kw_only=True):
    """One round, as the collector does it."""

    outcome: Outcome
    error: str
    seconds: float
    allowed: float
    requests: int
    """More than the plan has where a login was renewed on the way."""
    received: int
    values: int
    """Sensors that told a value."""


class Naive(Struct, frozen=True, kw_only=True):
    """One GET for every resource that tells a reading, status or indicator."""

    requests: int
    received: int
    """Bytes of body, estimated: what the walk fetched of each; of resources that came inside an expanded collection
    the length of their own part, written again as compact JSON."""


class Feature(Struct, frozen=True, kw_only=True):
    """A way to save requests or bytes, and whether the plan makes use of it."""

    feature: str
    offered: bool
    used: int
    """Requests of the plan that make use of it."""
    remark: str


class Measured(Struct, frozen=True, kw_only=True):
    """A controller walked, planned, and polled once; all but ``walk`` None where that failed."""

    walk: WalkCost
    product: str | None = None
    version: str | None = None
    declares: tuple[str, ...] = ()
    requests: tuple[Request, ...] = ()
    features: tuple[Feature, ...] = ()
    round: RoundCost | None = None
    naive: Naive | None = None


async def measure(
    client: Client, recorder: Recorder, collector: CollectorSettings, clock: Clock, *, log_in: bool = True
) -> Measured:
    """Walk a controller, plan, and do one round. ``recorder``: the client's own transport.

    Raises nothing that a controller could cause.
    """
    started, before = clock.monotonic(), len(recorder.exchanges)
    walk = Walk(client, clock=clock.now, sleep=clock.sleep)
    try:
        async with asyncio.timeout(collector.walk_deadline):
            if log_in:
                await client.connect(anew=True)
            walked = await walk.run()
    except TimeoutError:
        detail = f"the walk was not done within {collector.walk_deadline:g} s"
        advice = "a longer collector.walk_deadline gives it more time"
        return _failed(TimedOut(client.settings.name, SERVICE_ROOT, detail, advice), clock, started, collector)
    except ControllerError as error:
        return _failed(error, clock, started, collector)
    interpreted = interpret(walked, client.settings.location)
    inventory = interpreted.inventory
    cost = WalkCost(
        seconds=clock.monotonic() - started,
        allowed=collector.walk_deadline,
        requests=walked.requests,
        received=walked.bytes_received,
        resources=len(walked.resources),
        parts=len(inventory.parts),
        sensors=len(inventory.layout.sensors),
        missed=walk.passing,
        defects=inventory.defects,
    )
    walking, between = recorder.exchanges[before:], len(recorder.exchanges)
    done, seconds = await _one_round(client, interpreted, collector, clock)
    requests = _requests(walked, interpreted, recorder.exchanges[between:])
    return Measured(
        walk=cost,
        product=inventory.product,
        version=inventory.redfish_version,
        declares=declared(walked.root),
        requests=requests,
        features=_features(walked, requests, walking),
        round=_round_cost(done, seconds, collector.round_deadline),
        naive=naive(walked, inventory, {one.path: one.received for one in walking if one.status == 200}),
    )


def naive(walked: Walked, inventory: Inventory, sizes: dict[str, int]) -> Naive:
    """What a GET for every resource would take. ``sizes``: bytes of what the walk fetched, by path with query."""
    wanted = {part.uri.partition("#")[0] for part in inventory.parts if part.id in inventory.statuses}
    for sensor in inventory.layout.sensors:
        told = (place.partition("#")[0] for place in (sensor.source, *sensor.also_at))
        wanted |= set([uri for uri in told if uri in walked.resources][:1])
    received = 0
    for uri in wanted & walked.resources.keys():
        resource = walked.resources[uri]
        alone = sizes.get(resource.fetched_by) if links.key(resource.fetched_by) == uri else None
        received += alone if alone is not None else len(json.dumps(resource.body, separators=(",", ":")).encode())
    return Naive(requests=len(wanted), received=received)


def _failed(error: ControllerError, clock: Clock, started: float, collector: CollectorSettings) -> Measured:
    seconds = clock.monotonic() - started
    return Measured(
        walk=WalkCost(seconds=seconds, allowed=collector.walk_deadline, failure=Failure.of(error)),
    )


async def _one_round(
    client: Client, interpreted: Interpreted, collector: CollectorSettings, clock: Clock
) -> tuple[Round, float]:
    started = clock.monotonic()
    done = await Rounds(client, interpreted, clock).run(collector.round_deadline, whole=True)
    return done.round, clock.monotonic() - started


def _round_cost(done: Round, seconds: float, allowed: float) -> RoundCost:
    values = done.frame.values if done.frame is not None else ()
    return RoundCost(
        outcome=done.outcome,
        error=done.error,
        seconds=seconds,
        allowed=allowed,
        requests=done.requests,
        received=done.bytes_received,
        values=sum(not math.isnan(value) for value in values),
    )


def _requests(walked: Walked, interpreted: Interpreted, exchanges: Iterable[Exchange]) -> tuple[Request, ...]:
    inventory = interpreted.inventory
    if not isinstance(inventory, Normalised):
        raise TypeError("a plan is told from the inventory as normalise.inventory.build made it")
    by_path: dict[str, list[Exchange]] = {}
    for exchange in exchanges:
        by_path.setdefault(exchange.path, []).append(exchange)
    statuses = [inventory.statuses[f"{inventory.controller}:{uri}"] for uri in inventory.recipe.told]
    turns = take_turns(inventory, interpreted.fetches)
    found = []
    for index, plan in enumerate(compile_plans(inventory.recipe, interpreted.fetches)):
        spent = by_path.get(plan.fetch.path, [])
        told = [statuses[slot.position] for one in plan.wanted for slot in one.parts]
        found.append(
            Request(
                path=plan.fetch.path,
                brings=_types(walked, plan.fetch),
                readings=len(plan.columns),
                statuses=len(told),
                indicators=sum(one.locate is not None or one.led is not None for one in told),
                received=sum(one.received for one in spent),
                seconds=sum(one.seconds for one in spent),
                status=spent[-1].status if spent else None,
                conditional=any(one.conditional for one in spent),
                failure=spent[-1].failure if spent else "not asked",
                every=turns[index].every if index in turns else 1,
            )
        )
    return tuple(found)


def _types(walked: Walked, fetch: Fetch) -> dict[str, int]:
    kinds = Counter(type_name(walked.resources[uri].body) or "(no type)" for uri in fetch.brings)
    return dict(kinds.most_common())


def _features(walked: Walked, requests: tuple[Request, ...], walking: list[Exchange]) -> tuple[Feature, ...]:
    """What the service offers, and what the plan makes of it."""
    words = declared(walked.root)
    expand = any(word.startswith("$expand") for word in words)

    def with_query(option: str) -> int:
        return sum(option in request.path.partition("?")[2] for request in requests)

    reports = sum("MetricReport" in request.brings for request in requests)
    return (
        Feature(
            feature="$expand", offered=expand, used=with_query("$expand"), remark=_expanding(walked, expand, walking)
        ),
        Feature(feature="$select", offered="$select" in words, used=with_query("$select"), remark=""),
        Feature(
            feature="ETag",
            offered=walked.features.etags,
            used=sum(request.conditional for request in requests),
            # DSP0266, 'ETags': a service may leave out what changes fast when it makes them.
            remark="asked of logs only: 304 does not prove that no reading has changed"
            if walked.features.etags
            else "",
        ),
        Feature(feature="metric reports", offered="TelemetryService" in walked.root, used=reports, remark=""),
    )


def _expanding(walked: Walked, offered: bool, walking: list[Exchange]) -> str:
    """Why ``$expand`` is not used although it is declared."""
    if not offered or walked.features.expand_no_links:
        return ""
    for one in walking:
        if "$expand" in one.path and one.status != 200:
            return f"given up: {one.path} was answered with {one.status or one.failure}"
    for defect in walked.defects:
        if "$expand" in defect.detail:
            return f"given up: {defect.resource}: {defect.detail}"
    return "declared without NoLinks, which is the form that is used" if not _tried(walking) else "given up"


def _tried(walking: list[Exchange]) -> bool:
    return any("$expand" in one.path for one in walking)
