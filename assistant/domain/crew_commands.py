"""What a person of the business texts in from the dock, read into a command. Pure; names are looked up elsewhere."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import phonenumbers

from assistant.domain.understanding.text import fold
from assistant.domain.visits import TimeWish


@dataclass(frozen=True, slots=True)
class Code:
    """The one-time code of what was read back."""

    code: str


@dataclass(frozen=True, slots=True)
class Numbered:
    """A text for the open question with this number; empty `text` asks to see it again."""

    number: int
    text: str = ""
    settle: bool = False
    """Nothing needs to be said to the client."""


@dataclass(frozen=True, slots=True)
class Done:
    """A finished job, in words that begin with the boat."""

    words: str


@dataclass(frozen=True, slots=True)
class Agenda:
    """The visits of the days named."""

    words: str


@dataclass(frozen=True, slots=True)
class WhoIsDue:
    """Whose reseal is near."""


@dataclass(frozen=True, slots=True)
class WhatWaits:
    """The questions that wait for an answer."""


@dataclass(frozen=True, slots=True)
class Block:
    """Offer no times on these days; `free` takes that back."""

    words: str
    free: bool = False


@dataclass(frozen=True, slots=True)
class Pause:
    """The assistant stays quiet in a client's thread; `give_back` lets it answer again."""

    words: str
    give_back: bool = False


@dataclass(frozen=True, slots=True)
class NewClient:
    """A client to be added. `phone` is E.164; `agreed` when the client wants service texts."""

    name: str
    phone: str
    vessel: str = ""
    length_ft: Decimal | None = None
    agreed: bool = False
    rest: str = ""
    """What follows the boat's length: the harbor, most likely."""


@dataclass(frozen=True, slots=True)
class Help:
    """What can be texted; `about` names the command that was not understood."""

    about: str = ""


@dataclass(frozen=True, slots=True)
class Plain:
    """Anything else: an answer without its number, a boat's name for photos, or small talk."""

    text: str


Command = Code | Numbered | Done | Agenda | WhoIsDue | WhatWaits | Block | Pause | NewClient | Help | Plain

_CODE = re.compile(r"(?:ok(?:ay)?\W+)?(\d{4})\W*", re.IGNORECASE)
_NUMBERED = re.compile(r"#?(\d{3})(?:\s*[:.,;)-]\s*|\s+|$)(.*)", re.DOTALL)
_SETTLE = re.compile(r"(?:close|closed|settled|nothing|cerrar|cerrada|nada)\W*")
_DAY = (
    r"(?:today|tomorrow|(?:this |next )?week|(?:next )?(?:mon|tues?|wed(?:nes)?|thur?s?|fri|sat(?:ur)?|sun)(?:day)?"
    r"|hoy|manana|(?:esta |la proxima )?semana|lunes|martes|miercoles|jueves|viernes|sabado|domingo)"
)
_AGENDA = re.compile(rf"(?:what(?:'?s| is) (?:on|up) |schedule |agenda |que hay (?:el )?)?({_DAY})(?: agenda| schedule)?\W*")
_DUE = re.compile(r"(?:(?:who(?:'?s| is) )?(?:up )?due(?: soon)?|a quienes? (?:le|les) toca|quien toca)\W*")
_WAITS = re.compile(r"(?:open|waiting|questions|what(?:'?s| is) (?:open|waiting)|pendientes?|preguntas)\W*")
_DONE = re.compile(r"(?:done|finished|completed|wrapped up|listo|lista|termine|terminado|terminada)\b[\s:,.-]*(?:with\s+|con\s+)?(.*)", re.DOTALL)
_BLOCK = re.compile(r"(?:block(?: off| out)?|bloquea|bloquear)\s+(.*)", re.DOTALL)
_FREE = re.compile(r"(?:unblock|free(?: up)?|open up|libera|liberar|desbloquea)\s+(.*)", re.DOTALL)
_PAUSE = re.compile(r"(?:pause|i(?:'ll| will) take|take over|pausa|pausar)\s+(.*)", re.DOTALL)
_BACK = re.compile(r"(?:give back|hand back|resume|unpause|devuelve|devolver|reanuda)\s+(.*)", re.DOTALL)
_ADD = re.compile(r"(?:add|new|agrega|agregar|nuevo|nueva)\s+(?:a\s+|un\s+)?(?:client|customer|owner|cliente?a?)\b[\s:,-]*(.*)", re.DOTALL)
_HELP = re.compile(r"(?:help|info|commands?|what can i (?:text|say)|ayuda|comandos)?\W*")
_LENGTH = re.compile(r"\b(\d{1,3}(?:\.\d)?)\s*(?:ft\b|feet\b|foot\b|pies\b|'|-footer\b)", re.IGNORECASE)
_AGREED = re.compile(r",?\s*\b(?:agreed(?: to texts)?|texts? ok|ok to text|acepta(?: mensajes)?)\b\W*", re.IGNORECASE)


