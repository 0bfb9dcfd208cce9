"""Hours and parts of the day found in a text, as the earliest and latest minute at which a visit may begin."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from assistant.domain.times.words import any_of

NOON, LUNCH_IS_OVER, AROUND = 12 * 60, 13 * 60, 60


@dataclass(frozen=True, slots=True)
class Hours:
    """Minutes of the day, both inclusive; None: no limit on that side."""

    earliest: int | None = None
    latest: int | None = None

    def __bool__(self) -> bool:
        return self.earliest is not None or self.latest is not None

    @property
    def exact(self) -> bool:
        """True for one time of the day."""
        return self.earliest is not None and self.earliest == self.latest

    def narrowed(self, other: Hours) -> Hours:
        """Both limits at once; of two times ('8 or 9') either will do; where limits contradict, the other's stand."""
        if self.exact and other.exact:
            return Hours(min(self.earliest, other.earliest), max(self.latest, other.latest))  # type: ignore[type-var]
        earliest = max((x for x in (self.earliest, other.earliest) if x is not None), default=None)
        latest = min((x for x in (self.latest, other.latest) if x is not None), default=None)
        if earliest is not None and latest is not None and earliest > latest:
            return other
        return Hours(earliest, latest)


MORNING, AFTERNOON, EVENING = Hours(None, NOON - 15), Hours(NOON, None), Hours(17 * 60, None)
Build = Callable[[re.Match[str]], Hours]


def find_hours(text: str) -> tuple[Hours, str]:
    """What the text says on the time of day, and the text without it (a semicolon stands where it was)."""
    text = _REFUSED.sub(" ; ", _SPELLED.sub(lambda m: f"{m[1]} {_HOURS_SPELLED[m[2]]}", text))
    found = Hours()
    for pattern, build in _RULES:
        while match := next((m for m in pattern.finditer(text) if build(m)), None):
            found = found.narrowed(build(match))
            text = f"{text[: match.start()]} ; {text[match.end() :]}"
    return found, " ".join(text.split())


_HOURS_SPELLED = {
    word: number for words in (
        "one two three four five six seven eight nine ten eleven twelve", "una dos tres cuatro cinco seis siete ocho nueve diez once doce",
    ) for number, word in enumerate(words.split(), 1)
}  # fmt: skip
_SPELLED = re.compile(
    rf"\b(half past|quarter past|quarter to|at|after|before|around|by|las?) ({'|'.join(_HOURS_SPELLED)})\b(?! (?:days?|weeks?|months?|dias?|semanas?|of|one|boats?))"
)


def _minute(m: re.Match[str], side: str) -> int | None:
    """The minute of the day of one clock time; without am and pm the one that lies in a working day."""
    groups = m.groupdict()
    if groups.get(f"{side}noon"):
        return NOON if re.match(r"noon|mid|medio", groups[f"{side}noon"]) else LUNCH_IS_OVER
    hour = groups.get(f"{side}h") or groups.get(f"{side}h2")
    if hour is None or int(hour) > 24:
        return None
    number, half = int(hour) % 24, groups.get(f"{side}p") or ""
    if re.match(r"p|de la (?:tarde|noche)", half):
        number = number % 12 + 12
    elif re.match(r"a|de la manana", half):
        number %= 12
    elif number < 7:
        number += 12
    minutes = int(groups.get(f"{side}m") or groups.get(f"{side}m2") or 0)
    said = (groups.get(f"{side}half") or groups.get(f"{side}y") or "").strip()
    return number * 60 + minutes + _QUARTERS.get(said, 0)


_QUARTERS = {"half past": 30, "quarter past": 15, "quarter to": -15, "y media": 30, "y cuarto": 15, "menos cuarto": -15}


def _between(m: re.Match[str]) -> Hours:
    first, last = _minute(m, "a"), _minute(m, "b")
    if first is None or last is None:
        return Hours()
    if first >= last:  # '11 to 1', '8 to 5': the later one is past noon; '9 to 11am' needs nothing
        first, last = (first - 720, last) if m.groupdict().get("bp") else (first, last + 720)
    return Hours(first, last) if 0 <= first < last < 24 * 60 else Hours()


def _after(m: re.Match[str]) -> Hours:
    return Hours(_minute(m, "a"), None)


