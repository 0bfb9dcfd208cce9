"""Tables of what we send of our own accord: the outbox, the carrier's receipts, and which nudges were thought of."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, String, Table, UniqueConstraint
from sqlalchemy import text as sql

from assistant.storage.tables.columns import (
    business,
    count,
    document,
    key,
    link,
    metadata,
    moment,
    text,
)

outbox = Table(
    "outbox",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True),
    link("vessel_id", "vessels", needed=False, with_it=True, index=True),
    link("visit_id", "visits", needed=False, with_it=True, index=True),
    link("handover_id", "handovers", needed=False, with_it=True, index=True),
    Column("consent", String(20), nullable=False),
    Column("kind", String(60), nullable=False),
    text("text"),
    document("media"),
    document("data"),
    text("why"),
    text("dedupe_key"),
    Column("state", String(12), nullable=False, server_default="queued"),
    moment("due_at", needed=True),
    moment("not_before"),
    moment("not_after"),
    count("attempts"),
    text("claimed_by"),
    moment("claimed_at"),
    text("carrier_sid", default=None),
    Column("error_code", Integer),
    text("error"),
    Column("segments", Integer),
    text("written_by"),
    moment("created_at", needed=True),
    moment("sent_at"),
    UniqueConstraint("business_id", "dedupe_key"),
    Index(
        "ix_outbox_queued",
        "business_id",
        "due_at",
        sqlite_where=sql("state = 'queued'"),
        postgresql_where=sql("state = 'queued'"),
    ),
    Index(
        "ix_outbox_uncertain",
        "business_id",
        "claimed_at",
        sqlite_where=sql("state IN ('sending', 'unknown')"),
        postgresql_where=sql("state IN ('sending', 'unknown')"),
    ),
    Index(None, "business_id", "thread_id", "sent_at"),
    Index(None, "business_id", "carrier_sid"),
)
"""`consent` is what the text needs: service, marketing, reply (to the client's own text) or crew (to our people).
`state`: queued, sending, then sent, delivered, failed, unknown (nobody knows whether it left) or dropped (see `why`).
"""

receipts = Table(
    "receipts",
    metadata,
    key(),
    business(),
    text("carrier_sid"),
    text("status"),
    Column("error_code", Integer),
    moment("at", needed=True),
    UniqueConstraint("business_id", "carrier_sid", "status"),
)
"""What the carrier reported, as it came; order is not trusted."""

nudge_log = Table(
    "nudge_log",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True),
    link("vessel_id", "vessels", needed=False, with_it=True, index=True),
    link("outbox_id", "outbox", needed=False, index=True),
    Column("kind", String(60), nullable=False),
    text("occasion"),
    text("outcome"),
    moment("at", needed=True),
    UniqueConstraint("business_id", "occasion"),
    Index(None, "client_id", "at"),
)
"""One row per occasion (kind, vessel, due date ...), so that none is nudged about twice."""
