"""Free times: every rule of the day is kept, the search is exact, and a full year's calendar takes milliseconds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import pairwise
from time import process_time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.domain.business import Business, Place, Service
from assistant.domain.daylight import daylight
from assistant.domain.driving import distance_km, drive_minutes, kilometers
from assistant.domain.people import Kept, Season, Vessel
from assistant.domain.slots import (
    Diary,
    Obstacle,
    Work,
    boat_is_ready,
    free_slots,
    is_free,
    obstacle,
    opened_up,
    wanted,
)
from assistant.domain.visits import Busy, Slot, TimeWish

ZONE = "America/New_York"
NOW = datetime(2027, 5, 4, 14, 30, tzinfo=UTC)  # Tuesday 4 May 2027, 10:30
TODAY = date(2027, 5, 4)
SLOUGH, BIGHT = Place("Pelican Slough", 25.77, -80.14), Place("Cutter's Bight", 25.69, -80.16, weekdays=frozenset({0, 2, 4}))
SHED = Place("Juniper Point", opens=time(9, 30), closes=time(15))
BUSINESS = Business(
    id=1, name="Fernwake Boat Care", detailer="Nola", number="+13055550100", zone=ZONE, country="US", language="en",
    hours={weekday: (time(8), time(17)) for weekday in range(5)}, base=(25.80, -80.19), speed_kmh=45,
    places=(SLOUGH, BIGHT, SHED), services={"wash": Service("wash", {"en": "wash"})},
)  # fmt: skip
WASH = Work("Pelican Slough", 120)


def at(day: int, hour: int, minute: int = 0, month: int = 5) -> datetime:
    return datetime(2027, month, day, hour, minute, tzinfo=ZoneInfo(ZONE)).astimezone(UTC)


def diary(*busy: Busy, days: int = 60) -> Diary:
    return Diary(busy, TODAY, TODAY + timedelta(days=days))


def walls(slots: tuple[Slot, ...]) -> list[str]:
    return [slot.begins.astimezone(ZoneInfo(ZONE)).strftime("%a %d %H:%M") for slot in slots]


def offered(work: Work = WASH, wish: TimeWish = TimeWish(), *busy: Busy, business: Business = BUSINESS) -> list[str]:  # noqa: B008
    return walls(free_slots(business, diary(*busy), work, wish, NOW))


def test_three_different_days_soonest_first_after_the_notice() -> None:
    assert offered() == ["Wed 05 10:30", "Thu 06 08:00", "Fri 07 08:00"]


def test_when_one_day_is_wished_its_times_lie_two_hours_apart() -> None:
    assert offered(wish=TimeWish(days=(date(2027, 5, 6),))) == ["Thu 06 08:00", "Thu 06 10:00", "Thu 06 12:00"]


@pytest.mark.parametrize(
    ("change", "first"),
    [
        ({"hours": {3: (time(9), time(12))}}, "Thu 06 09:00"),
        ({"days_off": frozenset({date(2027, 5, 5)})}, "Thu 06 08:00"),
        ({"notice_hours": 96}, "Mon 10 08:00"),
        ({"notice_hours": 0}, "Tue 04 10:30"),
    ],
)
def test_hours_days_off_and_notice_are_kept(change: dict[str, object], first: str) -> None:
    assert offered(business=replace(BUSINESS, **change))[0] == first  # type: ignore[arg-type]


def test_public_holidays_are_free_unless_the_business_works_then() -> None:
    memorial = TimeWish(days=(date(2027, 5, 31),))
    assert offered(wish=memorial) == []
    assert offered(wish=memorial, business=replace(BUSINESS, keep_public_holidays=False))[0] == "Mon 31 08:00"


def test_harbor_weekdays_quiet_hours_and_the_length_of_the_work_are_kept() -> None:
    assert offered(replace(WASH, place="Cutter's Bight")) == ["Wed 05 10:30", "Fri 07 08:00", "Mon 10 08:00"]
    assert offered(replace(WASH, place="Juniper Point", minutes=330), TimeWish(days=(date(2027, 5, 6),))) == ["Thu 06 09:30"]
    assert offered(replace(WASH, place="Juniper Point", minutes=345)) == []


def test_outdoor_work_keeps_to_daylight() -> None:
    """Sunset on 21 December at Pelican Slough is 17:35; a business that works to 20:00 still ends before it."""
    late = replace(BUSINESS, hours={weekday: (time(5), time(20)) for weekday in range(5)}, notice_hours=0)
    winter = Diary((), date(2027, 12, 20), date(2027, 12, 22))
    wish = TimeWish(days=(date(2027, 12, 21),), earliest=14 * 60)
    assert walls(free_slots(late, winter, WASH, wish, at(20, 8, month=12)))[-1] == "Tue 21 14:00"
    latest = [hour for hour in range(5, 18) if is_free(late, winter, WASH, Slot(1, at(21, hour, month=12), NOW), at(20, 8, month=12))]
    assert (latest[0], latest[-1]) == (8, 15)
    indoors = replace(WASH, outdoor=False)
    assert is_free(late, winter, indoors, Slot(1, at(21, 18, month=12), NOW), at(20, 8, month=12))


@pytest.mark.parametrize(
    ("where", "day", "zone", "rise", "fall"),
    [
        ((51.5074, -0.1278), date(2024, 6, 21), "Europe/London", "04:43", "21:21"),
        ((25.76, -80.19), date(2024, 6, 21), ZONE, "06:30", "20:15"),
        ((40.7128, -74.006), date(2024, 12, 21), ZONE, "07:17", "16:32"),
        ((-33.87, 151.21), date(2024, 12, 21), "Australia/Sydney", "05:41", "20:06"),
    ],
)
def test_sunrise_and_sunset_agree_with_almanacs_to_two_minutes(
    where: tuple[float, float], day: date, zone: str, rise: str, fall: str
) -> None:
    """Almanac values as commonly printed for these cities, to the minute."""
    sun = daylight(day, *where)
    assert sun is not None
    for instant, printed in zip(sun, (rise, fall), strict=True):
        wall = datetime.combine(day, time.fromisoformat(printed), ZoneInfo(zone))
        assert abs(instant - wall) <= timedelta(minutes=2)


def test_where_the_sun_does_not_set_there_is_no_limit() -> None:
    assert daylight(date(2027, 6, 21), 69.65, 18.96) is None


def test_drives_between_harbors_keep_clear_of_visits() -> None:
    assert kilometers((51.4778, -0.0015), (40.6892, -74.0445)) == pytest.approx(5574, abs=10)
    assert distance_km(BUSINESS, "Pelican Slough", "cutters bight") == pytest.approx(9.1, abs=0.1)
    minutes = drive_minutes(BUSINESS, "Pelican Slough", "Cutter's Bight")
    assert minutes == 13
    there = Busy(1, at(6, 8), at(6, 10), "Cutter's Bight")
    day = TimeWish(days=(date(2027, 5, 6),))
    assert offered(WASH, day, there)[0] == "Thu 06 10:30"  # 10:15 is free too, but half hours are easier to keep
    assert [is_free(BUSINESS, diary(there), WASH, Slot(1, at(6, 10, minute), NOW), NOW) for minute in (0, 15)] == [False, True]
    same = Busy(1, at(6, 8), at(6, 10), "Pelican Slough")
    assert offered(WASH, day, same)[0] == "Thu 06 10:00"


def test_a_day_with_the_crew_at_the_harbor_is_worth_waiting_for() -> None:
    """The base is 16 minutes away: half an hour of driving saved outweighs three days of waiting."""
    far = replace(BUSINESS, base=(25.95, -80.35))
    here = Busy(1, at(7, 8), at(7, 10), "Pelican Slough")
    best = free_slots(far, diary(here), WASH, TimeWish(), NOW, 1)
    assert walls(best) == ["Fri 07 10:00"]
    assert best[0].why == "here"
    held = replace(here, held=True)
    assert walls(free_slots(far, diary(held), WASH, TimeWish(), NOW, 1)) == ["Wed 05 10:30"]


def test_the_boat_is_dry_before_it_is_needed_and_coated_before_launch() -> None:
    coat = replace(WASH, cure_hours=24)
    needed = TimeWish(needed_on=date(2027, 5, 7))
    assert offered(WASH, needed) == ["Wed 05 10:30", "Wed 05 12:30", "Thu 06 08:00"]
    assert offered(coat, needed) == ["Wed 05 10:30", "Wed 05 12:30", "Wed 05 14:30"]
    laid_up = Vessel(1, 1, "Paper Moon", season=Season((5, 10), (10, 15)), kept_off_season=Kept.INDOORS)
    assert [day for day in range(3, 12) if boat_is_ready(laid_up, date(2027, 5, day), 24)] == [3, 4, 5, 6, 7, 8, 10, 11]
    assert [day for day in range(3, 12) if boat_is_ready(laid_up, date(2027, 5, day), 0)] == [10, 11]
    assert offered(replace(WASH, vessels=(laid_up,)))[0] == "Mon 10 08:00"


def test_time_taken_by_all_crews_blocks_each() -> None:
    two = replace(BUSINESS, crews=2)
    day = TimeWish(days=(date(2027, 5, 6),))
    one_crew = Busy(1, at(6, 8), at(6, 17))
    assert {slot.crew for slot in free_slots(two, diary(one_crew), WASH, day, NOW)} == {2}
    assert free_slots(two, diary(Busy(0, at(6, 8), at(6, 17))), WASH, day, NOW) == ()


def test_the_visit_that_moves_does_not_stand_in_its_own_way() -> None:
    mine = Busy(1, at(6, 8), at(6, 10), "Pelican Slough")
    day = TimeWish(days=(date(2027, 5, 6),), latest=9 * 60)
    slot = Slot(1, at(6, 8), at(6, 10))
    assert offered(WASH, day, mine) == []
    assert walls(free_slots(BUSINESS, opened_up(diary(mine), slot), WASH, day, NOW)) == ["Thu 06 08:00"]


@pytest.mark.parametrize(
    ("work", "wish", "stands_against"),
    [
        (WASH, TimeWish(days=(date(2028, 5, 6),)), Obstacle.FAR),
        (WASH, TimeWish(days=(date(2027, 5, 8),)), Obstacle.CLOSED),
        (replace(WASH, place="Cutter's Bight"), TimeWish(days=(date(2027, 5, 6),)), Obstacle.PLACE),
        (WASH, TimeWish(days=(date(2027, 5, 4),)), Obstacle.NOTICE),
        (replace(WASH, minutes=600), TimeWish(days=(date(2027, 5, 6),)), Obstacle.SHORT),
        (WASH, TimeWish(days=(date(2027, 5, 6),), earliest=18 * 60), Obstacle.HOURS),
        (WASH, TimeWish(days=(date(2027, 5, 10),)), Obstacle.FULL),
    ],
)
def test_what_stands_against_a_wish_is_named(work: Work, wish: TimeWish, stands_against: Obstacle) -> None:
    full = diary(Busy(0, at(10, 7), at(10, 18)))
    assert free_slots(BUSINESS, full, work, wish, NOW) == ()
    assert obstacle(BUSINESS, full, work, wish, NOW) is stands_against


@pytest.mark.parametrize("month_day", [(3, 12), (11, 5)])
def test_wall_hours_stand_still_when_the_clocks_change(month_day: tuple[int, int]) -> None:
    month, day = month_day
    around = Diary((), date(2027, month, day), date(2027, month, day + 7))
    slots = free_slots(BUSINESS, around, WASH, TimeWish(latest=8 * 60), at(day - 3, 8, month=month), 9)
    assert {slot.begins.astimezone(ZoneInfo(ZONE)).hour for slot in slots} == {8}
    assert len({slot.begins.hour for slot in slots}) == 2


# --- the search against a slow one that tries everything -----------------------------------------------------------

PLACES = ("Pelican Slough", "Cutter's Bight", "Juniper Point")
stretches = st.builds(
    lambda crew, day, quarter, length, place: Busy(
        crew, at(5, 7) + timedelta(days=day, minutes=15 * quarter), at(5, 7) + timedelta(days=day, minutes=15 * (quarter + length)), place
    ),
    st.integers(0, 2), st.integers(0, 9), st.integers(0, 40), st.integers(1, 24), st.sampled_from(["", *PLACES]),
)  # fmt: skip
wishes = st.builds(
    TimeWish, weekdays=st.frozensets(st.integers(0, 6), max_size=3), not_weekdays=st.frozensets(st.integers(0, 6), max_size=2),
    earliest=st.sampled_from([None, 600, 720]), latest=st.sampled_from([None, 705, 840]), asap=st.booleans(),
)  # fmt: skip


def keeps_every_rule(business: Business, busy: list[Busy], work: Work, wish: TimeWish, crew: int, begins: datetime) -> bool:
    """The rules again, written down one by one and without any cleverness."""
    wall, ends = begins.astimezone(ZoneInfo(ZONE)), (begins + timedelta(minutes=work.minutes))
    place = next((one for one in business.places if one.name == work.place), None)
    if wall.weekday() not in business.hours or not wanted(wish, wall.date()) or begins < NOW + timedelta(hours=24):
        return False
    opens, closes = business.hours[wall.weekday()]
    if place and place.weekdays and wall.weekday() not in place.weekdays:
        return False
    if place and place.opens and place.closes:
        opens, closes = max(opens, place.opens), min(closes, place.closes)
    wall_end = ends.astimezone(ZoneInfo(ZONE))
    if wall.time() < opens or wall_end.time() > closes or wall_end.date() != wall.date():
        return False
    minute = 60 * wall.hour + wall.minute
    if not (wish.earliest or 0) <= minute <= (wish.latest or 1440):
        return False
    for stretch in busy:
        drive = timedelta(minutes=drive_minutes(business, stretch.place, work.place) if stretch.place else 0)
        if stretch.crew in {0, crew} and begins < stretch.ends + drive and stretch.begins < ends + drive:
            return False
    return True


def every_free_time(business: Business, busy: list[Busy], work: Work, wish: TimeWish) -> Iterator[Slot]:
    for quarter in range(12 * 96):
        begins = at(4, 0) + timedelta(minutes=15 * quarter)
        for crew in range(1, business.crews + 1):
            if keeps_every_rule(business, busy, work, wish, crew, begins):
                yield Slot(crew, begins, begins + timedelta(minutes=work.minutes))


@settings(max_examples=60, deadline=None)
@given(st.lists(stretches, max_size=14), wishes, st.sampled_from(PLACES), st.integers(2, 20), st.integers(1, 2))
def test_offers_are_free_and_none_is_missed(
    busy: list[Busy], wish: TimeWish, place: str, quarters: int, crews: int
) -> None:
    business, work = replace(BUSINESS, crews=crews), Work(place, 15 * quarters)
    calendar = Diary(tuple(busy), TODAY, date(2027, 5, 15))
    free = {(slot.crew, slot.begins) for slot in every_free_time(business, busy, work, wish)}
    slots = free_slots(business, calendar, work, wish, NOW)
    assert {(slot.crew, slot.begins) for slot in slots} <= free
    days = {begins.astimezone(ZoneInfo(ZONE)).date() for _, begins in free}
    assert len({slot.begins.astimezone(ZoneInfo(ZONE)).date() for slot in slots}) == min(3, len(days))
    assert all(is_free(business, calendar, work, slot, NOW) for slot in slots)
    apart = sorted(slot.begins for slot in slots)
    assert all(b - a >= timedelta(hours=2) for a, b in pairwise(apart))


@settings(max_examples=40, deadline=None)
@given(st.lists(stretches, max_size=14), wishes, st.sampled_from(PLACES))
def test_stopping_early_loses_no_better_time(busy: list[Busy], wish: TimeWish, place: str) -> None:
    """The best of three is the best of all: asking for more times than there are days looks at every day."""
    calendar = Diary(tuple(busy), TODAY, date(2027, 5, 15))
    few = free_slots(BUSINESS, calendar, Work(place, 120), wish, NOW, 3)
    all_days = free_slots(BUSINESS, calendar, Work(place, 120), wish, NOW, 12)
    assert set(few) <= set(all_days)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), st.integers(2, 12)), min_size=2, max_size=12))
def test_visits_booked_one_after_the_other_never_meet(wanted_work: list[tuple[str, int]]) -> None:
    """Each takes the first time offered; no visit overlaps another of its crew, nor the drive to it."""
    booked: list[Busy] = []
    for place, quarters in wanted_work:
        slots = free_slots(replace(BUSINESS, crews=2), diary(*booked, days=20), Work(place, 15 * quarters), TimeWish(), NOW)
        booked += [Busy(slots[0].crew, slots[0].begins, slots[0].ends, place)] if slots else []
    for one in booked:
        for other in booked:
            if one is not other and one.crew == other.crew:
                drive = timedelta(minutes=drive_minutes(BUSINESS, one.place, other.place))
                assert one.ends + drive <= other.begins or other.ends + drive <= one.begins


def test_a_year_with_two_thousand_visits_is_searched_in_milliseconds() -> None:
    """A calendar full for eleven months, so that nearly every day is looked at. Processor time, the best of several runs."""
    three = replace(BUSINESS, crews=3, places=(SLOUGH, replace(BIGHT, weekdays=frozenset()), SHED))
    starts = [(day, crew, hour) for day in range(365) for crew in (1, 2, 3) for hour in (8, 13)][:2000]
    busy = tuple(
        Busy(crew, (begin := at(4, hour) + timedelta(days=day)), begin + timedelta(hours=4), PLACES[(day + crew) % 3])
        for day, crew, hour in starts
    )
    year = Diary(busy, TODAY, TODAY + timedelta(days=365))
    work = Work("Pelican Slough", 180, vessels=(Vessel(1, 1, "Sea Thistle", length_ft=Decimal(28)),))
    times = []
    for _ in range(7):
        begins = process_time()
        slots = free_slots(three, year, work, TimeWish(), NOW)
        times.append(process_time() - begins)
    assert len(slots) == 3
    assert min(times) < 0.020
