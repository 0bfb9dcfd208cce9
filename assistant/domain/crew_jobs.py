"""A finished job in the detailer's words: what went on which surface, on which day, and how the boat is kept now."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Kept, Season
from assistant.domain.understanding.text import fold

_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan ene", "feb", "mar", "apr abr", "may", "jun", "jul", "aug ago", "sep", "oct", "nov", "dec dic"), 1
    )
    for name in names.split()
}
_MONTH = rf"(?P<m{{0}}>{'|'.join(_MONTHS)})[a-z]*\.?"
_DATE = rf"(?:{_MONTH}(?:\s+(?:the )?(?P<d{{0}}>\d{{{{1,2}}}})(?:st|nd|rd|th)?\b)?|(?P<e{{0}}>\d{{{{1,2}}}}) (?:de )?{_MONTH.replace('<m', '<n')})"
_FROM = re.compile(rf"\b(?:from|since|starting|after|desde|a partir de)\s+(?:el )?{_DATE.format('1')}")
_TO = re.compile(rf"\b(?:to|till?|until|through|thru|hasta|a)\s+(?:el )?{_DATE.format('2')}")
_DAY_DONE = re.compile(rf"\b{_DATE.format('3')}|\b(?P<x>\d{{1,2}})/(?P<y>\d{{1,2}})\b")
_KEPT = (
    (Kept.INDOORS, r"indoors?|inside|in (?:the |a )?(?:barn|shed|building|warehouse|rack)|bajo techo cerrado|adentro|en galpon"),
    (Kept.COVERED, r"under (?:a )?(?:cover|roof|wrap)|covered|shrink ?wrap(?:ped)?|bajo (?:lona|techo)|tapado|cubierto"),
    (Kept.LIFT, r"on (?:a |the |its )?(?:lift|trailer)|(?:boat )?lift|trailer(?:ed)?|en (?:el )?(?:elevador|remolque)"),
    (Kept.IN_WATER, r"in(?: the)? water|afloat|wet slip|slip|mooring|en el agua|a flote"),
)  # fmt: skip
_KEEPING = re.compile(r"\b(?:stor(?:ed|age|ing)|kept|lives?|stays?|laid up|lay ?up|winters?|guardado|guarda|queda|invierna)\b")
_WEEKDAYS = ("mon|lunes", "tue|martes", "wed|miercoles", "thu|jueves", "fri|viernes", "sat|sabado", "sun|domingo")
LAUNCH = (5, 1)
"""When a boat whose lay-up has no named end goes back in, until someone says otherwise; it is read back."""


@dataclass(frozen=True, slots=True)
class Keeping:
    """How the boat is kept from now on. With `begins`, only from that (month, day) to `ends`, every year."""

    kept: Kept
    begins: tuple[int, int] | None = None
    ends: tuple[int, int] | None = None

    def season(self, season: Season | None) -> Season | None:
        """The part of the year out of this keeping; an end that was not named stays as it was."""
        if self.begins is None:
            return None
        opens = _day_after(self.ends) if self.ends else season.begins if season else LAUNCH
        return Season(opens, _day_before(self.begins))


@dataclass(frozen=True, slots=True)
class JobWords:
    """What the text says. `coats` are (coating id, surface ids; none when no surface was named)."""

    coats: tuple[tuple[str, tuple[str, ...]], ...] = ()
    on: date | None = None
    keeping: Keeping | None = None
    note: str = ""
    """Words that are none of this, kept as they are."""


def read_job(text: str, knowledge: Knowledge, today: date) -> JobWords:
    """Read the words after the boat's name. A coating holds for the surfaces that follow it."""
    coatings, surfaces = _say(knowledge.coatings), _say(knowledge.surfaces)
    job = JobWords(on=today)
    for part in re.split(r"[,;\n]|\.\s|\.$", text):
        plain = fold(part).strip()
        if not plain:
            continue
        coats, rest = _spot(plain, coatings)
        keeping = None if coats else _keeping(plain)
        if keeping:
            job = replace(job, keeping=keeping)
            continue
        day, without = _past_day(rest, today)
        places, _ = _spot(without, surfaces)
        job = _add(job, plain, coats, places)
        if day:
            job = replace(job, on=day)
        if not coats and not places and (not day or len(without.split()) > 2):
            job = replace(job, note=f"{job.note}, {part.strip()}".strip(", "))
    return job


