"""The telemetry's own health, a line a controller: worst first, and what each needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from collector.model import Contact, ControllerState, EventsBy, Location, Login, Seconds
from dashboard.views.floor import answers, unheard
from dashboard.views.words import age

NOT_ASKED = "not asked yet"
EXPIRES_SOON = 30 * 86_400.0
"""Seconds before a certificate's end at which it is worth a word, as ``check`` has it."""
CLOCK_LIMIT = 60.0
"""Seconds that a controller's clock may be off, as the assessment has it."""
OFTEN = 0.05
"""Share of rounds that failed, above which a controller counts as one that fails often."""
NEARLY = 0.8
"""Share of the time between rounds that a round takes, above which it counts as slow: the collector's deadline."""


class Need(StrEnum):
    """What a controller's telemetry needs, the worst first."""

    SILENT = "does not answer"
    REFUSED = "refuses the login"
    EXPIRED = "certificate ended"
    EXPIRES = "certificate ends soon"
    UNCHECKED = "certificate not checked"
    FULL = "no room for a session"
    FAILING = "fails often"
    SLOW = "slow rounds"
    CLOCK = "clock off"
    DEFECTS = "defects"


@dataclass(frozen=True, slots=True)
class Heard:
    """How one controller is heard."""

    state: ControllerState
    place: str
    outcome: str
    failed: float
    """Share of its rounds that failed, 0 to 1; 0 before the first."""
    load: float
    """Its newest round's time as a share of the time between rounds, 0 and more; 0 where not known."""
    needs: tuple[Need, ...] = ()
    """Worst first."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a round costs over those that answer; None where none does."""

    median: float
    slow: float
    """Seconds that 95 of 100 rounds stay below."""
    slowest: float
    requests: int
    bytes: int


def heard(
    controllers: Iterable[ControllerState],
    place_of: Callable[[ControllerState], Location],
    poll_interval: float | None,
    now: Seconds,
) -> tuple[Heard, ...]:
    """Those with the worst need first, then those that fail most often, then by name; not asked ones behind.

    Not by the time that a round took: that changes with every look, and rows would jump under the reader's hand.
    """
    found = [_heard(state, place_of, poll_interval, now) for state in controllers]
    ranks = {need: rank for rank, need in enumerate(Need)}
    return tuple(
        sorted(
            found,
            key=lambda each: (
                each.outcome == NOT_ASKED,
                ranks[each.needs[0]] if each.needs else len(ranks),
                -round(each.failed, 2),
                each.state.controller,
            ),
        )
    )


def _heard(
    state: ControllerState,
    place_of: Callable[[ControllerState], Location],
    poll_interval: float | None,
    now: Seconds,
) -> Heard:
    failed = state.failed_rounds / state.rounds if state.rounds else 0.0
    load = state.round_seconds / poll_interval if state.round_seconds is not None and poll_interval else 0.0
    return Heard(
        state,
        place_of(state).text or "place not told",
        state.outcome.value if state.outcome is not None else NOT_ASKED,
        failed,
        load,
        tuple(_needs(state, failed, load, now)),
    )


def _needs(state: ControllerState, failed: float, load: float, now: Seconds) -> Iterable[Need]:
    contact = state.contact or Contact()
    silent = state.outcome is not None and not answers(state)
    holds: Mapping[Need, bool] = {
        Need.SILENT: silent and not contact.refusals,
        Need.REFUSED: contact.refusals > 0,
        Need.EXPIRED: contact.expires is not None and contact.expires <= now,
        Need.EXPIRES: contact.expires is not None and now < contact.expires <= now + EXPIRES_SOON,
        Need.UNCHECKED: state.insecure,
        Need.FULL: contact.session_table_full,
        Need.FAILING: failed > OFTEN and not silent,
        Need.SLOW: load > NEARLY,
        Need.CLOCK: contact.clock_offset is not None and abs(contact.clock_offset) > CLOCK_LIMIT,
        Need.DEFECTS: state.defects > 0,
    }
    return (need for need in Need if holds[need])


