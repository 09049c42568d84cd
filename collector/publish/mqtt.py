"""Publishes the live state to an MQTT 5 broker and keeps what is retained there true.

Each connection is a fresh client that first tells everything anew (a broker that was restarted may have forgotten it),
then deletes what is retained of things that are no more, then follows the feed. A message is built from the live state
when its turn comes, so that what was merged or delayed on the way never brings back something older. A will says
offline when the connection ends unasked.
"""

from __future__ import annotations

import asyncio
import random
import socket
import ssl
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from hashlib import sha256

import aiomqtt
from pydantic import SecretStr

from collector.model import Assessment, Part, Seconds, Update
from collector.publish import messages, topics
from collector.publish.errors import BrokerSetup
from collector.publish.lifetimes import enter, first_of, leave
from collector.publish.outbox import Message, Outbox
from collector.publish.statistics import MqttStatistics
from collector.publish.sweep import Sweep
from collector.settings import MqttSettings
from collector.store.feed import Feed, SubscriptionClosed
from collector.store.live import Live, LiveController, home_of

KEEPALIVE = 20
"""Seconds without traffic after which broker and client ask each other."""
TIMEOUT = 10.0
"""Seconds that the broker may take for one answer."""
FIRST_DELAY, LONGEST_DELAY = 1.0, 60.0
"""Seconds before a new attempt: doubled each time, less a random half."""
FAREWELL = 3.0
"""Seconds that saying goodbye may take."""
QUEUE = 1024
"""Updates that may wait; beyond, they are merged a controller."""

_GOING = -1
"""Stands for a deletion that is under way; no digest, for Python never hashes to it."""
_OPENED = frozenset({"conditions", "troubles", "orders"})
_STEADY = 60.0
"""Seconds that a connection must have held for the next attempt to come soon again."""


