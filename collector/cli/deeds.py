"""Lamps and power, as requests ask for them: checked against what is known now, done by the fleet's hands, told."""

from __future__ import annotations

import logging
import math
from collections.abc import Mapping
from pathlib import Path

from msgspec import structs

from collector.assess import deeds
from collector.assess.tree import Tree
from collector.assess.watch import Watch
from collector.cli.holding import Holding
from collector.model import DEED_VERBS, Lit, PowerWish, Request, RequestState, Seconds, Verb
from collector.poll.hands import Hands
from collector.redfish.deeds import READ_BACK, Came, Expected, Reset, reset, switch_lamp
from collector.settings import ActionSettings, Settings
from collector.store.requests import ask

log = logging.getLogger(__name__)

KEEPER = "sledkeeper"
"""Who switches lamps off again."""
RETRY, LONGEST_RETRY = 60.0, 3600.0
"""Seconds after which a lamp that could not be switched off is tried again: at first, and at most."""
_LAMP_PATIENCE = sum(READ_BACK) + 60.0
"""Seconds: looks, and as long again as a slow controller takes."""


class NotNow(Exception):
    """Why it is not done, one sentence."""


class Deeds:
    """Of a fleet that is being polled. ``holding`` knows which lamps are lit."""

    verbs = frozenset(verb.value for verb in DEED_VERBS)

    def __init__(
        self, state_dir: Path, settings: Settings, watches: Mapping[str, Watch], hands: Hands, holding: Holding
    ) -> None:
        self._state_dir = state_dir
        self._actions: ActionSettings = settings.actions
        self._power = {each.name: each.power for each in settings.controllers}
        self._watches = watches
        self._hands = hands
        self._holding = holding

    def begin(self, request: Request, now: Seconds) -> None:
        """Before it is done, and kept before that: a lamp that may be lit in a moment is known as lit.

        Raises :class:`NotNow` for what is not done at all.
        """
        if request.verb == Verb.POWER:
            self._reset_of(request)
            return
        if not self._actions.locate:
            raise NotNow("the fleet file does not allow locate lamps to be switched ([actions] locate)")
        if not _on(request) and self._holding.of(Lit, request.target) is not None:
            return  # known well enough, also before the first walk
        controller, tree, at = self._found(request)
        if not (resources := deeds.lamp_resources(tree, at)):
            raise NotNow(f"{deeds.named(tree.parts[at])} has no locate lamp of its own")
        if not _on(request):
            return
        minutes = request.arguments.get("minutes")
        asked = self._actions.locate_minutes
        if isinstance(minutes, int | float) and not isinstance(minutes, bool) and math.isfinite(minutes):
            asked = min(asked, float(minutes))
        if asked <= 0:
            raise NotNow("a lamp is lit for some time or not at all")
        lit = Lit(
            part=request.target,
            controller=controller,
            resources=resources,
            request=request.id,
            who=request.who,
            why=request.why,
            since=now,
            until=now + 60.0 * asked,
        )
        self._holding.put(lit)

    async def do(self, request: Request) -> Came:
        """Do it; :meth:`begin` has let it through."""
        try:
            came = await (self._locate(request) if request.verb == Verb.LOCATE else self._switch(request))
        except NotNow as why:
            came = Came(RequestState.REFUSED, str(why))
        lit = self._holding.of(Lit, request.target) if request.verb == Verb.LOCATE else None
        if lit is None:
            return came
        if _on(request):
            if came.state is RequestState.REFUSED and lit.request == request.id:
                self._holding.drop(Lit, request.target)
            elif came.state is RequestState.DONE:
                minutes = (lit.until - lit.since) / 60.0
                return Came(came.state, f"{came.text}; it goes off after {minutes:g} minutes", came.resource)
        elif came.state in (RequestState.DONE, RequestState.HALF_DONE):
            self._holding.drop(Lit, request.target)
        return came

    def overdue(self, now: Seconds) -> list[Lit]:
        """The lamps whose time is over; each is told of again after a while, the longer the longer it is lit."""
        found = [lit for lit in self._holding.every(Lit) if lit.until <= now]
        for lit in found:
            wait = min(max(RETRY, (now - lit.since) / 2.0), LONGEST_RETRY)
            self._holding.put(structs.replace(lit, until=now + wait))
        return found

    def off(self, lit: Lit, now: Seconds) -> int | None:
        """Ask for a lamp to be switched off, like a person would; None where nobody can, for its controller is gone."""
        if lit.controller not in self._watches:
            log.warning("the locate lamp of %s may still be lit: its controller left the fleet file", lit.part)
            self._holding.drop(Lit, lit.part)
            return None
        asked = Request(
            asked_at=now,
            who=KEEPER,
            verb=Verb.LOCATE,
            target=lit.part,
            arguments={"on": False},
            why=f"the time is over for which {lit.who} had it lit",
            expires=now + RETRY,
        )
        return ask(self._state_dir, asked)

    async def _locate(self, request: Request) -> Came:
        lit = self._holding.of(Lit, request.target)
        try:
            controller, tree, at = self._found(request)
            resources, what = deeds.lamp_resources(tree, at), deeds.named(tree.parts[at])
        except NotNow:
            if lit is None:
                raise
            controller, resources, what = lit.controller, lit.resources, lit.part  # not walked yet since the start
        return await self._hands.do(
            controller, lambda place: switch_lamp(place, resources, _on(request), what), _LAMP_PATIENCE
        )

    async def _switch(self, request: Request) -> Came:
        controller, wanted = self._reset_of(request)
        patience = self._actions.power_seconds
        return await self._hands.do(controller, lambda place: reset(place, wanted, patience), patience)

    def _reset_of(self, request: Request) -> tuple[str, Reset]:
        """What a power request comes to, checked against the parts as they are now."""
        controller, tree, at = self._found(request)
        allowed = self._power.get(controller)
        if not (self._actions.power if allowed is None else allowed):
            raise NotNow("the fleet file does not allow power actions here ([actions] power = true would)")
        part, how = tree.parts[at], _text(request, "how")
        if how not in set(PowerWish):
            raise NotNow(f"power can't be told to {how!r}")
        if (switched := deeds.switched_at(tree, at)) is None:
            raise NotNow(f"{deeds.named(part)} is no host, blade or sled: its power can't be switched from here")
        label = deeds.label(tree, at)
        if not deeds.same_label(_text(request, "confirm"), label):
            raise NotNow(f"the label that was typed is not that of {deeds.named(part)}: {label}")
        hosts = deeds.hosts_down(tree, at)
        if {host.id for host in hosts} != set(_text(request, "hosts").split("\n")) - {""}:
            raise NotNow(f"what goes down with {deeds.named(part)} changed since it was asked for; look again")
        meant = dict(line.partition("\t")[::2] for line in _text(request, "serials").split("\n") if line)
        now = deeds.serials(tree, at)
        for each, serial in meant.items():
            if each in now and now[each].strip() != serial.strip():
                told = f"serial {now[each]} stands there now, not {serial}"
                raise NotNow(f"{deeds.named(part)} was swapped since it was asked for: {told}; look again and ask anew")
        expected = tuple(
            Expected(tree.parts[tree.at[each]].uri, serial)
            for each, serial in meant.items()
            if each in tree.at and "#" not in tree.parts[tree.at[each]].uri
        )
        what = deeds.named(tree.parts[switched]) if tree.parts[switched].location.text else deeds.named(part)
        names = tuple((host.uri, fallen.name) for host, fallen in zip(hosts, deeds.affected(tree, at), strict=True))
        return controller, Reset(tree.parts[switched].uri, what, PowerWish(how), names, expected)

    def _found(self, request: Request) -> tuple[str, Tree, int]:
        controller = request.target.partition(":")[0]
        watch = self._watches.get(controller)
        if watch is None:
            raise NotNow(f"the fleet file has no controller {controller}")
        at = watch.tree.at.get(request.target)
        if at is None:
            known = "there is no such part any more; look again"
            raise NotNow(known if watch.tree.parts else f"controller {controller} has not been read yet; ask again")
        return controller, watch.tree, at


def _on(request: Request) -> bool:
    return request.arguments.get("on") is not False


def _text(request: Request, name: str) -> str:
    value = request.arguments.get(name)
    return value if isinstance(value, str) else ""
