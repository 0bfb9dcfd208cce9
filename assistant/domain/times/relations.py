"""What stands around the marks: after, before, between, by, not, around; and how all of it becomes one wish."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

from assistant.domain.times import days as d
from assistant.domain.times.days import Kind
from assistant.domain.times.words import any_of

ONE = timedelta(days=1)
M = r"<(\d+)>"
THE = r"(?:on|in|for|of|the|you|us|it|el|la|los|las|del?|que|sea|a|en|an|any|there|este|esta|ese|esa)"
LEAD = rf"(?:{THE} )*"
MORE = rf"(?:,? ?(?:or|and|nor|y|o|ni|,|/|&)? ?{LEAD}{M})*"
NEVER = any_of(
    "but not", "not(?! before| until| later| sure)", "except(?: for)?", "excluding", "besides", "other than", "anything but",
    "any(?: other)?(?: ?day| ?time)? but", "never", "avoid", "no(?! later| earlier| antes| despues)", "cant(?: do| make| be)?", "cannot(?: do| make)?",
    "wont(?: be (?:there|in town|around))?", "not ready", "rain ?check", "(?:thing|something) (?:came|come|comes) up", "forgot(?: its| that its)?",
    "(?:i|we|have to|got to|gotta) (?:have to )?work(?:ing)?(?! for)", "trabajo",
    "(?:im |were |we are |i am |ill be )?(?:away|gone|busy|out of town|traveling|on vacation)", r"(?:se me|se nos) complic\w+", "menos", "excepto", "salvo", "nunca", "ni",
    "no (?:puedo|podemos|estoy|estare|estamos|estaremos|me viene bien|me va bien)",
    "(?:estoy|estare|estaremos|estamos) (?:fuera|de viaje|ocupad[oa]s?)",
)  # fmt: skip
"""What rules out the days that follow."""
WORKS_NOT = any_of(
    "(?:is|are) (?:out|bad|taken|busy|too (?:early|late|soon))", "(?:is |are |isnt |arent )?(?:not|no) (?:good|possible|great)", "isnt (?:good|possible|going to work)",
    "does(?: not|nt|n t) (?:work|suit|fit)", "dont (?:work|suit|fit)", "no longer works?", "wont (?:work|do)", "cant",
    "(?:ya )?no (?:puedo|podemos|me (?:viene|va|sirve)|nos (?:viene|va))", "no(?=,| ;|$)",
)  # fmt: skip
"""What rules out the day before it."""
GONE = any_of(
    "away", "gone", "yard", "out of town", "vacation", "traveling", "busy", "hauled", "shop", "up north", "fuera", "viaje", "ocupad[oa]s?",
    "varadero", "taller", "astillero",
)  # fmt: skip
EVENT = any_of(
    "guests?", "company", "party", "wedding", "charter", "trip", "regatta", "tournament", "race", "survey", "birthday", "launch(?:ing|es)?",
    "splash(?:ing)?", "in the water", "invitados", "boda", "fiesta", "regata", "botadura",
)  # fmt: skip
"""What a boat is made ready for."""
READY = any_of(
    "ready", "looking (?:good|nice|sharp)", "done", "clean(?:ed)?", "finished", "washed", "sealed", "shiny", "need (?:it|her|the boat)", "list[oa]", "bonit[oa]", "limpi[oa]", "terminad[oa]",
    "l[oa] necesito",
)  # fmt: skip
VISIT = any_of("visit", "wash", "appointment", "appt", "thing", "slot", "booking", "job", "detail", "reseal", "topper", "one", "cita", "visita", "turno")
PUT_OFF = any_of("wait", "hold off", "hold", "push(?: it)?", "postpone(?: it| the \\w+)?", "leave it", "esperar", "dejarlo")


@dataclass
class Collected:
    """Everything said about days, before it is made into a wish."""

    spans: list[d.Days] = field(default_factory=list)
    never: list[d.Days] = field(default_factory=list)
    first: date | None = None
    last: date | None = None
    needed_on: date | None = None
    unreadable: list[str] = field(default_factory=list)
    choices: list[date] = field(default_factory=list)

    def not_before(self, on: date) -> None:
        """Nothing earlier than this day."""
        self.first = max(self.first or on, on)

    def not_after(self, on: date) -> None:
        """Nothing later than this day."""
        self.last = min(self.last or on, on)


Relation = Callable[[list[d.Days], Collected, re.Match[str]], bool]


def collect(text: str, found: list[d.Days]) -> tuple[Collected, str]:
    """All relations of a marked text, each mark used once, and the text that is left."""
    told = Collected()
    for one in found:
        if one.kind == Kind.UNREADABLE:
            told.unreadable.append(one.words)
        elif one.others and one.kind == Kind.DAY:
            told.choices += [one.first, *one.others]
    for pattern, relation in _RELATIONS:
        text = _applied(text, pattern, relation, found, told)
    return told, text


def _applied(text: str, pattern: re.Pattern[str], relation: Relation, found: list[d.Days], told: Collected) -> str:
    def use(match: re.Match[str]) -> str:
        marks = [found[int(number)] for number in re.findall(M, match[0])]
        if relation in _NEED_A_DATE:
            if not all(mark.kind in _DATED for mark in marks):
                return match[0]
            marks = [_within_week(mark, found) for mark in marks]
        return " ; " if relation(marks, told, match) else match[0]

    return " ".join(pattern.sub(use, text).split())


def _within_week(mark: d.Days, found: list[d.Days]) -> d.Days:
    """'next week after wednesday' means the Wednesday of that week."""
    weeks = [one for one in found if one.kind is Kind.SPAN and (one.last - one.first).days < 7 and not one.others]
    if mark.kind is not Kind.WEEKDAY or len(weeks) != 1:
        return mark
    day = weeks[0].first + (mark.first.weekday() - weeks[0].first.weekday()) % 7 * ONE
    return d.one_day(day)


def _between(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    first, last = marks[0], marks[-1]
    if Kind.RECURRING in {first.kind, last.kind} or (first.kind == last.kind == Kind.WEEKDAY and not re.match("between|entre", m[0])):
        a, b = (min(one.weekdays) for one in (first, last))
        told.spans.append(d.Days(Kind.RECURRING, weekdays=frozenset((a + n) % 7 for n in range((b - a) % 7 + 1))))
        return True
    if first.first > last.last:
        return False
    told.spans.append(d.span(first.first, last.last))
    return True


def _never(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.never.extend(marks)
    return True


def _dropped(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    return True


def _after(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.not_before(marks[0].last + ONE)
    return True


def _from(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.not_before(marks[0].first)
    return True


def _before(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.not_after(marks[0].first - ONE)
    return True


def _until(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.not_after(marks[0].last)
    return True


def _away_until(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.not_before(marks[0].last + ONE)
    return True


def _needed(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.needed_on = marks[0].first
    return True


def _around(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    if marks[0].kind is Kind.SPAN:
        return False
    told.spans.append(d.span(marks[0].first - 3 * ONE, marks[0].last + 3 * ONE))
    return True


def _plain(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    told.spans.extend(marks)
    return True


def _put_off(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    return (_plain if marks[0].kind is Kind.SPAN else _from)(marks, told, m)


def _put_off_until(marks: list[d.Days], told: Collected, m: re.Match[str]) -> bool:
    return (_away_until if marks[0].kind is Kind.SPAN else _from)(marks, told, m)


_DATED = frozenset({Kind.DAY, Kind.WEEKDAY, Kind.SPAN})
_NEED_A_DATE = frozenset({_after, _from, _before, _until, _away_until, _needed, _around, _put_off_until})


def _relations() -> Iterator[tuple[str, Relation]]:
    till, to = "(?:until|till?|thru|through|hasta)", r"(?:and|to|thru|through|until|till?|-|y|al?|hasta)"
    yield rf"\b(?:instead of|rather than|en vez del?|en lugar del?) {LEAD}{M}", _dropped
    yield rf"\b(?:swap|change|move|switch|shift\w*|cambi\w+|muev\w+|mover\w*|pas(?:ar|a|amos)\w*)(?: \w+){{0,3}}? {M}(?: ;)?(?: {VISIT})?(?= (?:to|for|with|al?|por|para) )", _dropped
    yield rf"\b(?:move|change|reschedule|cancel|skip|drop|my|our|mi|nuestr[oa])(?: \w+){{0,2}}? {M}(?: ;)? {VISIT}\b", _dropped
    yield rf"\b(?:we said|set for|scheduled for|booked for|down for|habiamos (?:dicho|quedado)) {LEAD}{M}|\bi have {LEAD}{M} now\b|\blo del? {M}", _dropped
    yield rf"\b(?:before|antes de que) (?:we|i|they|my|nos|me|mi)\b[^<;.]{{0,40}}{M}", _needed
    yield rf"\b(?:before \w+ing|antes de \w+[aei]r)\b[^<;.]{{0,30}}{M}", _needed
    yield rf"\b{GONE}\b[^<;.]*?\b{till} {LEAD}{M}", _away_until
    yield rf"\b(?:not (?:back |there |here |in town )?(?:until|till?)|no (?:estoy|estare|estaremos|vuelvo|volvemos) hasta) {LEAD}{M}", _from
    yield rf"\bhasta {LEAD}{M} (?:ya )?no\b", _away_until
    yield rf"\b(?:cant|wont(?: be| launch)?|not available|unavailable|no (?:puedo|podemos))\b[^<;.]{{0,20}}\b{till} {LEAD}{M}", _put_off_until
    yield rf"\b{EVENT}\b(?: \w+){{0,3}}? {M}", _needed
    yield rf"\b{PUT_OFF} {till} {LEAD}{M}", _put_off
    yield rf"\b(?:back|home|return\w*|vuelv\w+|volv\w+|regres\w+)(?: in town)? {LEAD}{M}", _from
    yield rf"\b(?:not before|no earlier than|not earlier than|no antes) {LEAD}{M}", _from
    yield rf"\b(?:no later than|not later than|a mas tardar|no despues) {LEAD}{M}", _until
    yield rf"{M} (?:(?:or|and) (?:later|after|thereafter|onwards?|beyond)|onwards?|on\b(?! <)|forward|o despues|en adelante)", _from
    yield rf"{M} (?:(?:or|and) (?:before|earlier|sooner)|o antes)", _until
    yield rf"\b(?:between|from|entre|desde|del?) {LEAD}{M} ?{to} {LEAD}{M}", _between
    yield rf"{M} ?{to.replace('and|', '').replace('y|', '')} ?{LEAD}{M}", _between
    yield rf"{M}(?: now| anymore)?,? {WORKS_NOT}\b", _never
    yield rf"\b{NEVER} {LEAD}{M}{MORE}", _never
    yield rf"\b{READY}(?: up| by| for| on| antes| para| before)+ {LEAD}{M}", _needed
    yield rf"\b(?:before|ahead of|in time for|antes del?) (?:the |our |my |la |el |mi )*(?!the\b)(?:\w+ ){{1,2}}(?:on |of |del? )?{LEAD}{M}", _needed
    yield rf"\bin time for {LEAD}{M}", _needed
    yield rf"\b(?:after|later than|past|despues) {LEAD}{M}", _after
    yield rf"\b(?:before|earlier than|sooner than|prior to|antes) {LEAD}{M}", _before
    yield rf"\b(?:by|{till}|up to|within|para antes) {LEAD}{M}", _until
    yield rf"\b(?:from|starting|beginning|as of|since|on or after|a partir|desde) {LEAD}{M}(?: on(?:wards?)?)?", _from
    yield rf"(?<!how )(?<!what )\b(?:around|about|near|close to|roughly|circa|alrededor|cerca|sobre|hacia) {LEAD}{M}", _around
    yield M, _plain


_RELATIONS = tuple((re.compile(pattern), relation) for pattern, relation in _relations())


@dataclass(frozen=True, slots=True)
class DayWish:
    """The days of a wish, as TimeWish has them."""

    first: date | None = None
    last: date | None = None
    days: tuple[date, ...] = ()
    weekdays: frozenset[int] = frozenset()
    not_weekdays: frozenset[int] = frozenset()
    not_days: frozenset[date] = frozenset()
    needed_on: date | None = None


def as_wish(told: Collected) -> DayWish:
    """One wish from all that was said: weekdays pick within spans and bounds, alone they mean the coming ones."""
    spans = _narrowest({one for one in told.spans if one.kind is Kind.SPAN and not one.others})
    listed = [on for one in told.spans for on in _listed(one)]
    named = [one for one in told.spans if one.kind == Kind.WEEKDAY]
    weekdays = frozenset(n for one in told.spans if one.kind == Kind.RECURRING for n in one.weekdays)
    first, last = told.first, told.last
    bounded = bool(spans) or first is not None or last is not None
    if bounded or weekdays:
        weekdays |= frozenset(n for one in named for n in one.weekdays)
    else:
        listed += [one.first for one in named]
    if spans and listed:
        spans = []
    if (spans and (told.first or told.last)) or len(spans) == 1 or _touching(spans):
        first = max([x for x in (first, min((s.first for s in spans), default=None)) if x], default=None)
        last = min([x for x in (last, max((s.last for s in spans), default=None)) if x], default=None)
    elif spans:
        listed += [s.first + n * ONE for s in spans for n in range((s.last - s.first).days + 1)]
    if first and last and first > last:
        last = None
    not_days, not_weekdays = _excluded(told)
    return DayWish(first, last, tuple(sorted(set(listed) - not_days)), weekdays, not_weekdays, not_days, told.needed_on)


def _narrowest(spans: Collection[d.Days]) -> list[d.Days]:
    """Of a span within another the inner one counts: 'january, as late in the month as possible'."""
    return [
        one for one in spans
        if not any(one is not other and one.first <= other.first and other.last <= one.last for other in spans)
    ]  # fmt: skip


def _listed(one: d.Days) -> tuple[date, ...]:
    if one.kind == Kind.DAY:
        return (one.first,)
    return one.others if one.kind == Kind.SPAN else ()


def _touching(spans: list[d.Days]) -> bool:
    ordered = sorted(spans, key=lambda one: one.first)
    return len(spans) > 1 and all(b.first <= a.last + ONE for a, b in pairwise(ordered))


def _excluded(told: Collected) -> tuple[frozenset[date], frozenset[int]]:
    """A weekday that is ruled out is ruled out for good; dates and weeks only themselves."""
    days: set[date] = set()
    weekdays: set[int] = set()
    for one in told.never:
        if one.kind in {Kind.RECURRING, Kind.WEEKDAY}:
            weekdays |= one.weekdays
        elif one.kind is not Kind.UNREADABLE:
            days |= set(one.others or (one.first + n * ONE for n in range((one.last - one.first).days + 1)))
    return frozenset(days), frozenset(weekdays)
