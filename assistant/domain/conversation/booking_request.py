"""What a visit is wanted for: which work, on which boats, where, for how much, as far as the client has told."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from math import ceil
from typing import Any

from assistant.domain import prices
from assistant.domain.business import Business, Service
from assistant.domain.conversation.scene import Scene
from assistant.domain.driving import distance_km, place_called
from assistant.domain.people import Vessel
from assistant.domain.slots import Work
from assistant.domain.times import read_times
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import normal
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot, TimeWish, Visit

COMMON = {
    "wash": r"wash\w*|clean\w*|rins\w+|scrub\w*|soap|bath|lav\w+|limpi\w+|enjuag\w+",
    "topper": r"topper\w*|topped|spray coat|quartz|sio2|monthly spray",
    "reseal": r"reseal\w*|seal\w*|wax\w*|polish\w*|buff\w*|compound\w*|ceramic|coat(?:ing|ed)?|resell\w+|sell\w+|encer\w+|pul(?:ir|ido)\w*|cera\b",
}
"""What people say for the usual kinds of work, by the id a business gives them on its list."""
_USUAL = re.compile(r"\b(?:the usual|usual (?:job|visit|service)|same (?:job|thing|service|work)|as (?:always|usual)|lo de siempre|lo mismo)\b")
_BOTH = re.compile(r"\b(?:both|all (?:my|our|the|three) boats|the two boats|two boats|ambos|ambas|l[oa]s dos|tod[oa]s (?:l[oa]s|mis))\b")


FEW_WORDS, SOME_WORDS, SURE = 4, 8, 0.8


@dataclass(frozen=True, slots=True)
class Request:
    """One wish for a visit. `told` are the texts its times are read from, each with the moment it came."""

    service: str = ""
    vessel_ids: tuple[int, ...] = ()
    told: tuple[tuple[str, str], ...] = ()
    visit_id: int | None = None
    """The visit that is to move, if one is."""
    add_ons: tuple[str, ...] = ()

    def data(self) -> dict[str, Any]:
        """As JSON knows it."""
        return {
            "service": self.service, "vessel_ids": list(self.vessel_ids), "told": [list(one) for one in self.told],
            "visit_id": self.visit_id, "add_ons": list(self.add_ons),
        }  # fmt: skip

    @staticmethod
    def of(data: Mapping[str, Any]) -> Request:
        """The request again."""
        return Request(
            str(data.get("service", "")), tuple(data.get("vessel_ids", ())),
            tuple((str(at), str(words)) for at, words in data.get("told", ())), data.get("visit_id"),
            tuple(data.get("add_ons", ())),
        )  # fmt: skip

    def also(self, words: str, scene: Scene) -> Request:
        """The request with a further text of the client's."""
        return replace(self, told=(*self.told, (scene.now.isoformat(), words)))


def answers_us(reading: Reading, scene: Scene) -> bool:
    """True when a text may answer a question of ours on a visit; 'can i wash with vinegar?' is a new one, whatever it names.

    What is about bookings or mere manners may be an answer, and so may a few words that ask nothing.
    """
    words, asks = len(reading.text.split()), "?" in reading.text
    if words <= FEW_WORDS and not asks:
        return True
    groups = {_group(ask.topic, scene) for ask in reading.asks if ask.certainty >= SURE}
    return groups <= {"booking", "people"} and (bool(groups) or (words <= SOME_WORDS and not asks))


def _group(topic: str, scene: Scene) -> str:
    answer = scene.knowledge.answer(topic, "en")
    return answer.group if answer else "booking"


def wish_of(request: Request, scene: Scene, anchor: date | None = None) -> TimeWish:
    """The times that are asked for: what a later text says replaces what an earlier one said on the same."""
    wish = TimeWish()
    for at, words in request.told:
        read = read_times(words, datetime.fromisoformat(at), scene.situation.business.zone, scene.language, anchor=anchor)
        wish = merged(wish, read)
    return wish


def merged(before: TimeWish, after: TimeWish) -> TimeWish:
    """Later days replace earlier days, later hours earlier hours; what was ruled out stays ruled out."""
    has_days = after.first or after.last or after.days or after.weekdays or after.needed_on or after.asap or after.like_last_year
    days = after if has_days else before
    hours = after if after.earliest is not None or after.latest is not None else before
    return TimeWish(
        first=days.first, last=days.last, days=days.days, weekdays=days.weekdays,
        not_weekdays=(before.not_weekdays | after.not_weekdays) - days.weekdays,
        not_days=(before.not_days | after.not_days) - frozenset(days.days), needed_on=days.needed_on or before.needed_on,
        earliest=hours.earliest, latest=hours.latest, asap=days.asap, like_last_year=days.like_last_year,
        ambiguous=after.ambiguous, words=f"{before.words} {after.words}".strip(),
    )  # fmt: skip


