"""One text -> one Reading. Order: carrier keywords (exact), safety, opting out in plain words, then what is asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding import acts, consent, safety
from assistant.domain.understanding.features import features
from assistant.domain.understanding.language import language_of
from assistant.domain.understanding.reading import Ask, Evidence, Keyword, Reading, Spotted
from assistant.domain.understanding.text import Clause, clauses, fold, tokens
from assistant.domain.understanding.topics import CLEANING_TOPIC, Guess, settle

SURE, VERY_SURE = 0.55, 0.9
"""A safety topic the model is this sure of counts even without a cue word."""
OWN_QUESTION, OWN_STATEMENT = 0.5, 0.75
"""How sure the model must be of a clause by itself for it to count as one thing of several in a text."""
SMALL_TALK = frozenset({"thanks", "greeting", "goodbye", "acknowledge", "compliment", "oos_general_chat"})


def read(text: str, situation: Situation, knowledge: Knowledge) -> Reading:
    """What the text means for this sender. Pure; never raises for any Unicode text."""
    home = situation.client.language if situation.client else situation.business.language
    word = consent.keyword(text)
    if word is not None and not _answers_us(word, text, situation):
        return Reading(home, keyword=word, evidence=(Evidence(text.strip(), word.value, "carrier keyword, whole body"),))
    folded = fold(text)
    plain = write_out(_spelled(folded), knowledge)
    language = language_of(plain, knowledge, home)
    spotted = [*spot(plain, situation, knowledge), *strange_words(text, plain, situation, knowledge)]
    hazard = safety.safety_topic(plain, spotted, knowledge) or _fuel_followed_up(plain, situation, knowledge)
    if hazard:
        return Reading(language, safety=hazard[0], evidence=(hazard[1],), permission=acts.asks_leave(plain))
    if consent.ends_these(folded) and _after_nudge(situation):
        ask = Ask("stop_one_kind", 1.0, plain)
        return Reading(language, asks=(ask,), evidence=(Evidence(text.strip(), "stop_one_kind", "said to a nudge"),))
    if consent.opts_out(folded) or consent.opts_out(_shorthand_only(folded, knowledge)):
        return Reading(language, opt_out=True, evidence=(Evidence(text.strip(), "opt_out", "plain words"),))
    if (small := without_words(folded, knowledge)) is not None:
        ask = Ask(small, 1.0, text.strip())
        return Reading(language, asks=(ask,), evidence=(Evidence(text.strip()[:80], small, "no known words"),), text=text)
    asks, evidence = _asks(plain, spotted, language, situation, knowledge)
    danger = next((ask for ask in asks if _is_safety(ask, knowledge)), None)
    if danger:
        why = Evidence(danger.words, danger.topic, f"topic model, certainty {danger.certainty:.2f}")
        return Reading(language, safety=danger.topic, evidence=(why,), permission=danger.permission)
    if _opts_out_by_model(asks, spotted, folded):
        return Reading(language, opt_out=True, evidence=evidence)
    return Reading(language, asks=tuple(asks), evidence=evidence, text=text)


def _after_nudge(situation: Situation) -> bool:
    """The last thing we sent was a nudge of our own accord."""
    last = next((turn for turn in reversed(situation.turns) if not turn.inbound), None)
    return last is not None and last.topic.startswith("nudge:")


def _fuel_followed_up(plain: str, situation: Situation, knowledge: Knowledge) -> tuple[str, Evidence] | None:
    """'some got in the water too', after a spill on the boat."""
    last = next((turn.topic for turn in reversed(situation.turns) if turn.inbound and turn.topic), "")
    cues = safety.signals_in(plain, knowledge)
    if last in {"diesel_on_boat", "gasoline_on_boat", "oil_grease"} and "on_the_water" in cues:
        return "fuel_on_water", Evidence(cues["on_the_water"], "fuel_on_water", "after a spill on the boat")
    return None


def strange_words(text: str, plain: str, situation: Situation, knowledge: Knowledge) -> list[Spotted]:
    """Words no list knows that look like a name (capital, quotes, a number behind): perhaps a product's."""
    assert knowledge.vocabulary is not None
    own = fold(" ".join([situation.business.name, situation.business.detailer, *(v.name for v in situation.vessels),
                         *(p.name for p in situation.business.places),
                         situation.client.name if situation.client else ""]))  # fmt: skip
    found = []
    for token in tokens(plain):
        if len(token.word) < 4 or token.word in own or knowledge.vocabulary.knows(token.word) or not token.word.isalpha():
            continue
        found.append(Spotted("strange", token.word, token.word, token.begin, token.end))
    return found


_NODS = frozenset("\U0001f44d\U0001f64f\U0001f44c\u2705\u2764\U0001f642\U0001f600\U0001f60a\U0001f44f")
KNOWN_SHARE = 0.34


def without_words(folded: str, knowledge: Knowledge) -> str | None:
    """The topic of a text without words we know: a lone thumbs-up is an acknowledgment, the rest is gibberish."""
    assert knowledge.vocabulary is not None
    words = [token.word for token in tokens(folded)]
    if not words:
        return "acknowledge" if any(mark in folded for mark in _NODS) else "oos_emoji_gibberish"
    known = sum(knowledge.vocabulary.knows(word) for word in words)
    return "oos_emoji_gibberish" if known < KNOWN_SHARE * len(words) and not any(map(str.isdigit, folded)) else None


