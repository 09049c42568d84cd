"""What it means: pure, clock-free functions from model to conditions, rollups and lamps.

``watch.Watch`` holds one controller's state and is fed its inventories and rounds; it stands on ``crossing`` (one
sensor against its thresholds, with ``delays``), ``judge`` (one part: what is wrong, each trouble once), ``gaps``
(readings that stopped coming), ``book`` (what is open; ``chatter`` says what it holds), ``attending`` (what follows
from what, by ``consequences`` and ``outages``, and what people did, by ``care``), ``tree`` (containment and dependency)
and ``rollup``. ``lamps`` holds the tables of the OCP Panel Indicator Specification.
"""
