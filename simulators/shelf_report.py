"""From a power shelf's physics to what its controller would tell.

Further values of a part (:attr:`simulators.telemetry.PartPoint.metrics`), by kind:

* shelf: ``energy_joules`` taken in since the start, ``load_percent`` of what it is rated for
* power supply: ``input_volts``, ``input_amps``, ``output_volts``, ``output_amps``
* outlet, circuit: none; all they tell are sensors
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from simulators.chance import Floats, chance, key, uniform
from simulators.knobs import Ill
from simulators.parts import MAINS, Part, PartKind, Shelf
from simulators.report import STRIDE, WITHOUT_POWER, WORDS, crossing, grid_of, has_lamp, healths, told_ill
from simulators.shelves import Shelves, shelf_layout
from simulators.telemetry import (
    SEVERITY,
    Health,
    Neighbour,
    PartPoint,
    PortPoint,
    PowerState,
    SensorPoint,
    SensorSpec,
    SledTelemetry,
)

_SWITCHED = (PartKind.SHELF, PartKind.CONTROLLER)


class ShelfReporter:
    """Reports one shelf again and again; see :class:`simulators.report.Reporter`."""

    def __init__(
        self,
        shelf: Shelf,
        shelves: Shelves,
        row: int,
        seed: int,
        neighbours: Mapping[str, Neighbour] = MappingProxyType({}),
    ) -> None:
        """``neighbours``: what the controller's port sees at the other end of its cable."""
        self._ports = {path: PortPoint(True, neighbour) for path, neighbour in neighbours.items()}
        self._shelf, self._shelves, self._row = shelf, shelves, row
        self._layout = shelf_layout(shelf.design, len(shelf.outlets))
        self._grid = grid_of(self._layout)
        self.specs: tuple[SensorSpec, ...] = tuple(
            replace(spec, part=f"{shelf.path}{spec.part}") for spec in self._layout.specs
        )
        count = np.arange(len(self.specs), dtype=np.uint64)
        self._keys = np.uint64(key(seed, shelf.name, "sensors")) + count * STRIDE
        self._off = 2.0 * uniform(self._keys, 1) - 1.0
        self._place = {spec.id: i for i, spec in enumerate(self.specs)}

    def hold(self, sensor: str, tick: int, value: float | None = None) -> Ill:
        """A sensor held at a value, or at what it tells now."""
        place = self._place[sensor]
        held = float(self._read(tick)[place]) if value is None else value
        if held != held:
            raise ValueError(f"sensor {sensor} of {self._shelf.name} tells nothing that it could be stuck at")
        return Ill(sensor, self._layout.columns[place], held)

    def report(self, time: float, tick: int, locate: frozenset[str] | set[str]) -> SledTelemetry:
        """What the controller would tell; ``tick`` counts acquisitions and moves the noise."""
        values = self._read(tick)
        judged = self._grid.judge(values)
        reasons: dict[str, list[tuple[Health, str]]] = {}
        sensors: dict[str, SensorPoint] = {}
        for spec, value, code in zip(self.specs, values.tolist(), judged.tolist(), strict=True):
            if value != value:
                sensors[spec.id] = SensorPoint(spec, None, "OK", "UnavailableOffline")
                continue
            sensors[spec.id] = SensorPoint(spec, value, WORDS[code], "Enabled")
            if code:
                reasons.setdefault(spec.part, []).append((WORDS[code], crossing(spec, value)))
        works, sound = self._shelves.works[:, self._row], self._shelves.knobs.supply_on[self._row]
        for n, (runs, whole) in enumerate(zip(works.tolist(), sound.tolist(), strict=False), 1):
            if not runs and n <= self._shelf.design.supplies:
                why = "The rectifier has no input." if whole else "The rectifier puts out nothing."
                # Without its mains it is not at fault; its group still lacks it.
                word: Health = "Warning" if whole else "Critical"
                reasons.setdefault(f"{self._shelf.path}/psu{n}", []).insert(0, (word, why))
        for told in reasons.values():
            told.sort(key=lambda reason: -SEVERITY[reason[0]])
        return SledTelemetry(
            sled=self._shelf.name,
            time=time,
            sensors=sensors,
            parts=self._parts(sensors, reasons, locate),
            controller=self._shelves.knobs.condition(self._row) if self._shelves.bus[self._row] else WITHOUT_POWER,
            ports=self._ports,
        )

    def _read(self, tick: int) -> Floats:
        jitter = 2.0 * uniform(self._keys, 2 + tick) - 1.0
        told = self._grid.tell(self._grid.gather(self._shelves, self._row), self._off, jitter)
        for ill in self._shelves.knobs.ill.get(self._row, ()):
            place = self._place[ill.sensor]
            told[place] = self._grid.within(place, ill.told(float(told[place]), chance(ill.sensor, tick)))
        return told

    def _parts(
        self,
        sensors: dict[str, SensorPoint],
        reasons: dict[str, list[tuple[Health, str]]],
        locate: frozenset[str] | set[str],
    ) -> dict[str, PartPoint]:
        own, rolled = healths(self._shelf, reasons)
        metrics = self._metrics(sensors)
        points = {
            path: PartPoint(
                path,
                "Enabled",
                own.get(path, "OK"),
                rolled.get(path, "OK"),
                self._switched(part),
                path in locate if has_lamp(self._shelf, part) else None,
                None,
                part.item.firmware,
                metrics.get(path, {}),
                tuple(text for _, text in reasons.get(path, ())),
            )
            for path, part in self._shelf.parts.items()
        }
        knobs = self._shelves.knobs
        for path, number in knobs.swapped.get(self._row, {}).items():
            points[path] = points[path]._replace(replacement=number)
        ill = knobs.digital.get(self._row)
        return points if ill is None else told_ill(points, ill)

    def _switched(self, part: Part) -> PowerState | None:
        if part.kind is PartKind.CIRCUIT:
            return "On" if self._shelves.knobs.mains[self._row, part.index] > 0.0 else "Off"
        if part.kind is PartKind.OUTLET:
            return "On" if self._shelves.bus[self._row] > 0.0 else "Off"
        return "On" if part.kind in _SWITCHED else None

    def _metrics(self, sensors: dict[str, SensorPoint]) -> dict[str, dict[str, float | None]]:
        top, design = self._shelf.path, self._shelf.design
        out, bus = sensors["BusPower"].value or 0.0, sensors["BusVoltage"].value or 0.0
        metrics: dict[str, dict[str, float | None]] = {
            top: {
                "energy_joules": round(float(self._shelves.energy[self._row])),
                "load_percent": round(100.0 * out / design.capacity, 1),
            }
        }
        amps = self._shelves.input_current()[:, self._row].tolist()
        for k in range(1, design.supplies + 1):
            metrics[f"{top}/psu{k}"] = {
                "input_volts": sensors[f"Mains{MAINS[(k - 1) % len(MAINS)]}Voltage"].value,
                "input_amps": round(amps[k - 1], 2),
                "output_volts": bus,
                "output_amps": round((sensors[f"Psu{k}Output"].value or 0.0) / bus, 2) if bus else None,
            }
        return metrics
