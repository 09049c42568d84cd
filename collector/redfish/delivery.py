"""Asking a service for a test event, to see whether what it pushes reaches us.

Source: EventService CSDL (DSP8010), action SubmitTestEvent: "add a test event to the event service with the event data
specified in the action parameters. Then, this message should be sent to any appropriate event destinations." It reaches
other subscribers as well, so it is asked for once a subscription, with a message that says what it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from collector.redfish.flow import Ask, Flow, Place

MESSAGE = "ResourceEvent.1.0.TestMessage"
"""DSP8011, Resource Event registry: "A test message used to validate event delivery mechanisms."""
_OTHER_PARAMETERS = frozenset({400, 405, 422, 500, 501})
"""Answers after which parameters that all versions of the action have may do better."""


def submit_test(event_service: Mapping[str, Any], place: Place) -> Flow[bool]:
    """Whether the service has promised a test event; False where it has no such action, or will not."""
    actions = event_service.get("Actions")
    action = actions.get("#EventService.SubmitTestEvent") if isinstance(actions, dict) else None
    target = place.linked({"@odata.id": action.get("target")}) if isinstance(action, dict) else None
    if target is None:
        return False
    for body in ({"MessageId": MESSAGE}, {"EventType": "Alert", "MessageId": MESSAGE, "Severity": "OK"}, {}):
        answer = yield Ask("POST", target.path, body)
        if 200 <= answer.status < 300:
            return True
        if answer.status not in _OTHER_PARAMETERS:
            break
    return False


def not_delivered(destination: str, seconds: float) -> str:
    """What to say of a test event that did not come; of our address without its path, which is a secret."""
    where = "://".join(urlsplit(destination)[:2])
    return (
        f"a test event was promised, but nothing came to {where} within {seconds:g} s; can the controller reach it, "
        "and does it trust the listener's certificate?"
    )
