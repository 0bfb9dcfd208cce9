"""Visits that are on the calendar: when they are, moving one, calling one off."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from assistant.domain.conversation.booking_offer import OPEN_HOURS
from assistant.domain.conversation.booking_request import Request, answers_us, slot_from, vessels_named
from assistant.domain.conversation.booking_steps import next_step
from assistant.domain.conversation.booking_texts import (
    choice,
    names_of,
    numbered,
    sentences,
    service_name,
    wall_day,
    when_text,
)
from assistant.domain.conversation.decision import AskClient, CallOffVisit, Change, HandOver
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.times import days_named, hours_later
from assistant.domain.times.days import Kind
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import normal
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot, Visit, VisitState

MOST_TOLD = 3
_DROP = re.compile(r"^\W*(?:drop|quitar)\b")
_DO_DROP = re.compile(
    r"\b(?:drop|quitar|quitalo|quitala|please do|call it off|take it off|dont come|no vengan)\b"
    r"|^\W*(?:ok(?:ay)?|yes|yep|sure|si|dale|correct|1)\b(?: (?:please|thanks|por favor|gracias|do it|go ahead))?\W*$"
)
_DO_MOVE = re.compile(r"\b(?:move|mover|another day|different day|reschedule|otro dia)\b|^\W*2\W*$")
_KEEP = re.compile(r"\b(?:keep|leave it|dejar|dejalo|dejala)\b|^\W*(?:no|nope|no thanks|no gracias|3)\W*$")
_FORWARD = re.compile(r"\b(?:move me up|bring it forward|sooner|earlier|adelant\w+|antes)\b")


def upcoming(scene: Scene) -> list[Visit]:
    """Booked visits that have not begun, soonest first."""
    booked = [visit for visit in scene.situation.visits if visit.state is VisitState.BOOKED and visit.begins > scene.now]
    return sorted(booked, key=lambda visit: visit.begins)


def spoken_of(text: str, scene: Scene) -> list[Visit]:
    """The upcoming visits a text may mean: by boat, then by day; all of them when it names neither."""
    visits = upcoming(scene)
    boats = set(vessels_named(text, scene.situation.vessels))
    by_boat = [visit for visit in visits if boats & set(visit.vessel_ids)] or visits
    if len(by_boat) < 2:
        return by_boat
    business = scene.situation.business
    named = days_named(text, scene.now, business.zone, scene.language)
    days = {one.first for one in named if one.kind is Kind.DAY}
    weekdays = {number for one in named if one.kind in {Kind.WEEKDAY, Kind.RECURRING} for number in one.weekdays}
    on_day = [visit for visit in by_boat if (day := wall_day(scene, visit.begins)) in days or day.weekday() in weekdays]
    return on_day if len(on_day) == 1 else by_boat


def when_is_visit(scene: Scene) -> Piece | None:
    """What is on the calendar; None for a number we do not know."""
    visits = upcoming(scene)
    if not visits:
        return _nothing_yet(scene)
    told = [scene.say("visit.one", **_values(visit, scene)) for visit in visits[:MOST_TOLD]]
    text = sentences(scene.say("visit.coming_up", list="; ".join(told)), scene.say("visit.if_plans_change"))
    return Piece(text, sentences(told[0]), "when_is_visit", why="visits on the calendar")


def _nothing_yet(scene: Scene) -> Piece | None:
    """No visit, but perhaps offered times that wait for a pick; None for a number we do not know."""
    question = scene.situation.question
    if question is not None and question.kind == "pick_slot":
        slots = [slot_from(item) for item in question.data["slots"]]
        listed = numbered([when_text(scene, slot.begins) for slot in slots], scene, link=False)
        text = sentences(scene.say("visit.still_open", list=listed, choice=choice(len(slots), scene)))
        return Piece(text, text, "when_is_visit", why="offered times wait for a pick")
    return _none_booked(scene, "when_is_visit") if scene.situation.client else None


def move_visit(text: str, scene: Scene, diary: Diary | None) -> Piece:
    """Other times for a booked visit; its present time stays until one is picked."""
    visits = spoken_of(text, scene)
    if not visits:
        return _none_booked(scene, "move_visit")
    if len(visits) > 1:
        return _which(visits, "move", text, scene)
    return _move(visits[0], text, scene, diary)


def _move(visit: Visit, text: str, scene: Scene, diary: Diary | None) -> Piece:
    request = Request(visit.service, visit.vessel_ids, ((scene.now.isoformat(), _told(visit, text, scene)),), visit.id)
    if visit.service not in scene.situation.business.services or not set(visit.vessel_ids) & {v.id for v in scene.situation.vessels}:
        said = scene.say("visit.ask_person")
        return Piece(said, said, "move_visit", changes=(HandOver("move_visit", note=text[:300]),), why="work no longer on the list")
    return next_step(request, scene, diary)


def _told(visit: Visit, text: str, scene: Scene) -> str:
    """The text; with 'two hours later' and 'sooner' written out as the times they mean for this visit."""
    shift = hours_later(text)
    day = wall_day(scene, visit.begins)
    if shift is not None:
        there = (visit.begins + shift).astimezone(ZoneInfo(scene.situation.business.zone))
        return f"{there.date().isoformat()} at {there:%H:%M}"
    if _FORWARD.search(normal(text)) and not days_named(text, scene.now, scene.situation.business.zone, scene.language):
        return f"before {day.isoformat()}"
    return text


def drop_visit(text: str, scene: Scene) -> Piece:
    """Calling a visit off: at once on DROP, else after one question back."""
    visits = spoken_of(text, scene)
    if not visits:
        return _none_booked(scene, "drop_visit")
    if len(visits) > 1:
        return _which(visits, "drop", text, scene)
    return _drop(visits[0], text, scene) if _DROP.match(normal(text)) else _ask_drop(visits[0], text, scene)


def _ask_drop(visit: Visit, text: str, scene: Scene) -> Piece:
    said = sentences(scene.say("visit.ask_drop", **_values(visit, scene)))
    asked = AskClient("confirm_drop", {"visit_id": visit.id, "words": text[:300]}, soon(scene.now, OPEN_HOURS))
    return Piece(said, said, "drop_visit", changes=(asked,), why="asks before it calls a visit off")


def _drop(visit: Visit, text: str, scene: Scene) -> Piece:
    changes: tuple[Change, ...] = (CallOffVisit(visit.id, text[:300]),)
    if visit.begins - scene.now < timedelta(hours=scene.situation.business.notice_hours):
        changes += (HandOver("late_change", note=f"called off at short notice: {when_text(scene, visit.begins)}"),)
    said = sentences(scene.say("visit.dropped", **_values(visit, scene)))
    return Piece(said, said, "drop_visit", changes=changes, why="the client called the visit off")


def confirm_drop(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """DROP, MOVE or KEEP."""
    question = scene.situation.question
    visit = next((one for one in upcoming(scene) if question and one.id == question.data.get("visit_id")), None)
    plain = normal(reading.text)
    if question is None or visit is None or not answers_us(reading, scene):
        return None
    if _DO_MOVE.search(plain):
        return _move(visit, reading.text, scene, diary)
    if _KEEP.search(plain):
        text = sentences(scene.say("visit.kept", **_values(visit, scene)))
        return Piece(text, text, "drop_visit", why="the visit stays")
    return _drop(visit, str(question.data.get("words", "")), scene) if _DO_DROP.search(plain) else None


def which_visit(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """Which of several visits is meant."""
    question = scene.situation.question
    if question is None or not answers_us(reading, scene):
        return None
    listed = [visit for id in question.data["visit_ids"] for visit in upcoming(scene) if visit.id == id]
    places = picked_by_place(normal(reading.text), len(listed))
    spoken = [visit for visit in spoken_of(reading.text, scene) if visit in listed]
    chosen = listed[places[0] - 1] if len(places) == 1 else spoken[0] if len(spoken) == 1 else None
    if chosen is None:
        return None
    words = str(question.data.get("words", ""))
    if question.data.get("to") == "move":
        return _move(chosen, words, scene, diary)
    return _drop(chosen, words, scene) if _DROP.match(normal(words)) else _ask_drop(chosen, words, scene)


def _which(visits: Sequence[Visit], to: str, text: str, scene: Scene) -> Piece:
    told = [scene.say("visit.one_short", **_values(visit, scene)) for visit in visits[:4]]
    said = sentences(scene.say("visit.which_visit", list=numbered(told, scene, link=False)))
    data = {"visit_ids": [visit.id for visit in visits[:4]], "to": to, "words": text[:300]}
    asked = AskClient("which_visit", data, soon(scene.now, OPEN_HOURS))
    return Piece(said, said, f"{to}_visit", changes=(asked,), why="several visits on the calendar")


def _none_booked(scene: Scene, topic: str) -> Piece:
    text = scene.say("visit.none_booked")
    return Piece(text, text, topic, why="no visit on the calendar")


def _values(visit: Visit, scene: Scene) -> dict[str, str]:
    vessels: list[Vessel] = [vessel for vessel in scene.situation.vessels if vessel.id in visit.vessel_ids]
    return {
        "service": service_name(scene, scene.situation.business.services.get(visit.service)),
        "vessel": names_of(scene, vessels) or scene.name_of(None), "when": when_text(scene, visit.begins), "place": visit.place,
    }  # fmt: skip


ANSWERS: dict[str, Callable[[Reading, Scene, Diary | None, Slot | None], Piece | None]] = {
    "confirm_drop": confirm_drop, "which_visit": which_visit,
}  # fmt: skip
