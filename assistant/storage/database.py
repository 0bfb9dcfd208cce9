"""Engines, transactions, and the one chokepoint through which every query of a business goes.

SQLite: write-ahead log, foreign keys on, and BEGIN IMMEDIATE for work that writes, so that two writers wait for each
other instead of losing an update. PostgreSQL: psycopg 3, sessions in UTC, readers on one snapshot.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeAlias
from weakref import WeakSet

from sqlalchemy import Column, ColumnElement, CursorResult, Engine, Row, Table, bindparam, create_engine, event
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.sql import operators, visitors
from sqlalchemy.sql.elements import BinaryExpression, BindParameter
from sqlalchemy.sql.expression import Delete, Executable, Insert, Update

from assistant.storage.tables import businesses, metadata

AnyRow: TypeAlias = "Row[*tuple[Any, ...]]"
BUSINESS = "business"
"""Name of the parameter that carries the business in every statement."""
BUSY_SECONDS = 30
"""How long a writer waits for another one on SQLite before it gives up."""
READ_ONLY = "reads_only"


def ours(table: Any) -> ColumnElement[bool]:
    """The condition every statement needs for every table it touches: rows of the transaction's business."""
    condition: ColumnElement[bool] = table.c.business_id == bindparam(BUSINESS)
    return condition


@dataclass(frozen=True, slots=True)
class Transaction:
    """One open transaction of one business."""

    connection: Connection
    business_id: int
    new_token: Callable[[], str] = field(repr=False)
    """Makes an unguessable link name."""
    writes: bool = True

    @property
    def postgres(self) -> bool:
        """True on PostgreSQL."""
        return self.connection.dialect.name == "postgresql"

    def execute(
        self, statement: Executable, parameters: Mapping[str, Any] | Sequence[Mapping[str, Any]] | None = None
    ) -> CursorResult[*tuple[Any, ...]]:
        """Run one statement for this business. Raises UnscopedQuery when it would reach rows of another."""
        check_scope(statement)
        mine = {"business_id" if isinstance(statement, Insert) else BUSINESS: self.business_id}
        if parameters is None or isinstance(parameters, Mapping):
            return self.connection.execute(statement, {**(parameters or {}), **mine})
        return self.connection.execute(statement, [{**row, **mine} for row in parameters])

    def insert(self, statement: Insert, values: Mapping[str, Any]) -> int:
        """Insert one row and return its number."""
        number: int = self.execute(statement, values).inserted_primary_key[0]  # type: ignore[index]
        return number

    def insert_if_new(self, table: Table, values: Mapping[str, Any], *unique: str) -> int | None:
        """Insert one row and return its number; None when a row with the same `unique` columns exists.

        A row that another transaction is just writing is waited for.
        """
        return self.execute(_insert_if_new(table, unique, self.postgres), values).scalar()

    @contextmanager
    def savepoint(self) -> Iterator[None]:
        """What happens inside is undone alone when it raises."""
        with self.connection.begin_nested():
            yield


@cache
def _insert_if_new(table: Table, unique: tuple[str, ...], postgres: bool) -> Insert:
    insert = postgresql.insert if postgres else sqlite.insert
    return insert(table).on_conflict_do_nothing(index_elements=unique).returning(table.c.id)


class UnscopedQuery(AssertionError):
    """A statement touches a table without saying whose rows: a mistake in this program, never in its input."""


_SCOPED: WeakSet[Any] = WeakSet()


def check_scope(statement: Any) -> None:
    """Raise UnscopedQuery unless each table in `statement` is held to one business. Each statement is read once."""
    if statement in _SCOPED:
        return
    tables: set[Any] = {statement.table} if isinstance(statement, Insert | Update | Delete) else set()
    held: set[Any] = {statement.table} if isinstance(statement, Insert) else set()
    for part in visitors.iterate(statement):
        if isinstance(part, Table):
            tables.add(part)
        elif isinstance(part, BinaryExpression) and _holds_to_business(part):
            held.add(part.left.table)
    loose = sorted(table.name for table in tables - held if "business_id" in table.c)
    if loose or businesses in tables:
        raise UnscopedQuery(f"not held to one business: {', '.join(loose) or businesses.name}")
    _SCOPED.add(statement)


