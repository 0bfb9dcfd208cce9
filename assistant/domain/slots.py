"""Free times of a calendar: every rule of the day, and among the times that keep them all the ones that suit best.

The search is exact: a time is offered only if no rule speaks against it, and no better one is left out. It is fast
because days are tried in the order of waiting, and a day that would cost more by its waiting alone is not looked at.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import holidays

from assistant.domain.business import Business, Place
from assistant.domain.daylight import daylight
from assistant.domain.driving import drive_minutes, place_called
from assistant.domain.people import Kept, Vessel
from assistant.domain.visits import Busy, Slot, TimeWish

WAIT_COST = 10
"""A day of waiting weighs as much as this many minutes of driving."""
HURRY_COST = 1000
"""The same for who wants the soonest time there is."""
ODD_QUARTER_COST = 2
"""A quarter past or to the hour is offered when it saves more than this."""
LATER_COST = 1
"""An hour later in the day weighs this much."""
COATING_CURE_HOURS = 12
"""Work that cures this long is a coating: it may be done while a boat is laid up; washing there is pointless."""
STEP = 15
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Diary:
    """What is taken between two days: visits, holds of others, the detailer's own busy times."""

    busy: tuple[Busy, ...]
    first: date
    last: date


class Obstacle(Enum):
    """What stands against a wish, the plainest first."""

    FAR = "far"
    CLOSED = "closed"
    PLACE = "place"
    SEASON = "season"
    NOTICE = "notice"
    SHORT = "short"
    HOURS = "hours"
    FULL = "full"


@dataclass(frozen=True, slots=True)
class Work:
    """What a visit must hold: where, how long, and the rules that come with the kind of work and the boats."""

    place: str
    minutes: int
    outdoor: bool = True
    cure_hours: int = 0
    vessels: tuple[Vessel, ...] = ()


class _Stop(NamedTuple):
    """A taken stretch in minutes since 1970, with the drive between it and the place of the work."""

    begins: int
    ends: int
    place: str
    drive: int


class _Found(NamedTuple):
    """One possible time; the lowest in order is the best."""

    cost: float
    begins: int
    crew: int
    why: str


def free_slots(
    business: Business, diary: Diary, work: Work, wish: TimeWish, now: datetime, count: int = 3
) -> tuple[Slot, ...]:
    """Up to `count` free times that keep every rule and the wish, in order of time.

    They fall on different days while there are enough days; else further times of the same days, two hours apart.
    """
    search = _Search(business, diary, work, wish, now)
    by_day: list[list[_Found]] = []
    bests: list[float] = []
    for waited, day in enumerate(search.days()):
        if len(bests) >= count and bests[count - 1] < search.weight * waited:
            break
        found = sorted(search.on(day, waited))
        if found:
            by_day.append(found)
            bests = sorted([*bests, found[0].cost])
    chosen = sorted(found[0] for found in by_day)[:count]
    if len(chosen) < count:
        chosen = _filled_up(chosen, by_day, count)
    return tuple(search.slot(one) for one in sorted(chosen, key=lambda one: one.begins))


def is_free(business: Business, diary: Diary, work: Work, slot: Slot, now: datetime) -> bool:
    """True when a time keeps every rule. `now` is the moment at which it was offered: notice counts from there."""
    search = _Search(business, diary, work, TimeWish(), now)
    day = slot.begins.astimezone(search.zone).date()
    return any((one.crew, one.begins) == (slot.crew, _minutes(slot.begins)) for one in search.on(day, 0))


def obstacle(business: Business, diary: Diary, work: Work, wish: TimeWish, now: datetime) -> Obstacle:
    """Why there is no free time as wished."""
    search = _Search(business, diary, work, wish, now)
    days = [day for day in search.days() if wanted(wish, day)]
    if not days:
        return Obstacle.FAR
    for rule, stands_against in (
        (search.is_working_day, Obstacle.CLOSED), (search.is_day_of_place, Obstacle.PLACE), (search.boats_are_ready, Obstacle.SEASON),
    ):  # fmt: skip
        days = [day for day in days if rule(day)]
        if not days:
            return stands_against
    with_notice = [window for day in days if (window := search.window(day))]
    if search.any_start(with_notice):
        return Obstacle.FULL
    search.earliest = 0
    windows = [window for day in days if (window := search.window(day))]
    if search.any_start(windows):
        return Obstacle.NOTICE
    return Obstacle.HOURS if any(ends - begins >= work.minutes for begins, ends in windows) else Obstacle.SHORT


def opened_up(diary: Diary, slot: Slot) -> Diary:
    """The diary without one stretch: for the visit that is to move, its own time is free."""
    taken = (slot.crew, slot.begins, slot.ends)
    return replace(diary, busy=tuple(busy for busy in diary.busy if (busy.crew, busy.begins, busy.ends) != taken))


