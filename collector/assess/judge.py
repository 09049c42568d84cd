"""One part: what is wrong with it right now, each trouble once.

What the controller reports (the part's own Health, its sensors' Health, FailurePredicted) and what we compute from
readings and thresholds stay apart as evidence, and meet in one condition where they tell of the same thing:

* a sensor beyond a threshold whose own Health is not OK is one condition, at the worse of the two severities;
* so is a part that is not OK while a sensor of its own is beyond a threshold: always for a device (a fan, a drive, a
  processor…), but for a blade or an enclosure, whose Health can mean anything in it, only where the sensor's trouble is
  as severe as what the part reports;
* a reading that the controller already calls not OK need not wait for our on-delay: the controller has waited;
* what was opened over a threshold stays that condition while the controller still reports it, also once the reading
  is back, so that a trouble doesn't change its name half-way.

``HealthRollup`` is left out: it repeats what contained parts tell of themselves.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence

from msgspec import Struct

from collector.assess.book import Finding, missing_finding
from collector.assess.crossing import Latch, Side
from collector.assess.words import about, amount, clip, condition_id, threshold_words
from collector.model import Evidence, Health, Kind, Part, Seconds, Sensor, State, Status, Subject

_NOT_DEVICES = {
    Kind.RACK,
    Kind.ENCLOSURE,
    Kind.SLED,
    Kind.BLADE,
    Kind.MODULE,
    Kind.HOST,
    Kind.CONTROLLER,
    Kind.SWITCH,
    Kind.COOLING_UNIT,
    Kind.OTHER,
}
_STATE_TROUBLE = {State.UNAVAILABLE_OFFLINE, State.DEGRADED}


class Watched(Struct):
    """A sensor of the part that is not quiet: beyond a threshold, reported not OK, or with an open condition."""

    sensor: Sensor
    upper: Side | None
    lower: Side | None
    upper_id: str
    lower_id: str
    reported: Health = Health.UNKNOWN
    """Its own Health as told; UNKNOWN where that counts for nothing now."""
    value: float = float("nan")
    time: Seconds = 0.0

    @classmethod
    def of(cls, sensor: Sensor, upper: Side | None, lower: Side | None) -> Watched:
        """A sensor with its sides and the ids of the conditions that they may open."""
        ids = [
            condition_id(sensor.controller, Subject.THRESHOLD, sensor.part, sensor.sensor, side)
            for side in ("upper", "lower")
        ]
        return cls(sensor, upper, lower, ids[0], ids[1])

    @property
    def quiet(self) -> bool:
        """Whether its sides are quiet and nothing is reported of it."""
        sides_quiet = all(side is None or side.quiet for side in (self.upper, self.lower))
        return sides_quiet and self.reported < Health.WARNING

    @property
    def settled(self) -> Iterable[tuple[Side, str]]:
        """Its sides with the ids of their conditions."""
        return [
            (side, own_id)
            for side, own_id in ((self.upper, self.upper_id), (self.lower, self.lower_id))
            if side is not None
        ]


class _Reports:
    """What the controller says of the part itself, to be told in exactly one finding."""

    def __init__(self, part: Part, status: Status | None, excused: bool, now: Seconds) -> None:
        self.severity = Health.UNKNOWN
        self.told = False
        self.words = ""
        evidence: list[Evidence] = []
        if status is not None and status.health >= Health.WARNING:
            self.severity = status.health
            reason = f": {clip(status.reasons[0])}" if status.reasons else ""
            self.words = f"controller reports {status.health.word}{reason}"
            evidence.append(_report(part, now, f"{about(part)}: its Health is {status.health.word}"))
            evidence += [_report(part, now, clip(reason)) for reason in status.reasons[:3]]
        if status is not None and status.state in _STATE_TROUBLE and not excused:
            self.severity = max(self.severity, Health.WARNING)
            self.words = self.words or f"its state is {status.state.value}"
            evidence.append(_report(part, now, f"{about(part)}: its State is {status.state.value}"))
        self.evidence = tuple(evidence)

    @property
    def waiting(self) -> bool:
        """Whether there is something to tell that no finding has told."""
        return self.severity >= Health.WARNING and not self.told


def judge(
    part: Part,
    status: Status | None,
    watched: Sequence[Watched],
    now: Seconds,
    *,
    open_ids: Container[str],
    excused: bool = False,
    turned_absent: bool = False,
) -> list[Finding]:
    """What is wrong with a part.

    ``excused``: it can't be in service because what it belongs to is off, so that only its reported Health counts.
    ``turned_absent``: it was there before and its State is Absent now.
    """
    reports = _Reports(part, status, excused, now)
    findings: list[Finding] = []
    if status is not None and status.failure_predicted:
        findings.append(_predicted(part, reports, now))
    device = part.kind not in _NOT_DEVICES
    untold: list[Watched] = []
    for each in watched:
        told = False
        for side, own_id in each.settled:
            finding = _threshold(part, each, side, own_id, reports, device, own_id in open_ids, now)
            if finding is not None:
                findings.append(finding)
                told = True
        if not told and each.reported >= Health.WARNING:
            untold.append(each)
    findings += _reported(part, reports, untold, device, now)
    if turned_absent and not findings:
        text = f"{about(part)}: was there and is now reported absent"
        missing = missing_finding(part.controller, part, part.id, text, now)
        if not excused or missing.id in open_ids:  # what was missed before does not come back with a power button
            findings.append(missing)
    return findings


def _threshold(
    part: Part,
    watched: Watched,
    side: Side,
    own_id: str,
    reports: _Reports,
    device: bool,
    is_open: bool,
    now: Seconds,
) -> Finding | None:
    """A reading beyond a threshold, or one that was and that the controller still calls not OK."""
    if side.quiet and not is_open:
        return None
    sensor, computed = watched.sensor, side.severity
    severity, evidence = computed, []
    if watched.reported >= Health.WARNING:
        severity = max(severity, watched.reported)
        evidence.append(_sensor_report(watched, now))
    if reports.waiting and (device or severity >= reports.severity):
        severity = max(severity, reports.severity)
        evidence += reports.evidence
        reports.told = True
    if severity < Health.WARNING:
        return None
    named = side.top or side.violated_by(watched.value)
    if named is None:
        text = f"{about(part, sensor)} back within its limits, controller still reports {severity.word}"
    else:
        limit = f"{threshold_words(named.name)}, {amount(named.limit.value, sensor.unit)}"
        text = f"{about(part, sensor)} {'above' if side.upper else 'below'} {limit}"
        if computed < severity:
            text += f"; controller reports {severity.word}"
    return Finding(
        id=own_id,
        part=sensor.part,
        sensor=sensor.sensor,
        subject=Subject.THRESHOLD,
        severity=severity,
        text=text,
        since=side.first_seen if side.first_seen is not None else now,
        reading=_reading(watched, side, named),
        reports=tuple(evidence),
    )


def _reading(watched: Watched, side: Side, named: Latch | None) -> Evidence | None:
    if watched.value != watched.value:
        return None
    latch = named or side.latches[0]
    return Evidence(
        time=watched.time,
        text=f"reading {amount(watched.value, watched.sensor.unit)}",
        source=watched.sensor.source,
        value=watched.value,
        unit=watched.sensor.unit,
        limit=latch.limit.value,
        threshold=latch.name,
    )


def _predicted(part: Part, reports: _Reports, now: Seconds) -> Finding:
    reports.told = True
    return Finding(
        id=condition_id(part.controller, Subject.FAILURE_PREDICTED, part.id),
        part=part.id,
        subject=Subject.FAILURE_PREDICTED,
        severity=max(Health.WARNING, reports.severity),
        text=f"{about(part)}: predicts its own failure",
        since=now,
        reports=(_report(part, now, "FailurePredicted is true"), *reports.evidence),
    )


def _reported(
    part: Part, reports: _Reports, untold: Sequence[Watched], device: bool, now: Seconds
) -> Iterable[Finding]:
    """What only the controller says: of the part, and of sensors that no threshold explains."""
    if device and reports.severity >= Health.WARNING:
        # A device's sensors repeat what it says of itself.
        if not reports.told:
            yield _status(part, reports, now, tuple(_sensor_report(each, now) for each in untold))
        return
    for each in untold:
        of_part: tuple[Evidence, ...] = ()
        if reports.waiting and each.reported >= reports.severity:
            of_part = reports.evidence
            reports.told = True
        yield Finding(
            id=condition_id(part.controller, Subject.STATUS, part.id, each.sensor.sensor),
            part=part.id,
            sensor=each.sensor.sensor,
            subject=Subject.STATUS,
            severity=each.reported,
            text=f"{about(part, each.sensor)}: controller reports {each.reported.word}",
            since=now,
            reports=(_sensor_report(each, now), *of_part),
        )
    if reports.waiting:
        yield _status(part, reports, now)


def _status(part: Part, reports: _Reports, now: Seconds, of_sensors: tuple[Evidence, ...] = ()) -> Finding:
    return Finding(
        id=condition_id(part.controller, Subject.STATUS, part.id),
        part=part.id,
        subject=Subject.STATUS,
        severity=reports.severity,
        text=f"{about(part)}: {reports.words}",
        since=now,
        reports=reports.evidence + of_sensors,
    )


def _report(part: Part, now: Seconds, text: str) -> Evidence:
    return Evidence(time=now, text=text, source=part.uri)


def _sensor_report(watched: Watched, now: Seconds) -> Evidence:
    text = f"{clip(watched.sensor.sensor)}: its Health is {watched.reported.word}"
    return Evidence(time=now, text=text, source=watched.sensor.source)
