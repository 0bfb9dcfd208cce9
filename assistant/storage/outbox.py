r"""The outbox: texts that we begin ourselves, written in the transaction that decides them and sent by a worker.

    queued -> sending -> sent -> delivered
    sending -> failed    the carrier said no, now or in a receipt
    sending -> unknown   nobody knows whether it left: reconciled, or shown to a person; never resent blindly
    sending -> queued    it certainly did not leave: later
    queued -> dropped    no longer allowed, or no longer true: `why` says which

A worker claims in one transaction, which also commits `sending`; it calls the carrier outside any transaction; it
notes the outcome in another one. A crash in between leaves `sending`, which `give_up_on_lost` turns into `unknown`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select, update

from assistant.domain.conversation.situation import Media
from assistant.domain.people import Consent
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.messages import keep_outbound
from assistant.storage.plain import as_plain
from assistant.storage.tables import clients, outbox, receipts, threads
from assistant.storage.threads import consent_from

REPLY, SERVICE, MARKETING, CREW = "reply", "service", "marketing", "crew"
"""What consent a text needs: none of its own for an answer to the client's text and for our own people."""

_RANK = {"sending": 0, "unknown": 0, "sent": 1, "failed": 2, "delivered": 3}
_MEANING = {
    "sent": "sent",
    "delivered": "delivered",
    "read": "delivered",
    "failed": "failed",
    "undelivered": "failed",
    "canceled": "failed",
}


@dataclass(frozen=True, slots=True)
class Draft:
    """A text to be sent. Two drafts with the same `dedupe_key` are one: the first one counts."""

    thread_id: int
    consent: str
    kind: str
    text: str
    dedupe_key: str
    due_at: datetime
    why: str = ""
    not_before: datetime | None = None
    not_after: datetime | None = None
    vessel_id: int | None = None
    visit_id: int | None = None
    handover_id: int | None = None
    media: tuple[Media, ...] = ()
    data: Mapping[str, Any] | None = None
    written_by: str = ""


@dataclass(frozen=True, slots=True)
class Queued:
    """A text of the outbox with all that decides whether it may leave now."""

    id: int
    thread_id: int
    client_id: int | None
    to: str
    channel: str
    consent: str
    kind: str
    text: str
    why: str
    dedupe_key: str
    state: str
    due_at: datetime
    not_before: datetime | None
    not_after: datetime | None
    vessel_id: int | None
    visit_id: int | None
    handover_id: int | None
    media: tuple[Media, ...]
    data: Mapping[str, Any]
    attempts: int
    claimed_at: datetime | None
    written_by: str
    agreed: Consent
    zone: str
    country: str
    language: str
    closed: str | None


_WHOLE = (
    select(
        outbox,
        threads.c.phone,
        threads.c.channel,
        threads.c.client_id,
        threads.c.service,
        threads.c.marketing,
        threads.c.opted_out_at,
        threads.c.ended_kinds,
        clients.c.zone,
        clients.c.country,
        clients.c.language,
        clients.c.closed,
    )
    .join(threads, threads.c.id == outbox.c.thread_id)
    .outerjoin(clients, (clients.c.id == threads.c.client_id) & ours(clients))
    .where(ours(outbox), ours(threads))
)


def enqueue(tx: Transaction, draft: Draft, now: datetime) -> int | None:
    """Queue a text; None when one with the same dedupe key was queued before, whatever became of it."""
    row = {
        "thread_id": draft.thread_id,
        "consent": draft.consent,
        "kind": draft.kind,
        "text": draft.text,
        "dedupe_key": draft.dedupe_key,
        "due_at": draft.due_at,
        "why": draft.why,
        "not_before": draft.not_before,
        "not_after": draft.not_after,
        "vessel_id": draft.vessel_id,
        "visit_id": draft.visit_id,
        "handover_id": draft.handover_id,
        "media": as_plain(draft.media) or None,
        "data": as_plain(draft.data),
        "written_by": draft.written_by,
        "created_at": now,
    }
    return tx.insert_if_new(outbox, row, "business_id", "dedupe_key")