def narrowed(
    found: Iterable[Heard], outcome: str | None = None, need: Need | None = None, words: str = ""
) -> tuple[Heard, ...]:
    """Those with an outcome, with a need, and with every word in name, place, product or address, as asked."""
    wanted = words.casefold().split()
    return tuple(
        each
        for each in found
        if (not outcome or each.outcome == outcome)
        and (need is None or need in each.needs)
        and (not wanted or _has(each, wanted))
    )


def _has(each: Heard, wanted: Sequence[str]) -> bool:
    state = each.state
    text = "\n".join((state.controller, each.place, state.product or "", state.url)).casefold()
    return all(word in text for word in wanted)


def outcomes(found: Iterable[Heard]) -> dict[str, int]:
    """How many there are of each outcome, the most frequent first."""
    return dict(Counter(each.outcome for each in found).most_common())


def needs(found: Iterable[Heard]) -> dict[Need, int]:
    """How many have each need, the worst first; those that nobody has are left out."""
    counts = Counter(need for each in found for need in each.needs)
    return {need: counts[need] for need in Need if counts[need]}


def cost(found: Sequence[Heard]) -> Cost | None:
    """What the newest rounds of those that answer took."""
    good = [each.state for each in found if not unheard(each.state) and each.state.round_seconds is not None]
    times = sorted(state.round_seconds for state in good if state.round_seconds is not None)
    if not times:
        return None
    return Cost(
        times[(len(times) - 1) // 2],
        times[min(len(times) - 1, int(0.95 * len(times)))],
        times[-1],
        sum(state.requests for state in good),
        sum(state.bytes_received for state in good),
    )


# --- in words ------------------------------------------------------------------------------------------------------


def certificate_words(state: ControllerState, now: Seconds) -> str:
    """e.g. ``ends in 210 d``, ``ended 3 d ago``, ``no TLS``; whether it is checked."""
    contact = state.contact
    if contact is None:
        return "–"
    if contact.fingerprint is None and contact.expires is None:
        return "not known yet" if state.url.startswith("https") else "no TLS"
    if contact.expires is None:
        told = "end not told"
    elif contact.expires <= now:
        told = f"ended {age(now - contact.expires)} ago"
    else:
        told = f"ends in {_days(contact.expires - now)}"
    return f"{told}, not checked" if state.insecure else told


def _days(seconds: float) -> str:
    return f"{seconds / 86_400:,.0f} d" if seconds > 10 * 86_400 else age(seconds)


def clock_words(contact: Contact | None) -> str:
    """e.g. ``right``, ``40 s ahead``, ``1 d behind``; right is what no reading or event is put wrong by."""
    if contact is None or contact.clock_offset is None:
        return "tells no time"
    off = contact.clock_offset
    if abs(off) < 2.0:
        return "right"
    return f"{age(abs(off))} {'ahead' if off > 0 else 'behind'}"


def session_words(contact: Contact | None, now: Seconds) -> str:
    """How requests are authenticated, e.g. ``session for 3 h``; refused logins and when the next is tried."""
    if contact is None:
        return "–"
    if contact.refusals:
        again = contact.next_login
        when = f", tried again in {age(again - now)}" if again is not None and again > now else ""
        return f"login refused {contact.refusals} times{when}" if contact.refusals > 1 else f"login refused{when}"
    full = ", no room for a session" if contact.session_table_full else ""
    if contact.login is Login.SESSION and contact.session_since is not None:
        return f"session for {age(now - contact.session_since)}{full}"
    if contact.login is Login.BASIC:
        return f"password in every request{full}"
    return {Login.NONE: "no login asked for", Login.SESSION: "session"}.get(contact.login, "not logged in") + full


def events_words(contact: Contact | None, now: Seconds) -> str:
    """How its events come."""
    if contact is None or contact.events is EventsBy.NONE:
        return "no events"
    since = f" for {age(now - contact.events_since)}" if contact.events_since is not None else ""
    return {EventsBy.STREAM: "stream", EventsBy.PUSH: "pushed"}.get(contact.events, "from its logs") + since
