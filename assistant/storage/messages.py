"""Messages: what came in, with the answer it got, and what we began ourselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from assistant.domain.conversation.decision import Decision
from assistant.domain.conversation.situation import InboundMessage, Turn
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.plain import as_plain
from assistant.storage.tables import messages

TURNS = 12
"""How many messages of a thread a decision can look back on."""

_BY_SID = select(messages.c.replies).where(ours(messages), messages.c.sid == bindparam("sid"))
_LATEST = (
    select(
        messages.c.inbound,
        messages.c.text,
        messages.c.at,
        messages.c.topic,
        messages.c.understood,
        messages.c.remember,
        messages.c.replies,
    )
    .where(ours(messages), messages.c.thread_id == bindparam("thread"))
    .order_by(messages.c.id.desc())
    .limit(bindparam("count"))
)


def stored_replies(tx: Transaction, sid: str) -> tuple[str, ...] | None:
    """The replies given to the inbound text with this carrier id; None when it never arrived."""
    row = tx.execute(_BY_SID, {"sid": sid}).first()
    return None if row is None else tuple(row.replies or ())


def keep_inbound(
    tx: Transaction, thread_id: int, message: InboundMessage, decision: Decision | None, now: datetime
) -> int | None:
    """Keep a text with its answer; None when its carrier id is there already.

    A second delivery that is being kept at this moment is waited for.
    """
    row = {
        "thread_id": thread_id,
        "inbound": True,
        "sid": message.sid,
        "text": message.text,
        "media": as_plain(message.media) or None,
        "at": now,
        **_outcome(decision),
    }
    return tx.insert_if_new(messages, row, "business_id", "sid")


def revise(tx: Transaction, message_id: int, decision: Decision) -> None:
    """Another decision was taken on the text."""
    changed = update(messages).where(ours(messages), messages.c.id == message_id)
    tx.execute(changed.values(**_outcome(decision)))


def keep_outbound(
    tx: Transaction,
    thread_id: int,
    text: str,
    now: datetime,
    *,
    topic: str = "",
    remember: Mapping[str, Any] | None = None,
    written_by: str = "",
) -> int:
    """Keep a text that we began, once it has left."""
    row = {"thread_id": thread_id, "inbound": False, "text": text, "at": now, "understood": True}
    return tx.insert(insert(messages), {**row, "topic": topic, "remember": remember, "written_by": written_by})


def turns_of(rows: Sequence[AnyRow]) -> tuple[Turn, ...]:
    """Rows of the thread, newest first, as turns, oldest first; an answered text is a turn and its replies' turns."""
    turns: list[Turn] = []
    for row in reversed(rows):
        turns.append(Turn(row.at, row.inbound, row.text, row.topic, row.remember))
        turns.extend(Turn(row.at, False, reply, row.topic) for reply in row.replies or ())
    return tuple(turns)


def latest(tx: Transaction, thread_id: int, limit: int = TURNS) -> Sequence[AnyRow]:
    """The last messages of a thread, newest first."""
    return tx.execute(_LATEST, {"thread": thread_id, "count": limit}).all()


def history(tx: Transaction, thread_id: int, limit: int = 100, before: int | None = None) -> Sequence[AnyRow]:
    """Whole rows of a thread for a person to read, newest first; older than row `before` when given."""
    query = select(messages).where(ours(messages), messages.c.thread_id == thread_id)
    older = [messages.c.id < before] if before else []
    return tx.execute(query.where(*older).order_by(messages.c.id.desc()).limit(limit)).all()


def mark_handled(tx: Transaction, message_id: int, now: datetime) -> None:
    """A person has dealt with the text."""
    tx.execute(update(messages).where(ours(messages), messages.c.id == message_id).values(handled_at=now))


def missed_in_a_row(rows: Sequence[AnyRow]) -> int:
    """How many of the latest inbound texts, counted from the newest, were not understood."""
    missed = 0
    for row in rows:
        if row.inbound and row.understood:
            break
        missed += row.inbound
    return missed


def _outcome(decision: Decision | None) -> dict[str, Any]:
    """A text counts as understood when the decision names a topic."""
    if decision is None:
        return {"replies": [], "understood": False}
    explained = {"asked": decision.asked, "why": decision.why, "evidence": decision.evidence}
    return {
        "topic": decision.topic,
        "verdict": decision.verdict,
        "certainty": decision.certainty,
        "understood": bool(decision.topic),
        "replies": list(decision.replies),
        "remember": as_plain(decision.remember),
        "decision": as_plain(explained),
    }