def due(tx: Transaction, now: datetime, limit: int = 20) -> tuple[Queued, ...]:
    """Texts whose moment has come, locked for this transaction: other workers pass them over."""
    query = _WHOLE.where(outbox.c.state == "queued", outbox.c.due_at <= now)
    query = query.order_by(outbox.c.due_at, outbox.c.id).limit(limit)
    return tuple(map(_queued, tx.execute(query.with_for_update(of=outbox, skip_locked=True))))


def begin_sending(tx: Transaction, outbox_id: int, worker: str, now: datetime) -> None:
    """From here on the text may have left, whatever happens to us: to be committed before the carrier is called."""
    _move(tx, outbox_id, "queued", state="sending", claimed_by=worker, claimed_at=now, attempts=outbox.c.attempts + 1)


def postpone(tx: Transaction, outbox_id: int, until: datetime, why: str = "") -> None:
    """Not now: look at it again at `until`."""
    _move(tx, outbox_id, "queued", due_at=until, error=why)


def try_later(tx: Transaction, outbox_id: int, at: datetime, error: str, code: int | None = None) -> None:
    """The carrier certainly did not take it: queue it again."""
    _move(tx, outbox_id, "sending", state="queued", due_at=at, error=error, error_code=code)


def mark_sent(
    tx: Transaction, outbox_id: int, sid: str, now: datetime, status: str = "sent", segments: int | None = None
) -> None:
    """The carrier took it (also: it turned out that it had). It joins the thread; early receipts count now."""
    row = tx.execute(select(outbox).where(ours(outbox), outbox.c.id == outbox_id)).one()
    if row.state not in ("sending", "unknown"):
        raise ValueError(f"text {outbox_id} is {row.state}: it was not being sent")
    state = _MEANING.get(status, "sent")
    change = {"state": state, "carrier_sid": sid, "sent_at": now, "segments": segments, "error": ""}
    _move(tx, outbox_id, row.state, **change)
    keep_outbound(tx, row.thread_id, row.text, now, topic=row.kind, remember=row.data, written_by=row.written_by)
    early = select(receipts.c.status, receipts.c.error_code).where(ours(receipts), receipts.c.carrier_sid == sid)
    for receipt in tx.execute(early).all():
        _apply(tx, sid, receipt.status, receipt.error_code)


def mark_failed(tx: Transaction, outbox_id: int, error: str, code: int | None = None) -> None:
    """The carrier said no for good."""
    _move(tx, outbox_id, "sending", state="failed", error=error, error_code=code)


def mark_unknown(tx: Transaction, outbox_id: int, error: str) -> None:
    """Nobody knows whether it left."""
    _move(tx, outbox_id, "sending", state="unknown", error=error)


def settle_unsent(tx: Transaction, outbox_id: int, why: str) -> None:
    """It is certain that an unknown text never left, or a person wants it forgotten: it is dropped."""
    _move(tx, outbox_id, "unknown", state="dropped", why=why)


def drop(tx: Transaction, outbox_id: int, why: str) -> None:
    """It must not leave any more."""
    _move(tx, outbox_id, "queued", state="dropped", why=why)


def drop_queued(
    tx: Transaction,
    why: str,
    *,
    thread_ids: Iterable[int] | None = None,
    visit_id: int | None = None,
    vessel_id: int | None = None,
    kind: str | None = None,
) -> int:
    """Drop all that is queued and matches every condition given; returns how many. At least one is needed."""
    matching: list[ColumnElement[bool]] = []
    if thread_ids is not None:
        matching.append(outbox.c.thread_id.in_(list(thread_ids)))
    for column, value in ((outbox.c.visit_id, visit_id), (outbox.c.vessel_id, vessel_id), (outbox.c.kind, kind)):
        if value is not None:
            matching.append(column == value)
    if not matching:
        raise ValueError("say which queued texts to drop")
    queued = update(outbox).where(ours(outbox), outbox.c.state == "queued", *matching)
    return tx.execute(queued.values(state="dropped", why=why)).rowcount


