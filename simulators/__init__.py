"""An invented fleet: layout, physics, faults, and the Redfish services that tell of it."""
