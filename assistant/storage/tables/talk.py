"""Tables of the conversation: messages, what we wait for, what a person must see, and what a person taught."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, Index, String, Table, UniqueConstraint
from sqlalchemy import text as sql

from assistant.storage.tables.columns import (
    business,
    document,
    flag,
    key,
    link,
    metadata,
    moment,
    text,
)

messages = Table(
    "messages",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True),
    Column("inbound", Boolean, nullable=False),
    text("sid", default=None),
    text("text"),
    document("media"),
    moment("at", needed=True),
    text("topic"),
    Column("verdict", String(10)),
    Column("certainty", Float),
    flag("understood"),
    document("decision"),
    document("remember"),
    document("replies"),
    text("written_by"),
    moment("handled_at"),
    Index(None, "business_id", "thread_id", "id"),
    Index(None, "business_id", "at"),
    UniqueConstraint("business_id", "sid"),
)
"""An inbound text stands with the replies it got, so a repeated delivery is answered from the same row.
`remember` is what a follow-up may need; `decision` explains: asked, evidence, why. Outbound rows are texts we began.
`written_by` names the person of the business who wrote an outbound text; empty for the assistant."""

open_questions = Table(
    "open_questions",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True),
    link("message_id", "messages", needed=False, with_it=True, index=True),
    Column("kind", String(60), nullable=False),
    document("data"),
    moment("asked_at", needed=True),
    moment("expires_at", needed=True),
    moment("closed_at"),
    Index(
        "uq_open_questions_thread_open",
        "thread_id",
        unique=True,
        sqlite_where=sql("closed_at IS NULL"),
        postgresql_where=sql("closed_at IS NULL"),
    ),
)
"""At most one is open in a thread: the index says so."""

handovers = Table(
    "handovers",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True),
    link("message_id", "messages", needed=False, with_it=True, index=True),
    text("reason"),
    flag("urgent"),
    text("note"),
    Column("state", String(10), nullable=False, server_default="open"),
    moment("opened_at", needed=True),
    moment("answered_at"),
    text("answer"),
    text("answered_by"),
    moment("closed_at"),
    moment("reminded_at"),
    text("taught_topic"),
    Index(None, "business_id", "state", "opened_at"),
    Index(
        "ix_handovers_thread_open",
        "thread_id",
        sqlite_where=sql("state = 'open'"),
        postgresql_where=sql("state = 'open'"),
    ),
)
"""`state`: open, answered, closed."""

taught = Table(
    "taught",
    metadata,
    key(),
    business(),
    link("handover_id", "handovers", needed=False, index=True),
    text("topic"),
    Column("language", String(8), nullable=False, server_default=""),
    text("question"),
    text("answer"),
    text("taught_by"),
    moment("taught_at", needed=True),
    moment("withdrawn_at"),
    Index(None, "business_id", "topic"),
)
"""Questions and answers that the detailer added while answering."""
