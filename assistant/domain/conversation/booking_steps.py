"""One step at a time to a booking: what is missing is asked for, and the answers are read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from assistant.domain.conversation.booking_offer import OPEN_HOURS, like_last_year, offer
from assistant.domain.conversation.booking_request import (
    Request,
    answers_us,
    note_of,
    place_of,
    service_of,
    services_named,
    vessels_named,
    vessels_of,
    visit_of,
    wish_of,
)
from assistant.domain.conversation.booking_texts import (
    day_text,
    names_of,
    numbered,
    sentences,
    service_name,
    wall_day,
)
from assistant.domain.conversation.decision import AskClient, Change, HandOver, NoteVessel
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.driving import place_called
from assistant.domain.prices import feet_in
from assistant.domain.slots import Diary
from assistant.domain.times import read_times
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import normal
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot, TimeWish

POSSIBLE_FEET = (Decimal(5), Decimal(400))
_ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def next_step(
    request: Request, scene: Scene, diary: Diary | None, lead: str = "", changes: Sequence[Change] = ()
) -> Piece:
    """Ask for the first thing that is missing; when nothing is, offer times."""
    vessels, service = vessels_of(request, scene), service_of(request, scene)
    if not vessels:
        return ask_vessel(request, scene)
    if service is None:
        return ask_service(request, scene)
    unmeasured = next((vessel for vessel in vessels if vessel.length_ft is None), None)
    if unmeasured:
        return asked("boat_length", scene.say("visit.ask_length", vessel=scene.name_of(unmeasured)), request, scene, changes)
    business = scene.situation.business
    if len({vessel.place for vessel in vessels}) > 1 and not place_of(vessels, business):
        return ask_vessel(request, scene, scene.say("visit.two_places"))
    place = place_called(business, vessels[0].place)
    if place and place.no_wash and service.outdoor:
        text = scene.say("visit.no_wash", place=place.name)
        return Piece(text, text, "book_visit", changes=(*changes, HandOver("no_wash", note=note_of(request))), why="no washing there")
    visit = visit_of(request, scene)
    wish = like_last_year(wish_of(request, scene, wall_day(scene, visit.begins) if visit else None), scene)
    if wish.ambiguous:
        return ask_day(wish, request, scene)
    if diary is None:
        raise ValueError("times can be offered only with a calendar")
    return offer(request, wish, scene, diary, lead, changes)


def ask_vessel(request: Request, scene: Scene, lead: str = "") -> Piece:
    """Which of the boats."""
    names = numbered([scene.name_of(vessel) for vessel in scene.situation.vessels], scene)
    return asked("visit_vessel", sentences(lead, scene.say("visit.ask_vessel", choice=names)), request, scene)


def ask_service(request: Request, scene: Scene) -> Piece:
    """Which work."""
    services = [service_name(scene, service) for service in list(scene.situation.business.services.values())[:4]]
    vessel = names_of(scene, vessels_of(request, scene))
    text = scene.say("visit.ask_service", vessel=vessel, list=numbered(services, scene, link=False))
    return asked("which_service", text, request, scene)


def ask_day(wish: TimeWish, request: Request, scene: Scene) -> Piece:
    """Read an unclear date back: 'Do you mean 1) Tue Jun 8 or 2) Wed Jun 9?'."""
    days = _ISO_DAY.findall(wish.ambiguous)
    told = [day_text(scene, date.fromisoformat(day)) for day in days]
    text = scene.say("visit.which_day", choice=numbered(told, scene)) if days else scene.say("visit.no_such_day", what=wish.ambiguous)
    question = AskClient("confirm_time", request.data() | {"days": days}, soon(scene.now, OPEN_HOURS))
    return Piece(text, text, "book_visit", changes=(question,), why="the date can be read in two ways")


def asked(kind: str, text: str, request: Request, scene: Scene, changes: Sequence[Change] = ()) -> Piece:
    """A question with the request kept behind it."""
    question = AskClient(kind, request.data(), soon(scene.now, OPEN_HOURS))
    text = sentences(text)
    return Piece(text, text, "book_visit", changes=(*changes, question), why=f"asks: {kind}")


def stranger(scene: Scene, words: str) -> Piece:
    """Somebody we do not know wants a visit: ask who they are, and tell the detailer."""
    text = scene.say("visit.stranger")
    question = AskClient("new_client", {}, soon(scene.now, OPEN_HOURS))
    changes = (HandOver("new_client", note=f"number not on file, wants a visit: {words[:300]}"), question)
    return Piece(text, text, "book_visit", changes=changes, why="number not on file")


def visit_vessel(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """Which boat the visit is for."""
    ids = vessels_named(reading.text, scene.situation.vessels, listed=True)
    if not ids or not answers_us(reading, scene):
        return None
    return next_step(replace(_open(scene).also(reading.text, scene), vessel_ids=ids), scene, diary)


def which_service(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """Which work the visit is for."""
    named, services = services_named(reading.text, scene), list(scene.situation.business.services.values())
    places = picked_by_place(normal(reading.text), min(len(services), 4))
    if (len(named) != 1 and len(places) != 1) or not answers_us(reading, scene):
        return None
    chosen = named[0] if len(named) == 1 else services[places[0] - 1]
    return next_step(replace(_open(scene).also(reading.text, scene), service=chosen.id), scene, diary)


def boat_length(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """How long the boat is; it is noted on its record."""
    request, feet = _open(scene), feet_in(reading.text) or _bare_number(reading.text)
    vessel = next((one for one in vessels_of(request, scene) if one.length_ft is None), None)
    if vessel is None or feet is None or not POSSIBLE_FEET[0] <= feet <= POSSIBLE_FEET[1] or not answers_us(reading, scene):
        return None
    measured = tuple(replace(one, length_ft=feet) if one.id == vessel.id else one for one in scene.situation.vessels)
    known = replace(scene, situation=replace(scene.situation, vessels=measured))
    return next_step(request, known, diary, changes=(NoteVessel(vessel.id, "length_ft", str(feet)),))


def _bare_number(text: str) -> Decimal | None:
    """'28' or 'about 28', as an answer to how long."""
    found = re.search(r"\b\d{1,3}(?:\.\d)?\b", text)
    return Decimal(found[0]) if found and len(text.split()) <= 4 else None


def confirm_time(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """Which of two dates was meant, or a day in other words."""
    question = scene.situation.question
    days = [date.fromisoformat(day) for day in question.data.get("days", ())] if question else []
    wish = read_times(reading.text, scene.now, scene.situation.business.zone, scene.language)
    chosen = picked_by_place(normal(reading.text), len(days)) if days else []
    if len(chosen) == 1 and answers_us(reading, scene):
        return next_step(_open(scene).also(days[chosen[0] - 1].isoformat(), scene), scene, diary)
    if wish.ambiguous or replace(wish, words="").empty or not answers_us(reading, scene):
        return None
    return next_step(_open(scene).also(reading.text, scene), scene, diary)


def new_client(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """What somebody we do not know tells about themselves goes to the detailer."""
    if "?" in reading.text:
        return None
    text = scene.say("visit.stranger_thanks")
    note = f"new client, wants a visit: {reading.text[:300]}"
    return Piece(text, text, "book_visit", changes=(HandOver("new_client", note=note),), why="a new client told who they are")


def _open(scene: Scene) -> Request:
    """The request behind the open question."""
    return Request.of(scene.situation.question.data if scene.situation.question else {})
