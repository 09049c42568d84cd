"""How power supplies, power boards and feeds fail; :mod:`collector.assess.isolate.failures` says what figures are."""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess.isolate.words import Mode, Onset, Role, Show, Where
from collector.model import Kind, Sign

_BLADES = (Kind.BLADE, Kind.MODULE)
_HOSTS = (Kind.HOST,)
_SUPPLIES = (Kind.POWER_SUPPLY,)
_ABOVE = Show(Sign.FAULTY, 0.3, Where.HOLDERS)

_LOST_DOWNSTREAM = (
    Show(Sign.NO_POWER, 0.5, Where.FED),
    Show(Sign.LOW_VOLTAGE, 0.2, Where.FED),
    Show(Sign.OFF, 0.4, Where.FED_INSIDE, (*_HOSTS, *_BLADES)),
    Show(Sign.FAULTY, 0.2, Where.FED_INSIDE, (*_HOSTS, *_BLADES)),
    Show(Sign.NO_POWER, 0.3, Where.FED_INSIDE, _BLADES),
    Show(Sign.NO_POWER, 0.3, Where.FED_INSIDE, _SUPPLIES),
    Show(Sign.FAULTY, 0.2, Where.FED_INSIDE, _SUPPLIES),
    Show(Sign.CUT_OFF, 0.6, Where.FED_INSIDE, (Kind.CONTROLLER,)),
)
_SAG_DOWNSTREAM = (
    Show(Sign.LOW_VOLTAGE, 0.6, Where.FED),
    Show(Sign.LOW_VOLTAGE, 0.2, Where.FED_INSIDE, _SUPPLIES),
)
_LOSSY_DOWNSTREAM = (
    Show(Sign.UNBALANCED, 0.2, Where.FED),
    Show(Sign.LOW_VOLTAGE, 0.6, Where.FED),
)


def _feed(lost: float, sagging: float, lossy: float, *more: Show) -> tuple[Mode, ...]:
    return (
        Mode(
            name="lost",
            rate=lost,
            remedy="restore",
            shows=(
                Show(Sign.NO_POWER, 0.9),
                Show(Sign.OFF, 0.3),
                Show(Sign.FAULTY, 0.4),
                Show(Sign.LOW_VOLTAGE, 0.2),
                *_LOST_DOWNSTREAM,
                *more,
                _ABOVE,
            ),
        ),
        Mode(
            name="sagging",
            rate=sagging,
            remedy="repair",
            shows=(
                Show(Sign.LOW_VOLTAGE, 0.9),
                Show(Sign.FAULTY, 0.2),
                *_SAG_DOWNSTREAM,
                *(
                    Show(show.sign, show.chance / 2, show.on, show.kinds)
                    for show in more
                    if show.sign is Sign.LOW_VOLTAGE
                ),
                _ABOVE,
            ),
        ),
        Mode(
            name="losing power on the way",
            rate=lossy,
            remedy="tighten its joints",
            onset=Onset.SLOW,
            shows=(
                Show(Sign.UNBALANCED, 0.5),
                Show(Sign.HOT, 0.1),
                *_LOSSY_DOWNSTREAM,
                _ABOVE,
            ),
        ),
    )


