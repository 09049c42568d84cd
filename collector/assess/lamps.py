"""Front lamps as the OCP Panel Indicator Specification rev 1.0 defines them: tables 6.1, 6.2 and 6.4 as data.

Two colours, blue and amber; three states, off, on and blink (500 ms on, 500 ms off). What a pair of lamps means depends
on the panel: both on is a running system with a fault under 6.1 and no defined state under 6.2. What is not known stays
unknown: a lamp state is never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from msgspec import Struct

from collector.model import Health, Kind, Lamps, LampState, LedState, Part, PowerState, Rolled, State, Status

_OFF, _ON, _BLINK, _UNKNOWN = LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN

BLINK_PERIOD = 1.0
"""Seconds of one blink: half of it on, half off."""


class Panel(StrEnum):
    """Which table of the specification a front follows."""

    SYSTEM = "system"
    """Section 6.1."""
    MODULE = "module"
    """Section 6.2, general modules."""
    POWER_SUPPLY = "power supply"
    """Section 6.4; its amber lamp here is the fault lamp, see :class:`SupplyLamps` for all of them."""


class SystemState(Struct, frozen=True):
    """A row of table 6.1; ``fault`` is None on the locate rows, which don't show it."""

    power_on: bool
    fault: bool | None
    locate: bool


SYSTEM_TABLE: Mapping[SystemState, Lamps] = {
    SystemState(power_on=False, fault=False, locate=False): Lamps(blue=_OFF, amber=_OFF),
    SystemState(power_on=True, fault=False, locate=False): Lamps(blue=_ON, amber=_OFF),
    SystemState(power_on=False, fault=True, locate=False): Lamps(blue=_OFF, amber=_ON),
    SystemState(power_on=True, fault=True, locate=False): Lamps(blue=_ON, amber=_ON),
    SystemState(power_on=True, fault=None, locate=True): Lamps(blue=_ON, amber=_BLINK),
    SystemState(power_on=False, fault=None, locate=True): Lamps(blue=_OFF, amber=_BLINK),
}

MODULE_TABLE: Mapping[bool, Lamps] = {
    False: Lamps(blue=_ON, amber=_OFF),
    True: Lamps(blue=_OFF, amber=_ON),
}
"""Table 6.2 by 'a module is missing or at fault'."""


class SupplyState(StrEnum):
    """The rows of table 6.4."""

    INPUT_OK = "input OK"
    INPUT_FAULT = "input fault"
    UNDER_VOLTAGE = "under-voltage"
    ON_BACKUP = "on backup, input out"


class SupplyLamps(Struct, frozen=True):
    """The lamps of a power supply: one blue, three amber."""

    blue: LampState
    fault: LampState
    low_voltage: LampState
    backup: LampState


SUPPLY_TABLE: Mapping[SupplyState, SupplyLamps] = {
    SupplyState.INPUT_OK: SupplyLamps(blue=_ON, fault=_OFF, low_voltage=_OFF, backup=_OFF),
    SupplyState.INPUT_FAULT: SupplyLamps(blue=_OFF, fault=_ON, low_voltage=_OFF, backup=_OFF),
    SupplyState.UNDER_VOLTAGE: SupplyLamps(blue=_OFF, fault=_ON, low_voltage=_ON, backup=_OFF),
    SupplyState.ON_BACKUP: SupplyLamps(blue=_OFF, fault=_OFF, low_voltage=_OFF, backup=_ON),
}


def system_lamps(power_on: bool | None, fault: bool | None, locate: bool | None) -> Lamps:
    """Table 6.1. None is not known; each lamp that depends on it is unknown, the other is still told."""
    blue = _UNKNOWN if power_on is None else _ON if power_on else _OFF
    if locate:
        return Lamps(blue=blue, amber=_BLINK)
    if locate is None or fault is None:
        return Lamps(blue=blue, amber=_UNKNOWN)
    return Lamps(blue=blue, amber=_ON if fault else _OFF)


def module_lamps(fault: bool | None) -> Lamps:
    """Table 6.2; unknown lamps where it is not known whether a module is missing or at fault."""
    return Lamps(blue=_UNKNOWN, amber=_UNKNOWN) if fault is None else MODULE_TABLE[fault]


def supply_lamps(state: SupplyState | None) -> SupplyLamps:
    """Table 6.4; unknown lamps for None."""
    return SupplyLamps(_UNKNOWN, _UNKNOWN, _UNKNOWN, _UNKNOWN) if state is None else SUPPLY_TABLE[state]


class Meaning(Struct, frozen=True, kw_only=True):
    """What lamps that were seen say. ``defined`` is False where the panel's table knows no such state."""

    defined: bool
    power_on: bool | None = None
    fault: bool | None = None
    locate: bool | None = None
    supply: SupplyState | None = None


_UNDEFINED = Meaning(defined=False)
_SYSTEM_MEANING = {
    lamps: Meaning(defined=True, power_on=row.power_on, fault=row.fault, locate=row.locate)
    for row, lamps in SYSTEM_TABLE.items()
}
_MODULE_MEANING = {lamps: Meaning(defined=True, fault=fault) for fault, lamps in MODULE_TABLE.items()}
_SUPPLY_MEANING = {
    lamps: Meaning(defined=True, fault=row is not SupplyState.INPUT_OK, supply=row)
    for row, lamps in SUPPLY_TABLE.items()
}


