"""From a Reading and a Situation to a Decision: what to say and what to change. Pure."""
