"""Free times of a calendar: every rule of the day, and among the times that keep them all the ones that suit best.

The search is exact: a time is offered only if no rule speaks against it, and no better one is left out. It is fast
because days are tried in the order of waiting, and a day that would cost more by its waiting alone is never looked at.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
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


@dataclass(frozen=True, slots=True)
class Work:
    """What a visit must hold: where, how long, and the rules that come with the kind of work and the boats."""

    place: str
    minutes: int
    outdoor: bool = True
    cure_hours: int = 0
    vessels: tuple[Vessel, ...] = ()
    not_before: date | None = None


@dataclass(frozen=True, slots=True)
class _Stop:
    """A taken stretch in minutes since 1970, with the drive between it and the place of the work."""

    begins: int
    ends: int
    place: str
    drive: int


@dataclass(frozen=True, slots=True)
class _Found:
    """One possible time with its cost; ordering is by cost, then time, then crew."""

    cost: float
    begins: int
    crew: int
    why: str

    @property
    def order(self) -> tuple[float, int, int]:
        return self.cost, self.begins, self.crew


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
        if len(bests) >= count and bests[count - 1] < search.wait_cost(waited):
            break
        found = sorted(search.on(day, waited), key=lambda one: one.order)
        if found:
            by_day.append(found)
            bests = sorted([*bests, found[0].cost])
    chosen = sorted((found[0] for found in by_day), key=lambda one: one.order)[:count]
    if len(chosen) < count:
        chosen = _filled_up(chosen, by_day, count)
    return tuple(search.slot(one) for one in sorted(chosen, key=lambda one: one.begins))


def _filled_up(chosen: list[_Found], by_day: Sequence[Sequence[_Found]], count: int) -> list[_Found]:
    """Further times of the same days, the best first, none within two hours of another."""
    for one in sorted((one for found in by_day for one in found), key=lambda one: one.order):
        if len(chosen) < count and all(abs(one.begins - other.begins) >= 120 for other in chosen):
            chosen.append(one)
    return chosen


class _Search:
    """The rules of one search, prepared once."""

    def __init__(self, business: Business, diary: Diary, work: Work, wish: TimeWish, now: datetime) -> None:
        self.business, self.diary, self.work, self.wish, self.now = business, diary, work, wish, now
        self.zone = ZoneInfo(business.zone)
        self.place = place_called(business, work.place)
        self.earliest = _minutes(now) + 60 * business.notice_hours
        self.by_day = _busy_by_day(business, diary, work.place, self.zone)
        self.weight = HURRY_COST if wish.asap else WAIT_COST

    def wait_cost(self, waited: int) -> float:
        """The least that a time on the day number `waited` can cost."""
        return waited * self.weight

    def days(self) -> Iterator[date]:
        """Days that may be offered at all, soonest first; yields a placeholder for none: numbers are days of waiting."""
        first = max(self.diary.first, self.now.astimezone(self.zone).date())
        day = first
        while day <= self.diary.last:
            yield day
            day += timedelta(days=1)

    def on(self, day: date, waited: int) -> Iterator[_Found]:
        """Every time of one day that keeps all rules."""
        if not (wanted(self.wish, day) and self._works(day)):
            return
        window = self._window(day)
        if window is None or window[1] - window[0] < self.work.minutes:
            return
        midnight = _minutes(datetime(day.year, day.month, day.day, tzinfo=self.zone))
        for crew in range(1, self.business.crews + 1):
            stops = [*self.by_day.get((day, crew), ()), *self.by_day.get((day, 0), ())]
            yield from self._for_crew(day, crew, window, sorted(stops, key=lambda s: s.begins), waited, midnight)

    def slot(self, found: _Found) -> Slot:
        """The time as it is offered."""
        begins = _EPOCH + timedelta(minutes=found.begins)
        return Slot(found.crew, begins, begins + timedelta(minutes=self.work.minutes), found.why, self.work.place)

    def _works(self, day: date) -> bool:
        """True when somebody works on that day, at that harbor, and the boats are there in need of it."""
        business, place = self.business, self.place
        if day.weekday() not in business.hours or day in business.days_off:
            return False
        if business.keep_public_holidays and day in public_holidays(business.country, day.year):
            return False
        if place and place.weekdays and day.weekday() not in place.weekdays:
            return False
        if self.work.not_before and day < self.work.not_before:
            return False
        return all(boat_is_ready(vessel, day, self.work.cure_hours) for vessel in self.work.vessels)

    def _window(self, day: date) -> tuple[int, int] | None:
        """Minutes between which the work must lie: hours of business and harbor, daylight, notice, and the cure."""
        opens, closes = self.business.hours[day.weekday()]
        if self.place:
            opens, closes = max(opens, self.place.opens or opens), min(closes, self.place.closes or closes)
        if opens >= closes:
            return None
        begins, ends = (_minutes(datetime.combine(day, wall, self.zone)) for wall in (opens, closes))
        light = self._light(day)
        if light:
            begins, ends = max(begins, light[0]), min(ends, light[1])
        if self.wish.needed_on:
            needed = datetime.combine(self.wish.needed_on, time(), self.zone)
            ends = min(ends, _minutes(needed) - 60 * self.work.cure_hours)
        return max(begins, self.earliest), ends

    def _light(self, day: date) -> tuple[int, int] | None:
        where = position_of(self.business, self.place)
        if not self.work.outdoor or where is None:
            return None
        light = daylight(day, *where)
        return (_minutes(light[0]), _minutes(light[1])) if light else None

    def _for_crew(
        self, day: date, crew: int, window: tuple[int, int], stops: Sequence[_Stop], waited: int, midnight: int
    ) -> Iterator[_Found]:
        minutes, base_cost = self.work.minutes, self.wait_cost(waited)
        blocked = sorted((stop.begins - stop.drive - minutes, stop.ends + stop.drive) for stop in stops)
        known = [stop for stop in stops if stop.place]
        begins_of = [stop.begins for stop in known]
        here = any(stop.place == self.work.place for stop in known)
        start = -(-window[0] // STEP) * STEP
        for begins, free in _swept(start, window[1] - minutes, blocked):
            local = begins - midnight
            if not free or not _hour_wanted(self.wish, local):
                continue
            at = bisect_left(begins_of, begins)
            added = self._added_drive(known[at - 1] if at else None, known[at] if at < len(known) else None)
            odd = ODD_QUARTER_COST if begins % 30 else 0
            why = "here" if here else "weekday" if self.place and self.place.weekdays else ""
            yield _Found(base_cost + added + odd + LATER_COST * (begins - window[0]) / 60, begins, crew, why)

    def _added_drive(self, before: _Stop | None, after: _Stop | None) -> int:
        """Minutes of driving that the visit adds to the day, from and to the base at its ends."""
        here = self.work.place
        to = before.drive if before else drive_minutes(self.business, "", here)
        on = after.drive if after else drive_minutes(self.business, here, "")
        direct = drive_minutes(self.business, before.place if before else "", after.place if after else "")
        return max(0, to + on - direct)


def _swept(start: int, last: int, blocked: Sequence[tuple[int, int]]) -> Iterator[tuple[int, bool]]:
    """Every quarter from `start` to `last`, and whether it lies outside all the open stretches of `blocked`."""
    at, reach = 0, -1
    for begins in range(start, last + 1, STEP):
        while at < len(blocked) and blocked[at][0] < begins:
            reach = max(reach, blocked[at][1])
            at += 1
        yield begins, begins >= reach


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


def _hour_wanted(wish: TimeWish, minute: int) -> bool:
    return (wish.earliest is None or minute >= wish.earliest) and (wish.latest is None or minute <= wish.latest)


def boat_is_ready(vessel: Vessel, day: date, cure_hours: int) -> bool:
    """True when work on that day makes sense for how the boat is kept: cured before launch, no wash in the shed."""
    if vessel.season is None or vessel.season.holds(day):
        return True
    if cure_hours < COATING_CURE_HOURS and vessel.kept_on(day) is Kept.INDOORS:
        return False
    cured = day + timedelta(days=1 + -(-cure_hours // 24))
    return not any(vessel.season.holds(day + timedelta(days=n)) for n in range((cured - day).days))


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


def _busy_by_day(business: Business, diary: Diary, here: str, zone: ZoneInfo) -> dict[tuple[date, int], list[_Stop]]:
    """Stretches by wall day and crew; one that spans several days stands on each of them."""
    by_day: dict[tuple[date, int], list[_Stop]] = {}
    drives: dict[str, int] = {}
    for busy in diary.busy:
        if busy.place not in drives:
            drives[busy.place] = drive_minutes(business, busy.place, here) if busy.place else 0
        stop = _Stop(_minutes(busy.begins), _minutes_up(busy.ends), busy.place, drives[busy.place])
        day, last = busy.begins.astimezone(zone).date(), busy.ends.astimezone(zone).date()
        while day <= last:
            by_day.setdefault((day, busy.crew), []).append(stop)
            day += timedelta(days=1)
    return by_day


def _minutes(instant: datetime) -> int:
    """Whole minutes since 1970, rounded down."""
    return (instant - _EPOCH) // timedelta(minutes=1)


def _minutes_up(instant: datetime) -> int:
    """Whole minutes since 1970, rounded up."""
    return -((_EPOCH - instant) // timedelta(minutes=1))
