"""Texts as tokens with their places: folding that keeps lengths, clauses, and the language of a text."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

_TOKEN = re.compile(r"[a-z0-9ñ]+(?:'[a-z]+)?|[?!]")
_STRAIGHT = str.maketrans({"\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u2013": "-", "\u2014": "-",
                           "`": "'", "\u00a0": " "})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Token:
    """A word with its place in the folded text. `word` may be repaired; `typed` is what stood there."""

    word: str
    begin: int
    end: int
    typed: str


def fold(text: str) -> str:
    """Lower case, straight quotes, accents off (ñ stays); every character keeps its place."""
    return unicodedata.normalize("NFC", text).translate(_FOLDED)


class _Folded(dict[int, str]):
    """Character -> its folded form, worked out once per character met."""

    def __missing__(self, code: int) -> str:
        lower = chr(code).translate(_STRAIGHT).lower()
        base = lower if lower == "ñ" else unicodedata.normalize("NFD", lower)[:1]
        self[code] = base if len(base) == 1 else " "
        return self[code]


_FOLDED = _Folded()


def tokens(folded: str) -> list[Token]:
    """Words of a folded text; apostrophes inside words are dropped from the word (don't -> dont)."""
    found = []
    for match in _TOKEN.finditer(folded):
        word = match[0].replace("'", "")
        if word not in {"?", "!"}:
            found.append(Token(word, match.start(), match.end(), word))
    return found


_BREAK = re.compile(
    r"[.!?;\n]+(?=\s|$)|\n+|,?\s+(?:and|also|but|plus|y|pero|tambien)\s+(?=(?:also\s+|then\s+)?(?:can|could|how|what|"
    r"when|where|which|is|are|do|does|did|should|will|would|may|who|why|puedo|podemos|como|que|cuando|cuanto|donde|"
    r"cual|es|debo|hay)\b)|,\s+(?=(?:can i|could i|how|what|when|is it|should i|puedo|como|cuando|que)\b)|(?<=\?)\s*"
)


@dataclass(frozen=True, slots=True)
class Clause:
    """A stretch of the folded text that may hold one question or one report."""

    begin: int
    end: int
    text: str
    question: bool


_QUESTION = re.compile(
    r"\?|^(?:\W*(?:hi|hey|hello|ok|so|also|and|btw|quick question|question|hola|oye|buenas)\b[\s,:]*)*"
    r"(?:can|could|may|should|shall|would|will|is|are|was|do|does|did|how|what|whats|when|where|which|who|why|any|"
    r"puedo|podemos|se puede|puede|como|que|cuando|cuanto|cuantas|cuantos|donde|cual|es|debo|hay|sirve|conviene)\b"
)


def clauses(folded: str) -> list[Clause]:
    """The text cut at sentence ends and before further questions. Never empty for a text with words."""
    found, begin = [], 0
    for match in _BREAK.finditer(folded):
        if match.end() > begin:
            found.append(_clause(folded, begin, match.end()))
        begin = max(begin, match.end())
    if begin < len(folded):
        found.append(_clause(folded, begin, len(folded)))
    return [clause for clause in found if re.search(r"\w", clause.text)]


def _clause(folded: str, begin: int, end: int) -> Clause:
    text = folded[begin:end].strip()
    return Clause(begin, end, text, bool(_QUESTION.search(text)))
