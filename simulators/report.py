"""From physics to what a management controller would tell: sensors with their errors, statuses, power states, lamps.

Further values of a part (:attr:`simulators.telemetry.PartPoint.metrics`), by kind:

* sled: ``energy_joules`` taken in since the start
* blade: ``energy_joules``
* host: ``processor_percent`` utilisation; None while it is off
* fan: ``speed_percent`` of rated speed, ``power_watts``
* power supply: ``input_volts``, ``input_amps``, ``output_volts``, ``output_amps``
* memory: ``corrected`` and ``uncorrected`` errors since the host was started, ``trips`` while too many are corrected
* drive: ``life_percent`` of its media's life that is left
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from simulators.chance import Floats, chance, key, uniform
from simulators.digital import Digital
from simulators.electronics import Electronics
from simulators.knobs import Ill, Knobs
from simulators.sensors import Layout, layout_of, specs_of
from simulators.site import Equipment, Part, PartKind, Sled
from simulators.sleds import SLOW_SECONDS, Sleds
from simulators.telemetry import (
    SEVERITY,
    UNIT,
    ControllerCondition,
    Health,
    Mode,
    Neighbour,
    PartPoint,
    PowerState,
    SensorPoint,
    SensorSpec,
    SledTelemetry,
    State,
)

_LOST_WITH_BLADE = ("cpu", "dimm", "drive", "regulator")
"""Variables whose sensors sit on the blade's own 12 V; the others hang on the sled and go on."""
_POWERED = (PartKind.SLED, PartKind.BLADE, PartKind.HOST, PartKind.CONTROLLER)
_ON_BLADE = (PartKind.PROCESSOR, PartKind.MEMORY, PartKind.DRIVE)
_LIMITS = ("lower_caution", "upper_caution", "lower_critical", "upper_critical", "lower_fatal", "upper_fatal")
"""Milder ones first."""
STRIDE = np.uint64(0xD1B54A32D192ED03)
"""Odd, so that all sensors of a sled have keys far from each other."""
WORDS: tuple[Health, ...] = ("OK", "Warning", "Critical")


class Sourced(Protocol):
    """Hardware of one design with variables that have sensors."""

    knobs: Knobs

    def sources(self) -> dict[str, Floats]:
        """The variables by name, (likes, S) or (likes, S, B)."""


class Grid:
    """A layout's numbers as columns, shared by all sleds of a design and dialect."""

    def __init__(self, layout: Layout) -> None:
        specs, columns = layout.specs, layout.columns
        self.sources = tuple(dict.fromkeys(column.source for column in columns))
        self._columns = columns
        self.blade = np.asarray(
            [-1 if c.blade is None or c.source not in _LOST_WITH_BLADE else c.blade for c in columns]
        )
        self.low, self.high, self.noise, self.bias, self.gain = (
            np.asarray([getattr(spec, name) for spec in specs]) for name in ("low", "high", "noise", "bias", "gain")
        )
        # Steps below 1 are one by a whole number: dividing by that gives the double nearest to the decimal, e.g. 12.05.
        step = np.asarray([spec.resolution for spec in specs])
        self.up = np.where(step < 1.0, np.rint(1.0 / step), 1.0)
        self.step = np.where(step < 1.0, 1.0, step)
        limits = {name: np.asarray([_limit(spec, name) for spec in specs]) for name in _LIMITS}
        self._warning = (limits["upper_caution"], limits["lower_caution"])
        self._critical = (
            np.fmin(limits["upper_critical"], limits["upper_fatal"]),
            np.fmax(limits["lower_critical"], limits["lower_fatal"]),
        )
        self._takes: dict[tuple[tuple[int, ...], ...], NDArray[np.intp]] = {}
        """By the shapes of the pieces: a world whose largest sled or shelf is larger has wider tables."""

    def gather(self, sleds: Sourced, row: int) -> Floats:
        """The true values of one sled, in the order of the layout."""
        sources = sleds.sources()
        pieces = [sources[name][:, row] for name in self.sources]
        shapes = tuple(piece.shape for piece in pieces)
        take = self._takes.get(shapes)
        if take is None:
            starts, at = {}, 0
            for name, piece in zip(self.sources, pieces, strict=True):
                starts[name] = (at, piece.shape[1] if piece.ndim == 2 else 1)
                at += piece.size
            take = self._takes[shapes] = np.asarray(
                [starts[c.source][0] + c.body * starts[c.source][1] + (c.blade or 0) for c in self._columns]
            )
        values: Floats = np.concatenate([piece.ravel() for piece in pieces])[take]
        return values

    def tell(self, true: Floats, off: Floats, jitter: Floats) -> Floats:
        """What sensors make of true values: ``off``, each one's own error, and ``jitter``, from -1 to 1."""
        # What stands still or has no power reads zero, not noise.
        alive = true != 0.0
        told = true * (1.0 + self.gain * off) + (self.bias * off + self.noise * jitter) * alive
        stepped = np.clip(np.rint(told * self.up / self.step) * self.step / self.up, self.low, self.high)
        return np.asarray(stepped)

    def within(self, place: int, value: float) -> float:
        """A value as one sensor's resolution and range let it be told; NaN stays."""
        if value != value:
            return value
        up, step = float(self.up[place]), float(self.step[place])
        return float(min(max(round(value * up / step) * step / up, float(self.low[place])), float(self.high[place])))

    def judge(self, values: Floats) -> NDArray[np.int8]:
        """0 OK, 1 Warning, 2 Critical for each value; a missing threshold or value crosses nothing."""
        over, under = self._warning
        health = ((values > over) | (values < under)).astype(np.int8)
        over, under = self._critical
        health[(values > over) | (values < under)] = 2
        return health


