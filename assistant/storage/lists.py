"""What the crew's pages list: searched, counted and cut to a page in the database."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, String, cast, func, or_, select

from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import (
    busy_blocks,
    care_events,
    clients,
    crew_accounts,
    handovers,
    jobs,
    messages,
    next_due,
    outbox,
    threads,
    vessels,
)

PAGE = 25
"""Rows of one page."""


@dataclass(frozen=True, slots=True)
class BoatRow:
    """One line of the list of boats."""

    id: int
    name: str
    boat_type: str
    place: str
    client_id: int
    client: str
    phone: str


def count_open(tx: Transaction) -> int:
    """How many things wait for a person."""
    query = select(func.count()).select_from(handovers).where(ours(handovers), handovers.c.state == "open")
    return int(tx.execute(query).scalar_one())


def asked_in(tx: Transaction, handover_id: int) -> AnyRow | None:
    """The client's text behind a handover, with how it was read; None when no text led to it."""
    query = (
        select(messages)
        .join(handovers, handovers.c.message_id == messages.c.id)
        .where(ours(messages), ours(handovers), handovers.c.id == handover_id)
    )
    return tx.execute(query).first()


def handover_texts(tx: Transaction, limit: int) -> tuple[tuple[str, bool], ...]:
    """The latest texts that a person had to answer, each with whether it was urgent."""
    query = (
        select(messages.c.text, handovers.c.urgent)
        .join(handovers, handovers.c.message_id == messages.c.id)
        .where(ours(messages), ours(handovers), messages.c.text != "")
        .order_by(handovers.c.id.desc())
        .limit(limit)
    )
    return tuple((row.text, row.urgent) for row in tx.execute(query))


def boats(tx: Transaction, words: str = "", page: int = 1, ids: Iterable[int] | None = None) -> tuple[BoatRow, ...]:
    """One page of the boats whose name, place, owner or owner's number holds `words`, by name; or just `ids`."""
    query = _boats(words).order_by(func.lower(vessels.c.name), vessels.c.id)
    if ids is not None:
        query = query.where(vessels.c.id.in_(list(ids)))
    else:
        query = query.limit(PAGE + 1).offset((page - 1) * PAGE)
    return tuple(BoatRow(*row) for row in tx.execute(query))


def boat_ids(tx: Transaction, words: str) -> frozenset[int]:
    """Every boat that a search finds."""
    return frozenset(tx.execute(_boats(words).with_only_columns(vessels.c.id)).scalars())


def boat_marks(tx: Transaction) -> dict[int, tuple[int, str]]:
    """Boat -> (owner, mark): the mark changes whenever something is written that may move the end of its coats."""
    query = (
        select(vessels.c.id, vessels.c.client_id, cast(next_due.c.at, String))
        .outerjoin(next_due, (next_due.c.vessel_id == vessels.c.id) & ours(next_due))
        .where(ours(vessels), vessels.c.gone.is_(None))
    )
    return {id_: (owner, mark or "-") for id_, owner, mark in tx.execute(query)}


def boat_row(tx: Transaction, vessel_id: int) -> AnyRow | None:
    """One vessel with its owner, whole rows."""
    owner = (clients.c.name.label("client_name"), clients.c.phone, clients.c.note.label("client_note"))
    links = (clients.c.card_token, clients.c.language, clients.c.zone.label("client_zone"), clients.c.closed)
    query = (
        select(vessels, *owner, *links)
        .join(clients, clients.c.id == vessels.c.client_id)
        .where(ours(vessels), ours(clients), vessels.c.id == vessel_id)
    )
    return tx.execute(query).first()


def jobs_of(tx: Transaction, vessel_id: int, limit: int = 50) -> tuple[AnyRow, ...]:
    """The latest jobs done on a boat."""
    query = select(jobs).where(ours(jobs), jobs.c.vessel_id == vessel_id)
    return tuple(tx.execute(query.order_by(jobs.c.done_on.desc(), jobs.c.id.desc()).limit(limit)))


def events_of(tx: Transaction, vessel_id: int, limit: int = 100) -> tuple[AnyRow, ...]:
    """The latest that happened to a boat's finish."""
    query = select(care_events).where(ours(care_events), care_events.c.vessel_id == vessel_id)
    return tuple(tx.execute(query.order_by(care_events.c.on.desc(), care_events.c.id.desc()).limit(limit)))


def vessel_names(tx: Transaction, vessel_ids: Iterable[int]) -> tuple[str, ...]:
    """The names of these boats, in order of their numbers."""
    query = select(vessels.c.name).where(ours(vessels), vessels.c.id.in_(list(vessel_ids))).order_by(vessels.c.id)
    return tuple(tx.execute(query).scalars())


def blocks_between(tx: Transaction, first: datetime, last: datetime) -> tuple[AnyRow, ...]:
    """Time taken in the business's own calendars, and blocked by hand, in [first, last)."""
    during = (busy_blocks.c.begins_at < last, busy_blocks.c.ends_at > first)
    return tuple(tx.execute(select(busy_blocks).where(ours(busy_blocks), *during).order_by(busy_blocks.c.begins_at)))


def names_of_threads(tx: Transaction, thread_ids: Iterable[int]) -> Mapping[int, str]:
    """Thread -> the client's name, or the number where none is known."""
    query = (
        select(threads.c.id, threads.c.phone, clients.c.name)
        .outerjoin(clients, (clients.c.id == threads.c.client_id) & ours(clients))
        .where(ours(threads), threads.c.id.in_(list(thread_ids)))
    )
    return {row.id: row.name or row.phone for row in tx.execute(query)}


def texts_to_and_fro(tx: Transaction, client_id: int, limit: int = 40) -> tuple[AnyRow, ...]:
    """The latest texts of a client over all channels, newest first."""
    query = (
        select(messages, threads.c.channel)
        .join(threads, threads.c.id == messages.c.thread_id)
        .where(ours(messages), ours(threads), threads.c.client_id == client_id)
    )
    return tuple(tx.execute(query.order_by(messages.c.id.desc()).limit(limit)))


def latest_texts(tx: Transaction, limit: int) -> tuple[AnyRow, ...]:
    """The latest texts of our own accord that left, failed or were dropped, newest first."""
    over = outbox.c.state.in_(("sent", "delivered", "failed", "dropped"))
    return tuple(tx.execute(select(outbox).where(ours(outbox), over).order_by(outbox.c.id.desc()).limit(limit)))


def first_steps(tx: Transaction) -> Mapping[str, bool]:
    """What of the way from nothing to the first care pack is done."""
    tables = {"client": clients, "boat": vessels, "job": jobs, "crew": crew_accounts}
    return {name: _any(tx, table) for name, table in tables.items()}


def _any(tx: Transaction, table: Any) -> bool:
    return tx.execute(select(table.c.id).where(ours(table)).limit(1)).first() is not None


def _boats(words: str) -> Select[Any]:
    query = (
        select(
            vessels.c.id, vessels.c.name, vessels.c.boat_type, vessels.c.place,
            clients.c.id.label("client_id"), clients.c.name.label("client"), clients.c.phone,
        )
        .join(clients, clients.c.id == vessels.c.client_id)
        .where(ours(vessels), ours(clients), vessels.c.gone.is_(None))
    )  # fmt: skip
    like = words.strip().lower()
    if not like:
        return query
    columns = (vessels.c.name, vessels.c.place, clients.c.name, clients.c.phone)
    return query.where(or_(*(func.lower(column).contains(like, autoescape=True) for column in columns)))
