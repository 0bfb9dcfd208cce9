"""Plans and the waiting list by text: begin, pause, leave; be told when a time comes free."""

from __future__ import annotations

import re
from datetime import date, timedelta

from assistant.domain.business import Service
from assistant.domain.conversation.booking_change import upcoming
from assistant.domain.conversation.booking_offer import OPEN_HOURS, join_list
from assistant.domain.conversation.booking_request import Request, answers_us, price_of, services_named, vessels_named
from assistant.domain.conversation.booking_texts import (
    names_of,
    numbered,
    price_text,
    sentences,
    service_name,
    when_text,
)
from assistant.domain.conversation.decision import AskClient, ChangePlan, HandOver
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.people import Vessel
from assistant.domain.plans import MONTHLY_DAYS
from assistant.domain.slots import Diary
from assistant.domain.times import days_named, read_times
from assistant.domain.times.days import Kind
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import COUNT, count_of, normal
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot

FIRST_AFTER = timedelta(days=3)
_FORTNIGHT = re.compile(r"\b(?:every (?:other|two|2) weeks?|biweekly|bi-weekly|fortnight\w*|cada (?:dos|2) semanas|cada quince dias|quincenal\w*)\b")
_WEEKLY = re.compile(r"\b(?:every week|weekly|cada semana|semanal\w*)\b")
_EVERY = re.compile(rf"\b(?:every|cada) (?P<n>{COUNT}) (?P<u>weeks?|months?|days?|semanas?|mes(?:es)?|dias?)\b")
_AGREED = re.compile(r"^\W*(?:ok|okay|yes|yep|sure|1|si|dale|go ahead|lets do it|lets go|sounds good|perfect\w*|vale|de acuerdo)\b|\bcount me in\b")
_REFUSED = re.compile(r"^\W*(?:2|no|nope)\b|\b(?:not now|maybe later|never ?mind|ahora no|mejor no)\b")
_LEAVE_LIST = re.compile(r"\b(?:off (?:the|your) (?:waiting |wait ?)?list|where am i|how long|still on|sacame|quitame)\b")


def plan_begin(text: str, scene: Scene, vessel: Vessel | None) -> Piece | None:
    """What a plan would be, with its price, and a question before it begins; None where a person must see to it."""
    paused = next((id for id, state in (scene.situation.plan_states or {}).items() if state == "paused"), None)
    if paused is not None:
        return _resumed(paused, text, scene)
    service = _plan_service(text, scene)
    if service is None:
        return None
    ids = vessels_named(text, scene.situation.vessels) or ((vessel.id,) if vessel else ())
    if not ids:
        names = numbered([scene.name_of(one) for one in scene.situation.vessels], scene)
        return _asked("plan_vessel", scene.say("visit.ask_vessel", choice=names), {"words": text[:300]}, scene)
    return _proposed(text, service, ids, scene)


def _proposed(text: str, service: Service, ids: tuple[int, ...], scene: Scene) -> Piece:
    every = rhythm(text)
    wish = read_times(_without_rhythm(text), scene.now, scene.situation.business.zone, scene.language)
    begins = wish.first or min(wish.days, default=None) or scene.today + FIRST_AFTER
    vessels = [one for one in scene.situation.vessels if one.id in ids]
    said = sentences(scene.say(
        "plan.propose", service=service_name(scene, service), vessel=names_of(scene, vessels), what=_rhythm_text(every, scene),
        price=price_text(scene, price_of(scene, service, vessels)), first=scene.day(max(begins, scene.today)),
    ), scene.say("plan.reply"))  # fmt: skip
    data = {"vessel_ids": list(ids), "service": service.id, "every_days": every, "begins": begins.isoformat()}
    return _asked("begin_plan", said, data, scene)


def plan_pause(text: str, scene: Scene) -> Piece | None:
    """The plan rests, until a day if one is named; None where there is no plan on file."""
    plan_id = _only_plan(scene, "active")
    if plan_id is None:
        return None
    back = _back_on(text, scene)
    change = ChangePlan("paused", (), plan_id, begins=back)
    said = scene.say("plan.paused_until", until=scene.day(back)) if back else scene.say("plan.paused")
    said = sentences(said, _visits_left(scene))
    return Piece(said, said, "plan_pause", changes=(change,), why="the plan rests")


def _back_on(text: str, scene: Scene) -> date | None:
    """The day a rest ends: 'until april' is its first day, 'for two months' counts from today, a month is left out whole."""
    plain, zone = normal(text), scene.situation.business.zone
    named = [one for one in days_named(text, scene.now, zone, scene.language) if one.kind in {Kind.DAY, Kind.SPAN, Kind.WEEKDAY}]
    spell = re.search(rf"\b(?:for|por|durante) (?:the next )?(?P<n>{COUNT}) (?P<u>weeks?|months?|semanas?|mes(?:es)?)\b", plain)
    if spell:
        days = count_of(spell["n"]) * (7 if spell["u"][0] in "ws" else 30)
        return scene.today + timedelta(days=days)
    if not named:
        return None
    last = named[-1]
    return last.first if re.search(r"\b(?:until|till?|to|back|hasta|al)\b", plain) else last.last + timedelta(days=1)


