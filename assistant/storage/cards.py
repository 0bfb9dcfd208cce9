"""What an owner may write on their own care card."""

from __future__ import annotations

from datetime import date

from sqlalchemy import select

from assistant.domain.people import CareKind
from assistant.storage.database import Transaction, ours
from assistant.storage.tables import care_events, vessels


def lock_own_vessel(tx: Transaction, client_id: int, vessel_id: int) -> bool:
    """Hold the boat until the transaction ends, so that two taps wait for each other. False when it is not theirs."""
    mine = (ours(vessels), vessels.c.id == vessel_id, vessels.c.client_id == client_id, vessels.c.gone.is_(None))
    return tx.execute(select(vessels.c.id).where(*mine).with_for_update()).first() is not None


def topped_on(tx: Transaction, vessel_id: int, day: date) -> bool:
    """Whether a topper is on record for that day."""
    on_that_day = (care_events.c.vessel_id == vessel_id, care_events.c.on == day)
    query = select(care_events.c.id).where(ours(care_events), *on_that_day)
    return tx.execute(query.where(care_events.c.kind == CareKind.TOPPER.value).limit(1)).first() is not None
