"""Faults of network adapters, cables and switches."""

from __future__ import annotations

from simulators.faults.fault import Fault

FAULTS: tuple[Fault, ...] = ()
