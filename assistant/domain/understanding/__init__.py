"""From a text to a Reading: what is asked, about what, how sure, and why. Pure."""
