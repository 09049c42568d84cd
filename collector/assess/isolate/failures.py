"""How parts fail: for each kind of part its failure modes, what each would show, and how often it happens.

Rates are failures an hour of one part, from common practice (no source) but where one is named beside them: 1e-6 an
hour is a little under 1 % a year. What counts for isolation is their order of magnitude against one another. Chances
say how probably a controller of average diligence would let the sign be seen, given the failure, where it tells
anything of that sort; they are judgement, in steps no finer than the judgement is.

What a failure would leave healthy needs no entry: a sign that can be seen, is not there, and is expected of the
failure with a chance speaks against it by just that.
"""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess.isolate.electric import FEEDS, SUPPLIES
from collector.assess.isolate.words import Mode, Onset, Role, Show, Where
from collector.model import Kind, Sign

HOURS = 168.0
"""For how long a failure stands, on average, until somebody has mended it: a week. Common practice, no source."""

_HOT_THINGS = (Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.NETWORK_ADAPTER)
_BLADES = (Kind.BLADE, Kind.MODULE)
_HOLDING = (Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.ENCLOSURE)
_TOLD_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

SENSOR: tuple[Mode, ...] = (
    Mode(
        name="its sensor is stuck",
        rate=2e-7,
        remedy="replace",
        shows=(Show(Sign.READING_STUCK, 0.9), Show(Sign.UNBALANCED, 0.1)),
        needs_sensor=True,
    ),
    Mode(
        name="its sensor drifts",
        rate=2e-7,
        remedy="replace",
        shows=(
            Show(Sign.READING_DRIFTS, 0.85),
            Show(Sign.READING_IMPOSSIBLE, 0.2),
            Show(Sign.HOT, 0.15),
            Show(Sign.WARM_AIR, 0.1),
            Show(Sign.UNBALANCED, 0.3),
            Show(Sign.BEYOND, 0.1),
            Show(Sign.LOW_VOLTAGE, 0.05),
            Show(Sign.HIGH_VOLTAGE, 0.05),
        ),
        onset=Onset.SLOW,
        needs_sensor=True,
    ),
    Mode(
        name="its sensor is noisy",
        rate=2e-7,
        remedy="replace",
        shows=(
            Show(Sign.READING_NOISY, 0.9),
            Show(Sign.READING_IMPOSSIBLE, 0.2),
            Show(Sign.UNSTEADY, 0.1),
            Show(Sign.HOT, 0.05),
        ),
        needs_sensor=True,
    ),
    Mode(
        name="its sensor is gone",
        rate=3e-7,
        remedy="replace",
        shows=(Show(Sign.READING_GONE, 0.95), Show(Sign.READING_IMPOSSIBLE, 0.1)),
        needs_sensor=True,
    ),
    Mode(
        name="its sensor tells the impossible",
        rate=1e-7,
        remedy="replace",
        shows=(Show(Sign.READING_IMPOSSIBLE, 0.9), Show(Sign.UNBALANCED, 0.2)),
        needs_sensor=True,
    ),
)
"""Of any part that carries a sensor: charged to that part, for sensors are not replaced alone."""

ANY: tuple[Mode, ...] = (
    Mode(
        name="is another part than planned",
        rate=1e-6,
        remedy="replace",
        shows=(Show(Sign.WRONG_PART, 0.95), Show(Sign.MISPLACED, 0.3)),
    ),
    Mode(name="stands in another's place", rate=5e-7, remedy="move", shows=(Show(Sign.MISPLACED, 0.95),)),
    Mode(
        name="has old firmware",
        rate=1e-6,
        remedy="update firmware",
        shows=(Show(Sign.OLD_FIRMWARE, 0.95),),
    ),
    Mode(
        name="its lamp is wrong",
        rate=5e-7,
        remedy="replace",
        shows=(Show(Sign.LAMP_WRONG, 0.95),),
    ),
    Mode(
        name="is not in its place",
        rate=5e-7,
        remedy="reseat",
        shows=(Show(Sign.ABSENT, 0.95), Show(Sign.READING_GONE, 0.3), Show(Sign.READING_GONE, 0.2, Where.INSIDE)),
    ),
    Mode(
        name="has failed in a way not known",
        rate=5e-8,
        remedy="replace",
        shows=(Show(Sign.FAULTY, 0.7), *(Show(sign, 0.05) for sign in Sign if sign is not Sign.FAULTY), _TOLD_ABOVE),
    ),
)
"""Of any part whatever, of unknown kinds too: a weaker answer rather than none."""

