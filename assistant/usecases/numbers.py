"""The numbers that matter, month by month: what was answered without help, what reseals are worth a call, what it cost."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from threading import Lock
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.day_sheet import NEW_COAT_HOURS
from assistant.domain.sms import measure, plain
from assistant.storage import numbers
from assistant.storage.database import Transaction


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


@dataclass(slots=True)
class Texts:
    """Clients' texts of one month, and the replies given to them in the carrier's answer."""

    asked: int = 0
    replies: int = 0
    parts: int = 0


class TextCount:
    """Texts month by month. Only what came since the last look is read. Safe to share between threads."""

    def __init__(self, app: Assistant) -> None:
        self._app = app
        self._lock = Lock()
        self._last = 0
        self._months: dict[date, Texts] = {}

    def of(self, month: date) -> Texts:
        """The counts of the month that begins on that day."""
        return self._months.get(month, Texts())

    def refresh(self) -> None:
        """Count what is new."""
        zone = ZoneInfo(self._app.business.zone)
        with self._lock, self._app.database.reading(self._app.business.id) as tx:
            for row in numbers.texts_after(tx, self._last):
                month = row.at.astimezone(zone).date().replace(day=1)
                texts = self._months.setdefault(month, Texts())
                texts.asked += 1
                for reply in row.replies or ():
                    texts.replies += 1
                    texts.parts += measure(plain(reply)).segments
                self._last = row.id


def months_around(today: date, before: int = 5, after: int = 6) -> list[date]:
    """The first days of the months around this one."""
    this = today.year * 12 + today.month - 1
    return [date(number // 12, number % 12 + 1, 1) for number in range(this - before, this + after + 1)]


def by_month(app: Assistant, count: TextCount, due_days: Iterable[date], today: date) -> list[Month]:
    """Months around today, the earliest first. `due_days` are the days on which boats' first coats end."""
    count.refresh()
    due = Counter(max(day, today).replace(day=1) for day in due_days)
    with app.database.reading(app.business.id) as tx:
        return [_month(app, tx, begins, count.of(begins), due[begins], today) for begins in months_around(today)]


def open_reasons(app: Assistant, since: datetime, now: datetime) -> tuple[tuple[str, int], ...]:
    """Why texts went before a person since then."""
    with app.database.reading(app.business.id) as tx:
        return numbers.reasons(tx, since, now)


def _month(app: Assistant, tx: Transaction, begins: date, texts: Texts, due: int, today: date) -> Month:
    zone = ZoneInfo(app.business.zone)
    after = date(begins.year + begins.month // 12, begins.month % 12 + 1, 1)
    first, last = (datetime(day.year, day.month, 1, tzinfo=zone).astimezone(UTC) for day in (begins, after))
    coating = [id_ for id_, service in app.business.services.items() if service.cure_hours >= NEW_COAT_HOURS]
    booked = numbers.booked(tx, first, last, coating)
    if begins > today:
        return Month(begins, 0, 0, due, booked, 0, 0, 0, Decimal(0), 0)
    sent, gone = numbers.sent(tx, first, last), numbers.opted_out(tx, first, last)
    parts = int(sent.parts) + texts.parts
    return Month(
        begins=begins,
        asked=texts.asked,
        handed_over=min(texts.asked, numbers.handed_over(tx, first, last)),
        reseals_due=due,
        reseals_booked=booked,
        texts=sent.texts + texts.replies,
        parts=parts,
        failed=int(sent.failed),
        cost=parts * app.business.segment_cost,
        opted_out=gone,
    )
