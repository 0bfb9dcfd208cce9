"""Tables of the business, its crew's accounts, the clients, their threads and what they agreed to."""

from __future__ import annotations

from sqlalchemy import Column, Date, Index, String, Table, UniqueConstraint

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

businesses = Table(
    "businesses",
    metadata,
    key(),
    text("name"),
    document("settings"),
    moment("created_at", needed=True),
)
"""`settings` are overrides made on the web page; the rest of a business stands in its business.toml."""

business_numbers = Table(
    "business_numbers",
    metadata,
    Column("number", String(80), primary_key=True),
    business(),
    Index(None, "business_id"),
)
"""Numbers (E.164) and messaging service ids under which a business is reached: leads an inbound text to its owner."""

crew_accounts = Table(
    "crew_accounts",
    metadata,
    key(),
    business(),
    text("name"),
    text("phone", default=None),
    Column("role", String(20), nullable=False, server_default="crew"),
    text("password_hash", default=None),
    text("language"),
    flag("locked"),
    moment("created_at", needed=True),
    moment("last_seen_at"),
    UniqueConstraint("business_id", "phone"),
)

invitations = Table(
    "invitations",
    metadata,
    key(),
    business(),
    link("account_id", "crew_accounts", with_it=True),
    Column("token_hash", String(80), nullable=False, unique=True),
    moment("made_at", needed=True),
    moment("expires_at", needed=True),
    moment("used_at"),
    Index(None, "account_id"),
)

sign_in_attempts = Table(
    "sign_in_attempts",
    metadata,
    key(),
    business(),
    text("who"),
    text("address"),
    flag("succeeded"),
    moment("at", needed=True),
    Index(None, "business_id", "who", "at"),
    Index(None, "business_id", "address", "at"),
)

sessions = Table(
    "sessions",
    metadata,
    key(),
    business(),
    link("account_id", "crew_accounts", with_it=True),
    Column("token_hash", String(80), nullable=False, unique=True),
    moment("made_at", needed=True),
    moment("last_seen_at", needed=True),
    moment("ended_at"),
    Index(None, "account_id"),
)

clients = Table(
    "clients",
    metadata,
    key(),
    business(),
    text("name"),
    text("phone"),
    text("channel", default="sms"),
    text("language"),
    text("zone"),
    Column("country", String(2), nullable=False, server_default=""),
    Column("closed", String(40)),
    Column("card_token", String(80), unique=True),
    Column("calendar_token", String(80), unique=True),
    text("note"),
    moment("created_at", needed=True),
    UniqueConstraint("business_id", "phone"),
)
"""One person. `channel` is the one we write on of our own accord; `closed` why we no longer do."""

threads = Table(
    "threads",
    metadata,
    key(),
    business(),
    link("client_id", "clients", needed=False, with_it=True, index=True),
    text("channel"),
    text("phone"),
    flag("service"),
    flag("marketing"),
    moment("opted_out_at"),
    document("ended_kinds"),
    moment("paused_until"),
    text("paused_by"),
    moment("created_at", needed=True),
    UniqueConstraint("business_id", "phone", "channel"),
)
"""One number on one channel, known or not: who it is, what it agreed to now, and whether a person has taken over.

Consent belongs to the number and channel, so it stands here: a stranger can opt out, too."""

consent_history = Table(
    "consent_history",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True),
    Column("kind", String(20), nullable=False),
    flag("given"),
    text("medium"),
    text("wording"),
    Column("on_date", Date),
    moment("at", needed=True),
    link("message_id", "messages", needed=False),
    text("noted_by"),
    Index(None, "thread_id", "at"),
)
"""Never changed, only added to. `kind`: service, marketing, all, or a nudge kind that was ended."""

snoozes = Table(
    "snoozes",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True),
    Column("kind", String(60), nullable=False),
    Column("until", Date, nullable=False),
    UniqueConstraint("client_id", "kind"),
)

audit_log = Table(
    "audit_log",
    metadata,
    key(),
    business(),
    moment("at", needed=True),
    text("actor"),
    Column("action", String(60), nullable=False),
    text("subject"),
    document("detail"),
    Index(None, "business_id", "at"),
    Index(None, "business_id", "subject"),
)

duties = Table(
    "duties",
    metadata,
    Column("name", String(60), primary_key=True),
    business(primary=True),
    text("held_by"),
    moment("until", needed=True),
)
"""Who does a task that only one process may do at a time, and until when that holds."""
