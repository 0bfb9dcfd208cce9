"""Our feed in the hands of readers that are not ours: each must find the same instants, in every zone, across DST."""

from __future__ import annotations

import json
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream

from assistant.domain.calendar_feed import feed, one_visit
from assistant.domain.visits import Visit, VisitState

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
READERS = Path(__file__).with_name("readers")
ZONES = ("America/New_York", "Europe/London", "Australia/Sydney", "America/Santiago")


def visit(number: int, begins: datetime, zone: str = ZONES[0], **other: object) -> Visit:
    values = {"place": "Pelican Slough", "uid": f"visit-{number}@example.org", "revised_at": NOW, **other}
    return Visit(number, 1, (1,), "wash", 1, begins, begins + timedelta(hours=2), zone, **values)  # type: ignore[arg-type]


def around_the_change(zone: str) -> list[datetime]:
    """Nine in the morning on every day of the two weeks in which the clocks change, twice a year."""
    days = []
    for month in (3, 4, 9, 10, 11):
        for day in range(1, 29):
            begins = datetime(2027, month, day, 9, tzinfo=ZoneInfo(zone))
            if begins.utcoffset() != (begins - timedelta(days=3)).utcoffset() or (
                begins.utcoffset() != (begins + timedelta(days=3)).utcoffset()
            ):
                days.append(begins.astimezone(UTC))
    assert len({begins.hour for begins in days}) == 2, "the clocks change within these days"
    return days


def feed_of(visits: list[Visit]) -> str:
    return feed(visits, "Fernwake Boat Care", lambda one: f"Wash; visit {one.id}, ñandú\\", "example.org", NOW).decode()


@pytest.mark.parametrize("zone", ZONES)
def test_two_python_readers_find_every_instant_across_the_change_of_clocks(zone: str) -> None:
    visits = [visit(number, begins, zone) for number, begins in enumerate(around_the_change(zone))]
    text = feed_of(visits)
    by_vobject = vobject.readOne(text)
    by_vobject.validate(raiseException=True)
    found = {str(event.uid.value): event.dtstart.value for event in by_vobject.vevent_list}
    strict = {event.uid: event.dtstart for event in IcsCalendarStream.calendar_from_ics(text).events}
    assert found == strict == {one.uid: one.begins for one in visits}


def test_a_reader_in_another_language_finds_every_instant_across_the_change_of_clocks() -> None:
    node = shutil.which("node")
    if node is None or not (READERS / "node_modules").is_dir():
        pytest.skip("needs node and: npm install --prefix tests/standards/readers")
    instants = [(zone, begins) for zone in ZONES for begins in around_the_change(zone)]
    visits = [visit(number, begins, zone) for number, (zone, begins) in enumerate(instants)]
    visits.append(visit(999, NOW, state=VisitState.CALLED_OFF, sequence=3))
    told = subprocess.run([node, READERS / "read_calendar.mjs"], input=feed_of(visits).encode(), capture_output=True, check=True)
    events = {event["uid"]: event for event in json.loads(told.stdout)}
    assert {uid: datetime.fromisoformat(event["begins"]) for uid, event in events.items()} == {one.uid: one.begins for one in visits}
    assert {uid: datetime.fromisoformat(event["ends"]) for uid, event in events.items()} == {one.uid: one.ends for one in visits}
    assert (events[visits[-1].uid]["status"], events[visits[-1].uid]["sequence"]) == ("CANCELLED", 3)
    assert events[visits[0].uid]["summary"] == "Wash; visit 0, ñandú\\"


@settings(max_examples=60, deadline=None)
@given(st.text(min_size=1, max_size=120), st.text(max_size=120))
def test_lines_keep_the_standard_whatever_the_words(summary: str, place: str) -> None:
    """CRLF only, at most 75 octets, whole characters, DTSTAMP in UTC, VERSION once, one DTSTART, control signs gone."""
    octets = one_visit(visit(1, NOW, place=place), lambda _: summary, "example.org", NOW)
    assert b"\n" not in octets.replace(b"\r\n", b"")
    assert b"\r" not in octets.replace(b"\r\n", b"")
    for line in octets.split(b"\r\n"):
        assert len(line) <= 75
        assert not any(octet < 32 and octet != 9 for octet in line)
        line.decode()
    lines = octets.replace(b"\r\n ", b"").decode().split("\r\n")
    assert [line for line in lines if line.startswith(("VERSION", "DTSTAMP", "DTSTART", "PRODID"))] == [
        "VERSION:2.0", "PRODID:-//boat aftercare//visits//EN", "DTSTART:20270301T120000Z", "DTSTAMP:20270301T120000Z",
    ]  # fmt: skip
    vobject.readOne(octets.decode()).validate(raiseException=True)


def test_the_single_file_and_the_feed_are_the_same_event() -> None:
    alone = vobject.readOne(one_visit(visit(5, NOW), str, "example.org", NOW).decode())
    assert alone.vevent.uid.value == vobject.readOne(feed_of([visit(5, NOW)])).vevent.uid.value
