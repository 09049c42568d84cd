"""What a person sees at a front, read back: what it means, whether it agrees with what is told, what to look at next.

The meanings are those of the OCP Panel Indicator Specification rev 1.0, tables 6.1, 6.2 and 6.4, as
:mod:`collector.assess.lamps` has them. A lamp that was not looked at leaves all rows that fit the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import Struct, structs

from collector.assess.lamps import MODULE_TABLE, SUPPLY_TABLE, SYSTEM_TABLE, Agreement, Panel, SupplyLamps, SupplyState
from collector.assess.lamps import SystemState as Row
from collector.model import Lamps, LampState

_OFF, _ON, _BLINK, _UNKNOWN = LampState.OFF, LampState.ON, LampState.BLINK, LampState.UNKNOWN
_UNSEEN = Lamps(_UNKNOWN, _UNKNOWN)


class Reading(Struct, frozen=True, kw_only=True):
    """What the lamps of a front say."""

    meaning: str
    """One sentence."""
    defined: bool
    """Whether the panel's table has a row that fits."""
    certain: bool
    """Whether it is one row alone."""
    agreement: Agreement
    """With what the controller tells."""
    told: str
    """What should be seen by what the controller tells, one sentence; "" where it tells nothing of it."""
    checks: tuple[str, ...]
    """What to do or look at next, in this order, one sentence each."""


_SYSTEM_WORDS: Mapping[Row, str] = {
    Row(power_on=False, fault=False, locate=False): "off, with no fault: it may be serviced",
    Row(power_on=True, fault=False, locate=False): "on, and all is well",
    Row(power_on=False, fault=True, locate=False): "off, with a fault",
    Row(power_on=True, fault=True, locate=False): "on, with a fault",
    Row(power_on=True, fault=None, locate=True): "on, and somebody has its locate lamp lit",
    Row(power_on=False, fault=None, locate=True): "off, and somebody has its locate lamp lit",
}
_MODULE_WORDS: Mapping[bool, str] = {False: "all modules are there and well", True: "a module is missing or at fault"}
_SUPPLY_WORDS: Mapping[SupplyState, str] = {
    SupplyState.INPUT_OK: "its input is well",
    SupplyState.INPUT_FAULT: "its input is at fault",
    SupplyState.UNDER_VOLTAGE: "its input voltage is too low",
    SupplyState.ON_BACKUP: "it runs on the backup, its input is out",
}
_SYSTEM: Mapping[str, Lamps] = {words: SYSTEM_TABLE[row] for row, words in _SYSTEM_WORDS.items()}
_MODULE: Mapping[str, Lamps] = {words: MODULE_TABLE[fault] for fault, words in _MODULE_WORDS.items()}
_SUPPLY: Mapping[str, SupplyLamps] = {words: SUPPLY_TABLE[state] for state, words in _SUPPLY_WORDS.items()}
_CHECKS: Mapping[str, tuple[str, ...]] = {
    _SYSTEM_WORDS[Row(power_on=False, fault=False, locate=False)]: (
        "If it should run, look whether its sled has power, and whether somebody switched it off on purpose.",
    ),
    _SYSTEM_WORDS[Row(power_on=False, fault=True, locate=False)]: (
        "Read its conditions and the work order before you touch it.",
        "Look whether its neighbours are off too: then it is the sled's feed or power board, and not this one.",
    ),
    _SYSTEM_WORDS[Row(power_on=True, fault=True, locate=False)]: (
        "It still works: find out what runs on it before anything is pulled.",
        "Read its conditions and the work order.",
    ),
    _MODULE_WORDS[True]: (
        "Look whether every module sits flush and is latched.",
        "Read the work order: it names the module.",
    ),
    _SUPPLY_WORDS[SupplyState.INPUT_FAULT]: (
        "Look whether its input cord is in and its feed is on; switching feeds is for licensed people.",
    ),
    _SUPPLY_WORDS[SupplyState.UNDER_VOLTAGE]: (
        "Look at the other supplies of this feed: if they show the same, it is the feed.",
    ),
    _SUPPLY_WORDS[SupplyState.ON_BACKUP]: ("The input is out: look at its feed; the backup lasts for a while only.",),
}
LOOK_LONGER = "Look again for some seconds: a blink is half a second on and half a second off."
NOT_OF_THIS_KIND = "See whether this front is built after the panel specification: its maker may mean something else."


def read_front(panel: Panel, seen: Lamps, told: Lamps | None) -> Reading:
    """What a system's or a module's lamps say; of a power supply, its blue lamp and its amber fault lamp."""
    if panel is Panel.POWER_SUPPLY:
        return read_supply_front(SupplyLamps(seen.blue, seen.amber, _UNKNOWN, _UNKNOWN), told)
    table = _SYSTEM if panel is Panel.SYSTEM else _MODULE
    fitting = [words for words, lamps in table.items() if agreement(seen, lamps) is not Agreement.DISAGREES]
    return _reading(fitting, seen, told, module=panel is Panel.MODULE)


