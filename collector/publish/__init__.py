"""Towards others: Prometheus and OpenMetrics, MQTT."""
