"""Messages of the standard's event registries (DSP8011) that the controllers send, as written there.

A test holds every line to the published registries: a service may send fewer messages than a registry has, never
others or other words under its name.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from simulators.telemetry import Health

_PLACE = re.compile(r"%([1-9])")


class Words(NamedTuple):
    """One message of a registry."""

    severity: Health
    text: str
    """With ``%1``… for the arguments."""
    takes: int
    """How many arguments it takes."""
    resolution: str = "None."
    clears: tuple[str, ...] = ()
    """Keys of the messages of the same origin that it ends."""

    @property
    def types(self) -> tuple[str, ...]:
        """What each argument is, by the words of MessageRegistry.ParamType."""
        return tuple(
            "number" if "reading of" in self.text and place in (1, 3) else "string" for place in range(self.takes)
        )


VERSIONS: dict[str, str] = {
    "SensorEvent": "1.1.0",
    "ResourceEvent": "1.4.3",
    "Environmental": "1.4.0",
    "Power": "1.2.0",
    "StorageDevice": "1.5.1",
    "ManagerEvent": "1.0.0",
    "LogService": "1.1.0",
    "HeartbeatEvent": "1.1.1",
}
"""Release of each registry that is used."""

_SENSOR = "Check the condition of the resources listed in RelatedItem."
_SUPPLY = "Check the power supply hardware and replace any faulty component."
_DRIVE = (
    "If this drive is not part of a fault-tolerant volume, first back up all data, then replace the drive and restore "
    "all data afterward.  If this drive is part of a fault-tolerant volume, replace this drive as soon as possible as "
    "long as the volume health is OK."
)


_DRIVE_CLEARS = ("DrivePredictiveFailure", "DrivePredictedMediaLifeLow", "DriveFailure")
_NORMAL_CLEARS = (
    "ReadingAboveUpperCautionThreshold",
    "ReadingAboveUpperCriticalThreshold",
    "ReadingAboveUpperFatalThreshold",
    "ReadingBelowUpperFatalThreshold",
    "ReadingBelowUpperCriticalThreshold",
    "ReadingBelowLowerCautionThreshold",
    "ReadingBelowLowerCriticalThreshold",
    "ReadingBelowLowerFatalThreshold",
    "ReadingAboveLowerFatalThreshold",
    "ReadingAboveLowerCriticalThreshold",
    "ReadingWarning",
    "ReadingCritical",
    "ReadingNoLongerCritical",
)


def _crossings() -> dict[str, Words]:
    told: dict[str, Words] = {}
    for way, side in (("Above", "Upper"), ("Below", "Lower")):
        for level, severity in (("Caution", "Warning"), ("Critical", "Critical"), ("Fatal", "Critical")):
            told[f"Reading{way}{side}{level}Threshold"] = Words(
                severity,  # type: ignore[arg-type]
                f"Sensor '%1' reading of %2 (%3) is {way.lower()} the %4 {side.lower()} {level.lower()} threshold.",
                4,
                _SENSOR,
            )
    for way, side in (("Below", "Upper"), ("Above", "Lower")):
        for level, severity in (("Critical", "Warning"), ("Fatal", "Critical")):
            told[f"Reading{way}{side}{level}Threshold"] = Words(
                severity,  # type: ignore[arg-type]
                f"Sensor '%1' reading of %2 (%3) is now {way.lower()} the %4 {side.lower()} {level.lower()} threshold "
                "but remains outside of normal range.",
                4,
                _SENSOR,
                (f"Reading{'Above' if side == 'Upper' else 'Below'}{side}{level}Threshold",),
            )
    return told


MESSAGES: dict[str, dict[str, Words]] = {
    "SensorEvent": {
        **_crossings(),
        "SensorReadingNormalRange": Words(
            "OK",
            "Sensor '%1' reading of %2 (%3) is within normal operating range.",
            3,
            clears=_NORMAL_CLEARS,
        ),
    },
    "ResourceEvent": {
        "ResourceStatusChangedOK": Words(
            "OK",
            "The health of resource '%1' has changed to %2.",
            2,
            clears=("ResourceStatusChangedCritical", "ResourceStatusChangedWarning"),
        ),
        "ResourceStatusChangedWarning": Words("Warning", "The health of resource '%1' has changed to %2.", 2),
        "ResourceStatusChangedCritical": Words("Critical", "The health of resource '%1' has changed to %2.", 2),
        "ResourceStateChanged": Words("OK", "The state of resource '%1' has changed to %2.", 2),
        "ResourcePoweredOn": Words("OK", "The resource '%1' has powered on.", 1),
        "ResourcePoweredOff": Words("OK", "The resource '%1' has powered off.", 1),
        "PropertyValueModifiedByClient": Words(
            "OK",
            "The property %1 was assigned the value '%2' due to modification by a client.",
            2,
            "No resolution is required.",
        ),
        "TestMessage": Words("OK", "Test message.", 0),
    },
    "Environmental": {
        "FanFailed": Words(
            "Critical", "Fan '%1' has failed.", 1, "Check the fan hardware and replace any faulty component."
        ),
        "FanWarning": Words(
            "Warning",
            "Fan '%1' has a warning condition.",
            1,
            "Check the fan hardware and replace any faulty component.",
        ),
        "FanRestored": Words("OK", "Fan '%1' was restored.", 1, clears=("FanFailed", "FanWarning")),
        "FanRemoved": Words("OK", "Fan '%1' was removed.", 1, clears=("FanFailed",)),
        "FanInserted": Words("OK", "Fan '%1' was inserted.", 1),
    },
    "Power": {
        "PowerSupplyFailed": Words(
            "Critical",
            "Power supply '%1' has failed.",
            1,
            _SUPPLY,
            ("PowerSupplyPredictiveFailure", "PowerSupplyWarning"),
        ),
        "PowerSupplyWarning": Words("Warning", "Power supply '%1' has a warning condition.", 1, _SUPPLY),
        "PowerSupplyRestored": Words(
            "OK",
            "Power supply '%1' was restored.",
            1,
            # the first of these has another name everywhere else in the registry; it is written so there
            clears=("PowerSupplyFailure", "PowerSupplyPredictiveFailure", "PowerSupplyWarning"),
        ),
        "PowerSupplyRemoved": Words(
            "OK",
            "Power supply '%1' was removed.",
            1,
            clears=("PowerSupplyWarning", "PowerSupplyPredictiveFailure", "PowerSupplyFailure"),
        ),
        "PowerSupplyInserted": Words(
            "OK",
            "Power supply '%1' was inserted.",
            1,
            clears=("PowerSupplyWarning", "PowerSupplyPredictiveFailure", "PowerSupplyFailure", "PowerSupplyRemoved"),
        ),
    },
    "StorageDevice": {
        "DrivePredictiveFailure": Words(
            "Warning", "A predictive failure condition for the drive located in '%1' was detected.", 1, _DRIVE
        ),
        "DriveRemoved": Words(
            "Critical",
            "The drive located in '%1' was removed.",
            1,
            "If the drive is still displayed, attempt to refresh the cached data.",
            ("DriveInserted", *_DRIVE_CLEARS, "DriveOffline"),
        ),
        "DriveInserted": Words(
            "OK",
            "The drive located in '%1' was inserted.",
            1,
            "If the drive is not properly displayed, attempt to refresh the cached data.",
            ("DriveRemoved", *_DRIVE_CLEARS, "DriveMissing"),
        ),
        "DrivePredictiveFailureCleared": Words(
            "OK",
            "A predictive failure condition for the drive located in '%1' was cleared.",
            1,
            clears=("DrivePredictiveFailure",),
        ),
    },
    "ManagerEvent": {"ManagerReset": Words("OK", "Manager `%1` performed a '%2' type of reset.", 2)},
    "LogService": {"LogCleared": Words("OK", "Log '%1' was cleared.", 1)},
    "HeartbeatEvent": {"RedfishServiceStarted": Words("OK", "Redfish service started.", 0)},
}
"""Registry -> key -> message."""


def message_id(registry: str, key: str) -> str:
    """The MessageId of a message: registry, major and minor version, key."""
    return f"{registry}.{VERSIONS[registry].rpartition('.')[0]}.{key}"


def words(id_: str) -> Words | None:
    """The message of a MessageId; None where it is none of ours."""
    registry, _, rest = id_.partition(".")
    return MESSAGES.get(registry, {}).get(rest.rpartition(".")[2])


def fill(text: str, args: tuple[str, ...]) -> str:
    """A message's text with its arguments in it."""
    return _PLACE.sub(lambda place: args[int(place[1]) - 1] if int(place[1]) <= len(args) else place[0], text)
