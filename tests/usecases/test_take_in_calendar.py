"""A calendar of the business's own blocks time, and the next look at it replaces what the last one said."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.business import Business
from assistant.domain.slots import Work, free_slots
from assistant.domain.visits import Slot, TimeWish
from assistant.settings import Settings
from assistant.storage.database import Database
from assistant.storage.visits import load_diary
from assistant.usecases.take_in_calendar import take_in_calendar
from tests.hand_made import NO_KNOWLEDGE


def calendar(*events: str) -> bytes:
    body = "".join(f"BEGIN:VEVENT\r\nUID:{n}@own\r\nDTSTAMP:20270101T000000Z\r\n{event}\r\nEND:VEVENT\r\n" for n, event in enumerate(events))
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//own//EN\r\n{body}END:VCALENDAR\r\n".encode()


@pytest.fixture
def app(database: Database, business: Business, tmp_path: Path) -> Assistant:
    return Assistant(Settings(home=tmp_path, database_url=""), database, business, NO_KNOWLEDGE, MemoryCarrier())


def first_free(app: Assistant, now: datetime) -> Slot:
    with app.database.reading(1) as tx:
        diary = load_diary(tx, now.date(), now.date() + timedelta(days=30), now)
    return free_slots(app.business, diary, Work("Pelican Slough", 120), TimeWish(), now, 1)[0]


def test_own_appointments_are_not_offered_until_they_are_gone(app: Assistant, now: datetime) -> None:
    """Dentist all Wednesday, then a weekly morning; the third look finds the calendar empty."""
    assert first_free(app, now).begins.day == 5
    taken = take_in_calendar(app, "own", calendar("DTSTART;VALUE=DATE:20270505"), now)
    assert (taken.stretches, first_free(app, now).begins.day) == (1, 6)
    weekly = "DTSTART;TZID=America/New_York:20270505T080000\r\nDURATION:PT3H\r\nRRULE:FREQ=WEEKLY"
    taken = take_in_calendar(app, "own", calendar(weekly), now)
    assert taken.stretches == 58
    assert (first_free(app, now).begins.day, first_free(app, now).begins.hour) == (5, 15)  # 11 am
    with pytest.raises(ValueError, match="not a calendar"):
        take_in_calendar(app, "own", b"<html>", now)
    assert take_in_calendar(app, "own", calendar(), now).stretches == 0
    assert first_free(app, now).begins.day == 5


def test_two_calendars_do_not_replace_each_other(app: Assistant, now: datetime) -> None:
    take_in_calendar(app, "own", calendar("DTSTART;VALUE=DATE:20270505"), now)
    take_in_calendar(app, "club", calendar("DTSTART;VALUE=DATE:20270506"), now)
    assert first_free(app, now).begins.day == 7
