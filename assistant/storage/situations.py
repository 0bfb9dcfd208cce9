"""Everything known when a text arrives, in a fixed and small number of queries whatever the size of the tables.

A number we do not know: two. A client: six (thread with client, question and handover; vessels with applications;
care events; visits; last messages; plans).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import bindparam, exists, select

from assistant.domain.business import Business
from assistant.domain.conversation.situation import InboundMessage, OpenQuestion, Situation
from assistant.domain.people import Application, CareEvent, Client, Consent, Vessel
from assistant.storage import messages, plans, visits
from assistant.storage.care import event_from, vessel_from
from assistant.storage.clients import client_of_phone
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import (
    applications,
    care_events,
    clients,
    handovers,
    open_questions,
    threads,
    vessels,
)
from assistant.storage.threads import consent_from

EVENTS = 300
"""How many care events, the latest first, a decision can look at."""

_THREAD = (
    select(
        threads,
        clients.c.name,
        clients.c.phone.label("client_phone"),
        clients.c.channel.label("client_channel"),
        clients.c.language,
        clients.c.zone,
        clients.c.country,
        clients.c.closed,
        clients.c.card_token,
        open_questions.c.id.label("question_id"),
        open_questions.c.kind,
        open_questions.c.data,
        open_questions.c.asked_at,
        open_questions.c.expires_at,
        exists()
        .where(ours(handovers), handovers.c.thread_id == threads.c.id, handovers.c.state == "open")
        .label("open_handover"),
    )
    .outerjoin(clients, (clients.c.id == threads.c.client_id) & ours(clients))
    .outerjoin(
        open_questions,
        (open_questions.c.thread_id == threads.c.id) & open_questions.c.closed_at.is_(None) & ours(open_questions),
    )
    .where(ours(threads), threads.c.phone == bindparam("phone"), threads.c.channel == bindparam("channel"))
)
_THREAD_LOCKED = _THREAD.with_for_update(of=threads)
"""The lock, in a transaction that writes, makes texts of one client wait for each other on PostgreSQL; SQLite has one
writer anyhow."""

_BOATS = (
    select(
        vessels,
        applications.c.id.label("application_id"),
        applications.c.surface,
        applications.c.coating,
        applications.c.applied_on,
        applications.c.finished_at,
        applications.c.job_id,
    )
    .outerjoin(applications, (applications.c.vessel_id == vessels.c.id) & ours(applications))
    .where(ours(vessels), vessels.c.client_id == bindparam("client"), vessels.c.gone.is_(None))
    .order_by(vessels.c.id, applications.c.applied_on, applications.c.id)
)
_EVENTS = (
    select(care_events)
    .join(vessels, vessels.c.id == care_events.c.vessel_id)
    .where(ours(care_events), ours(vessels), vessels.c.client_id == bindparam("client"), vessels.c.gone.is_(None))
    .order_by(care_events.c.on.desc(), care_events.c.id.desc())
    .limit(EVENTS)
)


def load_situation(
    tx: Transaction, business: Business, message: InboundMessage, now: datetime, public_url: str = ""
) -> Situation:
    """The whole picture for the sender of `message`. `public_url` makes the care card's address whole."""
    query = _THREAD_LOCKED if tx.writes else _THREAD
    thread = tx.execute(query, {"phone": message.sender, "channel": message.channel}).first()
    if thread is None:
        return _first_contact(tx, business, message)
    client = _client(thread) if thread.client_id else None
    rows = messages.latest(tx, thread.id)
    situation = Situation(
        business=business,
        sender=message.sender,
        client=client,
        consent=consent_from(thread),
        question=_question(thread, now),
        turns=messages.turns_of(rows),
        open_handover=bool(thread.open_handover),
        paused=thread.paused_until is not None and thread.paused_until > now,
        not_understood=messages.missed_in_a_row(rows),
        card_url=f"{public_url}/card/{thread.card_token}" if thread.card_token else "",
        media=message.media,
        thread_id=thread.id,
    )
    return _with_records(tx, situation, client) if client else situation


def _first_contact(tx: Transaction, business: Business, message: InboundMessage) -> Situation:
    """A stranger, or a client who writes on this channel for the first time."""
    client = client_of_phone(tx, message.sender)
    bare = Situation(business, message.sender, client, Consent(), media=message.media)
    return _with_records(tx, bare, client) if client else bare


def _with_records(tx: Transaction, situation: Situation, client: Client) -> Situation:
    boats, coats = _boats(tx.execute(_BOATS, {"client": client.id}).all())
    return replace(
        situation,
        vessels=boats,
        applications=coats,
        events=_events(tx, client) if boats else (),
        visits=visits.visits_of_client(tx, client.id),
        plan_states=plans.plan_states(tx, client.id),
    )


def _boats(rows: Sequence[AnyRow]) -> tuple[tuple[Vessel, ...], tuple[Application, ...]]:
    boats = {row.id: row for row in rows}
    coats = tuple(
        Application(
            id=row.application_id,
            vessel_id=row.id,
            surface=row.surface,
            coating=row.coating,
            applied_on=row.applied_on,
            finished_at=row.finished_at,
            job_id=row.job_id,
        )
        for row in rows
        if row.application_id is not None
    )
    return tuple(map(vessel_from, boats.values())), coats


def _events(tx: Transaction, client: Client) -> tuple[CareEvent, ...]:
    rows = tx.execute(_EVENTS, {"client": client.id}).all()
    return tuple(map(event_from, reversed(rows)))


def _client(row: AnyRow) -> Client:
    return Client(
        id=row.client_id,
        name=row.name,
        phone=row.client_phone,
        language=row.language,
        zone=row.zone,
        country=row.country,
        channel=row.client_channel,
        closed=row.closed,
    )


def _question(row: AnyRow, now: datetime) -> OpenQuestion | None:
    """What we wait for; an answer that comes too late answers nothing."""
    if row.question_id is None or row.expires_at <= now:
        return None
    return OpenQuestion(row.question_id, row.kind, row.data or {}, row.asked_at, row.expires_at)
