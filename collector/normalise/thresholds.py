"""Thresholds of a Sensor or of a row in the older Thermal and Power resources, checked for order.

Sources: DSP8010 2025.4 ``Sensor_v1.xml`` (Thresholds, Threshold, ThresholdActivation), ``Thermal_v1.xml`` and
``Power_v1.xml`` (the rows' Upper/LowerThreshold… properties, whose successors are the Sensor's).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise

from msgspec.structs import asdict

from collector.model import DefectKind, Limit, Thresholds
from collector.normalise.bodies import Body, finite, pointer, record, shortest
from collector.normalise.findings import Findings, shown
from collector.normalise.times import duration
from collector.normalise.units import FARTHEST, Measure

SENSOR_THRESHOLDS: Mapping[str, str] = {
    "UpperCaution": "upper_caution",
    "UpperCritical": "upper_critical",
    "UpperFatal": "upper_fatal",
    "LowerCaution": "lower_caution",
    "LowerCritical": "lower_critical",
    "LowerFatal": "lower_fatal",
    "UpperCautionUser": "upper_caution_user",
    "UpperCriticalUser": "upper_critical_user",
    "LowerCautionUser": "lower_caution_user",
    "LowerCriticalUser": "lower_critical_user",
}
"""Sensor.Thresholds property -> ours."""

ROW_THRESHOLDS: Mapping[str, str] = {
    "UpperThresholdNonCritical": "upper_caution",
    "UpperThresholdCritical": "upper_critical",
    "UpperThresholdFatal": "upper_fatal",
    "LowerThresholdNonCritical": "lower_caution",
    "LowerThresholdCritical": "lower_critical",
    "LowerThresholdFatal": "lower_fatal",
    "UpperThresholdUser": "upper_caution_user",
    "LowerThresholdUser": "lower_caution_user",
}
"""Property of a legacy row -> ours."""

TRIGGER_THRESHOLDS: Mapping[str, str] = {
    "UpperWarning": "upper_caution",
    "UpperCritical": "upper_critical",
    "LowerWarning": "lower_caution",
    "LowerCritical": "lower_critical",
}
"""Triggers.NumericThresholds property -> ours."""

_CHAINS = (
    ("lower_fatal", "lower_critical", "lower_caution", "upper_caution", "upper_critical", "upper_fatal"),
    ("lower_critical_user", "lower_caution_user", "upper_caution_user", "upper_critical_user"),
)
"""Lowest first: what must not fall. The user's set is another opinion beside the maker's, not a part of it."""

_NONE = Thresholds()
_shared: dict[Thresholds, Thresholds] = {}
"""One object for all sensors with the same thresholds: a fleet has many sensors and few kinds of them."""


def of_sensor(body: Body, measure: Measure, findings: Findings, resource: str) -> Thresholds:
    """The thresholds of a Sensor resource, in its canonical unit."""
    told = body.get("Thresholds")
    if told is None:
        return _NONE
    if not isinstance(told, dict):
        findings.add(resource, "/Thresholds", DefectKind.WRONG_TYPE, f"Thresholds is {shown(told)}, not an object")
        return _NONE

    def blame(name: str, kind: DefectKind, detail: str) -> None:
        findings.add(resource, pointer("Thresholds", *name.split("/")) if name else "/Thresholds", kind, detail)

    limits: dict[str, Limit] = {}
    for name, ours in SENSOR_THRESHOLDS.items():
        if name in told:
            limit = _limit(name, told[name], measure, blame)
            if limit is not None:
                limits[ours] = limit
    return _checked(limits, blame)


def of_triggers(told: Mapping[str, tuple[str, object]], measure: Measure, findings: Findings) -> Thresholds:
    """The limits that triggers set: by their names in NumericThresholds, each with the trigger that sets it."""
    first = next(iter(told.values()))[0]

    def blame(name: str, kind: DefectKind, detail: str) -> None:
        resource = told[name.partition("/")[0]][0] if name else first
        findings.add(
            resource, pointer("NumericThresholds", *name.split("/")) if name else "/NumericThresholds", kind, detail
        )

    limits: dict[str, Limit] = {}
    for name, ours in TRIGGER_THRESHOLDS.items():
        if name in told:
            limit = _limit(name, told[name][1], measure, blame)
            if limit is not None:
                limits[ours] = limit
    return _checked(limits, blame)


def of_row(row: Body, measure: Measure, findings: Findings, resource: str, at: str) -> Thresholds:
    """The thresholds of a row at the JSON pointer ``at`` of a legacy resource."""

    def blame(name: str, kind: DefectKind, detail: str) -> None:
        findings.add(resource, at + (pointer(name) if name else ""), kind, detail)

    limits: dict[str, Limit] = {}
    for name, ours in ROW_THRESHOLDS.items():
        value = row.get(name)
        if value is None:
            continue
        number = finite(value)
        limit = measure.limit(number) if number is not None else None
        if number is None:
            blame(name, DefectKind.WRONG_TYPE, f"{name} is {shown(value)}, not a number")
        elif limit is None:
            blame(name, DefectKind.OUT_OF_RANGE, f"{name} is {shown(value)}, too large a number for its unit")
        else:
            limits[ours] = Limit(value=limit)
    return _checked(limits, blame)


_Blame = Callable[[str, DefectKind, str], None]


def _limit(name: str, value: object, measure: Measure, blame: _Blame) -> Limit | None:
    told = record(value)
    if told.get("Activation") == "Disabled":
        return None
    _check_activation(name, told, blame)
    reading = told.get("Reading")
    if reading is None:
        return None
    number = finite(reading)
    if number is None:
        blame(f"{name}/Reading", DefectKind.WRONG_TYPE, f"threshold {name} is {shown(reading)}, not a number")
        return None
    limit = measure.limit(number)
    if limit is None:
        detail = f"threshold {name} is {shown(reading)}, too large a number for its unit"
        blame(f"{name}/Reading", DefectKind.OUT_OF_RANGE, detail)
        return None
    back = told.get("HysteresisReading")
    hysteresis = finite(back)
    if hysteresis is None and back is not None:
        blame(f"{name}/HysteresisReading", DefectKind.WRONG_TYPE, f"hysteresis of {name} is {shown(back)}")
    return Limit(
        value=limit,
        # Told as a signed offset, whose sign services get wrong: it can only point back from the limit.
        hysteresis=min(abs(measure.distance(hysteresis or 0.0)), FARTHEST),
        on_delay=_delay(name, "DwellTime", told, blame),
        off_delay=_delay(name, "HysteresisDuration", told, blame),
    )


def _check_activation(name: str, told: Body, blame: _Blame) -> None:
    activation = told.get("Activation")
    if activation in (None, "Either", "Increasing" if name.startswith("Upper") else "Decreasing"):
        return
    if activation in ("Increasing", "Decreasing"):
        detail = f"{name} is activated when {activation}; its name is believed instead"
        blame(f"{name}/Activation", DefectKind.CONTRADICTION, detail)
    else:
        detail = f"Activation {shown(activation)} is not in the standard; the threshold's name decides"
        blame(f"{name}/Activation", DefectKind.UNKNOWN_WORD, detail)


def _delay(name: str, key: str, told: Body, blame: _Blame) -> float:
    value = told.get(key)
    if value is None:
        return 0.0
    found = duration(value) if isinstance(value, str) else None
    if found is None:
        blame(f"{name}/{key}", DefectKind.BAD_TIME, f"{key} {shown(value)} is no duration; taken as none")
        return 0.0
    return found


def _checked(limits: dict[str, Limit], blame: _Blame) -> Thresholds:
    """The set less what is out of order: wrong limits would cry wolf, or sleep; better none, and say so."""
    for chain in _CHAINS:
        told = [name for name in chain if name in limits]
        if _rises(told, limits):
            continue
        values = ", ".join(f"{name} {shortest(limits[name].value)}" for name in told)
        mirrored = {_mirror(name): limits[name] for name in told}
        if all(limits[name].value < 0 for name in told) and _rises([n for n in chain if n in mirrored], mirrored):
            # A negative supply told by magnitude: its "upper" limits are the more negative ones.
            limits = {name: limit for name, limit in limits.items() if name not in told} | mirrored
            continue
        blame("", DefectKind.BAD_THRESHOLDS, f"out of order, none of them is used: {values}")
        limits = {name: limit for name, limit in limits.items() if name not in told}
    if not limits:
        return _NONE
    found = Thresholds(**limits)
    if len(_shared) > 20_000:
        _shared.clear()
    return _shared.setdefault(found, found)


def _rises(names: list[str], limits: Mapping[str, Limit]) -> bool:
    """Whether the limits don't fall, and the lowest upper one lies above the highest lower one."""
    for before, after in pairwise(names):
        low, high = limits[before].value, limits[after].value
        if low > high or (low == high and before.startswith("lower") and after.startswith("upper")):
            return False
    return True


def _mirror(name: str) -> str:
    side, _, rest = name.partition("_")
    return f"{'lower' if side == 'upper' else 'upper'}_{rest}"


def empty(thresholds: Thresholds) -> bool:
    """Whether no threshold is told."""
    return not any(asdict(thresholds).values())
