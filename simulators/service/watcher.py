"""Notices what changes in a sled and says it in the words of the registries: telemetry in, records out."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulators.service.eventwords import message_id, words
from simulators.service.journal import Journal, Record
from simulators.site import Equipment, PartKind
from simulators.telemetry import Health, PartPoint, PowerState, Quantity, SensorPoint, SensorSpec, SledTelemetry

_RANK = {"fatal": 3, "critical": 2, "caution": 1}
_LIMITS = tuple(f"{side}_{level}" for level in _RANK for side in ("upper", "lower"))
"""Graver ones first."""

_HEALTH_WORDS: dict[PartKind, dict[Health, tuple[str, str]]] = {
    PartKind.FAN: {
        "OK": ("Environmental", "FanRestored"),
        "Warning": ("Environmental", "FanWarning"),
        "Critical": ("Environmental", "FanFailed"),
    },
    PartKind.POWER_SUPPLY: {
        "OK": ("Power", "PowerSupplyRestored"),
        "Warning": ("Power", "PowerSupplyWarning"),
        "Critical": ("Power", "PowerSupplyFailed"),
    },
}
"""Messages for a part's own health, where its kind has any; all take the part's name as their one argument."""

_MOVES: dict[PartKind, tuple[str, str, str]] = {
    PartKind.FAN: ("Environmental", "FanRemoved", "FanInserted"),
    PartKind.POWER_SUPPLY: ("Power", "PowerSupplyRemoved", "PowerSupplyInserted"),
    PartKind.DRIVE: ("StorageDevice", "DriveRemoved", "DriveInserted"),
}
"""Registry and messages for a part that goes and comes, where its kind has any."""

_ANY_MOVE = ("ResourceEvent", "ResourceStateChanged", "ResourceStateChanged")


@dataclass(slots=True)
class Telling:
    """How a design's controllers name what they tell of; shared by all services of one tree."""

    sensors: dict[str, str]
    """Sensor id -> URI of what shows it; its part's where no resource does."""
    parts: dict[str, str]
    """Part below the sled -> URI."""
    lamp: tuple[str, str, str] = ("LocationIndicatorActive", "true", "false")
    """Name of the property of a locate lamp, and its values when lit and when not."""
    percent: bool = True
    """Whether fans are told in percent of their rated speed, else in revolutions."""
    managers: str = ""
    """URI of the controller itself."""
    labels: dict[str, str] = field(default_factory=dict)
    """Part below the sled -> what its controller calls it."""


