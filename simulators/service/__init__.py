"""Redfish services over HTTPS that tell of simulated sleds.

``service`` answers one request with one reply, as DSP0266 asks, without I/O; ``tree`` holds the bodies that ``modern``
and ``classic`` write; ``wire`` spoils answers by name; ``server`` brings it all onto loopback ports, ``inprocess`` into
an httpx client without any.
"""
