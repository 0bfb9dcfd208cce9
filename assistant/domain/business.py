"""The business's own data (business.toml) as a value. Money is Decimal, times are wall times in `zone`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Place:
    """A harbor or yard the crew drives to. `weekdays` 0=Monday; empty means any working day."""

    name: str
    latitude: float | None = None
    longitude: float | None = None
    weekdays: frozenset[int] = frozenset()
    opens: time | None = None
    closes: time | None = None
    no_wash: bool = False
    also_called: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CrewMember:
    """Someone of the business who may text in. `role`: owner, crew or office."""

    name: str
    phone: str
    role: str = "crew"


@dataclass(frozen=True, slots=True)
class Service:
    """A kind of work on the price list. `hours_per_ft` and `setup_minutes` size the visit."""

    id: str
    name: dict[str, str]
    per_foot: Decimal | None = None
    minimum: Decimal = Decimal(0)
    hours_per_ft: Decimal = Decimal("0.1")
    setup_minutes: int = 30
    outdoor: bool = True
    on_sight: bool = False
    """The price depends on condition: say that the figure is an estimate."""
    cure_hours: int = 0
    add_ons: dict[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Prices:
    """Everything about money that is not a service: currency, tax, travel, rounding, expiry."""

    currency: str = "USD"
    tax_percent: Decimal = Decimal(0)
    round_to: Decimal = Decimal(1)
    travel_per_km: Decimal = Decimal(0)
    free_km: Decimal = Decimal(0)
    condition: dict[str, Decimal] = field(default_factory=dict)
    quote_days: int = 30


@dataclass(frozen=True, slots=True)
class Business:
    """One detailing business: who, where, when, for how much."""

    id: int
    name: str
    detailer: str
    number: str
    zone: str
    country: str
    language: str
    hours: dict[int, tuple[time, time]]
    """Working hours by weekday, 0=Monday; a missing weekday is a day off."""
    days_off: frozenset[date] = frozenset()
    keep_public_holidays: bool = True
    crews: int = 1
    notice_hours: int = 24
    hold_minutes: int = 120
    speed_kmh: float = 50.0
    base: tuple[float, float] | None = None
    crew: tuple[CrewMember, ...] = ()
    places: tuple[Place, ...] = ()
    services: dict[str, Service] = field(default_factory=dict)
    prices: Prices = Prices()
    soap: str = ""
    topper: str = ""
    products: dict[str, str] = field(default_factory=dict)
    """House products by the name people call them -> substance id they count as."""
    payment: str = ""
    service_window: tuple[time, time] = (time(8), time(20))
    marketing_window: tuple[time, time] = (time(10), time(17))
    nudges_per_month: int = 2
    nudge_gap_days: int = 7
    life: dict[str, str] = field(default_factory=dict)
    """Overrides of coating parameters, `coating.column` -> value."""
    sun_station: str = ""
    segment_cost: Decimal = Decimal(0)
