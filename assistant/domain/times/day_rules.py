"""The grammar of day expressions: patterns, each with the function that works out which days are meant.

Rules are tried in order, on text in which earlier ones have left their marks.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta

from assistant.domain.times import words as w
from assistant.domain.times.day_words import (
    A_WEEK,
    AHEAD,
    BETWEEN,
    COUNTS_NO_DAY,
    DAY,
    HOW,
    LISTED,
    MONTH,
    NEAR,
    NEXT,
    NO_HOUR,
    PART_OF_MONTH,
    PART_OF_WEEK,
    SEASONS,
    SIDES,
    THIS_MONTH,
    TO,
    UNITS,
    WEEKEND,
    WHICH_ONE,
    YEAR,
)
from assistant.domain.times.days import (
    WEEK,
    Build,
    Days,
    Finder,
    Kind,
    Rule,
    either,
    month_of,
    one_day,
    span,
    week_of,
    weekend_of,
)

ONE = timedelta(days=1)
def iso(m: re.Match[str], f: Finder) -> Days:
    """2027-06-09."""
    return one_day(date(int(m[1]), int(m[2]), int(m[3])))


def numeric(m: re.Match[str], f: Finder) -> Days | None:
    """6/9, 09/06/27: the reading the place and language suggest; where that is open, both are kept."""
    a, b, year = int(m[1]), int(m[2]), m[3]
    if not (0 < a <= 31 and 0 < b <= 31) or (a > 12 and b > 12):
        return None
    readings = {"md": _date_if_any(f, a, b, year), "dm": _date_if_any(f, b, a, year)}
    possible = {order: on for order, on in readings.items() if on}
    if len(set(possible.values())) == 1 or f.order in possible:
        return one_day(possible.get(f.order) or next(iter(possible.values())))
    first, second = possible.values()
    return Days(Kind.DAY, first, first, others=(second,))


def _date_if_any(f: Finder, month: int, of_month: int, year: str | None) -> date | None:
    try:
        return f.next_date(month, of_month, year)
    except ValueError:
        return None


def date_of_month(m: re.Match[str], f: Finder) -> Days:
    """'june 9', '9 de junio', 'june 9-12', 'june 9 or 10'."""
    first = f.next_date(w.month_number(m["m"]), int(m["a"]), m["y"])
    return _with_end(m, first, first.replace(day=int(m["b"])) if m["b"] else None)


def _with_end(m: re.Match[str], first: date, last: date | None) -> Days:
    """One day, a stretch, or one of two days, by what stands between and before them."""
    if last is None:
        return one_day(first)
    if LISTED.fullmatch(m["to"].strip()) and not BETWEEN.search(m.string[: m.start()]):
        return either(first, last)
    return span(first, last)


def of_month(m: re.Match[str], f: Finder) -> Days:
    """'the 9th': of this month, else of the next one that has it. ValueError for a 32nd."""
    number, month = int(m["a"]), f.today.replace(day=1)
    if not 1 <= number <= 31:
        raise ValueError("no month has that day")
    while number > w.month_end(month.year, month.month).day or month.replace(day=number) < f.today:
        month = w.month_end(month.year, month.month) + ONE
    first = month.replace(day=number)
    if not m["b"]:
        return one_day(first)
    end = first.replace(day=1) if int(m["b"]) > number else w.month_end(first.year, first.month) + ONE
    return _with_end(m, first, end.replace(day=int(m["b"])))


def part_of_month(m: re.Match[str], f: Finder) -> Days:
    """'first week of june', 'mid april', 'a finales de mes'."""
    year, month = f.month_of(m[0])
    first, end, part = date(year, month, 1), w.month_end(year, month), re.sub(r"^(?:the|a|los) ", "", m["part"])
    if several := re.match(rf"(first|last) (?P<n>{w.COUNT}) weeks|l?a?s? ?(?P<es>{w.COUNT}) (primeras|ultimas) semanas", part):
        stretch = w.count_of(several["n"] or several["es"]) * WEEK
        return span(first, first + stretch - ONE) if re.search("first|primeras", part) else span(end - stretch + ONE, end)
    if re.match(rf"{w.ORDINAL} (?:week|semana)", part):
        nth = w.ordinal_number(part)
        return span(end - 6 * ONE, end) if nth < 0 else span(first + (nth - 1) * WEEK, first + nth * WEEK - ONE)
    for beginning, days in (
        (r"(?:first|1st) half|primera", span(first, first.replace(day=15))),
        (r"(?:second|2nd) half|segunda", span(first.replace(day=16), end)),
        (r"early|begin|start|first|princip|inici|comien", span(first, first.replace(day=10))),
        (r"mid|media", span(first.replace(day=11), first.replace(day=20))),
        (r"late", span(first.replace(day=21), end)),
    ):
        if re.match(beginning, part):
            return days
    return span(end - 6 * ONE, end)


def weekday_of_month(m: re.Match[str], f: Finder) -> Days:
    """'first tuesday of june', 'the last friday of the month'."""
    year, month = f.month_of(m["m"])
    found = w.nth_weekday(year, month, w.weekday_number(m["w"]), w.ordinal_number(m["n"]))
    if found < f.today and not re.match(w.MONTH, m["m"]):
        after = w.month_end(year, month) + ONE
        found = w.nth_weekday(after.year, after.month, found.weekday(), w.ordinal_number(m["n"]))
    return one_day(found)


def weekend_of_month(m: re.Match[str], f: Finder) -> Days:
    """'the last weekend of june'."""
    year, month = f.month_of(m["m"])
    saturday = w.nth_weekday(year, month, 5, w.ordinal_number(m["n"]))
    return span(saturday, saturday + ONE)


def whole_month(m: re.Match[str], f: Finder) -> Days:
    """'in june': the next one that is not over, from today on."""
    year, month = f.month_of(m["m"])
    if m["y"]:
        return month_of(int(m["y"]), month)
    days = month_of(year + (1 if m["next"] and month == f.today.month else 0), month)
    return span(max(days.first, f.today), days.last)


def this_month(m: re.Match[str], f: Finder) -> Days:
    """'this month', 'next month', 'el mes siguiente'."""
    base = f.anchor if f.anchor and re.search(r"following|siguiente", m[0]) else f.today
    end = w.month_end(base.year, base.month)
    if not re.search(NEXT, m[0]):
        return span(f.today, end)
    if "after next" in m[0]:
        end = w.month_end((end + ONE).year, (end + ONE).month)
    return month_of((end + ONE).year, (end + ONE).month)


def week(m: re.Match[str], f: Finder) -> Days:
    """'this week', 'early next week', 'la semana siguiente'."""
    words = m[0]
    if "after next" in words:
        days = week_of(f.monday + 2 * WEEK)
    elif re.search(r"following|week after|siguiente|despues", words):
        days = week_of((f.anchor or f.today) + WEEK)
    elif re.search(NEXT, words):
        days = week_of(f.monday + WEEK)
    else:
        days = week_of(f.anchor if f.anchor and re.search(r"that|same|esa|misma", words) else f.today)
    days = _part_of_week(words, days)
    return span(max(f.today, days.first), max(f.today, days.last))


def _part_of_week(words: str, days: Days) -> Days:
    for beginning, first, last in ((r"early|begin|start|princip", 0, 1), (r"mid", 1, 3), (r"late|end|final|fin", 3, 4)):
        if re.match(beginning, words):
            return span(days.first + first * ONE, days.first + last * ONE)
    return days


def weekend(m: re.Match[str], f: Finder) -> Days:
    """'this weekend', 'weekends', 'el proximo fin de semana'."""
    if re.search(r"weekends|any|on a|fines|cualquier|un fin", m[0]):
        return Days(Kind.RECURRING, weekdays=frozenset({5, 6}))
    saturday = f.monday + timedelta(days=5)
    if "after next" in m[0]:
        saturday += 2 * WEEK
    elif re.search(NEXT, m[0]) and f.today < saturday:
        saturday += WEEK
    if saturday + ONE < f.today or (saturday + ONE == f.today and re.search(NEXT, m[0])):
        saturday += WEEK
    return span(max(saturday, f.today), saturday + ONE)


def workdays(m: re.Match[str], f: Finder) -> Days:
    """'weekdays', 'entre semana'."""
    return Days(Kind.RECURRING, weekdays=frozenset(range(5)))


def ahead(m: re.Match[str], f: Finder) -> Days:
    """'in 3 days' is a day; 'in two weeks' is that week; 'within 10 days' begins today."""
    unit = {"d": ONE, "w": WEEK, "s": WEEK, "m": 30 * ONE}[m["u"][0]]
    there = f.today + w.count_of(m["n"]) * unit
    if re.search(r"within|next|proxim", m[0]):
        return span(f.today, there)
    exact = (unit == ONE and m["n"] != "quince") or "today" in m[0]
    days = one_day(there) if exact else week_of(there)
    if m["n2"]:
        last = f.today + w.count_of(m["n2"]) * unit
        return span(days.first, last if exact else week_of(last).last)
    return days


def near(m: re.Match[str], f: Finder) -> Days:
    """Today, tomorrow, the day after."""
    if "week" in m[0]:
        return one_day(f.today + ONE + WEEK)
    if re.search(r"day after|pasado", m[0]):
        return one_day(f.today + 2 * ONE)
    return one_day(f.today + (ONE if re.search(r"tom|tmr|^manana", m[0]) else timedelta(0)))


def same_day(m: re.Match[str], f: Finder) -> Days | None:
    """'that day', where we know which."""
    return one_day(f.anchor) if f.anchor else None


def weekday(m: re.Match[str], f: Finder) -> Days:
    """A weekday: 'next thursday' is the one of next week, 'el proximo jueves' and 'this thursday' the coming one."""
    number, how, after = w.weekday_number(m["w"]), m["how"] or "", m["after"] or ""
    coming = f.coming(number)
    if "week" in how or "week" in after:
        return one_day(coming + WEEK)
    every = w.is_plural(m["w"]) or re.match(r" (?:mornings|afternoons|evenings)\b", m.string[m.end() :])
    if every or re.match(r"any|every|each|some|an? |another|los|cualquier|todos|algun|un ", how):
        return Days(Kind.RECURRING, weekdays=frozenset({number}))
    if "after next" in after:
        return one_day(f.monday + 2 * WEEK + number * ONE)
    if after.strip() == "after":
        earlier = [one.first for one in f.found if one.kind in {Kind.DAY, Kind.WEEKDAY}]
        return one_day(f.coming(number, earlier[-1] if earlier else f.anchor))
    if "following" in how and f.anchor:
        return one_day(f.coming(number, f.anchor))
    if re.search(r"next|\botro", how):
        return one_day(max(f.monday + WEEK + number * ONE, coming))
    if re.search(r"this|coming|este|ese|proximo", how) or after:
        return one_day(coming)
    return Days(Kind.WEEKDAY, coming, coming, frozenset({number}))


def weekday_with_number(m: re.Match[str], f: Finder) -> Days | None:
    """'el sabado 15', 'friday 14': a date where the calendar agrees; 'friday 9' may be an hour and is left to the clock."""
    number, weekday = int(m["a"]), w.weekday_number(m["w"])
    if not 1 <= number <= 31:
        return None
    ahead = [day for day in (f.today + timedelta(days=n) for n in range(62)) if day.day == number]
    agreeing = [day for day in ahead if day.weekday() == weekday]
    if agreeing and (agreeing[0] == ahead[0] or number <= 12):
        return one_day(agreeing[0])
    if number <= 12:
        return None
    return Days(Kind.DAY, ahead[0], ahead[0], others=(ahead[0] + timedelta(days=(weekday - ahead[0].weekday() + 3) % 7 - 3),))


def holiday(m: re.Match[str], f: Finder) -> Days:
    """A holiday, its week, or the weekend with it."""
    rule = next(rule for words, rule in w.HOLIDAYS.items() if re.fullmatch(words, m["h"]))
    there = rule(f.today.year)
    there = there if there >= f.today else rule(f.today.year + 1)
    if m["part"] and "week" in m["part"]:
        return weekend_of(there) if "end" in m["part"] else week_of(there)
    return week_of(there) if m["h"] == "semana santa" else one_day(there)


def season(m: re.Match[str], f: Finder) -> Days:
    """Three whole months, as weather services count them (spring is March to May in the north)."""
    begins = SEASONS[m["s"]]
    for year in (f.today.year - 1, f.today.year, f.today.year + 1):
        first = date(year, begins, 1)
        end = w.month_end(year + (begins == 12), (begins + 1) % 12 + 1)
        if end >= f.today:
            break
    part = m["part"] or ""
    if part == "early":
        end = w.month_end(first.year, first.month)
    elif part:
        first = end.replace(day=1)
    return span(max(first, f.today), max(end, f.today))


def around_mark(m: re.Match[str], f: Finder) -> Days | None:
    """'the week after <0>', 'two days before <0>', 'the weekend of <0>'."""
    mark, count = f.marked(m["i"]), w.count_of(m["n"] or "1")
    if mark.kind in {Kind.RECURRING, Kind.UNREADABLE}:
        return None
    side = 1 if re.match(r"after|following|despues|from", m["side"]) else -1 if re.match(r"before|antes", m["side"]) else 0
    edge = mark.first if side < 0 else mark.last
    if m["u"].startswith(("weekend", "fin")):
        saturday = edge + timedelta(days=5 - edge.weekday())
        if side > 0 and saturday <= edge:
            saturday += WEEK
        elif side < 0:
            saturday = edge - timedelta(days=(edge.weekday() - 5 - 1) % 7 + 1)
        return span(saturday, saturday + ONE)
    if m["u"].startswith(("week", "semana")):
        return one_day(edge + count * WEEK) if m["side"] == "from" else week_of(edge + side * count * WEEK)
    return one_day(edge + side * count * ONE) if side else None


def weekday_and_date(m: re.Match[str], f: Finder) -> Days | None:
    """'tuesday june 9': that day if it is a Tuesday, else a choice between it and the Tuesday next to it."""
    named, dated = f.marked(m["i"]), f.marked(m["j"])
    if dated.kind is not Kind.DAY or named.kind not in {Kind.WEEKDAY, Kind.DAY}:
        return None
    number = named.first.weekday()
    fitting = [on for on in (dated.first, *dated.others) if on.weekday() == number]
    if fitting:
        return one_day(fitting[0])
    if named.kind is Kind.DAY:
        return None
    near_it = dated.first + timedelta(days=(number - dated.first.weekday() + 3) % 7 - 3)
    return Days(Kind.DAY, dated.first, dated.first, others=(near_it,))


def weekday_beside(m: re.Match[str], f: Finder) -> Days | None:
    """'the friday before memorial day', 'the following monday after the 9th'."""
    named, dated = f.marked(m["i"]), f.marked(m["j"])
    if named.kind is not Kind.WEEKDAY or dated.kind not in {Kind.DAY, Kind.SPAN}:
        return None
    number = named.first.weekday()
    if re.match(r"before|antes", m["side"]):
        return one_day(dated.first - timedelta(days=(dated.first.weekday() - number - 1) % 7 + 1))
    return one_day(f.coming(number, dated.last))


def the_next_one(m: re.Match[str], f: Finder) -> Days | None:
    """'not this week but the next': seven days after what was named last."""
    last = f.found[-1] if f.found else None
    if last is None or last.kind not in {Kind.DAY, Kind.WEEKDAY, Kind.SPAN} or (last.last - last.first).days > 6:
        return None
    return one_day(last.first + WEEK) if last.kind is not Kind.SPAN else week_of(last.first + WEEK)


def _rules() -> Iterator[tuple[str, Build]]:
    yield r"\b(20\d\d)-(\d\d?)-(\d\d?)\b", iso
    yield rf"\b(?P<h>{'|'.join(w.HOLIDAYS)})\b(?P<part> weekend\b| week\b)?", holiday
    yield r"(?<![\d/.])(\d{1,2})/(\d{1,2})(?:/(\d{4}|\d\d))?(?![\d/])", numeric
    yield r"(?<![\d.])(\d{1,2})[.-](\d{1,2})[.-](\d{4}|\d\d)(?!\d)", numeric
    yield r"(?<![\d.])(\d{1,2})\.(\d{1,2})()\.(?!\d)", numeric
    yield rf"\b(?P<m>{w.MONTH}) (?:the )?{DAY}\b{NO_HOUR}{TO}{YEAR}", date_of_month
    yield rf"\b(?:on the |on |the |el |los dias )?{DAY}{TO}(?: of| de)? (?P<m>{w.MONTH}){YEAR}", date_of_month
    yield rf"\b(?P<n>{w.ORDINAL}) (?P<w>{w.WEEKDAY}) (?:of|in|del?) (?:the )?{MONTH}", weekday_of_month
    yield rf"\b(?:the |el )?(?P<n>{w.ORDINAL}) (?:weekend|fin de semana) (?:of|in|del?) (?:the )?{MONTH}", weekend_of_month
    yield rf"\b(?P<part>{PART_OF_MONTH})[ -](?:the )?{MONTH}", part_of_month
    yield rf"\b{THIS_MONTH}\b", this_month
    yield rf"\b(?:(?P<next>next) )?(?P<m>{w.MONTH})(?:,? (?:of |de |del )?(?P<y>20\d\d)\b)?(?! ?\d)", whole_month
    yield rf"\b(?:{PART_OF_WEEK} )?{A_WEEK}", week
    yield rf"\b{WEEKEND}", weekend
    yield r"\b(?:week ?days?|during the week|mid-?week|entre semana|dias laborables)\b", workdays
    yield rf"\b{AHEAD} (?:about |like |the next )?(?P<n>{w.COUNT})(?: (?:or|to|o|a) (?P<n2>{w.COUNT}))? (?P<u>{UNITS})\b(?: time)?(?! (?:before|after|ago|of))", ahead
    yield rf"\b(?P<n>{w.COUNT})(?: (?:or|to) (?P<n2>{w.COUNT}))? (?P<u>{UNITS}) (?:from (?:now|today)|out)\b", ahead
    yield NEAR, near
    yield r"\b(?:(?:the )?(?:same|that) day|(?:el )?mismo dia|ese dia)\b", same_day
    yield rf"\b(?:on |el )?(?P<w>{w.WEEKDAY}) (?:the )?(?P<a>\d{{1,2}})\b(?!(?:st|nd|rd|th)\b){NO_HOUR}(?! ?(?:-|to|or|o|a|y|de|of)\b)(?![/-])", weekday_with_number
    yield rf"\b(?P<how>{HOW})?(?P<w>{w.WEEKDAY})(?P<after> {WHICH_ONE})?", weekday
    yield rf"\b(?:on the |on |the |el dia |el |dia )?(?P<a>\d{{1,2}})(?:st|nd|rd|th)\b{TO}", of_month
    yield rf"(?:(?<=\bthe )|(?<=\bdel )|\b(?:el dia |el |dia )){DAY}\b{COUNTS_NO_DAY}{TO}", of_month
    yield r"\b(?:(?P<part>early|late|end of) )?(?:(?:in|the|this|next|el|la) )*(?P<s>" + "|".join(SEASONS) + r")\b", season
    yield rf"\b(?:(?:the|la|el) )?(?:(?P<n>{w.COUNT}) )?(?P<u>{UNITS}|weekend|fin de semana) (?P<side>{SIDES})(?: the)? <(?P<i>\d+)>", around_mark
    yield r"<(?P<i>\d+)>,? ?(?:the |el )?<(?P<j>\d+)>", weekday_and_date
    yield r"<(?P<i>\d+)> (?P<side>after|before|following|despues del?|antes del?) (?:the )?<(?P<j>\d+)>", weekday_beside
    yield r"(?<=\bbut )(?:the )?(?:next|following)(?: one| week)?\b|(?<=\bor )(?:the )?next\b(?! \w)|(?<=\bpero )la (?:otra|siguiente|proxima)\b", the_next_one


DAY_RULES: tuple[Rule, ...] = tuple((re.compile(pattern), build) for pattern, build in _rules())