def give_up_on_lost(tx: Transaction, claimed_before: datetime) -> int:
    """Texts whose worker vanished while sending are uncertain from now on; returns how many."""
    lost = update(outbox).where(ours(outbox), outbox.c.state == "sending", outbox.c.claimed_at < claimed_before)
    return tx.execute(lost.values(state="unknown", error="the worker stopped while sending")).rowcount


def texts_in(tx: Transaction, *states: str, limit: int = 200) -> tuple[Queued, ...]:
    """Texts in these states, the soonest due first."""
    query = _WHOLE.where(outbox.c.state.in_(states)).order_by(outbox.c.due_at, outbox.c.id).limit(limit)
    return tuple(map(_queued, tx.execute(query)))


def sent_since(tx: Transaction, thread_id: int, since: datetime, consent: str = MARKETING) -> tuple[datetime, ...]:
    """When texts of this consent left for a thread, or may have, since `since`; oldest first."""
    moment = func.coalesce(outbox.c.sent_at, outbox.c.claimed_at)
    left = outbox.c.state.in_(("sending", "sent", "delivered", "unknown"))
    query = select(outbox.c.sent_at, outbox.c.claimed_at).where(ours(outbox), outbox.c.thread_id == thread_id, left)
    rows = tx.execute(query.where(outbox.c.consent == consent, moment >= since))
    return tuple(sorted(row.sent_at or row.claimed_at for row in rows))


def next_moment(tx: Transaction) -> datetime | None:
    """When the next queued text is due; None when none is."""
    query = select(outbox.c.due_at).where(ours(outbox), outbox.c.state == "queued")
    found: datetime | None = tx.execute(query.order_by(outbox.c.due_at).limit(1)).scalar()
    return found


def note_receipt(tx: Transaction, sid: str, status: str, code: int | None, now: datetime) -> str | None:
    """Keep what the carrier reports and move the text on, never back. Returns its state; None for a text not ours."""
    row = {"carrier_sid": sid, "status": status, "error_code": code, "at": now}
    tx.insert_if_new(receipts, row, "business_id", "carrier_sid", "status")
    return _apply(tx, sid, status, code)


def _apply(tx: Transaction, sid: str, status: str, code: int | None) -> str | None:
    query = select(outbox.c.id, outbox.c.state).where(ours(outbox), outbox.c.carrier_sid == sid)
    row = tx.execute(query.with_for_update()).first()
    if row is None:
        return None
    state = _MEANING.get(status)
    if state is None or _RANK[state] <= _RANK.get(row.state, 0):
        return str(row.state)
    _move(tx, row.id, row.state, state=state, error_code=code)
    return state


def _move(tx: Transaction, outbox_id: int, was: str, **values: Any) -> None:
    """Change a row that is in state `was`. Raises ValueError when it is not: two would be sending the same text."""
    change = update(outbox).where(ours(outbox), outbox.c.id == outbox_id, outbox.c.state == was)
    if not tx.execute(change.values(**values)).rowcount:
        raise ValueError(f"text {outbox_id} is not {was} any more")


def _queued(row: AnyRow) -> Queued:
    return Queued(
        id=row.id,
        thread_id=row.thread_id,
        client_id=row.client_id,
        to=row.phone,
        channel=row.channel,
        consent=row.consent,
        kind=row.kind,
        text=row.text,
        why=row.why,
        dedupe_key=row.dedupe_key,
        state=row.state,
        due_at=row.due_at,
        not_before=row.not_before,
        not_after=row.not_after,
        vessel_id=row.vessel_id,
        visit_id=row.visit_id,
        handover_id=row.handover_id,
        media=tuple(Media(**entry) for entry in row.media or ()),
        data=row.data or {},
        attempts=row.attempts,
        claimed_at=row.claimed_at,
        written_by=row.written_by,
        agreed=consent_from(row),
        zone=row.zone or "",
        country=row.country or "",
        language=row.language or "",
        closed=row.closed,
    )
