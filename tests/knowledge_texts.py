"""Every text of knowledge/ that a client may read, with its place: for tests that hold for all of them."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.domain.knowledge import Knowledge


def client_texts(knowledge: Knowledge, language: str) -> Iterator[tuple[str, str]]:
    """(place, text) of answers with their short forms and variants, nudges, and sentences, in one language."""
    for topic, answer in knowledge.answers[language].items():
        yield f"answers/{language}/{topic}.md", answer.text
        yield f"answers/{language}/{topic}.md short", answer.short
        yield from ((f"answers/{language}/{topic}.md when {when}", text) for when, text in answer.variants)
    for kind, nudge in knowledge.nudges[language].items():
        yield f"nudges/{language}/{kind}.md", nudge.text
        yield from ((f"nudges/{language}/{kind}.md when {when}", text) for when, text in nudge.variants)
    for id, text in knowledge.wording[language].items():
        yield f"wording/{language}.csv {id}", text
