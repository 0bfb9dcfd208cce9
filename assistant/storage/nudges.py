"""Nudges on record: who is worth a thought now, what was said or why not, and what a client heard lately.

Cost follows what is due: each client of the moment is reached through an index, never by looking through all of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import and_, bindparam, delete, func, or_, select, update

from assistant.domain.conversation.scene import Scene
from assistant.domain.nudge_plan import Logged
from assistant.domain.nudge_values import Earlier, Nudge, Outlook
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import clients, next_due, nudge_log, outbox, plan_vessels, plans, snoozes, visits
from assistant.storage.tables import threads as threads_table

LEFT = ("sending", "sent", "delivered", "unknown")
"""States of a text that left, or may have."""

HELD_BACK = "held back by"
"""How the reason begins where a person of the business dropped a text."""

_DUE = (
    select(next_due.c.client_id)
    .where(ours(next_due), next_due.c.at <= bindparam("now"))
    .order_by(next_due.c.at)
    .limit(bindparam("count"))
)
_MOMENTS = select(next_due.c.vessel_id, next_due.c.at).where(
    ours(next_due), next_due.c.client_id == bindparam("client")
)
_MINE = (ours(next_due), next_due.c.vessel_id == bindparam("vessel"), next_due.c.at == bindparam("seen"))
_MOVE = update(next_due).where(*_MINE).values(at=bindparam("moment"))
_FORGET = delete(next_due).where(*_MINE)
_LOG = (
    select(nudge_log.c.occasion, nudge_log.c.outcome, nudge_log.c.outbox_id, outbox.c.state, outbox.c.why)
    .outerjoin(outbox, and_(outbox.c.id == nudge_log.c.outbox_id, ours(outbox)))
    .where(ours(nudge_log), nudge_log.c.occasion.in_(bindparam("occasions", expanding=True)))
)
_PLANNED = (
    select(plan_vessels.c.vessel_id)
    .join(plans, plans.c.id == plan_vessels.c.plan_id)
    .where(ours(plan_vessels), ours(plans), plans.c.client_id == bindparam("client"), plans.c.state == "active")
)
_SNOOZES = select(snoozes.c.kind, snoozes.c.until).where(ours(snoozes), snoozes.c.client_id == bindparam("client"))
_VISITS_NEAR = (
    select(visits.c.id, visits.c.client_id, visits.c.begins_at, visits.c.ends_at, visits.c.state, clients.c.zone)
    .join(clients, clients.c.id == visits.c.client_id)
    .where(ours(visits), ours(clients), visits.c.state != "called_off")
    .where(visits.c.begins_at >= bindparam("first"), visits.c.begins_at < bindparam("last"))
    .order_by(visits.c.begins_at)
)
_LEFT_AT = func.coalesce(outbox.c.sent_at, outbox.c.claimed_at)
_EARLIER = select(*(outbox.c[name] for name in "id kind consent state due_at sent_at claimed_at".split())).where(
    ours(outbox),
    outbox.c.thread_id == bindparam("thread"),
    or_(outbox.c.kind.startswith("nudge:"), outbox.c.consent == "marketing"),
    or_(outbox.c.state == "queued", and_(outbox.c.state.in_(LEFT), bindparam("since") <= _LEFT_AT)),
)
_MARKETED = (
    select(outbox.c.id)
    .where(ours(outbox), outbox.c.thread_id == bindparam("thread"))
    .where(outbox.c.consent == "marketing", outbox.c.state.in_(LEFT))
    .limit(1)
)


@dataclass(frozen=True, slots=True)
class Entry:
    """What became of an occasion. `outbox_id` is the text that tells of it, if there is one."""

    nudge: Nudge
    outcome: str
    outbox_id: int | None = None


def clients_due(tx: Transaction, now: datetime, limit: int) -> tuple[int, ...]:
    """Clients with a vessel whose moment has come, the longest waiting first; `limit` vessels are looked at."""
    rows = tx.execute(_DUE, {"now": now, "count": limit})
    return tuple(dict.fromkeys(row.client_id for row in rows))


def moments(tx: Transaction, client_id: int) -> dict[int, datetime]:
    """When each vessel of a client is next worth a thought."""
    return {row.vessel_id: row.at for row in tx.execute(_MOMENTS, {"client": client_id})}


def move_moment(tx: Transaction, vessel_id: int, seen: datetime, moment: datetime | None) -> None:
    """The vessel is worth a thought at `moment` (None: until somebody changes something), unless that changed since.

    A write that came in between has set another moment than the one `seen`, and stands.
    """
    if moment is None:
        tx.execute(_FORGET, {"vessel": vessel_id, "seen": seen})
    else:
        tx.execute(_MOVE, {"vessel": vessel_id, "seen": seen, "moment": moment})


def visits_near(tx: Transaction, first: datetime, last: datetime) -> tuple[AnyRow, ...]:
    """Visits that stand and begin in [first, last): id, client_id, begins_at, ends_at, state, and the client's zone."""
    return tuple(tx.execute(_VISITS_NEAR, {"first": first, "last": last}))