def read_system(seen: Lamps) -> Meaning:
    """What the lamps of a system panel say (6.1)."""
    return _SYSTEM_MEANING.get(seen, _UNDEFINED)


def read_module(seen: Lamps) -> Meaning:
    """What the lamps of a module say (6.2)."""
    return _MODULE_MEANING.get(seen, _UNDEFINED)


def read_supply(seen: SupplyLamps) -> Meaning:
    """What the lamps of a power supply say (6.4)."""
    return _SUPPLY_MEANING.get(seen, _UNDEFINED)


_MODULES = {
    Kind.SLED,
    Kind.ENCLOSURE,
    Kind.MODULE,
    Kind.FAN,
    Kind.PUMP,
    Kind.DRIVE,
    Kind.NETWORK_ADAPTER,
    Kind.SWITCH,
    Kind.POWER_FEED,
    Kind.COOLING_UNIT,
}


def panel_of(kind: Kind, carries_host: bool = False) -> Panel | None:
    """The panel that a part's front has; None for parts without a front of their own.

    The specification names the panel types; which of our kinds has which is our reading of it: blades, and whatever
    else carries a host directly, have the system panel; parts that are pulled from a front have the module panel.
    """
    if kind is Kind.BLADE or (carries_host and kind not in (Kind.HOST, Kind.RACK)):
        return Panel.SYSTEM
    if kind is Kind.POWER_SUPPLY:
        return Panel.POWER_SUPPLY
    return Panel.MODULE if kind in _MODULES else None


def expected_lamps(
    part: Part, status: Status | None, rolled: Rolled, *, hosts: tuple[Status | None, ...] = ()
) -> Lamps | None:
    """The lamps that a technician should see on a part's front; None where it has no front or is not there.

    ``hosts`` are the statuses of the hosts that the part carries directly; they tell the power where the part itself
    doesn't. Fault is anything contained that is worse than OK: the panel has no state between. A part that tells no
    locate state and no blinking indicator is not being located. Of a part that is, 6.2 and 6.4 don't say what amber
    does: it blinks there as well (common practice, no source).
    """
    panel = panel_of(part.kind, bool(hosts))
    if panel is None or (status is not None and status.state is State.ABSENT):
        return None
    fault = None if rolled.worst is Health.UNKNOWN else rolled.worst >= Health.WARNING
    if panel is Panel.SYSTEM:
        return system_lamps(_power_on(status, hosts), fault, _locating(status, hosts))
    if panel is Panel.POWER_SUPPLY:
        supply = supply_lamps(None if fault is None else SupplyState.INPUT_FAULT if fault else SupplyState.INPUT_OK)
        lamps = Lamps(blue=supply.blue, amber=supply.fault)
    else:
        lamps = module_lamps(fault)
    return Lamps(blue=lamps.blue, amber=_BLINK) if _locating(status, hosts) else lamps


_POWERED = {PowerState.ON: True, PowerState.PAUSED: True, PowerState.OFF: False}
"""On the way on or off is neither."""


def _power_on(status: Status | None, hosts: tuple[Status | None, ...]) -> bool | None:
    own = None if status is None else status.power
    if own is not None and own is not PowerState.UNKNOWN:
        return _POWERED.get(own)
    told = [None if host is None else _POWERED.get(host.power) for host in hosts]
    if any(told):
        return True
    return False if told and all(power is False for power in told) else None


def _locating(status: Status | None, hosts: tuple[Status | None, ...]) -> bool:
    """A host's locate state is its front's: a write to one 'may modify' the other (Chassis schema)."""
    return any(
        each.locate is True or (each.locate is None and each.led is LedState.BLINKING)
        for each in (status, *hosts)
        if each is not None
    )


class Agreement(StrEnum):
    """How lamps compare with what the controller says of them."""

    AGREES = "agrees"
    DISAGREES = "disagrees"
    NOT_TOLD = "not told"


def compare(panel: Panel, status: Status | None, lamps: Lamps) -> Agreement:
    """Whether lamps fit LocationIndicatorActive and IndicatorLED, which tell of locating only and carry no colour.

    Only a system panel shows locating (6.2 and 6.4 have no row for it), so other panels are never told of. A lit
    IndicatorLED (neither off nor blinking) fits any lamp that is on, in either colour. Two reports that contradict each
    other fit nothing.
    """
    if panel is not Panel.SYSTEM or status is None or (status.locate is None and status.led is None):
        return Agreement.NOT_TOLD
    blinking = None if lamps.amber is _UNKNOWN else lamps.amber is _BLINK
    verdicts: list[bool | None] = []
    if status.locate is not None:
        verdicts.append(None if blinking is None else blinking == status.locate)
        if status.led is not None and status.locate != (status.led is not LedState.OFF):
            verdicts.append(status.led is LedState.LIT)  # lit may be the power lamp; off or blinking contradicts
    elif status.led is LedState.LIT:
        states = (lamps.blue, lamps.amber)
        verdicts.append(True if _ON in states else None if _UNKNOWN in states else False)
    else:
        verdicts.append(None if blinking is None else blinking == (status.led is LedState.BLINKING))
    if False in verdicts:
        return Agreement.DISAGREES
    return Agreement.NOT_TOLD if None in verdicts else Agreement.AGREES
