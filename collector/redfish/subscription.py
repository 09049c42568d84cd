"""The one push subscription at a controller: found again, made, kept alive, taken back. Never more than one.

Sources: EventDestination and EventService CSDL (DSP8010); DSP0266 section 'Eventing'; Base registry (DSP8011) for the
message keys. Every flow here looks first at what stands on the service, so one that is cut off anywhere (a kill, a lost
answer to the POST) is set right by the next :func:`keep`.

A subscription is ours when it carries our token as Context, or sends to our own listener's address. No other one is
ever touched.
"""

from __future__ import annotations

import hmac
import re
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any
from urllib.parse import urlsplit

from msgspec import Struct

from collector.model import Defect, DefectKind
from collector.redfish.flow import Answer, Ask, Flow, Place

MAX_SUBSCRIPTIONS = 200
"""Subscriptions of one service that are looked at."""
MAX_PAGES = 8
_GONE = frozenset({404, 410})
_BAD_BODY = frozenset({400, 405, 409, 422, 500, 501})
"""Answers to a POST after which a plainer body may do better; 500 because services crash on what they don't know."""
_PERHAPS_MADE = frozenset({409, 500})
"""Of these, the ones after which it may stand there all the same."""
_FULL = frozenset({"EventSubscriptionLimitExceeded", "CreateLimitReachedForResource", "InsufficientStorage"})
_VERSION = re.compile(r"#EventService\.v(\d+)_(\d+)_\d+\.", re.ASCII)


class Ours(Struct, frozen=True):
    """By what our subscription at one controller is known."""

    destination: str
    """URL of our listener for this controller."""
    token: str
    """Its Context: see :func:`context_token`."""


class Kept(Struct, frozen=True, kw_only=True):
    """How things stand after a look."""

    path: str = ""
    """Our subscription; "" where there is none: then ``trouble`` says why."""
    made: bool = False
    """Whether it was made now: events since the last look may have been missed, and logs should be read."""
    resumed: bool = False
    """Whether it had been suspended and was set going again."""
    removed: int = 0
    """Stale or surplus ones of ours that were deleted."""
    trouble: str = ""
    full: bool = False
    """Whether the service has no room for one more."""
    refused: bool = False
    """Whether it will not take one at all: another way is needed until its firmware or rights change."""
    defects: tuple[Defect, ...] = ()


def context_token(secret: bytes, controller: str) -> str:
    """The Context of our subscription at a controller: the same after every restart, and no one else can guess it.

    ``secret``: some random bytes that the installation keeps in its state.
    """
    return "sledkeeper-" + hmac.new(secret, controller.encode(), sha256).hexdigest()[:32]


def is_ours(context: str | None, ours: Ours) -> bool:
    """Whether an event that came to the listener carries our token.

    A service may not send Context back; a listener address with a secret in its path is the surer proof.
    """
    return context is not None and hmac.compare_digest(context.encode("utf-8", "replace"), ours.token.encode())


def bodies(event_service: Mapping[str, Any], ours: Ours, message_ids: Sequence[str] = ()) -> list[dict[str, Any]]:
    """What to POST, the most telling first: each next one is for services that refuse those before.

    All events are wanted, so no filter is set where none means everything. EventTypes is deprecated, but where it is
    declared, leaving it out means ``Other`` alone. A service that declares RegistryPrefixes may insist on them;
    ``message_ids`` (``Prefix.Key``) serve one that insists on those. DeliveryRetryPolicy TerminateAfterRetries lets a
    subscription that nobody comes back for end by itself.
    """
    bare = {"Destination": ours.destination, "Protocol": "Redfish", "Context": ours.token}
    types = [word for word in _words(event_service, "EventTypesForSubscription") if word != "MetricReport"]
    prefixes = _words(event_service, "RegistryPrefixes")
    formats = _words(event_service, "EventFormatTypes")
    modern = bool(prefixes or formats or _words(event_service, "ResourceTypes"))
    filters: dict[str, Any] = {"EventTypes": types} if types and not modern else {}
    full = {**bare, **filters}
    if _version(event_service) >= (1, 1):  # SubscriptionType came with server-sent events
        full["SubscriptionType"] = "RedfishEvent"
    if "Event" in formats:
        full["EventFormatType"] = "Event"
    chosen = [{**full, "DeliveryRetryPolicy": "TerminateAfterRetries"}, full, {**bare, **filters}]
    if prefixes:
        chosen.append({**full, "RegistryPrefixes": prefixes})
    if types and modern:
        chosen.append({**bare, "EventTypes": types})
    if message_ids:
        chosen.append({**bare, "MessageIds": list(message_ids)})
    chosen.append(bare)
    return [body for at, body in enumerate(chosen) if body not in chosen[:at]]


