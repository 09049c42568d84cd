"""PATCH: what of a request's body can be done, and what must be said about the rest."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import msgspec

from simulators.service.annex import annotate
from simulators.service.http import Reply, Request
from simulators.service.messages import Message, error
from simulators.service.settings import Kept
from simulators.service.tree import Resource, Write


@dataclass(slots=True)
class Patched:
    """What to do, and what to say about properties that were left out of it."""

    lamps: dict[str, bool] = field(default_factory=dict)
    """Part below the sled -> whether its locate lamp is to be lit."""
    settings: Kept = field(default_factory=dict)
    """What the service is to keep."""
    refused: list[Message] = field(default_factory=list)

    def annotate(self, body: bytes) -> bytes:
        """The resource, and what is to be said about the properties that were refused."""
        return annotate(body, self.refused)


def patch(resource: Resource, request: Request, path: str, kept: Kept) -> Patched | Reply:
    """Read the body of a PATCH; an error reply when nothing of it can be done.

    ``path``: of the resource; ``kept``: what was written to this service before.
    """
    try:
        told = msgspec.json.decode(request.body)
    except (msgspec.DecodeError, RecursionError):
        return error(400, Message("MalformedJSON"))
    if not isinstance(told, dict):
        return error(400, Message("UnrecognizedRequestBody"))
    if not told:
        return error(400, Message("EmptyJSON"))
    wanted = {name: value for name, value in told.items() if not name.startswith("@odata.")}
    if not wanted:
        return error(400, Message("NoOperation"))
    result = Patched()
    for name, value in wanted.items():
        write, setting = resource.writes.get(name), resource.settings.get(name)
        if setting is not None:
            if setting.administrator and request.role != "Administrator":
                return error(403, Message("InsufficientPrivilege"))
            new = setting.write(name, value, kept.get((path, name), setting.default))
            refusal = new if isinstance(new, Message) else None
            if refusal is None:
                result.settings[path, name] = new
        elif write is not None:
            if request.role == "ReadOnly":
                return error(403, Message("InsufficientPrivilege"))
            refusal = _apply(result, write, name, value)
        else:
            key = "PropertyNotWritable" if name in resource.body else "PropertyUnknown"
            refusal = Message(key, (name,), name)
        if refusal is not None:
            result.refused.append(refusal)
    return result if result.lamps or result.settings else error(400, *result.refused)


def _apply(result: Patched, write: Write, name: str, value: Any) -> Message | None:
    if write.words is None:
        if not isinstance(value, bool):
            return Message("PropertyValueTypeError", (_text(value), name), name)
        result.lamps[write.part] = value
        return None
    if not isinstance(value, str):
        return Message("PropertyValueTypeError", (_text(value), name), name)
    if value not in write.words:
        return Message("PropertyValueNotInList", (value, name), name)
    result.lamps[write.part] = write.words[value]
    return None


def _text(value: Any) -> str:
    return msgspec.json.encode(value).decode()[:200]
