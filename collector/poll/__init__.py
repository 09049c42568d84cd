"""When to ask whom for what: plan, schedule, one keeper a controller."""
