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

from collector.assess.isolate.computing import COMPUTING
from collector.assess.isolate.connecting import CONNECTING
from collector.assess.isolate.cooling import COOLING
from collector.assess.isolate.electric import FEEDS, SUPPLIES
from collector.assess.isolate.words import Mode, Onset, Role, Show, Where
from collector.model import Kind, Sign

HOURS = 168.0
"""For how long a failure stands, on average, until somebody has mended it: a week. Common practice, no source."""

_HOT_THINGS = (Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.NETWORK_ADAPTER)
_BLADES = (Kind.BLADE, Kind.MODULE)
_HOLDING = (Kind.SLED, Kind.BLADE, Kind.MODULE, Kind.ENCLOSURE)
_TOLD_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

_SUM_OF_ITS_SLED = Show(Sign.UNBALANCED, 0.15, Where.SLED)

_BELIEVED: tuple[Show, ...] = (
    Show(Sign.HOT, 0.07),
    Show(Sign.WARM_AIR, 0.07),
    Show(Sign.SHORT_OF_AIR, 0.05),
    Show(Sign.WORKS_HARD, 0.04),
    Show(Sign.UNBALANCED, 0.12),
    Show(Sign.UNBALANCED, 0.06, Where.SLED),
    Show(Sign.BEYOND, 0.04),
    Show(Sign.LOW_VOLTAGE, 0.04),
    Show(Sign.HIGH_VOLTAGE, 0.04),
)
"""What a reading that is off seems to say, to whoever believes it: one of these at most, by what it measures."""

SENSOR: tuple[Mode, ...] = (
    Mode(
        name="its sensor is stuck",
        rate=2e-7,
        remedy="replace",
        shows=(Show(Sign.READING_STUCK, 0.9), Show(Sign.UNBALANCED, 0.1), _SUM_OF_ITS_SLED),
        needs_sensor=True,
    ),
    Mode(
        name="its sensor drifts",
        rate=2e-7,
        remedy="replace",
        shows=(
            Show(Sign.READING_DRIFTS, 0.85),
            Show(Sign.READING_IMPOSSIBLE, 0.1),
            *_BELIEVED,
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
            Show(Sign.READING_IMPOSSIBLE, 0.1),
            Show(Sign.READING_DRIFTS, 0.05),
            Show(Sign.UNSTEADY, 0.05),
            *_BELIEVED,
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
        shows=(Show(Sign.READING_IMPOSSIBLE, 0.9), Show(Sign.UNBALANCED, 0.2), _SUM_OF_ITS_SLED),
        needs_sensor=True,
    ),
)
"""Of any part that carries a sensor: charged to that part, for sensors are not replaced alone."""

UNKNOWN_WAY = "has failed in a way not known"

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
        shows=(
            Show(Sign.ABSENT, 0.95),
            Show(Sign.ABSENT, 0.5, Where.INSIDE),
            Show(Sign.READING_GONE, 0.3),
            Show(Sign.READING_GONE, 0.2, Where.INSIDE),
        ),
    ),
    Mode(
        name=UNKNOWN_WAY,
        rate=2e-7,
        remedy="replace",
        shows=(Show(Sign.FAULTY, 0.5), *(Show(sign, 0.02) for sign in Sign if sign is not Sign.FAULTY), _TOLD_ABOVE),
    ),
)
"""Of any part whatever, of unknown kinds too: a weaker answer rather than none."""

KNOWN: Mapping[Kind | Role, tuple[Mode, ...]] = {
    **SUPPLIES,
    **FEEDS,
    **COOLING,
    **COMPUTING,
    **CONNECTING,
}
"""By kind of part, or by what the part is where no controller tells of it."""

NEVER_CHARGED = frozenset({Kind.PORT, Kind.RACK})
"""Kinds that nobody replaces: what fails there is charged to what carries them. So is what fails on a host, but for its
firmware."""

LEAK = 3e-7
"""Probability that a sign is there with no cause among those known, on one part at one time. The looks vouch for what
they say by an observation's weight; this is for what they can't know."""
LEAKS: Mapping[Sign, float] = {
    Sign.WARM_AIR: 1e-5,
    Sign.OVERLOADED: 1e-3,
    Sign.OFF: 1e-5,
    Sign.BEYOND: 3e-6,
    Sign.FAULTY: 1e-6,
    Sign.HOT: 2e-6,
}


SPILL: Mapping[Sign, float] = {Sign.READING_DRIFTS: 0.2, Sign.READING_IMPOSSIBLE: 0.05, Sign.FAULTY: 0.3}
"""What is really odd looks like an odd sensor now and then, and its controller calls the part not OK for it: chances,
given that the oddity itself is seen there."""
SPILLS = frozenset(
    {
        *(Sign.HOT, Sign.WARM_AIR, Sign.STANDS, Sign.TURNS_SLOWLY, Sign.NO_POWER, Sign.LOW_VOLTAGE, Sign.HIGH_VOLTAGE),
        *(Sign.UNBALANCED, Sign.LITTLE_FLOW, Sign.SHORT_OF_AIR, Sign.WORKS_HARD, Sign.OVERLOADED),
    }
)
"""Signs of readings that are odd because what they measure is."""


def modes_of(role: Kind | Role, *, has_sensor: bool) -> tuple[Mode, ...]:
    """All ways in which such a part fails, those of every part among them."""
    own = KNOWN.get(role, ())
    if isinstance(role, Role):
        return own
    if role is Kind.HOST:
        return (*own, *(mode for mode in ANY if mode.remedy == "update firmware"))
    if role in NEVER_CHARGED:
        return own
    return (*own, *ANY, *(SENSOR if has_sensor else ()))


def leak(sign: Sign) -> float:
    """Probability of a sign without any known cause."""
    return LEAKS.get(sign, LEAK)
