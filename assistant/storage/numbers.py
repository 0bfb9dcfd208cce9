"""Counts for the page of numbers, made in the database."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import case, func, select

from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import consent_history, handovers, messages, outbox, visits


def texts_after(tx: Transaction, message_id: int) -> Iterator[AnyRow]:
    """Clients' texts with a higher number: `id`, `at`, and the `replies` given in the carrier's answer; by number."""
    newer = (messages.c.id > message_id, messages.c.inbound.is_(True))
    query = select(messages.c.id, messages.c.at, messages.c.replies).where(ours(messages), *newer)
    yield from tx.execute(query.order_by(messages.c.id))


def handed_over(tx: Transaction, first: datetime, last: datetime) -> int:
    """Clients' texts that went before a person in [first, last)."""
    during = (handovers.c.opened_at >= first, handovers.c.opened_at < last)
    query = select(func.count(func.distinct(handovers.c.message_id)))
    return int(tx.execute(query.where(ours(handovers), *during)).scalar_one())


def reasons(tx: Transaction, first: datetime, last: datetime, limit: int = 12) -> tuple[tuple[str, int], ...]:
    """Why things went before a person, the most frequent first."""
    count = func.count().label("count")
    query = (
        select(handovers.c.reason, count)
        .where(ours(handovers), handovers.c.opened_at >= first, handovers.c.opened_at < last)
        .group_by(handovers.c.reason)
        .order_by(count.desc(), handovers.c.reason)
    )
    return tuple((row.reason, int(row[1])) for row in tx.execute(query.limit(limit)))


def sent(tx: Transaction, first: datetime, last: datetime) -> AnyRow:
    """Texts of our own accord that left in [first, last): `texts`, `parts`, and how many `failed`."""
    left = outbox.c.state.in_(("sent", "delivered", "failed"))
    query = select(
        func.count().label("texts"),
        func.coalesce(func.sum(outbox.c.segments), 0).label("parts"),
        func.coalesce(func.sum(case((outbox.c.state == "failed", 1), else_=0)), 0).label("failed"),
    ).where(ours(outbox), left, outbox.c.sent_at >= first, outbox.c.sent_at < last)
    return tx.execute(query).one()


def opted_out(tx: Transaction, first: datetime, last: datetime) -> int:
    """Numbers that opted out in [first, last)."""
    during = (consent_history.c.kind == "all", consent_history.c.at >= first, consent_history.c.at < last)
    query = select(func.count(func.distinct(consent_history.c.thread_id)))
    return int(tx.execute(query.where(ours(consent_history), *during)).scalar_one())


def booked(tx: Transaction, first: datetime, last: datetime, services: list[str]) -> int:
    """Visits for these kinds of work that begin in [first, last) and were not called off."""
    during = (visits.c.begins_at >= first, visits.c.begins_at < last, visits.c.state != "called_off")
    query = select(func.count()).select_from(visits)
    return int(tx.execute(query.where(ours(visits), visits.c.service.in_(services), *during)).scalar_one())
