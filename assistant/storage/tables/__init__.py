"""Every table of the product, by subject. A row belongs to a business; every index serves a query that exists."""

from assistant.storage.tables.calendar import (
    busy_blocks,
    holds,
    occupied,
    plan_vessels,
    plans,
    quotes,
    visit_vessels,
    visits,
    waiting_list,
)
from assistant.storage.tables.columns import metadata
from assistant.storage.tables.people import (
    audit_log,
    business_numbers,
    businesses,
    clients,
    consent_history,
    crew_accounts,
    duties,
    invitations,
    sessions,
    sign_in_attempts,
    snoozes,
    threads,
)
from assistant.storage.tables.records import applications, care_events, jobs, next_due, photos, vessels
from assistant.storage.tables.sending import nudge_log, outbox, receipts
from assistant.storage.tables.talk import handovers, messages, open_questions, taught

__all__ = [
    "applications",
    "audit_log",
    "business_numbers",
    "businesses",
    "busy_blocks",
    "care_events",
    "clients",
    "consent_history",
    "crew_accounts",
    "duties",
    "handovers",
    "holds",
    "invitations",
    "jobs",
    "messages",
    "metadata",
    "next_due",
    "nudge_log",
    "occupied",
    "open_questions",
    "outbox",
    "photos",
    "plan_vessels",
    "plans",
    "quotes",
    "receipts",
    "sessions",
    "sign_in_attempts",
    "snoozes",
    "taught",
    "threads",
    "vessels",
    "visit_vessels",
    "visits",
    "waiting_list",
]
