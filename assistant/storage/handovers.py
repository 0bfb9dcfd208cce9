"""What we wait for in a thread, and what a person of the business must see."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.plain import as_plain
from assistant.storage.tables import clients, handovers, messages, open_questions, taught, threads


@dataclass(frozen=True, slots=True)
class Handover:
    """One thing a person must see. `question` is the client's text; `state` open, answered or closed."""

    id: int
    thread_id: int
    client_id: int | None
    name: str
    phone: str
    reason: str
    urgent: bool
    note: str
    question: str
    state: str
    opened_at: datetime
    answer: str = ""
    answered_by: str = ""
    answered_at: datetime | None = None
    reminded_at: datetime | None = None
    taught_topic: str = ""


_WHOLE = (
    select(
        handovers,
        threads.c.client_id,
        threads.c.phone,
        clients.c.name,
        messages.c.text.label("question"),
    )
    .select_from(handovers)
    .join(threads, (threads.c.id == handovers.c.thread_id) & ours(threads))
    .outerjoin(clients, (clients.c.id == threads.c.client_id) & ours(clients))
    .outerjoin(messages, (messages.c.id == handovers.c.message_id) & ours(messages))
    .where(ours(handovers))
)


def ask_client(
    tx: Transaction,
    thread_id: int,
    kind: str,
    data: Mapping[str, Any],
    expires_at: datetime,
    now: datetime,
    message_id: int | None = None,
) -> int:
    """Wait for an answer from now on; whatever was waited for before is closed."""
    close_question(tx, thread_id, now)
    row = {"thread_id": thread_id, "kind": kind, "data": as_plain(data), "asked_at": now, "expires_at": expires_at}
    return tx.insert(insert(open_questions), {**row, "message_id": message_id})


def close_question(tx: Transaction, thread_id: int, now: datetime) -> None:
    """Wait no longer."""
    open_one = (open_questions.c.thread_id == thread_id, open_questions.c.closed_at.is_(None))
    tx.execute(update(open_questions).where(ours(open_questions), *open_one).values(closed_at=now))


def open_handover(
    tx: Transaction,
    thread_id: int,
    reason: str,
    now: datetime,
    *,
    urgent: bool = False,
    note: str = "",
    message_id: int | None = None,
) -> int:
    """Put a thing before a person."""
    row = {"thread_id": thread_id, "reason": reason, "urgent": urgent, "note": note, "opened_at": now}
    return tx.insert(insert(handovers), {**row, "message_id": message_id})


def find_handover(tx: Transaction, handover_id: int) -> Handover | None:
    """One handover by its number."""
    row = tx.execute(_WHOLE.where(handovers.c.id == handover_id)).first()
    return _handover_from(row) if row else None


def handovers_in(tx: Transaction, state: str = "open", limit: int = 100) -> tuple[Handover, ...]:
    """Handovers of one state: urgent ones first, then the longest waiting."""
    query = _WHOLE.where(handovers.c.state == state).order_by(handovers.c.urgent.desc(), handovers.c.opened_at)
    return tuple(map(_handover_from, tx.execute(query.limit(limit))))


def opened_after(tx: Transaction, handover_id: int) -> tuple[Handover, ...]:
    """Handovers opened later than the one with this number, oldest first."""
    query = _WHOLE.where(handovers.c.id > handover_id).order_by(handovers.c.id)
    return tuple(map(_handover_from, tx.execute(query)))


def answer_handover(tx: Transaction, handover_id: int, answer: str, who: str, now: datetime) -> bool:
    """Note a person's answer; False when somebody answered or closed it before."""
    change = {"state": "answered", "answer": answer, "answered_by": who, "answered_at": now}
    return _leave_open(tx, handover_id, change)


def close_handover(tx: Transaction, handover_id: int, who: str, now: datetime) -> bool:
    """Nothing needs to be said; False when somebody answered or closed it before."""
    return _leave_open(tx, handover_id, {"state": "closed", "answered_by": who, "closed_at": now})


def note_reminder(tx: Transaction, handover_id: int, now: datetime) -> None:
    """The person was reminded of it."""
    tx.execute(update(handovers).where(ours(handovers), handovers.c.id == handover_id).values(reminded_at=now))


def teach(
    tx: Transaction,
    question: str,
    answer: str,
    who: str,
    now: datetime,
    *,
    topic: str = "",
    language: str = "",
    handover_id: int | None = None,
) -> int:
    """Keep a question with its answer for the next time it is asked."""
    row = {"question": question, "answer": answer, "taught_by": who, "taught_at": now, "topic": topic}
    made = tx.insert(insert(taught), {**row, "language": language, "handover_id": handover_id})
    if handover_id is not None:
        tx.execute(update(handovers).where(ours(handovers), handovers.c.id == handover_id).values(taught_topic=topic))
    return made


def all_taught(tx: Transaction) -> tuple[AnyRow, ...]:
    """Everything taught and not withdrawn, oldest first."""
    query = select(taught).where(ours(taught), taught.c.withdrawn_at.is_(None)).order_by(taught.c.id)
    return tuple(tx.execute(query))


def withdraw_taught(tx: Transaction, taught_id: int, now: datetime) -> None:
    """Use it no more; it stays on record."""
    tx.execute(update(taught).where(ours(taught), taught.c.id == taught_id).values(withdrawn_at=now))


def _leave_open(tx: Transaction, handover_id: int, change: Mapping[str, Any]) -> bool:
    still_open = (handovers.c.id == handover_id, handovers.c.state == "open")
    return tx.execute(update(handovers).where(ours(handovers), *still_open).values(**change)).rowcount == 1


def _handover_from(row: AnyRow) -> Handover:
    return Handover(
        id=row.id,
        thread_id=row.thread_id,
        client_id=row.client_id,
        name=row.name or "",
        phone=row.phone,
        reason=row.reason,
        urgent=row.urgent,
        note=row.note,
        question=row.question or "",
        state=row.state,
        opened_at=row.opened_at,
        answer=row.answer,
        answered_by=row.answered_by,
        answered_at=row.answered_at,
        reminded_at=row.reminded_at,
        taught_topic=row.taught_topic,
    )
