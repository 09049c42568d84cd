"""From physics to what a management controller would tell: sensors with their errors, statuses, power states, lamps.

Further values of a part (:attr:`simulators.telemetry.PartPoint.metrics`), by kind:

* sled: ``energy_joules`` taken in since the start
* blade: ``energy_joules``
* host: ``processor_percent`` utilisation; None while it is off
* fan: ``speed_percent`` of rated speed, ``power_watts``
* power supply: ``input_volts``, ``input_amps``, ``output_volts``, ``output_amps``
* network adapter: ``ports_up``
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from simulators.chance import Floats, key, uniform
from simulators.knobs import Knobs, Stuck
from simulators.sensors import Layout, layout_of, specs_of
from simulators.site import Equipment, Part, PartKind, Sled
from simulators.sleds import Sleds
from simulators.telemetry import (
    SEVERITY,
    UNIT,
    Health,
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
        self._take: NDArray[np.intp] | None = None

    def gather(self, sleds: Sourced, row: int) -> Floats:
        """The true values of one sled, in the order of the layout."""
        sources = sleds.sources()
        pieces = [sources[name][:, row] for name in self.sources]
        if self._take is None:
            starts, at = {}, 0
            for name, piece in zip(self.sources, pieces, strict=True):
                starts[name] = (at, piece.shape[1] if piece.ndim == 2 else 1)
                at += piece.size
            self._take = np.asarray(
                [starts[c.source][0] + c.body * starts[c.source][1] + (c.blade or 0) for c in self._columns]
            )
        values: Floats = np.concatenate([piece.ravel() for piece in pieces])[self._take]
        return values

    def tell(self, true: Floats, off: Floats, jitter: Floats) -> Floats:
        """What sensors make of true values: ``off``, each one's own error, and ``jitter``, from -1 to 1."""
        # What stands still or has no power reads zero, not noise.
        alive = true != 0.0
        told = true * (1.0 + self.gain * off) + (self.bias * off + self.noise * jitter) * alive
        stepped = np.clip(np.rint(told * self.up / self.step) * self.step / self.up, self.low, self.high)
        return np.asarray(stepped)

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

    def __init__(self, sled: Sled, sleds: Sleds, row: int, seed: int) -> None:
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

    def hold(self, sensor: str, tick: int, value: float | None = None) -> Stuck:
        """A sensor held at a value, or at what it tells now; ValueError when it tells nothing now."""
        place = self._place[sensor]
        if value is None:
            value = float(self._read(tick)[place])
            if value != value:
                raise ValueError(f"sensor {sensor} of {self._sled.name} tells nothing that it could be stuck at")
        return Stuck(sensor, self._layout.columns[place], value)

    def report(self, time: float, tick: int, locate: frozenset[str] | set[str]) -> SledTelemetry:
        """What the controller would tell; ``tick`` counts acquisitions and moves the noise."""
        sled, row, knobs = self._sled, self._row, self._sleds.knobs
        values, pulled = self._read(tick), knobs.pulled.get(row, _NONE)
        health = self._grid.judge(values)
        reasons: dict[str, list[tuple[Health, str]]] = {}
        sensors: dict[str, SensorPoint] = {}
        # Python numbers at once: per-element access to arrays would be the largest cost of a report.
        for spec, value, code in zip(self.specs, values.tolist(), health.tolist(), strict=True):
            if value != value:
                gone = spec.part in pulled
                sensors[spec.id] = SensorPoint(spec, None, "OK", "Absent" if gone else "UnavailableOffline")
                continue
            word = WORDS[code]
            sensors[spec.id] = SensorPoint(spec, value, word, "Enabled")
            if code:
                reasons.setdefault(spec.part, []).append((word, crossing(spec, value)))
        for path in knobs.predicted.get(row, ()):
            reasons.setdefault(path, []).append(("Warning", "The drive expects to fail."))
        for blade in sled.blades:
            if not knobs.blade_on[row, blade.number - 1] and blade.path not in pulled:
                reasons.setdefault(blade.path, []).insert(0, ("Critical", "The 12 V input has failed."))
                reasons.setdefault(blade.host, []).append(("Critical", "The host went off without being asked to."))
        for path in pulled & reasons.keys():
            del reasons[path]
        for told in reasons.values():
            told.sort(key=lambda reason: -SEVERITY[reason[0]])
        return SledTelemetry(
            sled=sled.name,
            time=time,
            sensors=sensors,
            parts=self._parts(sensors, reasons, locate),
            controller=knobs.condition(row),
        )

    def _read(self, tick: int) -> Floats:
        grid, knobs, row = self._grid, self._sleds.knobs, self._row
        true = grid.gather(self._sleds, row)
        jitter = 2.0 * uniform(self._keys, 2 + tick) - 1.0
        told = grid.tell(true, self._off, jitter)
        for stuck in knobs.stuck.get(row, ()):
            told[self._place[stuck.sensor]] = stuck.value
        dead = np.flatnonzero(knobs.blade_on[row] == 0.0)
        if dead.size:
            told[np.isin(grid.blade, dead)] = np.nan
        if pulled := knobs.pulled.get(row):
            told[[spec.part in pulled for spec in self.specs]] = np.nan
        return told

    def _parts(
        self,
        sensors: dict[str, SensorPoint],
        reasons: dict[str, list[tuple[Health, str]]],
        locate: frozenset[str] | set[str],
    ) -> dict[str, PartPoint]:
        sled, knobs, row = self._sled, self._sleds.knobs, self._row
        own, rolled = healths(sled, reasons)
        dark = {b.path for b in sled.blades if not knobs.blade_on[row, b.number - 1]}
        predicted = knobs.predicted.get(row, _NONE)
        swapped, pulled = knobs.swapped.get(row, {}), knobs.pulled.get(row, _NONE)
        stopped = {b.host for b in sled.blades if not knobs.host_on[row, b.number - 1]}
        metrics = self._metrics(sensors, dark, stopped)
        points: dict[str, PartPoint] = {}
        for path, parent, firmware, powered, lamp, drive, blade, on_blade in self._parts_of:
            off = bool(dark) and (path in dark or parent in dark)
            state: State = "UnavailableOffline" if off and not blade else "Enabled"
            power: PowerState | None = ("Off" if off else "On") if powered else None
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
        return points

    def _metrics(
        self, sensors: dict[str, SensorPoint], dark: set[str], stopped: set[str]
    ) -> dict[str, dict[str, float | None]]:
        sled, sleds, row = self._sled, self._sleds, self._row
        top = sled.path
        metrics: dict[str, dict[str, float | None]] = {
            top: {"energy_joules": round(float(sleds.sled_energy[row]))},
            f"{top}/adapter": {"ports_up": float(sled.design.adapter.ports)},
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