class MqttPublisher:
    """Follows ``feed`` and tells ``live`` to the broker until :meth:`run` is cancelled or the feed closes.

    An update must be applied to ``live`` before it is published to ``feed``. Raises
    :class:`~collector.publish.errors.BrokerSetup` for TLS files that can't be used.
    """

    def __init__(
        self,
        settings: MqttSettings,
        password: SecretStr | None,
        live: Live,
        feed: Feed,
        *,
        version: str,
        now: Callable[[], Seconds] = time.time,
        first_delay: float = FIRST_DELAY,
        timeout: float = TIMEOUT,
    ) -> None:
        self._settings = settings
        self._password = password
        self._live = live
        self._subscription = feed.subscribe("mqtt", QUEUE)
        self._version = version
        self._now = now
        self._first_delay = first_delay
        self._timeout = timeout
        self._tls = _tls(settings)
        self.client_id = settings.client_id or _client_id(live)
        self._own_topic = topics.collector(self.client_id)
        self._held: dict[str, dict[str, int | None]] = {}
        """By controller ("" for our own): topics that hold retained state of ours, with a digest of what this
        connection told last, None for nothing yet."""
        self._swept = False
        self._connected = False
        self._attempts = self._failures = self._published = 0
        self._last_error: str | None = None

    async def run(self) -> None:
        """Publish until cancelled or the feed is closed; a broker that is away is tried again and again."""
        delay = self._first_delay
        try:
            while True:
                began = time.monotonic()
                if await self._connection():
                    return
                if time.monotonic() - began > _STEADY:
                    delay = self._first_delay
                await asyncio.sleep(delay * random.uniform(0.5, 1.0))
                delay = min(LONGEST_DELAY, 2 * delay)
        finally:
            self._subscription.close()

    def statistics(self) -> MqttStatistics:
        """A snapshot of how it does."""
        return MqttStatistics(
            connected=self._connected,
            attempts=self._attempts,
            failures=self._failures,
            published=self._published,
            retained=sum(map(len, self._held.values())),
            last_error=self._last_error,
        )

    # One connection

    async def _connection(self) -> bool:
        """Connect, tell everything, follow; returns True when the feed closed, False when the connection was lost."""
        self._attempts += 1
        client = self._client()
        try:
            await enter(client)
        except (aiomqtt.MqttError, OSError, ValueError) as error:  # ValueError: a host name that is none
            self._failed(error)
            return False
        self._connected, self._last_error = True, None
        try:
            await self._session(client)
        except (aiomqtt.MqttError, OSError) as error:
            self._failed(error)
            await leave(client)
            return False
        except BaseException:
            await self._farewell(client)
            raise
        finally:
            self._connected = False
        await self._farewell(client)
        return True

    def _failed(self, error: Exception) -> None:
        self._failures += 1
        self._last_error = f"{self._settings.host}:{self._settings.port}: {error or type(error).__name__}"

    def _client(self) -> aiomqtt.Client:
        secret = self._password
        return aiomqtt.Client(
            self._settings.host,
            self._settings.port,
            username=self._settings.username,
            password=None if secret is None else secret.get_secret_value(),
            identifier=self.client_id,
            protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=True,
            will=aiomqtt.Will(self._own_topic, messages.collector_state(False), qos=1, retain=True),
            timeout=self._timeout,
            keepalive=KEEPALIVE,
            tls_context=self._tls,
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        )

    async def _session(self, client: aiomqtt.Client) -> None:
        """Returns when the feed closed; raises MqttError when the connection is lost."""
        sweep, outbox = Sweep(self._own_topic + "/echo"), Outbox(client, self._delivered)
        try:
            await first_of(sweep.listen(client), self._told(client, sweep, outbox))
        finally:
            await outbox.aclose()

    async def _told(self, client: aiomqtt.Client, sweep: Sweep, outbox: Outbox) -> None:
        """Everything once, then what changes."""
        if not self._swept:
            await sweep.begin(client)
        self._subscription.clear()  # whatever waits is in the live state already
        self._held = {controller: dict.fromkeys(held) for controller, held in self._held.items()}
        since = self._now()
        await self._send(outbox, [self._online(since, complete=False)])
        for known in tuple(self._live.controllers.values()):
            await self._send(outbox, self._of_controller(known))
        if not self._swept and await sweep.end(client, self._timeout):
            self._swept = True
            for topic, controller in self._foundlings(sweep):
                self._held.setdefault(controller, {}).setdefault(topic, None)
        for controller in tuple(self._held):
            await self._send(outbox, [_gone(controller, topic) for topic in self._left_over(controller)])
        await outbox.drain()
        await self._send(outbox, [self._online(since, complete=True)])
        while True:
            try:
                update = await self._subscription.get()
            except SubscriptionClosed:
                await outbox.drain()
                return
            await self._send(outbox, self._of_update(update))

    def _foundlings(self, sweep: Sweep) -> Iterable[tuple[str, str]]:
        """Retained topics that an earlier run of this collector left behind, and their controllers."""
        ours = self._live.controllers.keys() | sweep.told_by(self.client_id)
        return [(topic, name) for topic in sweep.found if (name := topics.controller_of(topic)) in ours]

    def _left_over(self, controller: str) -> list[str]:
        """Topics that hold what is no more; not the parts of a controller that is yet to be walked."""
        known = self._live.controllers.get(controller)
        unsure = known is not None and known.inventory is None
        held = self._held[controller].items()
        return [topic for topic, told in held if told is None and not (unsure and not _is_opened(topic))]

    async def _farewell(self, client: aiomqtt.Client) -> None:
        """Say offline ourselves: a connection that is closed in order leaves no will."""
        with suppress(aiomqtt.MqttError, OSError, TimeoutError):
            async with asyncio.timeout(FAREWELL):
                await client.publish(self._own_topic, messages.collector_state(False), qos=1, retain=True)
        await leave(client)

    async def _send(self, outbox: Outbox, outgoing: Iterable[Message]) -> None:
        """Hand messages over; what is retained and told already is left out."""
        for message in outgoing:
            if not message.retain or self._is_news(message):
                await outbox.put(message)

    def _is_news(self, message: Message) -> bool:
        """Note what a topic will hold; say whether it holds something else now."""
        held = self._held.setdefault(message.controller, {})
        if not message.payload and message.topic not in held:
            return False
        digest = hash(message.payload) if message.payload else _GOING
        if held.get(message.topic) == digest:
            return False
        held[message.topic] = digest
        return True

    def _delivered(self, message: Message) -> None:
        self._published += 1
        held = self._held[message.controller] if message.retain else {}
        if not message.payload and held.get(message.topic) == _GOING:  # and not told anew meanwhile
            del held[message.topic]

    # What is told

    def _online(self, since: Seconds, *, complete: bool) -> Message:
        return Message(
            "",
            self._own_topic,
            messages.collector_state(True, complete=complete, since=since, version=self._version),
        )

    def _of_controller(self, known: LiveController) -> list[Message]:
        """All retained state of one controller."""
        return [
            self._state(known),
            *self._walked(known),
            *_readings(known),
            *_margins(known),
            *(_figures(known) if known.figures else ()),
            *(_condition(known.name, condition_id, known) for condition_id in known.conditions),
            *(_trouble(known, trouble) for trouble in known.troubles),
            *(_order(known, order) for order in known.orders),
        ]

    def _of_update(self, update: Update) -> list[Message]:
        """What an update changed, as the live state has it by now."""
        known = self._live.controllers.get(update.controller)
        if known is None:
            return []
        told = [self._state(known)]
        touched: set[str] = set()
        if update.inventory is not None:
            told += self._walked(known)
            told += [_gone(known.name, topic) for topic in self._of_vanished_parts(known)]
        if update.inventory is not None or (update.round is not None and update.round.frame is not None):
            told += _readings(known)
        if update.round is not None:
            touched |= update.round.statuses.keys()
        if (assessment := update.assessment) is not None:
            touched |= assessment.rolled.keys() | assessment.lamps.keys()
            changed = (*assessment.opened, *assessment.changed, *assessment.closed)
            told += [_condition(known.name, each.id, known) for each in changed]
            where = topics.of_controller(known.name, "events")
            told += [Message(known.name, where, messages.event(event), retain=False) for event in assessment.events]
            told += self._answers(assessment)
            if assessment.margins:
                told += _margins(known)
            if assessment.figures:
                told += _figures(known)
        if touched and update.inventory is None and known.inventory is not None:
            told += [_part(known, part) for part in known.inventory.parts if part.id in touched]
        return told

    def _answers(self, assessment: Assessment) -> list[Message]:
        """Troubles and orders, which may be told under other controllers than the one whose round brought them."""
        controllers = self._live.controllers
        troubles = [(home, each.id) for each in assessment.troubles if (home := controllers.get(home_of(each.id)))]
        orders = [(home, each.id) for each in assessment.orders if (home := controllers.get(home_of(each.trouble)))]
        return [*(_trouble(home, id) for home, id in troubles), *(_order(home, id) for home, id in orders)]

    def _state(self, known: LiveController) -> Message:
        return Message(
            known.name, topics.of_controller(known.name, "state"), messages.controller_state(known, self.client_id)
        )

    def _walked(self, known: LiveController) -> list[Message]:
        if known.inventory is None:
            return []
        return [
            Message(known.name, topics.of_controller(known.name, "sensors"), messages.sensors(known.inventory.layout)),
            *(_part(known, part) for part in known.inventory.parts),
        ]

    def _of_vanished_parts(self, known: LiveController) -> list[str]:
        if known.inventory is None:
            return []
        there = {topics.part(known.name, part.uri) for part in known.inventory.parts}
        under = topics.of_controller(known.name, "parts/")
        return [topic for topic in self._held.get(known.name, ()) if topic.startswith(under) and topic not in there]


