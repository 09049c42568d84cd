"""Error bodies as DSP0266 shapes them, with messages of the standard's Base registry (DSP8011)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import msgspec

from simulators.service.http import JSON, NO_CACHE, ODATA, Headers, Reply

REGISTRY = "Base.1.22.1"
"""Registry whose words are used; message identifiers carry its major and minor version."""

MESSAGE_TYPE = "Message.v1_1_2.Message"

_PREFIX = "Base.1.22."

_RETRY = "resubmit the request if the operation failed."

MESSAGES: dict[str, tuple[str, str, str]] = {
    "AccessUnauthorized": ("Critical", "Unauthorized.", "Resubmit the request with valid credentials."),
    "CreateLimitReachedForResource": (
        "Critical",
        "The create operation failed because the resource has reached the limit of possible resources.",
        "Either delete resources and resubmit the request if the operation failed or do not resubmit the request.",
    ),
    "EmptyJSON": (
        "Warning",
        "The request body submitted contained an empty JSON object and the service is unable to process it.",
        "Add properties in the JSON object and resubmit the request.",
    ),
    "ActionParameterMissing": (
        "Critical",
        "The action %1 requires the parameter %2 to be present in the request body.",
        "Supply the action with the required parameter in the request body when the request is resubmitted.",
    ),
    "ActionParameterUnknown": (
        "Warning",
        "The action %1 was submitted with the invalid parameter %2.",
        f"Correct the invalid action parameter and {_RETRY}",
    ),
    "ActionParameterValueNotInList": (
        "Warning",
        "The value '%1' for the parameter %2 in the action %3 is not in the list of acceptable values.",
        f"Choose a value from the enumeration list that the implementation can support and {_RETRY}",
    ),
    "ActionParameterValueTypeError": (
        "Warning",
        "The value '%1' for the parameter %2 in the action %3 is not a type that the parameter can accept.",
        f"Correct the value for the parameter in the request body and {_RETRY}",
    ),
    "CouldNotEstablishConnection": (
        "Critical",
        "The service failed to establish a connection with the URI '%1'.",
        "Ensure that the URI contains a valid and reachable node name, protocol information, and other URI components.",
    ),
    "EventSubscriptionLimitExceeded": (
        "Critical",
        "The event subscription failed due to the number of simultaneous subscriptions exceeding the limit of the "
        "implementation.",
        "Reduce the number of other subscriptions before trying to establish the event subscription or increase the "
        "limit of simultaneous subscriptions, if supported.",
    ),
    "GeneralError": (
        "Critical",
        "A general error has occurred.  See Resolution for information on how to resolve the error, or "
        "@Message.ExtendedInfo if Resolution is not provided.",
        "None.",
    ),
    "HeaderInvalid": ("Critical", "Header '%1' is invalid.", "Resubmit the request with a valid request header."),
    "InsufficientStorage": (
        "Critical",
        "Insufficient storage or memory available to complete the request.",
        "Increase the free storage space available to the service and resubmit the request.",
    ),
    "InsufficientPrivilege": (
        "Critical",
        "There are insufficient privileges for the account or credentials associated with the current session to "
        "perform the requested operation.",
        "Either abandon the operation or change the associated access rights and resubmit the request if the operation "
        "failed.",
    ),
    "MalformedJSON": (
        "Critical",
        "The request body submitted was malformed JSON and could not be parsed by the receiving service.",
        "Ensure that the request body is valid JSON and resubmit the request.",
    ),
    "NoValidSession": (
        "Critical",
        "There is no valid session established with the implementation.",
        "Establish a session before attempting any operations.",
    ),
    "NoOperation": (
        "Warning",
        "The request body submitted contain no data to act upon and no changes to the resource took place.",
        "Add properties in the JSON object and resubmit the request.",
    ),
    "OperationNotAllowed": ("Critical", "The HTTP method is not allowed on this resource.", "None."),
    "PayloadTooLarge": (
        "Critical",
        "The supplied payload exceeds the maximum size supported by the service.",
        "Check that the supplied payload is correct and supported by this service.",
    ),
    "PreconditionFailed": (
        "Critical",
        "The ETag supplied did not match the ETag required to change this resource.",
        "Try the operation again using the appropriate ETag.",
    ),
    "PropertyMissing": (
        "Warning",
        "The property %1 is a required property and must be included in the request.",
        f"Ensure that the property is in the request body and has a valid value and {_RETRY}",
    ),
    "PropertyNotWritable": (
        "Warning",
        "The property %1 is a read-only property and cannot be assigned a value.",
        f"Remove the property from the request body and {_RETRY}",
    ),
    "PropertyUnknown": (
        "Warning",
        "The property %1 is not in the list of valid properties for the resource.",
        f"Remove the unknown property from the request body and {_RETRY}",
    ),
    "PropertyValueNotInList": (
        "Warning",
        "The value '%1' for the property %2 is not in the list of acceptable values.",
        f"Choose a value from the enumeration list that the implementation can support and {_RETRY}",
    ),
    "PropertyValueTypeError": (
        "Warning",
        "The value '%1' for the property %2 is not a type that the property can accept.",
        f"Correct the value for the property in the request body and {_RETRY}",
    ),
    "PropertyValueFormatError": (
        "Warning",
        "The value '%1' for the property %2 is not a format that the property can accept.",
        f"Correct the value for the property in the request body and {_RETRY}",
    ),
    "QueryCombinationInvalid": (
        "Warning",
        "Two or more query parameters in the request cannot be used together.",
        f"Remove one or more of the query parameters and {_RETRY}",
    ),
    "QueryNotSupportedOnOperation": (
        "Warning",
        "Querying is not supported with the requested operation.",
        f"Remove the query parameters and {_RETRY}",
    ),
    "QueryNotSupportedOnResource": (
        "Warning",
        "Querying is not supported on the requested resource.",
        f"Remove the query parameters and {_RETRY}",
    ),
    "QueryParameterOutOfRange": (
        "Warning",
        "The value '%1' for the query parameter %2 is out of range %3.",
        "Reduce the value for the query parameter to a value that is within range, such as a start or count value "
        "that is within bounds of the number of resources in a collection or a page number that is within the range "
        "of valid pages.",
    ),
    "QueryParameterUnsupported": (
        "Warning",
        "Query parameter '%1' is not supported.",
        "Correct or remove the query parameter and resubmit the request.",
    ),
    "QueryParameterValueFormatError": (
        "Warning",
        "The value '%1' for the parameter %2 is not a format that the parameter can accept.",
        f"Correct the value for the query parameter in the request and {_RETRY}",
    ),
    "ResourceAlreadyExists": (
        "Critical",
        "The requested resource of type %1 with the property %2 with the value '%3' already exists.",
        "Do not repeat the create operation as the resource was already created.",
    ),
    "ResourceMissingAtURI": (
        "Critical",
        "The resource at the URI '%1' was not found.",
        "Place a valid resource at the URI or correct the URI and resubmit the request.",
    ),
    "ServiceTemporarilyUnavailable": (
        "Critical",
        "The service is temporarily unavailable.  Retry in %1 seconds.",
        "Wait for the indicated retry duration and retry the operation.",
    ),
    "SessionLimitExceeded": (
        "Critical",
        "The session establishment failed due to the number of simultaneous sessions exceeding the limit of the "
        "implementation.",
        "Reduce the number of other sessions before trying to establish the session or increase the limit of "
        "simultaneous sessions, if supported.",
    ),
    "UndeterminedFault": ("Critical", "An undetermined fault condition was reported by '%1'.", "None."),
    "UnrecognizedRequestBody": (
        "Warning",
        "The service detected a malformed request body that it was unable to interpret.",
        "Correct the request body and resubmit the request if it failed.",
    ),
}
"""Key -> severity, text with %1…, resolution: as the registry has them (checked by a test)."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message of the registry with its arguments."""

    key: str
    args: tuple[str, ...] = ()
    property: str | None = None
    """Name of the property that it is about, where it is about one."""

    def body(self) -> dict[str, Any]:
        """As a member of ``@Message.ExtendedInfo``."""
        severity, text, resolution = MESSAGES[self.key]
        for index, arg in enumerate(self.args, 1):
            text = text.replace(f"%{index}", arg)
        told: dict[str, Any] = {
            "@odata.type": f"#{MESSAGE_TYPE}",
            "MessageId": _PREFIX + self.key,
            "Message": text,
            "MessageArgs": list(self.args),
            "MessageSeverity": severity,
            "Resolution": resolution,
        }
        if self.property is not None:
            told["RelatedProperties"] = [f"#/{self.property}"]
        return told


def error(status: int, *messages: Message, headers: Headers = ()) -> Reply:
    """An error reply; with several messages the outer code is the registry's GeneralError, as DSP0266 asks."""
    told = [message.body() for message in messages]
    outer = told[0] if len(told) == 1 else Message("GeneralError").body()
    body = {"error": {"code": outer["MessageId"], "message": outer["Message"], "@Message.ExtendedInfo": told}}
    return Reply(status, (ODATA, JSON, NO_CACHE, *headers), msgspec.json.encode(body))