def _limit(spec: SensorSpec, name: str) -> float:
    value: float | None = getattr(spec.thresholds, name)
    return math.nan if value is None else value


@cache
def grid_of(layout: Layout) -> Grid:
    """The grid of a layout, made once."""
    return Grid(layout)


class Reporter:
    """Reports one sled again and again."""

    def __init__(
        self, sled: Sled, sleds: Sleds, row: int, seed: int, neighbours: Mapping[str, Neighbour] = MappingProxyType({})
    ) -> None:
        """``neighbours``: what the ports see at the other ends of their cables."""
        self._electronics = Electronics(sled, seed, neighbours)
        self._sled, self._sleds, self._row = sled, sleds, row
        self.specs: tuple[SensorSpec, ...] = specs_of(sled)
        self._layout = layout_of(sled)
        self._grid = grid_of(self._layout)
        count = np.arange(len(self.specs), dtype=np.uint64)
        self._keys = np.uint64(key(seed, sled.name, "sensors")) + count * STRIDE
        self._place = {spec.id: i for i, spec in enumerate(self.specs)}
        self._off = 2.0 * uniform(self._keys, 1) - 1.0
        # What never changes of every part, found once: a report says sixty parts anew each time.
        self._parts_of = [
            (
                path,
                part.parent,
                part.item.firmware,
                part.kind in _POWERED,
                has_lamp(sled, part),
                part.kind is PartKind.DRIVE,
                part.kind is PartKind.BLADE,
                part.kind in _ON_BLADE,
            )
            for path, part in sled.parts.items()
        ]

    def hold(self, sensor: str, tick: int, value: float | None = None) -> Ill:
        """A sensor held at a value, or at what it tells now; ValueError when it tells nothing now."""
        place = self._place[sensor]
        if value is None:
            value = float(self._read(tick)[place])
            if value != value:
                raise ValueError(f"sensor {sensor} of {self._sled.name} tells nothing that it could be stuck at")
        return Ill(sensor, self._layout.columns[place], value)

    def report(self, time: float, tick: int, locate: frozenset[str] | set[str]) -> SledTelemetry:
        """What the controller would tell; ``tick`` counts acquisitions and moves the noise."""
        sled, row, knobs = self._sled, self._row, self._sleds.knobs
        values, pulled, ill, lost = self._read(tick), knobs.pulled.get(row, _NONE), knobs.digital.get(row), set[str]()
        if ill is not None:
            lost = ill.lost(time)
            gone = lost | {path for path, state in ill.dead.items() if state == "Absent"}
            pulled = pulled | {path for path in sled.parts if _within(path, gone)}
            off = pulled | ill.dead.keys()
            values[[spec.part in off for spec in self.specs]] = np.nan
        health = self._grid.judge(values)
        reasons: dict[str, list[tuple[Health, str]]] = {}
        sensors: dict[str, SensorPoint] = {}
        # Python numbers at once: per-element access to arrays would be the largest cost of a report.
        for spec, value, code in zip(self.specs, values.tolist(), health.tolist(), strict=True):
            if value != value:
                state: State = "Absent" if spec.part in pulled else "UnavailableOffline"
                sensors[spec.id] = SensorPoint(spec, None, "OK", state)
                continue
            word = WORDS[code]
            sensors[spec.id] = SensorPoint(spec, value, word, "Enabled")
            if code:
                reasons.setdefault(spec.part, []).append((word, crossing(spec, value)))
        for path in knobs.predicted.get(row, ()):
            reasons.setdefault(path, []).append(("Warning", "The drive expects to fail."))
        for n, slow in enumerate((self._sleds.lags[row] >= SLOW_SECONDS).tolist(), 1):
            fan = f"{sled.path}/fan{n}"
            if slow and not any(word == "Critical" for word, _ in reasons.get(fan, ())):
                text = "The fan turns much slower than it is asked to."
                reasons.setdefault(fan, []).insert(0, ("Critical", text))
        for n, works in enumerate(knobs.supply_on[row].tolist(), 1):
            if not works:
                reasons.setdefault(f"{sled.path}/psu{n}", []).insert(0, ("Critical", "The supply puts out nothing."))
        if self._sleds.plates is not None and self._sleds.plates.lost[row] > WET_LITRES:
            rope = f"{sled.path}/leak{len(sled.design.detectors)}"
            reasons.setdefault(rope, []).append(("Critical", "The rope is wet."))
        for blade in sled.blades:
            dead = not knobs.board_on[row, blade.number - 1]
            if dead and knobs.blade_on[row, blade.number - 1] and blade.path not in pulled:
                reasons.setdefault(blade.path, []).insert(0, ("Critical", "The blade does not answer."))
            if not knobs.blade_on[row, blade.number - 1] and blade.path not in pulled:
                reasons.setdefault(blade.path, []).insert(0, ("Critical", "The 12 V input has failed."))
                reasons.setdefault(blade.host, []).append(("Critical", "The host went off without being asked to."))
        if ill is not None:
            self._electronics.reasons(time, ill, reasons)
        for path in pulled & reasons.keys():
            del reasons[path]
        for told in reasons.values():
            told.sort(key=lambda reason: -SEVERITY[reason[0]])
        return SledTelemetry(
            sled=sled.name,
            time=time,
            sensors=sensors,
            parts=self._parts(time, sensors, reasons, locate, pulled),
            controller=knobs.condition(row) if self._sleds.powered[row] else WITHOUT_POWER,
            ports=self._electronics.ports(ill, lost),
        )

    def _read(self, tick: int) -> Floats:
        grid, knobs, row = self._grid, self._sleds.knobs, self._row
        true = grid.gather(self._sleds, row)
        jitter = 2.0 * uniform(self._keys, 2 + tick) - 1.0
        told = grid.tell(true, self._off, jitter)
        for ill in knobs.ill.get(row, ()):
            place = self._place[ill.sensor]
            told[place] = grid.within(place, ill.told(float(told[place]), chance(ill.sensor, tick)))
        dead = np.flatnonzero(knobs.blade_on[row] * knobs.board_on[row] == 0.0)
        if dead.size:
            told[np.isin(grid.blade, dead)] = np.nan
        if pulled := knobs.pulled.get(row):
            told[[spec.part in pulled for spec in self.specs]] = np.nan
        return told

    def _parts(
        self,
        time: float,
        sensors: dict[str, SensorPoint],
        reasons: dict[str, list[tuple[Health, str]]],
        locate: frozenset[str] | set[str],
        pulled: frozenset[str],
    ) -> dict[str, PartPoint]:
        sled, knobs, row = self._sled, self._sleds.knobs, self._row
        own, rolled = healths(sled, reasons)
        lives = knobs.blade_on[row] * knobs.board_on[row]
        dark = {b.path for b in sled.blades if not lives[b.number - 1]}
        mute = {path for b in sled.blades if not knobs.board_on[row, b.number - 1] for path in (b.path, b.host)}
        predicted = knobs.predicted.get(row, _NONE)
        swapped, ill = knobs.swapped.get(row, {}), knobs.digital.get(row)
        stopped = {b.host for b in sled.blades if not knobs.host_on[row, b.number - 1]}
        metrics = self._metrics(sensors, dark, stopped)
        self._electronics.metrics(time, ill, swapped, metrics)
        points: dict[str, PartPoint] = {}
        for path, parent, firmware, powered, lamp, drive, blade, on_blade in self._parts_of:
            off = bool(dark) and (path in dark or parent in dark)
            state: State = "UnavailableOffline" if off and not blade else "Enabled"
            power: PowerState | None = ("Off" if off else "On") if powered else None
            if path in mute:
                state = "UnavailableOffline"
            if path in stopped:
                power, state = "Off", state if off else "StandbyOffline"
            if path in pulled:
                state, off = "Absent", True
            points[path] = PartPoint(
                path,
                state,
                own.get(path, "OK"),
                rolled.get(path, "OK"),
                power,
                path in locate if lamp else None,
                path in predicted if drive else None,
                None if off and (on_blade or path in pulled) else firmware,
                metrics.get(path, _NOTHING),
                tuple(text for _, text in reasons[path]) if path in reasons else (),
                swapped.get(path),
            )
        return points if ill is None else told_ill(points, ill)

    def _metrics(
        self, sensors: dict[str, SensorPoint], dark: set[str], stopped: set[str]
    ) -> dict[str, dict[str, float | None]]:
        sled, sleds, row = self._sled, self._sleds, self._row
        top = sled.path
        metrics: dict[str, dict[str, float | None]] = {
            top: {"energy_joules": round(float(sleds.sled_energy[row]))},
        }
        for i, blade in enumerate(sled.blades):
            metrics[blade.path] = {"energy_joules": round(float(sleds.blade_energy[row, i]))}
            off = blade.path in dark or blade.host in stopped
            busy = None if off else round(100.0 * float(sleds.utilisation[row, i]), 1)
            metrics[blade.host] = {"processor_percent": busy}
        for i, watts in enumerate(sleds.fan_power[row].tolist(), 1):
            rpm = sensors[f"Fan{i}Tach"].value or 0.0
            percent = round(100.0 * rpm / sled.design.fan.rated_rpm, 1)
            metrics[f"{top}/fan{i}"] = {"speed_percent": percent, "power_watts": round(watts, 1)}
        volts = sensors["FeedVoltage"].value or 0.0
        for i in range(1, len(sled.design.power_supplies) + 1):
            inside, outside = sensors[f"Psu{i}Input"].value or 0.0, sensors[f"Psu{i}Output"].value or 0.0
            plane = round(float(sleds.plane[row]), 2)
            metrics[f"{top}/psu{i}"] = {
                "input_volts": volts,
                "input_amps": round(inside / volts, 2) if volts else None,
                "output_volts": plane,
                "output_amps": round(outside / plane, 2),
            }
        return metrics


