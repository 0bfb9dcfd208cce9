"""Prices are exact, add up line by line, and come from the business's own list only."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.domain.business import Business, Prices, Service
from assistant.domain.prices import feet_in, quote, quote_visit

WASH = Service("wash", {"en": "wash"}, per_foot=Decimal(4), minimum=Decimal(90), add_ons={"nonskid": Decimal("45.50")})
RESEAL = replace(WASH, id="reseal", per_foot=Decimal("22.25"), minimum=Decimal(480), on_sight=True)


def priced(business: Business, **values: object) -> Business:
    return replace(business, prices=Prices(**values))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("length", "total"),
    [("28", "112"), ("28.1", "116"), ("24.5", "100"), ("22", "90"), ("22.5", "92"), ("12", "90")],
)
def test_length_is_rounded_up_to_the_foot_and_small_boats_pay_the_minimum(
    business: Business, length: str, total: str
) -> None:
    assert quote(business, WASH, Decimal(length)).total == Decimal(total)


def test_add_ons_condition_travel_tax_and_rounding_each_have_their_line(business: Business) -> None:
    prices = priced(
        business, tax_percent=Decimal("7"), round_to=Decimal(5), travel_per_km=Decimal("0.80"), free_km=Decimal(10),
        condition={"heavy": Decimal("1.4")},
    )  # fmt: skip
    found = quote(prices, WASH, Decimal(28), ["nonskid"], "heavy", Decimal("22.5"))
    assert dict(found.lines) == {
        "wash": Decimal(112), "condition:heavy": Decimal("44.8"), "add_on:nonskid": Decimal("45.50"),
        "travel": Decimal("10.000"), "tax": Decimal("14.8610"), "rounding": Decimal("-2.1610"),
    }  # fmt: skip
    assert found.total == 225


def test_what_is_not_on_the_list_has_no_price(business: Business) -> None:
    with pytest.raises(KeyError):
        quote(business, WASH, Decimal(28), ["gold leaf"])
    with pytest.raises(KeyError):
        quote(business, WASH, Decimal(28), condition="heavy")


def test_two_boats_pay_the_way_once_and_each_its_minimum(business: Business) -> None:
    prices = priced(business, travel_per_km=Decimal(1))
    both = quote_visit(prices, WASH, [Decimal(24), Decimal(12)], distance_km=Decimal(15))
    assert both.total == 96 + 90 + 15


def test_a_quote_says_when_it_ends_and_whether_the_eye_decides(business: Business) -> None:
    assert quote(priced(business, quote_days=30), RESEAL, Decimal(28)).good_until(date(2027, 5, 4)) == date(2027, 6, 3)
    assert quote(business, RESEAL, Decimal(28)).estimate
    assert not quote(business, WASH, Decimal(28)).estimate


@given(
    st.lists(st.decimals("1", "200", places=2), min_size=1, max_size=3), st.decimals("0", "25", places=3),
    st.sampled_from(["0", "0.01", "1", "5"]), st.decimals("0", "80", places=1),
)  # fmt: skip
def test_lines_add_up_to_the_cent_and_rounding_moves_half_a_step_at_most(
    lengths: list[Decimal], tax: Decimal, step: str, way: Decimal
) -> None:
    business = Business(
        1, "", "", "", "America/New_York", "US", "en", {},
        prices=Prices(tax_percent=tax, round_to=Decimal(step), travel_per_km=Decimal("0.7")),
    )  # fmt: skip
    found = quote_visit(business, WASH, lengths, distance_km=way)
    assert sum(amount for _, amount in found.lines) == found.total
    rounding = dict(found.lines).get("rounding", Decimal(0))
    assert abs(rounding) <= Decimal(step) / 2
    assert found.total >= 90 * len(lengths) - Decimal(step)


@pytest.mark.parametrize(
    ("text", "feet"),
    [
        ("wash a 34 ft cruiser", "34"), ("what do you charge to wash a 28 footer", "28"), ("24'6\" whats that cost", "24.5"),
        ("my paperwork says 27.8 ft", "27.8"), ("its a 41foot", "41"), ("mide 26 pies", "26"), ("mines 7.3 m", "24.0"),
        ("8,5 metros", "27.9"), ("24 ft 6 in", "24.5"), ("how much for a wash", None), ("at 9 am on the 28th", None),
        ("2 boats, 3 times", None), ("it's 25 minutes", None),
    ],
)  # fmt: skip
def test_a_length_is_read_from_words(text: str, feet: str | None) -> None:
    assert feet_in(text) == (None if feet is None else Decimal(feet))