def _before(m: re.Match[str]) -> Hours:
    minute = _minute(m, "a")
    if minute is None:
        return Hours()
    return MORNING if m.groupdict().get("anoon") else Hours(None, minute - 15)


def _until(m: re.Match[str]) -> Hours:
    return Hours(None, _minute(m, "a"))


def _around(m: re.Match[str]) -> Hours:
    minute = _minute(m, "a")
    return Hours() if minute is None else Hours(minute - AROUND, minute + AROUND)


def _at(m: re.Match[str]) -> Hours:
    minute = _minute(m, "a")
    return Hours(minute, minute)


def _fixed(hours: Hours) -> Build:
    return lambda m: hours


_HALF = r"a\.?m\b\.?|p\.?m\b\.?|o ?clock|hs\b|horas\b|de la manana|de la tarde|de la noche"


def _clock(side: str) -> str:
    """A clock time with groups named after `side`: '9', '9:30 am', 'half past 9', '4 de la tarde', 'noon', 'lunch'."""
    return (
        rf"(?:(?P<{side}half>half past |quarter past |quarter to )?(?P<{side}h>\d{{1,2}})(?:[:.h](?P<{side}m>[0-5]\d))?"
        rf"(?: ?(?P<{side}p>{_HALF}|a\b|p\b|h\b)){{0,2}}(?P<{side}y> y media| y cuarto| menos cuarto)?"
        rf"|(?P<{side}noon>noon|midday|mediodia|lunch(?:time)?|el almuerzo|la comida|comer|almorzar))"
    )


_SURE = rf"(?:(?P<ah>\d{{1,2}})(?::(?P<am>[0-5]\d))? ?(?P<ap>{_HALF})|(?P<ah2>\d{{1,2}}):(?P<am2>[0-5]\d))"
"""A clock time that is one even without a word before it."""
_LAS = r"(?:las? |the )?"
_NO_COUNT = r"(?!\d)(?! ?(?:st|nd|rd|th|/|days?|weeks?|months?|dias?|semanas?|ft|feet|foot|boats?|hours?\b|hrs?\b|or \d|%))"
_NOT = any_of(
    "not", "no", "never", "cant do", "cant", "except", "but no", "but not", "any ?time but", "menos", "nunca", "no puedo", "sin"
) + r"(?: ?(?:in |on |por |en |a )?(?:the |la |las )?)"  # fmt: skip
_AFTER = any_of("after", "later than", "from", "(?<!half )(?<!quarter )past", "starting at", "despues de", "a partir de", "desde")
_AROUND = any_of("around", "about", "roughly", "circa", "near", "approx\\.?", "a eso de", "sobre", "como a", "hacia",
                 "alrededor de")  # fmt: skip


_REFUSED = re.compile(
    rf"\b(?:the |your |at )?{_SURE} (?:(?:is|s) (?:brutal|too (?:early|late|soon)|bad|rough|hard|out|(?:no|not) good)|(?:doesnt|wont) (?:work|do|suit)"
    r"|no me (?:sirve|va|viene))"
    r"|\b(?:instead of|rather than|en (?:lugar|vez) de) (?:the |las? )?\d{1,2}(?::\d\d)?(?: ?[ap]\.?m\b\.?)?(?![\d/])"
)
"""A time that is named to be turned down."""


