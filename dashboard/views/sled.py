"""One sled: its front with lamps, what its blades share, what is wrong and what it calls itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from collector.model import Health, Identity, Kind, Lamps, Link, Part, PowerState, Rolled, State, Status
from dashboard.drawings.things import EIA_UNIT, RACK_WIDTH, Bay, Blade, Drive, Front, Standing
from dashboard.views.floor import blade_boxes, standing
from dashboard.views.places import Places, label, names_of, sticker

_SHARED = (
    Kind.FAN,
    Kind.POWER_SUPPLY,
    Kind.POWER_FEED,
    Kind.NETWORK_ADAPTER,
    Kind.CONTROLLER,
    Kind.PUMP,
    Kind.COOLING_UNIT,
    Kind.COOLANT_LOOP,
    Kind.SWITCH,
    Kind.BATTERY,
    Kind.CIRCUIT,
    Kind.OUTLET,
)
"""Kinds that blades commonly share; any other part is listed too where two blades or more depend on it."""


@dataclass(frozen=True, slots=True)
class LampLine:
    """One front: what it should show next to what the controller reports."""

    part: str
    label: str
    standing: Standing
    lamps: Lamps | None
    reported: str
    absent: bool = False


@dataclass(frozen=True, slots=True)
class SharedPart:
    """A part that blades share, and how each of them depends on it."""

    part: Part
    standing: Standing
    state: str
    leans: Mapping[str, tuple[str, ...]]
    """By blade id: the kinds of dependency, e.g. ``cooled by``."""


def front_of(
    controller: str,
    places: Places,
    rolled: Mapping[str, Rolled],
    statuses: Mapping[str, Status],
    lamps: Mapping[str, Lamps],
    silent: bool,
) -> Front | None:
    """The front as drawn; None where the controller has told of no part. Healths are unknown while it is silent."""
    part = places.front(controller)
    if part is None:
        return None
    boxes, told = blade_boxes(controller, part, places, rolled, statuses)
    if not boxes:
        boxes = _supplies(controller, part, places, rolled, statuses)
        told = told and not boxes
    blades = tuple(
        replace(
            box,
            standing=Standing() if silent else box.standing,
            lamps=lamps.get(box.part) if not box.absent else None,
            drives=_drives(controller, box.part, places, rolled, silent),
        )
        for box in boxes
    )
    return Front(
        part.id,
        label(part),
        part.size.width or RACK_WIDTH,
        part.size.height or EIA_UNIT,
        blades,
        lamps.get(part.id),
        told,
    )


def _supplies(
    controller: str, front: Part, places: Places, rolled: Mapping[str, Rolled], statuses: Mapping[str, Status]
) -> tuple[Blade, ...]:
    """A front without blades, such as a power shelf's: its supplies beside each other, in the order of their slots."""
    found = [part for part in places.of_controller.get(controller, ()) if part.kind is Kind.POWER_SUPPLY]
    if front.kind is Kind.SLED or not found:
        return ()
    found.sort(key=lambda part: (part.location.slot_index is None, part.location.slot_index or 0, part.id))
    step, high = (front.size.width or RACK_WIDTH) / len(found), front.size.height or EIA_UNIT
    return tuple(
        Blade(
            part.id,
            sticker(part),
            Bay(step * place, 0.0, step, high),
            standing(part.id, rolled, places.parts),
            absent=part.id in statuses and statuses[part.id].state is State.ABSENT,
        )
        for place, part in enumerate(found)
    )


def _drives(
    controller: str, blade: str, places: Places, rolled: Mapping[str, Rolled], silent: bool
) -> tuple[Drive, ...]:
    if not blade:
        return ()
    found = [part for part in places.within(controller, blade) if part.kind is Kind.DRIVE]
    found.sort(key=lambda part: (part.location.slot_index is None, part.location.slot_index or 0, part.id))
    return tuple(
        Drive(part.id, label(part), Standing() if silent else standing(part.id, rolled, places.parts))
        for part in found[:24]
    )


