"""The answer to an offer: a pick is booked, other wishes are looked for, anything else leaves the offer open."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from assistant.domain.conversation.booking_offer import DAY, join_list, offer, open_diary
from assistant.domain.conversation.booking_request import (
    Request,
    answers_us,
    merged,
    place_of,
    price_of,
    service_of,
    slot_from,
    vessels_of,
    visit_of,
    wish_of,
    work_of,
)
from assistant.domain.conversation.booking_steps import ask_day
from assistant.domain.conversation.booking_texts import (
    choice,
    names_of,
    price_text,
    ready_text,
    sentences,
    service_name,
    wall_day,
    when_text,
)
from assistant.domain.conversation.decision import BookVisit, Change, HandOver, MoveVisit
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.slots import Diary, is_free
from assistant.domain.times import only_times, read_times
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import normal
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot, TimeWish

ABOUT_TIMES = frozenset({"book_visit", "pick_slot", "no_slot_fits", "move_visit", "two_boats"})
_LIST = re.compile(r"\b(?:waiting list|wait ?list|list|lista(?: de espera)?)\b")
_NEVER_MIND = re.compile(r"\b(?:never ?mind|keep (?:it|my|the)|leave it|forget it|not now|no thanks|changed my mind|dejalo|olvidalo|no gracias|ya no)\b|^\W*(?:no|nope|nah)\W*$")


def pick_slot(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """What the client makes of the offered times."""
    question = scene.situation.question
    if question is None or diary is None:
        return None
    request, slots = Request.of(question.data), [slot_from(item) for item in question.data["slots"]]
    if service_of(request, scene) is None or not vessels_of(request, scene):
        return None
    plain = normal(reading.text)
    wish = read_times(reading.text, scene.now, scene.situation.business.zone, scene.language, slots)
    if wish.pick and not (wish.later_than_offer or wish.earlier_than_offer):
        return _pick(request, slots[wish.pick - 1], scene, diary, lost)
    on_list = question.data.get("list") and picked_by_place(plain, len(slots) + 1) == [len(slots) + 1]
    if on_list or _LIST.search(plain) or any(ask.topic == "waiting_list" for ask in reading.asks):
        return join_list(request.also(reading.text, scene), scene)
    if _NEVER_MIND.search(plain):
        visit = visit_of(request, scene)
        text = scene.say("visit.stays", when=when_text(scene, visit.begins)) if visit else scene.say("visit.never_mind")
        return Piece(text, text, "no_slot_fits", why="no time wanted any more")
    if wish.ambiguous == "pick":
        return _which_one(slots, scene)
    if re.fullmatch(r"\W*#?\d\W*", plain):
        return _which_one(slots, scene)
    return _other_times(wish, request, slots, reading, scene, diary)


def _which_one(slots: Sequence[Slot], scene: Scene) -> Piece:
    """The pick is not clear, or names a time that was not offered."""
    text = scene.say("visit.which_time", choice=choice(len(slots), scene))
    return Piece(text, text, "pick_slot", why="not clear which of the offered times is meant", keeps_question=True)


def _pick(request: Request, slot: Slot, scene: Scene, diary: Diary, lost: Slot | None) -> Piece:
    """The time that was picked, unless somebody else has it by now."""
    service, vessels, visit = service_of(request, scene), vessels_of(request, scene), visit_of(request, scene)
    question, business = scene.situation.question, scene.situation.business
    if service is None or question is None:
        raise ValueError("a pick needs the offer it answers")
    work = work_of(service, vessels, business)
    if lost is not None or slot.begins <= scene.now or not is_free(business, open_diary(diary, visit), work, slot, question.asked_at):
        near = TimeWish(first=max(scene.today, wall_day(scene, slot.begins) - 3 * DAY))
        return offer(request, near, scene, diary, scene.say("visit.lost"))
    return _taken(request, slot, scene)


def _taken(request: Request, slot: Slot, scene: Scene) -> Piece:
    """The picked time as a visit, or as the new time of one; said with all one needs to know."""
    service, vessels, visit = service_of(request, scene), vessels_of(request, scene), visit_of(request, scene)
    if service is None:
        raise ValueError("a pick needs the offer it answers")
    price = price_of(scene, service, vessels, request.add_ons)
    values = {
        "service": service_name(scene, service), "vessel": names_of(scene, vessels), "when": when_text(scene, slot.begins),
        "place": place_of(vessels, scene.situation.business), "price": price_text(scene, price),
    }  # fmt: skip
    ending = (ready_text(scene, service), scene.say("visit.if_plans_change"))
    if visit:
        changes: tuple[Change, ...] = (MoveVisit(visit.id, slot),)
        if visit.begins - scene.now < timedelta(hours=scene.situation.business.notice_hours):
            changes += (HandOver("late_change", note=f"moved at short notice to {values['when']}"),)
        text = sentences(scene.say("visit.moved", **values), *ending)
        return Piece(text, text, "move_visit", changes=changes, why="an offered time was picked for the move")
    note = "; ".join(words for _, words in request.told)[:300]
    vessel_ids = tuple(vessel.id for vessel in vessels)
    booked = BookVisit(slot, service.id, vessel_ids, values["place"], price.total if price else None, note)
    text = sentences(scene.say("visit.booked", **values), *ending)
    return Piece(text, text, "pick_slot", changes=(booked,), why="an offered time was picked")


def _other_times(
    wish: TimeWish, request: Request, slots: Sequence[Slot], reading: Reading, scene: Scene, diary: Diary
) -> Piece | None:
    """New times for somebody whom the offered ones do not suit; None when the text asks for no times at all."""
    asks_anew = wish.none_fit or wish.later_than_offer or wish.earlier_than_offer or not replace(wish, words="").empty
    if not asks_anew or not _about_times(reading, scene):
        return None
    if wish.ambiguous:
        return ask_day(wish, request.also(reading.text, scene), scene)
    return offer(request.also(reading.text, scene), _instead(wish, request, slots, scene), scene, diary)


def _about_times(reading: Reading, scene: Scene) -> bool:
    """True when a text is about when to come; 'the topper lasts longer now?' names times as well, but asks for none."""
    if any(ask.topic in ABOUT_TIMES for ask in reading.asks):
        return True
    only = only_times(reading.text, scene.now, scene.situation.business.zone, scene.language)
    return only or answers_us(reading, scene)


def _instead(wish: TimeWish, request: Request, slots: Sequence[Slot], scene: Scene) -> TimeWish:
    """What to look for now: the new wish over the old one; else later, sooner, or other days than were offered."""
    before = wish_of(request, scene)
    plain = replace(wish, none_fit=False, pick=None, later_than_offer=False, earlier_than_offer=False)
    days = sorted(wall_day(scene, slot.begins) for slot in slots)
    if wish.pick:
        return replace(before, days=plain.days, first=None, last=None, weekdays=frozenset(), earliest=plain.earliest, latest=plain.latest)
    if not replace(plain, words="").empty:
        return merged(before, plain)
    anywhen = replace(before, first=None, last=None, days=(), asap=False)
    if wish.later_than_offer:
        return replace(anywhen, first=days[-1] + DAY)
    if wish.earlier_than_offer:
        return replace(anywhen, last=days[0] - DAY, asap=True)
    still = tuple(day for day in before.days if day not in days)
    return replace(before if still or not before.days else anywhen, days=still, not_days=before.not_days | frozenset(days))