def _rules() -> Iterator[tuple[str, Build]]:
    a, b, to = _clock("a"), _clock("b"), "(?:-|to|and|til|till|until|y|a|hasta)"
    yield rf"\b{_NOT}(?:early |too early |very early )?(?:mornings?|mananas)\b|\b{_NOT}am\b", _fixed(AFTERNOON)
    yield rf"\b{_NOT}(?:afternoons?|tardes?|pm)\b(?! than)", _fixed(MORNING)
    yield rf"\b{_NOT}(?:evenings?|nights?|noches?)\b", _fixed(Hours(None, 16 * 60 + 45))
    yield r"\b(?:not|nothing|none) (?:too |that |so )(?:early|soon in the day)\b|\bno (?:muy|tan) temprano\b", _fixed(Hours(600))
    yield r"\bnot (?:too |so )late\b(?! in)|\bno (?:muy|tan) tarde\b", _fixed(Hours(None, 15 * 60))
    yield rf"\b(?:(?:not|nothing|none) before|no earlier than|(?:no|nada) antes de) {_LAS}{a}{_NO_COUNT}", _after
    yield rf"\b(?:not after|no later than|not later than|no despues de|no mas tarde de) {_LAS}{a}{_NO_COUNT}", _until
    yield rf"\b(?:(?:between|from|entre|de|desde) )?{_LAS}{a} ?{to} ?{_LAS}(?=\d+(?::\d\d)? ?[ap]\.?m|noon|mediodia){b}", _between
    yield rf"\b(?:between|from) {a} ?{to} ?{b}{_NO_COUNT}", _between
    yield rf"\b(?:entre|de|desde) las? {a} {to} las? {b}{_NO_COUNT}", _between
    yield rf"\bde {a} a {b}\b{_NO_COUNT}", _between
    yield rf"\b(?P<ah>\d{{1,2}})(?::(?P<am>[0-5]\d))? ?- ?(?P<bh>\d{{1,2}})(?::(?P<bm>[0-5]\d))?\b(?![/-]){_NO_COUNT}", _between
    yield rf"\b{_AROUND} {_LAS}{a}{_NO_COUNT}", _around
    yield r"\b(?:(?P<ah>\d{1,2})(?::(?P<am>[0-5]\d))? ?(?P<ap>am|pm)?|(?P<anoon>noon)) ?(?:-?ish\b|or so\b|mas o menos\b)", _around
    yield rf"\b(?:any ?time )?{_AFTER} (?!the \d)(?:las? )?{a}{_NO_COUNT}", _after
    yield rf"\b(?:before|earlier than|antes del?) (?!the \d)(?:las? |el |la )?{a}{_NO_COUNT}", _before
    yield rf"\b(?:by|until|till?|hasta|para) (?!the \d)(?:las? )?{_SURE}", _until
    yield rf"{_SURE} (?:or (?:later|after)\b|o (?:mas tarde|despues)\b)", _after
    yield rf"\b(?:at|(?:a|de) las?) {a}{_NO_COUNT}", _at
    yield r"\b(?:al? )?(?P<anoon>noon|midday|mediodia)\b", _at
    yield rf"\b{_SURE}", _at
    yield r"\b(?P<ahalf>half past|quarter past|quarter to) (?P<ah>\d{1,2})\b", _at
    yield from _parts_of_the_day()


def _parts_of_the_day() -> Iterator[tuple[str, Build]]:
    yield (
        r"\b(?:first thing|crack of dawn|a primera hora|early am|early (?:in the )?morning|early mornings?|bien temprano)\b"
        r"(?: in the morning| de la manana)?",
        _fixed(Hours(None, 9 * 60)),
    )
    yield r"\b(?:late|later in the|mid) morning\b|\bmedia manana\b", _fixed(Hours(10 * 60, NOON - 15))
    yield r"\b(?:early afternoon|primera hora de la tarde)\b", _fixed(Hours(NOON, 14 * 60))
    yield (
        r"\b(?:late(?:r)? afternoon|afternoon late|end of (?:the )?day|late in the day|ultima hora(?: de la tarde)?)\b",
        _fixed(Hours(15 * 60)),
    )
    yield r"\b(?:after work|after hours|evenings?|tonight|at night|(?:por la|de) noche|despues del trabajo|noches)\b", _fixed(EVENING)
    yield (
        r"\b(?:mornings?|(?<!\bi )am|a\.m\.?|(?:por|en) la manana|de manana|las mananas|(?:una|alguna|cualquier|de la|la) manana)\b",
        _fixed(MORNING),
    )
    yield (
        r"\b(?:afternoons?|pm|p\.m\.?|(?:por|en|de|a) la tarde|(?:las )?tardes|(?:una|alguna|cualquier|la|esta) tarde)\b",
        _fixed(AFTERNOON),
    )
    yield (
        r"(?<!too )(?<!so )(?<!that )(?<!muy )(?<!tan )\b(?:early in the day|early|temprano)\b(?! (?:in|next|this)\b)",
        _fixed(Hours(None, 10 * 60)),
    )


_RULES = tuple((re.compile(pattern), build) for pattern, build in _rules())
