"""the first tables

There is no way back but the backup taken before it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from assistant.storage.tables.columns import Exact, Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the step."""
    op.create_table(
        "businesses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_businesses")),
    )
    op.create_table(
        "audit_log",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.Column("actor", sa.Text(), server_default="", nullable=False),
        sa.Column("action", sa.String(length=60), nullable=False),
        sa.Column("subject", sa.Text(), server_default="", nullable=False),
        sa.Column("detail", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_audit_log_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_log")),
    )
    op.create_index(op.f("ix_audit_log_business_id_at"), "audit_log", ["business_id", "at"], unique=False)
    op.create_index(op.f("ix_audit_log_business_id_subject"), "audit_log", ["business_id", "subject"], unique=False)
    op.create_table(
        "business_numbers",
        sa.Column("number", sa.String(length=80), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_business_numbers_business_id")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_business_numbers")),
    )
    op.create_index(op.f("ix_business_numbers_business_id"), "business_numbers", ["business_id"], unique=False)
    op.create_table(
        "busy_blocks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("crew", sa.Integer(), nullable=True),
        sa.Column("begins_at", Moment(timezone=True), nullable=False),
        sa.Column("ends_at", Moment(timezone=True), nullable=False),
        sa.Column("source", sa.String(length=200), server_default="", nullable=False),
        sa.Column("uid", sa.String(length=255), server_default="", nullable=False),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_busy_blocks_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_busy_blocks")),
    )
    op.create_index(
        op.f("ix_busy_blocks_business_id_begins_at"), "busy_blocks", ["business_id", "begins_at"], unique=False
    )
    op.create_index(op.f("ix_busy_blocks_business_id_source"), "busy_blocks", ["business_id", "source"], unique=False)
    op.create_table(
        "clients",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("phone", sa.Text(), server_default="", nullable=False),
        sa.Column("channel", sa.Text(), server_default="sms", nullable=False),
        sa.Column("language", sa.Text(), server_default="", nullable=False),
        sa.Column("zone", sa.Text(), server_default="", nullable=False),
        sa.Column("country", sa.String(length=2), server_default="", nullable=False),
        sa.Column("closed", sa.String(length=40), nullable=True),
        sa.Column("card_token", sa.String(length=80), nullable=True),
        sa.Column("calendar_token", sa.String(length=80), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_clients_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clients")),
        sa.UniqueConstraint("business_id", "phone", name=op.f("uq_clients_business_id_phone")),
        sa.UniqueConstraint("calendar_token", name=op.f("uq_clients_calendar_token")),
        sa.UniqueConstraint("card_token", name=op.f("uq_clients_card_token")),
    )
    op.create_table(
        "crew_accounts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("phone", sa.Text(), nullable=True),
        sa.Column("role", sa.String(length=20), server_default="crew", nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("language", sa.Text(), server_default="", nullable=False),
        sa.Column("locked", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.Column("last_seen_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_crew_accounts_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crew_accounts")),
        sa.UniqueConstraint("business_id", "phone", name=op.f("uq_crew_accounts_business_id_phone")),
    )
    op.create_table(
        "duties",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("held_by", sa.Text(), server_default="", nullable=False),
        sa.Column("until", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_duties_business_id")),
        sa.PrimaryKeyConstraint("name", "business_id", name=op.f("pk_duties")),
    )
    op.create_table(
        "receipts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("carrier_sid", sa.Text(), server_default="", nullable=False),
        sa.Column("status", sa.Text(), server_default="", nullable=False),
        sa.Column("error_code", sa.Integer(), nullable=True),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_receipts_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receipts")),
        sa.UniqueConstraint(
            "business_id", "carrier_sid", "status", name=op.f("uq_receipts_business_id_carrier_sid_status")
        ),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), server_default="", nullable=False),
        sa.Column("address", sa.Text(), server_default="", nullable=False),
        sa.Column("succeeded", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_sign_in_attempts_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_attempts")),
    )
    op.create_index(
        op.f("ix_sign_in_attempts_business_id_address_at"),
        "sign_in_attempts",
        ["business_id", "address", "at"],
        unique=False,
    )
    op.create_index(
        op.f("ix_sign_in_attempts_business_id_who_at"), "sign_in_attempts", ["business_id", "who", "at"], unique=False
    )
    op.create_table(
        "invitations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=80), nullable=False),
        sa.Column("made_at", Moment(timezone=True), nullable=False),
        sa.Column("expires_at", Moment(timezone=True), nullable=False),
        sa.Column("used_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["crew_accounts.id"], name=op.f("fk_invitations_account_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_invitations_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitations")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_invitations_token_hash")),
    )
    op.create_index(op.f("ix_invitations_account_id"), "invitations", ["account_id"], unique=False)
    op.create_table(
        "plans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("service", sa.Text(), server_default="", nullable=False),
        sa.Column("state", sa.String(length=10), server_default="active", nullable=False),
        sa.Column("every_days", sa.Integer(), nullable=True),
        sa.Column("begins_on", sa.Date(), nullable=True),
        sa.Column("detail", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.Column("changed_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_plans_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_plans_client_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plans")),
    )
    op.create_index(op.f("ix_plans_client_id"), "plans", ["client_id"], unique=False)
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=80), nullable=False),
        sa.Column("made_at", Moment(timezone=True), nullable=False),
        sa.Column("last_seen_at", Moment(timezone=True), nullable=False),
        sa.Column("ended_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["crew_accounts.id"], name=op.f("fk_sessions_account_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_sessions_business_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sessions_token_hash")),
    )
    op.create_index(op.f("ix_sessions_account_id"), "sessions", ["account_id"], unique=False)
    op.create_table(
        "snoozes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("until", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_snoozes_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_snoozes_client_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_snoozes")),
        sa.UniqueConstraint("client_id", "kind", name=op.f("uq_snoozes_client_id_kind")),
    )
    op.create_table(
        "threads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("channel", sa.Text(), server_default="", nullable=False),
        sa.Column("phone", sa.Text(), server_default="", nullable=False),
        sa.Column("service", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("marketing", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("opted_out_at", Moment(timezone=True), nullable=True),
        sa.Column("ended_kinds", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("paused_until", Moment(timezone=True), nullable=True),
        sa.Column("paused_by", sa.Text(), server_default="", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_threads_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_threads_client_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_threads")),
        sa.UniqueConstraint("business_id", "phone", "channel", name=op.f("uq_threads_business_id_phone_channel")),
    )
    op.create_index(op.f("ix_threads_client_id"), "threads", ["client_id"], unique=False)
    op.create_table(
        "vessels",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("boat_type", sa.Text(), server_default="", nullable=False),
        sa.Column("length_ft", Exact(), nullable=True),
        sa.Column("hin", sa.String(length=40), server_default="", nullable=False),
        sa.Column("water", sa.Text(), server_default="", nullable=False),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.Column("kept", sa.String(length=20), nullable=False),
        sa.Column("season_from", sa.String(length=5), nullable=True),
        sa.Column("season_to", sa.String(length=5), nullable=True),
        sa.Column("kept_off_season", sa.String(length=20), nullable=True),
        sa.Column("life_factors", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("gone", sa.String(length=40), nullable=True),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_vessels_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_vessels_client_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vessels")),
        sa.UniqueConstraint("client_id", "name", name=op.f("uq_vessels_client_id_name")),
    )
    op.create_table(
        "messages",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("inbound", sa.Boolean(), nullable=False),
        sa.Column("sid", sa.Text(), nullable=True),
        sa.Column("text", sa.Text(), server_default="", nullable=False),
        sa.Column("media", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.Column("topic", sa.Text(), server_default="", nullable=False),
        sa.Column("verdict", sa.String(length=10), nullable=True),
        sa.Column("certainty", sa.Float(), nullable=True),
        sa.Column("understood", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("decision", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("remember", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("replies", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("written_by", sa.Text(), server_default="", nullable=False),
        sa.Column("handled_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_messages_business_id")),
        sa.ForeignKeyConstraint(
            ["thread_id"], ["threads.id"], name=op.f("fk_messages_thread_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_messages")),
        sa.UniqueConstraint("business_id", "sid", name=op.f("uq_messages_business_id_sid")),
    )
    op.create_index(op.f("ix_messages_business_id_at"), "messages", ["business_id", "at"], unique=False)
    op.create_index(
        op.f("ix_messages_business_id_thread_id_id"), "messages", ["business_id", "thread_id", "id"], unique=False
    )
    op.create_table(
        "next_due",
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_next_due_business_id")),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_next_due_client_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_next_due_vessel_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("vessel_id", name=op.f("pk_next_due")),
    )
    op.create_index(op.f("ix_next_due_business_id_at"), "next_due", ["business_id", "at"], unique=False)
    op.create_index(op.f("ix_next_due_client_id"), "next_due", ["client_id"], unique=False)
    op.create_table(
        "plan_vessels",
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_plan_vessels_business_id")),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_plan_vessels_plan_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_plan_vessels_vessel_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("plan_id", "vessel_id", name=op.f("pk_plan_vessels")),
    )
    op.create_index(op.f("ix_plan_vessels_vessel_id"), "plan_vessels", ["vessel_id"], unique=False)
    op.create_table(
        "visits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=True),
        sa.Column("uid", sa.String(length=120), nullable=False),
        sa.Column("sequence", sa.Integer(), server_default="0", nullable=False),
        sa.Column("service", sa.Text(), server_default="", nullable=False),
        sa.Column("crew", sa.Integer(), nullable=False),
        sa.Column("begins_at", Moment(timezone=True), nullable=False),
        sa.Column("ends_at", Moment(timezone=True), nullable=False),
        sa.Column("wall_begins", sa.String(length=16), nullable=False),
        sa.Column("zone", sa.String(length=60), nullable=False),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.Column("state", sa.String(length=12), server_default="booked", nullable=False),
        sa.Column("price", Exact(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("called_off_why", sa.Text(), server_default="", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.Column("revised_at", Moment(timezone=True), nullable=False),
        sa.CheckConstraint("ends_at > begins_at", name="ck_visits_ends_after_beginning"),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_visits_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_visits_client_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_visits_plan_id"), ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visits")),
        sa.UniqueConstraint("business_id", "uid", name=op.f("uq_visits_business_id_uid")),
    )
    op.create_index(op.f("ix_visits_business_id_begins_at"), "visits", ["business_id", "begins_at"], unique=False)
    op.create_index(
        op.f("ix_visits_business_id_client_id_begins_at"),
        "visits",
        ["business_id", "client_id", "begins_at"],
        unique=False,
    )
    op.create_index(op.f("ix_visits_plan_id"), "visits", ["plan_id"], unique=False)
    op.create_table(
        "waiting_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("service", sa.Text(), server_default="", nullable=False),
        sa.Column("vessel_ids", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("wish", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("state", sa.String(length=10), server_default="waiting", nullable=False),
        sa.Column("joined_at", Moment(timezone=True), nullable=False),
        sa.Column("told_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_waiting_list_business_id")),
        sa.ForeignKeyConstraint(
            ["thread_id"], ["threads.id"], name=op.f("fk_waiting_list_thread_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_waiting_list")),
    )
    op.create_index(
        op.f("ix_waiting_list_business_id_state_joined_at"),
        "waiting_list",
        ["business_id", "state", "joined_at"],
        unique=False,
    )
    op.create_index(op.f("ix_waiting_list_thread_id"), "waiting_list", ["thread_id"], unique=False)
    op.create_table(
        "consent_history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("given", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("medium", sa.Text(), server_default="", nullable=False),
        sa.Column("wording", sa.Text(), server_default="", nullable=False),
        sa.Column("on_date", sa.Date(), nullable=True),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("noted_by", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_consent_history_business_id")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_consent_history_message_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["thread_id"], ["threads.id"], name=op.f("fk_consent_history_thread_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent_history")),
    )
    op.create_index(op.f("ix_consent_history_thread_id_at"), "consent_history", ["thread_id", "at"], unique=False)
    op.create_table(
        "handovers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), server_default="", nullable=False),
        sa.Column("urgent", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("state", sa.String(length=10), server_default="open", nullable=False),
        sa.Column("opened_at", Moment(timezone=True), nullable=False),
        sa.Column("answered_at", Moment(timezone=True), nullable=True),
        sa.Column("answer", sa.Text(), server_default="", nullable=False),
        sa.Column("answered_by", sa.Text(), server_default="", nullable=False),
        sa.Column("closed_at", Moment(timezone=True), nullable=True),
        sa.Column("reminded_at", Moment(timezone=True), nullable=True),
        sa.Column("taught_topic", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_handovers_business_id")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_handovers_message_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["thread_id"], ["threads.id"], name=op.f("fk_handovers_thread_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handovers")),
    )
    op.create_index(
        op.f("ix_handovers_business_id_state_opened_at"),
        "handovers",
        ["business_id", "state", "opened_at"],
        unique=False,
    )
    op.create_index(op.f("ix_handovers_message_id"), "handovers", ["message_id"], unique=False)
    op.create_index(
        "ix_handovers_thread_open",
        "handovers",
        ["thread_id"],
        unique=False,
        sqlite_where=sa.text("state = 'open'"),
        postgresql_where=sa.text("state = 'open'"),
    )
    op.create_table(
        "holds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("crew", sa.Integer(), nullable=False),
        sa.Column("begins_at", Moment(timezone=True), nullable=False),
        sa.Column("ends_at", Moment(timezone=True), nullable=False),
        sa.Column("until", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_holds_business_id")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_holds_message_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["thread_id"], ["threads.id"], name=op.f("fk_holds_thread_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_holds")),
    )
    op.create_index(op.f("ix_holds_business_id_until"), "holds", ["business_id", "until"], unique=False)
    op.create_index(op.f("ix_holds_message_id"), "holds", ["message_id"], unique=False)
    op.create_index(op.f("ix_holds_thread_id"), "holds", ["thread_id"], unique=False)
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("service", sa.Text(), server_default="", nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("finished_at", Moment(timezone=True), nullable=True),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("detail", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("price", Exact(), nullable=True),
        sa.Column("done_by", sa.Text(), server_default="", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_jobs_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_jobs_client_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessels.id"], name=op.f("fk_jobs_vessel_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name=op.f("fk_jobs_visit_id"), ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
    )
    op.create_index(op.f("ix_jobs_client_id"), "jobs", ["client_id"], unique=False)
    op.create_index(op.f("ix_jobs_vessel_id"), "jobs", ["vessel_id"], unique=False)
    op.create_index(op.f("ix_jobs_visit_id"), "jobs", ["visit_id"], unique=False)
    op.create_table(
        "open_questions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("data", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("asked_at", Moment(timezone=True), nullable=False),
        sa.Column("expires_at", Moment(timezone=True), nullable=False),
        sa.Column("closed_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_open_questions_business_id")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_open_questions_message_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["thread_id"], ["threads.id"], name=op.f("fk_open_questions_thread_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_open_questions")),
    )
    op.create_index(op.f("ix_open_questions_message_id"), "open_questions", ["message_id"], unique=False)
    op.create_index(
        "uq_open_questions_thread_open",
        "open_questions",
        ["thread_id"],
        unique=True,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_table(
        "quotes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("service", sa.Text(), server_default="", nullable=False),
        sa.Column("vessel_ids", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("lines", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("total", Exact(), nullable=True),
        sa.Column("currency", sa.String(length=3), server_default="", nullable=False),
        sa.Column("estimate", sa.Boolean(), server_default="0", nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_quotes_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_quotes_client_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name=op.f("fk_quotes_visit_id"), ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quotes")),
    )
    op.create_index(op.f("ix_quotes_client_id"), "quotes", ["client_id"], unique=False)
    op.create_index(op.f("ix_quotes_visit_id"), "quotes", ["visit_id"], unique=False)
    op.create_table(
        "visit_vessels",
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_visit_vessels_business_id")),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_visit_vessels_vessel_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visits.id"], name=op.f("fk_visit_vessels_visit_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("visit_id", "vessel_id", name=op.f("pk_visit_vessels")),
    )
    op.create_index(op.f("ix_visit_vessels_vessel_id"), "visit_vessels", ["vessel_id"], unique=False)
    op.create_table(
        "applications",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.Column("surface", sa.String(length=40), nullable=False),
        sa.Column("coating", sa.String(length=40), nullable=False),
        sa.Column("applied_on", sa.Date(), nullable=False),
        sa.Column("finished_at", Moment(timezone=True), nullable=True),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("product", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_applications_business_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_applications_job_id"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_applications_vessel_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_applications")),
        sa.UniqueConstraint(
            "vessel_id",
            "surface",
            "coating",
            "applied_on",
            name=op.f("uq_applications_vessel_id_surface_coating_applied_on"),
        ),
    )
    op.create_index(op.f("ix_applications_job_id"), "applications", ["job_id"], unique=False)
    op.create_table(
        "care_events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("area", Exact(), nullable=True),
        sa.Column("substance", sa.Text(), server_default="", nullable=False),
        sa.Column("surface", sa.Text(), server_default="", nullable=False),
        sa.Column("grade", sa.String(length=20), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("noted_at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_care_events_business_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_care_events_job_id"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_care_events_message_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_care_events_vessel_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_care_events")),
    )
    op.create_index(op.f("ix_care_events_job_id"), "care_events", ["job_id"], unique=False)
    op.create_index(op.f("ix_care_events_message_id"), "care_events", ["message_id"], unique=False)
    op.create_index(op.f("ix_care_events_vessel_id_on"), "care_events", ["vessel_id", "on"], unique=False)
    op.create_table(
        "occupied",
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("crew", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("quarter", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("(visit_id IS NULL) <> (hold_id IS NULL)", name="ck_occupied_by_one"),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_occupied_business_id")),
        sa.ForeignKeyConstraint(["hold_id"], ["holds.id"], name=op.f("fk_occupied_hold_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name=op.f("fk_occupied_visit_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("business_id", "crew", "quarter", name=op.f("pk_occupied")),
    )
    op.create_index(op.f("ix_occupied_hold_id"), "occupied", ["hold_id"], unique=False)
    op.create_index(op.f("ix_occupied_visit_id"), "occupied", ["visit_id"], unique=False)
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("thread_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=True),
        sa.Column("visit_id", sa.Integer(), nullable=True),
        sa.Column("handover_id", sa.Integer(), nullable=True),
        sa.Column("consent", sa.String(length=20), nullable=False),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("text", sa.Text(), server_default="", nullable=False),
        sa.Column("media", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("data", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.Column("dedupe_key", sa.Text(), server_default="", nullable=False),
        sa.Column("state", sa.String(length=12), server_default="queued", nullable=False),
        sa.Column("due_at", Moment(timezone=True), nullable=False),
        sa.Column("not_before", Moment(timezone=True), nullable=True),
        sa.Column("not_after", Moment(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), server_default="0", nullable=False),
        sa.Column("claimed_by", sa.Text(), server_default="", nullable=False),
        sa.Column("claimed_at", Moment(timezone=True), nullable=True),
        sa.Column("carrier_sid", sa.Text(), nullable=True),
        sa.Column("error_code", sa.Integer(), nullable=True),
        sa.Column("error", sa.Text(), server_default="", nullable=False),
        sa.Column("segments", sa.Integer(), nullable=True),
        sa.Column("written_by", sa.Text(), server_default="", nullable=False),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.Column("sent_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_outbox_business_id")),
        sa.ForeignKeyConstraint(
            ["handover_id"], ["handovers.id"], name=op.f("fk_outbox_handover_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["thread_id"], ["threads.id"], name=op.f("fk_outbox_thread_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessels.id"], name=op.f("fk_outbox_vessel_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["visit_id"], ["visits.id"], name=op.f("fk_outbox_visit_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("business_id", "dedupe_key", name=op.f("uq_outbox_business_id_dedupe_key")),
    )
    op.create_index(op.f("ix_outbox_business_id_carrier_sid"), "outbox", ["business_id", "carrier_sid"], unique=False)
    op.create_index(
        op.f("ix_outbox_business_id_thread_id_sent_at"),
        "outbox",
        ["business_id", "thread_id", "sent_at"],
        unique=False,
    )
    op.create_index(op.f("ix_outbox_handover_id"), "outbox", ["handover_id"], unique=False)
    op.create_index(
        "ix_outbox_queued",
        "outbox",
        ["business_id", "due_at"],
        unique=False,
        sqlite_where=sa.text("state = 'queued'"),
        postgresql_where=sa.text("state = 'queued'"),
    )
    op.create_index(
        "ix_outbox_uncertain",
        "outbox",
        ["business_id", "claimed_at"],
        unique=False,
        sqlite_where=sa.text("state IN ('sending', 'unknown')"),
        postgresql_where=sa.text("state IN ('sending', 'unknown')"),
    )
    op.create_index(op.f("ix_outbox_vessel_id"), "outbox", ["vessel_id"], unique=False)
    op.create_index(op.f("ix_outbox_visit_id"), "outbox", ["visit_id"], unique=False)
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("vessel_id", sa.Integer(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), server_default="", nullable=False),
        sa.Column("file", sa.Text(), server_default="", nullable=False),
        sa.Column("content_type", sa.String(length=80), server_default="", nullable=False),
        sa.Column("sha256", sa.String(length=64), server_default="", nullable=False),
        sa.Column("width", sa.Integer(), nullable=True),
        sa.Column("height", sa.Integer(), nullable=True),
        sa.Column("token", sa.String(length=80), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("taken_at", Moment(timezone=True), nullable=True),
        sa.Column("created_at", Moment(timezone=True), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), server_default="0", nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_photos_business_id")),
        sa.ForeignKeyConstraint(["client_id"], ["clients.id"], name=op.f("fk_photos_client_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_photos_job_id"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_photos_message_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["vessel_id"], ["vessels.id"], name=op.f("fk_photos_vessel_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
        sa.UniqueConstraint("token", name=op.f("uq_photos_token")),
    )
    op.create_index(op.f("ix_photos_client_id"), "photos", ["client_id"], unique=False)
    op.create_index(op.f("ix_photos_job_id"), "photos", ["job_id"], unique=False)
    op.create_index(op.f("ix_photos_message_id"), "photos", ["message_id"], unique=False)
    op.create_index(op.f("ix_photos_vessel_id"), "photos", ["vessel_id"], unique=False)
    op.create_table(
        "taught",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("handover_id", sa.Integer(), nullable=True),
        sa.Column("topic", sa.Text(), server_default="", nullable=False),
        sa.Column("language", sa.String(length=8), server_default="", nullable=False),
        sa.Column("question", sa.Text(), server_default="", nullable=False),
        sa.Column("answer", sa.Text(), server_default="", nullable=False),
        sa.Column("taught_by", sa.Text(), server_default="", nullable=False),
        sa.Column("taught_at", Moment(timezone=True), nullable=False),
        sa.Column("withdrawn_at", Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_taught_business_id")),
        sa.ForeignKeyConstraint(
            ["handover_id"], ["handovers.id"], name=op.f("fk_taught_handover_id"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taught")),
    )
    op.create_index(op.f("ix_taught_business_id_topic"), "taught", ["business_id", "topic"], unique=False)
    op.create_index(op.f("ix_taught_handover_id"), "taught", ["handover_id"], unique=False)
    op.create_table(
        "nudge_log",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("business_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("vessel_id", sa.Integer(), nullable=True),
        sa.Column("outbox_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=60), nullable=False),
        sa.Column("occasion", sa.Text(), server_default="", nullable=False),
        sa.Column("outcome", sa.Text(), server_default="", nullable=False),
        sa.Column("at", Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["business_id"], ["businesses.id"], name=op.f("fk_nudge_log_business_id")),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_nudge_log_client_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["outbox_id"], ["outbox.id"], name=op.f("fk_nudge_log_outbox_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["vessel_id"], ["vessels.id"], name=op.f("fk_nudge_log_vessel_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_nudge_log")),
        sa.UniqueConstraint("business_id", "occasion", name=op.f("uq_nudge_log_business_id_occasion")),
    )
    op.create_index(op.f("ix_nudge_log_client_id_at"), "nudge_log", ["client_id", "at"], unique=False)
    op.create_index(op.f("ix_nudge_log_outbox_id"), "nudge_log", ["outbox_id"], unique=False)
    op.create_index(op.f("ix_nudge_log_vessel_id"), "nudge_log", ["vessel_id"], unique=False)
