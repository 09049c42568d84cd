"""Redfish services over HTTPS that tell of simulated sleds.

``service`` answers one request with one reply, as DSP0266 asks, without I/O; ``tree`` holds the bodies that ``modern``,
``classic``, ``both`` and ``shelf`` write and ``odd`` spoils; ``dialects`` lists who speaks how; ``wire`` spoils answers
by name, some with ``bombs``; ``server`` brings it all onto loopback ports, ``inprocess`` into an httpx client without.
"""
