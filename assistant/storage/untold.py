"""Texts that did not arrive, or may not have, and that no person was told of yet.

Telling opens a handover and ties the text to it, so each is told once, whoever found out: the sender or a receipt.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import and_, or_, select, update

from assistant.storage.database import Transaction, ours
from assistant.storage.handovers import open_handover
from assistant.storage.tables import handovers, outbox

NOT_DELIVERED, UNCERTAIN = "text_not_delivered", "text_uncertain"
"""Reasons of handovers: the text did not arrive; nobody knows whether it left."""

_UNTOLD = (
    select(outbox.c.id, outbox.c.thread_id, outbox.c.text, outbox.c.state, outbox.c.error, outbox.c.error_code)
    .outerjoin(handovers, (handovers.c.id == outbox.c.handover_id) & ours(handovers))
    .where(
        ours(outbox),
        or_(handovers.c.id.is_(None), handovers.c.reason.not_in((NOT_DELIVERED, UNCERTAIN))),
    )
    .order_by(outbox.c.id)
)


@dataclass(frozen=True, slots=True)
class Untold:
    """A text that a person must hear about."""

    id: int
    thread_id: int
    text: str
    state: str
    error: str
    error_code: int | None


def untold(tx: Transaction, uncertain_since: datetime, limit: int = 50) -> tuple[Untold, ...]:
    """Failed texts, and those uncertain since before that moment, locked for this transaction."""
    which = or_(
        outbox.c.state == "failed", and_(outbox.c.state == "unknown", outbox.c.claimed_at <= uncertain_since)
    )
    rows = tx.execute(_UNTOLD.where(which).limit(limit).with_for_update(of=outbox, skip_locked=True))
    return tuple(Untold(*row) for row in rows)


def tell(tx: Transaction, text: Untold, note: str, now: datetime) -> None:
    """Put the text before a person."""
    reason = NOT_DELIVERED if text.state == "failed" else UNCERTAIN
    handover = open_handover(tx, text.thread_id, reason, now, note=note)
    tx.execute(update(outbox).where(ours(outbox), outbox.c.id == text.id).values(handover_id=handover))
