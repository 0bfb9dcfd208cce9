"""The numbers that matter, month by month: what was answered without help, what reseals are worth a call, what it cost."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.day_sheet import NEW_COAT_HOURS
from assistant.domain.sms import measure, plain
from assistant.storage import numbers


@dataclass(frozen=True, slots=True)
class Month:
    """One month. What was due in months past and is not done counts as due in this one."""

    begins: date
    asked: int
    handed_over: int
    reseals_due: int
    reseals_booked: int
    texts: int
    parts: int
    failed: int
    cost: Decimal
    opted_out: int

    @property
    def without_help(self) -> int | None:
        """Percent of the texts that were answered without a person; None when nobody wrote."""
        return round(100 * (self.asked - self.handed_over) / self.asked) if self.asked else None


def months_around(today: date, before: int = 5, after: int = 6) -> list[date]:
    """The first days of the months around this one."""
    this = today.year * 12 + today.month - 1
    return [date(number // 12, number % 12 + 1, 1) for number in range(this - before, this + after + 1)]


def by_month(app: Assistant, due_days: Iterable[date], today: date) -> list[Month]:
    """Months around today, the earliest first. `due_days` are the days on which boats' first coats end."""
    due = Counter(max(day, today).replace(day=1) for day in due_days)
    return [_month(app, begins, due, today) for begins in months_around(today)]


def open_reasons(app: Assistant, since: datetime, now: datetime) -> tuple[tuple[str, int], ...]:
    """Why texts went before a person since then."""
    with app.database.reading(app.business.id) as tx:
        return numbers.reasons(tx, since, now)


def _month(app: Assistant, begins: date, due: Mapping[date, int], today: date) -> Month:
    zone = ZoneInfo(app.business.zone)
    after = date(begins.year + begins.month // 12, begins.month % 12 + 1, 1)
    first, last = (datetime(day.year, day.month, 1, tzinfo=zone).astimezone(UTC) for day in (begins, after))
    coating = [id_ for id_, service in app.business.services.items() if service.cure_hours >= NEW_COAT_HOURS]
    with app.database.reading(app.business.id) as tx:
        booked = numbers.booked(tx, first, last, coating)
        if begins > today:
            return Month(begins, 0, 0, due.get(begins, 0), booked, 0, 0, 0, Decimal(0), 0)
        asked, handed = numbers.asked_and_handed_over(tx, first, last)
        sent = numbers.sent(tx, first, last)
        replies = [plain(reply) for found in numbers.replies_of(tx, first, last) for reply in found]
        gone = numbers.opted_out(tx, first, last)
    parts = int(sent.parts) + sum(measure(reply).segments for reply in replies)
    cost = parts * app.business.segment_cost
    return Month(
        begins, asked, handed, due.get(begins, 0), booked, sent.texts + len(replies), parts, int(sent.failed), cost, gone
    )
