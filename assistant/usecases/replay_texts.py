"""Old texts, read with two states of knowledge: what would be understood otherwise, and whether anybody loses the answer
that protects them."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from assistant.assembly import Assistant
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Consent
from assistant.domain.understanding.reading import Reading
from assistant.packaged import packaged
from assistant.storage.lists import handover_texts

OF_A_TOPIC, OF_A_SAFETY_TOPIC = 1, 2
"""Phrasings of a topic that are read again."""
MOST_HANDOVERS, MOST_TEXTS = 200, 1200
"""Texts read again for one trial: each is read twice, a few milliseconds each time."""


@dataclass(frozen=True, slots=True)
class Changed:
    """A text that would be read otherwise: topics before and after. `safety`: it would lose its safety answer."""

    text: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    safety: bool


def old_texts(app: Assistant) -> dict[str, bool]:
    """Texts to read again: what people had to answer, some of all phrasings, and the development set of a checkout.

    Each with whether it must keep its safety answer. A text that was only mistaken for a danger need not.
    """
    with app.database.reading(app.business.id) as tx:
        found = dict(handover_texts(tx, MOST_HANDOVERS))
    for answers in app.knowledge.answers.values():
        for answer in answers.values():
            count = OF_A_SAFETY_TOPIC if answer.safety else OF_A_TOPIC
            found |= dict.fromkeys(answer.phrasings[:count], answer.safety)
    written = list(_development_set(app.knowledge))
    spread = max(1, -(-len(written) // max(1, MOST_TEXTS - len(found))))
    return found | dict(written[::spread])


def read_otherwise(app: Assistant, new: Knowledge, texts: Mapping[str, bool]) -> Iterator[Changed]:
    """Every text that `new` reads otherwise than what is in use."""
    nobody, old = Situation(app.business, "", None, Consent()), app.knowledge
    for text, protected in texts.items():
        before, after = app.read(text, nobody, old), app.read(text, nobody, new)
        topics = _topics(before), _topics(after)
        if topics[0] != topics[1] or before.safety != after.safety:
            yield Changed(text, *topics, safety=protected and bool(before.safety) and not after.safety)


def _development_set(knowledge: Knowledge) -> Iterator[tuple[str, bool]]:
    """The texts of tests/development, where the program runs from a checkout; `topics` lists the readings accepted."""
    for path in sorted((packaged("knowledge").parent / "tests" / "development").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                accepted = [topics.split("+") for topics in (row.get("topics") or "").split(";")]
                if row.get("text"):
                    yield row["text"], all(any(_is_safety(one, knowledge) for one in topics) for topics in accepted)


def _is_safety(topic: str, knowledge: Knowledge) -> bool:
    answer = knowledge.answer(topic.strip(), "en")
    return answer is not None and answer.safety


def _topics(reading: Reading) -> tuple[str, ...]:
    """What a text was read as, whatever led the reading."""
    if reading.keyword:
        return (reading.keyword.value,)
    if reading.safety or reading.opt_out:
        return (reading.safety or "opt_out",)
    return tuple(ask.topic for ask in reading.asks)
