"""What people ask for and what they have seen to: requests, and the marks that these leave on conditions.

The words are those of ISA-18.2 / IEC 62682: *acknowledge* (somebody has seen it), *shelve* (somebody sets it aside for
a time); what is *in maintenance* those standards call out of service; here it goes by place and has an end.
"""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.parts import Location
from collector.model.words import Health, Seconds


class Verb(StrEnum):
    """What people ask for."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    MAINTAIN = "maintain"
    UNMAINTAIN = "unmaintain"

    LOCATE = "locate"
    """Switch a part's locate lamp; ``on`` and ``minutes`` among the arguments."""
    POWER = "power"
    """Switch or restart hosts; ``how``, ``confirm`` and ``hosts`` among the arguments."""
    OBSERVE = "observe"
    """Say what a front shows; see :class:`~collector.model.Sighting` for the arguments."""
    TAKE = "take"
    """Take a work order on."""
    FINISH = "finish"
    """Say that an order is done; ``serial`` of what was put in among the arguments."""
    GIVE_BACK = "give-back"
    """Leave an order to others."""


CARE_VERBS = frozenset({Verb.ACKNOWLEDGE, Verb.SHELVE, Verb.UNSHELVE, Verb.MAINTAIN, Verb.UNMAINTAIN})
"""What marks conditions and places."""
DEED_VERBS = frozenset({Verb.LOCATE, Verb.POWER})
"""What changes something on a controller; asked twice before it was carried out, it is one request."""
ORDER_VERBS = frozenset({Verb.TAKE, Verb.FINISH, Verb.GIVE_BACK})
"""What is about a work order."""


class RequestState(StrEnum):
    """How far a request is."""

    ASKED = "asked"
    TAKEN_UP = "taken up"
    """The collector is at it."""
    DONE = "done"
    HALF_DONE = "half done"
    """Some of it came about, or it was sent and nobody knows whether it did: ``result`` says which."""
    REFUSED = "refused"
    """It can't be done, or may not; nothing was changed: ``result`` says why."""
    TIMED_OUT = "timed out"
    """The controller took it, and what it should bring about did not show in time."""
    EXPIRED = "expired"
    """Nobody carried it out in time; it will not be carried out any more."""


class Request(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that a person asks the collector to do. Kept whatever comes of it."""

    id: int = 0
    """Given by the store, in the order of asking; 0 before."""
    asked_at: Seconds
    who: str
    verb: str
    """A :class:`Verb`, or another word that some part of the collector carries out."""
    target: str
    """What it is about, e.g. the id of a condition, of a part or of a work order, or a place's text."""
    arguments: dict[str, str | float | int | bool | None] = {}
    why: str = ""
    expires: Seconds
    """It is carried out before this time or not at all."""
    state: RequestState = RequestState.ASKED
    result: str = ""
    """One sentence: what came of it."""
    done_at: Seconds | None = None


UNDER_WAY = frozenset({RequestState.ASKED, RequestState.TAKEN_UP})
"""States after which another one comes."""


class Mark(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a person did about a condition, as it stands on the condition."""

    request: int
    """Id of the request that it comes from."""
    who: str
    why: str
    since: Seconds
    until: Seconds | None = None
    """When it ends by itself; None for what lasts as long as the condition."""


class CareKind(StrEnum):
    """What people do about conditions."""

    ACKNOWLEDGED = "acknowledged"
    """Seen; ends with the condition, or when it gets worse."""
    SHELVED = "shelved"
    """Set aside until a time; ends early when it gets worse."""
    MAINTENANCE = "in maintenance"
    """Hands are at work in a place from one time to another: what opens there is kept and not announced."""


class Care(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that a person did and that still holds, or will."""

    id: int
    """Of the request that it comes from."""
    kind: CareKind
    who: str
    why: str
    since: Seconds
    until: Seconds | None = None
    """None only for what was acknowledged."""
    condition: str | None = None
    """Id; for what is acknowledged or shelved."""
    opened: Seconds | None = None
    """Of the opening that was acknowledged."""
    severity: Health = Health.UNKNOWN
    """Of the condition when it was acknowledged or shelved."""
    place: Location = Location()
    """For maintenance: every step that is told must be the same; the rest may be anything."""
    controller: str | None = None
    """For maintenance: only what this controller tells of."""
    part: str | None = None
    """For maintenance: only this part and what it contains."""

    @property
    def mark(self) -> Mark:
        """As it stands on a condition."""
        return Mark(request=self.id, who=self.who, why=self.why, since=self.since, until=self.until)