SUPPLIES: Mapping[Kind | Role, tuple[Mode, ...]] = {
    Kind.POWER_SUPPLY: (
        Mode(  # about 1 % a year: common practice
            name="dead",
            rate=1.5e-6,
            remedy="replace",
            shows=(
                Show(Sign.FAULTY, 0.8),
                Show(Sign.NO_POWER, 0.6),
                Show(Sign.LOW_VOLTAGE, 0.1),
                Show(Sign.READING_GONE, 0.1),
                Show(Sign.OVERLOADED, 0.1, Where.PEERS),
                Show(Sign.NO_POWER, 0.8, Where.ONLY_FED),
                Show(Sign.CUT_OFF, 0.1, Where.CONTROLLER),
                _ABOVE,
            ),
        ),
        Mode(
            name="losing power",
            rate=3e-7,
            remedy="replace",
            onset=Onset.SLOW,
            shows=(Show(Sign.UNBALANCED, 0.8), Show(Sign.HOT, 0.4), Show(Sign.FAULTY, 0.1), _ABOVE),
        ),
        Mode(
            name="its output sags",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.LOW_VOLTAGE, 0.8),
                Show(Sign.LOW_VOLTAGE, 0.05, Where.FED),  # the one beside it holds the voltage
                Show(Sign.LOW_VOLTAGE, 0.8, Where.ONLY_FED),
                _ABOVE,
            ),
        ),
    ),
    Kind.SLED: (
        Mode(
            name="its power board has failed",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.NO_POWER, 0.7, Where.AROUND, _BLADES),
                Show(Sign.LOW_VOLTAGE, 0.3, Where.AROUND, _BLADES),
                Show(Sign.OFF, 0.6, Where.AROUND, (*_HOSTS, *_BLADES)),
                Show(Sign.FAULTY, 0.3, Where.AROUND, (*_HOSTS, *_BLADES)),
                Show(Sign.READING_GONE, 0.2, Where.AROUND, _BLADES),
                Show(Sign.FAULTY, 0.3, Where.SLED),
                Show(Sign.CUT_OFF, 0.2, Where.CONTROLLER),
            ),
        ),
        Mode(
            name="its power board has lost an output",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.NO_POWER, 0.3, Where.AROUND, _BLADES),
                Show(Sign.LOW_VOLTAGE, 0.3, Where.AROUND, _BLADES),
                Show(Sign.OFF, 0.25, Where.AROUND, (*_HOSTS, *_BLADES)),
                Show(Sign.FAULTY, 0.2, Where.AROUND, (*_HOSTS, *_BLADES)),
                Show(Sign.UNBALANCED, 0.3, Where.SLED),
                Show(Sign.HOT, 0.3, Where.AROUND, _SUPPLIES),
            ),
        ),
        Mode(
            name="its power board loses power",
            rate=3e-7,
            remedy="replace",
            shows=(
                Show(Sign.UNBALANCED, 0.7, Where.SLED),
                Show(Sign.LOW_VOLTAGE, 0.5, Where.AROUND, _BLADES),
                Show(Sign.HOT, 0.1, Where.SLED),
                Show(Sign.HOT, 0.5, Where.AROUND, _SUPPLIES),  # they carry what is lost as well
            ),
        ),
    ),
    Role.FEED: _feed(
        2e-6,
        2e-6,
        1e-6,
    ),
}

_SENSED_BY_SUPPLIES = Mode(
    name="its sensor is gone",
    rate=2e-7,
    remedy="replace",
    shows=(
        Show(Sign.READING_GONE, 0.95),
        Show(Sign.READING_GONE, 0.4, Where.AROUND, _SUPPLIES),  # of which the same sensor tells the input
    ),
    needs_sensor=True,
)

FEEDS: Mapping[Kind | Role, tuple[Mode, ...]] = {
    Kind.CIRCUIT: (
        *_feed(
            1e-5,
            2e-6,
            1e-6,
            Show(Sign.NO_POWER, 0.4, Where.AROUND, _SUPPLIES),  # half of a shelf's supplies hang on one of two feeds
            Show(Sign.FAULTY, 0.3, Where.AROUND, _SUPPLIES),
            Show(Sign.LOW_VOLTAGE, 0.1, Where.AROUND, _SUPPLIES),
        ),
        _SENSED_BY_SUPPLIES,
    ),
    Kind.OUTLET: _feed(1e-6, 1e-6, 1e-6),
    Kind.POWER_FEED: _feed(1e-6, 1e-6, 1e-6),
    Kind.BATTERY: (
        Mode(name="worn", rate=2e-6, remedy="replace", shows=(Show(Sign.FAULTY, 0.8), Show(Sign.PREDICTED, 0.4))),
    ),
}
