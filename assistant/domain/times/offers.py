"""A text as the answer to offered times: which one it picks, or that none will do, or what is wished instead."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from assistant.domain.times.day_rules import DAY_RULES
from assistant.domain.times.days import Finder, Kind
from assistant.domain.times.words import MONTH, any_of
from assistant.domain.visits import TimeWish

_ORDINALS = (
    r"(?:1st|first|primer[oa]?|former)", r"(?:2nd|second|segund[oa])", r"(?:3rd|third|tercer[oa]?)", r"(?:4th|fourth|cuart[oa])",
)  # fmt: skip
_NUMBERS = ("one|uno|una", "two|dos", "three|tres", "four|cuatro")
_COUNTS_SOMETHING_ELSE = r"(?! ?" + any_of(
    "weeks?", "semanas?", "things?", "hora", "half", "quincena", r"of\b", r"de\b", "available", "opening", r"am\b", r"pm\b", r"a\.m", r"p\.m", ":",
    "/", "-", "ish", "oclock", r"(?:st|nd|rd|th)\b", "ft", "foot", "feet", "hours?", "days?", "dias?", "months?", "boats?", "barcos?", "%",
    r",?\d", r"\.\d",
) + ")"  # fmt: skip
CHOOSING = frozenset(
    "i ill id would will like want take grab pick choose book reserve lock in go with do lets let us me my we the a an one ones option"
    " options number nr no slot slots spot time times date choice please pls plz thanks thank you ok okay k yes yep yeah ya sure great good"
    " perfect fine cool sounds looks works work best better for is it its that this those these of on at then put down set up can could"
    " have get gimme give only make so just and prefer suits suit ideal from your list offered sent any whichever all either earliest"
    " latest middle last former latter hi hey hello but not late early later earlier too that them choose dont care which morning"
    " afternoon guess think lovely awesome confirm confirmed day or"
    " la el los las lo de del a que quiero prefiero tomo me nos quedo quedamos con dale va vale si por favor porfa esta estan bien sirve"
    " viene va ponme ponnos en apuntame apartame reservame dame damelo elijo escojo opcion numero hora esa ese eso esas esos este gracias entonces"
    " mejor puedo solo asi pusiste ofreciste dices se puede perfecto listo ok pero no tan tarde temprano mas muy medio ultima ultimo"
    " cualquiera sea siguiente y o tu escoge para".split()
)
"""What a text may hold besides a number, a day and an hour and still be nothing but a choice."""
_DATE = re.compile(rf"\b{MONTH} (?:the )?\d{{1,2}}(?:st|nd|rd|th)?\b|\b\d{{1,2}}(?:st|nd|rd|th)?(?: of| de)? {MONTH}")
_SENTENCE = re.compile(r"(?<![ap]\.m)[.!?;\n]+(?=\s|$)|(?<=[?!])")


NONE_FIT = re.compile(
    any_of(
        r"\b(?:none|neither|ningun[oa]?)\b", r"\bno(?:ne)? (?:of|to) (?:those|these|them|all|any)\b", r"\bnot (?:those|these|any)\b",
        r"\bcant (?:do |make )?(?:any|those|these|them)\b", r"\bcant (?:be there|do|make)\b.* any\b",
        r"\b(?:those|these|they)(?: \w+){0,2} (?:dont|wont|do not) (?:work|fit|suit)",
        r"\b(?:those|these|they)(?: are|re) (?:all )?(?:bad|no good|too|out)", r"\b(?:something|anything|what) else\b",
        r"\b(?:other|different|more|another|next set of|new) (?:times?|options?|dates?|days?|slots?|week)\b", r"\bother ones\b",
        r"\bwork (?:all )?(?:those|these)\b", r"\bis that (?:all|everything)\b", r"\bno good\b", r"\bkeep looking\b", r"\bthey all clash\b",
        r"\ball (?:too|clash)\b", r"\b(?:were|we are|im|i am) (?:away|gone|out of town)\b",
        r"\balgo mas\b(?! (?:tarde|temprano|adelante|pronto))", r"\b(?:mas|otr[oa]s?) (?:horas?|horarios?|fechas?|dias?|opciones|opcion)\b",
        r"\bni una ni otra\b", r"\bq(?:ue)? mas\b", r"\bes[ao]s no\b", r"\botra semana\b", r"\bimposible\b", r"\beso es todo\b",
        r"\b(?:es[ao]s|tod[ao]s)(?: \w+){0,3} (?:no puedo|me quedan mal|coinciden)", r"\bno puedo (?:a|en) es[ao]s\b",
        r"\bno me (?:sirven?|vienen?|van)\b", r"\bno puedo (?:en )?ningun", r"\bme coinciden\b", r"\btrabajo tod[ao]s\b", r"\bno estamos\b",
    )
)  # fmt: skip
LATER = re.compile(r"\b(?:later|after that|further out|mas tarde|mas adelante|despues)\b|\b(?:too|muy|demasiado) (?:early|temprano)\b")
EARLIER = re.compile(
    r"\b(?:earlier|sooner|mas temprano|mas pronto|antes)\b|\b(?:not|but not) (?:that|so|too|quite so) late\b|\btoo late\b|\btoo far out\b"
    r"|\bno tan tarde\b|\bdemasiado tarde\b"
)
SAME_DAY = re.compile(r"\b(?:in the day|(?:that|the same|same) day|(?:ese|el) mismo dia|(?:not|no) (?:that|so|too|tan) (?:late|early|tarde|temprano))\b")
EARLIEST = re.compile(r"\b(?:earliest|soonest|(?:la|el) mas (?:tempran[oa]|pront[oa]))\b")
ANY = re.compile(
    r"\b(?:any of (?:them|those|these)|either|whichever|any is|any will|you (?:choose|pick)|dont care which|cualquiera|(?:el|la) que sea"
    r"|(?:they )?all (?:of them )?work)\b"
)
COMPARED = re.compile(r"\b(later|earlier|sooner) (?:one|slot|time|option)\b(?! than)")
ASKS_FOR_MORE = re.compile(
    r"\b(?:instead|other|else|another|different|more|anything|something|got any|push|bump|delay|shift|postpone|do you have|need|necesito|only|solo|how about|what about"
    r"|otr[oa]s?|en vez|mejor)\b"
)


@dataclass(frozen=True, slots=True)
class Clause:
    """One sentence of an answer: its words, what of them is no time, and the times it names."""

    text: str
    rest: str
    wish: TimeWish

    @property
    def only_chooses(self) -> bool:
        """True when there is nothing in it but a choice; of questions only those that ask for one of the times."""
        if "?" in self.text and not re.search(r"\b(?:one|option|slot|spot|number|opcion|numero|(?:la|el) de)\b|^\W*(?:can|could) (?:i|we) ", self.text):
            return False
        words = re.findall(r"[a-z]+", re.sub(r"<\d+>|\b\d{1,2}(?:st|nd|rd|th)\b", " ", self.rest))
        numbers = "|".join((*_ORDINALS, *_NUMBERS, "b", "c", "d"))
        return all(word in CHOOSING or re.fullmatch(numbers, word) for word in words)


def sentences_of(plain: str) -> list[str]:
    """The sentences of a text, question marks kept."""
    cut = [part.strip() for part in _SENTENCE.split(plain)]
    return [f"{part}?" if f"{part}?" in plain else part for part in cut if part] or [plain]


def as_answer(wish: TimeWish, plain: str, clauses: Sequence[Clause], walls: Sequence[datetime]) -> TimeWish:
    """The wish read from `plain` as an answer to the offered wall times: a pick, other times, or something new."""
    relative = EARLIEST.sub(" ", plain)
    wish = replace(wish, later_than_offer=bool(LATER.search(relative)), earlier_than_offer=bool(EARLIER.search(relative)))
    choosing = [clause for clause in clauses if clause.only_chooses]
    picks = sorted({number for clause in choosing for number in picked_by_place(clause.text, len(walls))})
    if NONE_FIT.search(plain) and not picks:
        return replace(wish, none_fit=True)
    shifted = wish.later_than_offer or wish.earlier_than_offer
    if not picks and not shifted:
        picks = sorted({number for clause in choosing for number in described(clause.wish, clause.text, walls)})
    if len(picks) > 1:
        return replace(wish, ambiguous="pick", later_than_offer=False, earlier_than_offer=False)
    if picks and shifted:
        return _beside(wish, picks[0], walls[picks[0] - 1])
    if picks:
        return TimeWish(pick=picks[0], words=wish.words)
    return _within_day(wish, plain, walls)


def picked_by_place(text: str, count: int) -> list[int]:
    """1-based numbers of the offered times that the text names by place: '2', 'the second one', 'b', 'last'."""
    text = _DATE.sub(" ", text)
    found = {number for number in range(1, count + 1) if any(re.search(way, text) for way in _ways_to_name(number))}
    if re.search(r"(?<!of )(?<!of the )\b(?:last|ultim[oa])\b(?! (?:week|year|time|month|semana|ano|mes))", text):
        found.add(count)
    if count == 3 and re.search(r"\bmiddle (?:one|time|slot)\b|\b(?:la|el) (?:del|de en) medio\b", text):
        found.add(2)
    compared = COMPARED.search(text)
    if compared:  # of three, the later one may be the second or the third
        found |= {count if compared[1] == "later" else 1} if count == 2 else set(range(1, count + 1))
    if (ANY.search(text) or EARLIEST.search(text)) and not NONE_FIT.search(text):
        found.add(1)
    return sorted(found)


def _ways_to_name(number: int) -> tuple[str, ...]:
    ordinal, word, letter, other = _ORDINALS[number - 1], _NUMBERS[number - 1], "abcd"[number - 1], _COUNTS_SOMETHING_ELSE
    not_ruled_out = r"(?<!not )(?<!not the )(?<!no la )(?<!no el )(?<!no )(?<!this )(?<!what )(?<!que )"
    return (
        rf"(?<![\d/:.-])(?<!\bat )(?<!\bafter )(?<!\bbefore )(?<!\baround )(?<!\blas ){not_ruled_out}\b{number}\b{other}",
        rf"{not_ruled_out}\b{ordinal}\b{other}(?! <)",
        rf"\b(?:number|option|slot|choice|numero|opcion) (?:{word})\b",
        rf"^\W*(?:(?:the|la|el|ok|dale|va|con) )*(?:{word})(?: please| por favor)?\W*$",
        rf"^\W*(?:option |opcion |la |el )?{letter}\W*$",
    )


def described(wish: TimeWish, plain: str, walls: Sequence[datetime]) -> list[int]:
    """Numbers of the offered times that the words describe by day or hour; none when they ask for others."""
    named = wish.days or wish.weekdays or wish.earliest is not None or wish.latest is not None
    if not named or wish.ambiguous or wish.first or wish.last or ASKS_FOR_MORE.search(plain):
        return []
    weekdays = _weekdays_named(plain)
    found = []
    for number, wall in enumerate(walls, 1):
        minute, day = wall.hour * 60 + wall.minute, wall.weekday()
        on_day = (not wish.days or wall.date() in wish.days or day in weekdays) and (not wish.weekdays or day in wish.weekdays)
        ruled_out = wall.date() in wish.not_days or day in wish.not_weekdays
        at_hour = (wish.earliest is None or minute >= wish.earliest) and (wish.latest is None or minute <= wish.latest)
        found += [number] if on_day and at_hour and not ruled_out else []
    return found


def _weekdays_named(plain: str) -> frozenset[int]:
    """Weekdays that stand alone in the text: they may mean any offered day of that name."""
    finder = Finder(plain, date(2027, 1, 4), "md")
    finder.find(DAY_RULES)
    return frozenset(n for one in finder.found if one.kind is Kind.WEEKDAY for n in one.weekdays)


def _beside(wish: TimeWish, pick: int, wall: datetime) -> TimeWish:
    """'the second one but not that late': that day, before or after the hour that was offered."""
    minute = wall.hour * 60 + wall.minute
    earliest, latest = (minute + 15, None) if wish.later_than_offer else (None, minute - 15)
    return replace(wish, pick=pick, days=(wall.date(),), earliest=earliest, latest=latest)


def _within_day(wish: TimeWish, plain: str, walls: Sequence[datetime]) -> TimeWish:
    """'later that day': the offered days, after the latest hour offered."""
    shifted = wish.later_than_offer or wish.earlier_than_offer
    if not shifted or not SAME_DAY.search(plain) or wish.earliest or wish.latest:
        return wish
    minutes = [wall.hour * 60 + wall.minute for wall in walls]
    days = wish.days or tuple(sorted({wall.date() for wall in walls}))
    if wish.later_than_offer:
        return replace(wish, days=days, earliest=max(minutes) + 15)
    return replace(wish, days=days, latest=min(minutes) - 15)
