"""What is done to a controller: locate lamps switched and hosts reset, each verified by reading back.

DSP0266 sections 'PATCH', 'Actions', 'Asynchronous operations' and 'ETags'. Flows, without I/O: whoever drives them
bounds the time and lets pass what an :class:`~collector.redfish.flow.Ask` says is to be waited for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from msgspec import Struct

from collector.model import PowerState, PowerWish, RequestState
from collector.redfish import links
from collector.redfish.flow import Answer, Ask, Flow, Place
from collector.text import plain

READ_BACK = (0.0, 0.5, 1.0, 2.0, 4.0, 8.0)
"""Seconds before each look whether a lamp is as it should be; common practice, no source."""
POLL_POWER = 2.0
"""Seconds between two looks at a host's power state; common practice, no source."""
WARM = 20.0
"""Seconds for which a host that is restarted may go on telling On before that counts as a warm restart."""
_TASK_WAIT = 2.0
_MOST_WAIT = 30.0
"""Seconds: of what a service asks to wait before its task is looked at again."""
_LAMP_TASK = 30.0
"""Seconds for which the task of switching a lamp is followed; common practice, no source."""
_RUNNING = frozenset({"New", "Starting", "Running", "Pending", "Stopping", "Suspended", "Cancelling", "Service"})
_FAILED = frozenset({"Exception", "Killed", "Cancelled", "Interrupted"})
"""Words of Task.TaskState (DSP8010)."""

RESET_TYPES: Mapping[PowerWish, tuple[str, ...]] = {
    PowerWish.ON: ("On", "ForceOn"),
    PowerWish.SHUT_DOWN: ("GracefulShutdown",),
    PowerWish.FORCE_OFF: ("ForceOff",),
    PowerWish.RESTART: ("GracefulRestart",),
    PowerWish.FORCE_RESTART: ("ForceRestart",),
    PowerWish.CYCLE: ("PowerCycle", "FullPowerCycle"),
}
"""Words of Resource.ResetType (DSP8010) that do what is wished, best first. None stands for another wish: what was to
end in order is never forced for want of a better."""
BUTTON = "PushPowerButton"
"""What it does depends on the host's state and settings, so it is used only where nothing else is offered."""
_BY_BUTTON = frozenset({PowerWish.ON, PowerWish.SHUT_DOWN})
OFF_AFTER = frozenset({PowerWish.SHUT_DOWN, PowerWish.FORCE_OFF})
ON_AFTER = frozenset(PowerWish) - OFF_AFTER


class Came(Struct, frozen=True):
    """What came of it, and one sentence of that for a person."""

    state: RequestState
    text: str
    resource: str = ""
    """On which it was done."""


class Expected(Struct, frozen=True):
    """What must still stand at a resource for anything to be done to it; None: not known."""

    resource: str
    serial: str | None = None


class NotDone(Exception):
    """Why nothing was done: a :class:`Came`."""

    def __init__(self, came: Came) -> None:
        super().__init__(came.text)
        self.came = came


def refused(text: str, resource: str = "") -> NotDone:
    """The refusal of a whole flow."""
    return NotDone(Came(RequestState.REFUSED, text, resource))


# Lamps


def switch_lamp(place: Place, resources: Sequence[str], on: bool, what: str) -> Flow[Came]:
    """Switch the locate lamp at the first of these resources that has one; ``what``: the part, for the sentences."""
    try:
        for resource in resources:
            answer = yield Ask("GET", resource)
            _readable(answer, resource, what)
            if (change := _lamp_change(answer.body, on)) is not None:
                return (yield from _switched(place, resource, answer, change, on, what))
        raise refused(f"the controller tells of no locate lamp of {what}")
    except NotDone as end:
        return end.came


class _Change(Struct, frozen=True):
    name: str
    now: Any
    wanted: Any


def _lamp_change(body: Mapping[str, Any], on: bool) -> _Change | None:
    """What to write; None where the resource has no lamp that can be told of.

    ``LocationIndicatorActive`` where there is one; ``IndicatorLED`` is deprecated since 2020.3 and is not its
    equal: lit may mean anything, so blinking is what is asked for unless the service knows lit only.
    """
    new = body.get("LocationIndicatorActive")
    if isinstance(new, bool):
        return _Change("LocationIndicatorActive", new, on)
    old = body.get("IndicatorLED")
    if not isinstance(old, str) or old == "Unknown":
        return None
    allowed = body.get("IndicatorLED@Redfish.AllowableValues")
    words = allowed if isinstance(allowed, list) else ["Blinking", "Off"]
    lit = "Blinking" if "Blinking" in words else "Lit" if "Lit" in words else "Blinking"
    return _Change("IndicatorLED", old, lit if on else "Off")


