"""Quotes from the business's own price list, in exact decimal arithmetic. Nothing here invents a figure."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from assistant.domain.business import Business, Service

FEET_PER_METER = Decimal(1) / Decimal("0.3048")
"""Exact: the international foot is 0.3048 m."""
_FEET = re.compile(
    r"(?<![\d.])(?P<feet>\d{1,3}(?:[.,]\d{1,2})?) ?-?(?:ft\b|feet\b|foot(?:er)?s?\b|pies?\b|'(?!\d{3}))(?: ?(?P<inches>\d{1,2})(?: ?(?:in\b|inch(?:es)?\b|\"|''|pulgadas)|(?=\W|$)))?"
)
_METERS = re.compile(r"(?<![\d.])(?P<meters>\d{1,2}(?:[.,]\d{1,2})?) ?(?:m\b|meters?\b|metres?\b|metros?\b)")


@dataclass(frozen=True, slots=True)
class Quote:
    """A price with the lines it is made of (label id, amount), which add up to it.

    `estimate`: the condition decides on sight. `days_valid` counts from the day it was made.
    """

    total: Decimal
    lines: tuple[tuple[str, Decimal], ...]
    estimate: bool
    days_valid: int

    def good_until(self, made_on: date) -> date:
        """The last day on which the price stands."""
        return made_on + timedelta(days=self.days_valid)


def whole_feet(length_ft: Decimal) -> Decimal:
    """Length rounded up to a whole foot, as the trade quotes it (common practice, no source)."""
    return length_ft.to_integral_value(ROUND_CEILING)


def quote(
    business: Business, service: Service, length_ft: Decimal, add_ons: Sequence[str] = (), condition: str = "",
    distance_km: Decimal = Decimal(0),
) -> Quote:  # fmt: skip
    """The price of one service on one vessel. KeyError for an add-on or condition that is not on the price list."""
    return quote_visit(business, service, [length_ft], add_ons, condition, distance_km)


def quote_visit(
    business: Business, service: Service, lengths_ft: Sequence[Decimal], add_ons: Sequence[str] = (),
    condition: str = "", distance_km: Decimal = Decimal(0),
) -> Quote:  # fmt: skip
    """The price of one service on the vessels of one visit: each has its minimum, the way is paid once.

    `distance_km` is one way, from the base. KeyError for an add-on or condition that is not on the price list.
    """
    lines = [line for length in lengths_ft for line in _of_one(business, service, length, add_ons, condition)]
    beyond = max(Decimal(0), distance_km - business.prices.free_km)
    if beyond and business.prices.travel_per_km:
        lines.append(("travel", beyond * business.prices.travel_per_km))
    if business.prices.tax_percent:
        lines.append(("tax", _sum(lines) * business.prices.tax_percent / 100))
    total = _rounded(_sum(lines), business.prices.round_to)
    if total != _sum(lines):
        lines.append(("rounding", total - _sum(lines)))
    return Quote(total, tuple(lines), service.on_sight, business.prices.quote_days)


def feet_in(text: str) -> Decimal | None:
    """A length named in a text, in feet: '28 ft', 'a 34 footer', 24'6\", '7.3 m'; None when there is none."""
    found = _FEET.search(text.lower())
    if found:
        inches = Decimal(found["inches"] or 0)
        return _number(found["feet"]) + (inches / 12 if inches < 12 else 0)
    metric = _METERS.search(text.lower())
    return (_number(metric["meters"]) * FEET_PER_METER).quantize(Decimal("0.1")) if metric else None


def _number(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def _of_one(
    business: Business, service: Service, length_ft: Decimal, add_ons: Sequence[str], condition: str
) -> Iterator[tuple[str, Decimal]]:
    base = max(service.minimum, (service.per_foot or Decimal(0)) * whole_feet(length_ft))
    yield service.id, base
    if condition:
        yield f"condition:{condition}", base * (business.prices.condition[condition] - 1)
    for name in add_ons:
        yield f"add_on:{name}", service.add_ons[name]


def _sum(lines: Sequence[tuple[str, Decimal]]) -> Decimal:
    return sum((amount for _, amount in lines), Decimal(0))


def _rounded(amount: Decimal, step: Decimal) -> Decimal:
    if step <= 0:
        return amount
    return (amount / step).quantize(Decimal(1), ROUND_HALF_UP) * step
