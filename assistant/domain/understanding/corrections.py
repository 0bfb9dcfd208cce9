"""What word order and context settle better than any bag of words: 'don't cancel', 'cancel Thursday, do Friday',
somebody else's boat, a typed hull number, a boat's length in a price question."""

from __future__ import annotations

import re

from assistant.domain import hull_numbers
from assistant.domain.conversation.situation import Situation

_NOT_DROPPED = re.compile(r"\b(?:dont|don't|do not|didnt|didn't|did not|never|not)\s+(?:\w+\s+)?(?:cancel|drop|call off|skip|canceles|cancelen|quites)\b")
_MOVED = re.compile(
    r"\b(?:slide|push|shift|move|bump|reschedule|resched|swap|do|make it|instead|change it to|switch)\b.{0,30}\b(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun|monday|"
    r"tuesday|wednesday|thursday|friday|saturday|sunday|week|later|earlier|day|days|the \d+|next|another)\b|\b(?:slide|push|reschedule|resched)\b|\b(?:pasa|cambia|mueve|muevel[oa])\b.{0,25}\b(?:para|al|a)\b"
)
_SOMEBODY_ELSE = re.compile(
    r"\bmy (?:neighbou?r|brother|sister|friend|buddy|dad|father|uncle|cousin|boss|ex)(?:'?s)?\b.{0,60}\b(?:too|his|her|hers|their|customer|client|visit|next|sealed|boat)\b"
    r"|\b(?:somebody|someone) else'?s\b|\bthe (?:guy|owner|people) in slip\b|\b(?:mi vecino|mi hermano|mi amigo|otro cliente)\b.{0,60}\b(?:tambien|visita|barco|bote|lancha)\b"
)
_OWN_RECORD = frozenset("last_job when_is_visit what_applied how_kept my_boat_details reseal_due life_left who_is_this next_topper".split())
_LENGTH = re.compile(r"\b(?:\d{2,3}(?:\.\d)?\s*(?:'|ft\b|foot|footer|feet|pies)|(?:twenty|thirty|forty|fifty)(?:[ -]\w+)? (?:foot|footer|feet))")
_OFFER_TOPICS = frozenset({"pick_slot", "no_slot_fits"})


def corrected(topic: str, words: str, situation: Situation) -> str:
    """The topic that the words settle, or the one given."""
    if hull_numbers.find(words):
        return "hin"
    if topic in {"drop_visit", "move_visit", "plan_finish"} and (turned := _turned(topic, words)):
        return turned
    if topic in _OWN_RECORD and _SOMEBODY_ELSE.search(words):
        return "other_person_data"
    if topic in {"price_wash", "price_reseal", "price_topper"} and _LENGTH.search(words):
        return "quote_length"
    offered = situation.question is not None and situation.question.kind == "pick_slot"
    return "book_visit" if topic in _OFFER_TOPICS and not offered else topic


def _turned(topic: str, words: str) -> str:
    """'Don't cancel' keeps the visit; a new day in the same breath moves it."""
    if topic == "plan_finish":
        return ""
    if _MOVED.search(words):
        return "move_visit"
    return "when_is_visit" if _NOT_DROPPED.search(words) else ""
