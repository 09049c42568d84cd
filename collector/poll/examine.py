"""A controller examined from its name to a timed round: facts gathered in order, then judged in the same order."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable

from msgspec import Struct

from collector.model import Outcome, Seconds
from collector.poll.clock import Clock
from collector.poll.cost import Measured, RoundCost, WalkCost, measure
from collector.redfish.client import Client
from collector.redfish.facts import Reached, Service, SessionEnd
from collector.redfish.probe import Resolve, ask, reach, session_end
from collector.redfish.recorder import Recorder
from collector.redfish.verdicts import (
    Finding,
    Findings,
    Result,
    of_clock,
    of_connection,
    of_login,
    of_name,
    of_root,
    of_tls,
)
from collector.redfish.wire import Limits
from collector.settings import CollectorSettings, ControllerSettings

log = logging.getLogger(__name__)

NAME, TCP, TLS, LOGIN, ROOT, CLOCK, WALK, PLAN, ROUND = (
    "name resolution",
    "TCP connect",
    "TLS",
    "authentication",
    "service root",
    "clock",
    "walk",
    "plan",
    "round",
)
SLOW = 0.5
"""Share of the time allowed from which on a walk or round is worth a note."""


class Facts(Struct, frozen=True, kw_only=True):
    """All that an examination found; None: not gone that far."""

    controller: str
    url: str
    time: Seconds
    seconds: float = 0.0
    reached: Reached | None = None
    service: Service | None = None
    measured: Measured | None = None
    session: SessionEnd | None = None
    bug: str = ""
    """An error of our own that ended it."""


class Step(Struct, frozen=True):
    """One step and what was found at it."""

    step: str
    findings: Findings

    @property
    def result(self) -> Result:
        """The most urgent of its findings."""
        return max((finding.result for finding in self.findings), key=list(Result).index)


async def examine(
    settings: ControllerSettings,
    collector: CollectorSettings,
    *,
    clock: Clock,
    limits: Limits | None = None,
    resolve: Resolve | None = None,
) -> Facts:
    """Go through all steps as far as they go. Raises nothing but cancellation; the session is deleted in any case."""
    time, started = clock.now(), clock.monotonic()

    def facts(**found: object) -> Facts:
        seconds = clock.monotonic() - started
        return Facts(controller=settings.name, url=settings.url, time=time, seconds=seconds, **found)  # type: ignore[arg-type]

    reached, service, measured = None, None, None
    try:
        reached = await reach(settings, timer=clock.monotonic, limits=limits, resolve=resolve)
        if not reached.good:
            return facts(reached=reached)
        recorder = Recorder(settings, timer=clock.monotonic, in_flight=collector.in_flight, limits=limits)
        async with Client(settings, in_flight=collector.in_flight, transport=recorder, limits=limits) as client:
            service = await ask(client, recorder, now=clock.now, limit=collector.walk_deadline)
            if readable(service):  # logged in by now: a second try would only strain the account
                measured = await measure(client, recorder, collector, clock, log_in=False)
        return facts(reached=reached, service=service, measured=measured, session=session_end(recorder.exchanges))
    except Exception as error:  # a bug: told of this controller, logged, and no reason to stop at the others
        log.exception("%s: unexpected error", settings.name)
        return facts(reached=reached, service=service, measured=measured, bug=type(error).__name__)


def readable(service: Service) -> bool:
    """Whether it makes sense to walk."""
    good = service.root is not None and service.root.failure is None
    return good and service.login is not None and service.login.failure is None


# Judgement


def diagnose(facts: Facts) -> tuple[Step, ...]:
    """What the facts mean, step by step; steps that could not be taken say which one stood in the way."""
    steps: list[Step] = []
    in_the_way, bug = "", facts.bug
    for name, judge in _JUDGES:
        findings = judge(facts)
        if findings is None and bug and not in_the_way:
            findings, bug = (Finding(Result.FAILED, f"internal error, {bug}", "see the log, and report it"),), ""
        steps.append(Step(name, findings or (Finding(Result.SKIPPED, f"not tried because of: {in_the_way or ROOT}"),)))
        if findings is not None and steps[-1].result is Result.FAILED and name != CLOCK:
            in_the_way = in_the_way or name
    return tuple(steps)


def worst(steps: tuple[Step, ...]) -> Result:
    """Passed, to note, or failed."""
    return max((step.result for step in steps), key=list(Result).index, default=Result.SKIPPED)


def _name(facts: Facts) -> Findings | None:
    return of_name(facts.reached.resolved) if facts.reached is not None else None


def _tcp(facts: Facts) -> Findings | None:
    connected = facts.reached.connected if facts.reached is not None else None
    return of_connection(connected) if connected is not None else None


def _tls(facts: Facts) -> Findings | None:
    handshake = facts.reached.handshake if facts.reached is not None else None
    return of_tls(handshake, facts.time) if handshake is not None else None


def _login(facts: Facts) -> Findings | None:
    login = facts.service.login if facts.service is not None else None
    return of_login(login, facts.session) if login is not None else None


def _root(facts: Facts) -> Findings | None:
    root = facts.service.root if facts.service is not None else None
    return of_root(root) if root is not None else None


def _clock(facts: Facts) -> Findings | None:
    service = facts.service
    if service is None or (service.clock is None and not readable(service)):
        return None
    return of_clock(service.clock)


def _walk(facts: Facts) -> Findings | None:
    return of_walk(facts.measured.walk) if facts.measured is not None else None


def _plan(facts: Facts) -> Findings | None:
    return of_plan(facts.measured) if facts.measured is not None else None


def _round(facts: Facts) -> Findings | None:
    told = facts.measured.round if facts.measured is not None else None
    return of_round(told, facts.measured.walk.sensors) if told is not None and facts.measured is not None else None


_JUDGES: tuple[tuple[str, Callable[[Facts], Findings | None]], ...] = (
    (NAME, _name),
    (TCP, _tcp),
    (TLS, _tls),
    (LOGIN, _login),
    (ROOT, _root),
    (CLOCK, _clock),
    (WALK, _walk),
    (PLAN, _plan),
    (ROUND, _round),
)


def of_walk(cost: WalkCost) -> Findings:
    """The walk: what it found, missed, and found wrong."""
    if cost.failure is not None:
        return (Finding(Result.FAILED, f"{cost.failure.resource}: {cost.failure.happened}", cost.failure.to_do),)
    told = (
        f"{cost.parts} parts, {cost.sensors} sensors in {cost.resources} resources: "
        f"{cost.requests} requests, {_kilobytes(cost.received)}, {cost.seconds:.2f} s"
    )
    found = [Finding(Result.PASSED, told)]
    if cost.missed:
        to_do = "check whether the controller is overloaded or broken; see its defects"
        found.append(
            Finding(Result.FAILED, f"{cost.missed} resources did not answer, not the second time either", to_do)
        )
    if not cost.sensors:
        to_do = "check that this account may read them, and the firmware"
        found.append(Finding(Result.NOTE, "no sensor found", to_do))
    if cost.defects:
        kinds = Counter(defect.kind.value for defect in cost.defects)
        named = ", ".join(f"{count} {kind}" for kind, count in kinds.most_common())
        to_do = "have the firmware corrected; --format json names each"
        found.append(Finding(Result.NOTE, f"{_counted(len(cost.defects), 'defect')}: {named}", to_do))
    if cost.seconds > SLOW * cost.allowed:
        to_do = "a longer collector.walk_deadline gives it more time"
        found.append(Finding(Result.NOTE, f"slow: {cost.seconds:.0f} s of {cost.allowed:g} s allowed", to_do))
    return tuple(found)


def of_plan(measured: Measured) -> Findings | None:
    """The plan, and features that are declared but don't work."""
    if measured.naive is None:
        return None
    told = (
        f"{_counted(len(measured.requests), 'request')} a round for {measured.walk.sensors} sensors; "
        f"a GET for every resource would be {measured.naive.requests}"
    )
    found = [Finding(Result.PASSED, told)]
    for feature in measured.features:
        if feature.remark.startswith("given up"):
            to_do = "have the firmware corrected: rounds cost more requests without it"
            found.append(Finding(Result.NOTE, f"{feature.feature} is declared, {feature.remark}", to_do))
    return tuple(found)


def of_round(cost: RoundCost, sensors: int) -> Findings:
    """The timed round."""
    told = (
        f"{_counted(cost.requests, 'request')}, {_kilobytes(cost.received)}, {cost.values} of {sensors} sensors "
        f"with a value, {cost.seconds:.2f} s of {cost.allowed:g} s allowed"
    )
    if cost.outcome is not Outcome.OK:
        return (Finding(Result.FAILED, f"{cost.outcome.value}: {cost.error}"),)
    if cost.seconds > SLOW * cost.allowed:
        to_do = "poll less often (collector.poll_interval), or look what slows the controller down"
        return (Finding(Result.NOTE, f"slow: {told}", to_do),)
    return (Finding(Result.PASSED, told),)


def _kilobytes(count: int) -> str:
    return f"{count / 1000:.1f} kB"


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