def _words(body: Mapping[str, Any], name: str) -> list[str]:
    told = body.get(name)
    return [word for word in told[:100] if isinstance(word, str)] if isinstance(told, list) else []


def _version(event_service: Mapping[str, Any]) -> tuple[int, int]:
    kind = event_service.get("@odata.type")
    found = _VERSION.match(kind) if isinstance(kind, str) else None
    return (int(found[1]), int(found[2])) if found else (1, 0)


def keep(
    subscriptions: str,
    event_service: Mapping[str, Any],
    ours: Ours,
    place: Place,
    *,
    held: str = "",
    message_ids: Sequence[str] = (),
) -> Flow[Kept]:
    """Sees to it that exactly one subscription of ours stands in the collection at ``subscriptions``.

    To be run when events are to begin, and at every walk. ``held`` is the path from the last time, if known.
    """
    return (yield from _Keeping(subscriptions, ours, place).keep(event_service, held, message_ids))


def end(subscriptions: str, ours: Ours, place: Place, *, held: str = "") -> Flow[Kept]:
    """Deletes every subscription of ours: on the way out, or when another way is taken."""
    return (yield from _Keeping(subscriptions, ours, place).end(held))


class _Found(Struct, frozen=True):
    path: str
    body: Mapping[str, Any]


class _Keeping:
    """One look at a controller's subscriptions."""

    def __init__(self, subscriptions: str, ours: Ours, place: Place) -> None:
        self._subscriptions = subscriptions
        self._ours = ours
        self._place = place
        self._defects: list[Defect] = []
        self._removed = 0
        self._unsure = ""
        """Why it can't be told which ones stand; then none may be made."""

    def keep(self, event_service: Mapping[str, Any], held: str, message_ids: Sequence[str]) -> Flow[Kept]:
        found = yield from self._ours_there()
        if self._unsure:
            return self._kept(trouble=self._unsure)
        # The one held comes first, so that surplus ones go rather than it.
        found.sort(key=lambda one: one.path != held)
        right = [one for one in found if self._right(one)]
        chosen = right[0] if right else None
        resumed = False
        if chosen is not None and _suspended(chosen):
            resumed = yield from self._resume(chosen)
            chosen = chosen if resumed else None
        stuck = yield from self._delete([one for one in found if one is not chosen])
        if chosen is not None:
            return self._kept(path=chosen.path, resumed=resumed)
        if stuck:
            return self._kept(trouble=f"an old subscription of ours can't be deleted: {stuck}")
        return (yield from self._make(bodies(event_service, self._ours, message_ids)))

    def end(self, held: str) -> Flow[Kept]:
        found = yield from self._ours_there()
        if self._unsure and held:  # at least the one we know of
            found = [_Found(held, {})]
        stuck = yield from self._delete(found)
        return self._kept(trouble=stuck or self._unsure)

    def _kept(self, **told: Any) -> Kept:
        return Kept(removed=self._removed, defects=tuple(self._defects), **told)

    # What stands there

    def _ours_there(self) -> Flow[list[_Found]]:
        found: list[_Found] = []
        seen: set[str] = set()
        page: str | None = self._subscriptions
        pages: set[str] = set()
        while page is not None:
            pages.add(page)
            answer = yield from self._ask(Ask("GET", page))
            members = answer.body.get("Members")
            if not answer.good or not isinstance(members, list):
                self._unsure = self._unsure or "the list of subscriptions can't be read"
                return found
            for member in members:
                target = self._place.linked(member)
                if target is None or target.key in seen:
                    continue
                seen.add(target.key)
                if len(seen) > MAX_SUBSCRIPTIONS:
                    self._unsure = f"there are more than {MAX_SUBSCRIPTIONS} subscriptions"
                    return found
                body = member if "Destination" in member else (yield from self._member(target.path))
                if body is not None and self._is_ours(body):
                    found.append(_Found(target.path, body))
            link = answer.body.get("Members@odata.nextLink")
            following = self._place.linked({"@odata.id": link}) if link is not None else None
            page = following.path if following is not None else None
            if page in pages or (page is not None and len(pages) >= MAX_PAGES):
                self._defects.append(
                    self._place.defect(self._subscriptions, "/Members@odata.nextLink", DefectKind.LINK_LOOP, "no end")
                )
                page = None
        return found

    def _member(self, path: str) -> Flow[Mapping[str, Any] | None]:
        """One subscription; None where it is gone meanwhile."""
        answer = yield from self._ask(Ask("GET", path))
        if answer.good:
            return answer.body
        if answer.status not in _GONE:  # it might be ours: making another could be one too many
            self._unsure = f"the subscription {path} can't be read"
        return None

    def _is_ours(self, body: Mapping[str, Any]) -> bool:
        if body.get("SubscriptionType", "RedfishEvent") != "RedfishEvent":
            return False  # an open event stream stands here too, and ends with its connection
        return body.get("Context") == self._ours.token or self._sent_here(body)

    def _sent_here(self, body: Mapping[str, Any]) -> bool:
        return _same_address(body.get("Destination"), self._ours.destination)

    def _right(self, one: _Found) -> bool:
        """Whether it is as we would make it now."""
        # What a service does not give back can't be wrong: else it would be made anew at every look.
        return (
            one.body.get("Context") in (self._ours.token, None, "")
            and (self._sent_here(one.body) or one.body.get("Destination") in (None, ""))
            and one.body.get("EventFormatType") in (None, "Event")
        )

    # What is done about it

    def _resume(self, one: _Found) -> Flow[bool]:
        """Sets a suspended one going, which may deliver what was kept back; False where that can't be done."""
        actions = one.body.get("Actions")
        action = actions.get("#EventDestination.ResumeSubscription") if isinstance(actions, dict) else None
        target = self._place.linked({"@odata.id": action.get("target")}) if isinstance(action, dict) else None
        if target is None:
            return False
        answer = yield from self._ask(Ask("POST", target.path, {}), quiet=True)
        return 200 <= answer.status < 300

    def _delete(self, those: Sequence[_Found]) -> Flow[str]:
        """Deletes some; gives why one could not be."""
        stuck = ""
        for one in those:
            answer = yield from self._ask(Ask("DELETE", one.path), quiet=True)
            if 200 <= answer.status < 300:
                self._removed += 1
            elif answer.status not in _GONE:
                self._defects.append(self._place.failure(Ask("DELETE", one.path), answer))
                stuck = f"{one.path} was answered with status {answer.status}"
        return stuck

    def _make(self, choices: Sequence[dict[str, Any]]) -> Flow[Kept]:
        answer = Answer(0)
        ask = Ask("POST", self._subscriptions)
        for body in choices:
            ask = Ask("POST", self._subscriptions, body)
            answer = yield from self._ask(ask, quiet=True)
            if 200 <= answer.status < 300:
                return (yield from self._made(answer))
            if _FULL.intersection(answer.keys):
                return self._kept(full=True, trouble="the service has no room for one more subscription")
            if answer.status not in _BAD_BODY:
                break
            if answer.status in _PERHAPS_MADE and (found := (yield from self._ours_there())):
                return self._kept(path=found[0].path, made=True)
        self._defects.append(self._place.failure(ask, answer))
        refused = answer.status in _BAD_BODY or answer.status in (401, 403, 404)
        said = f": {answer.text}" if answer.text else ""
        return self._kept(refused=refused, trouble=f"subscribing was answered with status {answer.status}{said}")

    def _made(self, answer: Answer) -> Flow[Kept]:
        """Where the new one is: from Location, else from its body, else by looking."""
        for link in (answer.location or None, answer.body.get("@odata.id")):
            target = self._place.linked({"@odata.id": link})
            if target is not None:
                return self._kept(path=target.path, made=True)
        found = yield from self._ours_there()
        if found:
            return self._kept(path=found[0].path, made=True)
        return self._kept(trouble="subscribing succeeded, but no subscription of ours is there")

    def _ask(self, ask: Ask, *, quiet: bool = False) -> Flow[Answer]:
        answer = yield ask
        if not quiet and not answer.good and answer.status not in _GONE:
            self._defects.append(self._place.failure(ask, answer))
        return answer


def _suspended(one: _Found) -> bool:
    """EventDestination: the state of a suspended subscription is Disabled."""
    status = one.body.get("Status")
    return isinstance(status, dict) and status.get("State") == "Disabled"


def _same_address(told: object, ours: str) -> bool:
    """Whether two URLs are the same address: case of the host, the default port and a last slash do not matter."""
    if not isinstance(told, str):
        return False
    try:
        return _address(told) == _address(ours)
    except ValueError:
        return False


def _address(url: str) -> tuple[str, str | None, int | None, str, str]:
    split = urlsplit(url.strip())
    port = split.port or {"http": 80, "https": 443}.get(split.scheme)
    return split.scheme, split.hostname, port, split.path.rstrip("/"), split.query
