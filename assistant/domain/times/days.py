"""Expressions for days ('first week of june', 'el 9', 'tues') as values, and the calendar behind them.

`Finder` replaces each expression of a text by a numbered mark <0>, <1> ...; the expressions themselves are listed in
`day_rules`, and what stands around a mark (after, not, until) is the business of `relations`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import Enum

from assistant.domain.times import words as w

WEEK = timedelta(days=7)


class Kind(Enum):
    """How an expression counts."""

    DAY = "one day"
    SPAN = "a stretch of days"
    WEEKDAY = "the coming such weekday, or the one within a span"
    RECURRING = "any such weekday"
    UNREADABLE = "no day at all, like 30 February"


@dataclass(frozen=True, slots=True)
class Days:
    """One expression. `others`: further days it may mean (a choice), or with SPAN the days that are meant of it."""

    kind: Kind
    first: date = date.min
    last: date = date.max
    weekdays: frozenset[int] = frozenset()
    others: tuple[date, ...] = ()
    words: str = ""


Build = Callable[[re.Match[str], "Finder"], Days | None]
Rule = tuple[re.Pattern[str], Build]


@dataclass
class Finder:
    """Finds the expressions of one text. `order` is 'md', 'dm' or '' where 6/9 may be either."""

    text: str
    today: date
    order: str
    anchor: date | None = None
    found: list[Days] = field(default_factory=list)

    def find(self, rules: Sequence[Rule]) -> str:
        """The text with every expression replaced by its mark."""
        for pattern, build in rules:
            self.text = pattern.sub(lambda match, build=build: self._mark(match, build), self.text)  # type: ignore[misc]
        return self.text

    def _mark(self, match: re.Match[str], build: Build) -> str:
        try:
            days = build(match, self)
        except ValueError:
            days = Days(Kind.UNREADABLE, words=match[0].strip())
        if days is None:
            return match[0]
        self.found.append(days)
        return f"<{len(self.found) - 1}>"

    def marked(self, number: str) -> Days:
        """The expression behind a mark."""
        return self.found[int(number)]

    @property
    def monday(self) -> date:
        """The Monday of this week."""
        return self.today - timedelta(days=self.today.weekday())

    def next_date(self, month: int, day: int, year: str | None = None) -> date:
        """That date in the given year, else the next one that is not past. ValueError where there is none."""
        if year:
            return date(int(year) + (2000 if len(year) == 2 else 0), month, day)
        years = range(self.today.year, self.today.year + 9)
        if (month, day) == (2, 29):
            years = [year for year in years if w.month_end(year, 2).day == 29]  # type: ignore[assignment]
        return next(there for there in (date(year, month, day) for year in years) if there >= self.today)

    def month_of(self, words: str) -> tuple[int, int]:
        """(year, month) that is named: the next such month that is not over, this one, or the next."""
        vague = words.endswith(("month", "mes"))
        named = re.search(rf"\b{w.MONTH}", self.text if vague else words)
        if named:
            month = w.month_number(named[0])
            return self.today.year + (month < self.today.month), month
        following = r"next month|proximo mes|mes (?:que viene|que entra|entrante|proximo)|next|proximo"
        after = re.search(following, self.text if vague else words)
        base = self.today if after or re.search(r"this|este", words) else self.anchor or self.today
        if after:
            base = w.month_end(base.year, base.month) + timedelta(days=1)
        return base.year, base.month

    def coming(self, weekday: int, after: date | None = None) -> date:
        """The first such weekday after today, or after another day."""
        base = after or self.today
        return base + timedelta(days=(weekday - base.weekday() - 1) % 7 + 1)


def one_day(on: date) -> Days:
    """One day."""
    return Days(Kind.DAY, on, on)


def span(first: date, last: date) -> Days:
    """A stretch of days, both ends included. ValueError when it ends before it begins."""
    if first > last:
        raise ValueError("a stretch that ends before it begins")
    return Days(Kind.SPAN, first, last)


def either(first: date, last: date) -> Days:
    """One of two days."""
    return Days(Kind.SPAN, first, last, others=(first, last))


def week_of(on: date) -> Days:
    """Monday to Sunday around a day."""
    monday = on - timedelta(days=on.weekday())
    return span(monday, monday + timedelta(days=6))


def month_of(year: int, month: int) -> Days:
    """A whole month."""
    return span(date(year, month, 1), w.month_end(year, month))


def weekend_of(on: date) -> Days:
    """Saturday and Sunday of that week, with the holiday itself where it lengthens the weekend."""
    saturday = on + timedelta(days=5 - on.weekday() - (7 if on.weekday() == 0 else 0))
    sunday = saturday + timedelta(days=1)
    if on.weekday() == 0:
        return span(saturday, on)
    return span(min(on, saturday) if on.weekday() >= 3 else saturday, sunday)