def _switched(place: Place, resource: str, answer: Answer, change: _Change, on: bool, what: str) -> Flow[Came]:
    word = "on" if on else "off"
    if change.now == change.wanted:
        return Came(RequestState.DONE, f"the lamp of {what} was {word} already", resource)
    for attempt in (1, 2):
        if_match = answer.etag or _text(answer.body.get("@odata.etag"))
        done = yield Ask("PATCH", resource, {change.name: change.wanted}, if_match=if_match)
        if done.status != 412 or attempt == 2:
            break
        answer = yield Ask("GET", resource)  # it changed in between, perhaps by nothing but a reading
        _readable(answer, resource, what)
    done = yield from _followed(place, done, _LAMP_TASK)
    _accepted(done, f"switch the lamp of {what} {word}", resource)
    for wait in READ_BACK:
        back = yield Ask("GET", resource, wait=wait)
        if back.good and back.body.get(change.name) == change.wanted:
            return Came(RequestState.DONE, f"the lamp of {what} is {word}, and the controller says so", resource)
    text = f"the controller took it, and still says that the lamp of {what} is not {word}; look at the front"
    return Came(RequestState.HALF_DONE, text, resource)


# Power


class Reset(Struct, frozen=True):
    """What is asked for: ``resource`` has the action, ``hosts`` (resource, name) tell whether it came about."""

    resource: str
    what: str
    """The part, for the sentences."""
    wish: PowerWish
    hosts: tuple[tuple[str, str], ...]
    expected: tuple[Expected, ...] = ()


def reset(place: Place, asked: Reset, patience: float) -> Flow[Came]:
    """Switch or restart what carries hosts; ``patience``: seconds in which it must show."""
    try:
        yield from _still_there(asked)
        answer = yield Ask("GET", asked.resource)
        _readable(answer, asked.resource, asked.what)
        states = yield from _power_of(asked.hosts)
        off, on = asked.wish in OFF_AFTER, asked.wish is PowerWish.ON
        if states and all(state is (PowerState.OFF if off else PowerState.ON) for state in states) and (off or on):
            return Came(RequestState.DONE, f"{asked.what} was {'off' if off else 'on'} already", asked.resource)
        target, words = yield from _action(place, answer.body, asked)
        word = _word(words, asked)
        done = yield Ask("POST", target, {"ResetType": word})
        done = yield from _followed(place, done, patience)
        _accepted(done, f"{asked.wish.value} {asked.what}", asked.resource)
        return (yield from _came_about(asked, word, patience))
    except NotDone as end:
        return end.came


def _still_there(asked: Reset) -> Flow[None]:
    """Refuse where another part stands there than the one that was asked about."""
    for expected in asked.expected:
        if expected.serial is None:
            continue
        answer = yield Ask("GET", expected.resource)
        _readable(answer, expected.resource, asked.what)
        found = _text(answer.body.get("SerialNumber"))
        if found.strip() != expected.serial.strip():
            now = f"serial {plain(found, 60)}" if found.strip() else "nothing that tells a serial number"
            text = (
                f"{asked.what} was swapped since it was asked for: {now} stands there, not {plain(expected.serial, 60)}"
            )
            raise refused(f"{text}; look again and ask anew", expected.resource)


def _power_of(hosts: Sequence[tuple[str, str]], wait: float = 0.0) -> Flow[list[PowerState]]:
    found = []
    for index, (resource, _) in enumerate(hosts):
        answer = yield Ask("GET", resource, wait=wait if index == 0 else 0.0)
        told = answer.body.get("PowerState") if answer.good else None
        found.append(PowerState(told) if isinstance(told, str) and told in _POWER_WORDS else PowerState.UNKNOWN)
    return found


_POWER_WORDS = frozenset(state.value for state in PowerState) - {PowerState.UNKNOWN.value}


def _action(place: Place, body: Mapping[str, Any], asked: Reset) -> Flow[tuple[str, tuple[str, ...]]]:
    """Where to post a reset, and the words that may be posted: allowable values, else those of its ActionInfo."""
    found = next(_resets(body), None)
    if found is None:
        raise refused(f"the controller offers no way to switch {asked.what}", asked.resource)
    try:
        target = place.target(found.get("target")).path
    except links.BadLink as error:
        raise refused(f"the controller's reset of {asked.what} leads nowhere: {error}", asked.resource) from error
    words = found.get("ResetType@Redfish.AllowableValues")
    if not isinstance(words, list) and "@Redfish.ActionInfo" in found:
        words = yield from _from_info(place, found["@Redfish.ActionInfo"])
    if not isinstance(words, list):
        raise refused(
            f"the controller does not tell which resets {asked.what} allows, so none is tried", asked.resource
        )
    return target, tuple(word for word in words if isinstance(word, str))[:32]


