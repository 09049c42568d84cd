"""Towards others: Prometheus and OpenMetrics over HTTP (``http``, ``metrics``), MQTT (``mqtt``).

Both read the live state (:class:`collector.store.live.Live`); nothing they do slows the poll loop by more than a slice.
"""
