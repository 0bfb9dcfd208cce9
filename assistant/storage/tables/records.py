"""Tables of vessels, what was put on them, what happened since, and when to think of each one again."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, Index, Integer, String, Table, UniqueConstraint

from assistant.storage.tables.columns import (
    amount,
    business,
    document,
    flag,
    key,
    link,
    metadata,
    moment,
    text,
)

vessels = Table(
    "vessels",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True),
    text("name"),
    text("boat_type"),
    amount("length_ft"),
    Column("hin", String(40), nullable=False, server_default=""),
    text("water"),
    text("place"),
    Column("kept", String(20), nullable=False),
    Column("season_from", String(5)),
    Column("season_to", String(5)),
    Column("kept_off_season", String(20)),
    text("life_factors"),
    text("note"),
    Column("gone", String(40)),
    moment("created_at", needed=True),
    UniqueConstraint("client_id", "name"),
)
"""`season_from`/`season_to` as MM-DD, both inclusive; `gone` says why a vessel is no longer looked after."""

jobs = Table(
    "jobs",
    metadata,
    key(),
    business(),
    link("client_id", "clients", with_it=True, index=True),
    link("vessel_id", "vessels", with_it=True, index=True),
    link("visit_id", "visits", needed=False, index=True),
    text("service"),
    Column("done_on", Date, nullable=False),
    moment("finished_at"),
    text("place"),
    text("note"),
    document("detail"),
    amount("price"),
    text("done_by"),
    moment("created_at", needed=True),
)

applications = Table(
    "applications",
    metadata,
    key(),
    business(),
    link("vessel_id", "vessels", with_it=True),
    Column("surface", String(40), nullable=False),
    Column("coating", String(40), nullable=False),
    Column("applied_on", Date, nullable=False),
    moment("finished_at"),
    link("job_id", "jobs", needed=False, index=True),
    text("product"),
    UniqueConstraint("vessel_id", "surface", "coating", "applied_on"),
)

care_events = Table(
    "care_events",
    metadata,
    key(),
    business(),
    link("vessel_id", "vessels", with_it=True),
    Column("kind", String(20), nullable=False),
    Column("on", Date, nullable=False),
    amount("area"),
    text("substance"),
    text("surface"),
    Column("grade", String(20), nullable=False, server_default=""),
    text("note"),
    link("message_id", "messages", needed=False, index=True),
    link("job_id", "jobs", needed=False, index=True),
    moment("noted_at", needed=True),
    Index(None, "vessel_id", "on"),
)

next_due = Table(
    "next_due",
    metadata,
    business(),
    Column("vessel_id", ForeignKey("vessels.id", ondelete="CASCADE"), primary_key=True),
    link("client_id", "clients", with_it=True, index=True),
    moment("at", needed=True),
    Index(None, "business_id", "at"),
)
"""The moment at which a vessel is next worth a thought; a write that could change the answer sets it to that write's
moment, so planning looks only at what is due."""

photos = Table(
    "photos",
    metadata,
    key(),
    business(),
    link("client_id", "clients", needed=False, with_it=True, index=True),
    link("vessel_id", "vessels", needed=False, with_it=True, index=True),
    link("message_id", "messages", needed=False, index=True),
    link("job_id", "jobs", needed=False, index=True),
    Column("kind", String(20), nullable=False, server_default=""),
    text("file"),
    Column("content_type", String(80), nullable=False, server_default=""),
    Column("sha256", String(64), nullable=False, server_default=""),
    Column("width", Integer),
    Column("height", Integer),
    Column("token", String(80), unique=True),
    text("note"),
    moment("taken_at"),
    moment("created_at", needed=True),
    flag("withdrawn"),
)
"""`file` is a path below the media folder of the home; `token` makes the unguessable link."""
