"""From the model's certainties, the spotted terms and the way of saying to one Ask."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Vessel
from assistant.domain.understanding import acts, corrections, safety
from assistant.domain.understanding.labels import read_label
from assistant.domain.understanding.reading import Ask, Spotted
from assistant.domain.understanding.text import fold, tokens


@dataclass(frozen=True, slots=True)
class Guess:
    """Certainty by topic."""

    topics: tuple[str, ...]
    certainty: NDArray[np.float32]

    def best(self) -> tuple[str, float]:
        """The likeliest topic and its certainty."""
        place = int(np.argmax(self.certainty))
        return self.topics[place], float(self.certainty[place])

    def pooled(self, other: Guess, own: float) -> Guess:
        """A log-linear pool with another guess over the same topics: what either rules out stays out."""
        if self.topics != other.topics:
            return self
        mixed = own * np.log(self.certainty + 1e-9) + (1 - own) * np.log(other.certainty + 1e-9)
        shares = np.exp(mixed - mixed.max())
        return Guess(self.topics, shares / shares.sum())


FOLLOW_UP_WORDS = 14
"""A follow-up is short: longer texts carry their own subject."""
NOT_ABOUT_USE = frozenset({"booking", "people", "consent", "records", "oos", "out_of_scope", "safety"})
CLEANING_TOPIC = {
    "vinyl": "vinyl_clean", "clear_vinyl": "clear_vinyl_clean", "acrylic": "acrylic_clean", "stainless": "stainless_clean",
    "aluminum": "aluminum_clean", "teak": "teak_clean", "canvas": "canvas_clean", "inflatable": "inflatable_clean",
    "cowling": "cowling_clean", "nonskid": "nonskid_clean", "paint": "paint_care", "rubber": "rubber_seals",
    "screen": "screens_clean", "below_waterline": "bottom_clean",
}  # fmt: skip
"""Where 'what about the seats?' leads after a question on washing."""
CARE_REPORTS = frozenset({"topper_done", "wash_done", "rained_on_fresh", "strong_cleaner_mark", "damage_by_us", "complaint"})


def about_of(knowledge: Knowledge) -> dict[str, str]:
    """Topic -> the substance that at least half of its English phrasings name."""
    assert knowledge.vocabulary is not None
    about = {}
    for topic, answer in knowledge.answers.get("en", {}).items():
        if answer.safety:
            continue
        named: Counter[str] = Counter()
        for phrasing in answer.phrasings:
            folded = fold(phrasing)
            named.update({term.id for term in knowledge.vocabulary.spot(tokens(folded), folded) if term.kind == "substance"})
        if named and named.most_common(1)[0][1] * 2 >= len(answer.phrasings):
            about[topic] = named.most_common(1)[0][0]
    return about


def settle(
    words: str, inside: Sequence[Spotted], everywhere: Sequence[Spotted], guess: Guess, situation: Situation,
    knowledge: Knowledge,
) -> Ask:  # fmt: skip
    """One Ask for a stretch of text. `inside` are its own terms, `everywhere` those of the whole text (context)."""
    guess = _without_engine_topics(words, everywhere, guess)
    order = np.argsort(guess.certainty)[::-1]
    topic, sure = guess.topics[order[0]], float(guess.certainty[order[0]])
    runner_up = guess.topics[order[1]] if len(order) > 1 else ""
    permission, report = acts.asks_leave(words), acts.reports(words)
    terms = _in_context(inside, everywhere)
    substances = [term for term in terms if term.kind == "substance" and not term.negated]
    if not acts.asks_leave(words):  # "ketchup on the seat" is dirt; "can I use ketchup on rust" a thing to use
        soiled = {(term.begin, term.end) for term in terms if term.kind == "soil"}
        substances = [term for term in substances if (term.begin, term.end) not in soiled]
    group = _group(topic, knowledge)
    substances = _meant(substances, knowledge)
    permission = permission or _proposes(words, substances, terms, report, knowledge)
    calm = acts.asks_leave(words) and _is_alarm_without_cause(topic, words, knowledge)
    strange = [term for term in terms if term.kind == "strange"]
    label = read_label(words, knowledge)
    if label.says_something and (label.cas or label.ph is not None or not substances) and group not in NOT_A_LABEL:
        topic, sure = "label_read", max(sure, 0.8)
    elif strange and _names_a_product(strange, substances, permission, words) and group not in {"booking", "people"}:
        topic, sure = "unknown_product", 0.8
    elif (stays := _stays(words, terms, report, knowledge)) is not None:
        topic, sure = stays, 0.8
    elif (corrected := corrections.corrected(topic, words, situation)) != topic:
        topic, sure = corrected, max(sure, 0.8)
    elif substances and _may_be_about_use(group, sure, substances, knowledge, calm or topic in ASKS_HOW_STRONG):
        told = "may_use" if calm else topic
        topic, sure = _about_use(told, sure, substances, permission, report, knowledge, words)
    elif (by_soil := _by_soil(topic, sure, terms, guess, knowledge)) is not None:
        topic, sure = by_soil
    ask = Ask(
        topic=topic, certainty=sure, words=words, spotted=_without_props(terms, substances), permission=permission, report=report,
        slant=acts.slant(words), vessel_id=_vessel_named(words, situation.vessels), area=acts.area(words),
        dilution=acts.dilution(words), runner_up=runner_up,
    )  # fmt: skip
    return _followed_up(ask, situation, knowledge)


def _may_be_about_use(
    group: str, sure: float, substances: Sequence[Spotted], knowledge: Knowledge, calm: bool
) -> bool:
    """Care topics are; others only when the model is unsure and a cleaner is named (not the coating or a hose)."""
    if group not in NOT_ABOUT_USE or calm:
        return True
    cleaners = [term for term in substances if knowledge.substances[term.id].cls not in NOT_CLEANERS]
    return sure < 0.6 and bool(cleaners)


NOT_CLEANERS = frozenset({"coating", "polymer", "wax", "water", "mechanical", "other", "biocide"})


_TOGETHER = re.compile(r"\b(?:both|two|all of them|same (?:bucket|time|spot)|one bucket|on top|ambos|dos)\b")


def _is_alarm_without_cause(topic: str, words: str, knowledge: Knowledge) -> bool:
    """The model alone heard somebody hurt, or two cleaners meet, and no word of the text says so."""
    if topic in {"mixing_ask", "mixed_cleaners"}:
        return not safety.MIX_WORD.search(words) and not _TOGETHER.search(words)
    return _is_urgent(topic, knowledge) and not safety.BODY & safety.signals_in(words, knowledge).keys()


def _is_urgent(topic: str, knowledge: Knowledge) -> bool:
    """An answer for somebody being hurt: not what a calm question of leave needs."""
    answer = knowledge.answer(topic, "en")
    return bool(answer and answer.safety and answer.handover == "urgent" and topic != "battery_acid")


NOT_A_LABEL = frozenset({"booking", "records", "people", "safety"})


def _stays(words: str, terms: Sequence[Spotted], report: bool, knowledge: Knowledge) -> str | None:
    """A mark that stayed after soap: its own answer when it has a name, else the one for marks that stay."""
    if not acts.STAYS.search(words):
        return None
    rows = knowledge.substances
    used = [rows[term.id] for term in terms if term.kind == "substance" and term.id in rows and not term.negated]
    if any(row.verdict != "fine" and row.cls != "water" for row in used):
        return None
    soils = [term.id for term in terms if term.kind == "soil" and not term.negated]
    if report and used:
        return "hard_to_remove"
    return knowledge.soils[soils[0]].topic if soils and used else None


PROPOSAL_WORDS = 16


def _proposes(
    words: str, substances: Sequence[Spotted], terms: Sequence[Spotted], report: bool, knowledge: Knowledge
) -> bool:
    """'acetone on the dinghy tubes': a thing and a place without a verb of asking is still a question of leave."""
    if not substances or report or _WH_WORD.search(words) or len(tokens(words)) > PROPOSAL_WORDS:
        return False
    rows = knowledge.substances
    cleaning = any(term.id in rows and rows[term.id].cls not in {"water", "biocide", "other"} for term in substances)
    placed = any(term.kind in {"surface", "soil", "coating"} for term in terms)
    return "?" in words or (cleaning and placed)


def _names_a_product(
    strange: Sequence[Spotted], substances: Sequence[Spotted], permission: bool, words: str
) -> bool:
    """An unknown name before a product word, or alone in a question of leave, is a product we do not know."""
    before = any(0 <= term.begin - name.end <= 2 for name in strange for term in substances)
    return before or (permission and not substances) or (not substances and bool(_PRODUCT_NOUN.search(words)))


_PRODUCT_NOUN = re.compile(r"\b(?:cleaner|product|stuff|soap|wash|spray|polish|wax|shampoo|coating|detailer|limpiador|producto|jabon|cera)\b")


def _by_soil(
    topic: str, sure: float, terms: Sequence[Spotted], guess: Guess, knowledge: Knowledge
) -> tuple[str, float] | None:
    """A named mark leads to its own answer unless the model is sure of something else."""
    soils = [term.id for term in terms if term.kind == "soil" and not term.negated]
    elsewhere = _group(topic, knowledge) in NOT_ABOUT_USE and sure >= 0.45
    if not soils or sure >= 0.75 or elsewhere:
        return None
    wanted = knowledge.soils[soils[0]].topic
    place = guess.topics.index(wanted) if wanted in guess.topics else None
    return (wanted, max(0.6, float(guess.certainty[place]))) if place is not None else None


ENGINE_TOPICS = ("may_use", "used_something")


def _without_engine_topics(words: str, spotted: Sequence[Spotted], guess: Guess) -> Guess:
    """Verdicts and reports need a thing that is used: 'how long does the wax last' is about neither."""
    used = any(term.kind == "substance" and not term.negated for term in spotted)
    asks_how = bool(acts.WH_LEAD.search(words)) and not acts.asks_leave(words) and not acts.reports(words)
    if (used and not asks_how) or guess.best()[0] not in ENGINE_TOPICS:
        return guess
    kept = np.array([topic not in ENGINE_TOPICS for topic in guess.topics], np.float32) * guess.certainty
    return Guess(guess.topics, kept / max(float(kept.sum()), 1e-9))


def _group(topic: str, knowledge: Knowledge) -> str:
    answer = knowledge.answer(topic, "en")
    return answer.group if answer else ""


def _in_context(inside: Sequence[Spotted], everywhere: Sequence[Spotted]) -> list[Spotted]:
    """A stretch's own terms, and of the rest of the text whatever kind it lacks (the story before the question)."""
    have = {term.kind for term in inside}
    return [*inside, *(term for term in everywhere if term.kind not in have)]


