"""Values of the ground floor as JSON and back, where a table keeps them whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any

from assistant.domain.visits import TimeWish


def as_plain(value: Any) -> Any:
    """Dataclasses, dates, decimals, enums and sets as what JSON knows. Fields left at their default are left out."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            item.name: as_plain(getattr(value, item.name))
            for item in fields(value)
            if getattr(value, item.name) != item.default
        }
    if isinstance(value, Mapping):
        return {str(name): as_plain(entry) for name, entry in value.items()}
    if isinstance(value, set | frozenset):
        return [as_plain(entry) for entry in sorted(value)]
    if isinstance(value, list | tuple):
        return [as_plain(entry) for entry in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def wish_from(plain: Mapping[str, Any]) -> TimeWish:
    """A TimeWish as `as_plain` wrote it."""
    values: dict[str, Any] = {name: _WISH_FIELDS.get(name, _as_it_is)(value) for name, value in plain.items()}
    return TimeWish(**values)


def _as_it_is(value: Any) -> Any:
    return value


def _days(values: list[str]) -> tuple[date, ...]:
    return tuple(map(date.fromisoformat, values))


_WISH_FIELDS: dict[str, Callable[[Any], Any]] = {
    "first": date.fromisoformat,
    "last": date.fromisoformat,
    "days": _days,
    "not_days": lambda values: frozenset(_days(values)),
    "weekdays": frozenset,
    "not_weekdays": frozenset,
}
