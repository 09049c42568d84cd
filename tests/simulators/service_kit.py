"""A service in this process for the tests: its world, its clock and a way to ask it."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from simulators.service import dialects
from simulators.service.http import Reply, Request
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.service.tree import Tree
from simulators.site import Sled, demo_site
from simulators.telemetry import SledTelemetry
from simulators.world import World

USER, PASSWORD = "monitor", "open sesame"


def basic(user: str, password: str) -> dict[str, str]:
    """The headers of basic authentication."""
    return {"authorization": "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()}


BASIC = basic(USER, PASSWORD)
ADMIN = basic("admin", PASSWORD)
"""Of the account that may see and do everything."""
NOW = 1_800_000_000.0

SITE = demo_site()
KINDS: dict[tuple[str, str], Sled] = {}
"""A sled of every (design, dialect) of the demo site."""
for _sled in SITE.sleds:
    KINDS.setdefault((_sled.design.name, _sled.dialect), _sled)


@cache
def tree_of(design: str, dialect: str) -> Tree:
    """The tree of a design in a dialect, built once for all tests."""
    return dialects.tree(sled_of(design, dialect))


def sled_of(design: str, dialect: str) -> Sled:
    """A sled of a design and dialect: the site's own, or one that is made to speak so."""
    own = KINDS.get((design, dialect))
    return own or replace(KINDS[design, "modern"], dialect=dialect)


class Sledge:
    """The source of one sled."""

    def __init__(self, world: World, name: str) -> None:
        self.world, self.name = world, name

    def telemetry(self) -> SledTelemetry:
        return self.world.telemetry(self.name)

    def acquired(self) -> float:
        return NOW

    def set_locate(self, part: str, on: bool) -> None:
        self.world.set_locate(part, on)

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        self.world.set_power(host, on, again=again)

    def restart(self) -> None:
        self.world.inject("controller-rebooting", f"{self.name}/controller")


@dataclass
class Asker:
    """Asks a service as a logged-in client would."""

    service: Service
    world: World
    sled: Sled
    now: float = NOW
    headers: dict[str, str] = field(default_factory=lambda: dict(BASIC))

    def ask(self, method: str, target: str, body: Any = None, **headers: str) -> Reply:
        path, _, query = target.partition("?")
        told = {name.replace("_", "-"): value for name, value in headers.items()}
        raw = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
        return self.service.respond(Request(method, path, query, self.headers | told, raw, self.now, "127.0.0.1"))

    def get(self, target: str, status: int = 200, **headers: str) -> Any:
        reply = self.ask("GET", target, **headers)
        assert reply.status == status, (target, reply.status, reply.body[:300])
        return json.loads(reply.body)

    def error(self, method: str, target: str, body: Any = None, **headers: str) -> tuple[int, list[str]]:
        """Status and message keys of an error reply, its shape checked (DSP0266, "Error responses")."""
        reply = self.ask(method, target, body, **headers)
        error = json.loads(reply.body)["error"]
        infos = error["@Message.ExtendedInfo"]
        assert error["code"]
        assert error["message"]
        assert infos
        return reply.status, [info["MessageId"].rpartition(".")[2] for info in infos]


@cache
def still_world() -> World:
    """One world for all tests that only look: making one takes longer than most tests."""
    return World(SITE)


def asker(design: str = "quad", dialect: str = "modern", *, own_world: bool = False, **options: Any) -> Asker:
    """A fresh service of a design and dialect; with ``own_world`` for tests that change something in it."""
    sled = sled_of(design, dialect)
    world = World(SITE) if own_world else still_world()
    tree = tree_of(design, dialect)
    service = Service(
        sled,
        tree,
        Sledge(world, sled.name),
        Account(USER, PASSWORD, built_in=True),
        admin=Account("admin", PASSWORD, "Administrator", built_in=True),
        **options,
    )
    return Asker(service, world, sled)
