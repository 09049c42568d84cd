"""A service whose sled does what a test says: for what is told of events."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.telemetry import ControllerCondition, Mode, PartPoint, SensorPoint, SledTelemetry
from tests.simulators.service_kit import NOW, PASSWORD, USER, Asker, sled_of, still_world, tree_of

ENTRIES = "/redfish/v1/Managers/Controller/LogServices/Events/Entries"
SUBSCRIPTIONS = "/redfish/v1/EventService/Subscriptions"
STREAM = "/redfish/v1/EventService/SSE"
TEST_EVENT = "/redfish/v1/EventService/Actions/EventService.SubmitTestEvent"


class Scene:
    """A sled's source: what the still world tells, with what a test has changed of it."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._told = still_world().telemetry(name)
        self.time = NOW

    def telemetry(self) -> SledTelemetry:
        return self._told

    def acquired(self) -> float:
        return self.time

    def set_locate(self, part: str, on: bool) -> None:
        self.part(part.partition("/")[2], locate=on)

    def sensor(self, id_: str, value: float | None) -> None:
        """Let a sensor read this from now on, and its health follow."""
        old = self._told.sensors[id_]
        point = SensorPoint(
            old.spec, value, old.spec.thresholds.judge(value), "Enabled" if value is not None else "UnavailableOffline"
        )
        self._told = replace(self._told, sensors={**self._told.sensors, id_: point})
        # a real report gives the reason with the part (simulators.report), without touching its own health here
        reasons = () if point.health == "OK" else (f"{old.spec.label} is beyond a limit.",)
        self.part(old.spec.part.partition("/")[2], reasons=reasons)

    def part(self, path: str, **changes: Any) -> None:
        """Change what is told of a part below the sled."""
        full = f"{self.name}/{path}" if path else self.name
        point: PartPoint = self._told.parts[full]._replace(**changes)
        self._told = replace(self._told, parts={**self._told.parts, full: point})

    def ill(self, path: str, health: str, **changes: Any) -> None:
        """Change a part's health, with a reason or without one."""
        self.part(path, health=health, reasons=() if health == "OK" else ("Something is wrong.",), **changes)

    def controller(self, mode: Mode) -> None:
        """Change how the controller itself does."""
        self._told = replace(self._told, controller=ControllerCondition(mode))


def scene(dialect: str = "modern", design: str = "quad", **options: Any) -> tuple[Asker, Scene]:
    """A service and the scene behind it, looked at once so that its journal has begun."""
    sled = sled_of(design, dialect)
    source = Scene(sled.name)
    service = Service(
        sled,
        tree_of(design, dialect),
        source,
        Account(USER, PASSWORD, built_in=True),
        admin=Account("admin", PASSWORD, "Administrator", built_in=True),
        **options,
    )
    service.look(NOW)
    return Asker(service, still_world(), sled), source


def keys(one: Asker) -> list[str]:
    """Registry and key of all that the journal has, oldest first, without the start of the service."""
    assert one.service.journal is not None
    told = [record.message.split(".") for record in one.service.journal]
    return [f"{steps[0]}.{steps[-1]}" for steps in told][1:]
