"""What every answer to one of the business's own people is made with, and the code that confirms a change.

Whoever texts in may be a forged sender. Whatever changes something is read back with a one-time code, which goes to
the real phone only; three wrong codes void it, six in a day close the way until the next one.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain import wording
from assistant.domain.boat_names import Found, Named, find_name
from assistant.domain.business import CrewMember
from assistant.domain.conversation.situation import InboundMessage
from assistant.storage import crew_texts, handovers
from assistant.storage.database import Transaction
from assistant.usecases.tell_crew import drawn

CODE_HOLDS = timedelta(hours=2)
TRIES = 3
WRONG_A_DAY = 6
CONFIRM = "crew.do."
"""Kinds of open questions that wait for a code begin so."""


@dataclass(frozen=True)
class Desk:
    """One text of one of our people, inside its transaction. `now` is aware UTC."""

    app: Assistant
    tx: Transaction
    member: CrewMember
    message: InboundMessage
    thread_id: int
    message_id: int
    now: datetime

    @property
    def language(self) -> str:
        """Our people are answered in the business's language."""
        return self.app.business.language

    @property
    def zone(self) -> str:
        """The business's zone."""
        return self.app.business.zone

    @cached_property
    def today(self) -> date:
        """Today where the business is."""
        return self.now.astimezone(ZoneInfo(self.zone)).date()

    @cached_property
    def names(self) -> tuple[Named, ...]:
        """Every client and boat."""
        return crew_texts.named(self.tx)

    def say(self, id: str, **values: str) -> str:
        """A sentence of the wording table, by its id without `crew.`."""
        return wording.fill(self.app.knowledge.say(f"crew.{id}", self.language), values)

    def named(self, table: str, id: str) -> str:
        """A coating or surface as we call it."""
        return self.app.knowledge.named(table, id, self.language)

    def join(self, words: list[str]) -> str:
        """'a, b and c'."""
        return wording.join_words(words, self.language)

    def day(self, day: date) -> str:
        """'Tue May 4'."""
        return f"{wording.weekday_text(day, self.language)[:3]} {wording.day_text(day, self.language, self.today)}"


@dataclass(frozen=True, slots=True)
class Said:
    """The answer to a text. `remember` is kept with the text."""

    text: str
    topic: str
    remember: Mapping[str, Any] | None = None


def found_name(desk: Desk, words: str, *, boat: bool) -> tuple[Named | None, str, Said | None]:
    """Who or which boat is meant and the rest of the words; else the question to ask back."""
    found: Found = find_name(words, desk.names)
    who = tuple(one for one in found.who if one.vessel_id is not None) if boat else _one_per_client(found.who)
    if len(who) == 1:
        return who[0], found.rest, None
    if not who:
        return None, "", Said(desk.say("unknown_name", what=words[:40].strip()), "crew.ask")
    return None, "", Said(desk.say("which", choice=wording.join_words([one.shown for one in who[:6]], desk.language, _or(desk))), "crew.ask")


def _one_per_client(who: tuple[Named, ...]) -> tuple[Named, ...]:
    return tuple({one.client_id: one for one in who}.values())


def _or(desk: Desk) -> str:
    return {"es": "o"}.get(desk.language, "or")


def read_back(desk: Desk, do: str, data: Mapping[str, Any], text: str) -> Said:
    """Say what would be done and wait for the code; anything that waited before is forgotten."""
    code = str(drawn(desk.tx, 4))
    until = desk.now + CODE_HOLDS
    waiting = {**data, "code": code}
    handovers.ask_client(desk.tx, desk.thread_id, CONFIRM + do, waiting, until, desk.now, desk.message_id)
    return Said(f"{text} {desk.say('confirm', code=code)}", f"crew.{do}")


def locked(desk: Desk) -> bool:
    """Too many wrong codes today: somebody may be guessing."""
    return crew_texts.wrong_since(desk.tx, desk.thread_id, desk.now - timedelta(days=1)) >= WRONG_A_DAY


def confirmed(desk: Desk, code: str) -> tuple[str, Mapping[str, Any]] | Said:
    """What the code confirms (used up by that), or the answer to a wrong one."""
    if locked(desk):
        return Said(desk.say("locked"), "crew.locked")
    waiting = crew_texts.pending(desk.tx, desk.thread_id, desk.now)
    if waiting is None or not waiting.kind.startswith(CONFIRM):
        return Said(desk.say("nothing_waits"), crew_texts.WRONG)
    if hmac.compare_digest(str(waiting.data["code"]), code):
        handovers.close_question(desk.tx, desk.thread_id, desk.now)
        return waiting.kind.removeprefix(CONFIRM), waiting.data
    if crew_texts.note_wrong(desk.tx, waiting) >= TRIES:
        handovers.close_question(desk.tx, desk.thread_id, desk.now)
        return Said(desk.say("void"), crew_texts.WRONG)
    return Said(desk.say("wrong_code"), crew_texts.WRONG)