def _add(job: JobWords, plain: str, coats: Mapping[int, str], places: Mapping[int, str]) -> JobWords:
    """Coats in their order, each with the surfaces up to the next one; surfaces before the first belong to it."""
    found = list(job.coats)
    starts = sorted(coats)
    if not starts:
        if places and found:
            found[-1] = (found[-1][0], (*found[-1][1], *places.values()))
        return replace(job, coats=tuple(found))
    for index, start in enumerate(starts):
        end = starts[index + 1] if index + 1 < len(starts) else len(plain)
        mine = [id for place, id in sorted(places.items()) if (start < place or index == 0) and place < end]
        found.append((coats[start], tuple(dict.fromkeys(mine))))
    return replace(job, coats=tuple(found))


def _say(table: Mapping[str, object]) -> dict[str, str]:
    """Everything people call the rows of a table, folded -> id; the longest first."""
    words = {
        fold(word): id
        for id, row in table.items()
        for word in (*_all(row.say.values()), *row.name.values(), id.replace("_", " "))  # type: ignore[attr-defined]
    }
    return dict(sorted(words.items(), key=lambda pair: -len(pair[0])))


def _all(groups: Iterable[tuple[str, ...]]) -> Iterable[str]:
    return (word for group in groups for word in group)


def _spot(plain: str, words: Mapping[str, str]) -> tuple[dict[int, str], str]:
    """Place -> id of what is named, and the text with those words blanked out."""
    found: dict[int, str] = {}
    for word, id in words.items():
        for match in re.finditer(rf"\b{re.escape(word)}s?\b", plain) if word and word in plain else ():
            found[match.start()] = id
            plain = plain[: match.start()] + " " * len(match[0]) + plain[match.end() :]
    return dict(sorted(found.items())), plain


def _keeping(plain: str) -> Keeping | None:
    kept = next((kept for kept, words in _KEPT if re.search(rf"\b(?:{words})\b", plain)), None)
    begins, ends = _FROM.search(plain), _TO.search(plain)
    if kept is None or not (_KEEPING.search(plain) or begins or re.fullmatch(r"(?:now )?\S+(?: \S+){0,3}", plain)):
        return None
    return Keeping(kept, _month_day(begins, "1", 1) if begins else None, _month_day(ends, "2", 31) if ends else None)


def _month_day(found: re.Match[str], group: str, default: int) -> tuple[int, int]:
    """The (month, day) named; a month alone means its first or last day."""
    month = _MONTHS[found[f"m{group}"] or found[f"n{group}"]]
    day = int(found[f"d{group}"] or found[f"e{group}"] or default)
    return month, min(day, _last_day(month))


def _last_day(month: int) -> int:
    return (date(2027 + month // 12, month % 12 + 1, 1) - timedelta(days=1)).day


def _day_before(pair: tuple[int, int]) -> tuple[int, int]:
    day = date(2027, *pair) - timedelta(days=1)
    return day.month, day.day


def _day_after(pair: tuple[int, int]) -> tuple[int, int]:
    day = date(2027, *pair) + timedelta(days=1)
    return day.month, day.day


def _past_day(plain: str, today: date) -> tuple[date | None, str]:
    """The latest day, up to today, that is meant by 'yesterday', a weekday or a date; and the text without it."""
    if found := re.search(r"\b(?:yesterday|ayer)\b", plain):
        return today - timedelta(days=1), plain.replace(found[0], " ")
    if found := re.search(r"\b(?:today|hoy)\b", plain):
        return today, plain.replace(found[0], " ")
    for weekday, names in enumerate(_WEEKDAYS):
        if found := re.search(rf"\b(?:{names})[a-z]*\b", plain):
            return today - timedelta(days=(today.weekday() - weekday) % 7), plain.replace(found[0], " ")
    if found := _DAY_DONE.search(plain):
        return _date_up_to(found, today), plain.replace(found[0], " ")
    return None, plain


def _date_up_to(found: re.Match[str], today: date) -> date | None:
    if found["x"]:
        month, day = int(found["x"]), int(found["y"])
    elif found["d3"] or found["e3"]:
        month, day = _month_day(found, "3", 1)
    else:
        return None
    try:
        this_year = date(today.year, month, day)
        return this_year if this_year <= today else date(today.year - 1, month, day)
    except ValueError:
        return None