_NOTHING: dict[str, float | None] = {}
_NONE: frozenset[str] = frozenset()
WITHOUT_POWER = ControllerCondition(Mode.HUNG, cut_off=True)
"""Of a controller that nothing feeds."""
WET_LITRES = 0.03
"""Coolant that makes a sensing rope tell; common practice, no source."""


def _within(path: str, gone: set[str]) -> bool:
    """Whether a part is one of those, or on one of them."""
    return any(path == top or path.startswith(f"{top}/") for top in gone)


def told_ill(points: dict[str, PartPoint], ill: Digital) -> dict[str, PartPoint]:
    """The parts as told by electronics that are not as they should be; the same dict."""
    for path, state in ill.dead.items():
        points[path] = points[path]._replace(state=state, firmware=None)
    for path, version in ill.versions.items():
        if points[path].firmware is not None:
            points[path] = points[path]._replace(firmware=version)
    for path, board in ill.boards.items():
        points[path] = points[path]._replace(board=board)
    for path, lamp in ill.lamps.items():
        if lamp.noticed:
            points[path] = points[path]._replace(locate=lamp.lit)
    return points


def has_lamp(sled: Equipment, part: Part) -> bool:
    """Whether a part carries a locate lamp: what is pulled from front or back does, what sits on a board doesn't."""
    if part.kind is PartKind.DRIVE:
        return isinstance(sled, Sled) and bool(sled.design.blade.bays)
    return part.kind in (PartKind.SHELF, PartKind.SLED, PartKind.BLADE, PartKind.FAN, PartKind.POWER_SUPPLY)


