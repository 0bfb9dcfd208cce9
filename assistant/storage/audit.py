"""Who did what, when: written in the transaction that does it, never changed afterwards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, or_, select

from assistant.storage.database import Transaction, ours
from assistant.storage.plain import as_plain
from assistant.storage.tables import audit_log


@dataclass(frozen=True, slots=True)
class Deed:
    """One line of the log."""

    id: int
    at: datetime
    actor: str
    action: str
    subject: str
    detail: Mapping[str, Any]


def note(tx: Transaction, now: datetime, actor: str, action: str, subject: str = "", **detail: Any) -> None:
    """Keep that `actor` did `action` to `subject`."""
    row = {"at": now, "actor": actor, "action": action, "subject": subject, "detail": as_plain(detail) or None}
    tx.execute(insert(audit_log), row)


def deeds(tx: Transaction, words: str = "", before: int | None = None, limit: int = 50) -> tuple[Deed, ...]:
    """The latest deeds first; those that hold `words`, and older than number `before`, when given."""
    query = select(audit_log).where(ours(audit_log)).order_by(audit_log.c.id.desc()).limit(limit)
    if before is not None:
        query = query.where(audit_log.c.id < before)
    if words.strip():
        columns = (audit_log.c.actor, audit_log.c.action, audit_log.c.subject)
        like = words.strip().lower()
        query = query.where(or_(*(func.lower(column).contains(like, autoescape=True) for column in columns)))
    return tuple(
        Deed(row.id, row.at, row.actor, row.action, row.subject, row.detail or {}) for row in tx.execute(query)
    )
