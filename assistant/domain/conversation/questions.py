"""Answers to what we asked: which boat, which substance, which of two meanings, which of the offered times."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from assistant.domain.conversation import booking
from assistant.domain.conversation.decision import AskClient
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.slots import Diary
from assistant.domain.understanding.reading import Ask, Reading, Spotted
from assistant.domain.understanding.text import fold, tokens
from assistant.domain.visits import Slot
from assistant.domain.wording import join_words

_ORDINALS = (
    r"\b(?:1|1st|first|one|primer[oa]?|el primero|la primera|uno|the former)\b",
    r"\b(?:2|2nd|second|two|segund[oa]|dos|the latter|the other)\b",
    r"\b(?:3|3rd|third|three|tercer[oa]?|tres)\b",
    r"\b(?:4|4th|fourth|four|cuart[oa]|cuatro)\b",
)
_BOTH = re.compile(r"\b(?:both|all|either|all of them|ambos|ambas|los dos|las dos|todos|todas)\b")
ANSWER_WORDS = 8
"""An answer to a question of ours is short; a longer text is read as something new."""

Answered = tuple[list[Ask], list[Piece]]


def answer_open(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Answered | None:
    """What the open question's answer leads to: asks to settle and pieces ready to send; None if it was no answer."""
    question = scene.situation.question
    if question is None or question.expires_at < scene.now:
        return None
    words = " ".join(ask.words for ask in reading.asks)
    if question.kind in booking.QUESTIONS:
        piece = booking.QUESTIONS[question.kind](reading, scene, diary, lost)
        return (booking.besides(reading), [piece]) if piece else None
    reader = _READERS.get(question.kind)
    if reader is None or len(words.split()) > ANSWER_WORDS:
        return None
    ask = reader(words, question.data, scene)
    return ([ask], []) if ask else None


def which_vessel(ask: Ask, scene: Scene) -> Piece:
    """Asks which of the client's vessels is meant and keeps the question for the answer."""
    link = "o" if scene.language == "es" else "or"
    names = [scene.name_of(vessel) for vessel in scene.situation.vessels]
    text = scene.say("ask.which_vessel", choice=join_words(names, scene.language, link))
    question = AskClient("which_vessel", _packed(ask), soon(scene.now, 24))
    return Piece(text, text, "which_vessel", changes=(question,), why="several vessels on file")


def place_in_list(words: str, count: int) -> int | None:
    """Which of `count` listed things is meant ('2', 'the second'), 0-based."""
    folded = fold(words)
    if re.search(r"\b(?:last|ultim[oa])\b", folded):
        return count - 1
    found = [place for place, pattern in enumerate(_ORDINALS[:count]) if re.search(pattern, folded)]
    return found[0] if len(found) == 1 else None


def _vessel_answer(words: str, data: Mapping[str, Any], scene: Scene) -> Ask | None:
    vessels = scene.situation.vessels
    named = [vessel for vessel in vessels if vessel.name and _named(vessel.name, words)]
    place = place_in_list(words, len(vessels))
    chosen = named[0] if len(named) == 1 else vessels[place] if place is not None else None
    if chosen is None and not _BOTH.search(words):
        by_kind = [v for v in vessels if v.boat_type and fold(v.boat_type).replace("_", " ") in words]
        chosen = by_kind[0] if len(by_kind) == 1 else None
        if chosen is None:
            return None
    if chosen is None:
        chosen = vessels[0]
    return replace(_unpacked(data), vessel_id=chosen.id)


def _named(name: str, words: str) -> bool:
    """The vessel's name, or the one word of it that tells it apart."""
    plain = fold(name)
    return plain in words or any(len(part) > 3 and re.search(rf"\b{re.escape(part)}\b", words) for part in plain.split()[:1])


def _substance_answer(words: str, data: Mapping[str, Any], scene: Scene) -> Ask | None:
    ids = list(data["ids"])
    spotted = scene.knowledge.vocabulary.spot(tokens(words), words) if scene.knowledge.vocabulary else []
    chosen = next((term.id for term in spotted if term.kind == "substance"), None)
    if chosen is None:
        matches = [id for id in ids if any(part in words.split() for part in id.split("_"))]
        place = place_in_list(words, len(ids))
        chosen = matches[0] if len(matches) == 1 else ids[place] if place is not None else None
    if chosen is None:
        return None
    terms = [Spotted("substance", chosen, words, 0, 0)]
    terms += [Spotted(kind, id, id, 0, 0) for kind in ("surface", "soil") for id in data.get(kind, ())]
    return Ask("may_use", 0.9, str(data["words"]), tuple(terms), permission=True)


def _clarify_answer(words: str, data: Mapping[str, Any], scene: Scene) -> Ask | None:
    topics = list(data.get("topics", ()))
    place = place_in_list(words, len(topics)) if topics else None
    return Ask(topics[place], 0.9, str(data.get("words", ""))) if place is not None else None


_READERS = {"which_vessel": _vessel_answer, "which_substance": _substance_answer, "clarify": _clarify_answer}


def _packed(ask: Ask) -> dict[str, Any]:
    return {
        "topic": ask.topic, "words": ask.words, "permission": ask.permission, "report": ask.report, "area": ask.area,
        "spotted": [[term.kind, term.id, term.words] for term in ask.spotted if not term.negated],
    }  # fmt: skip


def _unpacked(data: Mapping[str, Any]) -> Ask:
    terms = tuple(Spotted(kind, id, words, 0, 0) for kind, id, words in data["spotted"])
    return Ask(
        str(data["topic"]), 0.9, str(data["words"]), terms, bool(data["permission"]), bool(data["report"]),
        area=str(data.get("area", "")),
    )  # fmt: skip