def log_of(tx: Transaction, occasions: Iterable[str]) -> dict[str, Logged]:
    """What is on record about these occasions."""
    rows = tx.execute(_LOG, {"occasions": list(occasions)})
    return {row.occasion: Logged(row.outcome, row.outbox_id, _may_be_said_again(row)) for row in rows}


def _may_be_said_again(row: AnyRow) -> bool:
    """What this program dropped may come true again; what a person held back stays unsaid."""
    return row.state == "dropped" and not row.why.startswith(HELD_BACK)


def keep(tx: Transaction, client_id: int, entry: Entry, now: datetime) -> None:
    """Write down what became of an occasion, in place of what was written before."""
    nudge = entry.nudge
    row = {
        "client_id": client_id,
        "vessel_id": nudge.vessel.id if nudge.vessel else None,
        "kind": nudge.kind,
        "occasion": nudge.occasion,
        "outcome": entry.outcome,
        "outbox_id": entry.outbox_id,
        "at": now,
    }
    if tx.insert_if_new(nudge_log, row, "business_id", "occasion") is None:
        same = update(nudge_log).where(ours(nudge_log), nudge_log.c.occasion == nudge.occasion)
        tx.execute(same.values(outcome=entry.outcome, outbox_id=entry.outbox_id, at=now))


def outlook(tx: Transaction, scene: Scene, since: datetime) -> Outlook:
    """All that decides which nudges the client of `scene` gets; texts that left before `since` are left aside."""
    client, thread_id = scene.situation.client, scene.situation.thread_id
    if client is None:
        return Outlook(scene, {})
    planned = tx.execute(_PLANNED, {"client": client.id}).scalars() if scene.situation.plan_states else ()
    earlier = tx.execute(_EARLIER, {"thread": thread_id, "since": since})
    return Outlook(
        scene,
        {row.kind: row.until for row in tx.execute(_SNOOZES, {"client": client.id})},
        frozenset(planned),
        tuple(
            Earlier(row.id, row.kind, row.consent, row.due_at, waits=True)
            if row.state == "queued"
            else Earlier(row.id, row.kind, row.consent, row.sent_at or row.claimed_at)
            for row in earlier
        ),
        tx.execute(_MARKETED, {"thread": thread_id}).first() is not None,
    )


def next_moment(tx: Transaction) -> datetime | None:
    """When the next vessel is worth a thought; None when none is."""
    query = select(next_due.c.at).where(ours(next_due)).order_by(next_due.c.at).limit(1)
    found: datetime | None = tx.execute(query).scalar()
    return found


def left_at(tx: Transaction, moment: datetime) -> tuple[AnyRow, ...]:
    """Texts that left at that very moment: id, phone, name, kind, text, segments, why; in the order of leaving."""
    query = (
        select(outbox.c.id, threads_table.c.phone, clients.c.name, outbox.c.kind, outbox.c.text)
        .add_columns(outbox.c.segments, outbox.c.why)
        .join(threads_table, threads_table.c.id == outbox.c.thread_id)
        .outerjoin(clients, and_(clients.c.id == threads_table.c.client_id, ours(clients)))
        .where(ours(outbox), ours(threads_table), outbox.c.sent_at == moment)
        .order_by(outbox.c.due_at, outbox.c.id)
    )
    return tuple(tx.execute(query))


def forget_client(tx: Transaction, client_id: int) -> None:
    """No more thoughts of a closed client."""
    tx.execute(delete(next_due).where(ours(next_due), next_due.c.client_id == client_id))


def forget_vessel(tx: Transaction, vessel_id: int) -> None:
    """No more thoughts of a boat that is sold."""
    tx.execute(delete(next_due).where(ours(next_due), next_due.c.vessel_id == vessel_id))
