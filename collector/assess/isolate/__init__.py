"""Fault isolation: which replaceable part most probably explains what is seen, and how sure that is."""

from __future__ import annotations

from collector.assess.isolate.isolation import Isolation

__all__ = ["Isolation"]
