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

Told = Callable[[Visit], str]


def feed(
    visits: Iterable[Visit], name: str, summary: Told, host: str, now: datetime, details: Told | None = None
) -> bytes:
    """The feed's text as octets. `summary` gives the line a phone shows, `details` what stands below it; `host` makes
    UIDs worldwide unique."""
    calendar = _calendar()
    calendar.add("name", clean(name))
    calendar.add("x-wr-calname", clean(name))
    calendar.add("refresh-interval", EVERY, parameters={"value": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    for visit in visits:
        gone = visit.state is VisitState.CALLED_OFF
        if not gone or now - (visit.revised_at or visit.begins) < CALLED_OFF_SHOWN:
            calendar.add_component(_event(visit, summary, details, host, now))
    return bytes(calendar.to_ical())


def one_visit(visit: Visit, summary: Told, host: str, now: datetime, details: Told | None = None) -> bytes:
    """A file with a single visit, to be opened once. The same UID as in the feed: no phone shows it twice."""
    calendar = _calendar()
    calendar.add_component(_event(visit, summary, details, host, now))
    return bytes(calendar.to_ical())


def _calendar() -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", MAKER)
    calendar.add("version", "2.0")
    return calendar


def _event(visit: Visit, summary: Told, details: Told | None, host: str, now: datetime) -> Event:
    """DTSTAMP is when the visit was last revised, as for any event without a METHOD (3.8.7.2)."""
    gone = visit.state is VisitState.CALLED_OFF
    event = Event()
    event.add("uid", visit.uid or f"visit-{visit.id}@{host}")
    event.add("dtstamp", (visit.revised_at or now).astimezone(UTC))
    event.add("sequence", visit.sequence)
    event.add("dtstart", visit.begins.astimezone(UTC))
    event.add("dtend", visit.ends.astimezone(UTC))
    event.add("summary", clean(summary(visit)))
    event.add("status", "CANCELLED" if gone else "CONFIRMED")
    event.add("transp", "TRANSPARENT" if gone else "OPAQUE")
    if visit.place:
        event.add("location", clean(visit.place))
    if details is not None and (text := clean(details(visit))):
        event.add("description", text)
    return event
