"""Offering free times and booking the one that is picked."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from math import ceil
from typing import Any

from assistant.domain import prices, wording
from assistant.domain.business import Service
from assistant.domain.conversation.decision import AskClient, BookVisit, HandOver, HoldSlots
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.driving import distance_km, place_called
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary, Work, free_slots
from assistant.domain.times import read_times
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Slot, TimeWish

UNKNOWN_LENGTH = Decimal(30)


def book_visit(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """Up to three real free times, held for a while."""
    business = scene.situation.business
    chosen = vessel or (scene.situation.vessels[0] if scene.situation.vessels else None)
    service = _service(ask.words, scene)
    if chosen is None or service is None or diary is None:
        text = scene.say("visit.stranger")
        return Piece(text, text, "book_visit", changes=(HandOver("book_visit", note=ask.words),), why="no boat on file")
    wish = read_times(ask.words, scene.now, business.zone, scene.language)
    return offer(scene, chosen, service, wish, diary)


def offer(scene: Scene, vessel: Vessel, service: Service, wish: TimeWish, diary: Diary, lead: str = "") -> Piece:
    """The text with the times, the hold and the open question."""
    business = scene.situation.business
    slots = free_slots(business, diary, work_for(service, vessel), wish, scene.now)
    if not slots:
        slots = free_slots(business, diary, work_for(service, vessel), TimeWish(), scene.now)
    if not slots:
        text = scene.say("visit.none_free")
        return Piece(text, text, "book_visit", changes=(HandOver("book_visit", note="no free time found"),), why="full")
    until = scene.now + timedelta(minutes=business.hold_minutes)
    text = lead + scene.say(
        "visit.offer", service=service_name(scene, service), vessel=scene.name_of(vessel), list=_list(scene, slots),
        choice="1" if len(slots) == 1 else wording.join_words(
            [str(n) for n in range(1, len(slots) + 1)], scene.language, "o" if scene.language == "es" else "or"),
        until=wording.time_text(until, scene.zone, scene.language),
    )  # fmt: skip
    data = {"service": service.id, "vessel_ids": [vessel.id], "slots": [as_data(slot) for slot in slots]}
    changes = (HoldSlots(slots, until), AskClient("pick_slot", data, soon(scene.now, 72)))
    return Piece(text, text, "book_visit", changes=changes, why="free times from the calendar")


def pick_slot(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """The picked time is booked; one that is gone is replaced by others."""
    question, business = scene.situation.question, scene.situation.business
    assert question is not None
    words = " ".join(ask.words for ask in reading.asks)
    slots = [from_data(item) for item in question.data["slots"]]
    service = business.services.get(question.data["service"])
    vessel = scene.vessel(question.data["vessel_ids"][0])
    wish = read_times(words, scene.now, business.zone, scene.language, slots)
    if service is None or vessel is None or wish.pick is None or diary is None:
        return None
    if lost is not None:
        return offer(scene, vessel, service, TimeWish(), diary, scene.say("visit.lost") + " ")
    slot = slots[wish.pick - 1]
    price = price_of(scene, service, vessel)
    text = scene.say(
        "visit.booked", service=service_name(scene, service), vessel=scene.name_of(vessel),
        when=wording.moment_text(slot.begins, business.zone, scene.language, scene.today),
        place=vessel.place, price=wording.money_text(price, business.prices.currency) if price else "",
    )  # fmt: skip
    change = BookVisit(slot, service.id, (vessel.id,), vessel.place, price)
    return Piece(text, text, "pick_slot", changes=(change,), why=f"offered time {wish.pick} was picked")


def work_for(service: Service, vessel: Vessel) -> Work:
    """How long the work takes, in quarters of an hour, and the rules that come with it."""
    hours = (vessel.length_ft or UNKNOWN_LENGTH) * service.hours_per_ft
    minutes = 15 * ceil((float(hours) * 60 + service.setup_minutes) / 15)
    return Work(vessel.place, minutes, service.outdoor, service.cure_hours, (vessel,))


def price_of(scene: Scene, service: Service, vessel: Vessel) -> Decimal | None:
    """The price on the list; None when the length is not known."""
    if vessel.length_ft is None:
        return None
    business = scene.situation.business
    driven = Decimal(str(round(distance_km(business, "", vessel.place), 1))) if place_called(business, vessel.place) else Decimal(0)
    return prices.quote(business, service, vessel.length_ft, distance_km=driven).total


def service_name(scene: Scene, service: Service) -> str:
    """What the business calls the work, in the client's language."""
    return service.name.get(scene.language) or service.name.get("en", service.id)


def _service(words: str, scene: Scene) -> Service | None:
    services = scene.situation.business.services
    for id in ("reseal", "topper", "wash"):
        cues = {"reseal": ("seal", "wax", "polish", "sell"), "topper": ("topper",), "wash": ("wash", "lav", "clean")}[id]
        if id in services and any(cue in words.lower() for cue in cues):
            return services[id]
    return next(iter(services.values()), None)


def _list(scene: Scene, slots: Sequence[Slot]) -> str:
    zone = scene.situation.business.zone
    return " ".join(f"{n}) {wording.moment_text(s.begins, zone, scene.language, scene.today)}." for n, s in enumerate(slots, 1))


def as_data(slot: Slot) -> list[Any]:
    """A slot as JSON."""
    return [slot.crew, slot.begins.isoformat(), slot.ends.isoformat(), slot.why, slot.place]


def from_data(item: Sequence[Any]) -> Slot:
    """The slot again."""
    crew, begins, ends, why, place = item
    return Slot(int(crew), datetime.fromisoformat(begins), datetime.fromisoformat(ends), why, place)
