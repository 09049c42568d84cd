"""Invented fleet data for the store's tests."""

from __future__ import annotations

import itertools
from array import array
from pathlib import Path
from typing import Any, NamedTuple

from collector.model import (
    Assessment,
    Condition,
    Event,
    Evidence,
    Frame,
    Health,
    Identity,
    Inventory,
    Kind,
    Layout,
    Link,
    Location,
    Outcome,
    Part,
    Quantity,
    Round,
    Sensor,
    Size,
    Status,
    Subject,
    Update,
    Why,
)
from collector.settings import ControllerSettings, StoreSettings
from collector.store.writer import Writer

HOUR = 3600
NOON = 1_929_960_000.0
"""2031-02-27T12:00:00Z."""

NAN = float("nan")

HOSTILE = {
    "plain": "Sled 1",
    "empty": "",
    "quotes": """'"`; DROP TABLE parts; --""",
    "nul": "a\x00b",
    "controls": "\x1b[31m\r\n\t\x7f",
    "markup": "<script>alert(1)</script>&amp;",
    "bidi": "\u202egnp.exe\u2066",
    "astral": "\U0001f4a9 𝔘",
    "long": "ü" * 10_000,
    "like": "%_\\",
    "json": '{"a": null}',
}


class Clock:
    """A clock that tests set."""

    def __init__(self, time: float = NOON) -> None:
        self.time = time

    def __call__(self) -> float:
        return self.time


class Kept(NamedTuple):
    """Settings of the store."""

    hot_hours: int = 2
    retention_days: float = 30.0


def settings(*names: str) -> list[ControllerSettings]:
    return [
        ControllerSettings(name=name, url=f"https://{name}.example", location=Location(site="Quellmark", row="A"))
        for name in names
    ]


def part(controller: str, name: str = "Sled", **more: Any) -> Part:
    uri = f"/redfish/v1/Chassis/{name}"
    return Part(
        id=f"{controller}:{uri}", controller=controller, uri=uri, kind=more.pop("kind", Kind.SLED), name=name, **more
    )


def sensor(controller: str, name: str = "inlet", of: str = "Sled", **more: Any) -> Sensor:
    uri = f"/redfish/v1/Chassis/{of}"
    given: dict[str, Any] = {
        "sensor": name,
        "controller": controller,
        "part": f"{controller}:{uri}",
        "kind": Kind.SLED,
        "quantity": Quantity.TEMPERATURE,
        "unit": "Cel",
        "source": f"{uri}/Sensors/{name}#/Reading",
    }
    return Sensor(**{**given, **more})


def frame(time: float, *values: float, times: list[float] | None = None, healths: bytes | None = None) -> Frame:
    return Frame(
        time,
        array("d", values),
        bytes([Health.OK]) * len(values) if healths is None else healths,
        None if times is None else array("d", times),
    )


def inventory(controller: str, time: float, *sensors: Sensor, **more: Any) -> Inventory:
    sensors = sensors or (sensor(controller),)
    given: dict[str, Any] = {
        "controller": controller,
        "time": time,
        "parts": (part(controller),),
        "links": (),
        "layout": Layout(controller, tuple(sensors)),
        "statuses": {part(controller).id: Status(health=Health.OK)},
        "frame": frame(time, *(0.0 for _ in sensors)),
    }
    return Inventory(**{**given, **more})


def walk(controller: str, time: float, *sensors: Sensor, **more: Any) -> Update:
    return Update(controller=controller, inventory=inventory(controller, time, *sensors, **more))


def done(controller: str, time: float, *values: float, **more: Any) -> Update:
    """A round that ended well with these values."""
    given: dict[str, Any] = {
        "controller": controller,
        "started": time - 1,
        "finished": time,
        "outcome": Outcome.OK,
        "frame": frame(time, *values) if values else None,
    }
    return Update(controller=controller, round=Round(**{**given, **more}))


def condition(controller: str, name: str = "hot", opened: float = NOON, **more: Any) -> Condition:
    given: dict[str, Any] = {
        "id": f"{controller}/{name}",
        "controller": controller,
        "part": part(controller).id,
        "sensor": "inlet",
        "subject": Subject.THRESHOLD,
        "severity": Health.WARNING,
        "text": "inlet above upper caution",
        "opened": opened,
        "changed": opened,
        "evidence": (Evidence(time=opened, text="41 Cel above 40 Cel", value=41.0, unit="Cel", limit=40.0),),
    }
    return Condition(**{**given, **more})


def assessed(controller: str, time: float = NOON, **more: Any) -> Update:
    return Update(controller=controller, assessment=Assessment(controller=controller, time=time, **more))


def event(controller: str, time: float, text: str = "it happened") -> Event:
    return Event(time=time, controller=controller, part=None, subject="part appeared", severity=Health.OK, text=text)


def rich_inventory(controller: str, word: str) -> Inventory:
    """An inventory whose every text is ``word``, as far as ids and keys allow."""
    parts = (
        part(controller, identity=Identity(serial=word, model=word), location=Location(site=word, slot_index=2**70)),
        part(controller, f"Blade {word}", parent=part(controller).id, size=Size(height=44.45), hot_swap=False),
    )
    links = tuple(Link(parts[0].id, parts[1].id, why) for why in Why)
    sensors = (sensor(controller, f"s {word}", context=word, also_at=(word, word), range_min=-0.0),)
    return inventory(
        controller, NOON, *sensors, parts=parts, links=links, statuses={}, product=word, redfish_version=word
    )


def writer(state_dir: Path, *names: str, now: Clock | None = None, **more: Any) -> Writer:
    """An open writer with these controllers."""
    opened = Writer(state_dir, more.pop("settings", StoreSettings()), now=now or Clock(), **more)
    opened.controllers(settings(*names))
    return opened


def grid(controllers: int, sensors: int) -> dict[str, list[Sensor]]:
    """Controllers with so many sensors each, spread over two parts, not in their files' order."""
    names = [f"n{index:02d}" for index in range(controllers)]
    return {
        name: [
            sensor(name, f"t{index}", of)
            for index, of in itertools.islice(itertools.product(range(sensors, 0, -1), ("Sled", "Blade")), sensors)
        ]
        for name in names
    }