def plan_finish(text: str, scene: Scene) -> Piece | None:
    """The plan ends; visits that are booked stay until called off. None where there is no plan on file."""
    plan_id = _only_plan(scene, "active", "paused")
    if plan_id is None:
        return None
    said = sentences(scene.say("plan.finished"), _visits_left(scene))
    changes = (ChangePlan("finished", (), plan_id), HandOver("plan_finish", note=text[:300]))
    return Piece(said, said, "plan_finish", changes=changes, why="the client left the plan")


def waiting_list(text: str, scene: Scene, vessel: Vessel | None) -> Piece | None:
    """To be told when a time comes free; None for questions about the list, which a person answers."""
    if _LEAVE_LIST.search(normal(text)) or scene.situation.client is None:
        return None
    ids = vessels_named(text, scene.situation.vessels) or ((vessel.id,) if vessel else tuple(v.id for v in scene.situation.vessels))
    named = services_named(text, scene)
    request = Request(named[0].id if len(named) == 1 else "", ids, ((scene.now.isoformat(), text),))
    return join_list(request, scene)


def plan_vessel(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """Which boat the plan is for."""
    ids = vessels_named(reading.text, scene.situation.vessels, listed=True)
    question = scene.situation.question
    words = str(question.data.get("words", "")) if question else ""
    service = _plan_service(words, scene)
    return _proposed(words, service, ids, scene) if ids and service and answers_us(reading, scene) else None


def begin_plan(reading: Reading, scene: Scene, diary: Diary | None, lost: Slot | None) -> Piece | None:
    """1 begins the plan, 2 does not."""
    question, plain = scene.situation.question, normal(reading.text)
    if question is None or not answers_us(reading, scene) or "?" in reading.text:
        return None
    places = picked_by_place(plain, 2)
    if places == [2] or _REFUSED.search(plain):
        text = scene.say("plan.not_now")
        return Piece(text, text, "plan_begin", why="no plan for now")
    if places != [1] and not _AGREED.search(plain):
        return None
    begins = max(date.fromisoformat(question.data["begins"]), scene.today)
    change = ChangePlan("active", tuple(question.data["vessel_ids"]), begins=begins, every_days=int(question.data["every_days"]),
                        service=str(question.data["service"]))  # fmt: skip
    text = scene.say("plan.begun", first=scene.day(begins))
    return Piece(text, text, "plan_begin", changes=(change,), why="the client agreed to the plan")


def rhythm(text: str) -> int:
    """Days between two visits of a plan; a month where nothing else is said."""
    plain = normal(text)
    if _FORTNIGHT.search(plain):
        return 14
    if _WEEKLY.search(plain):
        return 7
    found = _EVERY.search(plain)
    return count_of(found["n"]) * {"w": 7, "s": 7, "m": MONTHLY_DAYS, "d": 1}[found["u"][0]] if found else MONTHLY_DAYS


def _without_rhythm(text: str) -> str:
    """'every two weeks from june' begins in June, not two weeks after it."""
    plain = normal(text)
    for pattern in (_FORTNIGHT, _WEEKLY, _EVERY):
        plain = pattern.sub(" ", plain)
    return plain


def _rhythm_text(every: int, scene: Scene) -> str:
    if every == MONTHLY_DAYS:
        return scene.say("plan.monthly")
    if every % 7 == 0:
        return scene.say("plan.every_week") if every == 7 else scene.say("plan.every_weeks", count=str(every // 7))
    return scene.say("plan.every_days", count=str(every))


def _plan_service(text: str, scene: Scene) -> Service | None:
    """Wash and topper as the trade does it, unless another single kind of work is named."""
    services, named = scene.situation.business.services, services_named(text, scene)
    if len(named) == 1 and not named[0].on_sight and named[0].id != "wash":
        return named[0]
    plain_wash = re.search(r"\b(?:just|only|solo)\b", normal(text)) and "wash" in services
    return services["wash"] if plain_wash else services.get("topper") or services.get("wash")


def _resumed(plan_id: int, text: str, scene: Scene) -> Piece:
    wish = read_times(text, scene.now, scene.situation.business.zone, scene.language)
    begins = wish.first or min(wish.days, default=None) or scene.today + FIRST_AFTER
    said = scene.say("plan.resumed", first=scene.day(begins))
    change = ChangePlan("active", (), plan_id, begins=begins)
    return Piece(said, said, "plan_begin", changes=(change,), why="the plan goes on")


def _only_plan(scene: Scene, *states: str) -> int | None:
    """The plan that is meant, where there is just one in these states."""
    ids = [id for id, state in (scene.situation.plan_states or {}).items() if state in states]
    return ids[0] if len(ids) == 1 else None


def _visits_left(scene: Scene) -> str:
    """A visit already booked stays, and how to call it off."""
    visits = upcoming(scene)
    return scene.say("plan.visit_left", when=when_text(scene, visits[0].begins)) if visits else ""


def _asked(kind: str, text: str, data: dict[str, object], scene: Scene) -> Piece:
    asked = AskClient(kind, data, soon(scene.now, OPEN_HOURS))
    return Piece(sentences(text), sentences(text), "plan_begin", changes=(asked,), why=f"asks: {kind}")
