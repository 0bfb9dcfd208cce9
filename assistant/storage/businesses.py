"""The businesses in one database, and which of them a number belongs to."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import insert, select, update

from assistant.domain.business import Business
from assistant.storage.database import Database
from assistant.storage.tables import business_numbers, businesses


def register(database: Database, business: Business, now: datetime, other_numbers: Iterable[str] = ()) -> None:
    """Make the business and its numbers known, or bring their record up to date. Safe to repeat."""
    numbers = {business.number, *other_numbers} - {""}
    with database.engine.begin() as connection:
        found = connection.execute(select(businesses.c.name).where(businesses.c.id == business.id)).scalar()
        if found is None:
            row = {"id": business.id, "name": business.name, "created_at": now}
            connection.execute(insert(businesses), row)
        elif found != business.name:
            connection.execute(update(businesses).where(businesses.c.id == business.id).values(name=business.name))
        known = set(
            connection.execute(
                select(business_numbers.c.number).where(business_numbers.c.business_id == business.id)
            ).scalars()
        )
        for number in sorted(numbers - known):
            connection.execute(insert(business_numbers), {"number": number, "business_id": business.id})


def owner_of(database: Database, number: str) -> int | None:
    """The business that `number` (E.164, or a messaging service id) belongs to; None when nobody's."""
    query = select(business_numbers.c.business_id).where(business_numbers.c.number == number)
    with database.reading_everywhere() as connection:
        return connection.execute(query).scalar()


def all_ids(database: Database) -> tuple[int, ...]:
    """Every business of this database, for a worker that looks after all of them."""
    with database.reading_everywhere() as connection:
        return tuple(connection.execute(select(businesses.c.id).order_by(businesses.c.id)).scalars())