def services_named(text: str, scene: Scene) -> list[Service]:
    """The work a text means, by the names on the business's list and by common words; the closest fit first.

    'wash and topper' means the service of that name rather than the wash: the more of its name is said, the closer.
    """
    plain, business = normal(text), scene.situation.business
    said = {cue for cue, pattern in _cues(business).items() if re.search(rf"\b(?:{pattern})\b", plain)}
    ranked = []
    for service in business.services.values():
        own = _words_of(service)
        hits = len(own & said)
        if hits:
            ranked.append((-hits, len(own - said), service))
    ranked.sort(key=lambda one: one[:2])
    closest = [service for hits, unsaid, service in ranked if (hits, unsaid) == ranked[0][:2]]
    if not closest and _USUAL.search(plain):
        past = [visit.service for visit in scene.situation.visits if visit.service in business.services]
        return [business.services[past[-1]]] if past else []
    return closest


def _cues(business: Business) -> dict[str, str]:
    """Cue -> pattern: the common words, and every word of a name on the list that they do not cover."""
    cues = {id: pattern for id, pattern in COMMON.items() if id in business.services}
    for service in business.services.values():
        for word in _name_words(service):
            if not any(re.fullmatch(pattern, word) for pattern in COMMON.values()):
                cues[word] = re.escape(word)
    return cues


def _words_of(service: Service) -> set[str]:
    """Cues that belong to a service: its id, and the words of its names (through the common words where they apply)."""
    own = {service.id} if service.id in COMMON else set()
    for word in _name_words(service):
        own.add(next((id for id, pattern in COMMON.items() if re.fullmatch(pattern, word)), word))
    return own


def _name_words(service: Service) -> set[str]:
    text = " ".join([*service.name.values(), service.id.replace("_", " ")])
    return {word for word in re.findall(r"[a-z0-9]+", normal(text)) if len(word) > 2 and word not in {"and", "con", "the"}}


def add_ons_named(text: str, service: Service) -> tuple[str, ...]:
    """Extras of the price list that a text asks for."""
    plain = normal(text).replace("-", " ")
    return tuple(name for name in service.add_ons if name.replace("_", " ").lower() in plain)


def vessels_named(text: str, vessels: Sequence[Vessel], listed: bool = False) -> tuple[int, ...]:
    """Ids of the boats a text names: by name or its first word, by type, by 'both', and by place if they were `listed`."""
    plain = normal(text)
    if _BOTH.search(plain) and len(vessels) > 1:
        return tuple(vessel.id for vessel in vessels)
    whole = [vessel.id for vessel in vessels if vessel.name and normal(vessel.name) in plain]
    if whole:
        return tuple(whole)
    for means in (_first_word, lambda vessel: normal(vessel.boat_type).replace("_", " ")):
        found = [vessel.id for vessel in vessels if len(means(vessel)) > 2 and re.search(rf"\b{re.escape(means(vessel))}\b", plain)]
        if len(found) == 1:
            return tuple(found)
    places = picked_by_place(plain, min(len(vessels), 4)) if listed else []
    return tuple(vessels[place - 1].id for place in places)


def _first_word(vessel: Vessel) -> str:
    return normal(vessel.name).split(" ")[0]


def vessels_of(request: Request, scene: Scene) -> list[Vessel]:
    """The boats of a request, in the order of the client's record."""
    return [vessel for vessel in scene.situation.vessels if vessel.id in request.vessel_ids]


def service_of(request: Request, scene: Scene) -> Service | None:
    """The work of a request."""
    return scene.situation.business.services.get(request.service)


def visit_of(request: Request, scene: Scene) -> Visit | None:
    """The visit that is to move, if one is."""
    return next((visit for visit in scene.situation.visits if visit.id == request.visit_id), None)


def note_of(request: Request) -> str:
    """The client's words, for the detailer."""
    return "; ".join(words for _, words in request.told)[:300]


def place_of(vessels: Sequence[Vessel], business: Business) -> str:
    """Where the boats lie, by the business's own name for it; '' when it is not known or not one place."""
    names = {(place.name if (place := place_called(business, vessel.place)) else vessel.place) for vessel in vessels}
    return names.pop() if len(names) == 1 else ""


def work_of(service: Service, vessels: Sequence[Vessel], business: Business) -> Work:
    """How long the work takes, in whole quarters of an hour, and the rules that come with it."""
    feet = sum((vessel.length_ft or Decimal(0) for vessel in vessels), Decimal(0))
    minutes = 15 * ceil((feet * service.hours_per_ft * 60 + service.setup_minutes) / 15)
    return Work(place_of(vessels, business), minutes, service.outdoor, service.cure_hours, tuple(vessels))


def price_of(
    scene: Scene, service: Service, vessels: Sequence[Vessel], add_ons: Sequence[str] = (), condition: str = ""
) -> prices.Quote | None:
    """The price on the list for one visit to these boats; None when a length is not known."""
    lengths = [vessel.length_ft for vessel in vessels if vessel.length_ft]
    if len(lengths) < len(vessels) or not lengths:
        return None
    business = scene.situation.business
    way = Decimal(str(round(distance_km(business, "", place_of(vessels, business)), 1)))
    return prices.quote_visit(business, service, lengths, add_ons, condition, way)


def slot_data(slot: Slot) -> list[Any]:
    """A slot as JSON."""
    return [slot.crew, slot.begins.isoformat(), slot.ends.isoformat(), slot.why, slot.place]


def slot_from(item: Sequence[Any]) -> Slot:
    """The slot again."""
    crew, begins, ends, why, place = item
    return Slot(int(crew), datetime.fromisoformat(begins), datetime.fromisoformat(ends), str(why), str(place))
