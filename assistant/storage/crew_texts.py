"""What texting with the business's own people needs: the action that waits for its code, the numbers by which open
questions are told apart, and every name a person may write."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, update

from assistant.domain.boat_names import Named
from assistant.domain.conversation.decision import Decision
from assistant.storage.database import Transaction, ours
from assistant.storage.handovers import Handover, find_handover
from assistant.storage.tables import clients, handovers, messages, open_questions, outbox, threads, vessels

TOLD = "crew.handover"
"""Kind of the text that puts a handover before one of our people; its `data` holds the handover's number."""
WRONG = "crew.wrong_code"
"""Topic of a text whose code or number was wrong."""


@dataclass(frozen=True, slots=True)
class Pending:
    """An action that was read back and waits for its code. `wrong` counts the tries that failed."""

    id: int
    kind: str
    data: Mapping[str, Any]


def pending(tx: Transaction, thread_id: int, now: datetime) -> Pending | None:
    """What waits in this thread; locked, so that a code works once."""
    open_one = (open_questions.c.thread_id == thread_id, open_questions.c.closed_at.is_(None))
    query = select(open_questions).where(ours(open_questions), *open_one, open_questions.c.expires_at > now)
    row = tx.execute(query.with_for_update()).first()
    return Pending(row.id, row.kind, row.data or {}) if row else None


def note_wrong(tx: Transaction, waiting: Pending) -> int:
    """One more wrong code for it; returns how many there were."""
    wrong = int(waiting.data.get("wrong", 0)) + 1
    mine = (ours(open_questions), open_questions.c.id == waiting.id)
    tx.execute(update(open_questions).where(*mine).values(data={**waiting.data, "wrong": wrong}))
    return wrong


def wrong_since(tx: Transaction, thread_id: int, since: datetime) -> int:
    """How many wrong codes and numbers came from this thread since then."""
    mine = (messages.c.thread_id == thread_id, messages.c.topic == WRONG, messages.c.at > since)
    return int(tx.execute(select(func.count()).select_from(messages).where(ours(messages), *mine)).scalar_one())


def untold(tx: Transaction, crew_phones: Iterable[str], limit: int = 20) -> tuple[Handover, ...]:
    """Open handovers that none of our people was told of by text, oldest first; never those about a text to them."""
    told = select(outbox.c.id).where(ours(outbox), outbox.c.handover_id == handovers.c.id, outbox.c.kind == TOLD)
    query = (
        select(handovers.c.id)
        .join(threads, (threads.c.id == handovers.c.thread_id) & ours(threads))
        .where(ours(handovers), handovers.c.state == "open", threads.c.phone.not_in(list(crew_phones)), ~told.exists())
        .order_by(handovers.c.id)
        .limit(limit)
    )
    found = (find_handover(tx, id_) for id_ in tx.execute(query).scalars().all())
    return tuple(one for one in found if one)


def numbers(tx: Transaction, since: datetime) -> dict[int, int]:
    """Number -> handover, of those that are open and those opened since then; the latest wins."""
    query = (
        select(outbox.c.handover_id, outbox.c.data)
        .join(handovers, (handovers.c.id == outbox.c.handover_id) & ours(handovers))
        .where(ours(outbox), outbox.c.kind == TOLD)
        .where((handovers.c.state == "open") | (handovers.c.opened_at > since))
        .order_by((handovers.c.state == "open"), handovers.c.id)
    )
    return {int(row.data["number"]): row.handover_id for row in tx.execute(query)}


def named(tx: Transaction) -> tuple[Named, ...]:
    """Every client with each of their boats."""
    query = (
        select(clients.c.id, clients.c.name, vessels.c.id.label("vessel_id"), vessels.c.name.label("vessel"))
        .outerjoin(vessels, (vessels.c.client_id == clients.c.id) & ours(vessels) & vessels.c.gone.is_(None))
        .where(ours(clients))
        .order_by(clients.c.id, vessels.c.id)
    )
    return tuple(Named(row.id, row.name, row.vessel_id, row.vessel or "") for row in tx.execute(query))


def tie_to_vessel(tx: Transaction, message_id: int, vessel_id: int) -> None:
    """Remember which boat the pictures of a text show."""
    mine = (ours(messages), messages.c.id == message_id)
    tx.execute(update(messages).where(*mine).values(remember={"vessel_id": vessel_id}))


def answered(replies: tuple[str, ...], topic: str, remember: Mapping[str, Any] | None) -> Decision:
    """The outcome of a text of ours, in the form in which messages are kept."""
    return Decision(replies=replies, topic=topic, remember=remember)
