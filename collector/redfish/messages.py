"""What an error body says (DSP0266 section 'Error responses'): untrusted, and often not there at all."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from email.utils import parsedate_to_datetime
from typing import Any

from msgspec import Struct

from collector.model import Seconds
from collector.redfish.errors import HttpStatus
from collector.redfish.wire import Reply

MAX_MESSAGES = 8
_MAX_ERROR_BODY = 64 * 1024


class Told(Struct, frozen=True):
    """Message keys without registry and version (``SessionLimitExceeded``), and the texts in one line."""

    keys: tuple[str, ...] = ()
    text: str = ""


def told(body: bytes) -> Told:
    """What an error body says; empty where it is no standard error body."""
    if not body or len(body) > _MAX_ERROR_BODY:
        return Told()
    try:
        root = json.loads(body)
    except (ValueError, RecursionError):
        return Told()
    if not isinstance(root, dict):
        return Told()
    error = root.get("error")
    error = error if isinstance(error, dict) else {}
    infos = list(_infos(error))[:MAX_MESSAGES] or list(_infos(root))[:MAX_MESSAGES]
    keys = [info["MessageId"] for info in infos if isinstance(info.get("MessageId"), str)]
    texts = [info["Message"].strip() for info in infos if isinstance(info.get("Message"), str)]
    if isinstance(error.get("code"), str):
        keys.append(error["code"])
    if not texts and isinstance(error.get("message"), str):
        texts = [error["message"]]
    return Told(tuple(dict.fromkeys(key.rpartition(".")[2] for key in keys)), " ".join(dict.fromkeys(texts)))


def seconds_to_wait(retry_after: str | None, now: Seconds) -> float | None:
    """What a Retry-After header asks for, in seconds from now: delay or HTTP date (RFC 9110 10.2.3).

    None where there is none or it can't be read; never negative, and not bounded.
    """
    if retry_after is None:
        return None
    if re.fullmatch(r"[0-9]{1,12}", retry_after):
        return float(retry_after)
    try:
        return max(0.0, parsedate_to_datetime(retry_after).timestamp() - now)
    except (ValueError, OverflowError):
        return None


def status_error(controller: str, resource: str, reply: Reply, secrets: Iterable[str] = ()) -> HttpStatus:
    """The error that a reply stands for; a service that echoes a secret in its message is not quoted on that."""
    said = told(reply.body)
    text = said.text
    for secret in secrets:
        if secret:
            text = text.replace(secret, "***")
    return HttpStatus(
        controller, resource, reply.status, text, keys=said.keys, retry_after=reply.header(b"retry-after")
    )


def _infos(holder: dict[str, Any]) -> Iterator[dict[str, Any]]:
    infos = holder.get("@Message.ExtendedInfo")
    if isinstance(infos, dict):  # one object where the standard has an array (from memory: services do it)
        infos = [infos]
    if isinstance(infos, list):
        yield from (info for info in infos if isinstance(info, dict))
