"""Jobs on record."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select

from assistant.storage.database import Transaction, ours
from assistant.storage.tables import jobs


def find_job(tx: Transaction, vessel_id: int, finished_at: datetime, service: str) -> int | None:
    """The job of this kind that was finished on the vessel at this very moment."""
    query = select(jobs.c.id).where(ours(jobs), jobs.c.vessel_id == vessel_id)
    same = query.where(jobs.c.finished_at == finished_at, jobs.c.service == service)
    return tx.execute(same.order_by(jobs.c.id).limit(1)).scalar()
