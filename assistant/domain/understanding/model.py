"""The topic model: multinomial logistic regression over word and letter features, one model a language.

It begins at the class centroids (already a fair classifier, for free) and takes a few momentum steps of full-batch
gradient descent on the softmax loss: two seconds for fifteen thousand phrasings where a solver run to convergence takes
minutes, for a point of accuracy less. A tenth of the phrasings is held out of the first steps to find the temperature
that makes certainty honest; the last steps learn from all. Deterministic; under a millisecond a text.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from assistant.domain.knowledge import Coating, Knowledge, Soil, Substance, Surface
from assistant.domain.understanding.features import Features, features
from assistant.domain.understanding.text import fold, tokens

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

Floats = NDArray[np.float32]
LEAST_SEEN = 2
"""Features seen in fewer phrasings teach nothing that carries over."""
FIRST_STEPS, LAST_STEPS = 4, 3
RATE, MOMENTUM, DECAY, SPREAD = 1.5, 0.8, 0.002, 20.0
"""Step size, momentum, weight decay and the scale of the centroids, chosen on held-out phrasings."""
HELD_OUT = 10
VERSION = "8"


@dataclass(frozen=True)
class TopicModel:
    """Weights by feature and topic (half precision). `keys` are sorted 32-bit hashes of the features kept."""

    topics: tuple[str, ...]
    keys: NDArray[np.uint32]
    scale: Floats
    weights: NDArray[np.float16]
    sharpness: float

    ARRAYS: ClassVar[tuple[str, ...]] = ("topics", "keys", "scale", "weights", "sharpness")

    def probabilities(self, found: Features) -> Floats:
        """Certainty by topic, in the order of `topics`; sums to one."""
        return _softmax(self.scores(found) * self.sharpness)

    def scores(self, found: Features) -> Floats:
        """Raw scores by topic; all zero when no feature is known."""
        rows, values = self._vector(found)
        if len(rows) == 0:
            return np.zeros(len(self.topics), np.float32)
        scored: Floats = values @ self.weights[rows].astype(np.float32)
        return scored

    def _vector(self, found: Features) -> tuple[NDArray[np.intp], Floats]:
        if not found:
            return np.empty(0, np.intp), np.empty(0, np.float32)
        keys = np.fromiter(found.keys(), np.uint32, len(found))
        values = np.fromiter(found.values(), np.float32, len(found))
        places = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        known = self.keys[places] == keys
        rows, values = places[known], values[known] * self.scale[places[known]]
        norm = float(np.sqrt(values @ values)) or 1.0
        return rows, values / np.float32(norm)

    def to_arrays(self) -> dict[str, NDArray[np.generic]]:
        """Plain arrays for the cache."""
        return {
            "topics": np.array(self.topics), "keys": self.keys, "scale": self.scale, "weights": self.weights,
            "sharpness": np.array([self.sharpness]),
        }  # fmt: skip

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[np.generic]]) -> TopicModel:
        """The model from the cache's arrays."""
        return cls(
            topics=tuple(str(topic) for topic in arrays["topics"]),
            keys=arrays["keys"].astype(np.uint32),
            scale=arrays["scale"].astype(np.float32),
            weights=arrays["weights"].astype(np.float16),
            sharpness=float(arrays["sharpness"][0]),
        )


def training_stamp(knowledge: Knowledge) -> str:
    """Names everything that the fit depends on: phrasings, spoken terms and this code's version."""
    digest = hashlib.sha256(VERSION.encode())
    for language, answers in sorted(knowledge.answers.items()):
        for topic, answer in sorted(answers.items()):
            digest.update(repr((language, topic, answer.phrasings)).encode())
    rows: list[Substance | Surface | Soil | Coating] = [*knowledge.substances.values(), *knowledge.surfaces.values(), *knowledge.soils.values(), *knowledge.coatings.values()]
    for row in rows:
        digest.update(repr((row.id, sorted(row.say.items()), sorted(row.name.items()))).encode())
    digest.update(repr(knowledge.look_alikes).encode())
    return digest.hexdigest()[:20]


def fit_language(knowledge: Knowledge, language: str) -> TopicModel:
    """The model of one language's phrasings."""
    texts, labels = training_texts(knowledge, language)
    return fit(text_features(knowledge, texts), labels)


def training_texts(knowledge: Knowledge, language: str) -> tuple[list[str], list[str]]:
    """Every phrasing of a language with its topic."""
    pairs = [(text, answer.topic) for answer in knowledge.answers[language].values() for text in answer.phrasings]
    return [text for text, _ in pairs], [topic for _, topic in pairs]