def _about_use(
    topic: str, sure: float, substances: Sequence[Spotted], permission: bool, report: bool, knowledge: Knowledge, words: str
) -> tuple[str, float]:
    """With a substance named, a question or report about it is read from the words, not only from the model."""
    named = {term.id for term in substances}
    answer = knowledge.answer(topic, "en")
    if report and topic not in CARE_REPORTS:
        return "used_something", max(sure, 0.9)
    if strong := _asks_how_strong(named, words, knowledge):
        return strong, 0.9
    if topic in ASKS_HOW_STRONG:
        return "may_use", 0.85
    if topic in {"may_use", "used_something", "unknown_product", "soap_which"} and (permission or topic == "may_use"):
        return "may_use", max(sure, 0.85)
    if knowledge.about.get(topic) in named and not (permission and answer and answer.verdict is None):
        return topic, max(sure, 0.85)
    own_verdict = answer is not None and answer.verdict is not None and sure >= 0.7
    rows = [knowledge.substances[id] for id in named if id in knowledge.substances]
    only_tools = all(row.cls in NOT_CLEANERS for row in rows)
    if permission and not own_verdict and not (only_tools and sure >= 0.4):
        return "may_use", max(sure, 0.85)
    return topic, sure


ASKS_HOW_STRONG = frozenset({"bleach_dilution_ask", "acid_use_ask"})


