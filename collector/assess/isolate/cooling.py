"""How fans, filters, pumps and hoses fail, and what warms the air in front of them."""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess.isolate.words import Mode, Onset, Role, Show, Where
from collector.model import Kind, Sign

_HOT_THINGS = (
    *(Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.NETWORK_ADAPTER),
    *(Kind.POWER_SUPPLY, Kind.CONTROLLER, Kind.STORAGE_CONTROLLER),
)
_BLADES = (Kind.BLADE, Kind.MODULE)
_HOLDING = (Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.ENCLOSURE)
_TOLD_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

COOLING: Mapping[Kind | Role, tuple[Mode, ...]] = {
    Kind.FAN: (
        Mode(  # Fan makers' L10 lives of 60,000 to 100,000 h make 1 to 2 % a year of survivors: common practice
            name="seized",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.STANDS, 0.95),
                Show(Sign.FAULTY, 0.6),
                Show(Sign.TURNS_SLOWLY, 0.1),
                Show(Sign.READING_STUCK, 0.1),
                Show(Sign.WORKS_HARD, 0.3, Where.PEERS),
                Show(Sign.WORKS_HARD, 0.3, Where.SLED),
                Show(Sign.SHORT_OF_AIR, 0.2, Where.SLED),
                Show(Sign.SHORT_OF_AIR, 0.05, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.02, Where.AROUND, _HOT_THINGS),
                Show(Sign.HOT, 0.03, Where.AROUND, _HOLDING),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="slowing, its bearings worn",
            rate=1e-6,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(
                Show(Sign.TURNS_SLOWLY, 0.9),
                Show(Sign.READING_DRIFTS, 0.5),  # against its siblings it looks like a tachometer that does
                Show(Sign.WORKS_HARD, 0.3),
                Show(Sign.FAULTY, 0.3),
                Show(Sign.PREDICTED, 0.1),
                Show(Sign.WORKS_HARD, 0.15, Where.PEERS),
                Show(Sign.WORKS_HARD, 0.15, Where.SLED),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="its tachometer wire is broken",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.STANDS, 0.5),
                Show(Sign.READING_GONE, 0.4),
                Show(Sign.READING_IMPOSSIBLE, 0.4),
                Show(Sign.READING_NOISY, 0.2),
                Show(Sign.TURNS_SLOWLY, 0.2),
                Show(Sign.FAULTY, 0.5),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Kind.PUMP: (
        Mode(
            name="weak",
            rate=2e-6,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(
                Show(Sign.TURNS_SLOWLY, 0.5),
                Show(Sign.STANDS, 0.1),
                Show(Sign.FAULTY, 0.3),
                Show(Sign.WORKS_HARD, 0.2),
                Show(Sign.LITTLE_FLOW, 0.6, Where.AROUND),
                Show(Sign.HOT, 0.2, Where.AROUND, (Kind.PROCESSOR,)),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Role.COOLANT_PUMP: (
        Mode(
            name="weak",
            rate=2e-6,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(
                Show(Sign.LITTLE_FLOW, 0.85, Where.AROUND),
                Show(Sign.HOT, 0.2, Where.AROUND, (Kind.PROCESSOR,)),
                Show(Sign.FAULTY, 0.1, Where.AROUND, (Kind.OTHER, Kind.COOLANT_LOOP, Kind.COOLING_UNIT)),
            ),
        ),
    ),
    Role.COOLANT: (
        Mode(
            name="leaking",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.LEAKING, 0.7, Where.AROUND, (Kind.LEAK_DETECTOR,)),
                Show(Sign.LEAKING, 0.3, Where.AROUND, (*_HOLDING, Kind.OTHER, Kind.COOLANT_LOOP)),
                Show(Sign.FAULTY, 0.4, Where.AROUND, (Kind.LEAK_DETECTOR,)),
                Show(Sign.LITTLE_FLOW, 0.3, Where.AROUND),
            ),
        ),
    ),
    Kind.LEAK_DETECTOR: (
        Mode(
            name="tells a leak where none is",
            rate=1e-7,
            remedy="replace",
            shows=(Show(Sign.LEAKING, 0.5), Show(Sign.FAULTY, 0.5)),
        ),
    ),
    Role.AIR_PATH: (
        Mode(
            name="clogging",
            rate=5e-6,
            remedy="clean",
            onset=Onset.SLOW,
            shows=(
                Show(Sign.WORKS_HARD, 0.7, Where.SLED),
                Show(Sign.WORKS_HARD, 0.3, Where.AROUND, (Kind.FAN,)),
                Show(Sign.SHORT_OF_AIR, 0.6, Where.SLED),
                Show(Sign.SHORT_OF_AIR, 0.4, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.15, Where.AROUND, _HOT_THINGS),
                Show(Sign.HOT, 0.15, Where.AROUND, _HOLDING),
            ),
        ),
        Mode(
            name="its inlet is blocked",
            rate=1e-6,
            remedy="clean",
            shows=(
                Show(Sign.SHORT_OF_AIR, 0.8, Where.SLED),
                Show(Sign.SHORT_OF_AIR, 0.5, Where.AROUND, _BLADES),
                Show(Sign.WORKS_HARD, 0.5, Where.SLED),
                Show(Sign.WORKS_HARD, 0.3, Where.AROUND, (Kind.FAN,)),
                Show(Sign.HOT, 0.2, Where.AROUND, _HOT_THINGS),
                Show(Sign.HOT, 0.2, Where.AROUND, _HOLDING),
            ),
        ),
    ),
    Role.BLANKING: (
        Mode(
            name="missing, so that warm air comes round to the front",
            rate=2e-6,
            remedy="fit a blanking panel",
            shows=(
                Show(Sign.WARM_AIR, 0.9, Where.SLED),
                Show(Sign.WARM_AIR, 0.3, Where.AROUND, _BLADES),
                Show(Sign.WORKS_HARD, 0.1, Where.SLED),
                Show(Sign.HOT, 0.05, Where.AROUND, (*_HOT_THINGS, *_HOLDING)),
            ),
        ),
    ),
    Role.ROOM: (
        Mode(
            name="warm",
            rate=2e-4,
            remedy="see to the room's cooling",
            benign=True,
            shows=(
                Show(Sign.WARM_AIR, 0.7, Where.SLED),
                Show(Sign.WARM_AIR, 0.3, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.05, Where.AROUND, (*_HOT_THINGS, *_HOLDING)),
                Show(Sign.WORKS_HARD, 0.05, Where.SLED),
            ),
        ),
    ),
    Kind.COOLING_UNIT: (
        Mode(
            name="failing",
            rate=2e-6,
            remedy="replace",
            shows=(Show(Sign.FAULTY, 0.8), Show(Sign.LITTLE_FLOW, 0.5), Show(Sign.HOT, 0.3), _TOLD_ABOVE),
        ),
    ),
}
"""See :mod:`collector.assess.isolate.failures` for what the figures are."""
