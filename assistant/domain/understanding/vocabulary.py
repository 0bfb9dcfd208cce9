"""Spotting the trade's terms in a text, and repairing slips against the knowledge's own words.

Exact phrases win over repairs; a good English or Spanish word is never turned into a term; look-alikes
(look_alikes.csv) override everything.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import process
from rapidfuzz.distance import OSA

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.reading import Spotted
from assistant.domain.understanding.text import Token, fold, tokens

LONGEST_PHRASE = 6
Term = tuple[str, str]
"""(kind, id)"""


@dataclass(frozen=True)
class Vocabulary:
    """Phrases -> terms, shorthand -> plain words, and the words that repairs may aim at (by length)."""

    phrases: Mapping[tuple[str, ...], tuple[Term, ...]]
    shorthand: Mapping[str, tuple[str, ...]]
    targets: Mapping[int, tuple[str, ...]]
    frequency: Mapping[str, int]
    language_words: Mapping[str, frozenset[str]]
    good: frozenset[str]

    def repair(self, found: Sequence[Token]) -> list[Token]:
        """The tokens with shorthand written out and slips mended."""
        mended: list[Token] = []
        for token in found:
            plain = self.shorthand.get(token.word)
            if plain:
                mended.extend(Token(word, token.begin, token.end, token.typed) for word in plain)
            else:
                mended.append(Token(self._mend(token.word), token.begin, token.end, token.typed))
        return mended

    def knows(self, word: str) -> bool:
        """A word of the knowledge, a good word, shorthand, or a slip of one of them."""
        return word in self.frequency or word in self.good or word in self.shorthand or self._mend(word) != word

    def spelled_out(self, folded: str) -> str:
        """The folded text with shorthand written out and nothing else changed."""
        return re.sub(r"[a-z0-9']+", lambda found: " ".join(self.shorthand.get(found[0], (found[0],))), folded)

    def _mend(self, word: str) -> str:
        if len(word) < 3 or word in self.frequency or word in self.good or any(char.isdigit() for char in word):
            return word
        return _nearest(self, word) or word

    def spot(self, found: Sequence[Token], folded: str) -> list[Spotted]:
        """Terms, longest phrase first, not overlapping, in order of place; negations marked."""
        taken = [False] * len(found)
        hits: list[Spotted] = []
        for size in range(min(LONGEST_PHRASE, len(found)), 0, -1):
            for start in range(len(found) - size + 1):
                if any(taken[start : start + size]):
                    continue
                words = tuple(token.word for token in found[start : start + size])
                terms = self.phrases.get(words)
                if terms is None:
                    continue
                taken[start : start + size] = [True] * size
                hits.extend(_spotted(terms, found[start : start + size], folded))
        return sorted(hits, key=lambda hit: (hit.begin, hit.end))


def _spotted(terms: Iterable[Term], part: Sequence[Token], folded: str) -> Iterator[Spotted]:
    begin, end = part[0].begin, part[-1].end
    exact = all(token.word == token.typed for token in part)
    negated = is_negated(folded, begin, end)
    for kind, id in terms:
        if kind != "nothing":
            yield Spotted(kind, id, folded[begin:end], begin, end, exact, negated)


_NO_BEFORE = re.compile(
    r"\b(?:no|non|without|w/o|instead of|in place of|rather than|safer than|better than|than regular|same as|similar to|is that like|not using|never used?|free of|zero|minus|sin|en vez de|"
    r"en lugar de|nada de|not)(?:\s+(?:any|the|a|an|using|use|el|la|los|las|usar|un|una))?[\s-]+$"
)
_NO_LIST_BEFORE = re.compile(
    r"\b(?:free of|free from|without|no|sin|libre de)\s+(?:[\w-]+\s*(?:,|and|or|nor|y|o|ni|no|without)\s*){1,4}$"
)
_FREE_AFTER = re.compile(r"^[\s-]*(?:free|less)\b")
_NOT_A_NEGATION = re.compile(r"\b(?:why not|no problem|whether or not|if not)\s+$")


def is_negated(folded: str, begin: int, end: int) -> bool:
    """'bleach-free', 'no ammonia', 'instead of vinegar': the term is named but not meant."""
    before = folded[max(0, begin - 48) : begin]
    if _NO_LIST_BEFORE.search(before):
        return True
    if _FREE_AFTER.match(folded[end : end + 8]):
        return True
    return bool(_NO_BEFORE.search(before)) and not _NOT_A_NEGATION.search(before)


@lru_cache(maxsize=20_000)
def _distance_allowed(length: int) -> int:
    return 1 if length < 8 else 2


def _nearest(vocabulary: Vocabulary, word: str) -> str | None:
    """The vocabulary word this one is a slip of: fewest edits, then first letter kept, then most used."""
    allowed = _distance_allowed(len(word))
    best: tuple[int, bool, int, str] | None = None
    for length in range(len(word) - 1, len(word) + 2):
        for candidate, distance, _ in process.extract(
            word, vocabulary.targets.get(length, ()), scorer=OSA.distance, score_cutoff=allowed, limit=5
        ):
            if len(word) == 3 and sorted(word) != sorted(candidate):
                continue
            rank = (int(distance), candidate[0] != word[0], -vocabulary.frequency.get(candidate, 0), candidate)
            best = min(best, rank) if best else rank
    return best[3] if best else None


def build_vocabulary(knowledge: Knowledge, good: frozenset[str] = frozenset()) -> Vocabulary:
    """All terms of the tables in both languages, and the words of all phrasings."""
    phrases: dict[tuple[str, ...], list[Term]] = {}
    for kind, id, said in _everything_said(knowledge):
        for form in _forms(said):
            terms = phrases.setdefault(form, [])
            if (kind, id) not in terms:
                terms.append((kind, id))
    for alike in knowledge.look_alikes:
        phrases[_words(alike.word)] = _look_alike_terms(alike.means, knowledge)
    frequency, by_language = _phrasing_words(knowledge)
    for form in phrases:
        for word in form:
            frequency[word] += 3
    targets: dict[int, list[str]] = {}
    for word in frequency:
        if len(word) >= 3 and (frequency[word] > 1 or word in good):
            targets.setdefault(len(word), []).append(word)
    return Vocabulary(
        phrases={form: tuple(terms) for form, terms in phrases.items()},
        shorthand=_shorthand(knowledge),
        targets={length: tuple(sorted(words)) for length, words in targets.items()},
        frequency=dict(frequency),
        language_words=by_language,
        good=good,
    )


def _everything_said(knowledge: Knowledge) -> Iterator[tuple[str, str, str]]:
    tables = (("substance", knowledge.substances), ("surface", knowledge.surfaces), ("soil", knowledge.soils),
              ("coating", knowledge.coatings))  # fmt: skip
    for kind, table in tables:
        for id, row in table.items():
            for said in (*row.say.values(), tuple(row.name.values())):
                yield from ((kind, id, phrase) for phrase in said if phrase)
    for kind, ids in knowledge.words.items():
        if kind != "shorthand":
            for id, languages in ids.items():
                yield from ((kind, id, phrase) for said in languages.values() for phrase in said)


def _words(phrase: str) -> tuple[str, ...]:
    return tuple(token.word for token in tokens(fold(phrase)))


def _forms(phrase: str) -> Iterator[tuple[str, ...]]:
    """The phrase and its plain plural or singular."""
    words = _words(phrase)
    if not words or len(words) > LONGEST_PHRASE:
        return
    yield words
    last = words[-1]
    if last.endswith("s") and len(last) > 3:
        if not last.endswith("ss"):
            yield (*words[:-1], last[:-1])
    elif len(last) > 2:
        yield (*words[:-1], last + ("es" if last.endswith(("sh", "ch", "x")) else "s"))


def _look_alike_terms(means: str, knowledge: Knowledge) -> list[Term]:
    if means == "nothing":
        return [("nothing", "")]
    if means.startswith("ask"):
        return [("unclear", means.partition(":")[2].strip())]
    tables = (("substance", knowledge.substances), ("soil", knowledge.soils), ("surface", knowledge.surfaces))
    return [(kind, means) for kind, table in tables if means in table] or [("nothing", "")]


def _shorthand(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    return {
        word: _words(plain)
        for plain, languages in knowledge.words.get("shorthand", {}).items()
        for said in languages.values()
        for phrase in said
        for word in [fold(phrase)]
    }


def _phrasing_words(knowledge: Knowledge) -> tuple[Counter[str], dict[str, frozenset[str]]]:
    frequency: Counter[str] = Counter()
    by_language = {}
    for language, answers in knowledge.answers.items():
        counted = Counter(word for answer in answers.values() for text in answer.phrasings for word in _words(text))
        frequency.update(counted)
        by_language[language] = frozenset(counted)
    return frequency, by_language
