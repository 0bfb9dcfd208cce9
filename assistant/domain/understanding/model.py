"""The topic model: a linear ridge classifier over the most telling features, fitted in closed form.

One linear system gives the weights, and the same factor gives every phrasing's score as if it had been left out
(leave-one-out residual y - f = (y - f_all) / (1 - h), h the leverage), so certainty is calibrated on held-out
scores without fitting twice. Deterministic; about a second for ten thousand phrasings; under a millisecond a text.
"""

from __future__ import annotations

import hashlib
import zlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.features import classes_of, features
from assistant.domain.understanding.text import fold, tokens

Floats = NDArray[np.float32]
SIZE = 5000
"""Features kept: enough to tell 200 topics apart, few enough to solve in a second."""
RIDGE = 1.0
VERSION = "3"


@dataclass(frozen=True)
class TopicModel:
    """Weights by feature and topic. `keys` are sorted 32-bit hashes of the features kept."""

    topics: tuple[str, ...]
    keys: NDArray[np.uint32]
    scale: Floats
    weights: Floats
    bias: Floats
    sharpness: float

    ARRAYS: ClassVar[tuple[str, ...]] = ("topics", "keys", "scale", "weights", "bias", "sharpness")

    def probabilities(self, found: Iterable[tuple[str, float]]) -> Floats:
        """Certainty by topic, in the order of `topics`; sums to one."""
        return _softmax(self.scores(found) * self.sharpness)

    def scores(self, found: Iterable[tuple[str, float]]) -> Floats:
        """Raw ridge scores (about 1 for the right topic, about 0 for the rest)."""
        rows, values = self._vector(found)
        if len(rows) == 0:
            return self.bias.copy()
        return values @ self.weights[rows] + self.bias

    def _vector(self, found: Iterable[tuple[str, float]]) -> tuple[NDArray[np.intp], Floats]:
        counted = hashed(found)
        if not counted:
            return np.empty(0, np.intp), np.empty(0, np.float32)
        keys = np.fromiter(counted.keys(), np.uint32, len(counted))
        values = np.fromiter(counted.values(), np.float32, len(counted))
        places = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        known = self.keys[places] == keys
        rows, values = places[known], values[known] * self.scale[places[known]]
        norm = float(np.sqrt(values @ values)) or 1.0
        return rows, values / np.float32(norm)

    def to_arrays(self) -> dict[str, NDArray[np.generic]]:
        """Plain arrays for the cache."""
        return {
            "topics": np.array(self.topics), "keys": self.keys, "scale": self.scale,
            "weights": self.weights.astype(np.float16), "bias": self.bias,
            "sharpness": np.array([self.sharpness]),
        }  # fmt: skip

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[np.generic]]) -> TopicModel:
        """The model from the cache's arrays."""
        return cls(
            topics=tuple(str(topic) for topic in arrays["topics"]),
            keys=arrays["keys"].astype(np.uint32),
            scale=arrays["scale"].astype(np.float32),
            weights=arrays["weights"].astype(np.float32),
            bias=arrays["bias"].astype(np.float32),
            sharpness=float(arrays["sharpness"][0]),  # type: ignore[arg-type]
        )


def hashed(found: Iterable[tuple[str, float]]) -> dict[int, float]:
    """Feature hash -> weight; repeats count once (presence, not frequency: texts are short)."""
    return {zlib.crc32(feature.encode()): weight for feature, weight in found}


def training_stamp(knowledge: Knowledge) -> str:
    """Names everything that the fit depends on: phrasings, spoken terms and this code's version."""
    digest = hashlib.sha256(VERSION.encode())
    for language, answers in sorted(knowledge.answers.items()):
        for topic, answer in sorted(answers.items()):
            digest.update(repr((language, topic, answer.phrasings)).encode())
    for table in (knowledge.substances, knowledge.surfaces, knowledge.soils, knowledge.coatings):
        for id, row in sorted(table.items()):
            digest.update(repr((id, sorted(row.say.items()), sorted(row.name.items()))).encode())
    digest.update(repr(knowledge.look_alikes).encode())
    return digest.hexdigest()[:20]


def fit_models(knowledge: Knowledge) -> dict[str, TopicModel]:
    """One model over all languages (Spanglish is common, the shape features are shared)."""
    if not any(knowledge.answers.values()):
        return {}
    texts, labels = training_texts(knowledge)
    return {"all": fit(text_features(knowledge, texts), labels)}


def training_texts(knowledge: Knowledge) -> tuple[list[str], list[str]]:
    """Every phrasing with its topic."""
    pairs = [
        (phrasing, answer.topic)
        for answers in knowledge.answers.values()
        for answer in answers.values()
        for phrasing in answer.phrasings
    ]
    return [text for text, _ in pairs], [topic for _, topic in pairs]


