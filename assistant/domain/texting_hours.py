"""At which hours a text of ours may leave: the business's own, held to the law's, in every zone the client may be in.

Hours are half-open, [opens, closes), counted for each wall day of each zone, so that clock changes move nothing. The
law's rows stand in knowledge/hours.csv; texts that ask to buy also rest on public holidays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TypeAlias
from zoneinfo import ZoneInfo

import holidays
import phonenumbers
from phonenumbers import timezone as number_zones

from assistant.domain.area_codes import state_of
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge, TextingHours

Hours: TypeAlias = tuple[time, time]
Week: TypeAlias = tuple[Hours | None, ...]
"""Hours by weekday, 0 = Monday; None where nothing may leave."""

MARKETING = "marketing"
EVERYWHERE = "any"
"""The country of the rows that say on which weekdays we text; their hours are those of business.toml."""
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
TOO_MANY_ZONES = 4
"""A number that could be in more zones than this says nothing about where its owner is."""
DAYS_AHEAD = 14
"""Longer than any run of holidays and Sundays."""
_PART_OF = dict.fromkeys(("PR", "VI", "GU", "AS", "MP"), "US")
"""Territories under the law of another row."""


def next_window(
    now: datetime, consent: str, situation: Situation, knowledge: Knowledge
) -> tuple[datetime, datetime] | None:
    """From the first moment, now or later, at which the hour is fit in every zone of the client, to its end (UTC).

    None when there is no such moment in the next two weeks: zones too far apart, or hours the law leaves none of.
    """
    week = week_of(consent, situation, knowledge)
    zones = [ZoneInfo(key) for key in sorted(candidate_zones(situation))]
    rests = _holidays_of(situation, knowledge) if consent == MARKETING else None
    for moment in sorted({now, *_openings(now, week, zones)}):
        ends = [_end_of_hours(moment, week, zone, rests) for zone in zones]
        if None not in ends:
            return moment, min(end for end in ends if end)
    return None


def candidate_zones(situation: Situation) -> frozenset[str]:
    """Where the client may be: the zone on record (the business's for a stranger) and those of the number."""
    on_record = situation.client.zone if situation.client and situation.client.zone else situation.business.zone
    return frozenset({on_record}) | _zones_of(situation.sender)


@lru_cache(maxsize=4096)
def _zones_of(number: str) -> frozenset[str]:
    """The zones in which a number may be at home; none where it says too little."""
    try:
        found = number_zones.time_zones_for_number(phonenumbers.parse(number, None))
    except phonenumbers.NumberParseException:
        return frozenset()
    known = frozenset(found) - {"Etc/Unknown"}
    return known if len(known) <= TOO_MANY_ZONES else frozenset()


def week_of(consent: str, situation: Situation, knowledge: Knowledge) -> Week:
    """The business's hours, held to every legal row that may apply to this client."""
    business = situation.business
    own = business.marketing_window if consent == MARKETING else business.service_window
    rows = [row for row in knowledge.hours if row.kind == consent]
    days = {day for row in rows if row.country == EVERYWHERE for day in row.days.split(";")}
    days = days or set(WEEKDAYS[:6] if consent == MARKETING else WEEKDAYS)
    country = country_of(situation)
    law = [row for row in rows if row.country == country]
    states = {state_of(situation.sender), state_of(business.number)} & {row.state for row in law}
    regions = [[row for row in law if row.state == state] for state in sorted(states | {""})]
    return tuple(_day_hours(day, own, [region for region in regions if region]) if day in days else None
                 for day in WEEKDAYS)  # fmt: skip


def country_of(situation: Situation) -> str:
    """The country whose law and holidays count for the client."""
    country = (situation.client.country if situation.client else "") or situation.business.country
    return _PART_OF.get(country, country)


@lru_cache(maxsize=256)
def public_holidays(country: str, state: str, year: int) -> frozenset[date]:
    """Public holidays of a country, and besides those of a state if its calendar knows it; none if it knows neither.

    A state's calendar may leave out days that the rest of the country keeps: both count.
    """
    try:
        national = holidays.country_holidays(country, years=year)
    except NotImplementedError:
        return frozenset()
    if state not in national.subdivisions:
        return frozenset(national)
    return frozenset(national) | frozenset(holidays.country_holidays(country, subdiv=state, years=year))


def _day_hours(day: str, own: Hours, regions: Sequence[Sequence[TextingHours]]) -> Hours | None:
    """What is left of our own hours on one weekday. A region with rows but none for this day forbids it."""
    opens, closes = own
    for region in regions:
        today = [row for row in region if day in row.days.split(";")]
        if not today:
            return None
        opens = max(opens, *(time.fromisoformat(row.start) for row in today))
        closes = min(closes, *(time.fromisoformat(row.end) for row in today))
    return (opens, closes) if opens < closes else None


def _holidays_of(situation: Situation, knowledge: Knowledge) -> tuple[str, str]:
    """The calendar of the client's country and state."""
    country = country_of(situation)
    row = knowledge.countries.get(country)
    return (row.holidays if row and row.holidays else country), state_of(situation.sender)


def _openings(now: datetime, week: Week, zones: Sequence[ZoneInfo]) -> Iterator[datetime]:
    """Every moment of the next days at which the hours begin somewhere; by wall date, so clock changes are right."""
    for zone in zones:
        today = now.astimezone(zone).date()
        for days in range(DAYS_AHEAD):
            day = today + timedelta(days=days)
            hours = week[day.weekday()]
            if hours:
                moment = datetime.combine(day, hours[0], zone).astimezone(UTC)
                if moment > now:
                    yield moment


def _end_of_hours(moment: datetime, week: Week, zone: ZoneInfo, rests: tuple[str, str] | None) -> datetime | None:
    """When the hours that hold `moment` in this zone end; None when it is no fit hour there."""
    day = moment.astimezone(zone).date()
    hours = week[day.weekday()]
    if hours is None or (rests and day in public_holidays(*rests, day.year)):
        return None
    opens, closes = (datetime.combine(day, hour, zone).astimezone(UTC) for hour in hours)
    return closes if opens <= moment < closes else None
