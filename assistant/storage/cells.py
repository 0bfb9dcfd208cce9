"""Cells of a spreadsheet as values: tolerant of case, blanks and the usual spellings, strict about meaning."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import phonenumbers

from assistant.domain import hull_numbers
from assistant.domain.people import Kept

SHORTEST_FT, LONGEST_FT = Decimal(8), Decimal(120)
FEET_PER_METER = Decimal(1) / Decimal("0.3048")
WATERS = ("salt", "fresh", "brackish")
COATINGS = ("wax", "sealant", "ceramic", "topper")
EARLIEST = date(1990, 1, 1)
_YES = frozenset({"yes", "y", "true", "1", "x", "si", "sí"})
_NO = frozenset({"no", "n", "false", "0", "-"})
_DAY = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]00:00(?::00)?)?")
_MONTH_DAY = re.compile(r"(\d{1,2})[-/.](\d{1,2})")
_FEET = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:ft|feet|foot|')?")
_FEET_INCHES = re.compile(r"(\d+)\s*(?:ft|feet|foot|'|-)\s*(\d{1,2}(?:\.\d+)?)\s*(?:in|inch|inches|\"|'')?")
_METERS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:m|meters?|metres?)")


class BadCell(ValueError):
    """A cell that cannot be used: what is wrong with it, and how to mend it."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.problem, self.remedy = problem, remedy


@dataclass(frozen=True, slots=True)
class Known:
    """What cells may refer to: the home country, the last day that makes sense, and the names in use."""

    country: str
    latest: date
    languages: frozenset[str]
    surfaces: Mapping[str, str]
    """What people call a surface, in lower case -> its id."""


def read_cell(column: str, text: str, known: Known) -> Any:
    """The value of a cell that is not blank. Raises BadCell."""
    return _READERS[column](text, known)


def _phone(text: str, known: Known) -> str:
    remedy = "write it with country code, like +13055550111, in a column formatted as text"
    try:
        number = phonenumbers.parse(text.lstrip("'"), known.country)
    except phonenumbers.NumberParseException:
        raise BadCell("is not a phone number", remedy) from None
    if re.search(r"\d[eE]\+?\d", text):
        raise BadCell("was shortened by the spreadsheet program", remedy)
    if number.extension:
        raise BadCell("has an extension, which cannot get texts", remedy)
    if phonenumbers.is_possible_number_with_reason(number) != phonenumbers.ValidationResult.IS_POSSIBLE:
        raise BadCell("is too short or too long for a phone number", remedy)
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def _text(text: str, _: Known) -> str:
    return " ".join(text.split())


def _word(text: str, _: Known) -> str:
    return " ".join(text.lower().split())


def _language(text: str, known: Known) -> str:
    return _one_of(text.lower(), sorted(known.languages))


def _yes_or_no(text: str, _: Known) -> bool:
    if text.lower() in _YES:
        return True
    if text.lower() in _NO:
        return False
    raise BadCell("is neither yes nor no", "write yes or no")


def _day(text: str, known: Known) -> date:
    found = _DAY.fullmatch(text)
    if not found:
        raise BadCell("is not a date like 2027-05-04", "write year-month-day")
    try:
        day = date(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        raise BadCell("is no day of the calendar", "write year-month-day, like 2027-05-04") from None
    if not EARLIEST <= day <= known.latest:
        raise BadCell("cannot be right", f"write a day from {EARLIEST} to {known.latest}")
    return day


def _month_day(text: str, _: Known) -> tuple[int, int]:
    found = _MONTH_DAY.fullmatch(text)
    try:
        day = date(2028, int(found[1]), int(found[2])) if found else None
    except ValueError:
        day = None
    if day is None:
        raise BadCell("is not a month and day", "write MM-DD, like 05-01 for the first of May")
    return day.month, day.day


def _length(text: str, _: Known) -> Decimal:
    plain = text.lower().replace("\u2032", "'").replace("\u2019", "'").replace("\u2033", '"').strip()
    if found := _METERS.fullmatch(plain):
        feet = _number(found[1]) * FEET_PER_METER
    elif found := _FEET.fullmatch(plain):
        feet = _number(found[1])
    elif (found := _FEET_INCHES.fullmatch(plain)) and Decimal(found[2]) < 12:
        feet = Decimal(found[1]) + Decimal(found[2]) / 12
    else:
        raise BadCell("is not a length", "write feet, like 24 or 24.5")
    if not SHORTEST_FT <= feet <= LONGEST_FT:
        raise BadCell("is no boat's length in feet", f"write feet, from {SHORTEST_FT} to {LONGEST_FT}")
    return feet.quantize(Decimal("0.1")).normalize() + 0


def _number(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def _hull_number(text: str, _: Known) -> str:
    """33 CFR 181.25, the two older forms, or ISO 10087: a country code and the same twelve characters."""
    number = hull_numbers.cleaned(text)
    bare = number[2:] if len(number) == 14 and number[:2].isalpha() else number
    if hull_numbers.form(bare) is hull_numbers.Form.INVALID:
        remedy = "copy its 12 characters from the transom (its serial has no letters I, O, Q), or leave it blank"
        raise BadCell("is no hull identification number", remedy)
    return number


def _water(text: str, _: Known) -> str:
    return _one_of(text.lower().removesuffix("water").strip(), WATERS)


def _kept(text: str, _: Known) -> Kept:
    return Kept(_one_of(text.lower().replace(" ", "_").replace("-", "_"), [kept.value for kept in Kept]))


def _coating(text: str, _: Known) -> str:
    return _one_of(text.lower(), COATINGS)


def _surface(text: str, known: Known) -> str:
    name = " ".join(text.lower().split())
    found = known.surfaces.get(name) or known.surfaces.get(name.replace(" ", "_"))
    if found is None:
        raise BadCell("is no surface we know", f"write one of: {', '.join(sorted(set(known.surfaces.values())))}")
    return found


def _one_of(text: str, allowed: tuple[str, ...] | list[str]) -> str:
    if text not in allowed:
        raise BadCell("is not known here", f"write one of: {', '.join(allowed)}")
    return text


_READERS: dict[str, Callable[[str, Known], Any]] = {
    "phone": _phone,
    "name": _text,
    "language": _language,
    "service_consent": _yes_or_no,
    "marketing_consent": _yes_or_no,
    "consent_on": _day,
    "consent_how": _text,
    "vessel": _text,
    "hin": _hull_number,
    "length_ft": _length,
    "boat_type": _word,
    "water": _water,
    "place": _text,
    "kept": _kept,
    "season_from": _month_day,
    "season_to": _month_day,
    "kept_off_season": _kept,
    "surface": _surface,
    "coating": _coating,
    "applied_on": _day,
}
COLUMNS = tuple(_READERS)
"""The columns of the spreadsheet, in the order of the documentation."""
