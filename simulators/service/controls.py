"""Actions that really do something to a sled: hosts and the controller switched and restarted."""

from __future__ import annotations

from typing import Protocol

from simulators.service.annex import done, not_allowed, read
from simulators.service.http import NO_CACHE, ODATA, Reply, Request
from simulators.service.manners import Manner
from simulators.service.messages import Message, error
from simulators.service.offers import Control
from simulators.service.places import MANAGER, SLED, host
from simulators.service.settings import Kept
from simulators.site import Equipment
from simulators.telemetry import SledTelemetry

MANAGER_RESET = f"{MANAGER}/Actions/Manager.Reset"
MONITORS = "/redfish/v1/TaskMonitors"
"""Below it, a monitor for each reset that is a task (DSP0266, "Asynchronous operations"); they are no resources."""
_OFF_SECONDS = 5.0
"""For which a host is off when it is restarted; common practice, no source."""
_ENDING = 8.0
"""Seconds that an operating system takes to end in order; common practice, no source."""
_MONITORS = 16
"""Tasks that are remembered."""
_AN_HOUR = 3600.0


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


def sled_reset() -> str:
    """The reset of the sled, and so of all its hosts."""
    return f"{SLED}/Actions/Chassis.Reset"


class Controls:
    """The resets of one service. ``task``: seconds for which one is watched as a task; 0: none is."""

    __slots__ = ("_by_path", "_hands", "_kept", "_made", "_monitors", "_sled", "_task", "manner")

    def __init__(
        self, controls: tuple[Control, ...], sled: Equipment, hands: Hands, kept: Kept, task: float = 0.0
    ) -> None:
        self._by_path = {control.path: control for control in controls}
        self._sled = sled
        self._hands = hands
        self._kept = kept
        self._task = task
        self._monitors: dict[str, float] = {}
        """By path: when the task ends."""
        self._made = 0
        self.manner = Manner.WILLING

    def owns(self, path: str) -> bool:
        """Whether it is one of the actions, or a task's monitor."""
        return path in self._by_path or path in self._monitors

    def respond(self, path: str, method: str, request: Request) -> Reply:
        """Do it, or say how far it is."""
        if path in self._monitors:
            return self._monitor(path, method, request)
        if method != "POST":
            return not_allowed("POST")
        control = self._by_path[path]
        if not control.blades and request.role != "Administrator":
            return error(403, Message("InsufficientPrivilege"))
        if request.role == "ReadOnly":
            return error(403, Message("InsufficientPrivilege"))
        told = read(request, empty=True)
        if isinstance(told, Reply):
            return told
        wanted = told.get("ResetType", None if control.blades else "ForceRestart")
        for name in told:
            if name != "ResetType":
                return error(400, Message("ActionParameterUnknown", ("Reset", name)))
        if wanted is None:
            return error(400, Message("ActionParameterMissing", ("Reset", "ResetType")))
        if wanted not in control.words:
            return error(400, Message("ActionParameterValueNotInList", (str(wanted)[:200], "ResetType", "Reset")))
        if self.manner is Manner.REFUSED:
            return error(503, Message("ServiceTemporarilyUnavailable", ("30",)), headers=(("Retry-After", "30"),))
        self._do(control, wanted)
        if self.manner is Manner.LATE or (self._task and control.blades):
            return self._begun(request.time)
        return done()

    def _do(self, control: Control, wanted: str) -> None:
        if self.manner in (Manner.IGNORED, Manner.LATE):
            return
        if not control.blades:
            self._hands.restart()
            return
        few = (len(control.blades) + 1) // 2 if self.manner is Manner.HALF else len(control.blades)
        for blade in control.blades[:few]:
            self._host(blade, wanted)

    def _begun(self, now: float) -> Reply:
        self._made += 1
        path = f"{MONITORS}/{self._made}"
        while len(self._monitors) >= _MONITORS:
            del self._monitors[next(iter(self._monitors))]
        self._monitors[path] = now + (_AN_HOUR if self.manner is Manner.LATE else self._task)
        return Reply(202, (ODATA, NO_CACHE, ("Location", path), ("Retry-After", "1")))

    def _monitor(self, path: str, method: str, request: Request) -> Reply:
        if method != "GET":
            return not_allowed("GET, HEAD")
        if request.time < self._monitors[path]:
            return Reply(202, (ODATA, NO_CACHE, ("Location", path), ("Retry-After", "1")))
        del self._monitors[path]  # told once (DSP0266: afterwards 404 or 410)
        return done()

    def _host(self, blade: int, wanted: str) -> None:
        path = f"{self._sled.name}/blade{blade}/host"
        on = self._hands.telemetry().parts[path].power_state == "On"
        if wanted == "PushPowerButton":
            wanted = "GracefulShutdown" if on else "On"
        if wanted == "GracefulShutdown" and on:
            self._hands.set_power(path, True, again=_ENDING)
            return
        if wanted in ("ForceOff", "GracefulShutdown"):
            self._hands.set_power(path, False)
            return
        if wanted == "On" or not on:
            self._hands.set_power(path, True)
        else:
            self._hands.set_power(path, False, again=_OFF_SECONDS)
        key = (host(blade), "Boot")
        boot = self._kept.get(key)
        if boot is not None and boot["BootSourceOverrideEnabled"] == "Once":
            # it has been used (DSP0268, ComputerSystem.Boot)
            self._kept[key] = {**boot, "BootSourceOverrideEnabled": "Disabled", "BootSourceOverrideTarget": "None"}
