"""First floor: what sends. One small protocol (carrier.py) and three that keep it: Twilio, the screen, memory."""