class Watcher:
    """One sled's changes. Remembers only what is not as it should be, so that a healthy fleet costs next to nothing."""

    __slots__ = (
        "_gone",
        "_journal",
        "_lit",
        "_power",
        "_predicted",
        "_replaced",
        "_sensors",
        "_sled",
        "_telling",
        "_unwell",
        "_woke",
    )

    def __init__(self, sled: Equipment, telling: Telling, journal: Journal) -> None:
        self._sled = sled
        self._telling = telling
        self._journal = journal
        self._sensors: dict[str, str] = {}
        self._unwell: dict[str, Health] = {}
        self._predicted: set[str] = set()
        self._power: dict[str, PowerState] = {}
        self._lit: set[str] = set()
        self._gone: set[str] = set()
        self._replaced: dict[str, str] = {}
        self._woke = False

    @property
    def idle(self) -> bool:
        """Whether everything was as it should be when last looked at."""
        unusual = (self._sensors, self._unwell, self._predicted, self._power, self._lit, self._gone, self._replaced)
        return self._woke and not any(unusual)

    def started(self, now: float) -> None:
        """The service came up."""
        self._woke = True
        self._say("HeartbeatEvent", "RedfishServiceStarted", (), now=now, origin=self._telling.managers)
        self._flush()

    def reset(self, now: float) -> None:
        """The controller has been restarted."""
        label = self._label("controller")
        self._say("ManagerEvent", "ManagerReset", (label, "ForceRestart"), now=now, part="controller")
        self.started(now)

    def cleared(self, log: str, origin: str, now: float) -> None:
        """A log was emptied."""
        self._say("LogService", "LogCleared", (log,), now=now, origin=origin, part="controller")
        self._flush()

    def look(self, telemetry: SledTelemetry, now: float, *, quiet: bool = False) -> None:
        """Write down what changed since the last look; ``quiet``: no part has any trouble or lit lamp."""
        if not self._woke:
            self.started(now)
        if quiet and self.idle:
            return
        before = self._journal.last
        groups: dict[str, int] = {}
        for id_, sensor in telemetry.sensors.items():
            if sensor.health != "OK" or id_ in self._sensors:
                self._sensor(id_, sensor, now, groups)
        for path, point in telemetry.parts.items():
            self._part(path, point, now, groups)
        if self._journal.last != before:
            self._flush()

    def _sensor(self, id_: str, sensor: SensorPoint, now: float, groups: dict[str, int]) -> None:
        if sensor.value is None:
            return  # what can't be read crosses nothing, and does not come back either
        spec, value = sensor.spec, sensor.value
        old, new = self._sensors.get(id_), _crossed(spec, value)
        if old == new:
            return
        if new is None:
            self._sensors.pop(id_)
        else:
            self._sensors[id_] = new
        scale, unit = self._scale(spec)
        told: tuple[str, ...] = (spec.label, _text(value if scale == 1.0 else round(value * scale, 1)), unit)
        if new is None:
            key, args = "SensorReadingNormalRange", told
        elif old is not None and old[:5] == new[:5] and _rank(old) > _rank(new):
            way = "Below" if old.startswith("upper") else "Above"
            key, args = f"Reading{way}{_camel(old)}Threshold", (*told, _text(_limit(spec, old) * scale))
        else:
            way = "Above" if new.startswith("upper") else "Below"
            key, args = f"Reading{way}{_camel(new)}Threshold", (*told, _text(_limit(spec, new) * scale))
        part = spec.part.partition("/")[2]
        self._say("SensorEvent", key, args, now=now, part=part, origin=self._telling.sensors.get(id_), groups=groups)

    def _part(self, full: str, point: PartPoint, now: float, groups: dict[str, int]) -> None:
        path = full.partition("/")[2]
        kind = self._sled.parts[full].kind
        label = self._label(path)
        self._presence(path, point, label, now, groups)
        health = self._unwell.get(path, "OK")
        predicted = bool(point.failure_predicted)
        if predicted != (path in self._predicted):
            key = "DrivePredictiveFailure" if predicted else "DrivePredictiveFailureCleared"
            self._say("StorageDevice", key, (label,), now=now, part=path, groups=groups)
            (self._predicted.add if predicted else self._predicted.discard)(path)
            _keep(self._unwell, path, point.health, "OK")
        elif point.health != health:
            known = _HEALTH_WORDS.get(kind)
            if known is not None:
                self._say(*known[point.health], (label,), now=now, part=path, groups=groups)
            else:
                key = f"ResourceStatusChanged{point.health}"
                self._say("ResourceEvent", key, (label, point.health), now=now, part=path, groups=groups)
            _keep(self._unwell, path, point.health, "OK")
        if point.power_state is not None and point.power_state != self._power.get(path, "On"):
            if point.power_state in ("On", "Off"):
                key = f"ResourcePowered{point.power_state}"
                self._say("ResourceEvent", key, (label,), now=now, part=path, groups=groups)
            _keep(self._power, path, point.power_state, "On")
        if bool(point.locate) != (path in self._lit):
            (self._lit.add if point.locate else self._lit.discard)(path)
            name, lit, dark = self._telling.lamp
            args = (name, lit if point.locate else dark)
            self._say("ResourceEvent", "PropertyValueModifiedByClient", args, now=now, part=path)

    def _presence(self, path: str, point: PartPoint, label: str, now: float, groups: dict[str, int]) -> None:
        """Whether the part is there, and whether it is the one that was."""
        gone, was_gone = point.state == "Absent", path in self._gone
        changed = point.replacement != self._replaced.get(path) and not gone
        if not (gone != was_gone or changed):
            return
        registry, removed, inserted = _MOVES.get(self._sled.parts[point.path].kind, _ANY_MOVE)
        if not was_gone and (gone or changed):
            self._moved(registry, removed, label, "Absent", now, path, groups)
        if not gone:
            self._moved(registry, inserted, label, point.state, now, path, groups)
            if point.replacement is None:
                self._replaced.pop(path, None)
            else:
                self._replaced[path] = point.replacement
        (self._gone.add if gone else self._gone.discard)(path)

    def _moved(
        self, registry: str, key: str, label: str, state: str, now: float, path: str, groups: dict[str, int]
    ) -> None:
        args = (label, state) if key == _ANY_MOVE[1] else (label,)
        self._say(registry, key, args, now=now, part=path, groups=groups)

    def _label(self, path: str) -> str:
        part = self._sled.parts[f"{self._sled.name}/{path}" if path else self._sled.name]
        return self._telling.labels.get(path) or part.label

    def _scale(self, spec: SensorSpec) -> tuple[float, str]:
        if spec.quantity is Quantity.ROTATION and spec.rated:
            return (100.0 / spec.rated, "%") if self._telling.percent else (1.0, "RPM")
        return 1.0, spec.unit

    def _say(
        self,
        registry: str,
        key: str,
        args: tuple[str, ...],
        *,
        now: float,
        part: str = "",
        origin: str | None = None,
        groups: dict[str, int] | None = None,
    ) -> None:
        id_ = message_id(registry, key)
        known = words(id_)
        assert known is not None, id_
        assert len(args) == known.takes, (id_, args)
        number = self._journal.last + 1
        group = number if groups is None else groups.setdefault(part, number)
        self._journal.write(
            Record(
                number=number,
                time=now,
                message=id_,
                args=args,
                origin=origin or self._telling.parts.get(part) or self._telling.managers,
                part=part,
                severity=known.severity,
                group=group,
            )
        )

    def _flush(self) -> None:
        if self._journal.on_record is not None:
            self._journal.on_record()


def _keep(
    where: dict[str, object] | dict[str, Health] | dict[str, PowerState], path: str, word: str, usual: str
) -> None:
    if word == usual:
        where.pop(path, None)
    else:
        where[path] = word  # type: ignore[assignment]


def _crossed(spec: SensorSpec, value: float) -> str | None:
    for name in _LIMITS:
        limit: float | None = getattr(spec.thresholds, name)
        if limit is not None and (value > limit if name.startswith("upper") else value < limit):
            return name
    return None


def _limit(spec: SensorSpec, name: str) -> float:
    limit: float = getattr(spec.thresholds, name)
    return limit


def _rank(name: str) -> int:
    return _RANK[name[6:]]


def _camel(name: str) -> str:
    return "".join(word.capitalize() for word in name.split("_"))


def _text(value: float) -> str:
    return f"{round(value, 3):g}" if abs(value) < 1e5 else str(round(value, 3))