def healths(
    sled: Equipment, reasons: dict[str, list[tuple[Health, str]]]
) -> tuple[dict[str, Health], dict[str, Health]]:
    """Own and rolled-up health of the parts that aren't OK."""
    own: dict[str, Health] = {path: _worst(word for word, _ in told) for path, told in reasons.items()}
    rolled: dict[str, Health] = {}
    for path, word in own.items():
        at: str | None = path
        while at is not None:
            rolled[at] = _worst((word, rolled.get(at, "OK")))
            at = sled.parts[at].parent
    # A host's resource holds the processors, memory and drives of its board (DSP8010: "and its dependent resources").
    for path, part in sled.parts.items():
        if part.kind is PartKind.HOST and part.parent in rolled:
            words = [rolled[each] for each in rolled if each != part.parent and _within(each, {part.parent})]
            if words:
                rolled[path] = _worst(words)
    return own, rolled


def _worst(words: Iterable[Health]) -> Health:
    return max(words, key=SEVERITY.__getitem__)


def crossing(spec: SensorSpec, value: float) -> str:
    """What a controller says of a reading beyond a threshold."""
    crossed = ""
    for name in _LIMITS:
        limit = getattr(spec.thresholds, name)
        if limit is not None and (value < limit if name.startswith("lower") else value > limit):
            side = "below" if name.startswith("lower") else "above"
            crossed = f"{side} the {name.replace('_', ' ')} threshold of {limit:g} {UNIT[spec.quantity]}"
    return f"{spec.label} reads {value:g} {UNIT[spec.quantity]}, {crossed}."
