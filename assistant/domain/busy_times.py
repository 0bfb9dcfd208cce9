"""Busy times out of any standard calendar (RFC 5545): the detailer's own appointments, which block what is offered.

Events that repeat are unrolled on the wall clock of their own zone, so that a weekly 9 o'clock stays at 9 when the
clocks change. Cancelled events and those marked as free (TRANSP:TRANSPARENT) take no time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr
from icalendar import Calendar

from assistant.domain.visits import Busy

MOST_REPEATS = 20_000
"""No rule is unrolled further: a calendar that repeats more often than that is no one's diary."""
DAYS_AND_LONGER = frozenset({"DAILY", "WEEKLY", "MONTHLY", "YEARLY"})
WHOLE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class BusyTimes:
    """What a calendar says. `blocks` are (uid, stretch) pairs by time; `unread` names events that could not be read."""

    blocks: tuple[tuple[str, Busy], ...]
    unread: tuple[str, ...] = ()


def read_busy(octets: bytes, first: date, last: date, zone: str, crew: int = 0) -> BusyTimes:
    """Stretches between two days of the business's zone (`last` included). Floating times are in that zone.

    Raises ValueError when it is no calendar at all.
    """
    home = ZoneInfo(zone)
    begins, ends = (datetime.combine(day, time(), home) for day in (first, last + WHOLE_DAY))
    blocks: list[tuple[str, Busy]] = []
    unread: list[str] = []
    for uid, series in _series(octets).items():
        try:
            blocks += [(uid, Busy(crew, start, end)) for start, end in _taken(series, begins, ends, home)]
        except (ValueError, TypeError, KeyError, OverflowError) as fault:
            unread.append(f"{uid}: {fault}")
    return BusyTimes(tuple(sorted(blocks, key=lambda pair: (pair[1].begins, pair[0]))), tuple(unread))


def _series(octets: bytes) -> dict[str, list[Any]]:
    """Events by UID: one that repeats, and the single ones that replace a repetition."""
    try:
        calendars = Calendar.from_ical(octets, multiple=True)
    except (ValueError, IndexError, KeyError, TypeError) as fault:
        raise ValueError(f"this is not a calendar in the iCalendar format: {fault}") from fault
    if not calendars:
        raise ValueError("this is not a calendar in the iCalendar format: it is empty")
    series: dict[str, list[Any]] = {}
    for number, event in enumerate(event for calendar in calendars for event in calendar.walk("VEVENT")):
        series.setdefault(str(event.get("UID") or f"event {number + 1}"), []).append(event)
    return series


def _taken(series: Iterable[Any], first: datetime, after: datetime, home: ZoneInfo) -> Iterator[tuple[datetime, datetime]]:
    """Stretches of one series that touch [first, after)."""
    events = list(series)
    replaced = {_instant(event["RECURRENCE-ID"].dt, home) for event in events if "RECURRENCE-ID" in event}
    for event in events:
        if _takes_no_time(event):
            continue
        length = _length(event)
        single = "RECURRENCE-ID" in event
        starts = [event["DTSTART"].dt] if single else _starts(event, after, home)
        for start in starts:
            begins = _instant(start, home)
            ends = _end_of(start, length, home)
            if (single or begins not in replaced) and begins < after and ends > first:
                yield begins, ends


def _takes_no_time(event: Any) -> bool:
    return str(event.get("STATUS", "")).upper() == "CANCELLED" or str(event.get("TRANSP", "")).upper() == "TRANSPARENT"


def _length(event: Any) -> timedelta:
    """DTEND or DURATION; without both, a day for a date and nothing for a time (3.6.1)."""
    start = event["DTSTART"].dt
    if "DTEND" in event:
        end = event["DTEND"].dt
        if isinstance(end, datetime) and isinstance(start, datetime) and end.tzinfo and start.tzinfo:
            length: timedelta = end.astimezone(UTC) - start.astimezone(UTC)
        else:
            length = end - start
    elif "DURATION" in event:
        length = event["DURATION"].dt
    else:
        length = timedelta(0) if isinstance(start, datetime) else WHOLE_DAY
    if length < timedelta(0):
        raise ValueError("it ends before it begins")
    return length


def _starts(event: Any, after: datetime, home: ZoneInfo) -> Iterator[date]:
    """The start and every repetition before `after`, without the dates that are left out."""
    start = event["DTSTART"].dt
    left_out = {_instant(one.dt, home) for listed in _as_list(event.get("EXDATE")) for one in listed.dts}
    added = [one.dt for listed in _as_list(event.get("RDATE")) for one in listed.dts]
    seen: set[datetime] = set()
    for one in (*_repeated(event, start, after), *added):
        instant = _instant(one, home)
        if instant not in left_out and instant not in seen:
            seen.add(instant)
            yield one


def _repeated(event: Any, start: date, after: datetime) -> list[date]:
    """The start and what its RRULE makes of it, on the wall clock of the event."""
    if "RRULE" not in event:
        return [start]
    zone = start.tzinfo if isinstance(start, datetime) else None
    wall = start.replace(tzinfo=None) if isinstance(start, datetime) else datetime.combine(start, time())
    limit = after.replace(tzinfo=None) + WHOLE_DAY
    walls = {wall}
    for rule in _as_list(event["RRULE"]):
        if str(rule["FREQ"][0]).upper() not in DAYS_AND_LONGER:
            raise ValueError(f"it repeats {rule['FREQ'][0]}, which is no appointment")
        if "UNTIL" in rule:
            rule["UNTIL"] = [_wall_until(until, zone) for until in rule["UNTIL"]]
        unrolled = rrulestr(rule.to_ical().decode(), dtstart=wall)
        for repeat in islice(unrolled, MOST_REPEATS):
            if repeat > limit:
                break
            walls.add(repeat)
    if not isinstance(start, datetime):
        return sorted(one.date() for one in walls)
    return sorted(one.replace(tzinfo=zone) for one in walls)


def _wall_until(until: date, zone: Any) -> datetime:
    """UNTIL is in UTC where the start has a zone (3.3.10); unrolling needs it on the same wall clock."""
    if not isinstance(until, datetime):
        return datetime.combine(until, time(23, 59, 59))
    return until.astimezone(zone).replace(tzinfo=None) if until.tzinfo and zone else until.replace(tzinfo=None)


def _end_of(start: date, length: timedelta, home: ZoneInfo) -> datetime:
    """The end of one repetition: whole days end at midnight on the wall, hours last as long as they last."""
    if isinstance(start, datetime):
        return _instant(start, home) + length
    return _instant(start + length, home)


def _instant(moment: date, home: ZoneInfo) -> datetime:
    """A date or time of the calendar as an aware UTC instant."""
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time())
    return (moment if moment.tzinfo else moment.replace(tzinfo=home)).astimezone(UTC)


def _as_list(value: Any) -> list[Any]:
    if value is None:
        return []
    return value if isinstance(value, list) else [value]
