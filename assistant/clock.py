"""The only module that reads the clock. Everything below the doors gets `now` as an argument."""

from __future__ import annotations

from datetime import UTC, datetime


def utc_now() -> datetime:
    """The present moment, aware, in UTC."""
    return datetime.now(UTC)