def _asks_how_strong(named: set[str], words: str, knowledge: Knowledge) -> str:
    """'how strong should I mix the acid': never answered with a figure, always shown to a person."""
    if not acts.HOW_MUCH.search(words):
        return ""
    groups = {group for id in named if id in knowledge.substances for group in knowledge.substances[id].mixes_as}
    if "bleach" in groups:
        return "bleach_dilution_ask"
    avoided = any(knowledge.substances[id].verdict in {"avoid", "ask"} for id in named if id in knowledge.substances)
    return "acid_use_ask" if groups & {"acid", "strong_acid"} and avoided and "vinegar" not in named else ""


_WH_WORD = re.compile(r"\b(?:how|when|what|whats|which|where|who|why|como|cuando|que|cual|donde)\b")


def _without_props(terms: Sequence[Spotted], meant: Sequence[Spotted]) -> tuple[Spotted, ...]:
    return tuple(term for term in terms if term.kind != "substance" or term.negated or term in meant)


def _meant(substances: Sequence[Spotted], knowledge: Knowledge) -> list[Spotted]:
    """Water and cloths named beside a cleaner are only how it is used."""
    rows = knowledge.substances
    strong = [term for term in substances if term.id in rows and rows[term.id].cls not in {"water", "mechanical"}]
    cleaners = [term for term in strong if rows[term.id].cls not in {"coating", "wax", "polymer"}]
    ons = [term for term in strong if term not in cleaners]
    if cleaners and ons:  # "degreaser on my ceramic": the coating is where it goes, not what is used
        return cleaners
    return strong or list(substances)


