"""Actions that really do something to a sled: hosts and the controller switched and restarted."""

from __future__ import annotations

from typing import Protocol

from simulators.service.annex import done, not_allowed, read
from simulators.service.http import Reply, Request
from simulators.service.messages import Message, error
from simulators.service.offers import Control
from simulators.service.places import MANAGER, host
from simulators.service.settings import Kept
from simulators.site import Equipment
from simulators.telemetry import SledTelemetry

MANAGER_RESET = f"{MANAGER}/Actions/Manager.Reset"
_OFF_SECONDS = 5.0
"""For which a host is off when it is restarted; common practice, no source."""
_WORDS = {None: ("ForceRestart",), 0: ("On", "ForceOff", "ForceRestart")}


class Hands(Protocol):
    """What can be done to a sled."""

    def telemetry(self) -> SledTelemetry:
        """What the sled's controller sees now."""

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        """Switch a host, by its path on the site, and with ``again`` back after so many seconds."""

    def restart(self) -> None:
        """Restart the controller, soon, so that this can still be answered."""


def host_reset(number: int) -> str:
    """The reset of the host on a blade."""
    return f"{host(number)}/Actions/ComputerSystem.Reset"


class Controls:
    """The resets of one service."""

    __slots__ = ("_by_path", "_hands", "_kept", "_sled")

    def __init__(self, controls: tuple[Control, ...], sled: Equipment, hands: Hands, kept: Kept) -> None:
        self._by_path = {control.path: control for control in controls}
        self._sled = sled
        self._hands = hands
        self._kept = kept

    def owns(self, path: str) -> bool:
        """Whether it is one of the actions."""
        return path in self._by_path

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Do it."""
        if method != "POST":
            return not_allowed("POST")
        control = self._by_path[path]
        if control.blade is None and request.role != "Administrator":
            return error(403, Message("InsufficientPrivilege"))
        if request.role == "ReadOnly":
            return error(403, Message("InsufficientPrivilege"))
        told = read(request, empty=True)
        if isinstance(told, Reply):
            return told
        wanted = told.get("ResetType", "ForceRestart" if control.blade is None else None)
        words = _WORDS[None if control.blade is None else 0]
        for name in told:
            if name != "ResetType":
                return error(400, Message("ActionParameterUnknown", ("Reset", name)))
        if wanted is None:
            return error(400, Message("ActionParameterMissing", ("Reset", "ResetType")))
        if wanted not in words:
            return error(400, Message("ActionParameterValueNotInList", (str(wanted)[:200], "ResetType", "Reset")))
        if control.blade is None:
            self._hands.restart()
        else:
            self._host(control.blade, wanted)
        return done()

    def _host(self, blade: int, wanted: str) -> None:
        path = f"{self._sled.name}/blade{blade}/host"
        on = self._hands.telemetry().parts[path].power_state == "On"
        if wanted == "ForceOff":
            self._hands.set_power(path, False)
            return
        if wanted == "On":
            self._hands.set_power(path, True)
        elif on:
            self._hands.set_power(path, False, again=_OFF_SECONDS)
        else:
            self._hands.set_power(path, True)
        key = (host(blade), "Boot")
        boot = self._kept.get(key)
        if boot is not None and boot["BootSourceOverrideEnabled"] == "Once":
            # it has been used (DSP0268, ComputerSystem.Boot)
            self._kept[key] = {**boot, "BootSourceOverrideEnabled": "Disabled", "BootSourceOverrideTarget": "None"}
