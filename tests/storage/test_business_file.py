"""business.toml: the template reads, and every slip is named with its line."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from pathlib import Path

import pytest

from assistant.domain.errors import KnowledgeError
from assistant.storage.business_file import read_business, template_text


@pytest.fixture
def home(tmp_path: Path) -> Path:
    (tmp_path / "business.toml").write_text(template_text(), encoding="utf-8")
    return tmp_path / "business.toml"


def test_the_template_reads_as_it_stands(home: Path) -> None:
    business = read_business(home)
    assert (business.name, business.number, business.zone) == ("My Boat Care", "+13055550100", "America/New_York")
    assert business.hours == {day: (time(8), time(17)) for day in range(5)}
    assert business.services["topper"].per_foot == Decimal(7)
    assert business.crew[0].role == "owner"


def test_the_remarks_of_the_template_read_too(home: Path) -> None:
    lines = template_text().replace("days_off = []", "days_off = [2027-12-24]").splitlines()
    shown = (
        "# [[places]]",
        "# name",
        "# also_called",
        "# position",
        "# weekdays",
        "# opens",
        "# closes",
        "# no_wash",
    )
    shown += ("# base", "# condition", "# called", "# changed")
    home.write_text("\n".join(line[2:] if line.startswith(shown) else line for line in lines), encoding="utf-8")
    business = read_business(home, business_id=7)
    place = business.places[0]
    assert (place.name, place.weekdays, place.opens) == ("Pelican Slough", frozenset({1, 3}), time(7, 30))
    assert business.id == 7
    assert business.days_off == frozenset({date(2027, 12, 24)})
    assert business.products == {"the blue bottle": "boat_soap"}
    assert business.life == {"sealant.capacity_days": "170"}
    assert business.base == (25.76, -80.19)


@pytest.mark.parametrize(
    ("was", "becomes", "problem"),
    [
        ('zone = "America/New_York"', 'zone = "Newyork"', "business.zone is not a time zone"),
        ('number = "+13055550100"', 'number = "call me"', "business.number is not a phone number"),
        ('country = "US"', 'country = "Florida"', "business.country is not a country"),
        ('monday = "08:00-17:00"', 'monday = "17:00-08:00"', "hours.monday should begin before it ends"),
        ('monday = "08:00-17:00"', 'moonday = "08:00-17:00"', "hours.moonday is not known here"),
        ("crews = 1 ", 'crews = "two"', "booking.crews should be a whole number, 0 or more"),
        ('role = "owner"', 'role = "boss"', "crew.role is not a role"),
        ("per_foot = 7", "per_foot = -7", "services.topper.per_foot should be a number, 0 or more"),
        ("round_to = 5 ", "round_to = 0 ", "prices.round_to should be more than 0"),
        ("[prices]", "[price]", "price is not a part of this file"),
        ("hold_minutes = 120", "hold_minutes = 1 2", "Expected newline or end of document after a statement"),
    ],
)
def test_a_slip_is_named_with_its_line_and_a_remedy(home: Path, was: str, becomes: str, problem: str) -> None:
    text = template_text()
    assert text.count(was) == 1, was
    home.write_text(text.replace(was, becomes), encoding="utf-8")
    with pytest.raises(KnowledgeError) as refusal:
        read_business(home)
    line = text[: text.index(was)].count("\n") + 1
    found = refusal.value.problems[0]
    assert (found.file, found.line, found.problem) == ("business.toml", line, problem)
    assert found.remedy


def test_all_slips_are_named_at_once(home: Path) -> None:
    text = template_text().replace("America/New_York", "Nowhere").replace('"Sam"', '""').replace("= 480", "= 'x'")
    home.write_text(text, encoding="utf-8")
    with pytest.raises(KnowledgeError) as refusal:
        read_business(home)
    assert len(refusal.value.problems) == 4


def test_a_missing_file_is_a_problem_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError, match="the file is missing"):
        read_business(tmp_path / "business.toml")
