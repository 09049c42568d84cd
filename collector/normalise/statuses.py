"""State, health, power state and indicators of one part, as told.

Sources: DSP8010 2025.4 ``Resource_v1.xml`` (Status, State, Health, PowerState, IndicatorLED, Condition),
``Drive_v1.xml`` (FailurePredicted), ``Port_v1.xml`` and ``NetworkPort_v1.xml`` (LinkStatus, LinkState,
InterfaceEnabled), ``ComputerSystem_v1.xml`` (BootProgress), ``Manager_v1.xml`` (LastResetTime),
``LeakDetector_v1.xml`` (DetectorState), ``Cable_v1.xml`` (CableStatus).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from msgspec import structs

from collector.model import DefectKind, Health, LedState, PowerState, Seconds, State, Status
from collector.normalise.bodies import Body, pointer, record, rows
from collector.normalise.findings import Findings, shown
from collector.normalise.shapes import BOOT, FLAG, STATUS, TEXT
from collector.normalise.times import seconds
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

TELLING: Mapping[str, str] = {
    "Status": STATUS,
    "PowerState": TEXT,
    "LocationIndicatorActive": FLAG,
    "IndicatorLED": TEXT,
    "FailurePredicted": FLAG,
    "DetectorState": TEXT,
    "CableStatus": TEXT,
    "LinkStatus": TEXT,
    "LinkState": TEXT,
    "InterfaceEnabled": FLAG,
    "LastResetTime": TEXT,
    "BootProgress": BOOT,
}
"""Properties by which a part tells its status, and what is decoded of each."""

LINK_WORDS: Mapping[str, bool | None] = {
    "LinkUp": True,
    "Up": True,
    "LinkDown": False,
    "Down": False,
    "NoLink": False,
    "Starting": None,
    "Training": None,
}
"""LinkStatus of Port and of the older NetworkPort -> whether there is a link; None: it is being made."""

BOOT_WORDS = (
    "None",
    "PrimaryProcessorInitializationStarted",
    "BusInitializationStarted",
    "MemoryInitializationStarted",
    "SecondaryProcessorInitializationStarted",
    "PCIResourceConfigStarted",
    "SystemHardwareInitializationComplete",
    "SetupEntered",
    "OSBootStarted",
    "OSRunning",
    "OEM",
)
"""BootProgress.LastState, in the order of a start."""
_BOOT_OR_NONE: dict[str, str | None] = {word: word for word in BOOT_WORDS}

SAME_RESET: Seconds = 30.0
"""Two times of a reset this near are one reset: services that reckon it back from their uptime tell it anew each time,
and none starts again within it (common practice, no source)."""

DETECTOR_WORDS = {**HEALTH_WORDS, "Unavailable": Health.UNKNOWN, "Absent": Health.UNKNOWN}
"""LeakDetector.DetectorState -> health of the detector's part: a leak is what is wrong with it."""

CABLE_WORDS = {
    "Normal": Health.OK,
    "Degraded": Health.WARNING,
    "Failed": Health.CRITICAL,
    "Testing": Health.UNKNOWN,
    "Disabled": Health.UNKNOWN,
    "SetByService": Health.UNKNOWN,
}
"""Cable.CableStatus -> health of the cable."""


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
        if isinstance(value, str) and value in words:
            return words[value]
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
    if TELLING.keys().isdisjoint(body):
        return None
    told = Teller(findings, resource, at)
    status = record(body.get("Status"))
    if not status and body.get("Status") not in (None, {}):
        told.blame(DefectKind.WRONG_TYPE, f"Status is {shown(body['Status'])}, not an object", "Status")
    health = told.word(status.get("Health"), HEALTH_WORDS, Health.UNKNOWN, "Status", "Health")
    leak = told.word(body.get("DetectorState"), DETECTOR_WORDS, Health.UNKNOWN, "DetectorState")
    cable = told.word(body.get("CableStatus"), CABLE_WORDS, Health.UNKNOWN, "CableStatus")
    also = (("detector state", leak), ("cable status", cable))
    wrong = [(what, found) for what, found in also if found > Health.OK]
    return Status(
        state=told.word(status.get("State"), STATE_WORDS, State.UNKNOWN, "Status", "State"),
        health=max([health, *(found for _, found in wrong)]),
        health_rollup=told.word(status.get("HealthRollup"), HEALTH_WORDS, Health.UNKNOWN, "Status", "HealthRollup"),
        power=told.word(body.get("PowerState"), POWER_WORDS, PowerState.UNKNOWN, "PowerState"),
        locate=told.flag(body.get("LocationIndicatorActive"), "LocationIndicatorActive"),
        led=_led(body.get("IndicatorLED"), told),
        failure_predicted=told.flag(body.get("FailurePredicted"), "FailurePredicted"),
        link=_link(body, told),
        last_reset=_moment(body.get("LastResetTime"), told, "LastResetTime"),
        boot=_boot(body.get("BootProgress"), told),
        reasons=(*(f"{what} is {found.word}" for what, found in wrong), *_reasons(rows(status.get("Conditions")))),
    )


def _led(value: object, told: Teller) -> LedState | None:
    if value is None or value == "Unknown":  # a value that the standard had until 2016
        return None
    found: LedState | None = told.word(value, _LED_OR_NONE, None, "IndicatorLED")
    return found


def _link(body: Body, told: Teller) -> bool | None:
    """Whether a port has a link. That a port which is switched off has none says nothing of it."""
    link = told.word(body.get("LinkStatus"), LINK_WORDS, None, "LinkStatus")
    off = body.get("LinkState") == "Disabled" or body.get("InterfaceEnabled") is False
    return None if off else link


def _moment(value: object, told: Teller, *steps: str) -> Seconds | None:
    if value is None:
        return None
    found = seconds(value) if isinstance(value, str) else None
    if found is None:
        told.blame(DefectKind.BAD_TIME, f"{steps[-1]} is {shown(value)}, no date and time with an offset", *steps)
    return found


def _boot(value: object, told: Teller) -> str | None:
    if value is not None and not isinstance(value, dict):
        told.blame(DefectKind.WRONG_TYPE, f"BootProgress is {shown(value)}, not an object", "BootProgress")
    return told.word(record(value).get("LastState"), _BOOT_OR_NONE, None, "BootProgress", "LastState")


def settled(status: Status, before: Status | None) -> Status:
    """A status with the time of the last reset as told before, where it is the same reset."""
    if before is None or before.last_reset is None or status.last_reset is None:
        return status
    if status.last_reset == before.last_reset or abs(status.last_reset - before.last_reset) > SAME_RESET:
        return status
    return structs.replace(status, last_reset=before.last_reset)


def _reasons(conditions: list[Any]) -> tuple[str, ...]:
    """The conditions' texts, worst first, in the order told where equally bad."""
    if not conditions:
        return ()
    told = [record(condition) for condition in conditions[: 4 * MAX_REASONS]]
    told.sort(key=lambda condition: -Health.from_word(condition.get("Severity")))
    texts = [condition.get("Message") or condition.get("MessageId") for condition in told]
    shown_texts = [plain(text, 300) for text in texts if isinstance(text, str) and text.strip()]
    return tuple(dict.fromkeys(shown_texts))[:MAX_REASONS]
