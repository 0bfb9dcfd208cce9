"""Column types and helpers shared by all tables: UTC moments, exact amounts, the business a row belongs to."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    Integer,
    MetaData,
    Numeric,
    String,
    Text,
    TypeDecorator,
)
from sqlalchemy.types import TypeEngine

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class Moment(TypeDecorator[datetime]):
    """An instant. Only aware values go in; UTC comes out, on both databases (SQLite itself knows no zone)."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a naive value; hand the driver what it can keep."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no zone: only aware moments are kept")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give back an aware UTC value."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Exact(TypeDecorator[Decimal]):
    """An exact decimal. SQLite has none, so there it is kept as text."""

    impl = Numeric
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Text on SQLite, a real decimal elsewhere."""
        return dialect.type_descriptor(String(40) if dialect.name == "sqlite" else Numeric())

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> Any:
        """Spell the decimal out where the driver knows none."""
        return str(value) if value is not None and dialect.name == "sqlite" else value

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        """Give back an exact decimal."""
        return None if value is None else Decimal(value)


def key() -> Column[int]:
    """The row's own number."""
    return Column("id", Integer, primary_key=True)


def business(*, primary: bool = False) -> Column[int]:
    """The business a row belongs to; every table but the businesses' own has it."""
    return Column("business_id", ForeignKey("businesses.id"), nullable=False, primary_key=primary)


def link(name: str, target: str, *, needed: bool = True, with_it: bool = False, index: bool = False) -> Column[int]:
    """A reference to another row. `with_it`: this row goes when that one goes; else it stays and forgets it."""
    rule = "CASCADE" if with_it else None if needed else "SET NULL"
    return Column(name, ForeignKey(f"{target}.id", ondelete=rule), nullable=not needed, index=index)


def text(name: str, *, default: str | None = "") -> Column[str]:
    """Text that is never NULL unless `default` is None."""
    return Column(name, Text, nullable=default is None, server_default=default)


def moment(name: str, *, needed: bool = False) -> Column[datetime]:
    """An instant; NULL means "not yet" unless needed."""
    return Column(name, Moment, nullable=not needed)


def count(name: str, default: int = 0) -> Column[int]:
    """A whole number that is never NULL."""
    return Column(name, Integer, nullable=False, server_default=str(default))


def flag(name: str) -> Column[bool]:
    """Yes or no, no by default."""
    return Column(name, Boolean, nullable=False, server_default="0")


def amount(name: str) -> Column[Decimal]:
    """An exact decimal; NULL means unknown."""
    return Column(name, Exact)


def document(name: str) -> Column[Any]:
    """A JSON value; NULL means none."""
    return Column(name, JSON(none_as_null=True))
