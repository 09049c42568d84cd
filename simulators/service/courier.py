"""Posts events to subscribers, on loopback only. An edge: it opens connections and waits."""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from urllib.parse import urlsplit

import httptools
import msgspec

from simulators.service.event_bodies import RETRIES, RETRY_INTERVAL
from simulators.service.events import Events
from simulators.service.subscribe import is_loopback
from simulators.service.subscriptions import Subscription

TIMEOUT = 10.0
"""Seconds for one delivery, from connecting to the whole answer."""
MAX_ANSWER = 65_536
"""Bytes of an answer above which a delivery has failed."""
_SLOWEST = 8
"""A policy that backs off waits at most so many times the interval."""


class DeliveryError(Exception):
    """An event did not arrive; says why."""


class Courier:
    """Delivers what a fleet's subscribers are to be told: a task for each that has something due."""

    def __init__(self, *, retries: int = RETRIES, interval: float = RETRY_INTERVAL) -> None:
        """``retries`` further tries of a failed delivery, ``interval`` seconds apart."""
        self._retries = retries
        self._interval = interval
        self._tasks: dict[Subscription, asyncio.Task[None]] = {}
        self._context: ssl.SSLContext | None = None
        self.delivered = 0
        """Messages that arrived."""
        self.failed = 0
        """Deliveries that did not."""

    def serve(self, events: Events) -> None:
        """Deliver for this service from now on."""
        events.on_pending = lambda subscription: self._pending(events, subscription)

    async def aclose(self) -> None:
        """Stop all deliveries."""
        tasks = list(self._tasks.values())
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _pending(self, events: Events, subscription: Subscription) -> None:
        if subscription not in self._tasks:
            name = f"deliver to {subscription.destination}"
            task = asyncio.get_running_loop().create_task(self._deliver(events, subscription), name=name)
            self._tasks[subscription] = task
            task.add_done_callback(lambda done: self._done(subscription, done))

    def _done(self, subscription: Subscription, task: asyncio.Task[None]) -> None:
        del self._tasks[subscription]
        if not task.cancelled() and task.exception() is not None:
            asyncio.get_running_loop().call_exception_handler(
                {"message": "delivering events ended", "exception": task.exception(), "task": task}
            )

    async def _deliver(self, events: Events, subscription: Subscription) -> None:
        while subscription.open and not subscription.suspended:
            records = events.due(subscription)
            report = events.report(subscription)
            if not records and report is None:
                return
            body = report or msgspec.json.encode(events.message(subscription, records))
            try:
                await asyncio.wait_for(self._post(subscription, body), TIMEOUT)
            except (OSError, DeliveryError, TimeoutError):
                self.failed += 1
                await self._failed(events, subscription)
            else:
                self.delivered += 1
                if report is not None:
                    subscription.failures = 0
                    return
                subscription.told(records)

    async def _failed(self, events: Events, subscription: Subscription) -> None:
        subscription.failures += 1
        policy, wait = subscription.policy, self._interval
        if policy == "RetryForeverWithBackoff":
            wait *= min(_SLOWEST, 2 ** (subscription.failures - 1))
        elif policy != "RetryForever" and subscription.failures > self._retries:
            if policy == "SuspendRetries":
                events.suspend(subscription)
            else:
                events.table.close(subscription)
            return
        await asyncio.sleep(wait)

    async def _post(self, subscription: Subscription, body: bytes) -> None:
        parts = urlsplit(subscription.destination or "")
        host = parts.hostname or ""
        if not is_loopback(host):
            raise DeliveryError(f"{host} is not this machine")
        tls = parts.scheme == "https"
        port = parts.port or (443 if tls else 80)
        # localhost is looked up by nobody: it is this machine
        address = "127.0.0.1" if host == "localhost" else host
        reader, writer = await asyncio.open_connection(address, port, ssl=self._tls() if tls else None)
        try:
            target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
            told = f"[{host}]" if ":" in host else host
            lines = [
                f"POST {target} HTTP/1.1",
                f"Host: {told}:{port}",
                "Content-Type: application/json; charset=utf-8",
                "OData-Version: 4.0",
                f"Content-Length: {len(body)}",
                "Connection: close",
                *(f"{name}: {value}" for name, value in subscription.headers),
            ]
            writer.write("\r\n".join([*lines, "", ""]).encode("latin-1", "replace") + body)
            await writer.drain()
            status = await _status(reader)
            if not 200 <= status < 300:
                raise DeliveryError(f"{subscription.destination} answered {status}")
        finally:
            writer.close()
            with contextlib.suppress(OSError):  # it may be gone already
                await writer.wait_closed()

    def _tls(self) -> ssl.SSLContext:
        """Any certificate will do: VerifyCertificate is false in every subscription."""
        if self._context is None:
            self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
            self._context.check_hostname = False
            self._context.verify_mode = ssl.CERT_NONE
        return self._context


class _Answer:
    """Reads the status of a response."""

    def __init__(self) -> None:
        self.status = 0
        self.parser = httptools.HttpResponseParser(self)

    def on_headers_complete(self) -> None:
        self.status = self.parser.get_status_code()


async def _status(reader: asyncio.StreamReader) -> int:
    """The status of the response; its body is not waited for."""
    answer, size = _Answer(), 0
    while not answer.status:
        piece = await reader.read(4096)
        size += len(piece)
        if not piece or size > MAX_ANSWER:
            raise DeliveryError("the connection ended, or went on for ever, before a status came")
        try:
            answer.parser.feed_data(piece)
        except httptools.HttpParserError as error:
            raise DeliveryError(f"the answer is no HTTP: {error}") from error
    return answer.status
