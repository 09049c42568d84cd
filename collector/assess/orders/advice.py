"""The texts of work orders by kind of part. Common practice, no source, unless a line says otherwise.

Cautions are the usual ones. They never replace the site's procedures, the maker's instructions or local codes.
"""

from __future__ import annotations

from collections.abc import Sequence

from collector.model import Fallen, Kind, Lamps, LampState

REMOTE = frozenset({"update firmware", "restart", "set its clock", "nothing"})
"""Remedies for which nobody has to go there."""

COLD_PLATE = "reseat its cold plate"

STATIC = "Static kills boards: wear the wrist strap, bonded to the rack, and keep parts in their bags."
HOT = "Heat sinks, supplies and connectors stay hot for minutes: let them cool or wear gloves."
FANS = "Fans keep turning, and start by themselves: keep fingers, cables and sleeves out."
ENERGY = "Supplies and capacitors hold their charge after the feed is off: wait the time that the label says."
BUSBAR = "The busbar stays live and carries currents that burn and weld: no metal tools, rings or loose straps near it."
LIFT = "A loaded sled is heavier than it looks: two people or a lift, and support it before the last catch opens."
WET = "Coolant and live parts: make the sled dead before touching anything wet; wipe the floor."
LICENSED = "Feeds, busbars and distribution are for licensed people only, after isolation and proof that it is dead."
DEFER = "The site's procedures, the maker's instructions and local codes come before this sheet."

_CAUTIONS: dict[Kind, tuple[str, ...]] = {
    Kind.FAN: (FANS, HOT),
    Kind.FILTER: (FANS,),
    Kind.POWER_SUPPLY: (ENERGY, BUSBAR, HOT),
    Kind.POWER_FEED: (LICENSED, ENERGY, BUSBAR),
    Kind.CIRCUIT: (LICENSED, ENERGY, BUSBAR),
    Kind.OUTLET: (LICENSED, ENERGY),
    Kind.BATTERY: (ENERGY, LIFT),
    Kind.BLADE: (STATIC, HOT, FANS, LIFT),
    Kind.SLED: (LIFT, BUSBAR, STATIC, HOT, FANS),
    Kind.DRIVE: (STATIC,),
    Kind.PUMP: (WET, HOT, LIFT),
    Kind.COOLANT_LOOP: (WET, HOT),
    Kind.COOLING_UNIT: (WET, LICENSED),
    Kind.LEAK_DETECTOR: (WET,),
    Kind.CABLE: (STATIC,),
    Kind.SWITCH: (LIFT, FANS, STATIC),
    Kind.PORT: (STATIC,),
}
_BOARD = (STATIC, HOT, FANS, BUSBAR, LIFT)

_VERBS = {
    "replace": "Replace {part}",
    "reseat": "Reseat {part}: out, look at the contacts, and in until the catch holds",
    "clean": "Clean or replace {part}",
    "move": "Put {part} where the plan has it",
    "move to another port": "Move the cable at {part} to another port",
    "fit a blanking panel": "Close the gap with a blanking panel: {part}",
    "reseat its heat sink": "Reseat the heat sink of {part}",
    COLD_PLATE: "Reseat the cold plate of {part}, with the coolant shut off",
    "tighten its joints": "Tighten the joints of {part} to the maker's torque",
    "restore": "Restore {part}",
    "repair": "Repair {part}",
    "see to the room's cooling": "See to the room's cooling at {part}",
}
_WORDS = {LampState.ON: "on", LampState.OFF: "off", LampState.BLINK: "blinking (about once a second)"}


def known(remedy: str) -> bool:
    """Whether there are words for it, or nobody has to go."""
    return remedy in _VERBS or remedy in REMOTE


def task(remedy: str, part: str, number: str | None, spare: str | None) -> str:
    """One sentence: what to do to which part, with the number of the part to bring."""
    verb = _VERBS.get(remedy)
    sentence = verb.format(part=part) if verb is not None else f"{remedy[:1].upper()}{remedy[1:]}: {part}"
    if remedy == "replace" and (bring := spare or number):
        sentence += f"; bring part number {bring}"
    return sentence + "."


def cautions(kind: Kind, remedy: str) -> tuple[str, ...]:
    """The usual ones for what is done to that kind of part, and whom to defer to."""
    wet = (WET,) if remedy == COLD_PLATE else ()
    return (*wet, *_CAUTIONS.get(kind, _BOARD), DEFER)


def lamp_text(lamp: Lamps | None, locate: bool | None, front: str, own: bool | None = None) -> str:
    """Which lamp to look for, in words. ``locate``: whether the controller says that the front's locate lamp is on;
    ``own``: the same of one that the part itself has besides."""
    itself = " The part's own locate lamp is on." if own else ""
    if lamp is None:
        return f"Go by the labels.{itself}" if own else "It has no lamp of its own: go by the labels."
    if LampState.UNKNOWN in (lamp.blue, lamp.amber):
        known = [
            f"{colour} {_WORDS[state]}"
            for colour, state in (("blue", lamp.blue), ("amber", lamp.amber))
            if state is not LampState.UNKNOWN
        ]
        rest = f": {', '.join(known)}" if known else ""
        return f"The controller does not tell all lamps of {front}{rest}; go by the labels.{itself}"
    text = f"Look for {front}: blue {_WORDS[lamp.blue]}, amber {_WORDS[lamp.amber]}."
    if locate:
        text += " Its locate lamp is on."
    elif locate is False and not own:
        text += " Its locate lamp is not on; ask for it before you go."
    return text + itself


def before(kind: Kind, down: Sequence[Fallen], leaning: Sequence[Fallen], running: bool | None) -> tuple[str, ...]:
    """Steps before the part is touched, in order."""
    steps = []
    hosts = [each for each in down if each.kind in (Kind.HOST, Kind.BLADE)]
    if hosts:
        names = ", ".join(dict.fromkeys(each.name for each in hosts))
        steps.append(f"Drain and shut down: {names}. Have their owners agree first.")
    elif leaning:
        steps.append("Make sure that its neighbours of the same kind run well: they carry its share meanwhile.")
        if kind is Kind.FAN:
            steps.append("Have the new one at hand and be quick: with the place open, air takes the short way.")
    if kind in (Kind.SWITCH, Kind.PORT, Kind.CABLE, Kind.NETWORK_ADAPTER):
        steps.append("Ask the network's owners: traffic has to go another way first.")
    if running is None and not hosts:
        steps.append("Nobody told whether it may be pulled while running: look that up in the maker's manual.")
    if running is False and not hosts:
        steps.append("It may not be pulled while running: switch off what it belongs to first.")
    steps.append("Compare the serial number on the part with this sheet before you pull it.")
    return tuple(steps)
