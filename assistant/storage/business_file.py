"""business.toml -> Business: who, where, when, for how much. Every problem comes with its line and a remedy."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from decimal import Decimal
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import phonenumbers

from assistant.domain.business import Business, CrewMember, Place, Prices, Service
from assistant.domain.errors import KnowledgeError
from assistant.storage.toml_file import (
    Section,
    TomlFile,
    as_any_text,
    as_count,
    as_day,
    as_decimal,
    as_decimals,
    as_flag,
    as_list,
    as_number,
    as_text,
    as_texts,
    as_time,
    as_window,
    open_toml,
)

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
ROLES = ("owner", "crew", "office")
_PARTS = {"business", "hours", "booking", "crew", "places", "services", "prices", "products", "texts", "life"}


def template_text() -> str:
    """A commented business.toml to begin with: it reads without a problem as it stands."""
    return files("assistant.storage").joinpath("business_template.toml").read_text(encoding="utf-8")


def read_business(path: Path, business_id: int = 1) -> Business:
    """Read the file. Raises KnowledgeError carrying every problem found."""
    file = open_toml(path)
    for name in sorted(file.values.keys() - _PARTS):
        file.complain((name,), f"{name} is not a part of this file", f"the parts are: {', '.join(sorted(_PARTS))}")
    who = file.section("business")
    booking = file.section("booking")
    products = file.section("products")
    country = who.read("country", _country, remedy='write the two letters of the country, like "US"')
    business = Business(
        id=business_id,
        name=who.read("name", as_text),
        detailer=who.read("detailer", as_text, remedy="write the first name clients know"),
        number=who.read("number", _Phone(country).read, remedy='write it like "+13055550100"'),
        zone=who.read("zone", _zone, remedy='write it like "America/New_York"'),
        country=country,
        language=who.read("language", as_text, "en"),
        payment=who.read("payment", as_any_text, ""),
        hours=_hours(file),
        crews=booking.read("crews", as_count, 1),
        notice_hours=booking.read("notice_hours", as_count, 24),
        hold_minutes=booking.read("hold_minutes", as_count, 120),
        speed_kmh=float(booking.read("speed_kmh", as_decimal, Decimal(50))),
        base=booking.read("base", _coordinates, None),
        keep_public_holidays=booking.read("keep_public_holidays", as_flag, True),
        days_off=frozenset(booking.read("days_off", as_list(as_day), ())),
        crew=_crew(file, country),
        places=tuple(_place(section) for section in file.sections("places")),
        services=_services(file),
        prices=_prices(file),
        soap=products.read("soap", as_any_text, ""),
        topper=products.read("topper", as_any_text, ""),
        products=products.read("called", as_texts, {}),
        **_texts(file),
        **_life(file),
    )
    for section in (who, booking, products):
        section.finish()
    if file.problems:
        raise KnowledgeError(sorted(file.problems, key=lambda problem: problem.line or 0))
    return business


def _hours(file: TomlFile) -> dict[int, tuple[time, time]]:
    section = file.section("hours")
    given = {number: section.read(day, as_window, None) for number, day in enumerate(WEEKDAYS)}
    section.finish()
    hours = {number: window for number, window in given.items() if window}
    if not hours and not section.values:
        file.complain(("hours",), "no working hours are given", 'add [hours] with lines like monday = "08:00-17:00"')
    return hours


def _crew(file: TomlFile, country: str) -> tuple[CrewMember, ...]:
    crew = []
    for section in file.sections("crew"):
        phone = section.read("phone", _Phone(country).read, remedy='write it like "+13055550101"')
        role = section.read("role", _role, "crew", remedy=f"roles are: {', '.join(ROLES)}")
        crew.append(CrewMember(section.read("name", as_text), phone, role))
        section.finish()
    return tuple(crew)


def _place(section: Section) -> Place:
    position = section.read(
        "position", _coordinates, None, remedy="write [latitude, longitude], like [25.76, -80.19]"
    )
    place = Place(
        name=section.read("name", as_text),
        latitude=position[0] if position else None,
        longitude=position[1] if position else None,
        weekdays=frozenset(section.read("weekdays", as_list(_weekday), ())),
        opens=section.read("opens", as_time, None),
        closes=section.read("closes", as_time, None),
        no_wash=section.read("no_wash", as_flag, False),
        also_called=section.read("also_called", as_list(as_text), ()),
    )
    section.finish()
    return place


def _services(file: TomlFile) -> dict[str, Service]:
    services = {}
    for id_ in file.section("services").values:
        section = file.section("services", id_)
        services[id_] = Service(
            id=id_,
            name=section.read("name", as_texts, remedy='write it like name = { en = "wash", es = "lavado" }'),
            per_foot=section.read("per_foot", as_decimal, None),
            minimum=section.read("minimum", as_decimal, Decimal(0)),
            hours_per_ft=section.read("hours_per_ft", as_decimal, Decimal("0.1")),
            setup_minutes=section.read("setup_minutes", as_count, 30),
            outdoor=section.read("outdoor", as_flag, True),
            on_sight=section.read("on_sight", as_flag, False),
            cure_hours=section.read("cure_hours", as_count, 0),
            add_ons=section.read("add_ons", as_decimals, {}),
        )
        section.finish()
    return services


def _prices(file: TomlFile) -> Prices:
    section = file.section("prices")
    prices = Prices(
        currency=section.read("currency", _currency, "USD", remedy='write the three letters, like "USD"'),
        tax_percent=section.read("tax_percent", as_decimal, Decimal(0)),
        round_to=section.read("round_to", _above_zero, Decimal(1)),
        travel_per_km=section.read("travel_per_km", as_decimal, Decimal(0)),
        free_km=section.read("free_km", as_decimal, Decimal(0)),
        condition=section.read("condition", as_decimals, {}),
        quote_days=section.read("quote_days", as_count, 30),
    )
    section.finish()
    return prices


def _texts(file: TomlFile) -> dict[str, Any]:
    section = file.section("texts")
    values = {
        "service_window": section.read("service_window", as_window, (time(8), time(20))),
        "marketing_window": section.read("marketing_window", as_window, (time(10), time(17))),
        "nudges_per_month": section.read("nudges_per_month", as_count, 2),
        "nudge_gap_days": section.read("nudge_gap_days", as_count, 7),
        "segment_cost": section.read("segment_cost", as_decimal, Decimal(0)),
    }
    section.finish()
    return values


def _life(file: TomlFile) -> dict[str, Any]:
    section = file.section("life")
    values = {
        "sun_station": section.read("sun_station", as_any_text, ""),
        "life": section.read(
            "changed", _changed_numbers, {}, remedy='write it like { "sealant.capacity_days" = 170 }'
        ),
    }
    section.finish()
    return values


@dataclass(frozen=True, slots=True)
class _Phone:
    """Reads numbers as people of one country write them."""

    country: str

    def read(self, value: Any) -> str:
        try:
            number = phonenumbers.parse(as_text(value), self.country or None)
        except phonenumbers.NumberParseException:
            raise ValueError("is not a phone number") from None
        if not phonenumbers.is_possible_number(number):
            raise ValueError("is not a phone number")
        return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def _country(value: Any) -> str:
    code = as_text(value).upper()
    if code not in phonenumbers.SUPPORTED_REGIONS:
        raise ValueError("is not a country")
    return code


def _zone(value: Any) -> str:
    if as_text(value) not in available_timezones():
        raise ValueError("is not a time zone")
    return ZoneInfo(as_text(value)).key


def _currency(value: Any) -> str:
    code = as_text(value).upper()
    if len(code) != 3 or not code.isalpha():
        raise ValueError("is not a currency")
    return code


def _role(value: Any) -> str:
    if as_text(value) not in ROLES:
        raise ValueError("is not a role")
    return as_text(value)


def _weekday(value: Any) -> int:
    if as_text(value).lower() not in WEEKDAYS:
        raise ValueError(f"holds {value!r}, which is no weekday")
    return WEEKDAYS.index(as_text(value).lower())


def _above_zero(value: Any) -> Decimal:
    if not as_decimal(value):
        raise ValueError("should be more than 0")
    return as_decimal(value)


def _coordinates(value: Any) -> tuple[float, float]:
    numbers = as_list(as_number)(value)
    if len(numbers) != 2 or abs(numbers[0]) > 90 or abs(numbers[1]) > 180:
        raise ValueError("should be [latitude, longitude]")
    return numbers[0], numbers[1]


def _changed_numbers(value: Any) -> dict[str, str]:
    return {name: str(number) for name, number in as_decimals(value).items()}
