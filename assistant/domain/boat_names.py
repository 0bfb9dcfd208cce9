"""Which boat or client a person of the business means: by the boat's name, the owner's, or both, with slips."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz

from assistant.domain.understanding.text import fold

ALIKE = 84
"""Likeness (0..100) from which a mistyped name is taken; what was understood is always read back."""
LONGEST = 5
"""Words of a name that are tried at most."""


@dataclass(frozen=True, slots=True)
class Named:
    """A boat with its owner; `vessel_id` None for an owner without a boat."""

    client_id: int
    owner: str
    vessel_id: int | None = None
    vessel: str = ""

    @property
    def shown(self) -> str:
        """'Sea Thistle (Ana Reyes)'."""
        return f"{self.vessel} ({self.owner})" if self.vessel and self.owner else self.vessel or self.owner


@dataclass(frozen=True, slots=True)
class Found:
    """Who may be meant (none: nobody we know; several: all fit equally), and the words that follow the name."""

    who: tuple[Named, ...]
    rest: str


def find_name(words: str, known: Sequence[Named]) -> Found:
    """Read the name at the beginning of `words`: the longest exact one, else the most alike."""
    plain = fold(words)
    exact = [(len(key), one) for one in known for key in _keys(one) if _begins(plain, key)]
    if exact:
        length = max(size for size, _ in exact)
        who = tuple(dict.fromkeys(one for size, one in exact if size == length))
        return Found(who, words[length:].lstrip(" ,:;.-'"))
    return _alike(words, plain, known)


def _begins(plain: str, key: str) -> bool:
    return plain.startswith(key) and not plain[len(key) : len(key) + 1].isalnum()


def _keys(one: Named) -> Iterable[str]:
    """What one may be called: boat, owner, first name, last name, and owner with boat in either order."""
    boat, owner = fold(one.vessel).strip(), fold(one.owner).strip()
    people = {owner, *owner.split()[:1], *owner.split()[-1:]} - {""}
    if boat:
        yield boat
        for person in people:
            yield from (f"{boat} {person}", f"{boat} ({person})", f"{person} {boat}", f"{person}'s {boat}")
    for person in people:
        yield from (person, f"{person}'s boat", f"{person}'s")


def _alike(words: str, plain: str, known: Sequence[Named]) -> Found:
    """Up to five words before the first comma, compared with boats' and owners' whole names."""
    head = re.split(r"[,;:\n]", plain, maxsplit=1)[0]
    ends = [match.end() for match in re.finditer(r"\S+", head)][:LONGEST]
    best: tuple[float, int, tuple[Named, ...]] = (ALIKE - 1, 0, ())
    for end in ends:
        for one in known:
            for key in (fold(one.vessel), fold(one.owner)):
                score = fuzz.ratio(head[:end], key, score_cutoff=best[0]) if len(key) > 3 else 0
                if score > best[0]:
                    best = (score, end, (one,))
                elif score and score == best[0] and one not in best[2]:
                    best = (score, end, (*best[2], one))
    return Found(best[2], words[best[1] :].lstrip(" ,:;.-'"))