def _is_opened(topic: str) -> bool:
    """Whether it holds what opens and closes: known from the start, for the store tells it."""
    return topic.removeprefix(f"{topics.ROOT}/").partition("/")[2].partition("/")[0] in _OPENED


def _part(known: LiveController, part: Part) -> Message:
    return Message(known.name, topics.part(known.name, part.uri), messages.part(known, part))


def _readings(known: LiveController) -> list[Message]:
    """Not acknowledged: the next round's come soon, and a connection lost tells everything anew."""
    payload = messages.readings(known)
    where = topics.of_controller(known.name, "readings")
    return [] if payload is None else [Message(known.name, where, payload, qos=0)]


def _condition(controller: str, condition_id: str, known: LiveController) -> Message:
    topic = topics.condition(controller, condition_id)
    is_open = known.conditions.get(condition_id)
    return _gone(controller, topic) if is_open is None else Message(controller, topic, messages.condition(is_open))


def _trouble(home: LiveController, trouble_id: str) -> Message:
    topic, is_open = topics.trouble(home.name, trouble_id), home.troubles.get(trouble_id)
    return _gone(home.name, topic) if is_open is None else Message(home.name, topic, messages.trouble(is_open))


def _order(home: LiveController, order_id: str) -> Message:
    topic, is_open = topics.order(home.name, order_id), home.orders.get(order_id)
    return _gone(home.name, topic) if is_open is None else Message(home.name, topic, messages.order(is_open))


def _margins(known: LiveController) -> list[Message]:
    if not known.margins:
        return []
    where = topics.of_controller(known.name, "margins")
    return [Message(known.name, where, messages.margins(known.name, known.margins.values()))]


def _figures(known: LiveController) -> list[Message]:
    where = topics.of_controller(known.name, "figures")
    return [Message(known.name, where, messages.figures(known.name, known.figures.values()))]


def _gone(controller: str, topic: str) -> Message:
    """An empty retained message deletes what a topic holds."""
    return Message(controller, topic, b"")


def _client_id(live: Live) -> str:
    """The same for the same machine and fleet, so that a restart finds what it told before."""
    names = "\n".join((socket.gethostname(), *sorted(live.controllers)))
    return "sledkeeper-" + sha256(names.encode()).hexdigest()[:12]


def _tls(settings: MqttSettings) -> ssl.SSLContext | None:
    if not settings.tls and settings.ca_file is None:
        return None
    try:
        return ssl.create_default_context(cafile=settings.ca_file)
    except (OSError, ValueError) as error:
        raise BrokerSetup(f"mqtt.ca_file: {settings.ca_file} can't be used: {error}") from error
