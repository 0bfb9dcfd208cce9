"""What a person could answer to a text that was handed over: from what was taught, and from the answers that come
nearest to how the text was read. Only suggestions; a person sends them or not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from rapidfuzz import fuzz

from assistant.assembly import Assistant
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.conversation.values import answer_text
from assistant.domain.knowledge import Answer
from assistant.storage.database import Transaction
from assistant.storage.handovers import Handover, all_taught
from assistant.storage.situations import load_situation
from assistant.storage.threads import read_thread

MOST = 3
ALIKE = 80
"""How alike (0 to 100, words in any order) a taught question must be to be suggested."""
OUT_OF_SCOPE = frozenset({"oos", "out_of_scope"})


@dataclass(frozen=True, slots=True)
class Suggestion:
    """An answer ready to send, the topic it comes from (empty: taught without one), and what that is called."""

    topic: str
    title: str
    text: str


def suggest(app: Assistant, tx: Transaction, handover: Handover, now: datetime) -> tuple[Suggestion, ...]:
    """At most three answers, the likeliest first, in the client's language."""
    found = {one.text: one for one in (*_taught(tx, handover.question), *_from_answers(app, tx, handover, now))}
    return tuple(found.values())[:MOST]


def _taught(tx: Transaction, question: str) -> Iterator[Suggestion]:
    scored = [(fuzz.token_set_ratio(question.lower(), row.question.lower()), row) for row in all_taught(tx)]
    for score, row in sorted(scored, key=lambda pair: -pair[0]):
        if question and score >= ALIKE:
            yield Suggestion(row.topic, f"answered by {row.taught_by} before", row.answer)


def _from_answers(app: Assistant, tx: Transaction, handover: Handover, now: datetime) -> Iterator[Suggestion]:
    thread = read_thread(tx, handover.thread_id)
    if thread is None or not handover.question:
        return
    message = InboundMessage("", thread.phone, app.business.number, handover.question, channel=thread.channel)
    situation = load_situation(tx, app.business, message, now, app.settings.public_url)
    reading = app.read(handover.question, situation, app.knowledge)
    scene = Scene(situation, app.knowledge, now, reading.language)
    for ask in reading.asks:
        for topic in (ask.topic, ask.runner_up):
            answer = app.knowledge.answer(topic, reading.language)
            if answer is not None and _may_be_suggested(answer):
                vessel = scene.vessel(ask.vessel_id)
                try:
                    text = answer_text(answer, scene, vessel, ask)
                except KeyError:  # the answer speaks of something that this client's records do not hold
                    continue
                yield Suggestion(topic, answer.title, text)


def _may_be_suggested(answer: Answer) -> bool:
    """Not the answers that only say that a person will answer."""
    return answer.handover == "never" and answer.group not in OUT_OF_SCOPE
