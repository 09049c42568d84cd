"""The invented fleet in simulated time."""

from __future__ import annotations

from simulators.faults import Injection, check
from simulators.sensors import specs_of
from simulators.site import PartKind, Site
from simulators.telemetry import PartPoint, Quantity, SensorPoint, SledTelemetry

_NOMINAL = {
    Quantity.TEMPERATURE: 30.0,
    Quantity.HUMIDITY: 45.0,
    Quantity.POWER: 210.0,
    Quantity.VOLTAGE: 12.1,
    Quantity.CURRENT: 17.0,
    Quantity.ROTATION: 7200.0,
    Quantity.AIR_FLOW: 2.6,
}


class World:
    """A site's physics, advanced by hand; reads no clock."""

    def __init__(self, site: Site, *, seed: int = 1, start: float = 1_790_000_000.0) -> None:
        self.site = site
        self.seed = seed
        self.time = start
        self._active: dict[Injection, dict[str, object]] = {}
        self._locate: set[str] = set()

    def advance(self, seconds: float) -> None:
        """Let simulated time pass; ValueError for a negative span."""
        if seconds < 0:
            raise ValueError(f"time does not run backwards: {seconds} s")
        self.time += seconds

    def telemetry(self, sled: str) -> SledTelemetry:
        """What the sled's controller would report now; KeyError for an unknown sled."""
        # First shape only: nominal values stand in until the physics is in.
        what = self.site.sled(sled)
        sensors = {
            spec.id: SensorPoint(spec, 49.5 if spec.context == "DCBus" else _NOMINAL[spec.quantity], "OK", "Enabled")
            for spec in specs_of(what)
        }
        powered = (PartKind.SLED, PartKind.BLADE, PartKind.HOST, PartKind.CONTROLLER, PartKind.PROCESSOR)
        lamps = (PartKind.SLED, PartKind.BLADE, PartKind.DRIVE, PartKind.FAN)
        parts = {
            part.path: PartPoint(
                path=part.path,
                state="Enabled",
                health="OK",
                rollup="OK",
                power_state="On" if part.kind in powered else None,
                locate=part.path in self._locate if part.kind in lamps else None,
                failure_predicted=False if part.kind is PartKind.DRIVE else None,
                firmware=part.item.firmware,
                metrics={},
            )
            for part in what.parts.values()
        }
        return SledTelemetry(sled=sled, time=self.time, sensors=sensors, parts=parts)

    def inject(self, fault: str, part_path: str, **args: object) -> None:
        """Switch a fault on; UnknownFaultError where it does not fit."""
        check(fault, part_path, self.site)
        self._active[Injection(fault, part_path)] = args

    def clear(self, fault: str, part_path: str) -> None:
        """Switch a fault off; nothing happens where it is not on."""
        check(fault, part_path, self.site)
        self._active.pop(Injection(fault, part_path), None)

    def active(self) -> tuple[Injection, ...]:
        """All faults that are on, oldest first."""
        return tuple(self._active)

    def set_locate(self, part_path: str, on: bool) -> None:
        """Switch a part's locate lamp; KeyError for an unknown part."""
        self.site.part(part_path)
        (self._locate.add if on else self._locate.discard)(part_path)
