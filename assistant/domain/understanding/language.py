"""Which language a text is in, by the words only one language's phrasings use; doubt stays with the client's own."""

from __future__ import annotations

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.text import tokens

_TELLING = {
    "es": frozenset("el la los las un una que de con por para puedo como cuando cuanto es esta estan mi tu su hola gracias"
                    " buenas buenos y lo le se del al no si pero muy bote barco lancha casco jabon cera".split()),
    "en": frozenset("the a an is are can could i my it on to for of with what how when do does you your and this that hi"
                    " hey thanks boat hull soap wax should will use".split()),
}  # fmt: skip


def language_of(plain: str, knowledge: Knowledge, home: str) -> str:
    """A language folder's name. Needs a clear lead; otherwise the language the client is known by."""
    assert knowledge.vocabulary is not None
    known = knowledge.vocabulary.language_words
    points = dict.fromkeys(known, 0.0)
    for token in tokens(plain):
        holders = [code for code, words in known.items() if token.word in words]
        if len(holders) == 1:
            points[holders[0]] += 1.0
        for code, words in _TELLING.items():
            if token.word in words:
                points[code] = points.get(code, 0.0) + 1.0
    if any(mark in plain for mark in "ñ¿¡"):
        points["es"] = points.get("es", 0.0) + 2.0
    best = max(points, key=lambda code: (points[code], code == home), default=home)
    rest = max((value for code, value in points.items() if code != best), default=0.0)
    return best if points.get(best, 0) >= rest + 1.5 or best == home else home
