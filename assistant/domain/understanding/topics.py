"""From the model's certainties, the spotted terms and the way of saying to one Ask."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Vessel
from assistant.domain.understanding import acts
from assistant.domain.understanding.labels import read_label
from assistant.domain.understanding.reading import Ask, Spotted
from assistant.domain.understanding.text import fold, tokens

FOLLOW_UP_WORDS = 9
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
        named: Counter[str] = Counter()
        for phrasing in answer.phrasings:
            folded = fold(phrasing)
            named.update({term.id for term in knowledge.vocabulary.spot(tokens(folded), folded) if term.kind == "substance"})
        if named and named.most_common(1)[0][1] * 2 >= len(answer.phrasings):
            about[topic] = named.most_common(1)[0][0]
    return about


def settle(
    words: str, inside: Sequence[Spotted], everywhere: Sequence[Spotted], certainty: np.ndarray, situation: Situation,
    knowledge: Knowledge,
) -> Ask:  # fmt: skip
    """One Ask for a stretch of text. `inside` are its own terms, `everywhere` those of the whole text (context)."""
    model = knowledge.models["all"]
    order = np.argsort(certainty)[::-1]
    topic, sure = model.topics[order[0]], float(certainty[order[0]])
    runner_up = model.topics[order[1]] if len(order) > 1 else ""
    permission, report = acts.asks_leave(words), acts.reports(words)
    terms = _in_context(inside, everywhere)
    substances = [term for term in terms if term.kind == "substance" and not term.negated]
    group = _group(topic, knowledge)
    if substances and group not in NOT_ABOUT_USE:
        topic, sure = _about_use(topic, sure, substances, permission, report, knowledge, words)
    elif read_label(words, knowledge).says_something and group not in {"booking", "records", "people"}:
        topic, sure = "label_read", max(sure, 0.8)
    ask = Ask(
        topic=topic, certainty=sure, words=words, spotted=tuple(terms), permission=permission, report=report,
        slant=acts.slant(words), vessel_id=_vessel_named(words, situation.vessels), area=acts.area(words),
        dilution=acts.dilution(words), runner_up=runner_up,
    )  # fmt: skip
    return _followed_up(ask, situation, knowledge)


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
    if report and topic not in CARE_REPORTS and not (topic == "may_use" and permission and not acts.REPORT.search(words)):
        return "used_something", max(sure, 0.9)
    if topic in {"may_use", "used_something"} or knowledge.about.get(topic) in named:
        return ("may_use" if topic == "used_something" and not report else topic), max(sure, 0.85)
    if permission and _is_cleaning(topic, knowledge):
        return "may_use", max(sure, 0.85)
    if acts.HOW_MUCH.search(words) and any(knowledge.substances[id].verdict == "avoid" for id in named if id in knowledge.substances):
        return "may_use", max(sure, 0.8)
    return topic, sure


def _is_cleaning(topic: str, knowledge: Knowledge) -> bool:
    """Soil and surface topics tell how to clean; a permission question within them is about the substance."""
    return topic in CLEANING_TOPIC.values() or any(soil.topic == topic for soil in knowledge.soils.values()) or (
        topic in {"unknown_product", "soap_which", "label_read", "eco_soap"}
    )


def _vessel_named(words: str, vessels: Sequence[Vessel]) -> int | None:
    """The vessel that the text names, by its name or else by its type."""
    for vessel in vessels:
        if vessel.name and fold(vessel.name) in words:
            return vessel.id
    by_type = [vessel for vessel in vessels if vessel.boat_type and fold(vessel.boat_type).replace("_", " ") in words]
    return by_type[0].id if len(by_type) == 1 else None


def _followed_up(ask: Ask, situation: Situation, knowledge: Knowledge) -> Ask:
    """Takes what is missing from the turn before: 'what about the seats?', 'and vinegar?'."""
    last = next((turn for turn in reversed(situation.turns) if turn.inbound and turn.data), None)
    if last is None or last.data is None or len(tokens(ask.words)) > FOLLOW_UP_WORDS or not acts.follows_up(ask.words):
        return ask
    from dataclasses import replace

    before = last.data
    own = {term.kind for term in ask.spotted}
    carried = tuple(
        Spotted(kind, id, id, 0, 0, exact=False)
        for kind in ("substance", "soil", "surface")
        if kind not in own
        for id in before.get(kind, ())
        if not (kind == "soil" and "substance" in own and not before.get("substance"))
    )
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
