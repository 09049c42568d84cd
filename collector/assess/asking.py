"""What people can ask for, made into requests: checked as far as what is known allows, refused with a sentence.

Pages and commands build their requests here, so that both say the same and ask for the same. The collector checks all
of it again when it carries them out: what is known here may be old by then.
"""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess import deeds
from collector.assess.tree import Tree
from collector.model import (
    Lamps,
    LampState,
    Noticed,
    Part,
    Permits,
    PowerWish,
    Request,
    Seconds,
    Status,
    Verb,
    WorkOrder,
)

LONGEST_TEXT = 300
LOCATE_WAITS = 120.0
"""Seconds within which a lamp is to be switched, or not at all: who asked has gone on by then."""
POWER_WAITS = 60.0
"""The same for power: nobody should be surprised by it later."""
OBSERVED_WAITS = 600.0
"""Seconds for which a sighting may wait: what the controller tells must be of the same time."""
ORDER_WAITS = 86400.0

Value = str | float | int | bool | None


class CantAsk(Exception):
    """Why that can't be asked for: one sentence for the person."""


def locate(
    tree: Tree,
    statuses: Mapping[str, Status],
    part: str,
    *,
    who: str,
    why: str,
    now: Seconds,
    on: bool = True,
    minutes: float | None = None,
    permits: Permits | None = None,
) -> Request:
    """Switch the locate lamp that leads to a part: its own, else that of what holds it.

    ``minutes``: how long it stays on; None for as long as the fleet file says. The request's target is the part whose
    lamp it is.
    """
    at = _position(tree, part)
    if permits is not None and not permits.locate:
        raise CantAsk("the fleet file does not allow locate lamps to be switched ([actions] locate)")
    bearer = deeds.lamp_bearer(tree, at, statuses)
    if bearer is None:
        raise CantAsk(
            f"neither {deeds.named(tree.parts[at])} nor what holds it has a locate lamp that its controller tells of"
        )
    told: dict[str, Value] = {"on": on}
    if on and minutes is not None:
        if permits is not None and not 0 < minutes <= permits.locate_minutes:
            raise CantAsk(f"a lamp can be lit for {permits.locate_minutes:g} minutes at most")
        told["minutes"] = float(minutes)
    return _request(Verb.LOCATE, tree.parts[bearer].id, told, who, why, now, LOCATE_WAITS)


def power(
    tree: Tree,
    part: str,
    how: PowerWish,
    *,
    confirm: str,
    who: str,
    why: str,
    now: Seconds,
    permits: Permits | None = None,
) -> Request:
    """Switch or restart a host, a blade, or all that a sled carries. ``confirm``: its label, as the person typed it.

    Name to the person what :func:`collector.assess.deeds.affected` gives before this is called; the request holds it,
    and is refused where more would go down by the time it is carried out.
    """
    at = _position(tree, part)
    target = tree.parts[at]
    if permits is not None and not permits.power_for(target.controller):
        raise CantAsk("the fleet file does not allow power actions here ([actions] power = true would)")
    if deeds.switched_at(tree, at) is None:
        raise CantAsk(f"{deeds.named(target)} is no host, blade or sled: its power can't be switched from here")
    label = deeds.label(tree, at)
    if not deeds.same_label(confirm, label):
        raise CantAsk(f"type the label to make sure: {label}")
    told: dict[str, Value] = {
        "how": how.value,
        "confirm": label,
        "hosts": "\n".join(host.id for host in deeds.hosts_down(tree, at)),
        "serials": "\n".join(f"{each}\t{serial}" for each, serial in deeds.serials(tree, at).items()),
    }
    return _request(Verb.POWER, target.id, told, who, why, now, POWER_WAITS)


def observe(
    part: Part,
    *,
    who: str,
    now: Seconds,
    seen: Lamps | None = None,
    noticed: tuple[Noticed, ...] = (),
    why: str = "",
) -> Request:
    """Say what was seen at a part's front. A lamp that was not looked at is unknown."""
    told: dict[str, Value] = {}
    if seen is not None:
        told |= {
            colour: lamp.value
            for colour, lamp in (("blue", seen.blue), ("amber", seen.amber))
            if lamp is not LampState.UNKNOWN
        }
    if noticed:
        told["noticed"] = "\n".join(each.value for each in noticed)
    if not told:
        raise CantAsk("say what you saw: a lamp, or something else")
    return _request(Verb.OBSERVE, part.id, told, who, why, now, OBSERVED_WAITS, needs_why=False)


def take(order: WorkOrder, *, who: str, now: Seconds, why: str = "") -> Request:
    """Take a work order on."""
    return _about_order(Verb.TAKE, order, {}, who, why, now)


def finish(order: WorkOrder, *, who: str, now: Seconds, serial: str = "", why: str = "") -> Request:
    """Say that an order is done. ``serial``: of what was put in, as it stands on it; "" where nothing was replaced."""
    serial = " ".join(serial.split())
    if len(serial) > 100:
        raise CantAsk("a serial number has 100 characters at most")
    return _about_order(Verb.FINISH, order, {"serial": serial} if serial else {}, who, why, now)


def give_back(order: WorkOrder, *, who: str, now: Seconds, why: str = "") -> Request:
    """Leave an order to others."""
    return _about_order(Verb.GIVE_BACK, order, {}, who, why, now)


def _about_order(verb: Verb, order: WorkOrder, told: dict[str, Value], who: str, why: str, now: Seconds) -> Request:
    if order.closed is not None:
        raise CantAsk("this order is closed")
    return _request(verb, order.id, told, who, why, now, ORDER_WAITS, needs_why=False)


def acknowledge(condition: str, *, who: str, why: str, now: Seconds) -> Request:
    """Say that somebody has seen a condition and looks after it."""
    return _request(Verb.ACKNOWLEDGE, condition, {}, who, why, now, 3600.0)


def shelve(condition: str, until: Seconds, *, who: str, why: str, now: Seconds) -> Request:
    """Set a condition aside until a time."""
    if until <= now:
        raise CantAsk("the end is past already")
    return _request(Verb.SHELVE, condition, {"until": until}, who, why, now, max(until - now, 1.0))


def _position(tree: Tree, part: str) -> int:
    if (at := tree.at.get(part)) is None:
        raise CantAsk("there is no such part any more; look again")
    return at


def _request(
    verb: Verb,
    target: str,
    told: dict[str, Value],
    who: str,
    why: str,
    now: Seconds,
    waits: float,
    needs_why: bool = True,
) -> Request:
    who, why = " ".join(who.split()), " ".join(why.split())
    if not who:
        raise CantAsk("say who you are")
    if needs_why and not why:
        raise CantAsk("say why: it is kept with your name")
    if max(len(who), len(why)) > LONGEST_TEXT:
        raise CantAsk(f"name and reason take {LONGEST_TEXT} characters at most")
    return Request(asked_at=now, who=who, verb=verb.value, target=target, arguments=told, why=why, expires=now + waits)