def text_features(knowledge: Knowledge, texts: Sequence[str]) -> list[dict[int, float]]:
    """Hashed features of each text, spelled and spotted as a client's text would be."""
    vocabulary, classes = knowledge.vocabulary, classes_of(knowledge)
    assert vocabulary is not None
    out = []
    for text in texts:
        folded = fold(text)
        found = vocabulary.repair(tokens(folded))
        out.append(hashed(features(found, vocabulary.spot(found, folded), classes)))
    return out


def fit(vectors: Sequence[Mapping[int, float]], labels: Sequence[str], size: int = SIZE, ridge: float = RIDGE) -> TopicModel:
    """Fit on feature vectors and their topics. Memory about 4 bytes x phrasings x `size` while fitting."""
    topics = tuple(sorted(set(labels)))
    index = {topic: i for i, topic in enumerate(topics)}
    y = np.array([index[label] for label in labels])
    keys, scale = _select(vectors, y, len(topics), size)
    x = _matrix(vectors, keys, scale)
    balance = np.sqrt(np.median(np.bincount(y)) / np.bincount(y))[y].astype(np.float32)
    targets = np.zeros((len(y), len(topics)), np.float32)
    targets[np.arange(len(y)), y] = 1.0
    bias = (targets * balance[:, None]).mean(axis=0) / balance.mean()
    weighted = x * balance[:, None]
    gram = weighted.T @ weighted
    gram[np.diag_indices_from(gram)] += np.float32(ridge)
    inverse = np.linalg.inv(gram)
    weights = inverse @ (weighted.T @ ((targets - bias) * balance[:, None]))
    left_out = _left_out_scores(x, balance, inverse, weights, bias, targets)
    return TopicModel(topics, keys, scale, weights.astype(np.float32), bias.astype(np.float32), _sharpness(left_out, y))


def _select(
    vectors: Sequence[Mapping[int, float]], y: NDArray[np.intp], classes: int, size: int
) -> tuple[NDArray[np.uint32], Floats]:
    """The features that tell most (seen at least twice; many times in few topics), and their inverse document weights."""
    seen: dict[int, defaultdict[int, int]] = {}
    for vector, label in zip(vectors, y, strict=True):
        for key in vector:
            seen.setdefault(key, defaultdict(int))[int(label)] += 1
    telling = []
    for key, counts in seen.items():
        total = sum(counts.values())
        if total > 1:
            telling.append((sum(n * n for n in counts.values()) / total * np.log(classes / len(counts) + 1.0), key))
    telling.sort(key=lambda pair: (-pair[0], pair[1]))
    keys = np.array(sorted(key for _, key in telling[:size]), np.uint32)
    frequency = np.array([sum(seen[int(key)].values()) for key in keys], np.float32)
    return keys, np.log((1 + len(vectors)) / (1 + frequency)).astype(np.float32)


def _matrix(vectors: Sequence[Mapping[int, float]], keys: NDArray[np.uint32], scale: Floats) -> Floats:
    place = {int(key): i for i, key in enumerate(keys)}
    x = np.zeros((len(vectors), len(keys)), np.float32)
    for row, vector in enumerate(vectors):
        for key, weight in vector.items():
            column = place.get(key)
            if column is not None:
                x[row, column] = weight * scale[column]
    norms = np.sqrt((x * x).sum(axis=1))
    x /= np.where(norms == 0, 1, norms)[:, None]
    return x


def _left_out_scores(
    x: Floats, balance: Floats, inverse: Floats, weights: Floats, bias: Floats, targets: Floats
) -> Floats:
    leverage = np.einsum("ij,ij->i", x @ inverse, x) * balance * balance
    fitted = x @ weights + bias
    room = np.clip(1 - leverage, 0.02, None)[:, None]
    left_out: Floats = targets - (targets - fitted) / room
    return left_out


def _sharpness(scores: Floats, y: NDArray[np.intp]) -> float:
    """The softmax temperature (inverse) that makes left-out certainty honest: least negative log likelihood."""
    candidates = np.geomspace(2, 60, 40)
    losses = [-np.log(np.maximum(_softmax(scores * s)[np.arange(len(y)), y], 1e-9)).mean() for s in candidates]
    return float(candidates[int(np.argmin(losses))])


def _softmax(scores: Floats) -> Floats:
    shifted = np.exp(scores - scores.max(axis=-1, keepdims=True))
    out: Floats = shifted / shifted.sum(axis=-1, keepdims=True)
    return out
