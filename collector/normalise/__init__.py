"""Redfish resources to model: sensors, statuses, indicators, containment."""
