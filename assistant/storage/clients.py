"""Clients: who they are and how to find them. A client begins with one thread, on the number they text from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, insert, or_, select, update

from assistant.domain.people import Client
from assistant.storage.database import AnyRow, Database, Transaction, ours
from assistant.storage.tables import clients, threads
from assistant.storage.threads import open_thread


@dataclass(frozen=True, slots=True)
class NewClient:
    """What is needed to begin a record."""

    name: str
    phone: str
    language: str
    zone: str
    country: str
    channel: str = "sms"


def add_client(tx: Transaction, new: NewClient, now: datetime) -> int:
    """Begin a client's record, with links for the care card and the calendar; an earlier thread becomes theirs."""
    client_id = tx.insert(
        insert(clients),
        {
            "name": new.name,
            "phone": new.phone,
            "channel": new.channel,
            "language": new.language,
            "zone": new.zone,
            "country": new.country,
            "card_token": tx.new_token(),
            "calendar_token": tx.new_token(),
            "created_at": now,
        },
    )
    mine = (ours(threads), threads.c.phone == new.phone)
    tx.execute(update(threads).where(*mine).values(client_id=client_id))
    open_thread(tx, new.phone, new.channel, now)
    return client_id


def find_client(tx: Transaction, client_id: int) -> Client | None:
    """One client by number of the record."""
    return _one(tx, clients.c.id == client_id)


def client_of_phone(tx: Transaction, phone: str) -> Client | None:
    """The client with this E.164 number."""
    return _one(tx, clients.c.phone == phone)


def search(tx: Transaction, words: str = "", limit: int = 50, after: int = 0) -> tuple[Client, ...]:
    """Clients whose name or number holds `words`, by number of the record, `limit` of them after `after`."""
    query = select(clients).where(ours(clients), clients.c.id > after).order_by(clients.c.id).limit(limit)
    if words.strip():
        like = words.strip().lower()
        query = query.where(
            or_(
                func.lower(clients.c.name).contains(like, autoescape=True),
                clients.c.phone.contains(like, autoescape=True),
            )
        )
    return tuple(client_from(row) for row in tx.execute(query))


def change_client(tx: Transaction, client_id: int, **values: Any) -> None:
    """Write columns of a client anew: name, language, zone, country, channel, closed, note."""
    tx.execute(update(clients).where(ours(clients), clients.c.id == client_id).values(**values))


def tokens(tx: Transaction, client_id: int) -> tuple[str, str]:
    """The names of the client's care-card link and calendar link."""
    query = select(clients.c.card_token, clients.c.calendar_token).where(ours(clients), clients.c.id == client_id)
    card, calendar = tx.execute(query).one()
    return card, calendar


def renew_tokens(tx: Transaction, client_id: int) -> None:
    """Give the client new links; the old ones open nothing from now on."""
    change_client(tx, client_id, card_token=tx.new_token(), calendar_token=tx.new_token())


def owner_of_card(database: Database, token: str) -> tuple[int, int] | None:
    """(business, client) whose care card the link names; None when it names nobody's."""
    return _owner(database, clients.c.card_token == token) if _may_be_token(token) else None


def owner_of_calendar(database: Database, token: str) -> tuple[int, int] | None:
    """(business, client) whose calendar the link names; None when it names nobody's."""
    return _owner(database, clients.c.calendar_token == token) if _may_be_token(token) else None


def client_from(row: AnyRow) -> Client:
    """A row of the table as a value."""
    return Client(
        id=row.id,
        name=row.name,
        phone=row.phone,
        language=row.language,
        zone=row.zone,
        country=row.country,
        channel=row.channel,
        closed=row.closed,
    )


def _one(tx: Transaction, condition: ColumnElement[bool]) -> Client | None:
    row = tx.execute(select(clients).where(ours(clients), condition)).first()
    return client_from(row) if row else None


def _may_be_token(token: str) -> bool:
    """Only characters that tokens are made of: PostgreSQL refuses to compare with a NUL."""
    return token.isascii() and token.isprintable()


def _owner(database: Database, condition: ColumnElement[bool]) -> tuple[int, int] | None:
    """A link says by itself whose it is, so this look-up alone is not held to one business."""
    with database.reading_everywhere() as connection:
        row = connection.execute(select(clients.c.business_id, clients.c.id).where(condition)).first()
    return (row.business_id, row.id) if row else None
