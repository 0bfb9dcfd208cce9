"""One text -> one Reading. Order: carrier keywords (exact), safety, opting out in plain words, then what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding import acts, consent, safety
from assistant.domain.understanding.features import features
from assistant.domain.understanding.language import language_of
from assistant.domain.understanding.reading import Ask, Evidence, Keyword, Reading, Spotted
from assistant.domain.understanding.text import Clause, clauses, fold, tokens
from assistant.domain.understanding.topics import settle

SURE = 0.55
"""A safety topic the model is this sure of counts even without a cue word."""
OWN_QUESTION = 0.60
"""A further sentence that asks nothing counts as a thing of its own only when the model is this sure."""
SMALL_TALK = frozenset({"thanks", "greeting", "goodbye", "acknowledge", "compliment", "oos_general_chat"})


def read(text: str, situation: Situation, knowledge: Knowledge) -> Reading:
    """What the text means for this sender. Pure; never raises for any Unicode text."""
    home = situation.client.language if situation.client else situation.business.language
    word = consent.keyword(text)
    if word is not None and not _answers_us(word, text, situation):
        return Reading(home, keyword=word, evidence=(Evidence(text.strip(), word.value, "carrier keyword, whole body"),))
    folded = fold(text)
    plain = write_out(folded, knowledge)
    language = language_of(plain, knowledge, home)
    spotted = spot(plain, situation, knowledge)
    hazard = safety.safety_topic(plain, spotted, knowledge) or safety.safety_topic(folded, spotted, knowledge)
    if hazard:
        return Reading(language, safety=hazard[0], evidence=(hazard[1],))
    if consent.opts_out(folded):
        return Reading(language, opt_out=True, evidence=(Evidence(text.strip(), "opt_out", "plain words"),))
    asks, evidence = _asks(plain, spotted, situation, knowledge)
    danger = next((ask for ask in asks if _is_safety(ask, knowledge)), None)
    if danger:
        return Reading(language, safety=danger.topic, evidence=(Evidence(danger.words, danger.topic, "topic model"),))
    if any(ask.topic == "opt_out_words" and ask.certainty >= 0.8 for ask in asks) and not consent.ends_one_kind(folded):
        return Reading(language, opt_out=True, evidence=evidence)
    return Reading(language, asks=tuple(asks), evidence=evidence)


def _answers_us(word: Keyword, text: str, situation: Situation) -> bool:
    """A plain 'yes' to a question of ours is an answer, unless the sender had opted out before."""
    return word is Keyword.OPT_IN and "yes" in text.lower() and situation.question is not None and (
        situation.consent.reachable
    )


def _is_safety(ask: Ask, knowledge: Knowledge) -> bool:
    answer = knowledge.answer(ask.topic, "en")
    return bool(answer and answer.safety and ask.certainty >= SURE and not ask.ids("harmless"))


def write_out(folded: str, knowledge: Knowledge) -> str:
    """The folded text with shorthand written out and slips mended, punctuation kept."""
    assert knowledge.vocabulary is not None
    out, at = [], 0
    for token in knowledge.vocabulary.repair(tokens(folded)):
        if token.begin < at:  # a further word of one shorthand
            out.append(" " + token.word)
            continue
        out.append(folded[at : token.begin])
        out.append(token.word if token.word != token.typed else folded[token.begin : token.end])
        at = token.end
    out.append(folded[at:])
    return "".join(out)


def spot(plain: str, situation: Situation, knowledge: Knowledge) -> list[Spotted]:
    """Terms of the knowledge, and the business's own products by name."""
    assert knowledge.vocabulary is not None
    spotted = knowledge.vocabulary.spot(tokens(plain), plain)
    for name, substance in situation.business.products.items():
        place = plain.find(fold(name))
        if place >= 0:
            spotted.append(Spotted("substance", substance, name, place, place + len(name)))
    return spotted


def guess(plain: str, spotted: Sequence[Spotted], knowledge: Knowledge) -> np.ndarray:
    """Certainty by topic of a stretch of text."""
    return knowledge.models["all"].probabilities(features(tokens(plain), spotted, knowledge.classes))


