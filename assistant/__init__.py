"""Aftercare assistant for boat detailers: from an owner's text to a right, personal, short answer."""

__version__ = "1.0.0"