KNOWN: Mapping[Kind | Role, tuple[Mode, ...]] = {
    **SUPPLIES,
    **FEEDS,
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
                Show(Sign.SHORT_OF_AIR, 0.3, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.05, Where.AROUND, _HOT_THINGS),
                Show(Sign.HOT, 0.1, Where.AROUND, _HOLDING),
            ),
        ),
        Mode(
            name="its inlet is blocked",
            rate=1e-6,
            remedy="clean",
            shows=(
                Show(Sign.SHORT_OF_AIR, 0.8, Where.SLED),
                Show(Sign.SHORT_OF_AIR, 0.3, Where.AROUND, _BLADES),
                Show(Sign.WORKS_HARD, 0.5, Where.SLED),
                Show(Sign.WORKS_HARD, 0.3, Where.AROUND, (Kind.FAN,)),
                Show(Sign.HOT, 0.1, Where.AROUND, _HOT_THINGS),
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
                Show(Sign.WARM_AIR, 0.6, Where.AROUND, _BLADES),
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
                Show(Sign.WARM_AIR, 0.5, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.05, Where.AROUND, (*_HOT_THINGS, *_HOLDING)),
                Show(Sign.WORKS_HARD, 0.05, Where.SLED),
            ),
        ),
    ),
    Kind.PROCESSOR: (
        Mode(
            name="its heat sink is loose",
            rate=3e-7,
            remedy="reseat its heat sink",
            shows=(Show(Sign.HOT, 0.9), Show(Sign.FAULTY, 0.15), Show(Sign.WORKS_HARD, 0.1, Where.SLED), _TOLD_ABOVE),
        ),
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
    Role.DRIVE_CABLE: (
        Mode(
            name="half-seated",
            rate=5e-7,
            remedy="reseat",
            shows=(
                Show(Sign.UNSTEADY, 0.7, Where.INSIDE, (Kind.DRIVE,)),
                Show(Sign.ABSENT, 0.4, Where.INSIDE, (Kind.DRIVE,)),
                Show(Sign.READING_GONE, 0.4, Where.INSIDE, (Kind.DRIVE,)),
                Show(Sign.FAULTY, 0.2, Where.INSIDE, (Kind.DRIVE,)),
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
    Kind.NETWORK_ADAPTER: (
        Mode(
            name="dead",
            rate=5e-7,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.7),
                Show(Sign.LINK_DOWN, 0.9, Where.INSIDE, (Kind.PORT,)),
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
            rate=2e-6,
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
            name="unsteady in its slot",
            rate=5e-7,
            remedy="reseat",
            shows=(
                Show(Sign.UNSTEADY, 0.9),
                Show(Sign.UNSTEADY, 0.4, Where.INSIDE, (Kind.HOST,)),
                Show(Sign.ABSENT, 0.3),
                Show(Sign.READING_GONE, 0.2),
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
    Kind.SWITCH: (Mode(name="failed", rate=1e-6, remedy="replace", shows=(Show(Sign.FAULTY, 0.9), _TOLD_ABOVE)),),
}
"""By kind of part, or by what the part is where no controller tells of it."""

NEVER_CHARGED = frozenset({Kind.PORT, Kind.HOST, Kind.RACK})
"""Kinds that nobody replaces: what fails there is charged to what carries them."""

LEAK = 1e-6
"""Probability that a sign is there with no cause among those known, on one part at one time. The looks vouch for what
they say by an observation's weight; this is for what they can't know."""
LEAKS: Mapping[Sign, float] = {
    Sign.WARM_AIR: 3e-5,
    Sign.OVERLOADED: 1e-3,
    Sign.OFF: 1e-5,
    Sign.BEYOND: 3e-6,
    Sign.FAULTY: 3e-6,
    Sign.HOT: 3e-6,
}


def modes_of(role: Kind | Role, *, has_sensor: bool) -> tuple[Mode, ...]:
    """All ways in which such a part fails, those of every part among them."""
    own = KNOWN.get(role, ())
    if isinstance(role, Role):
        return own
    if role in NEVER_CHARGED:
        return (*own, *(mode for mode in ANY if mode.rate < 1e-7)) if role is not Kind.PORT else own
    return (*own, *ANY, *(SENSOR if has_sensor else ()))


def leak(sign: Sign) -> float:
    """Probability of a sign without any known cause."""
    return LEAKS.get(sign, LEAK)
