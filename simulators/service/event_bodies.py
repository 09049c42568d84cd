"""What an event service says: itself, its subscriptions, its messages."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from simulators.service.eventwords import VERSIONS
from simulators.service.journal import Record
from simulators.service.live import iso
from simulators.service.offers import EventStyle
from simulators.service.query import Body
from simulators.service.subscriptions import Subscription
from simulators.service.tree import ROOT, Tree, link

EVENT_SERVICE = "/redfish/v1/EventService"
SUBSCRIPTIONS = f"{EVENT_SERVICE}/Subscriptions"
STREAM = f"{EVENT_SERVICE}/SSE"
TEST = f"{EVENT_SERVICE}/Actions/EventService.SubmitTestEvent"
RESUME = "Actions/EventDestination.ResumeSubscription"
RETRIES = 3
"""Further tries of a delivery that went wrong, before the subscription's policy decides."""
RETRY_INTERVAL = 5
"""Seconds between them."""


Entry: TypeAlias = Callable[[Record], "str | None"]


def add(tree: Tree, style: EventStyle) -> None:
    """Add the event service to a tree, and the link to it."""
    body: Body = {
        "ServiceEnabled": True,
        "DeliveryRetryAttempts": RETRIES,
        "DeliveryRetryIntervalSeconds": RETRY_INTERVAL,
        "EventFormatTypes": ["Event", "MetricReport"] if style.report_every else ["Event"],
        "RegistryPrefixes": list(VERSIONS),
        "SubordinateResourcesSupported": True,
        "ResourceTypes": sorted({schema(one.body) for one in tree.resources.values()}),
        "Status": {"State": "Enabled", "Health": "OK"},
        "Subscriptions": link(SUBSCRIPTIONS),
        "Actions": {"#EventService.SubmitTestEvent": {"target": TEST}},
    }
    if newer(style):
        body |= {
            "IncludeOriginOfConditionSupported": False,
            "ExcludeRegistryPrefix": False,
            "ExcludeMessageId": False,
            "OriginResourcesSupported": True,
            "Severities": ["OK", "Warning", "Critical"],
        }
    if style.streams:
        none = ("MetricReportDefinition", "RegistryPrefix", "ResourceType", "EventFormatType", "MessageId")
        body |= {
            "ServerSentEventUri": STREAM,
            "SSEFilterPropertiesSupported": dict.fromkeys((*none, "OriginResource", "SubordinateResources"), False),
        }
    tree.add(EVENT_SERVICE, style.service, "Event service", body)
    tree.resources[ROOT].body["EventService"] = link(EVENT_SERVICE)


def schema(body: Body) -> str:
    """Name of the schema of a resource."""
    return str(body["@odata.type"])[1:].partition(".")[0]


def newer(style: EventStyle) -> bool:
    """Whether the newest schemas are spoken."""
    return style.service == "EventService.v1_12_0.EventService"


def subscription_body(style: EventStyle, subscription: Subscription) -> Body:
    """A subscription as a resource."""
    path, wants = path_of(subscription), subscription.filter
    stream = subscription.destination is None
    body: Body = {
        "@odata.id": path,
        "@odata.type": f"#{style.destination}",
        "Id": subscription.id,
        "Name": f"Subscription {subscription.id}",
        "Protocol": "Redfish",
        "SubscriptionType": "SSE" if stream else "RedfishEvent",
        "EventFormatType": "MetricReport" if subscription.reports else "Event",
        "Context": subscription.context,
        "RegistryPrefixes": list(wants.prefixes),
        "MessageIds": list(wants.messages),
        "OriginResources": [link(one) for one in wants.origins],
        "SubordinateResources": wants.below,
        "ResourceTypes": list(wants.types),
        "Status": {"State": "Disabled" if subscription.suspended else "Enabled", "Health": "OK"},
    }
    if newer(style):
        body |= {"IncludeOriginOfCondition": False, "Severities": list(wants.severities)}
    if not stream:
        body |= {
            "Destination": subscription.destination,
            "DeliveryRetryPolicy": subscription.policy,
            # what they hold may be secret (DSP0268, EventDestination.HttpHeaders)
            "HttpHeaders": [],
            "Actions": {"#EventDestination.ResumeSubscription": {"target": f"{path}/{RESUME}"}},
        }
        if newer(style):
            body["VerifyCertificate"] = False
    return body


def message(style: EventStyle, subscription: Subscription, records: list[Record], entry: Entry) -> Body:
    """An event message of some records for a subscriber; ``entry`` gives the URI of a record's log entry."""
    context = {} if subscription.context is None else {"Context": subscription.context}
    return {
        "@odata.type": f"#{style.event}",
        "Id": str(records[-1].number),
        "Name": "Events",
        **context,
        "Events": [_record(style, record, str(index), entry) for index, record in enumerate(records)],
    }


def _record(style: EventStyle, record: Record, member: str, entry: Entry) -> Body:
    told: Body = {
        "MemberId": member,
        "EventType": "Alert" if record.severity != "OK" else "Other",
        "EventId": str(record.number),
        "EventTimestamp": iso(record.time),
        "EventGroupId": record.group,
        "Severity": record.severity,
        "MessageId": record.message,
        "MessageArgs": list(record.args),
        "Message": record.told,
    }
    if newer(style):
        told["MessageSeverity"] = record.severity
        told["Resolution"] = record.resolution
        kept = entry(record)
        if kept is not None:
            told["LogEntry"] = link(kept)
    if record.origin is not None:
        told["OriginOfCondition"] = link(record.origin)
    return told


def path_of(subscription: Subscription) -> str:
    """Where a subscription stands."""
    return f"{SUBSCRIPTIONS}/{subscription.id}"
