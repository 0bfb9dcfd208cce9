"""Top floor: translates between the world and the use cases, and holds no rules."""