def read_command(text: str, country: str) -> Command:
    """The command in a text. `country` (ISO 3166) says how phone numbers without country code are meant."""
    text = text.strip()
    plain = fold(text).strip()
    if found := _CODE.fullmatch(plain):
        return Code(found[1])
    if found := _NUMBERED.fullmatch(text):
        said = found[2].strip()
        return Numbered(int(found[1]), said, settle=bool(_SETTLE.fullmatch(fold(said))))
    if found := _AGENDA.fullmatch(plain):
        return Agenda(found[1])
    if _DUE.fullmatch(plain):
        return WhoIsDue()
    if _WAITS.fullmatch(plain):
        return WhatWaits()
    if _HELP.fullmatch(plain):
        return Help()
    return _with_words(text, plain, country)


def _with_words(text: str, plain: str, country: str) -> Command:
    """Commands that go on after their verb. Folding keeps places, so the rest keeps its capitals and accents."""
    if found := _ADD.fullmatch(plain):
        return _new_client(text[found.start(1) :], country)
    if found := _DONE.fullmatch(plain):
        return Done(text[found.start(1) :].strip())
    if found := _FREE.fullmatch(plain):
        return Block(found[1], free=True)
    if found := _BLOCK.fullmatch(plain):
        return Block(found[1])
    if found := _BACK.fullmatch(plain):
        return Pause(text[found.start(1) :], give_back=True)
    if found := _PAUSE.fullmatch(plain):
        return Pause(text[found.start(1) :])
    return Plain(text)


def _new_client(words: str, country: str) -> Command:
    """'Ana Reyes 305 555 0111 Sea Thistle 28 ft': the number parts the owner's name from the boat's."""
    agreed = bool(_AGREED.search(words))
    words = _AGREED.sub(" ", words)
    leniency = phonenumbers.Leniency.POSSIBLE
    found = next(iter(phonenumbers.PhoneNumberMatcher(words, country or None, leniency=leniency)), None)
    if found is None:
        return Help("add")
    name = _tidy(words[: found.start])
    boat = words[found.end :]
    length = _LENGTH.search(boat)
    vessel = _tidy(boat[: length.start()] if length else boat)
    if not name:
        return Help("add")
    phone = phonenumbers.format_number(found.number, phonenumbers.PhoneNumberFormat.E164)
    rest = _tidy(boat[length.end() :]) if length else ""
    return NewClient(name, phone, vessel, Decimal(length[1]) if length else None, agreed, rest)


def _tidy(words: str) -> str:
    return " ".join(words.split()).strip(" ,;:.-")


MOST_DAYS = 14
"""Days that one text can name at most."""


def days_of(wish: TimeWish, today: date) -> tuple[date, ...]:
    """The days a wish names, from today on; weekdays alone mean the next ones."""
    if wish.days:
        named = set(wish.days)
    elif wish.weekdays:
        first = max(today, wish.first or today)
        named = {first + timedelta(days=n) for n in range(7) if (first + timedelta(days=n)).weekday() in wish.weekdays}
    elif wish.first:
        last = wish.last or wish.first
        named = {wish.first + timedelta(days=n) for n in range((last - wish.first).days + 1)}
    else:
        named = set()
    return tuple(sorted(day for day in named if day >= today and day not in wish.not_days)[:MOST_DAYS])
