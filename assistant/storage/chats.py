"""A conversation as lines to be shown: what the client wrote, and what was answered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select

from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import messages, threads

LATEST = 60
"""Messages shown at most."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line. `id` is the message it belongs to; `who` the person of the business who wrote it, if any did."""

    id: int
    by_client: bool
    text: str
    at: datetime
    who: str = ""


def lines(tx: Transaction, phone: str, channel: str, after: int = 0) -> tuple[Line, ...]:
    """The latest lines of a thread, oldest first; only those of messages later than `after`."""
    query = (
        select(messages.c.id, messages.c.inbound, messages.c.text, messages.c.replies, messages.c.at, messages.c.written_by)
        .join(threads, (threads.c.id == messages.c.thread_id) & ours(threads))
        .where(ours(messages), threads.c.phone == phone, threads.c.channel == channel, messages.c.id > after)
        .order_by(messages.c.id.desc())
        .limit(LATEST)
    )
    return tuple(line for row in reversed(tx.execute(query).all()) for line in _lines(row))


def written_since(tx: Transaction, phone: str, channel: str, since: datetime) -> int:
    """How many messages the client wrote in a thread since then."""
    query = (
        select(func.count())
        .select_from(messages)
        .join(threads, (threads.c.id == messages.c.thread_id) & ours(threads))
        .where(ours(messages), threads.c.phone == phone, threads.c.channel == channel)
        .where(messages.c.inbound.is_(True), messages.c.at > since)
    )
    return int(tx.execute(query).scalar_one())


def _lines(row: AnyRow) -> Iterator[Line]:
    yield Line(row.id, bool(row.inbound), row.text, row.at, row.written_by)
    for reply in row.replies or ():
        yield Line(row.id, False, reply, row.at)
