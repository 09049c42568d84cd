"""How controllers, network adapters, switches and cables fail."""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess.isolate.words import Mode, Role, Show, Where
from collector.model import Kind, Sign

_HOT_THINGS = (Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.NETWORK_ADAPTER)
_BLADES = (Kind.BLADE, Kind.MODULE)
_HOLDING = (Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.ENCLOSURE)
_TOLD_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

CONNECTING: Mapping[Kind | Role, tuple[Mode, ...]] = {
    Kind.NETWORK_ADAPTER: (
        Mode(
            name="dead",
            rate=5e-7,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.7),
                Show(Sign.LINK_DOWN, 0.7, Where.INSIDE, (Kind.PORT,)),
                Show(Sign.READING_GONE, 0.4),
                Show(Sign.ABSENT, 0.2),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="one of its ports is dead",
            rate=2e-7,
            remedy="replace",
            shows=(Show(Sign.LINK_DOWN, 0.3, Where.INSIDE, (Kind.PORT,)), Show(Sign.FAULTY, 0.3), _TOLD_ABOVE),
        ),
    ),
    Role.DATA_CABLE: (
        Mode(
            name="half-seated",
            rate=1e-6,
            remedy="reseat",
            shows=(Show(Sign.UNSTEADY, 0.9), Show(Sign.LINK_DOWN, 0.4)),
        ),
        Mode(name="broken", rate=3e-7, remedy="replace", shows=(Show(Sign.LINK_DOWN, 0.95),)),
    ),
    Role.SWITCH_PORT: (
        Mode(
            name="dead",
            rate=1e-6,
            remedy="move to another port",
            shows=(Show(Sign.LINK_DOWN, 0.97), Show(Sign.UNSTEADY, 0.05)),
        ),
    ),
    Role.DATA_SWITCH: (
        Mode(
            name="gone",
            rate=1e-6,
            remedy="replace",
            shows=(Show(Sign.LINK_DOWN, 0.97), Show(Sign.UNSTEADY, 0.02)),
        ),
    ),
    Role.MANAGEMENT_SWITCH: (
        Mode(
            name="gone",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.CUT_OFF, 0.9, Where.CONTROLLER),
                Show(Sign.SILENT, 0.3, Where.CONTROLLER),
            ),
        ),
    ),
    Role.MANAGEMENT_CABLE: (
        Mode(
            name="half-seated",
            rate=1e-6,
            remedy="reseat",
            shows=(
                Show(Sign.UNSTEADY, 0.9, Where.CONTROLLER),
                Show(Sign.CUT_OFF, 0.5, Where.CONTROLLER),
                Show(Sign.SILENT, 0.2, Where.CONTROLLER),
            ),
        ),
        Mode(
            name="broken, or its switch port dead",
            rate=5e-7,
            remedy="replace",
            shows=(Show(Sign.CUT_OFF, 0.9, Where.CONTROLLER), Show(Sign.SILENT, 0.3, Where.CONTROLLER)),
        ),
    ),
    Kind.CONTROLLER: (
        Mode(
            name="hung",
            rate=1e-5,
            remedy="restart",
            shows=(
                Show(Sign.SILENT, 0.9),
                Show(Sign.CUT_OFF, 0.1),
                Show(Sign.FAULTY, 0.05),
            ),
        ),
        Mode(name="slow", rate=5e-6, remedy="restart", shows=(Show(Sign.SLOW, 0.95), Show(Sign.SILENT, 0.1))),
        Mode(
            name="restarting by itself",
            rate=3e-6,
            remedy="update firmware",
            shows=(
                Show(Sign.RESTARTED, 0.9),
                Show(Sign.CUT_OFF, 0.4),
                Show(Sign.SILENT, 0.3),
                Show(Sign.UNSTEADY, 0.4),
            ),
        ),
        Mode(name="dead", rate=1e-6, remedy="replace", shows=(Show(Sign.CUT_OFF, 0.95), Show(Sign.SILENT, 0.2))),
        Mode(name="its clock is wrong", rate=3e-6, remedy="set its clock", shows=(Show(Sign.CLOCK_OFF, 0.97),)),
        Mode(
            name="no longer reads its sensors",
            rate=1e-6,
            remedy="restart",
            shows=(
                Show(Sign.READING_GONE, 0.7),
                Show(Sign.READING_GONE, 0.6, Where.AROUND, _HOLDING),
                Show(Sign.READING_STUCK, 0.2, Where.AROUND, _HOLDING),
                Show(Sign.READING_GONE, 0.5, Where.AROUND, (Kind.PROCESSOR, Kind.FAN)),
            ),
        ),
    ),
    Kind.SWITCH: (Mode(name="failed", rate=1e-6, remedy="replace", shows=(Show(Sign.FAULTY, 0.9), _TOLD_ABOVE)),),
}
"""See :mod:`collector.assess.isolate.failures` for what the figures are."""
