"""One inbound text: kept, understood, decided, written down and answered, in one transaction.

A repeated delivery gets the stored answer, also when both arrive at the same moment. A text that makes this program
fail is kept all the same and put before a person.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.conversation.decision import BookVisit, Decision, HoldSlots, MoveVisit
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.errors import SlotTaken
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot
from assistant.storage import handovers, messages
from assistant.storage.changes import carry_out
from assistant.storage.database import Transaction
from assistant.storage.situations import load_situation
from assistant.storage.threads import open_thread
from assistant.storage.visits import load_diary, take_turns

HORIZON = timedelta(days=200)
"""How far ahead times can be offered: a season and lay-up."""
TRIES = 3
"""How often a new time is looked for when others take the wanted one first."""

FAULT = "fault"
"""Reason of the handover when this program failed on a text."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a text led to. `decision` is None for a repeated delivery, and when the program failed on the text."""

    replies: tuple[str, ...]
    decision: Decision | None = None
    repeated: bool = False


class _Repeated(Exception):
    """Another delivery of the same text was kept first."""


def receive(app: Assistant, message: InboundMessage, now: datetime) -> Outcome:
    """Take in one text and return the replies to it. Safe to call again with the same message."""
    try:
        return _converse(app, message, now)
    except _Repeated:
        with app.database.reading(app.business.id) as tx:
            return Outcome(messages.stored_replies(tx, message.sid) or (), repeated=True)
    except Exception:
        log.exception("a text could not be handled; it is kept and put before a person")
        return _keep_for_a_person(app, message, now)


def _converse(app: Assistant, message: InboundMessage, now: datetime) -> Outcome:
    with app.database.transaction(app.business.id) as tx:
        earlier = messages.stored_replies(tx, message.sid)
        if earlier is not None:
            return Outcome(earlier, repeated=True)
        situation = load_situation(tx, app.business, message, now, app.settings.public_url)
        reading = app.read(message.carrier_keyword or message.text, situation, app.knowledge)
        decision = _decide(app, tx, reading, situation, now)
        if not situation.thread_id:
            situation = replace(situation, thread_id=open_thread(tx, message.sender, message.channel, now))
        message_id = messages.keep_inbound(tx, situation.thread_id, message, decision, now)
        if message_id is None:
            raise _Repeated
        carried = _carry_out(app, tx, reading, decision, situation, message_id, now)
        if carried is not decision:
            messages.revise(tx, message_id, carried)
        return Outcome(carried.replies, carried)


def _decide(
    app: Assistant, tx: Transaction, reading: Reading, situation: Situation, now: datetime, lost: Slot | None = None
) -> Decision:
    diary = None
    if app.needs_diary(reading, situation):
        client_id = situation.client.id if situation.client else None
        today = now.astimezone(ZoneInfo(app.business.zone)).date()
        take_turns(tx)
        diary = load_diary(tx, today, today + HORIZON, now, client_id)
    return app.decide(reading, situation, app.knowledge, diary, now, lost)


def _carry_out(
    app: Assistant,
    tx: Transaction,
    reading: Reading,
    decision: Decision,
    situation: Situation,
    message_id: int,
    now: datetime,
) -> Decision:
    """Write the changes; when a time was taken meanwhile, decide anew on a fresh diary. Returns what was written."""
    tries = TRIES if _takes_time(decision) else 0
    for _ in range(tries):
        try:
            with tx.savepoint():
                carry_out(tx, decision.changes, situation, message_id, now)
            return decision
        except SlotTaken:
            decision = _decide(app, tx, reading, situation, now, lost=_picked(decision))
    carry_out(tx, decision.changes, situation, message_id, now)
    return decision


def _takes_time(decision: Decision) -> bool:
    """True when the decision takes a time that somebody else may have taken meanwhile."""
    return any(isinstance(change, BookVisit | MoveVisit | HoldSlots) for change in decision.changes)


def _picked(decision: Decision) -> Slot | None:
    """The time the client picked, if the decision books or moves to one."""
    return next((change.slot for change in decision.changes if isinstance(change, BookVisit | MoveVisit)), None)


def _keep_for_a_person(app: Assistant, message: InboundMessage, now: datetime) -> Outcome:
    with app.database.transaction(app.business.id) as tx:
        thread_id = open_thread(tx, message.sender, message.channel, now)
        message_id = messages.keep_inbound(tx, thread_id, message, None, now)
        if message_id is None:
            return Outcome(messages.stored_replies(tx, message.sid) or (), repeated=True)
        handovers.open_handover(tx, thread_id, FAULT, now, urgent=True, message_id=message_id)
        return Outcome(())