def _filled_up(chosen: list[_Found], by_day: Sequence[Sequence[_Found]], count: int) -> list[_Found]:
    """Further times of the same days, the best first, none within two hours of another."""
    for one in sorted(one for found in by_day for one in found):
        if len(chosen) < count and all(abs(one.begins - other.begins) >= 120 for other in chosen):
            chosen.append(one)
    return chosen


class _Search:
    """The rules of one search, prepared once."""

    def __init__(self, business: Business, diary: Diary, work: Work, wish: TimeWish, now: datetime) -> None:
        self.business, self.diary, self.work, self.wish = business, diary, work, wish
        self.zone = ZoneInfo(business.zone)
        self.today = now.astimezone(self.zone).date()
        self.place = place_called(business, work.place)
        self.earliest = _minutes(now) + 60 * business.notice_hours
        self.drives: dict[tuple[str, str], int] = {}
        self.by_day = _by_day([self._stop(busy) for busy in diary.busy], diary.first, diary.last, self.zone)
        self.weight = HURRY_COST if wish.asap else WAIT_COST

    def days(self) -> Iterator[date]:
        """Every day of the calendar from today on, soonest first."""
        day = max(self.diary.first, self.today)
        while day <= self.diary.last:
            yield day
            day += timedelta(days=1)

    def on(self, day: date, waited: int) -> Iterator[_Found]:
        """Every time of one day that keeps all rules."""
        if not (wanted(self.wish, day) and self.is_working_day(day) and self.is_day_of_place(day) and self.boats_are_ready(day)):
            return
        window = self.window(day)
        if window is None or window[1] - window[0] < self.work.minutes:
            return
        for crew in range(1, self.business.crews + 1):
            stops = sorted(
                [*self.by_day.get((day, crew), ()), *self.by_day.get((day, 0), ())], key=lambda stop: stop.begins
            )
            yield from self._for_crew(crew, window, stops, waited)

    def slot(self, found: _Found) -> Slot:
        """The time as it is offered."""
        begins = _EPOCH + timedelta(minutes=found.begins)
        return Slot(found.crew, begins, begins + timedelta(minutes=self.work.minutes), found.why, self.work.place)

    def is_working_day(self, day: date) -> bool:
        """True when the business works on that day at all."""
        business = self.business
        if day.weekday() not in business.hours or day in business.days_off:
            return False
        return not (business.keep_public_holidays and day in public_holidays(business.country, day.year))

    def is_day_of_place(self, day: date) -> bool:
        """True when the crew drives to that harbor on such days."""
        return not (self.place and self.place.weekdays) or day.weekday() in self.place.weekdays

    def boats_are_ready(self, day: date) -> bool:
        """True when all boats are kept in a way that suits the work on that day."""
        return all(boat_is_ready(vessel, day, self.work.cure_hours) for vessel in self.work.vessels)

    def window(self, day: date) -> tuple[int, int] | None:
        """Minutes between which the work must lie: hours of business and harbor, daylight, notice, and the cure."""
        opens, closes = self.business.hours[day.weekday()]
        if self.place:
            opens, closes = max(opens, self.place.opens or opens), min(closes, self.place.closes or closes)
        if opens >= closes:
            return None
        begins, ends = (_minutes(datetime.combine(day, wall, self.zone)) for wall in (opens, closes))
        light = self._light(day)
        if light:
            begins, ends = max(begins, _minutes_up(light[0])), min(ends, _minutes(light[1]))
        if self.wish.needed_on:
            needed = datetime.combine(self.wish.needed_on, time(), self.zone)
            ends = min(ends, _minutes(needed) - 60 * self.work.cure_hours)
        return max(begins, self.earliest), ends

    def hour_wanted(self, begins: int) -> bool:
        """True when the wish allows that time of the day."""
        if self.wish.earliest is None and self.wish.latest is None:
            return True
        local = (_EPOCH + timedelta(minutes=begins)).astimezone(self.zone)
        minute = 60 * local.hour + local.minute
        return (self.wish.earliest or 0) <= minute <= (24 * 60 if self.wish.latest is None else self.wish.latest)

    def any_start(self, windows: Sequence[tuple[int, int]]) -> bool:
        """True when the work could begin in one of the windows at an hour that is wished, if nothing else were on."""
        minutes = self.work.minutes
        return any(self.hour_wanted(start) for begins, ends in windows for start in range(_next_step(begins), ends - minutes + 1, STEP))

    def _light(self, day: date) -> tuple[datetime, datetime] | None:
        where = position_of(self.business, self.place)
        return daylight(day, *where) if self.work.outdoor and where else None

    def _for_crew(self, crew: int, window: tuple[int, int], stops: Sequence[_Stop], waited: int) -> Iterator[_Found]:
        """Quarters of an hour at which the crew can begin: clear of every taken stretch and the drive to or from it."""
        minutes = self.work.minutes
        blocked = sorted((stop.begins - stop.drive - minutes, stop.ends + stop.drive) for stop in stops)
        free = [begins for begins in _unblocked(_next_step(window[0]), window[1] - minutes, blocked) if self.hour_wanted(begins)]
        if not free:
            return
        known = [stop for stop in stops if stop.place]
        begins_of = [stop.begins for stop in known]
        weekday = "weekday" if self.place and self.place.weekdays else ""
        why = "here" if any(stop.place == self.work.place for stop in known) else weekday
        for begins in free:
            at = bisect_left(begins_of, begins)
            added = self._added_drive(known[at - 1].place if at else "", known[at].place if at < len(known) else "")
            odd = ODD_QUARTER_COST if begins % 30 else 0
            late = LATER_COST * (begins - window[0]) / 60
            yield _Found(self.weight * waited + added + odd + late, begins, crew, why)

    def _added_drive(self, before: str, after: str) -> int:
        """Minutes of driving that the visit adds between two places; the day begins and ends at the base, ''."""
        here = self.work.place
        return max(0, self._drive(before, here) + self._drive(here, after) - self._drive(before, after))

    def _drive(self, a: str, b: str) -> int:
        if (a, b) not in self.drives:
            self.drives[a, b] = drive_minutes(self.business, a, b)
        return self.drives[a, b]

    def _stop(self, busy: Busy) -> tuple[int, _Stop]:
        """The crew and what it has to do there; where nobody knows the place, no drive is kept free.

        What is only held counts for the drive to it, but is no place where the crew is on that day.
        """
        drive = self._drive(busy.place, self.work.place) if busy.place else 0
        return busy.crew, _Stop(_minutes(busy.begins), _minutes_up(busy.ends), "" if busy.held else busy.place, drive)


