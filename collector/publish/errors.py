"""What can keep a publisher from starting.

::

    PublishError
    ├── ListenError      the address can't be listened on
    └── BrokerSetup      the broker can't even be tried: TLS files, credentials

A broker that is away is none of these: the publisher tries again, and tells in its statistics.
"""

from __future__ import annotations


class PublishError(Exception):
    """A publisher can't start; the message says what to change."""


class ListenError(PublishError):
    """The address for metrics and health can't be listened on."""


class BrokerSetup(PublishError):
    """The MQTT section can't be used as it stands."""
