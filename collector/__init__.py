"""The collector: polls Redfish controllers, works out what is wrong, keeps, publishes and reports it."""