def read_supply_front(seen: SupplyLamps, told: Lamps | None) -> Reading:
    """What the four lamps of a power supply say (6.4)."""
    fitting = [words for words, lamps in _SUPPLY.items() if _fits(seen, lamps)]
    return _reading(fitting, Lamps(seen.blue, seen.fault), told, module=True)


def agreement(seen: Lamps, told: Lamps) -> Agreement:
    """How what was seen compares with what is told; a lamp that is unknown on either side says nothing."""
    pairs = [pair for pair in ((seen.blue, told.blue), (seen.amber, told.amber)) if _UNKNOWN not in pair]
    if any(one is not other for one, other in pairs):
        return Agreement.DISAGREES
    return Agreement.AGREES if pairs else Agreement.NOT_TOLD


def seen_words(lamps: Lamps) -> str:
    """Both lamps in words, e.g. ``blue on, amber blinking``; a lamp that is not known is left out."""
    told = [
        f"{colour} {'blinking' if state is _BLINK else state.value}"
        for colour, state in (("blue", lamps.blue), ("amber", lamps.amber))
        if state is not _UNKNOWN
    ]
    return ", ".join(told) or "no lamp that is known"


def _fits(seen: SupplyLamps, row: SupplyLamps) -> bool:
    pairs = zip(structs.astuple(seen), structs.astuple(row), strict=True)
    return all(_UNKNOWN in pair or pair[0] is pair[1] for pair in pairs)


def _reading(fitting: Sequence[str], seen: Lamps, told: Lamps | None, module: bool) -> Reading:
    found = Agreement.NOT_TOLD if told is None else agreement(seen, told)
    checks: list[str] = []
    if seen == _UNSEEN and len(fitting) > 1:
        meaning = "No lamp was looked at."
    elif not fitting:
        meaning = "The panel's table has no such state: a lamp, or what drives it, is at fault."
        if module and seen.amber is _BLINK:  # common practice, no source
            meaning = "Somebody has its locate lamp lit, as it seems; the panel's table has no such state."
        checks.append(LOOK_LONGER)
        if module and seen.blue is _OFF and seen.amber is _OFF:
            checks.append("All dark: look whether it has power at all, and whether it is in to the stop.")
        checks.append(NOT_OF_THIS_KIND)
    else:
        meaning = f"{fitting[0][:1].upper()}{fitting[0][1:]}."
        if len(fitting) > 1:
            meaning = f"One of {len(fitting)}: {'; or '.join(fitting)}."
            checks.append("Look at the other lamp as well.")
    if found is Agreement.DISAGREES and told is not None:
        checks += _of_disagreement(seen, told)
    elif len(fitting) == 1:
        checks += _CHECKS.get(fitting[0], ())
    return Reading(
        meaning=meaning,
        defined=bool(fitting),
        certain=len(fitting) == 1,
        agreement=found,
        told=""
        if told is None or told == Lamps(_UNKNOWN, _UNKNOWN)
        else f"By what is told it should show {seen_words(told)}.",
        checks=tuple(dict.fromkeys(checks)),
    )


def _of_disagreement(seen: Lamps, told: Lamps) -> list[str]:
    """How to find out whether the lamp or the telling is wrong."""
    checks = ["Make sure that it is the right one: read its label and its serial number."]
    amber, should = seen.amber, told.amber
    if _UNKNOWN not in (amber, should) and amber is not should:
        if should is _BLINK:
            checks.append("Its locate lamp is told to be lit: switch it off and on again, and see whether it follows.")
        elif amber is _BLINK:
            checks.append(
                "Its locate lamp is told to be off: switch it on and off from here, and see whether it follows."
            )
        elif amber is _ON:
            checks.append("It shows a fault that is not told: look again in a minute, and read its controller's log.")
            checks.append("Switch its locate lamp on: if amber does not blink then, the lamp is stuck.")
        else:
            checks.append("A fault is told that it does not show: read its conditions.")
            checks.append("Switch its locate lamp on: if amber stays dark then, the lamp is dead.")
    if _UNKNOWN not in (seen.blue, told.blue) and seen.blue is not told.blue:
        if seen.blue is _ON:
            checks.append("It looks on and is told to be off: listen for its fans, look at its link lamps.")
        else:
            checks.append("It looks off and is told to be on: listen for its fans; if they run, the lamp is dead.")
    checks.append("Note what you see: the fault isolation weighs it.")
    return checks