def _unblocked(start: int, last: int, blocked: Sequence[tuple[int, int]]) -> Iterator[int]:
    """Every quarter from `start` to `last` that lies outside all the open stretches of `blocked` (sorted)."""
    at, reach = 0, start
    for begins in range(start, last + 1, STEP):
        while at < len(blocked) and blocked[at][0] < begins:
            reach = max(reach, blocked[at][1])
            at += 1
        if begins >= reach:
            yield begins


def _next_step(minute: int) -> int:
    return -(-minute // STEP) * STEP


def wanted(wish: TimeWish, day: date) -> bool:
    """True when the wish allows that day."""
    if (wish.first and day < wish.first) or (wish.last and day > wish.last):
        return False
    if wish.needed_on and day >= wish.needed_on:
        return False
    if day in wish.not_days or day.weekday() in wish.not_weekdays:
        return False
    if wish.days and day not in wish.days:
        return False
    return not wish.weekdays or day.weekday() in wish.weekdays


def boat_is_ready(vessel: Vessel, day: date, cure_hours: int) -> bool:
    """True when work on that day makes sense for how the boat is kept: cured before launch, no wash in the shed."""
    if vessel.season is None or vessel.season.holds(day):
        return True
    if cure_hours < COATING_CURE_HOURS and vessel.kept_on(day) is Kept.INDOORS:
        return False
    curing = range(-(-cure_hours // 24) + 1)
    return not any(vessel.season.holds(day + timedelta(days=n)) for n in curing)


@lru_cache(maxsize=64)
def public_holidays(country: str, year: int) -> frozenset[date]:
    """Public holidays of a country in one year; none where the calendar is not known."""
    try:
        return frozenset(holidays.country_holidays(country, years=year))
    except NotImplementedError:
        return frozenset()


def position_of(business: Business, place: Place | None) -> tuple[float, float] | None:
    """Where a harbor is, else where the business starts from."""
    if place and place.latitude is not None and place.longitude is not None:
        return place.latitude, place.longitude
    return business.base


def _by_day(stops: Sequence[tuple[int, _Stop]], first: date, last: date, zone: ZoneInfo) -> dict[tuple[date, int], list[_Stop]]:
    """Stops by wall day and crew; one that spans several days stands on each of them."""
    days = [first + timedelta(days=number) for number in range((last - first).days + 2)]
    midnights = [_minutes(datetime(day.year, day.month, day.day, tzinfo=zone)) for day in days]
    by_day: dict[tuple[date, int], list[_Stop]] = {}
    for crew, stop in stops:
        begin = max(0, bisect_right(midnights, stop.begins) - 1)
        for number in range(begin, min(bisect_left(midnights, stop.ends), len(days) - 1)):
            by_day.setdefault((days[number], crew), []).append(stop)
    return by_day


def _minutes(instant: datetime) -> int:
    """Whole minutes since 1970, rounded down."""
    return (instant - _EPOCH) // timedelta(minutes=1)


def _minutes_up(instant: datetime) -> int:
    """Whole minutes since 1970, rounded up."""
    return -((_EPOCH - instant) // timedelta(minutes=1))
