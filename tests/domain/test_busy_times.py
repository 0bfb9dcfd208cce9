"""The detailer's own calendar, as other programs write it, becomes time that is not offered."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.domain.busy_times import read_busy
from assistant.domain.calendar_feed import feed
from assistant.domain.visits import Visit

ZONE = "America/New_York"
FIRST, LAST = date(2027, 3, 1), date(2027, 3, 31)


def calendar(*events: str, extra: str = "") -> bytes:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//someone else//EN", *extra.splitlines()]
    for number, event in enumerate(events):
        uid = [] if "UID:" in event else [f"UID:{number}@elsewhere"]
        lines += ["BEGIN:VEVENT", *uid, "DTSTAMP:20270101T000000Z", *event.splitlines(), "END:VEVENT"]
    return ("\r\n".join([*lines, "END:VCALENDAR"]) + "\r\n").encode()


def taken(octets: bytes, first: date = FIRST, last: date = LAST) -> list[str]:
    blocks = read_busy(octets, first, last, ZONE).blocks
    return [f"{busy.begins:%d %H:%M}-{busy.ends:%d %H:%M}" for _, busy in blocks]


@pytest.mark.parametrize(
    ("event", "expected"),
    [
        ("DTSTART:20270310T150000Z\nDTEND:20270310T160000Z", ["10 15:00-10 16:00"]),
        ("DTSTART;TZID=America/New_York:20270310T090000\nDURATION:PT90M", ["10 14:00-10 15:30"]),
        ("DTSTART:20270310T090000\nDTEND:20270310T100000", ["10 14:00-10 15:00"]),
        ("DTSTART;VALUE=DATE:20270310\nDTEND;VALUE=DATE:20270312", ["10 05:00-12 05:00"]),
        ("DTSTART;VALUE=DATE:20270314", ["14 05:00-15 04:00"]),
        ("DTSTART:20270310T150000Z\nDTEND:20270310T160000Z\nSTATUS:CANCELLED", []),
        ("DTSTART:20270310T150000Z\nDTEND:20270310T160000Z\nTRANSP:TRANSPARENT", []),
        ("DTSTART:20270410T150000Z\nDTEND:20270410T160000Z", []),
        ("DTSTART:20270228T150000Z\nDTEND:20270302T160000Z", ["28 15:00-02 16:00"]),
    ],
)
def test_one_event_takes_its_time(event: str, expected: list[str]) -> None:
    assert taken(calendar(event)) == expected


def test_what_repeats_stays_at_its_wall_hour_when_the_clocks_change() -> None:
    weekly = "DTSTART;TZID=America/New_York:20270304T090000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;COUNT=3"
    assert taken(calendar(weekly)) == ["04 14:00-04 15:00", "11 14:00-11 15:00", "18 13:00-18 14:00"]


def test_repetitions_that_are_left_out_moved_or_called_off() -> None:
    daily = (
        "UID:daily@elsewhere\nDTSTART:20270301T150000Z\nDTEND:20270301T160000Z\nRRULE:FREQ=DAILY;UNTIL=20270305T150000Z\n"
        "EXDATE:20270302T150000Z\nRDATE:20270320T150000Z"
    )
    moved = "UID:daily@elsewhere\nRECURRENCE-ID:20270303T150000Z\nDTSTART:20270303T190000Z\nDTEND:20270303T200000Z"
    off = "UID:daily@elsewhere\nRECURRENCE-ID:20270304T150000Z\nDTSTART:20270304T150000Z\nDTEND:20270304T160000Z\nSTATUS:CANCELLED"
    assert taken(calendar(daily, moved, off)) == [
        "01 15:00-01 16:00", "03 19:00-03 20:00", "05 15:00-05 16:00", "20 15:00-20 16:00",
    ]  # fmt: skip


def test_a_zone_that_the_file_defines_itself_is_used() -> None:
    zone = (
        "BEGIN:VTIMEZONE\nTZID:Dock time\nBEGIN:STANDARD\nDTSTART:19700101T000000\nTZOFFSETFROM:-0300\nTZOFFSETTO:-0300\n"
        "END:STANDARD\nEND:VTIMEZONE"
    )
    assert taken(calendar("DTSTART;TZID=Dock time:20270310T090000\nDURATION:PT1H", extra=zone)) == ["10 12:00-10 13:00"]


def test_a_broken_event_is_named_and_the_rest_is_read() -> None:
    good = "DTSTART:20270310T150000Z\nDTEND:20270310T160000Z"
    backwards = "UID:backwards@elsewhere\nDTSTART:20270310T150000Z\nDTEND:20270310T140000Z"
    endless = "UID:endless@elsewhere\nDTSTART:19700101T000000Z\nDURATION:PT1S\nRRULE:FREQ=SECONDLY"
    found = read_busy(calendar(good, backwards, endless), FIRST, LAST, ZONE)
    assert len(found.blocks) == 1
    assert [line.partition(":")[0] for line in found.unread] == ["backwards@elsewhere", "endless@elsewhere"]


def test_a_rule_from_long_ago_is_unrolled_to_the_days_asked_for() -> None:
    old = "DTSTART;TZID=America/New_York:19900105T070000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;BYDAY=FR"
    assert len(taken(calendar(old))) == 4


@pytest.mark.parametrize("octets", [b"", b"<html>not found</html>", b"\xff\xfe\x00", b"BEGIN:VCALENDAR\r\n"])
def test_what_is_no_calendar_is_refused_in_words(octets: bytes) -> None:
    with pytest.raises(ValueError, match="not a calendar"):
        read_busy(octets, FIRST, LAST, ZONE)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300), st.integers(0, 400))
def test_damaged_calendars_end_in_a_refusal_or_in_blocks(noise: bytes, at: int) -> None:
    whole = calendar("DTSTART:20270310T150000Z\nDTEND:20270310T160000Z\nRRULE:FREQ=DAILY;COUNT=3")
    try:
        found = read_busy(whole[:at] + noise + whole[at:], FIRST, LAST, ZONE)
    except ValueError:
        return
    assert all(busy.begins <= busy.ends for _, busy in found.blocks)


def test_our_own_feed_read_back_blocks_the_same_times() -> None:
    visits = [
        Visit(n, 1, (1,), "wash", 1, datetime(2027, 3, 13 + n, 13, tzinfo=UTC), datetime(2027, 3, 13 + n, 15, tzinfo=UTC), ZONE, "here")
        for n in range(3)
    ]
    octets = feed(visits, "name", lambda visit: "wash", "example.org", datetime(2027, 3, 1, tzinfo=UTC))
    blocks = read_busy(octets, FIRST, LAST, ZONE).blocks
    assert [(busy.begins, busy.ends) for _, busy in blocks] == [(visit.begins, visit.ends) for visit in visits]
