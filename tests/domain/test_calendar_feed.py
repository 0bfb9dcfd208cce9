"""The calendar feed against RFC 5545 and two independent readers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import vobject
from ical.calendar_stream import IcsCalendarStream

from assistant.domain.calendar_feed import feed
from assistant.domain.visits import Visit, VisitState

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
SPRING = Visit(
    7, 1, (1,), "wash", 1, datetime(2027, 3, 15, 13, tzinfo=UTC), datetime(2027, 3, 15, 16, tzinfo=UTC),
    "America/New_York", "Pelican Slough; slip 4, ñandú", uid="visit-7@example.org", revised_at=NOW,
)  # fmt: skip


def text_of(*visits: Visit) -> bytes:
    return feed(visits, "Fernwake Boat Care", lambda visit: f"Wash, Sea Thistle\\ {'long ' * 30}ñ", "example.org", NOW)


def test_lines_keep_the_rules() -> None:
    """Section 3.1: CRLF, at most 75 octets, no cut character; 3.6: VERSION and PRODID once; 3.8.7.2: DTSTAMP in UTC."""
    octets = text_of(SPRING)
    assert b"\n" not in octets.replace(b"\r\n", b"")
    for line in octets.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()
    unfolded = octets.replace(b"\r\n ", b"").decode()
    assert unfolded.count("VERSION:2.0") == unfolded.count("PRODID:") == 1
    assert "DTSTAMP:20270301T120000Z" in unfolded
    assert "DTSTART:20270315T130000Z" in unfolded
    assert "LOCATION:Pelican Slough\\; slip 4\\, ñandú" in unfolded
    assert "UID:visit-7@example.org" in unfolded


def test_two_readers_agree_on_the_instant() -> None:
    octets = text_of(SPRING)
    read = vobject.readOne(octets.decode())
    read.validate(raiseException=True)
    assert read.vevent.dtstart.value == SPRING.begins
    [event] = IcsCalendarStream.calendar_from_ics(octets.decode()).events
    assert event.dtstart == SPRING.begins
    assert event.dtend == SPRING.ends


def test_a_visit_called_off_stays_for_a_while() -> None:
    off = replace(SPRING, state=VisitState.CALLED_OFF, sequence=2)
    assert b"STATUS:CANCELLED" in text_of(off)
    assert b"SEQUENCE:2" in text_of(off)
    assert b"VEVENT" not in text_of(replace(off, revised_at=NOW - timedelta(days=90)))


@pytest.mark.parametrize("day", [14, 15])
def test_the_hour_before_and_after_the_clocks_change(day: int) -> None:
    begins = datetime(2027, 3, day, 13, tzinfo=UTC)
    assert f"DTSTART:202703{day}T130000Z".encode() in text_of(replace(SPRING, begins=begins))
