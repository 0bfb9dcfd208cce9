"""One text of one of the business's own people: kept once, read, answered, and carried out when its code comes."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from assistant.assembly import Assistant
from assistant.domain import crew_commands as c
from assistant.domain.business import CrewMember
from assistant.domain.conversation.decision import Decision
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.sms import fit, plain
from assistant.storage import audit, messages
from assistant.storage.threads import open_thread
from assistant.usecases import crew_answers, crew_changes, crew_jobs, crew_lists
from assistant.usecases.converse import Outcome
from assistant.usecases.crew_desk import Desk, Said, confirmed

PARTS = 6
"""Parts of one answer at most."""

log = logging.getLogger(__name__)

DOES: Mapping[str, Callable[[Desk, Mapping[str, Any]], str]] = {
    "job": crew_jobs.record,
    "answer": crew_answers.send,
    "block": crew_changes.block,
    "free": crew_changes.free,
    "pause": crew_changes.pause,
    "give_back": crew_changes.give_back,
    "add": crew_changes.add_client,
}
"""What is carried out once its code came."""


class _Repeated(Exception):
    """Another delivery of the same text was kept first."""


def receive(app: Assistant, member: CrewMember, message: InboundMessage, now: datetime) -> Outcome:
    """Take in one text and return the replies to it. Safe to call again with the same message."""
    try:
        return _receive(app, member, message, now)
    except _Repeated:
        with app.database.reading(app.business.id) as tx:
            return Outcome(messages.stored_replies(tx, message.sid) or (), repeated=True)
    except Exception:
        log.exception("a text of %s could not be handled; nothing was changed", member.name)
        return _apologise(app, message, now)


def _receive(app: Assistant, member: CrewMember, message: InboundMessage, now: datetime) -> Outcome:
    command = c.read_command(message.text, app.business.country)
    soon = crew_lists.near(app, now) if isinstance(command, c.WhoIsDue) else []
    with app.database.transaction(app.business.id) as tx:
        thread_id = open_thread(tx, message.sender, message.channel, now)
        message_id = messages.keep_inbound(tx, thread_id, message, None, now)
        if message_id is None:
            raise _Repeated
        desk = Desk(app, tx, member, message, thread_id, message_id, now)
        said = crew_lists.due(desk, soon) if isinstance(command, c.WhoIsDue) else _answer(desk, command)
        decision = _decision(said)
        messages.revise(tx, message_id, decision)
        return Outcome(decision.replies, decision)


def _answer(desk: Desk, command: c.Command) -> Said:
    """One short way for each kind of command."""
    if isinstance(command, c.Code):
        return _carry_out(desk, command.code)
    if isinstance(command, c.Numbered):
        return crew_answers.numbered(desk, command)
    if isinstance(command, c.Done):
        return crew_jobs.ask_back(desk, command.words)
    if desk.message.media:
        return crew_changes.keep_photos(desk, desk.message.text)
    if isinstance(command, c.Plain):
        return crew_answers.unnumbered(desk, command.text)
    return _read_only(desk, command) or crew_changes.ask_back(desk, command)


def _read_only(desk: Desk, command: c.Command) -> Said | None:
    """Commands that change nothing, so anyone may give them: what they tell goes to the real phone."""
    if isinstance(command, c.Agenda):
        return crew_lists.agenda(desk, command.words)
    if isinstance(command, c.WhatWaits):
        return crew_lists.waiting(desk)
    if isinstance(command, c.Help):
        return Said(desk.say("help_add" if command.about == "add" else "help"), "crew.help")
    return None


def _carry_out(desk: Desk, code: str) -> Said:
    given = confirmed(desk, code)
    if isinstance(given, Said):
        return given
    do, data = given
    text = DOES[do](desk, data)
    audit.note(desk.tx, desk.now, desk.member.name, f"{do} by text", str(data.get("subject", "")))
    return Said(text, f"crew.{do}.done")


def _decision(said: Said) -> Decision:
    return Decision((fit(plain(said.text), PARTS),), topic=said.topic, remember=said.remember)


def _apologise(app: Assistant, message: InboundMessage, now: datetime) -> Outcome:
    """Everything was undone; the text itself is kept."""
    sorry = _decision(Said(app.knowledge.say("crew.sorry", app.business.language), "crew.fault"))
    with app.database.transaction(app.business.id) as tx:
        thread_id = open_thread(tx, message.sender, message.channel, now)
        if messages.keep_inbound(tx, thread_id, message, sorry, now) is None:
            return Outcome(messages.stored_replies(tx, message.sid) or (), repeated=True)
    return Outcome(sorry.replies, sorry)