def _vessel_named(words: str, vessels: Sequence[Vessel]) -> int | None:
    """The vessel that the text names, by its name or else by its type."""
    for vessel in vessels:
        if vessel.name and fold(vessel.name) in words:
            return vessel.id
    by_type = [vessel for vessel in vessels if vessel.boat_type and fold(vessel.boat_type).replace("_", " ") in words]
    return by_type[0].id if len(by_type) == 1 else None


PLAIN_WATER = frozenset({"fresh_water_rinse", "tap_water", "garden_hose"})


def _leans_back(ask: Ask, before: Mapping[str, Any]) -> bool:
    """True when the text needs the turn before to make sense."""
    if acts.follows_up(ask.words):
        return True
    after_use = bool(before.get("permission") and before.get("substance"))
    new = [id for id in ask.ids("substance") if id not in before.get("substance", ()) and id not in PLAIN_WATER]
    if not after_use or new:
        return False
    if acts.WH_LEAD.search(ask.words) and ask.certainty >= 0.5 and not acts.leans_back(ask.words):
        return False
    named = any(term.kind in {"surface", "coating", "soil"} for term in ask.spotted)
    return (acts.leans_back(ask.words) and (named or ask.certainty < 0.6 or bool(ask.dilution or ask.area))) or (
        ask.certainty < 0.5 and len(tokens(ask.words)) <= 7
    )


def _followed_up(ask: Ask, situation: Situation, knowledge: Knowledge) -> Ask:
    """Takes what is missing from the turn before: 'what about the seats?', 'and vinegar?'."""
    last = next((turn for turn in reversed(situation.turns) if turn.inbound and turn.data), None)
    if last is None or last.data is None or len(tokens(ask.words)) > FOLLOW_UP_WORDS:
        return ask
    if not _leans_back(ask, last.data):
        return ask
    before = last.data
    own = {term.kind for term in ask.spotted if term.id not in PLAIN_WATER}
    carried = tuple(
        Spotted(kind, id, id, 0, 0, exact=False)
        for kind in ("substance", "soil", "surface")
        if kind not in own
        for id in before.get(kind, ())
        if not (kind == "soil" and "substance" in own and not before.get("substance"))
    )
    if acts.TOO_LATE.search(ask.words) and before.get("substance"):
        return replace(ask, topic="used_something", certainty=0.85, report=True, spotted=(*ask.spotted, *carried))
    used = before.get("topic") in {"may_use", "used_something"} or bool(before.get("permission"))
    substance = "substance" in own or any(term.kind == "substance" for term in carried)
    if used and substance:
        return replace(ask, topic="may_use", certainty=0.85, permission=True, spotted=(*ask.spotted, *carried))
    surfaces = [knowledge.base_surface(id) for id in ask.ids("surface")]
    if surfaces and surfaces[0] in CLEANING_TOPIC and ask.certainty < 0.8:
        return replace(ask, topic=CLEANING_TOPIC[surfaces[0]], certainty=0.8)
    if ask.certainty < 0.5 and not own & {"substance", "soil"} and surfaces:
        return replace(ask, topic=str(before.get("topic") or ask.topic), certainty=0.7, spotted=(*ask.spotted, *carried))
    return ask
