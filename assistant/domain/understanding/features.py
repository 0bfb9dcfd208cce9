"""What the topic model sees of a text: words, word pairs, letter groups, and the kinds of the terms spotted.

The kinds (a substance of this class, some soil, some surface) let one phrasing teach all others of its shape. Each
feature is a 32-bit hash (CRC-32: the same everywhere and at every start) with a weight; a text is a set of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from zlib import crc32

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.reading import Spotted
from assistant.domain.understanding.text import Token

WORD, PAIR, LETTERS, KIND = 1.0, 1.0, 0.6, 0.7
"""Weights of the four families, chosen on held-out phrasings."""
LETTER_GROUPS = (3, 4, 5)
Features = dict[int, float]
"""Feature hash -> weight; repeats count once (presence, not frequency: texts are short)."""


def features(found: Sequence[Token], spotted: Sequence[Spotted], classes: Mapping[str, str]) -> Features:
    """The features of a text; `classes` names the class of a substance or soil id."""
    shaped = _shape(found, spotted)
    words = [token.word for token in found]
    seen: Features = {}
    for word in words:
        seen.update(_word_features(word))
    seen.update((_pair("p", a, b), PAIR) for a, b in zip(("^", *words), (*words, "$"), strict=True))
    seen.update((_pair("s", a, b), PAIR) for a, b in zip(("^", *shaped), (*shaped, "$"), strict=True))
    seen.update((_triple(a, b, c), PAIR) for a, b, c in zip(shaped, shaped[1:], shaped[2:], strict=False))
    for term in spotted:
        seen.update(_term_features(term.negated, term.kind, term.id, classes.get(term.id, "")))
    return seen


@lru_cache(maxsize=100_000)
def _word_features(word: str) -> tuple[tuple[int, float], ...]:
    padded = f"_{word}_"
    groups = {padded[i : i + size] for size in LETTER_GROUPS for i in range(len(padded) - size + 1)}
    return ((_key(f"w {word}"), WORD), *((_key(f"c {group}"), LETTERS) for group in groups))


@lru_cache(maxsize=100_000)
def _pair(family: str, a: str, b: str) -> int:
    return _key(f"{family} {a} {b}")


def _triple(a: str, b: str, c: str) -> int:
    return _key(f"t {a} {b} {c}")


@lru_cache(maxsize=5_000)
def _term_features(negated: bool, kind: str, id: str, named_class: str) -> tuple[tuple[int, float], ...]:
    sign = "no" if negated else "is"
    names = [f"k {sign} {kind}", f"i {sign} {kind} {id}", *([f"l {sign} {named_class}"] if named_class else [])]
    return tuple((_key(name), KIND) for name in names)


def _key(feature: str) -> int:
    return crc32(feature.encode())


def _shape(found: Sequence[Token], spotted: Sequence[Spotted]) -> list[str]:
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
