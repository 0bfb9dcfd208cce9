"""The words of dates in English and Spanish, as pieces of regular expressions and the numbers they stand for.

They match text as `normal` leaves it: lower case, no accents, no apostrophes, single blanks.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta

from dateutil.easter import easter

from assistant.domain.understanding.text import fold


def any_of(*phrases: str) -> str:
    """A group that matches one of the phrases, each of which may itself be a pattern."""
    return f"(?:{'|'.join(phrases)})"


MONTH = (
    any_of(
        "jan(?:uary)?", "feb(?:r?uary)?", "march", "mar(?!tes)", "apr(?:il)?",
        "may(?! (?:i|we|it|be|you|they|he|she|need|have|not|as|the)\\b)", "june?", "july?", "aug(?:ust)?",
        "sept?(?:ember)?", "oct(?:ober)?", "nov(?:ember)?", "dec(?:ember)?", "enero", "ene", "febrero", "marzo", "abril",
        "abr", "mayo", "junio", "julio", "agosto", "septiembre", "setiembre", "octubre", "noviembre", "diciembre", "dic",
    )
    + r"\b\.?"
)  # fmt: skip
WEEKDAY = (
    any_of(
        "mon(?:day)?s?", "tue(?:s|sday)?s?", "tuseday", "wed(?:s|nesdays?)?", "wensday", "wednsday", "thu(?:rs?|rsdays?)?",
        "thrusday", "fri(?:day)?s?", "sat(?:urday)?s?", "saterday", "sun(?:day)?s?", "lunes", "lun", "martes", "miercoles",
        "mie", "jueves", "jue", "viernes", "vie", "sabados?", "sab", "domingos?",
    )
    + r"\b\.?"
)  # fmt: skip
NOT_A_DAY = re.compile(
    any_of(
        r"\bgood (?:morning|afternoon|evening|day)\b|\bbuen[oa]s (?:dias|tardes|noches)\b",
        r"\b(?:the|in|full|hot|direct|much|of|from|by|more) sun\b(?! (?:morning|afternoon|am|pm))",
        r"\bsun (?:damage|fad\w*|screen|block|beat)",
        r"\b(?:boat|it|has|have|had|been|just|she|which) sat\b",
        r"\bsat (?:in|on|out|there|all|for|too)\b",
    )
)
"""Greetings, the sun that shines and the boat that sat: no hours and no days of the week."""
ORDINAL = any_of(
    "1st", "first", "2nd", "second", "3rd", "third", "4th", "fourth", "last", "primer[oa]?", "segund[oa]", "tercer[oa]?",
    "cuart[oa]", "ultim[oa]",
)  # fmt: skip
COUNT = any_of(
    r"\d{1,3}", "a couple(?: of)?", "couple(?: of)?", "a few", "few", "an?", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "ten", "twelve", "un par de", "una?", "uno", "dos", "tres", "cuatro", "cinco", "seis", "siete",
    "ocho", "diez", "doce", "quince",
)  # fmt: skip
_NUMBERS = {
    "a": 1, "an": 1, "one": 1, "un": 1, "una": 1, "uno": 1, "two": 2, "dos": 2, "couple": 2, "par": 2, "three": 3,
    "tres": 3, "few": 3, "four": 4, "cuatro": 4, "five": 5, "cinco": 5, "six": 6, "seis": 6, "seven": 7, "siete": 7,
    "eight": 8, "ocho": 8, "ten": 10, "diez": 10, "twelve": 12, "doce": 12, "quince": 15,
}  # fmt: skip
_ORDINALS = {"1st": 1, "fir": 1, "pri": 1, "2nd": 2, "sec": 2, "seg": 2, "3rd": 3, "thi": 3, "ter": 3, "4th": 4,
             "fou": 4, "cua": 4, "las": -1, "ult": -1}  # fmt: skip
_MONTHS = {"ene": 1, "jan": 1, "feb": 2, "mar": 3, "abr": 4, "apr": 4, "may": 5, "jun": 6, "jul": 7, "ago": 8, "aug": 8,
           "sep": 9, "set": 9, "oct": 10, "nov": 11, "dic": 12, "dec": 12}  # fmt: skip
_WEEKDAYS = {"mo": 0, "lu": 0, "tu": 1, "ma": 1, "we": 2, "mi": 2, "th": 3, "ju": 3, "fr": 4, "vi": 4, "sa": 5, "su": 6,
             "do": 6}  # fmt: skip
_PLURAL = re.compile(r"(?:mon|tues|wednes|thurs|fri|satur|sun)days|(?:mon|fri|sat|sun)s|sabados|domingos")


def normal(text: str) -> str:
    """The text as the grammar reads it; signs that it uses itself are taken out."""
    folded = fold(text).replace("\u00f1", "n").replace("'", "").replace("<3", " ")
    folded = re.sub(r"\bpal\b", "para el", folded)
    return " ".join(re.sub(r"[<>\[\]{}()\"*]", " ", folded).split())


def month_number(word: str) -> int:
    """1..12."""
    return _MONTHS[word[:3]]


def weekday_number(word: str) -> int:
    """0 = Monday."""
    return _WEEKDAYS[word[:2]]


def is_plural(word: str) -> bool:
    """'tuesdays', 'sats', but not 'tues'."""
    return bool(_PLURAL.fullmatch(word.rstrip(".")))


def ordinal_number(word: str) -> int:
    """1..4, or -1 for the last."""
    return _ORDINALS[word[:3]]


def count_of(words: str) -> int:
    """What a number word stands for; 'a couple of' is 2, 'a few' is 3."""
    if words.isdigit():
        return int(words)
    named = [_NUMBERS[word] for word in words.split() if word in _NUMBERS]
    return named[-1] if named else 1


def nth_weekday(year: int, month: int, weekday: int, nth: int) -> date:
    """The nth such weekday of a month; -1 is the last."""
    if nth < 0:
        last = month_end(year, month)
        return last - timedelta(days=(last.weekday() - weekday) % 7)
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7 + 7 * (nth - 1))


def month_end(year: int, month: int) -> date:
    """The last day of a month."""
    return (date(year, month, 28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


HOLIDAYS: dict[str, Callable[[int], date]] = {
    r"memorial day": lambda year: nth_weekday(year, 5, 0, -1),
    r"independence day|the fourth(?! of)|4th of july|july 4(?:th)?|fourth of july": lambda year: date(year, 7, 4),
    r"labor day|labour day": lambda year: nth_weekday(year, 9, 0, 1),
    r"columbus day": lambda year: nth_weekday(year, 10, 0, 2),
    r"thanksgiving|accion de gracias": lambda year: nth_weekday(year, 11, 3, 4),
    r"halloween": lambda year: date(year, 10, 31),
    r"veterans day": lambda year: date(year, 11, 11),
    r"christmas eve|nochebuena": lambda year: date(year, 12, 24),
    r"christmas|x-?mas|navidad(?:es)?": lambda year: date(year, 12, 25),
    r"new years? eve|nochevieja": lambda year: date(year, 12, 31),
    r"new years?(?: day)?|ano nuevo": lambda year: date(year, 1, 1),
    r"valentines?(?: day)?": lambda year: date(year, 2, 14),
    r"mothers day": lambda year: nth_weekday(year, 5, 6, 2),
    r"fathers day": lambda year: nth_weekday(year, 6, 6, 3),
    r"good friday|viernes santo": lambda year: easter(year) - timedelta(days=2),
    r"easter|semana santa|pascua": easter,
}
"""Days people plan around, by the words for them; where the rule is a country's, it is that of the United States."""
