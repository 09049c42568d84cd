"""What is wrong with a request before anyone looks at what it asks for (DSP0266, "Request headers")."""

from __future__ import annotations

from simulators.service.http import Reply, Request
from simulators.service.messages import Message, error


def refused_headers(request: Request) -> Reply | None:
    """What is wrong with the headers of a request, if anything."""
    headers = request.headers
    if headers.get("odata-version", "4.0") not in ("4.0", "4.01"):
        return error(412, Message("HeaderInvalid", ("OData-Version",)))
    if request.body and headers.get("content-type", "application/json").partition(";")[0].strip().lower() not in (
        "application/json",
    ):
        return error(415, Message("HeaderInvalid", ("Content-Type",)))
    accept = headers.get("accept", "*/*").lower()
    if not any(word in accept for word in ("*/*", "application/*", "application/json")) and not (
        (request.path.endswith("$metadata") and "xml" in accept)
        or (request.path.endswith(".yaml") and "yaml" in accept)
    ):
        return error(406, Message("HeaderInvalid", ("Accept",)))
    return None
