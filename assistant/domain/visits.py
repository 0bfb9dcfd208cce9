"""Visits and offered times. A visit keeps wall time, zone and the UTC instant it meant when it was booked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum


class VisitState(StrEnum):
    """Where a visit stands."""

    BOOKED = "booked"
    CALLED_OFF = "called_off"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Visit:
    """One booked stay at a harbor. `begins`/`ends` are aware UTC; `occupied_*` adds setup and travel."""

    id: int
    client_id: int
    vessel_ids: tuple[int, ...]
    service: str
    crew: int
    begins: datetime
    ends: datetime
    zone: str
    place: str
    state: VisitState = VisitState.BOOKED
    price: Decimal | None = None
    sequence: int = 0
    uid: str = ""
    note: str = ""
    revised_at: datetime | None = None
    plan_id: int | None = None


@dataclass(frozen=True, slots=True)
class Slot:
    """A free time that can be offered. UTC instants; `crew` is the crew number it is free for."""

    crew: int
    begins: datetime
    ends: datetime
    why: str = ""
    """Id of half a phrase for the client: `here` (the crew is at that harbor that day), `weekday`, or none."""
    place: str = ""
    """The harbor, so that others' drives keep clear of a held time."""


@dataclass(frozen=True, slots=True)
class Busy:
    """A stretch of one crew's time that is taken: by a visit, a hold, or the detailer's own calendar."""

    crew: int
    begins: datetime
    ends: datetime
    place: str = ""
    held: bool = False
    """Only offered to somebody: it takes time, but nobody is sure to be there."""


@dataclass(frozen=True, slots=True)
class TimeWish:
    """What times a client asked for, read from words. Days are wall days in the business's zone.

    `first`/`last` inclusive range of days; `days` exact days if listed; `weekdays` 0=Monday wanted;
    `not_weekdays`, `not_days` excluded; `earliest`/`latest` minutes of the day; `asap`; `like_last_year`.
    `ambiguous` holds a reading to confirm ("Tuesday 9 June?") or a text to ask back about.
    """

    first: date | None = None
    last: date | None = None
    days: tuple[date, ...] = ()
    weekdays: frozenset[int] = frozenset()
    not_weekdays: frozenset[int] = frozenset()
    not_days: frozenset[date] = frozenset()
    needed_on: date | None = None
    """The boat must be ready, cure included, before this day begins."""
    earliest: int | None = None
    latest: int | None = None
    asap: bool = False
    like_last_year: bool = False
    pick: int | None = None
    """1-based number of an offered slot that was picked ("the second one")."""
    later_than_offer: bool = False
    earlier_than_offer: bool = False
    none_fit: bool = False
    ambiguous: str = ""
    words: str = ""

    @property
    def empty(self) -> bool:
        """True when the text named no time at all."""
        return self == TimeWish(words=self.words)


QUARTER = timedelta(minutes=15)
"""Time is occupied in quarters: one row per crew and quarter makes a double booking impossible."""
