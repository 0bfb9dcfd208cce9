"""Offering free times: what fits the wish, else what comes near it and why; held for a while."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from assistant.domain import wording
from assistant.domain.conversation.booking_request import (
    Request,
    note_of,
    price_of,
    service_of,
    slot_data,
    vessels_of,
    visit_of,
    wish_of,
    work_of,
)
from assistant.domain.conversation.booking_texts import (
    choice,
    names_of,
    numbered,
    price_text,
    reason,
    sentences,
    service_name,
    wall_day,
    when_text,
    why_not_text,
)
from assistant.domain.conversation.decision import (
    AskClient,
    Change,
    CloseQuestion,
    HandOver,
    HoldSlots,
    JoinWaitingList,
)
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.slots import Diary, Obstacle, Work, free_slots, obstacle, opened_up
from assistant.domain.times.words import normal
from assistant.domain.visits import Slot, TimeWish, Visit

OPEN_HOURS = 72
"""A question of ours may be answered this long; offered times are held for a shorter while."""
MOST = 3
"""Times in one offer."""
DAY = timedelta(days=1)
_ANOTHER_DAY = re.compile(r"\b(?:another|different|some other) (?:day|date)\b|\botro dia\b|\botra fecha\b")


def offer(
    request: Request, wish: TimeWish, scene: Scene, diary: Diary, lead: str = "", changes: Sequence[Change] = ()
) -> Piece:
    """Up to three real free times for a request that lacks nothing."""
    business, vessels, service = scene.situation.business, vessels_of(request, scene), service_of(request, scene)
    if service is None or not vessels:
        raise ValueError("only a request with its work and its boats can be offered times")
    visit = visit_of(request, scene)
    work = work_of(service, vessels, business)
    slots, why_not = search(work, for_move(wish, visit, scene), scene, open_diary(diary, visit), visit.begins if visit else None)
    if not slots or _beyond(wish, diary):
        id = "visit.none_free" if not slots else "visit.too_far"
        text = sentences(lead, scene.say(id, until=scene.day(diary.last)))
        return Piece(text, text, "book_visit", changes=(*changes, HandOver("no_free_time", note=note_of(request))), why="no free time")
    until = scene.now + timedelta(minutes=business.hold_minutes)
    clock = wording.time_text(until, business.zone, scene.language)
    text = sentences(
        lead, why_not_text(why_not, work, scene), _times_text(request, slots, visit, scene),
        reason(slots, work, scene) if why_not is not Obstacle.PLACE else "",
        scene.say("visit.reply" if len(slots) > 1 else "visit.reply_one", choice=choice(len(slots), scene), until=clock),
        scene.say("visit.or_list", count=str(len(slots) + 1)) if why_not is Obstacle.FULL else "",
    )  # fmt: skip
    data = request.data() | {"slots": [slot_data(slot) for slot in slots], "list": why_not is Obstacle.FULL}
    held = HoldSlots(tuple(part for slot in slots for part in _beside(slot, visit)), until)
    asked = AskClient("pick_slot", data, soon(scene.now, OPEN_HOURS))
    why = f"free times from the calendar{f'; as wished: {why_not.value}' if why_not else ''}"
    return Piece(text, text, "move_visit" if visit else "book_visit", changes=(*changes, held, asked), why=why)


def _beside(slot: Slot, visit: Visit | None) -> tuple[Slot, ...]:
    """What must be held of an offered time: all of it, but for what the visit that is to move occupies already."""
    if visit is None or visit.crew != slot.crew or visit.ends <= slot.begins or slot.ends <= visit.begins:
        return (slot,)
    parts = (replace(slot, ends=min(slot.ends, visit.begins)), replace(slot, begins=max(slot.begins, visit.ends)))
    return tuple(part for part in parts if part.begins < part.ends)


def _beyond(wish: TimeWish, diary: Diary) -> bool:
    """True when everything that is wished lies after the last day of the calendar."""
    first = wish.first or min(wish.days, default=None)
    return first is not None and first > diary.last


def offer_as_wished(request: Request, wish: TimeWish, scene: Scene, diary: Diary, lead: str) -> Piece | None:
    """An offer to somebody who waits, only of times that fit the wish; None while there are none."""
    vessels, service = vessels_of(request, scene), service_of(request, scene)
    if service is None or not vessels:
        return None
    if not free_slots(scene.situation.business, diary, work_of(service, vessels, scene.situation.business), wish, scene.now, 1):
        return None
    return offer(request, wish, scene, diary, lead)


def open_diary(diary: Diary, visit: Visit | None) -> Diary:
    """The calendar in which the visit that is to move does not stand in its own way."""
    return opened_up(diary, Slot(visit.crew, visit.begins, visit.ends)) if visit else diary


def search(
    work: Work, wish: TimeWish, scene: Scene, diary: Diary, but_not: datetime | None = None
) -> tuple[tuple[Slot, ...], Obstacle | None]:
    """Times as wished; else the nearest ones, and what stood against the wish. `but_not`: the time one has already."""
    why_not = None
    for tried in (wish, *_wider(wish, scene.today)):
        found = free_slots(scene.situation.business, diary, work, tried, scene.now, MOST if but_not is None else MOST + 1)
        slots = tuple(slot for slot in found if slot.begins != but_not)[:MOST]
        if slots:
            return slots, why_not
        why_not = why_not or obstacle(scene.situation.business, diary, work, wish, scene.now)
    return (), why_not


def _wider(wish: TimeWish, today: date) -> list[TimeWish]:
    """The wish at any hour; then on days around it; then from its first day on; then at any time."""
    limits = TimeWish(not_days=wish.not_days, not_weekdays=wish.not_weekdays, needed_on=wish.needed_on)
    timed = replace(limits, earliest=wish.earliest, latest=wish.latest)
    days = [day for day in (*wish.days, wish.first, wish.last) if day]
    near = []
    if days:
        first = max(today, min(days))
        near = [replace(timed, first=max(today, min(days) - 3 * DAY), last=max(days) + 7 * DAY), replace(timed, first=first),
                replace(limits, first=first)]  # fmt: skip
    return [replace(wish, earliest=None, latest=None), *near, timed, limits, TimeWish()]


def for_move(wish: TimeWish, visit: Visit | None, scene: Scene) -> TimeWish:
    """Somebody who names no day for a move wants a later day, or with an hour only that day at that hour."""
    if visit is None:
        return wish
    day = wall_day(scene, visit.begins)
    if _ANOTHER_DAY.search(normal(wish.words)):
        wish = replace(wish, not_days=wish.not_days | {day})
    if _names_days(wish):
        named = day in wish.days or (wish.first or day) <= day <= (wish.last or day)
        return wish if named else replace(wish, not_days=wish.not_days | {day})
    if wish.earliest is not None or wish.latest is not None:
        return replace(wish, days=(day,))
    return replace(wish, first=day + DAY)


def _names_days(wish: TimeWish) -> bool:
    return bool(wish.days or wish.first or wish.last or wish.weekdays or wish.asap or wish.needed_on)


def like_last_year(wish: TimeWish, scene: Scene) -> TimeWish:
    """'same time as last year' as the week around the day of last year's visit, on the same weekday."""
    if not wish.like_last_year:
        return wish
    days = sorted(wall_day(scene, visit.begins) for visit in scene.situation.visits if visit.begins < scene.now)
    a_year_ago = [day for day in days if 300 <= (scene.today - day).days <= 400] or days[-1:]
    if not a_year_ago:
        return replace(wish, like_last_year=False)
    there = a_year_ago[0] + 364 * DAY
    while there < scene.today:
        there += 364 * DAY
    return replace(wish, like_last_year=False, first=there - 3 * DAY, last=there + 3 * DAY)


