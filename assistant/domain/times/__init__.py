"""Times as people text them, in English and Spanish, read into a TimeWish.

A text is read in three steps: expressions for days become marks (`day_rules`), hours are taken out (`clock`), and what
stands around the marks says how they are meant (`relations`). After an offer, `offers` says which time is picked.
What nobody could know is never guessed: it stands in `TimeWish.ambiguous` and is asked back.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain.times.clock import find_hours
from assistant.domain.times.day_rules import DAY_RULES
from assistant.domain.times.days import Days, Finder
from assistant.domain.times.offers import Clause, as_answer, picked_by_place, sentences_of
from assistant.domain.times.relations import Collected, as_wish, collect
from assistant.domain.times.words import COUNT, NOT_A_DAY, any_of, count_of, normal
from assistant.domain.visits import Slot, TimeWish

__all__ = ["days_named", "hours_later", "only_times", "order_of", "read_times"]

_ASAP = re.compile(
    any_of(
        r"\basap\b", r"\bas soon as (?:possible|you can|u can)\b", r"\bsoonest\b", r"\bas early as (?:possible|you can)\b",
        r"\b(?:earliest|first|next) (?:available|opening|you have|you can|possible|slot|time|availability)\b",
        r"\bright away\b", r"(?<!not )\burgent\w*\b", r"\bsqueeze me in\b", r"\bcuanto antes\b", r"\blo (?:antes|mas pronto) (?:posible|que)\b",
        r"\bya mismo\b", r"\bprimer (?:hueco|turno)\b", r"\bprimera (?:cita|hora) (?:libre|disponible)\b",
    )
)  # fmt: skip
_LAST_YEAR = re.compile(
    r"\b(?:same|like|as)(?: \w+){0,4} last (?:year|season|spring|summer|fall|winter)\b"
    r"|\b(?:igual|misma?o?|como)(?: \w+){0,4} ano pasado\b"
)
_BY_THEN = re.compile(r"\b(?:by|before) (?:then|that)\b|\bpara (?:entonces|ese dia|esa fecha)\b|\bantes de eso\b")
_UNITS = r"days?|weeks?|months?|dias?|semanas?|mes(?:es)?"
_SHIFT = re.compile(
    r"\b(?:push|bump|move|bring|pull|delay|postpone|put|shift|set|back|retras\w+|pospon\w+|aplaz\w+|atras\w+)"
    r"(?: (?:me|it|us|that|this|out|back|forward|up|the|visit|wash|lo|la|by|another|por|cita|visita|turno|mi|my|de))* "
    rf"(?P<n>{COUNT}) (?P<u>{_UNITS})\b|\b(?P<n2>{COUNT}) (?P<u2>{_UNITS}) (?:later|earlier|sooner|despues|mas tarde|antes)\b"
)
_HOURS_LATER = re.compile(
    rf"\b(?P<half>half an |media )?(?P<n>{COUNT} )?(?:hours?|hrs?|horas?) (?P<side>later|earlier|sooner|mas tarde|despues|antes|mas temprano)\b"
)
_UNREAD = re.compile(r"\b\d{1,2}(?:st|nd|rd|th)\b")


def read_times(
    text: str, now: datetime, zone: str, language: str, offered: Sequence[Slot] = (), anchor: date | None = None
) -> TimeWish:
    """What times a text asks for. `now` is aware UTC; days are wall days in `zone`.

    `offered` are times the sender may pick from; `anchor` is the day that 'that day' and 'a week later' start from
    (by default the first offered one).
    """
    today = now.astimezone(ZoneInfo(zone)).date()
    walls = [slot.begins.astimezone(ZoneInfo(zone)) for slot in offered]
    anchor = anchor or (walls[0].date() if walls else None)
    plain = NOT_A_DAY.sub(" ", normal(text))
    order = order_of(zone, language)
    if not walls:
        return _read(plain, today, anchor, order, text)[0]
    clauses = [_clause(part, today, anchor, order, len(walls)) for part in sentences_of(plain)]
    picks = any(clause.only_chooses and picked_by_place(clause.text, len(walls)) for clause in clauses)
    wish = _read(_without_places(plain) if picks else plain, today, anchor, order, text)[0]
    return as_answer(wish, plain, clauses, walls)


def only_times(text: str, now: datetime, zone: str, language: str) -> bool:
    """True when a text says nothing but times, and words of choosing among them."""
    plain, today = NOT_A_DAY.sub(" ", normal(text)), now.astimezone(ZoneInfo(zone)).date()
    return all(_clause(part, today, None, order_of(zone, language), 3).only_chooses for part in sentences_of(plain.replace("?", " ")))


def _clause(part: str, today: date, anchor: date | None, order: str, count: int) -> Clause:
    """One sentence of an answer; ordinals that name an offered time are not read as days of the month."""
    wish, rest = _read(_without_places(part) if picked_by_place(part, count) else part, today, anchor, order, part)
    return Clause(part, rest, wish)


def order_of(zone: str, language: str) -> str:
    """How 6/9 is read: month first in English in American zones, day first elsewhere, '' where it may be either."""
    if not zone.startswith(("America/", "US/", "Pacific/Honolulu", "Pacific/Guam")):
        return "dm"
    return "md" if language == "en" else ""


def days_named(text: str, now: datetime, zone: str, language: str) -> tuple[Days, ...]:
    """The expressions for days in a text, whatever is said about them: to find the visit that is spoken of."""
    today = now.astimezone(ZoneInfo(zone)).date()
    finder = Finder(NOT_A_DAY.sub(" ", normal(text)), today, order_of(zone, language))
    finder.find(DAY_RULES)
    return tuple(finder.found)


def hours_later(text: str) -> timedelta | None:
    """'2 hours later', 'una hora antes': how far to move within the day; None when nothing of the kind is said."""
    match = _HOURS_LATER.search(normal(text))
    if match is None:
        return None
    step = timedelta(minutes=30) if match["half"] else timedelta(hours=count_of((match["n"] or "1").strip()))
    return step if re.match(r"later|mas tarde|despues", match["side"]) else -step


def _read(plain: str, today: date, anchor: date | None, order: str, text: str) -> tuple[TimeWish, str]:
    """The wish of a text that picks nothing, and the words that say no time."""
    like_last_year = bool(_LAST_YEAR.search(plain))
    shifted, plain = _shift(_LAST_YEAR.sub(" ", plain), anchor or today)
    finder = Finder(plain, today, order, anchor)
    hours, rest = find_hours(finder.find(DAY_RULES))
    told, rest = collect(rest, finder.found)
    if _BY_THEN.search(plain):
        _needed_by_then(told)
    days = as_wish(told)
    wish = TimeWish(
        first=days.first, last=days.last, days=days.days or shifted, weekdays=days.weekdays, not_weekdays=days.not_weekdays,
        not_days=days.not_days, needed_on=days.needed_on, earliest=hours.earliest, latest=hours.latest,
        asap=bool(_ASAP.search(plain)), like_last_year=like_last_year, ambiguous=_ambiguous(told, rest), words=text,
    )  # fmt: skip
    return wish, _ASAP.sub(" ", rest)


def _needed_by_then(told: Collected) -> None:
    """'we get there on the 18th, can it be clean by then': the day is a deadline."""
    dated = next((one for one in told.spans if one.first != date.min), None)
    if dated is not None and told.needed_on is None:
        told.needed_on = dated.first
        told.spans.remove(dated)


def _ambiguous(told: Collected, rest: str) -> str:
    """ISO days to choose from, or words that look like a date and are none."""
    if told.unreadable:
        return told.unreadable[0]
    if told.choices:
        return " ".join(on.isoformat() for on in sorted(set(told.choices)))
    left = _UNREAD.search(rest)
    return left[0] if left else ""


def _shift(plain: str, anchor: date) -> tuple[tuple[date, ...], str]:
    """'push me back a week': that day counted from the anchor."""
    match = _SHIFT.search(plain)
    if match is None:
        return (), plain
    count, unit = count_of(match["n"] or match["n2"]), (match["u"] or match["u2"])[0]
    step = timedelta(days=count * {"d": 1, "w": 7, "s": 7, "m": 30}[unit])
    sign = -1 if re.search(r"earlier|sooner|forward|antes|\bup\b", match[0]) else 1
    return (anchor + sign * step,), f"{plain[: match.start()]} ; {plain[match.end() :]}"


def _without_places(plain: str) -> str:
    """The text without the ordinals that name an offered time, so that they are not read as days of the month."""
    return re.sub(r"\b(?:[1-4](?:st|nd|rd|th)|#?[1-4])\b(?! ?(?:am|pm|:|of|/|-))", " ", plain)
