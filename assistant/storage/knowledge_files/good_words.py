"""Common English and Spanish words, so that a good word is never 'repaired' into a term of the trade."""

from __future__ import annotations

import gzip
import json
from functools import lru_cache
from importlib import resources

OFTEN_ENOUGH = {"en": 60, "es": 60}
"""How often the package's corpus must have seen a word: rarer entries hold many misspellings."""


@lru_cache(maxsize=1)
def good_words() -> frozenset[str]:
    """Words of both languages in plain ASCII-or-ñ form, from the word lists that pyspellchecker ships."""
    found: set[str] = set()
    for language, least in OFTEN_ENOUGH.items():
        packed = (resources.files("spellchecker") / "resources" / f"{language}.json.gz").read_bytes()
        counts: dict[str, int] = json.loads(gzip.decompress(packed))
        found.update(_plain(word) for word, count in counts.items() if count >= least)
    return frozenset(found)


_ACCENTS = str.maketrans("áéíóúüàèìòùâêîôû'", "aeiouuaeiouaeiou ")


def _plain(word: str) -> str:
    return word.lower().translate(_ACCENTS).replace(" ", "")
