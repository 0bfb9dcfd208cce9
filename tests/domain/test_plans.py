"""Plans: due days keep their day of the month, missed ones are not made up for, and laid-up boats are left alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.domain.people import Kept, Season, Vessel
from assistant.domain.plans import Plan, due_day, next_due, resumes

MONTHLY = Plan(1, 1, (1,), "topper", 30, date(2027, 1, 31))
BOAT = Vessel(1, 1, "Sea Thistle")


def test_a_monthly_plan_keeps_the_day_of_the_month() -> None:
    assert [due_day(MONTHLY, n) for n in (1, 2, 13)] == [date(2027, 2, 28), date(2027, 3, 31), date(2028, 2, 29)]
    assert due_day(replace(MONTHLY, every_days=14), 2) == date(2027, 2, 28)


@pytest.mark.parametrize(
    ("today", "visits", "due"),
    [
        (date(2027, 1, 5), [], None),
        (date(2027, 1, 12), [], date(2027, 1, 31)),
        (date(2027, 1, 12), [date(2027, 1, 29)], None),
        (date(2027, 2, 5), [], date(2027, 1, 31)),
        (date(2027, 2, 12), [], date(2027, 2, 28)),
        (date(2027, 2, 12), [date(2027, 2, 1)], date(2027, 2, 28)),
        (date(2027, 6, 1), [], date(2027, 5, 31)),
    ],
)
def test_the_next_visit_to_book(today: date, visits: list[date], due: date | None) -> None:
    found = next_due(MONTHLY, visits, [BOAT], today)
    assert (found.on if found else None) == due
    if found:
        assert found.wish.first is not None
        assert found.wish.last is not None
        assert today <= found.wish.first <= found.wish.last


def test_a_plan_at_rest_books_nothing_and_goes_on_by_itself() -> None:
    resting = replace(MONTHLY, state="paused", begins_on=date(2027, 4, 1))
    assert next_due(resting, [], [BOAT], date(2027, 4, 1)) is None
    assert [resumes(resting, date(2027, 3, 31)), resumes(resting, date(2027, 4, 1))] == [False, True]


def test_no_visit_falls_due_while_the_boat_is_laid_up() -> None:
    boat = replace(BOAT, season=Season((5, 1), (10, 15)), kept_off_season=Kept.INDOORS)
    assert next_due(MONTHLY, [], [boat], date(2027, 1, 20)) is None
    first = next_due(MONTHLY, [], [boat], date(2027, 5, 12))
    assert first is not None
    assert first.on == date(2027, 5, 31)


@given(st.integers(7, 60), st.integers(0, 400))
def test_a_year_of_a_plan_has_as_many_visits_as_its_rhythm_allows(every: int, start: int) -> None:
    """Booking whatever is due, day after day, keeps the rhythm: never two for one due day, never one left out."""
    plan = replace(MONTHLY, every_days=every, begins_on=date(2027, 1, 1) + timedelta(days=start))
    visits: list[date] = []
    for day in range(365):
        today = plan.begins_on + timedelta(days=day)
        due = next_due(plan, visits, [BOAT], today)
        visits += [due.on] if due else []
    ahead = plan.begins_on + timedelta(days=364 + 21)
    expected = [on for number in range(60) if (on := due_day(plan, number)) <= ahead]
    assert visits == expected
