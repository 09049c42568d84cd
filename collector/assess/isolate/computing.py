"""How blades and what they carry fail: processors, memory, drives, plugs."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import structs

from collector.assess.isolate.words import Mode, Onset, Role, Show, Where
from collector.model import Kind, Sign

_HOT_THINGS = (
    *(Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.NETWORK_ADAPTER),
    *(Kind.POWER_SUPPLY, Kind.CONTROLLER, Kind.STORAGE_CONTROLLER),
)
_BEHIND = (Kind.NETWORK_ADAPTER, Kind.POWER_SUPPLY, Kind.CONTROLLER)
"""What a sled's blades may have behind them in the air's way."""
_BLADES = (Kind.BLADE, Kind.MODULE)
_HOLDING = (Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.ENCLOSURE)
_TOLD_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

HEAT_SINK = Mode(
    name="its heat sink is loose",
    rate=3e-7,
    remedy="reseat its heat sink",
    shows=(Show(Sign.HOT, 0.9), Show(Sign.FAULTY, 0.15), Show(Sign.WORKS_HARD, 0.1, Where.SLED), _TOLD_ABOVE),
)
LOOSE_PLATE = structs.replace(HEAT_SINK, name="its cold plate is loose", remedy="reseat its cold plate")
"""What stands in a loose heat sink's place where the processor is under a cold plate: nobody must be sent there without
a word of coolant."""

COMPUTING: Mapping[Kind | Role, tuple[Mode, ...]] = {
    Kind.PROCESSOR: (
        HEAT_SINK,
        Mode(
            name="failing",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.7),
                Show(Sign.UNCORRECTABLE, 0.5),
                Show(Sign.CORRECTABLE, 0.4),
                Show(Sign.PREDICTED, 0.1),
                Show(Sign.UNSTEADY, 0.2, Where.BLADE),
                Show(Sign.OFF, 0.1, Where.BLADE),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Role.COLD_PLATE: (
        Mode(
            name="its cold plate sits badly",
            rate=3e-7,
            remedy="reseat its cold plate",
            shows=(
                Show(Sign.HOT, 0.9),
                Show(Sign.FAULTY, 0.15),
                # the air gets what the coolant does not
                Show(Sign.SHORT_OF_AIR, 0.4, Where.BLADE),
                Show(Sign.SHORT_OF_AIR, 0.1, Where.SLED),
                Show(Sign.HOT, 0.1, Where.BLADE),
                Show(Sign.HOT, 0.15, Where.AROUND, _BEHIND),
                Show(Sign.WORKS_HARD, 0.1, Where.SLED),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Kind.MEMORY: (
        # Schroeder, Pinheiro, Weber, 'DRAM Errors in the Wild', 2009 (from memory): a few per cent of modules a year
        # with correctable errors, 0.2 to 0.3 % with an uncorrectable one; storms worth a visit are rarer.
        Mode(
            name="correcting many errors",
            rate=1e-6,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(Show(Sign.CORRECTABLE, 0.9), Show(Sign.FAULTY, 0.4), Show(Sign.PREDICTED, 0.1), _TOLD_ABOVE),
        ),
        Mode(
            name="errors it can't correct",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.UNCORRECTABLE, 0.85),
                Show(Sign.FAULTY, 0.7),
                Show(Sign.CORRECTABLE, 0.5),
                Show(Sign.OFF, 0.05, Where.HOLDERS, (Kind.HOST,)),
                Show(Sign.UNSTEADY, 0.1, Where.HOLDERS, (Kind.HOST,)),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Kind.DRIVE: (
        # Pinheiro, Weber, Barroso, 'Failure Trends in a Large Disk Drive Population', 2007 (from memory): 2 to 8 % a
        # year of disks; flash about 1 %.
        Mode(
            name="worn",
            rate=1e-6,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(Show(Sign.WORN, 0.95), Show(Sign.PREDICTED, 0.2), Show(Sign.CORRECTABLE, 0.1), _TOLD_ABOVE),
        ),
        Mode(
            name="expected to fail",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.PREDICTED, 0.97),
                Show(Sign.FAULTY, 0.4),
                Show(Sign.WORN, 0.2),
                Show(Sign.CORRECTABLE, 0.1),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="dead",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.8),
                Show(Sign.ABSENT, 0.3),
                Show(Sign.READING_GONE, 0.5),
                Show(Sign.FAULTY, 0.05, Where.BLADE),
                _TOLD_ABOVE,
            ),
        ),
    ),
    Kind.STORAGE_CONTROLLER: (
        Mode(name="failed", rate=5e-7, remedy="replace", shows=(Show(Sign.FAULTY, 0.9), _TOLD_ABOVE)),
    ),
    Role.PLUG: (
        Mode(
            name="half-seated",
            rate=5e-7,
            remedy="reseat",
            shows=(
                Show(Sign.UNSTEADY, 0.7),
                Show(Sign.ABSENT, 0.6),
                Show(Sign.READING_GONE, 0.4),
                Show(Sign.FAULTY, 0.2),
                Show(Sign.UNSTEADY, 0.05, Where.INSIDE),  # what goes and comes with it is not unsteady by itself
                Show(Sign.ABSENT, 0.5, Where.INSIDE),
                Show(Sign.READING_GONE, 0.3, Where.INSIDE),
                Show(Sign.OFF, 0.3, Where.INSIDE, (Kind.HOST,)),
            ),
        ),
    ),
    Kind.HOST: (
        Mode(
            name="switched off by its owner",
            rate=1e-4,
            remedy="nothing",
            benign=True,
            shows=(Show(Sign.OFF, 0.95), Show(Sign.OFF, 0.5, Where.BLADE)),
        ),
    ),
    Kind.BLADE: (
        Mode(
            name="dead",
            rate=1e-6,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.6),
                Show(Sign.OFF, 0.5),
                Show(Sign.NO_POWER, 0.3),
                Show(Sign.OFF, 0.8, Where.INSIDE, (Kind.HOST,)),
                Show(Sign.FAULTY, 0.3, Where.INSIDE, (Kind.HOST,)),
                Show(Sign.READING_GONE, 0.2),
                Show(Sign.READING_GONE, 0.2, Where.INSIDE, (Kind.PROCESSOR,)),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="its 12 V is lost",
            rate=5e-7,
            remedy="replace",
            shows=(
                Show(Sign.NO_POWER, 0.85),
                Show(Sign.LOW_VOLTAGE, 0.3),
                Show(Sign.FAULTY, 0.5),
                Show(Sign.OFF, 0.5),
                Show(Sign.OFF, 0.7, Where.INSIDE, (Kind.HOST,)),
                Show(Sign.FAULTY, 0.3, Where.INSIDE, (Kind.HOST,)),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="its regulators are failing",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.HOT, 0.4),
                Show(Sign.LOW_VOLTAGE, 0.5),
                Show(Sign.HIGH_VOLTAGE, 0.2),
                Show(Sign.UNSTEADY, 0.2),
                Show(Sign.UNSTEADY, 0.2, Where.INSIDE, (Kind.HOST,)),
                Show(Sign.FAULTY, 0.3),
                _TOLD_ABOVE,
            ),
        ),
        Mode(
            name="its air path is blocked",
            rate=5e-7,
            remedy="clean",
            shows=(
                Show(Sign.SHORT_OF_AIR, 0.9),
                Show(Sign.HOT, 0.4),
                Show(Sign.HOT, 0.3, Where.INSIDE, _HOT_THINGS),
                Show(Sign.SHORT_OF_AIR, 0.5, Where.SLED),
                Show(Sign.WORKS_HARD, 0.5, Where.SLED),
                Show(Sign.WORKS_HARD, 0.1, Where.AROUND, (Kind.FAN,)),
                Show(Sign.HOT, 0.15, Where.AROUND, _BEHIND),  # its air comes on warmer, and there is less of it
            ),
        ),
    ),
}
"""See :mod:`collector.assess.isolate.failures` for what the figures are."""
