"""Threads: one number on one channel, with what it agreed to and whether a person of the business has taken over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import insert, or_, select, update

from assistant.domain.people import Consent
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import clients, consent_history, snoozes, threads


@dataclass(frozen=True, slots=True)
class Thread:
    """Where a text goes to or came from. `client_id` is None for a number we do not know."""

    id: int
    client_id: int | None
    phone: str
    channel: str
    consent: Consent
    paused_until: datetime | None = None
    paused_by: str = ""


_THREAD = select(threads).where(ours(threads))
_CLIENT_OF_NUMBER = select(clients.c.id).where(ours(clients))


def open_thread(tx: Transaction, phone: str, channel: str, now: datetime) -> int:
    """The number of the thread of `phone` on `channel`; made, and tied to the client of that phone, if new."""
    query = _THREAD.with_only_columns(threads.c.id).where(threads.c.phone == phone, threads.c.channel == channel)
    found: int | None = tx.execute(query).scalar()
    if found is not None:
        return found
    client = tx.execute(_CLIENT_OF_NUMBER.where(clients.c.phone == phone)).scalar()
    row = {"phone": phone, "channel": channel, "client_id": client, "created_at": now}
    made = tx.insert_if_new(threads, row, "business_id", "phone", "channel")
    return made if made is not None else int(tx.execute(query).scalar_one())


def read_thread(tx: Transaction, thread_id: int) -> Thread | None:
    """One thread; None when there is none of that number."""
    row = tx.execute(_THREAD.where(threads.c.id == thread_id)).first()
    return thread_from(row) if row else None


def thread_of_client(tx: Transaction, client_id: int, now: datetime) -> int:
    """The thread on which we write to a client of our own accord."""
    query = select(clients.c.phone, clients.c.channel).where(ours(clients), clients.c.id == client_id)
    phone, channel = tx.execute(query).one()
    return open_thread(tx, phone, channel, now)


def threads_of_client(tx: Transaction, client_id: int) -> tuple[Thread, ...]:
    """Every thread of a client, over all channels."""
    return tuple(thread_from(row) for row in tx.execute(_THREAD.where(threads.c.client_id == client_id)))


def thread_from(row: AnyRow) -> Thread:
    """A row of the table as a value."""
    return Thread(
        id=row.id,
        client_id=row.client_id,
        phone=row.phone,
        channel=row.channel,
        consent=consent_from(row),
        paused_until=row.paused_until,
        paused_by=row.paused_by,
    )


def consent_from(row: AnyRow) -> Consent:
    """The columns of consent as a value."""
    return Consent(row.service, row.marketing, row.opted_out_at, frozenset(row.ended_kinds or ()))


def take_over(tx: Transaction, thread_id: int, who: str, until: datetime) -> None:
    """A person answers in this thread: the assistant stays quiet until then."""
    _change(tx, thread_id, paused_until=until, paused_by=who)


def give_back(tx: Transaction, thread_id: int) -> None:
    """The assistant answers again."""
    _change(tx, thread_id, paused_until=None, paused_by="")


def record_consent(
    tx: Transaction,
    thread_id: int,
    kind: str,
    now: datetime,
    *,
    given: bool = True,
    medium: str = "",
    wording: str = "",
    on: date | None = None,
    noted_by: str = "",
) -> None:
    """Note that service or marketing texts were agreed to, or are no longer, and how that was said."""
    _change(tx, thread_id, **{kind: given})
    _remember(tx, [thread_id], kind, given, now, medium=medium, wording=wording, on_date=on, noted_by=noted_by)


def opt_out(tx: Transaction, thread_id: int, words: str, message_id: int | None, now: datetime) -> tuple[int, ...]:
    """Withdraw all consent on every thread of the client. Returns the threads; their queued texts must go, too."""
    ids = _same_person(tx, thread_id)
    change = update(threads).where(ours(threads), threads.c.id.in_(ids))
    tx.execute(change.values(service=False, marketing=False, opted_out_at=now))
    _remember(tx, ids, "all", False, now, medium="text", wording=words, message_id=message_id)
    return tuple(ids)


def opt_in(tx: Transaction, thread_id: int, words: str, message_id: int | None, now: datetime) -> None:
    """Service texts are wanted again. Marketing stays as it is: withdrawn."""
    _change(tx, thread_id, service=True, opted_out_at=None)
    _remember(tx, [thread_id], "service", True, now, medium="text", wording=words, message_id=message_id)


def end_kind(tx: Transaction, thread_id: int, kind: str, message_id: int | None, now: datetime) -> tuple[int, ...]:
    """No more nudges of this kind, on any thread of the same client. Returns the threads."""
    ids = _same_person(tx, thread_id)
    query = select(threads.c.id, threads.c.ended_kinds).where(ours(threads), threads.c.id.in_(ids))
    for id_, kinds in tx.execute(query).all():
        _change(tx, id_, ended_kinds=sorted({*(kinds or ()), kind}))
    _remember(tx, ids, kind, False, now, medium="text", message_id=message_id)
    return tuple(ids)


def snooze(tx: Transaction, client_id: int, kind: str, until: date) -> None:
    """Nudges of this kind rest until that day."""
    mine = (ours(snoozes), snoozes.c.client_id == client_id, snoozes.c.kind == kind)
    if not tx.execute(update(snoozes).where(*mine).values(until=until)).rowcount:
        tx.execute(insert(snoozes), {"client_id": client_id, "kind": kind, "until": until})


def snoozed(tx: Transaction, client_id: int) -> dict[str, date]:
    """Kinds that rest, with the day until which they do."""
    query = select(snoozes.c.kind, snoozes.c.until).where(ours(snoozes), snoozes.c.client_id == client_id)
    return {row.kind: row.until for row in tx.execute(query)}


def consent_log(tx: Transaction, thread_id: int) -> tuple[AnyRow, ...]:
    """Everything that was ever said about consent in a thread, oldest first."""
    query = select(consent_history).where(ours(consent_history), consent_history.c.thread_id == thread_id)
    return tuple(tx.execute(query.order_by(consent_history.c.id)))


def _same_person(tx: Transaction, thread_id: int) -> list[int]:
    of_thread = select(threads.c.client_id).where(ours(threads), threads.c.id == thread_id).scalar_subquery()
    same = or_(threads.c.id == thread_id, threads.c.client_id == of_thread)
    query = select(threads.c.id).where(ours(threads), same)
    return sorted(tx.execute(query).scalars())


def _change(tx: Transaction, thread_id: int, **values: Any) -> None:
    tx.execute(update(threads).where(ours(threads), threads.c.id == thread_id).values(**values))


def _remember(
    tx: Transaction, thread_ids: Iterable[int], kind: str, given: bool, now: datetime, **details: Any
) -> None:
    rows = [{"thread_id": id_, "kind": kind, "given": given, "at": now, **details} for id_ in thread_ids]
    tx.execute(insert(consent_history), rows)
