"""Times as people text them, read into a TimeWish. First version: weekdays, parts of the day, this and next week."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain.understanding.text import fold
from assistant.domain.visits import Slot, TimeWish

_WEEKDAYS = (
    r"mon(?:day)?s?|lunes", r"tue(?:s|sday)?s?|martes", r"wed(?:nesday)?s?|miercoles", r"thu(?:r|rs|rsday)?s?|jueves",
    r"fri(?:day)?s?|viernes", r"sat(?:urday)?s?|sabados?", r"sun(?:day)?s?|domingos?",
)  # fmt: skip
_PICKS = (r"\b(?:1|first|1st|one|primer[oa]?|uno)\b", r"\b(?:2|second|2nd|two|segund[oa]|dos)\b",
          r"\b(?:3|third|3rd|three|tercer[oa]?|tres)\b")  # fmt: skip


def read_times(text: str, now: datetime, zone: str, language: str, offered: Sequence[Slot] = ()) -> TimeWish:
    """What times a text asks for. `now` is aware UTC; days are wall days in `zone`."""
    plain, today = fold(text), now.astimezone(ZoneInfo(zone)).date()
    wish = TimeWish(words=text)
    if offered:
        picked = [n for n, pattern in enumerate(_PICKS[: len(offered)], 1) if re.search(pattern, plain)]
        if len(picked) == 1:
            return replace(wish, pick=picked[0])
    monday = today - timedelta(days=today.weekday())
    if re.search(r"next week|semana que viene|proxima semana", plain):
        wish = replace(wish, first=monday + timedelta(days=7), last=monday + timedelta(days=13))
    elif re.search(r"this week|esta semana", plain):
        wish = replace(wish, first=today, last=monday + timedelta(days=6))
    elif re.search(r"tomorrow|\bmanana\b", plain):
        wish = replace(wish, days=(today + timedelta(days=1),))
    weekdays = frozenset(n for n, pattern in enumerate(_WEEKDAYS) if re.search(rf"\b(?:{pattern})\b", plain))
    wish = replace(wish, weekdays=weekdays)
    if re.search(r"\b(?:am|mornings?)\b|por la manana", plain):
        wish = replace(wish, latest=11 * 60 + 45)
    elif re.search(r"\b(?:pm|afternoons?|tarde)\b", plain):
        wish = replace(wish, earliest=12 * 60)
    return replace(wish, asap=bool(re.search(r"\basap\b|soonest|cuanto antes", plain)))


def first_day(wish: TimeWish, today: date) -> date:
    """The first day that is asked for."""
    return max(today, min(wish.days, default=wish.first or today))