def _answers_us(word: Keyword, text: str, situation: Situation) -> bool:
    """A plain 'yes' to a question of ours is an answer, unless the sender had opted out before."""
    return word is Keyword.OPT_IN and "yes" in text.lower() and situation.question is not None and (
        situation.consent.reachable
    )


def _is_safety(ask: Ask, knowledge: Knowledge) -> bool:
    """The model's word alone must be strong where a substance is only asked about."""
    answer = knowledge.answer(ask.topic, "en")
    calm = ask.permission and bool(ask.ids("substance"))
    return bool(answer and answer.safety and ask.certainty >= (VERY_SURE if calm else SURE))


def _opts_out_by_model(asks: Sequence[Ask], spotted: Sequence[Spotted], folded: str) -> bool:
    """Wordings no pattern knows, when nothing of the boat is spoken of and no single kind is meant."""
    about_boat = any(term.kind in {"substance", "soil", "surface"} for term in spotted)
    sure = len(asks) == 1 and asks[0].topic == "opt_out_words" and asks[0].certainty >= 0.7
    return sure and not about_boat and not consent.ends_one_kind(folded) and not consent.keeps_on(folded)


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


_WITH = ((re.compile(r"\bw/o\b"), "without"), (re.compile(r"\bw/(?=\s|\w)"), "with "))


def _spelled(folded: str) -> str:
    for pattern, plain in _WITH:
        folded = pattern.sub(plain, folded)
    return folded


def _shorthand_only(folded: str, knowledge: Knowledge) -> str:
    """Shorthand written out and nothing mended: consent is never read from a repaired word."""
    assert knowledge.vocabulary is not None
    return knowledge.vocabulary.spelled_out(_spelled(folded))


def spot(plain: str, situation: Situation, knowledge: Knowledge) -> list[Spotted]:
    """Terms of the knowledge, and the business's own products by name."""
    assert knowledge.vocabulary is not None
    spotted = knowledge.vocabulary.spot(tokens(plain), plain)
    for name, substance in situation.business.products.items():
        place = plain.find(fold(name))
        if place >= 0:
            spotted.append(Spotted("substance", substance, name, place, place + len(name)))
    return spotted


def guess(plain: str, spotted: Sequence[Spotted], knowledge: Knowledge, language: str) -> Guess:
    """Certainty by topic of a stretch of text."""
    model = knowledge.models.get(language) or knowledge.models["en"]
    return Guess(model.topics, model.probabilities(features(tokens(plain), spotted, knowledge.classes)))


def _asks(
    plain: str, spotted: Sequence[Spotted], language: str, situation: Situation, knowledge: Knowledge
) -> tuple[list[Ask], tuple[Evidence, ...]]:
    parts = clauses(plain)
    whole = guess(plain, spotted, knowledge, language)
    own = [(part, inside, alone) for part in parts for inside in [_inside(part, spotted)]
           for alone in [guess(part.text, inside, knowledge, language)]
           if len(parts) > 1 and _stands_alone(part, inside, alone, parts)]  # fmt: skip
    if len(own) > 1:
        asks = [settle(part.text, inside, spotted, alone.pooled(whole, 0.8), situation, knowledge)
                for part, inside, alone in own]  # fmt: skip
    else:
        lead = own[0][2].pooled(whole, 0.5) if own else whole
        asks = _spread(settle(plain, spotted, spotted, lead, situation, knowledge), knowledge)
    asks = _without_small_talk(_merge(asks))
    evidence = [Evidence(term.words, f"{term.kind}:{term.id}", "negated term" if term.negated else "spotted term")
                for term in spotted]  # fmt: skip
    evidence += [Evidence(ask.words[:80], ask.topic, f"topic, certainty {ask.certainty:.2f}") for ask in asks]
    return asks, tuple(evidence)


def _spread(ask: Ask, knowledge: Knowledge) -> list[Ask]:
    """'fish blood on the deck and sunscreen on the seats': one ask per mark, or per surface to be cleaned."""
    topics = [knowledge.soils[id].topic for id in ask.ids("soil") if id in knowledge.soils]
    if ask.topic in CLEANING_TOPIC.values():
        bases = [knowledge.base_surface(id) for id in ask.ids("surface")]
        topics = [CLEANING_TOPIC[base] for base in bases if base in CLEANING_TOPIC]
    if ask.topic not in topics or ask.certainty < 0.5:
        return [ask]
    others = [topic for topic in dict.fromkeys(topics) if topic != ask.topic]
    return [ask, *(replace(ask, topic=topic) for topic in others[:2])]


def _inside(part: Clause, spotted: Sequence[Spotted]) -> list[Spotted]:
    return [term for term in spotted if part.begin <= term.begin < part.end]


def _stands_alone(part: Clause, inside: Sequence[Spotted], alone: Guess, parts: Sequence[Clause]) -> bool:
    """True for a clause that wants something of its own; 'is he right?' or the story before a question does not."""
    topic, sure = alone.best()
    if len(tokens(part.text)) <= 1 or topic in SMALL_TALK:
        return False
    if part.question:
        return sure >= OWN_QUESTION or (sure >= 0.35 and any(term.kind in {"substance", "soil"} for term in inside))
    if not any(other.question for other in parts):
        return sure >= OWN_STATEMENT
    return sure >= OWN_STATEMENT and topic in WANTED_AS_STATEMENT


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