def _resets(body: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    actions = body.get("Actions")
    for name, action in actions.items() if isinstance(actions, dict) else ():
        if name.startswith("#") and name.endswith(".Reset") and isinstance(action, dict):
            yield action


def _from_info(place: Place, link: object) -> Flow[object]:
    try:
        path = place.target(link).path
    except links.BadLink:
        return None
    answer = yield Ask("GET", path)
    parameters = answer.body.get("Parameters") if answer.good else None
    for each in parameters if isinstance(parameters, list) else ():
        if isinstance(each, dict) and each.get("Name") == "ResetType":
            return each.get("AllowableValues")
    return None


def _word(words: Sequence[str], asked: Reset) -> str:
    for word in RESET_TYPES[asked.wish]:
        if word in words:
            return word
    if set(words) == {BUTTON} and asked.wish in _BY_BUTTON:
        return BUTTON
    allowed = [wish.value for wish, ways in RESET_TYPES.items() if set(ways) & set(words)]
    choice = f"it allows: {', '.join(allowed)}" if allowed else "it allows none of what can be asked for here"
    raise refused(f"{asked.what} can't be told to {asked.wish.value}; {choice}", asked.resource)


def _came_about(asked: Reset, word: str, patience: float) -> Flow[Came]:
    """Look at the hosts until all are as they should be, or patience ends."""
    goal = PowerState.OFF if asked.wish in OFF_AFTER else PowerState.ON
    restarts = asked.wish not in OFF_AFTER and asked.wish is not PowerWish.ON
    if not asked.hosts:
        return Came(RequestState.DONE, f"the controller took {word} for {asked.what}; it carries no host to look at")
    waited, left = 0.0, [not restarts for _ in asked.hosts]
    states: list[PowerState] = []
    while waited < patience:
        states = yield from _power_of(asked.hosts, POLL_POWER)
        waited += POLL_POWER
        left = [gone or state is not goal for gone, state in zip(left, states, strict=True)]
        there = all(state is goal for state in states)
        if there and all(left):
            return Came(RequestState.DONE, f"{_names(asked.hosts)} told {goal.value} after {word}", asked.resource)
        if there and restarts and waited >= WARM:
            text = f"the controller took {word}; {_names(asked.hosts)} told On throughout, as in a warm restart"
            return Came(RequestState.DONE, text, asked.resource)
    late = [host for host, state in zip(asked.hosts, states, strict=True) if state is not goal]
    told = f"the controller took {word}, and after {patience:g} s {_names(late)} did not tell {goal.value}"
    if len(late) < len(asked.hosts):
        done = [host for host in asked.hosts if host not in late]
        return Came(RequestState.HALF_DONE, f"{told}; {_names(done)} did", asked.resource)
    advice = "; it may still be at it, or not listen: look at its console before you force it"
    return Came(RequestState.TIMED_OUT, told + (advice if asked.wish in OFF_AFTER else ""), asked.resource)


def _names(hosts: Sequence[tuple[str, str]]) -> str:
    names = [name for _, name in hosts]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "no host"


# What comes back


def _followed(place: Place, answer: Answer, patience: float) -> Flow[Answer]:
    """What an operation ended with that may have become a task: DSP0266 'Asynchronous operations'."""
    if answer.status != 202:
        return answer
    try:
        monitor = place.target(answer.location).path
    except links.BadLink:
        return Answer(200)  # accepted, and no way to follow it: what it should bring about is looked at anyhow
    waited = 0.0
    while waited < patience:
        wait = _wait(answer.retry_after)
        waited += wait
        answer = yield Ask("GET", monitor, wait=wait)
        if answer.status in (404, 410):
            return Answer(200)  # its result is not kept any more
        told = answer.body.get("TaskState")
        state = told if isinstance(told, str) else ""
        if answer.status == 202 or (answer.good and state in _RUNNING):
            continue
        if answer.good and state in _FAILED:
            return Answer(400, text=_messages(answer.body) or f"its task ended as {state}")
        return answer
    return Answer(200)  # still at it: what it should bring about is looked at nevertheless


def _wait(told: str) -> float:
    return min(max(float(told), 0.5), _MOST_WAIT) if told.isdecimal() and len(told) < 9 else _TASK_WAIT


def _messages(body: Mapping[str, Any]) -> str:
    told = body.get("Messages")
    texts = [each.get("Message") for each in told if isinstance(each, dict)] if isinstance(told, list) else []
    return " ".join(text.strip() for text in texts[:4] if isinstance(text, str))


def _readable(answer: Answer, resource: str, what: str) -> None:
    """Refuse where what is to be changed can't even be read."""
    if answer.good:
        return
    if answer.status in (404, 410):
        raise refused(f"the controller no longer has {what} where it was; wait for its next walk", resource)
    said = answer.unread[1] if answer.unread is not None else _said(answer)
    raise refused(f"{what} can't be read: status {answer.status}{said}", resource)


def _accepted(answer: Answer, deed: str, resource: str) -> None:
    """Refuse where the controller did."""
    if answer.status < 400:
        return
    said = _said(answer)
    match answer.status:
        case 401 | 403:
            text = f"the account that is used there may not {deed}{said}; give it the right, or name another in "
            text += "action_credentials of the fleet file"
        case 405 | 501:
            text = f"the controller can't {deed}: it does not let that be changed{said}"
        case 409 | 423 | 503:
            text = f"the controller is busy and would not {deed}{said}; ask again in a while"
        case 412 | 428:
            text = f"the controller would not {deed}, because it changed meanwhile{said}; ask again"
        case _:
            text = f"the controller would not {deed}: status {answer.status}{said}"
    raise refused(text, resource)


def _said(answer: Answer) -> str:
    return f" ({plain(answer.text, 160).rstrip('.')})" if answer.text else ""


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
