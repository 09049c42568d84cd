"""State, health, power state and indicators of one part, as told.

Sources: DSP8010 2025.4 ``Resource_v1.xml`` (Status, State, Health, PowerState, IndicatorLED, Condition) and
``Drive_v1.xml`` (FailurePredicted).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from collector.model import DefectKind, Health, LedState, PowerState, State, Status
from collector.normalise.bodies import Body, pointer, record, rows
from collector.normalise.findings import Findings, shown
from collector.text import plain

STATE_WORDS = {state.value: state for state in State if state is not State.UNKNOWN}
POWER_WORDS = {power.value: power for power in PowerState if power is not PowerState.UNKNOWN}
LED_WORDS = {led.value: led for led in LedState}
HEALTH_WORDS = {health.word: health for health in Health if health is not Health.UNKNOWN}
NO_READING_STATES = frozenset({State.ABSENT.value, State.DISABLED.value})
"""States whose readings mean nothing: DSP0266 has the configuration-dependent properties vanish, not all do."""

T = TypeVar("T")
_LED_OR_NONE: dict[str, LedState | None] = dict(LED_WORDS)

MAX_REASONS = 16
"""Conditions of one part that we keep the texts of."""

_TELLING = ("Status", "PowerState", "LocationIndicatorActive", "IndicatorLED", "FailurePredicted", "DetectorState")

DETECTOR_WORDS = {**HEALTH_WORDS, "Unavailable": Health.UNKNOWN, "Absent": Health.UNKNOWN}
"""LeakDetector.DetectorState -> health of the detector's part: a leak is what is wrong with it."""


class Teller:
    """Turns told words into ours; what it does not know becomes a defect of one place."""

    def __init__(self, findings: Findings, resource: str, at: str = "") -> None:
        self._findings = findings
        self._resource = resource
        self._at = at

    def word(self, value: object, words: Mapping[str, T], unknown: T, *steps: str) -> T:
        """One word of an enumeration; ``unknown`` for null, absence, and (a defect) anything else."""
        if value is None:
            return unknown
        found = words.get(value) if isinstance(value, str) else None
        if found is not None:
            return found
        if isinstance(value, str):
            self.blame(DefectKind.UNKNOWN_WORD, f"{steps[-1]} {shown(value)} is not in the standard", *steps)
        else:
            self.blame(DefectKind.WRONG_TYPE, f"{steps[-1]} is {shown(value)}, not a word", *steps)
        return unknown

    def flag(self, value: object, *steps: str) -> bool | None:
        """True or false; None for null, absence, and (a defect) anything else."""
        if value is None or isinstance(value, bool):
            return value
        self.blame(DefectKind.WRONG_TYPE, f"{steps[-1]} is {shown(value)}, neither true nor false", *steps)
        return None

    def blame(self, kind: DefectKind, detail: str, *steps: str) -> None:
        """Notes a defect of one property."""
        self._findings.add(self._resource, self._at + pointer(*steps), kind, detail)


def read(body: Body, findings: Findings, resource: str, at: str = "") -> Status | None:
    """What a resource, or a row at the JSON pointer ``at`` in one, tells of its state; None where it tells nothing.

    Words outside the standard's enumerations are unknown, and defects.
    """
    if not any(key in body for key in _TELLING):
        return None
    told = Teller(findings, resource, at)
    status = record(body.get("Status"))
    if not status and body.get("Status") not in (None, {}):
        told.blame(DefectKind.WRONG_TYPE, f"Status is {shown(body['Status'])}, not an object", "Status")
    health = told.word(status.get("Health"), HEALTH_WORDS, Health.UNKNOWN, "Status", "Health")
    leak = told.word(body.get("DetectorState"), DETECTOR_WORDS, Health.UNKNOWN, "DetectorState")
    leaking = leak > Health.OK
    return Status(
        state=told.word(status.get("State"), STATE_WORDS, State.UNKNOWN, "Status", "State"),
        health=max(health, leak) if leaking else health,
        health_rollup=told.word(status.get("HealthRollup"), HEALTH_WORDS, Health.UNKNOWN, "Status", "HealthRollup"),
        power=told.word(body.get("PowerState"), POWER_WORDS, PowerState.UNKNOWN, "PowerState"),
        locate=told.flag(body.get("LocationIndicatorActive"), "LocationIndicatorActive"),
        led=_led(body.get("IndicatorLED"), told),
        failure_predicted=told.flag(body.get("FailurePredicted"), "FailurePredicted"),
        reasons=(*((f"detector state is {leak.word}",) if leaking else ()), *_reasons(rows(status.get("Conditions")))),
    )


def _led(value: object, told: Teller) -> LedState | None:
    if value is None or value == "Unknown":  # a value that the standard had until 2016
        return None
    found: LedState | None = told.word(value, _LED_OR_NONE, None, "IndicatorLED")
    return found


def _reasons(conditions: list[Any]) -> tuple[str, ...]:
    """The conditions' texts, worst first, in the order told where equally bad."""
    if not conditions:
        return ()
    told = [record(condition) for condition in conditions[: 4 * MAX_REASONS]]
    told.sort(key=lambda condition: -Health.from_word(condition.get("Severity")))
    texts = [condition.get("Message") or condition.get("MessageId") for condition in told]
    shown_texts = [plain(text, 300) for text in texts if isinstance(text, str) and text.strip()]
    return tuple(dict.fromkeys(shown_texts))[:MAX_REASONS]
