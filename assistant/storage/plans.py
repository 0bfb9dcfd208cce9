"""Wash-and-topper plans, and who waits for a time to come free."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from assistant.domain.visits import TimeWish
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.plain import as_plain, wish_from
from assistant.storage.tables import plan_vessels, plans, waiting_list

_STATES = (
    select(plans.c.id, plans.c.state)
    .where(ours(plans), plans.c.client_id == bindparam("client"), plans.c.state != "finished")
    .order_by(plans.c.id)
)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A client who is to be told when a time that fits comes free."""

    id: int
    thread_id: int
    service: str
    vessel_ids: tuple[int, ...]
    wish: TimeWish
    joined_at: datetime


def change_plan(
    tx: Transaction,
    client_id: int,
    to: str,
    vessel_ids: Iterable[int],
    now: datetime,
    *,
    plan_id: int | None = None,
    **details: Any,
) -> int:
    """Begin a plan (no `plan_id`) or bring one to another state. Details: begins_on, every_days, service, detail."""
    if plan_id is not None:
        mine = (ours(plans), plans.c.id == plan_id, plans.c.client_id == client_id)
        tx.execute(update(plans).where(*mine).values(state=to, changed_at=now, **details))
        return plan_id
    row = {"client_id": client_id, "state": to, "created_at": now, "changed_at": now, **details}
    plan_id = tx.insert(insert(plans), row)
    rows = [{"plan_id": plan_id, "vessel_id": vessel_id} for vessel_id in vessel_ids]
    if rows:
        tx.execute(insert(plan_vessels), rows)
    return plan_id


def plan_states(tx: Transaction, client_id: int) -> dict[int, str]:
    """The client's plans that are not finished: number -> active or paused."""
    return {row.id: row.state for row in tx.execute(_STATES, {"client": client_id})}


def active_plans(tx: Transaction) -> tuple[tuple[AnyRow, tuple[int, ...]], ...]:
    """Rows of every active plan, each with its vessels."""
    return plans_in(tx, "active")


def plans_in(tx: Transaction, *states: str) -> tuple[tuple[AnyRow, tuple[int, ...]], ...]:
    """Rows of every plan in one of these states, each with its vessels."""
    boats: dict[int, list[int]] = {}
    for row in tx.execute(select(plan_vessels).where(ours(plan_vessels)).order_by(plan_vessels.c.vessel_id)):
        boats.setdefault(row.plan_id, []).append(row.vessel_id)
    query = select(plans).where(ours(plans), plans.c.state.in_(states)).order_by(plans.c.id)
    return tuple((row, tuple(boats.get(row.id, ()))) for row in tx.execute(query))


def join_waiting_list(
    tx: Transaction, thread_id: int, service: str, vessel_ids: Iterable[int], wish: TimeWish, now: datetime
) -> int:
    """Remember a wish; an earlier one of the same thread for the same work is replaced."""
    leave_waiting_list(tx, thread_id, service)
    row = {"thread_id": thread_id, "service": service, "vessel_ids": list(vessel_ids), "wish": as_plain(wish)}
    return tx.insert(insert(waiting_list), {**row, "joined_at": now})


def leave_waiting_list(tx: Transaction, thread_id: int, service: str | None = None) -> None:
    """The client waits no longer, for this work or for any."""
    mine = [ours(waiting_list), waiting_list.c.thread_id == thread_id, waiting_list.c.state == "waiting"]
    mine += [waiting_list.c.service == service] if service is not None else []
    tx.execute(update(waiting_list).where(*mine).values(state="closed"))


def waiting(tx: Transaction) -> tuple[Waiting, ...]:
    """Everybody who waits, the longest first."""
    query = select(waiting_list).where(ours(waiting_list), waiting_list.c.state == "waiting")
    return tuple(
        Waiting(row.id, row.thread_id, row.service, tuple(row.vessel_ids or ()), wish_from(row.wish), row.joined_at)
        for row in tx.execute(query.order_by(waiting_list.c.joined_at))
    )


def note_told(tx: Transaction, waiting_id: int, now: datetime) -> None:
    """The client was told of a time."""
    mine = (ours(waiting_list), waiting_list.c.id == waiting_id)
    tx.execute(update(waiting_list).where(*mine).values(state="told", told_at=now))