def join_list(request: Request, scene: Scene) -> Piece:
    """On the waiting list, with the wish as plain days."""
    wish = like_last_year(wish_of(request, scene), scene)
    last = min((day for day in (wish.last, wish.needed_on and wish.needed_on - DAY) if day), default=None)
    plain = TimeWish(
        first=wish.first, last=last, days=wish.days, weekdays=wish.weekdays, not_weekdays=wish.not_weekdays,
        not_days=wish.not_days, earliest=wish.earliest, latest=wish.latest, words=wish.words[:300],
    )  # fmt: skip
    what = service_name(scene, service_of(request, scene))
    text = sentences(scene.say("wait.joined", service=what, vessel=names_of(scene, vessels_of(request, scene))))
    changes = (JoinWaitingList(request.service, request.vessel_ids, plain), CloseQuestion())
    return Piece(text, text, "waiting_list", changes=changes, why="put on the waiting list")


def _times_text(request: Request, slots: Sequence[Slot], visit: Visit | None, scene: Scene) -> str:
    vessels, service = vessels_of(request, scene), service_of(request, scene)
    values = {
        "service": service_name(scene, service), "vessel": names_of(scene, vessels),
        "list": numbered([when_text(scene, slot.begins) for slot in slots], scene, link=False),
    }  # fmt: skip
    if visit:
        return scene.say("visit.offer_move", when=when_text(scene, visit.begins), **values)
    price = price_text(scene, price_of(scene, service, vessels, request.add_ons)) if service else ""
    return scene.say("visit.offer", price=price, **values)