def lamp_lines(
    controller: str, front: Front, places: Places, statuses: Mapping[str, Status], sled: Standing
) -> tuple[LampLine, ...]:
    """The sled and each blade: what the front should show and what the controller reports of it."""
    lines = [LampLine(front.part, front.label, sled, front.lamps, _reported([front.part], statuses))]
    for blade in front.blades:
        if not blade.part:
            continue
        hosts = [part.id for part in places.within(controller, blade.part) if part.kind is Kind.HOST]
        lines.append(
            LampLine(
                blade.part,
                blade.label,
                blade.standing,
                blade.lamps,
                _reported([blade.part, *hosts], statuses),
                blade.absent,
            )
        )
    return tuple(lines)


def _reported(parts: Iterable[str], statuses: Mapping[str, Status]) -> str:
    """What a controller says of a front and the hosts behind it, each fact once."""
    front, *hosts = ([*status_facts(statuses[part])] if part in statuses else [] for part in parts)
    told = [", ".join(front)] if front else []
    for facts in hosts:
        if more := [fact for fact in facts if fact not in front]:
            told.append(f"host: {', '.join(more)}")
    return "; ".join(told) or "tells nothing of it"


def status_facts(status: Status) -> list[str]:
    """What a status says, in the standard's words, leaving out what it doesn't tell."""
    facts = []
    if status.health is not Health.UNKNOWN:
        facts.append(f"health {status.health.word}")
    if status.state is not State.UNKNOWN:
        facts.append(status.state.value)
    if status.power is not PowerState.UNKNOWN:
        facts.append(f"power {status.power.value}")
    if status.locate is not None:
        facts.append(f"locate {'on' if status.locate else 'off'}")
    if status.led is not None:
        facts.append(f"IndicatorLED {status.led.value}")
    if status.failure_predicted:
        facts.append("failure predicted")
    return facts


def shared_parts(
    controller: str,
    places: Places,
    links: Iterable[Link],
    rolled: Mapping[str, Rolled],
    statuses: Mapping[str, Status],
    silent: bool,
) -> tuple[SharedPart, ...]:
    """Parts outside the blades that blades depend on, or commonly would, troubled ones first."""
    blades = places.blades(controller)
    leans = _leans(blades, links, places)
    in_blades = {inner.id for blade in blades for inner in (blade, *places.within(controller, blade.id))}
    found = []
    for part in places.of_controller.get(controller, ()):
        if part.id in in_blades:
            continue
        told = leans.get(part.id, {})
        if part.kind not in _SHARED and len(told) < 2:
            continue
        status = statuses.get(part.id)
        facts = status_facts(status) if status is not None else []
        found.append(
            SharedPart(
                part,
                Standing() if silent else standing(part.id, rolled, places.parts),
                ", ".join(facts),
                {blade: tuple(sorted(ways)) for blade, ways in told.items()},
            )
        )
    order = {kind: place for place, kind in enumerate(_SHARED)}
    return tuple(sorted(found, key=lambda each: (-each.standing.health, order.get(each.part.kind, 99), each.part.id)))


def _leans(blades: Sequence[Part], links: Iterable[Link], places: Places) -> dict[str, dict[str, set[str]]]:
    """By part depended on, by blade: the kinds of dependency; links of a blade's inside and of its holders count."""
    behind: dict[str, list[str]] = {}
    for blade in blades:
        for outer in places.lineage(blade):
            behind.setdefault(outer.id, []).append(blade.id)
        for inner in places.within(blade.controller, blade.id):
            behind.setdefault(inner.id, []).append(blade.id)
    found: dict[str, dict[str, set[str]]] = {}
    for link in links:
        for blade_id in behind.get(link.part, ()):
            found.setdefault(link.on, {}).setdefault(blade_id, set()).add(link.why.value)
    return found


@dataclass(frozen=True, slots=True)
class NamePlate:
    """What a part calls itself."""

    part: Part
    place: str
    identity: Identity


def name_plates(controller: str, places: Places) -> tuple[NamePlate, ...]:
    """Every part of a controller that tells a serial, number, model or firmware, in the order of containment."""
    return tuple(
        NamePlate(part, " / ".join(label(each) for each in reversed(places.lineage(part))), part.identity)
        for part in places.of_controller.get(controller, ())
        if part.identity != Identity()
    )


def risk_words(part_ids: Iterable[str], places: Places) -> str:
    """Names of parts, joined."""
    return ", ".join(names_of(part_ids, places.parts))
