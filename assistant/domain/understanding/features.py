"""What the topic model sees of a text: words, word pairs, letter groups, and the kinds of the terms spotted.

The kinds (a substance of this class, some soil, some surface) let one phrasing teach all others of its shape.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.reading import Spotted
from assistant.domain.understanding.text import Token

WORD, PAIR, LETTERS, KIND = 1.0, 1.0, 0.6, 0.7
"""Weights of the four families, chosen on held-out phrasings."""


def features(found: Sequence[Token], spotted: Sequence[Spotted], classes: Mapping[str, str]) -> Iterator[tuple[str, float]]:
    """(feature, weight) pairs; `classes` names the class of a substance or soil id."""
    shaped = _shape(found, spotted, classes)
    words = [token.word for token in found]
    yield from ((f"w {word}", WORD) for word in words)
    yield from ((f"p {a} {b}", PAIR) for a, b in zip(("^", *words), (*words, "$"), strict=True))
    yield from ((f"s {a} {b}", PAIR) for a, b in zip(("^", *shaped), (*shaped, "$"), strict=True))
    yield from ((f"t {a} {b} {c}", PAIR) for a, b, c in zip(shaped, shaped[1:], shaped[2:], strict=False))
    for word in words:
        padded = f"_{word}_"
        for size in (3, 4, 5):
            yield from ((f"c {padded[i : i + size]}", LETTERS) for i in range(len(padded) - size + 1))
    for term in spotted:
        sign = "no" if term.negated else "is"
        yield f"k {sign} {term.kind}", KIND
        yield f"i {sign} {term.kind} {term.id}", KIND
        if term.id in classes:
            yield f"l {sign} {classes[term.id]}", KIND


def _shape(found: Sequence[Token], spotted: Sequence[Spotted], classes: Mapping[str, str]) -> list[str]:
    """The words with each spotted term replaced by its kind: 'can i use <substance> on <surface>'."""
    starts = {term.begin: term for term in spotted if term.kind in {"substance", "soil", "surface", "coating"}}
    shaped: list[str] = []
    skip_to = -1
    for token in found:
        term = starts.get(token.begin)
        if term is not None:
            shaped.append(f"<{term.kind}>")
            skip_to = term.end
        elif token.begin >= skip_to:
            shaped.append(token.word)
    return shaped


def classes_of(knowledge: Knowledge) -> dict[str, str]:
    """Substance and soil id -> its class."""
    return {
        **{id: row.cls for id, row in knowledge.substances.items()},
        **{id: f"soil_{row.cls}" for id, row in knowledge.soils.items()},
    }
