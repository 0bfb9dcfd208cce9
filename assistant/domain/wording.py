"""Filling texts: the closed lists of placeholders and conditions, dates and numbers in the client's language."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

PLACEHOLDERS = frozenset(
    "client vessel coating surface applied_on age used due_on due_range next_topper_on keep_dry no_soap rinse_from"
    " topper_first topper_every topper_life reseal_every first_soap_on dry_until soap topper detailer business phone"
    " hours places services emergency poison poison_phone spill_phone card visit_on price_wash price_reseal price_topper"
    " minimum payment substance soil why instead list slots service place when price reason other count until gas"
    " vessels choice title first second what old_due new_due days percent first_soap note answer link code names".split()
)
CONDITIONS = frozenset(
    "no_record in_keep_dry in_no_soap before_topper coating_sealant coating_wax coating_ceramic kept_in_water kept_lift"
    " kept_covered kept_indoors laid_up at_layup year_round has_visit due soon spanish".split()
)
_NAME = re.compile(r"\{([a-z_]+)\}")
_MONTHS = {
    "en": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(),
    "es": "ene feb mar abr may jun jul ago sep oct nov dic".split(),
}
_WEEKDAYS = {
    "en": "Monday Tuesday Wednesday Thursday Friday Saturday Sunday".split(),
    "es": "lunes martes miércoles jueves viernes sábado domingo".split(),
}


def placeholders_in(text: str) -> list[str]:
    """Names of the placeholders a text uses."""
    return _NAME.findall(text)


def fill(text: str, values: Mapping[str, str]) -> str:
    """The text with its placeholders filled. KeyError names one that has no value."""
    return _NAME.sub(lambda found: values[found[1]], text)


def day_text(day: date, language: str, today: date | None = None) -> str:
    """A date as people write it: 'Jun 9' / '9 jun'; with the year when it is not this one's."""
    month = _MONTHS.get(language, _MONTHS["en"])[day.month - 1]
    text = f"{day.day} {month}" if language == "es" else f"{month} {day.day}"
    if today is None or day.year == today.year:
        return text
    return f"{text} {day.year}" if language == "es" else f"{text}, {day.year}"


def weekday_text(day: date, language: str) -> str:
    """The full name of the weekday."""
    return _WEEKDAYS.get(language, _WEEKDAYS["en"])[day.weekday()]


def time_text(instant: datetime, zone: str, language: str) -> str:
    """A wall time: '9:30 am' in English, '9:30' on the 24-hour clock in Spanish."""
    local = instant.astimezone(ZoneInfo(zone))
    if language == "es":
        return f"{local.hour}:{local.minute:02d}"
    hour = local.hour % 12 or 12
    minutes = f":{local.minute:02d}" if local.minute else ""
    return f"{hour}{minutes} {'am' if local.hour < 12 else 'pm'}"


def moment_text(instant: datetime, zone: str, language: str, today: date | None = None) -> str:
    """'Tue Jun 9, 9 am' / 'mar 9 jun, 9:00'."""
    local = instant.astimezone(ZoneInfo(zone)).date()
    weekday = weekday_text(local, language)[:3]
    return f"{weekday} {day_text(local, language, today)}, {time_text(instant, zone, language)}"


def money_text(amount: Decimal, currency: str) -> str:
    """'$312' or '312 EUR'; cents only where there are some."""
    whole = f"{amount:,.0f}" if amount == amount.to_integral_value() else f"{amount:,.2f}"
    sign = {"USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "GBP": "£"}.get(currency)
    return f"{sign}{whole}" if sign else f"{whole} {currency}"


def join_words(words: list[str], language: str, last: str = "") -> str:
    """'a, b and c' in the client's language; `last` replaces 'and'."""
    link = last or {"es": "y"}.get(language, "and")
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {link} {words[-1]}"
