"""Tables of time and money: visits, occupied quarters, holds, plans, the waiting list, quotes."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    UniqueConstraint,
)

from assistant.storage.tables.columns import (
    amount,
    business,
    count,
    document,
    key,
    link,
    metadata,
    moment,
    text,
)

plans = Table(
    "plans",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True, index=True),
    text("service"),
    Column("state", String(10), nullable=False, server_default="active"),
    Column("every_days", Integer),
    Column("begins_on", Date),
    document("detail"),
    moment("created_at", needed=True),
    moment("changed_at", needed=True),
)
"""A wash-and-topper schedule. `state`: active, paused, finished."""

plan_vessels = Table(
    "plan_vessels",
    metadata,
    business(),
    Column("plan_id", ForeignKey("plans.id", ondelete="CASCADE"), primary_key=True),
    Column("vessel_id", ForeignKey("vessels.id", ondelete="CASCADE"), primary_key=True, index=True),
)

visits = Table(
    "visits",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True),
    link("plan_id", "plans", needed=False, index=True),
    Column("uid", String(120), nullable=False),
    count("sequence"),
    text("service"),
    Column("crew", Integer, nullable=False),
    moment("begins_at", needed=True),
    moment("ends_at", needed=True),
    Column("wall_begins", String(16), nullable=False),
    Column("zone", String(60), nullable=False),
    text("place"),
    Column("state", String(12), nullable=False, server_default="booked"),
    amount("price"),
    text("note"),
    text("called_off_why"),
    moment("created_at", needed=True),
    moment("revised_at", needed=True),
    UniqueConstraint("business_id", "uid"),
    CheckConstraint("ends_at > begins_at", name="ck_visits_ends_after_beginning"),
    Index(None, "business_id", "client_id", "begins_at"),
    Index(None, "business_id", "begins_at"),
)
"""`wall_begins` (YYYY-MM-DDTHH:MM) and `zone` say what was agreed; `begins_at` what instant that meant then."""

visit_vessels = Table(
    "visit_vessels",
    metadata,
    business(),
    Column("visit_id", ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
    Column("vessel_id", ForeignKey("vessels.id", ondelete="CASCADE"), primary_key=True, index=True),
)

holds = Table(
    "holds",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True, index=True),
    link("message_id", "messages", needed=False, with_it=True, index=True),
    Column("crew", Integer, nullable=False),
    moment("begins_at", needed=True),
    moment("ends_at", needed=True),
    moment("until", needed=True),
    text("place"),
    Index(None, "business_id", "until"),
)
"""An offered time, kept free for one client until `until`; `place` keeps the drive to it free as well."""

occupied = Table(
    "occupied",
    metadata,
    business(primary=True),
    Column("crew", Integer, primary_key=True, autoincrement=False),
    Column("quarter", Integer, primary_key=True, autoincrement=False),
    link("visit_id", "visits", needed=False, with_it=True, index=True),
    link("hold_id", "holds", needed=False, with_it=True, index=True),
    CheckConstraint("(visit_id IS NULL) <> (hold_id IS NULL)", name="ck_occupied_by_one"),
)
"""One row per crew and quarter of an hour (counted from 1970 UTC): its key makes a double booking impossible."""

busy_blocks = Table(
    "busy_blocks",
    metadata,
    key(),
    business(),
    Column("crew", Integer),
    moment("begins_at", needed=True),
    moment("ends_at", needed=True),
    Column("source", String(200), nullable=False, server_default=""),
    Column("uid", String(255), nullable=False, server_default=""),
    text("place"),
    Index(None, "business_id", "begins_at"),
    Index(None, "business_id", "source"),
)
"""Time taken in the detailer's own calendar. `crew` NULL takes every crew."""

waiting_list = Table(
    "waiting_list",
    metadata,
    key(),
    business(),
    link("thread_id", "threads", with_it=True, index=True),
    text("service"),
    document("vessel_ids"),
    document("wish"),
    Column("state", String(10), nullable=False, server_default="waiting"),
    moment("joined_at", needed=True),
    moment("told_at"),
    Index(None, "business_id", "state", "joined_at"),
)
"""`state`: waiting, told, closed."""

quotes = Table(
    "quotes",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True, index=True),
    link("visit_id", "visits", needed=False, index=True),
    text("service"),
    document("vessel_ids"),
    document("lines"),
    amount("total"),
    Column("currency", String(3), nullable=False, server_default=""),
    Column("estimate", Boolean, nullable=False, server_default="0"),
    Column("made_on", Date, nullable=False),
    Column("expires_on", Date, nullable=False),
    moment("created_at", needed=True),
)
"""A price as it was named, line by line, so that it can be honoured and explained later."""
