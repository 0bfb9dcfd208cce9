"""A person answers what was handed over: the answer goes into the outbox, and the assistant answers again."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from assistant.assembly import Assistant
from assistant.carriers.pages import WEB
from assistant.domain.sms import clean, measure, plain
from assistant.storage import audit, handovers, messages, outbox, threads
from assistant.storage.database import Transaction
from assistant.storage.handovers import Handover
from assistant.storage.knowledge_files.checks import asks_for_carrier_word
from assistant.storage.lists import asked_in

LONGEST_PARTS = 8
"""Parts of one answer: more is a letter, not a text."""
TAKES_OVER_FOR = timedelta(hours=12)
"""How long the assistant stays quiet when a person takes a conversation."""


def objection(text: str) -> str:
    """Why this answer can't go out as it stands; empty when it can."""
    if not plain(clean(text)).strip():
        return "Write something first."
    if measure(plain(clean(text))).segments > LONGEST_PARTS:
        return f"That is longer than {LONGEST_PARTS} parts: say it in fewer words, or call."
    if word := asks_for_carrier_word(text):
        return f"It asks for the word {word}, which the carrier acts on: ask for OK or a number instead."
    return ""


def answer_client(app: Assistant, handover_id: int, text: str, who: str, now: datetime) -> Handover | None:
    """Send the answer and give the conversation back; None when somebody answered or closed it before."""
    with app.database.transaction(app.business.id) as tx:
        return answer_in(tx, handover_id, text, who, now)


def answer_in(tx: Transaction, handover_id: int, text: str, who: str, now: datetime) -> Handover | None:
    """The same inside a transaction that is open already."""
    text = plain(clean(text)).strip()
    found = handovers.find_handover(tx, handover_id)
    if found is None or not handovers.answer_handover(tx, handover_id, text, who, now):
        return None
    draft = outbox.Draft(
        thread_id=found.thread_id,
        consent=outbox.REPLY,
        kind="answer",
        text=text,
        dedupe_key=f"answer:{handover_id}",
        due_at=now,
        why=f"{who} answered",
        handover_id=handover_id,
        written_by=who,
    )
    outbox.enqueue(tx, draft, now)
    _by_text_too(tx, found, draft, now)
    _settle(tx, found, now)
    audit.note(tx, now, who, "answered", f"handover:{handover_id}", to=found.name or found.phone)
    return found


def put_aside(app: Assistant, handover_id: int, who: str, now: datetime) -> bool:
    """Nothing needs to be said; False when somebody answered or closed it before."""
    with app.database.transaction(app.business.id) as tx:
        return put_aside_in(tx, handover_id, who, now)


def put_aside_in(tx: Transaction, handover_id: int, who: str, now: datetime) -> bool:
    """The same inside a transaction that is open already."""
    found = handovers.find_handover(tx, handover_id)
    if found is None or not handovers.close_handover(tx, handover_id, who, now):
        return False
    _settle(tx, found, now)
    audit.note(tx, now, who, "put aside", f"handover:{handover_id}")
    return True


def take_conversation(app: Assistant, thread_id: int, who: str, now: datetime) -> None:
    """From now on a person answers there: the assistant stays quiet but for safety and opting out."""
    with app.database.transaction(app.business.id) as tx:
        threads.take_over(tx, thread_id, who, now + TAKES_OVER_FOR)
        audit.note(tx, now, who, "took the conversation", f"thread:{thread_id}")


def give_conversation_back(app: Assistant, thread_id: int, who: str, now: datetime) -> None:
    """The assistant answers again."""
    with app.database.transaction(app.business.id) as tx:
        threads.give_back(tx, thread_id)
        audit.note(tx, now, who, "gave the conversation back", f"thread:{thread_id}")


def _by_text_too(tx: Transaction, handover: Handover, draft: outbox.Draft, now: datetime) -> None:
    """Whoever asked on the page may have closed it: an owner who takes service texts gets the answer as one, too."""
    asked_in_thread = threads.read_thread(tx, handover.thread_id)
    if asked_in_thread is None or asked_in_thread.channel != WEB or handover.client_id is None:
        return
    own = threads.read_thread(tx, threads.thread_of_client(tx, handover.client_id, now))
    if own is not None and own.consent.service and own.consent.reachable:
        key = f"{draft.dedupe_key}:text"
        outbox.enqueue(tx, replace(draft, thread_id=own.id, consent=outbox.SERVICE, dedupe_key=key), now)


def _settle(tx: Transaction, handover: Handover, now: datetime) -> None:
    threads.give_back(tx, handover.thread_id)
    asked = asked_in(tx, handover.id)
    if asked is not None:
        messages.mark_handled(tx, asked.id, now)
