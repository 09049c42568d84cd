"""Faults of sensors: what they tell is wrong, and whoever believes them acts wrongly."""

from __future__ import annotations

from dataclasses import replace

from simulators.faults.fault import LONGEST, OVER, Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.site import Equipment, Part, PartKind, Sled
from simulators.telemetry import Quantity, SensorSpec

SENSED = (
    PartKind.SLED,
    PartKind.BLADE,
    PartKind.PROCESSOR,
    PartKind.DRIVE,
    PartKind.FAN,
    PartKind.POWER_SUPPLY,
    PartKind.NETWORK_ADAPTER,
    PartKind.CONTROLLER,
    PartKind.COOLANT_CONNECTOR,
    PartKind.SHELF,
    PartKind.CIRCUIT,
    PartKind.OUTLET,
)
"""Kinds of parts that have a sensor of their own."""


_SPANS = {
    Quantity.TEMPERATURE: 10.0,
    Quantity.HUMIDITY: 20.0,
    Quantity.FREQUENCY: 1.5,
}
"""What is much for a sensor to be off, by what it measures, in its unit."""
_PART = 0.10
"""The same for all other quantities: part of the highest caution threshold, or of a fifth of the range."""


def much(spec: SensorSpec) -> float:
    """An error of a sensor that somebody who looks would call large, in its unit (common practice, no source)."""
    if spec.quantity in _SPANS:
        return _SPANS[spec.quantity]
    usual = spec.rated or spec.thresholds.upper_caution or 0.2 * spec.high
    return _PART * usual


def _has_sensor(unit: Equipment, part: Part) -> bool:
    return isinstance(unit, Sled) or part.kind is not PartKind.CONTROLLER


def _add(knobs: Knobs, target: Target, **how: float | bool | None) -> None:
    if target.ill is None:
        raise ValueError("the sensor that is ill needs to be chosen first")
    ill = replace(target.ill, **how)  # type: ignore[arg-type]
    knobs.ill[target.row] = (*knobs.ill.get(target.row, ()), ill)


def _sensor_stuck(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    _add(knobs, target)


def _sensor_drifting(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    way = 1.0 if number(arguments, "way") >= 0.0 else -1.0
    _add(knobs, target, value=None, offset=way * number(arguments, "size") * target.span * target.grown)


def _sensor_noisy(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    _add(knobs, target, value=None, noise=number(arguments, "size") * target.span * target.grown)


def _sensor_gone(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    _add(knobs, target, value=None, gone=True)


def _tachometer(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    if number(arguments, "nothing") < 0.5:
        _add(knobs, target, value=0.0)
    else:
        _add(knobs, target, value=None, gone=True)


_PICK = {"pick": (0.0, 1.0)}
"""Which of the part's sensors, in their order from 0 to 1, where none is named."""

FAULTS = (
    Fault(
        name="sensor-stuck",
        kinds=SENSED,
        befalls=_has_sensor,
        text="One sensor of the part (by its id, else its first) keeps telling one value, whatever happens.",
        turn=_sensor_stuck,
        arguments={"sensor": None, "value": None, "pick": 0.0},
        limits=_PICK,
        draws=_PICK,
        hard=False,
    ),
    Fault(
        name="sensor-drifting",
        kinds=SENSED,
        befalls=_has_sensor,
        text="One sensor of the part goes off by ever more: 'size' 1 is 10 K, or a tenth of what is usual there.",
        turn=_sensor_drifting,
        arguments={"sensor": None, "size": 1.2, "way": 1.0, OVER: 0.0, "pick": 0.0},
        limits={"size": (0.0, 20.0), "way": (-1.0, 1.0), OVER: (0.0, LONGEST), **_PICK},
        draws={"size": (0.9, 1.8), "way": (-1.0, 1.0), OVER: (3600.0, 21_600.0), **_PICK},
        hard=False,
    ),
    Fault(
        name="sensor-noisy",
        kinds=SENSED,
        befalls=_has_sensor,
        text="One sensor of the part jumps about what is so, by up to 'size' times 10 K or a tenth of what is usual.",
        turn=_sensor_noisy,
        arguments={"sensor": None, "size": 0.8, OVER: 0.0, "pick": 0.0},
        limits={"size": (0.0, 20.0), OVER: (0.0, LONGEST), **_PICK},
        draws={"size": (0.5, 1.5), **_PICK},
        hard=False,
    ),
    Fault(
        name="sensor-gone",
        kinds=SENSED,
        befalls=_has_sensor,
        text="One sensor of the part tells nothing any more; fan control that needs it goes to its fail-safe speed.",
        turn=_sensor_gone,
        arguments={"sensor": None, "pick": 0.0},
        limits=_PICK,
        draws=_PICK,
    ),
    Fault(
        name="fan-tachometer",
        kinds=(PartKind.FAN,),
        text="The wire of the fan's tachometer is off: it turns, and 0 or (nothing=1) nothing at all is told of it.",
        turn=_tachometer,
        arguments={"sensor": None, "nothing": 0.0},
        limits={"nothing": (0.0, 1.0)},
        draws={"nothing": (0.0, 1.0)},
    ),
)
