"""All keepers: started together, bounded where they would crowd each other, closed together."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

import httpx

from collector.assess.air_class import ClassOfAir
from collector.assess.care import Cares
from collector.assess.delays import Habit, habits_with
from collector.assess.diagnosis import Diagnosis
from collector.assess.margins.places import FeedRating, Place
from collector.assess.orders.handling import Handlings
from collector.assess.outages import Outages
from collector.assess.sightings import Sightings
from collector.assess.watch import Watch
from collector.assess.whereabouts import Whereabouts
from collector.model import Condition, Location, Quantity, Stay
from collector.poll.clock import Clock, SystemClock
from collector.poll.events import Listening
from collector.poll.hands import Hands
from collector.poll.interpret import Interpret, interpret
from collector.poll.keeper import Keeper, Tell
from collector.poll.listener import Listener
from collector.poll.memory import Memory
from collector.poll.report import Report
from collector.poll.schedule import Chance
from collector.redfish.registries import Shelf
from collector.redfish.standard_registries import RegistriesUnusable, standard_registries
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings, PlaceSettings, Settings

log = logging.getLogger(__name__)

TransportFor = Callable[[ControllerSettings], httpx.AsyncBaseTransport | None]


def _by_network(settings: ControllerSettings) -> None:
    return None


class Fleet:
    """Every controller of a fleet file.

    ``tell`` takes the updates and may wait; what it raises ends the fleet. ``open_conditions``: by controller, those
    that an earlier run left open. ``stays``: where parts were, as earlier runs left it. ``memory`` and ``heard`` (by
    controller, what the store has of :attr:`~collector.model.Update.heard`): what it takes to leave nothing behind on
    controllers after a kill, and to tell none of their events twice. ``learnt``: by controller, what an earlier run's
    looks had learnt. ``standard``: message registries for services that have none. ``cares``, ``handlings``,
    ``sightings``: what people did about conditions and orders, and what they saw. The rest is for tests: time, chance,
    and httpx transports in place of the network.
    """

    def __init__(
        self,
        settings: Settings,
        tell: Tell,
        *,
        open_conditions: Mapping[str, Sequence[Condition]] | None = None,
        stays: Iterable[Stay] = (),
        clock: Clock | None = None,
        chance: Chance = random.random,
        transport_for: TransportFor = _by_network,
        limits: Limits | None = None,
        interpret: Interpret = interpret,
        memory: Memory | None = None,
        heard: Mapping[str, bytes] | None = None,
        learnt: Mapping[str, bytes] | None = None,
        standard: Shelf | None = None,
        cares: Cares | None = None,
        handlings: Handlings | None = None,
        sightings: Sightings | None = None,
    ) -> None:
        told, kept, known = open_conditions or {}, heard or {}, learnt or {}
        standard = standard or _at_hand(settings.collector.registries)
        secret = memory.secret if memory is not None else secrets.token_bytes(32)
        self.listener = Listener(settings.events, secret) if settings.events is not None else None
        walks = asyncio.Semaphore(settings.collector.max_walks)
        whereabouts = Whereabouts(stays, {controller.name for controller in settings.controllers})
        conditions, cares, outages = settings.conditions, cares or Cares(), Outages()
        habits = habits_with(conditions.limits) if conditions.delays == "usual" else habits_with(conditions.limits, {})
        places = places_of(settings.places)
        airy = habits.get(Quantity.TEMPERATURE, Habit())
        self.watches = {
            controller.name: Watch(
                controller.name,
                settings.collector.poll_interval,
                told.get(controller.name, ()),
                whereabouts,
                cares=cares,
                outages=outages,
                habits=habits,
                location=controller.location,
                air=ClassOfAir(controller.name, places, controller.location, airy),
            )
            for controller in settings.controllers
        }
        self.diagnosis = Diagnosis([each.design for each in settings.designs], places, handlings, sightings)
        clock = clock or SystemClock()
        wards = {
            each.name: self.diagnosis.ward(
                self.watches[each.name], each.location, told.get(each.name, ()), known.get(each.name)
            )
            for each in settings.controllers
        }
        self.keepers = tuple(
            Keeper(
                controller,
                settings.collector,
                wards[controller.name],
                tell,
                walks=walks,
                clock=clock,
                chance=chance,
                transport=transport_for(controller),
                limits=limits,
                interpret=interpret,
                listening=Listening(
                    secret=secret, push=self.listener, standard=standard, kept=kept.get(controller.name)
                ),
                notes=memory.notes(controller.name) if memory is not None else None,
                remember=wards[controller.name].remember,
            )
            for controller in settings.controllers
        )
        self.hands = Hands(self.keepers, clock, transport_for)

    async def run(self) -> None:
        """Keep all controllers until cancelled; returns when every session is deleted or given up on.

        Raises :class:`~collector.poll.listener.CannotListen` where pushed events can't be listened for.
        """
        async with self.listener or contextlib.nullcontext(), asyncio.TaskGroup() as group:
            for keeper in self.keepers:
                group.create_task(keeper.run(), name=f"keeper {keeper.settings.name}")

    async def once(self, progress: Callable[[Report], None] | None = None) -> tuple[Report, ...]:
        """A walk and one full round of every controller, in the file's order; ``progress`` hears of each when done."""

        async def one(keeper: Keeper) -> Report:
            report = await keeper.once()
            if progress is not None:
                progress(report)
            return report

        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(one(keeper), name=f"keeper {keeper.settings.name}") for keeper in self.keepers]
        return tuple(task.result() for task in tasks)


def places_of(settings: Iterable[PlaceSettings]) -> list[Place]:
    """What the fleet file says of places, as the assessment takes it."""
    return [
        Place(
            Location(site=each.site, row=each.row, rack=each.rack),
            each.altitude,
            each.air_class,
            tuple(FeedRating(feed.name, feed.rating) for feed in each.feeds),
        )
        for each in settings
    ]


def _at_hand(path: Path | None) -> Shelf | None:
    """The standard registries that the fleet file names; without them the literal texts of events must do."""
    if path is None:
        return None
    try:
        shelf, defects = standard_registries(path)
    except RegistriesUnusable as error:
        log.warning("collector.registries: %s; events are told without them", error)
        return None
    for defect in defects:
        log.info("collector.registries: %s %s: %s", defect.resource, defect.property, defect.detail)
    log.info("collector.registries: %d message registries", len(shelf.prefixes))
    return shelf