def text_features(knowledge: Knowledge, texts: Sequence[str]) -> list[Features]:
    """Features of each text, spelled and spotted as a client's text would be."""
    vocabulary = knowledge.vocabulary
    assert vocabulary is not None
    out = []
    for text in texts:
        folded = fold(text)
        found = vocabulary.repair(tokens(folded))
        out.append(features(found, vocabulary.spot(found, folded), knowledge.classes))
    return out


def fit(vectors: Sequence[Features], labels: Sequence[str]) -> TopicModel:
    """Fit on hashed feature vectors and their topics."""
    topics = tuple(sorted(set(labels)))
    index = {topic: i for i, topic in enumerate(topics)}
    y = np.array([index[label] for label in labels])
    keys, scale, x = _matrix(vectors)
    held = np.arange(len(y)) % HELD_OUT == HELD_OUT - 1
    weights, speed = _centroids(x[~held], y[~held], len(topics)), None
    weights, speed = _descend(x[~held], y[~held], weights, speed, FIRST_STEPS)
    sharpness = _sharpness(x[held] @ weights, y[held])
    weights, _ = _descend(x, y, weights, speed, LAST_STEPS)
    return TopicModel(topics, keys, scale, weights.astype(np.float16), sharpness)


def _matrix(vectors: Sequence[Features]) -> tuple[NDArray[np.uint32], Floats, csr_matrix]:
    """Feature hashes kept, their inverse document weights, and the unit rows of the phrasings."""
    from scipy.sparse import csr_matrix, diags

    lengths = np.array([len(vector) for vector in vectors])
    hashes = np.fromiter((key for vector in vectors for key in vector), np.uint32, int(lengths.sum()))
    values = np.fromiter((value for vector in vectors for value in vector.values()), np.float32, len(hashes))
    keys, columns, counts = np.unique(hashes, return_inverse=True, return_counts=True)
    keep = counts >= LEAST_SEEN
    scale = np.log((1 + len(vectors)) / (1 + counts)).astype(np.float32)
    x = csr_matrix((values * scale[columns], columns, np.concatenate([[0], np.cumsum(lengths)])), dtype=np.float32)
    x = x[:, keep]
    norms = np.sqrt(np.asarray(x.multiply(x).sum(axis=1)).ravel())
    return keys[keep], scale[keep], (diags((1 / np.maximum(norms, 1e-9)).astype(np.float32)) @ x).tocsr()


def _centroids(x: csr_matrix, y: NDArray[np.intp], topics: int) -> Floats:
    from scipy.sparse import csr_matrix

    member = csr_matrix((np.ones(len(y), np.float32), (np.arange(len(y)), y)), shape=(len(y), topics))
    sums = np.asarray((x.T @ member).todense(), np.float32)
    unit: Floats = sums / np.maximum(np.linalg.norm(sums, axis=0), 1e-9) * np.float32(SPREAD)
    return unit


def _descend(
    x: csr_matrix, y: NDArray[np.intp], weights: Floats, speed: Floats | None, steps: int
) -> tuple[Floats, Floats]:
    """Full-batch momentum steps on the softmax loss."""
    speed = np.zeros_like(weights) if speed is None else speed
    across = x.T.tocsr()
    for _ in range(steps):  # in place: these are the largest arrays of the program
        error = _softmax(np.asarray(x @ weights))
        error[np.arange(len(y)), y] -= 1
        step = np.asarray(across @ error)
        step *= RATE
        speed *= MOMENTUM
        speed -= step
        np.multiply(weights, 1 - DECAY, out=weights)
        weights += speed
    return weights, speed


def _sharpness(scores: Floats, y: NDArray[np.intp]) -> float:
    """The softmax temperature (inverse) that makes held-out certainty honest: least negative log likelihood."""
    candidates = np.geomspace(0.2, 5, 40)
    losses = [-np.log(np.maximum(_softmax(scores * s)[np.arange(len(y)), y], 1e-9)).mean() for s in candidates]
    return float(candidates[int(np.argmin(losses))]) if len(y) else 1.0


def _softmax(scores: Floats) -> Floats:
    shifted: Floats = scores - scores.max(axis=-1, keepdims=True)
    np.exp(shifted, out=shifted)
    shifted /= shifted.sum(axis=-1, keepdims=True)
    return shifted