def _holds_to_business(part: BinaryExpression[Any]) -> bool:
    sides = isinstance(part.left, Column) and isinstance(part.right, BindParameter)
    return sides and part.operator is operators.eq and part.right.key == BUSINESS


def random_token() -> str:
    """An unguessable name for a link: 144 bits."""
    return secrets.token_urlsafe(18)


class Database:
    """One database. Cheap to make: nothing is opened before the first use. Safe to share between threads."""

    def __init__(self, url: str | URL, pool_size: int = 5, new_token: Callable[[], str] = random_token) -> None:
        self.engine = build_engine(url, pool_size)
        self._reader = self.engine.execution_options(**{READ_ONLY: True, **_reading_options(self.engine)})
        self._new_token = new_token

    @property
    def postgres(self) -> bool:
        """True on PostgreSQL."""
        return self.engine.dialect.name == "postgresql"

    @contextmanager
    def transaction(self, business_id: int) -> Iterator[Transaction]:
        """Work that writes: committed when the block ends, undone when it raises."""
        with self.engine.begin() as connection:
            yield Transaction(connection, business_id, self._new_token)

    @contextmanager
    def reading(self, business_id: int) -> Iterator[Transaction]:
        """Work that only reads, on one snapshot; never waits for a writer."""
        with self._reader.begin() as connection:
            yield Transaction(connection, business_id, self._new_token, writes=False)

    @contextmanager
    def reading_everywhere(self) -> Iterator[Connection]:
        """Reads over all businesses: for the few questions that ask whose a number or a link is."""
        with self._reader.begin() as connection:
            yield connection

    def migrate(self) -> None:
        """Bring the tables to the form this program needs. Safe to repeat, and while others serve."""
        from assistant.storage.migrations import upgrade

        upgrade(self.engine)

    def pending_migrations(self) -> tuple[str, ...]:
        """Names of the steps that `migrate` would take; empty when the tables are up to date. Writes nothing."""
        from assistant.storage.migrations import pending

        with self.reading_everywhere() as connection:
            return pending(connection)

    def refresh_statistics(self) -> None:
        """Let the planner look at the tables anew, after many rows came in at once."""
        with self.engine.begin() as connection:
            if not self.postgres:
                connection.exec_driver_sql("PRAGMA analysis_limit = 1000")
            connection.exec_driver_sql("ANALYZE")

    def dispose(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def build_engine(url: str | URL, pool_size: int = 5) -> Engine:
    """An engine set up as this program needs it: SQLite file, or PostgreSQL through psycopg 3."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        return _sqlite_engine(address)
    return create_engine(
        address.set(drivername="postgresql+psycopg"),
        pool_size=pool_size,
        max_overflow=pool_size,
        pool_timeout=10,
        pool_pre_ping=True,
        pool_recycle=1800,
        connect_args={"options": "-c timezone=UTC", "connect_timeout": 5},
    )


def _sqlite_engine(address: URL) -> Engine:
    engine = create_engine(address, connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    """The driver's own BEGIN comes too late and locks too little: switch it off and begin ourselves."""
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    reads_only = connection.get_execution_options().get(READ_ONLY)
    connection.exec_driver_sql("BEGIN" if reads_only else "BEGIN IMMEDIATE")


def _reading_options(engine: Engine) -> dict[str, Any]:
    if engine.dialect.name == "sqlite":
        return {}
    return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}


def create_all_tables(engine: Engine) -> None:
    """Make every table at once, without migrations: for throw-away databases only."""
    metadata.create_all(engine)
