"""Wash-and-topper plans: when the next visit is due, when to book it, and what happens to a month that was missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from assistant.domain.people import Vessel
from assistant.domain.visits import TimeWish

BOOK_AHEAD = timedelta(days=21)
"""A plan's visit is booked, and the client told, this long before it is due."""
MONTHLY_DAYS = 30
"""A rhythm of 30 days is a month: it keeps the day of the month."""
EARLY, LATE = timedelta(days=4), timedelta(days=9)
"""How far from the due day the visit may lie."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One schedule. `begins_on`: the first due day, or after a pause the day on which it resumes."""

    id: int
    client_id: int
    vessel_ids: tuple[int, ...]
    service: str
    every_days: int
    begins_on: date
    state: str = "active"


@dataclass(frozen=True, slots=True)
class Due:
    """A visit to book: for which day, and the days it may lie on."""

    on: date
    wish: TimeWish


def due_day(plan: Plan, number: int) -> date:
    """The due day number `number` (0 is the first), always counted from the beginning: 31 January, 28 February, 31 March."""
    if plan.every_days == MONTHLY_DAYS:
        return plan.begins_on + relativedelta(months=number)
    return plan.begins_on + timedelta(days=number * plan.every_days)


def next_due(plan: Plan, visit_days: Sequence[date], vessels: Sequence[Vessel], today: date) -> Due | None:
    """The visit to book now; None when the plan rests, is provided for, or is not due soon.

    `visit_days` are the days of the plan's own visits, past and booked. A due day more than half a rhythm ago counts
    as missed and is not made up for: the next one comes on its own day. Out of season no visit falls due.
    """
    if plan.state != "active":
        return None
    half = timedelta(days=plan.every_days / 2)
    number = 0
    while (on := due_day(plan, number)) <= today + BOOK_AHEAD:
        provided = any(abs(day - on) < half for day in visit_days)
        if on + min(half, LATE) > today and not provided and all(in_use(vessel, on) for vessel in vessels):
            return Due(on, TimeWish(first=max(today, on - EARLY), last=on + LATE))
        number += 1
    return None


def in_use(vessel: Vessel, day: date) -> bool:
    """False while the boat is laid up: it needs no washing then."""
    return not vessel.laid_up or vessel.season is None or vessel.season.holds(day)


def resumes(plan: Plan, today: date) -> bool:
    """True when a paused plan's day of return has come."""
    return plan.state == "paused" and plan.begins_on <= today
