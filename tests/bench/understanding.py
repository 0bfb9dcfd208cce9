"""How well texts are understood: `python -m tests.bench.understanding`.

Over the development set: right, abstained, wrong, dangerously wrong; certainty expected against actual; and, on the
same rows, topics by a rapidfuzz best match and by BM25 over all phrasings, at equal coverage, with latency beside it.
"""

from __future__ import annotations

import math
import resource
import statistics
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path

from rapidfuzz import fuzz, process

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.text import fold, tokens
from assistant.packaged import packaged
from assistant.storage.knowledge_files import read_knowledge
from tests.development.replay import Row, Scored, replay_all, right

Ranked = Callable[[str], tuple[str, float]]
"""A text -> (topic, score)."""


def phrasings(knowledge: Knowledge) -> list[tuple[str, str]]:
    """Every phrasing, folded, with its topic."""
    return [
        (fold(text), answer.topic)
        for answers in knowledge.answers.values() for answer in answers.values() for text in answer.phrasings
    ]  # fmt: skip


def rapidfuzz_match(known: Sequence[tuple[str, str]]) -> Ranked:
    """The topic of the phrasing with the best token set ratio."""
    texts = [text for text, _ in known]

    def rank(text: str) -> tuple[str, float]:
        _, score, place = process.extractOne(fold(text), texts, scorer=fuzz.token_set_ratio)
        return known[place][1], score

    return rank


def bm25_match(known: Sequence[tuple[str, str]], k1: float = 1.2, b: float = 0.75) -> Ranked:
    """The topic of the phrasing with the best Okapi BM25 score (Robertson and Zaragoza 2009)."""
    documents = [[token.word for token in tokens(text)] for text, _ in known]
    mean = statistics.mean(map(len, documents))
    postings: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for place, document in enumerate(documents):
        for word, count in Counter(document).items():
            postings[word].append((place, count))
    idf = {w: math.log(1 + (len(documents) - len(p) + 0.5) / (len(p) + 0.5)) for w, p in postings.items()}
    room = [k1 * (1 - b + b * len(document) / mean) for document in documents]

    def rank(text: str) -> tuple[str, float]:
        scores: dict[int, float] = defaultdict(float)
        for token in tokens(fold(text)):
            for place, count in postings.get(token.word, ()):
                scores[place] += idf[token.word] * count * (k1 + 1) / (count + room[place])
        if not scores:
            return "", 0.0
        best = max(scores, key=scores.__getitem__)
        return known[best][1], scores[best]

    return rank


def topic_is_right(row: Row, topic: str) -> bool:
    """A single topic against the accepted readings; all out-of-scope topics count as one."""
    wanted = {one for accepted in row.topics for one in accepted}
    return topic in wanted or (topic.startswith("oos_") and any(one.startswith("oos_") for one in wanted))


def at_coverage(pairs: Sequence[tuple[float, bool]], share: float) -> float:
    """Share right among the most certain `share` of rows."""
    best = sorted(pairs, key=lambda pair: -pair[0])[: max(1, round(share * len(pairs)))]
    return sum(good for _, good in best) / len(best)


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        knowledge = read_knowledge(packaged("knowledge"), Path(folder))
        cold = time.perf_counter() - begun
        begun = time.perf_counter()
        knowledge = read_knowledge(packaged("knowledge"), Path(folder))
        warm = time.perf_counter() - begun
    scored = replay_all(knowledge)
    _outcomes(scored)
    _calibration(scored)
    _side_by_side(scored, knowledge)
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\nknowledge read and fitted {cold:.1f} s, from cache {warm:.1f} s; peak memory {used:.0f} MB (fitting included)")


def _outcomes(scored: Sequence[Scored]) -> None:
    print(f"{'set':10} {'rows':>5} {'right':>7} {'abstained':>10} {'wrong':>7} {'dangerous':>10}")
    files = sorted({one.row.file for one in scored})
    for name, part in [*((file, [s for s in scored if s.row.file == file]) for file in files), ("all", scored)]:
        good = sum(map(right, part))
        silent = sum(one.abstained and not right(one) for one in part)
        danger = sum(one.dangerous for one in part)
        print(f"{name:10} {len(part):5} {good / len(part):7.1%} {silent / len(part):10.1%} "
              f"{(len(part) - good - silent) / len(part):7.1%} {danger:10}")  # fmt: skip


def _calibration(scored: Sequence[Scored]) -> None:
    print("\ncertainty  rows  expected  actual")
    bins: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for one in scored:
        if not one.abstained:
            bins[min(9, int(one.certainty * 10))].append((one.certainty, "topic" not in one.faults))
    for place in sorted(bins):
        part = bins[place]
        expected, actual = statistics.mean(c for c, _ in part), sum(good for _, good in part) / len(part)
        print(f"{place / 10:.1f}-{place / 10 + 0.1:.1f} {len(part):8} {expected:9.1%} {actual:7.1%}")


def _side_by_side(scored: Sequence[Scored], knowledge: Knowledge) -> None:
    single = [one for one in scored if not one.row.context and all(len(accepted) == 1 for accepted in one.row.topics)]
    known = phrasings(knowledge)
    print(f"\ntopic right on {len(single)} single questions    all   at 80%  at 60%   median ms")
    ours = [(one.certainty * (0.1 if one.abstained else 1), "topic" not in one.faults) for one in single]
    _line("reading and deciding", ours, [one.elapsed_ms for one in single])
    for name, rank in (("rapidfuzz token set", rapidfuzz_match(known)), ("BM25", bm25_match(known))):
        pairs, spent = [], []
        for one in single[::3]:
            begun = time.perf_counter()
            topic, score = rank(one.row.text)
            spent.append((time.perf_counter() - begun) * 1000)
            pairs.append((score, topic_is_right(one.row, topic)))
        _line(name, pairs, spent)


def _line(name: str, pairs: Sequence[tuple[float, bool]], spent: Sequence[float]) -> None:
    shares = "  ".join(f"{at_coverage(pairs, share):6.1%}" for share in (1.0, 0.8, 0.6))
    print(f"{name:34} {shares} {statistics.median(spent):9.2f}")


if __name__ == "__main__":
    main()
