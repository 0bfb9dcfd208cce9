"""Visits as an iCalendar feed (RFC 5545). All times are UTC, so no time zone definition can shift them.

A visit keeps its UID for life, its SEQUENCE goes up with each change (3.8.7.4), and one that was called off stays
listed as CANCELLED for a while (3.8.1.11). Folding at 75 octets, CRLF and escapes come from the icalendar library.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta

from icalendar import Calendar, Event

from assistant.domain.sms import clean
from assistant.domain.visits import Visit, VisitState

MAKER = "-//boat aftercare//visits//EN"
EVERY = timedelta(hours=1)
"""How often readers are asked to look again (REFRESH-INTERVAL, RFC 7986 section 5.7)."""
CALLED_OFF_SHOWN = timedelta(days=60)


def feed(visits: Iterable[Visit], name: str, summary: Callable[[Visit], str], host: str, now: datetime) -> bytes:
    """The feed's text as octets. `summary` gives the line a phone shows; `host` makes the UIDs worldwide unique."""
    calendar = Calendar()
    calendar.add("prodid", MAKER)
    calendar.add("version", "2.0")
    calendar.add("name", clean(name))
    calendar.add("x-wr-calname", clean(name))
    calendar.add("refresh-interval", EVERY, parameters={"value": "DURATION"})
    for visit in visits:
        gone = visit.state is VisitState.CALLED_OFF
        if not gone or now - (visit.revised_at or visit.begins) < CALLED_OFF_SHOWN:
            calendar.add_component(_event(visit, summary(visit), host, now))
    return bytes(calendar.to_ical())


def _event(visit: Visit, summary: str, host: str, now: datetime) -> Event:
    event = Event()
    event.add("uid", visit.uid or f"visit-{visit.id}@{host}")
    event.add("dtstamp", (visit.revised_at or now).astimezone(UTC))
    event.add("sequence", visit.sequence)
    event.add("dtstart", visit.begins.astimezone(UTC))
    event.add("dtend", visit.ends.astimezone(UTC))
    event.add("summary", clean(summary))
    event.add("status", "CANCELLED" if visit.state is VisitState.CALLED_OFF else "CONFIRMED")
    if visit.place:
        event.add("location", clean(visit.place))
    return event