def _asks(
    plain: str, spotted: Sequence[Spotted], situation: Situation, knowledge: Knowledge
) -> tuple[list[Ask], tuple[Evidence, ...]]:
    parts = clauses(plain) or [Clause(0, len(plain), plain, False)]
    whole = guess(plain, spotted, knowledge)
    if len(parts) == 1:
        asks = [settle(plain, spotted, spotted, whole, situation, knowledge)]
    else:
        asks = _several(parts, plain, spotted, whole, situation, knowledge)
    asks = _without_small_talk(_merge(asks))
    evidence = [Evidence(term.words, f"{term.kind}:{term.id}", "negated term" if term.negated else "spotted term")
                for term in spotted]  # fmt: skip
    evidence += [Evidence(ask.words[:80], ask.topic, f"topic, certainty {ask.certainty:.2f}") for ask in asks]
    return asks, tuple(evidence)


def _several(
    parts: Sequence[Clause], plain: str, spotted: Sequence[Spotted], whole: np.ndarray, situation: Situation,
    knowledge: Knowledge,
) -> list[Ask]:  # fmt: skip
    """Questions are asks; other sentences are the story around them, unless they clearly want something themselves."""
    any_question = any(part.question for part in parts)
    asks = []
    for part in parts:
        inside = [term for term in spotted if part.begin <= term.begin < part.end]
        alone = guess(part.text, inside, knowledge)
        words = len(tokens(part.text))
        own = 0.75 if words >= 4 or (inside and words >= 2) else 0.3
        ask = settle(part.text, inside, spotted, own * alone + (1 - own) * whole, situation, knowledge)
        if part.question or not any_question or (ask.certainty >= OWN_QUESTION and _wants_something(ask)):
            asks.append(ask)
    if not any_question:
        asks = [ask for ask in asks if ask.certainty >= OWN_QUESTION]
        whole_ask = settle(plain, spotted, spotted, whole, situation, knowledge)
        if not asks or all(ask.topic in SMALL_TALK for ask in asks) or (len(asks) > 1 and whole_ask.certainty > 0.9):
            asks = [whole_ask]
    return asks


def _wants_something(ask: Ask) -> bool:
    return ask.report or ask.topic in WANTED_AS_STATEMENT


WANTED_AS_STATEMENT = frozenset(
    "book_visit move_visit drop_visit topper_done complaint refund damage_by_us angry grief insurance_legal talk_to_person"
    " access_code running_late moved_boat sold_boat update_contact used_something urgent_today scratch crack_chip"
    " etched_mark strong_cleaner_mark photo_judge report_correction plan_begin plan_pause plan_finish stop_one_kind".split()
)


def _merge(asks: Sequence[Ask]) -> list[Ask]:
    """One ask per topic and substance: 'I used bleach. Was that ok?' is one thing."""
    merged: list[Ask] = []
    for ask in asks:
        twin = next((i for i, one in enumerate(merged) if _same(one, ask)), None)
        if twin is None:
            merged.append(ask)
        else:
            first = merged[twin]
            merged[twin] = replace(
                first, words=f"{first.words} {ask.words}", permission=first.permission or ask.permission,
                report=first.report or ask.report, certainty=max(first.certainty, ask.certainty),
                spotted=tuple(dict.fromkeys((*first.spotted, *ask.spotted))),
            )  # fmt: skip
    return merged


def _same(one: Ask, other: Ask) -> bool:
    if one.topic == other.topic and (one.ids("substance") == other.ids("substance") or not other.ids("substance")):
        return True
    return {one.topic, other.topic} == {"used_something", "may_use"} and (
        not other.ids("substance") or set(other.ids("substance")) <= set(one.ids("substance"))
    )


def _without_small_talk(asks: list[Ask]) -> list[Ask]:
    real = [ask for ask in asks if ask.topic not in SMALL_TALK]
    return real or asks[:1]

